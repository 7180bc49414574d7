"""Magnetic field of the tone above ground: straight sections, their leakage, and the soil's eddy currents.

Coordinates: x and y horizontal, right-handed with z up. A point is (x, y, height above ground), a section's end is
(x, y, depth below ground), so that both third coordinates are positive where they usually lie.
"""

import math
from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.threads import in_ranges

__all__ = [
    "IMAGE_DEPTH_FACTOR",
    "POINTS_MIN",
    "SurfaceField",
    "checked_sections",
    "field_matrices",
    "left_of",
    "profile_nodes",
    "profile_points",
    "profile_weights",
    "reaches",
]

IMAGE_DEPTH_FACTOR = 1.5  # image at depth + 1.5/gamma: right for short wires, where the infinite line has 2/gamma

_SCALE = MU_0 / (4.0 * math.pi)
_FAR_RULE = np.polynomial.legendre.leggauss(2)
_NEAR_RULE = np.polynomial.legendre.leggauss(12)
_FAR = 6.0  # sum of the distances to both ends over length, from where two points stand for a section (1e-4)
_LEVEL_SLOPE = 1e-9  # rise over length below which a section counts as horizontal
_TINY = 1e-300
POINTS_MIN = 200  # on a thread; fewer aren't worth one


class SurfaceField(NamedTuple):
    """Fields per ampere, each (points, n), T/A: multiply by the section currents or leaks and add.

    The vertical field of a leak is zero, because its current is vertical on average; it has no matrix.
    """

    h_per_current: NDArray[Any]
    """Component along the axis, per ampere of section current."""
    h_per_leak: NDArray[Any]
    """Component along the axis, per ampere that leaves the section for the soil."""
    v_per_current: NDArray[Any]
    """Component upward, per ampere of section current."""

    def horizontal_t(self, current_a: NDArray[np.complex128], leak_a: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Return the component along the axis for k solutions at once.

        Parameters
        ----------
        current_a, leak_a : ndarray of complex, shape (n, k), A
            Section currents, and what each section loses to the soil.

        Returns
        -------
        ndarray of complex, shape (points, k), T
        """
        return _times(self.h_per_current, current_a) + _times(self.h_per_leak, leak_a)

    def vertical_t(self, current_a: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Return the upward component for k solutions at once; leaks have none.

        Parameters
        ----------
        current_a : ndarray of complex, shape (n, k), A

        Returns
        -------
        ndarray of complex, shape (points, k), T
        """
        return _times(self.v_per_current, current_a)

    def of_sections(self, sections: NDArray[Any]) -> "SurfaceField":
        """Return the matrices of some sections only, by index or mask, such as those of the target."""
        return SurfaceField(*(part[:, sections] for part in self))


def _times(matrix: NDArray[Any], amplitude: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Multiply by complex columns; a real matrix isn't widened first: less than half the work, a third of the room."""
    if np.iscomplexobj(matrix):
        return np.asarray(matrix @ amplitude)
    columns = np.ascontiguousarray(amplitude, dtype=np.complex128)
    return (matrix @ columns.view(np.float64)).view(np.complex128)


def left_of(direction: ArrayLike) -> NDArray[np.float64]:
    """Return the horizontal unit vectors to the left of directions in plan.

    Parameters
    ----------
    direction : array_like, shape (s, 2)
        Direction of the line in plan, any length but zero.

    Returns
    -------
    ndarray, shape (s, 2)

    Raises
    ------
    DomainError
        If a direction is zero or not two-dimensional.
    """
    t = np.atleast_2d(np.asarray(direction, dtype=float))
    if t.ndim != 2 or t.shape[1] != 2:
        message = f"direction must have shape (s, 2), got {t.shape}"
        raise DomainError(message)
    length = np.hypot(t[:, 0], t[:, 1])
    if not np.all(length > 0.0):
        message = f"direction must not be zero, got {t[int(np.argmin(length))].tolist()}"
        raise DomainError(message)
    return np.column_stack((-t[:, 1], t[:, 0])) / length[:, None]


def profile_points(
    station_xy_m: ArrayLike, direction: ArrayLike, offsets_m: ArrayLike, *, height_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the points of profiles square to a line, and the axis at each.

    Parameters
    ----------
    station_xy_m : array_like, shape (s, 2), m
        Where the profiles cross the line in plan.
    direction : array_like, shape (s, 2)
        Direction of the line there.
    offsets_m : array_like, shape (o,), m
        Positive to the left of the direction.
    height_m : float, m
        Of the coil above ground.

    Returns
    -------
    points_m : ndarray, shape (s * o, 3)
        Station by station, offset after offset: reshape fields of shape (s * o, k) to (s, o, k).
    axis : ndarray, shape (s * o, 2)
        Unit vector towards positive offsets.

    Raises
    ------
    DomainError
        If a direction is zero or not two-dimensional.
    """
    left = left_of(direction)
    offsets = np.asarray(offsets_m, dtype=float)
    xy = np.atleast_2d(np.asarray(station_xy_m, dtype=float))[:, None, :] + offsets[None, :, None] * left[:, None, :]
    points = np.concatenate((xy, np.full((*xy.shape[:2], 1), height_m)), axis=2)
    return points.reshape(-1, 3), np.repeat(left, offsets.size, axis=0)


def profile_nodes(offsets_m: ArrayLike, count: int) -> NDArray[np.float64]:
    """Return the places of a profile from which ``profile_weights`` carries values best.

    Chebyshev's nodes over the offsets: with even ones the worst error, at the rim, is 1.3 to 1.8 times as large.

    Parameters
    ----------
    offsets_m : array_like, shape (o,), m
        At least one.
    count : int
        How many, at least one.

    Returns
    -------
    ndarray, shape (count,), m
        In ascending order, all within the offsets.
    """
    offsets = np.asarray(offsets_m, dtype=float)
    low, high = offsets.min(), offsets.max()
    angle = (2.0 * np.arange(count)[::-1] + 1.0) * np.pi / (2.0 * count)
    return np.asarray((low + high) / 2.0 + (high - low) / 2.0 * np.cos(angle))


def profile_weights(nodes_m: ArrayLike, offsets_m: ArrayLike) -> NDArray[np.float64]:
    """Return the Lagrange weights that carry values at a few nodes to all offsets of a profile.

    The eddy correction varies over the distance 1.5/|gamma| and more, metres to hundreds of metres, so that five nodes
    stand for a whole profile: ``weights @ values_at_nodes``.

    Parameters
    ----------
    nodes_m : array_like, shape (k,), m
        Distinct.
    offsets_m : array_like, shape (o,), m

    Returns
    -------
    ndarray, shape (o, k)

    Raises
    ------
    DomainError
        If two nodes coincide.
    """
    nodes = np.asarray(nodes_m, dtype=float)
    offsets = np.asarray(offsets_m, dtype=float)
    if np.unique(nodes).size != nodes.size:
        message = f"nodes_m must be distinct, got {nodes.tolist()}"
        raise DomainError(message)
    weights = np.ones((offsets.size, nodes.size))
    for j in range(nodes.size):
        for i in range(nodes.size):
            if i != j:
                weights[:, j] *= (offsets - nodes[i]) / (nodes[j] - nodes[i])
    return weights


@numba.njit(cache=True, error_model="numpy")
def _leak_level(s1: Any, s2: Any, p2: Any, h: Any) -> Any:  # pragma: no cover - compiled
    """Integrate (s, p)/(R(R+h)) along a horizontal section, s from s1 to s2, p2 the squared distance in plan."""
    r1 = np.sqrt(s1 * s1 + p2 + h * h)
    r2 = np.sqrt(s2 * s2 + p2 + h * h)
    along = np.log((r2 + h) / (r1 + h))
    p = math.sqrt(p2)
    across = np.arctan2(s2, p) - np.arctan2(s1, p) + np.arctan(h * s1 / (p * r1)) - np.arctan(h * s2 / (p * r2))
    return along, across


@numba.njit(cache=True, error_model="numpy")
def _leak_points(a: Any, t: Any, rule: Any) -> Any:  # pragma: no cover - compiled
    """Average (dx, dy)/(R(R+H)) over a section by Gauss points: any slope, and the cheap way when far."""
    (ax, ay, az), (tx, ty, tz), (gauss_x, gauss_w) = a, t, rule
    lx, ly = 0.0, 0.0
    for k in range(gauss_x.size):
        w = 0.5 * (1.0 + gauss_x[k])
        dx, dy, dz = ax - w * tx, ay - w * ty, az - w * tz
        r = math.sqrt(dx * dx + dy * dy + dz * dz)
        weight = 0.5 * gauss_w[k] / (r * (r + dz))
        lx += weight * dx
        ly += weight * dy
    return lx, ly


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _direct_kernel(places: Any, sections: Any, rows: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Fill some rows of the three matrices of the real field; z is height, so depths enter with the sign turned."""
    points, axis = places
    start, end, reach = sections
    h_i, h_q, v_i = out
    n = start.shape[0]
    for p in range(rows[0], rows[1]):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        e_x, e_y = axis[p, 0], axis[p, 1]
        for j in range(n):
            ax, ay, az = x - start[j, 0], y - start[j, 1], z + start[j, 2]
            if ax * ax + ay * ay > reach[j] * reach[j]:
                continue
            bx, by, bz = x - end[j, 0], y - end[j, 1], z + end[j, 2]
            ra = math.sqrt(ax * ax + ay * ay + az * az)
            rb = math.sqrt(bx * bx + by * by + bz * bz)
            # Biot-Savart of a straight piece: (a x b)(1/|a| + 1/|b|) / (|a||b| + a.b)
            g = (ra + rb) / (ra * rb * (ra * rb + ax * bx + ay * by + az * bz))
            h_i[p, j] = _SCALE * g * ((ay * bz - az * by) * e_x + (az * bx - ax * bz) * e_y)
            v_i[p, j] = _SCALE * g * (ax * by - ay * bx)
            tx, ty, tz = ax - bx, ay - by, az - bz
            length = math.sqrt(tx * tx + ty * ty + tz * tz)
            if ra + rb > _FAR * length:
                lx, ly = _leak_points((ax, ay, az), (tx, ty, tz), _FAR_RULE)
            elif abs(tz) <= _LEVEL_SLOPE * length:
                ux, uy = tx / length, ty / length
                s1 = -(ax * ux + ay * uy)
                side = ux * ay - uy * ax  # of the point, positive to the left of the section
                along, across = _leak_level(s1, s1 + length, max(side * side, _TINY), 0.5 * (az + bz))
                # the point seen from the leak is -s along u and side across; its field is (dy, -dx)/(R(R+H))
                lx = (-ux * along - uy * math.copysign(1.0, side) * across) / length
                ly = (-uy * along + ux * math.copysign(1.0, side) * across) / length
            else:
                lx, ly = _leak_points((ax, ay, az), (tx, ty, tz), _NEAR_RULE)
            h_q[p, j] = _SCALE * (ly * e_x - lx * e_y)


def checked_sections(
    points_m: ArrayLike, start_m: ArrayLike, end_m: ArrayLike, axis: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return points, axis, start and end as C-ordered float arrays, or raise DomainError."""
    points, across, start, end = (
        np.ascontiguousarray(np.asarray(array, dtype=float)) for array in (points_m, axis, start_m, end_m)
    )
    for name, array, shape in (
        ("points_m", points, (-1, 3)),
        ("axis", across, (len(points), 2)),
        ("start_m", start, (-1, 3)),
        ("end_m", end, (len(start), 3)),
    ):
        if array.ndim != 2 or array.shape[1] != shape[1] or shape[0] not in (-1, len(array)):
            message = f"{name} must have shape {tuple('n' if s < 0 else s for s in shape)}, got {array.shape}"
            raise DomainError(message)
    if points.size and not points[:, 2].min() >= 0.0:
        message = f"points_m must lie at or above ground (third coordinate >= 0 m), got {points[:, 2].min()}"
        raise DomainError(message)
    depths = np.concatenate((start[:, 2], end[:, 2]))
    if depths.size and not depths.min() >= 0.0:
        message = f"start_m and end_m must lie at or below ground (third coordinate >= 0 m), got {depths.min()}"
        raise DomainError(message)
    flat = np.flatnonzero(np.all(start == end, axis=1))
    if flat.size:
        message = f"every section needs a length, got equal ends in row {flat[0]}"
        raise DomainError(message)
    return points, across, start, end


def field_matrices(
    points_m: ArrayLike, start_m: ArrayLike, end_m: ArrayLike, *, axis: ArrayLike, reach_m: ArrayLike = math.inf
) -> SurfaceField:
    """Return the field above ground per ampere of section current and per ampere of leak.

    A section carries its current uniformly and leaks it uniformly. The leak's soil current spreads round the vertical
    below it, so by Ampere's law its field above ground is that of a vertical wire going down to infinity from the leak,
    mu_0 Q/(4 pi rho) (1 - H/R), H the height of the point above the leak (exact at low frequency; eddy currents in the
    soil are the business of `corridor.tone.eddy_fields`).

    Parameters
    ----------
    points_m : array_like, shape (p, 3), m
        x, y, height above ground.
    start_m, end_m : array_like, shape (n, 3), m
        x, y, depth below ground of the sections' ends; positive current runs from start to end. Any length if level;
        the leak of a sloping one is good to 1e-3 up to three metres.
    axis : array_like, shape (p, 2)
        Horizontal unit vector along which the horizontal component is taken.
    reach_m : array_like, m, a number or shape (n,)
        Sections that begin farther from a point in plan are left out there.

    Returns
    -------
    SurfaceField
        Float matrices (p, n), T/A. A forward current under a point gives a negative component towards the left.

    Raises
    ------
    DomainError
        If a shape is wrong, a point lies below ground, a section above it, or a section has no length.

    Notes
    -----
    Biot and Savart's law for a straight piece, and Ampere's law; textbook forms.
    """
    points, across, start, end = checked_sections(points_m, start_m, end_m, axis)
    out = (*np.zeros((3, len(points), len(start))),)
    sections = (start, end, reaches(reach_m, len(start)))
    in_ranges(
        lambda first, last: _direct_kernel((points, across), sections, (first, last), out),
        len(points),
        smallest=POINTS_MIN,
    )
    return SurfaceField(*out)


def reaches(reach_m: ArrayLike, count: int) -> NDArray[np.float64]:
    """Return one reach a section, from a number or one each."""
    return np.array(np.broadcast_to(np.asarray(reach_m, dtype=float), (count,)))  # writable, or kernels compile twice
