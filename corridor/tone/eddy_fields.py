"""What the eddy currents in the soil add to the field above ground of straight sections, several soils at once."""

import math
from collections.abc import Sequence
from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.threads import in_ranges
from corridor.tone.eddies import RHO_MAX_M, eddy_table, read_eddies, read_level_eddies
from corridor.tone.field import POINTS_MIN, SurfaceField, checked_sections, reaches

__all__ = ["eddy_fields", "eddy_matrices"]

_GAUSS_2 = 1.0 / math.sqrt(3.0)
_SHORT = 0.15  # length over distance, up to where its middle stands for a section
_SMOOTH = 0.3  # over |gamma|: the field varies over no less than this beside the distance
_TINY = 1e-300


def eddy_fields(
    xy_m: ArrayLike,
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    axis: ArrayLike,
    heights_m: Sequence[float],
    gammas_per_m: Sequence[complex],
    reach_m: ArrayLike = math.inf,
) -> NDArray[np.complex128]:
    """Return what the soil's eddy currents add to ``field_matrices``, for all heights and soils in one pass.

    Exact in a half-space of soil, as far as displacement current in the air doesn't matter. Smooth across a profile:
    evaluate it at a few nodes of each profile and carry the fields over with ``profile_weights``.

    Parameters
    ----------
    xy_m : array_like, shape (p, 2), m
        Points in plan.
    start_m, end_m, axis, reach_m
        As in ``field_matrices``.
    heights_m : sequence of float, m
        Of the coils above ground, one or more.
    gammas_per_m : sequence of complex, 1/m
        Propagation constants of the soils, one or more, real part > 0. The steepest field sets the number of points
        along a section for all of them.

    Returns
    -------
    ndarray of complex, shape (heights, gammas, 3, p, n), T/A
        The three matrices of ``SurfaceField``, in its order.

    Raises
    ------
    DomainError
        As in ``field_matrices``, and if the real part of a gamma is not positive.

    Notes
    -----
    Spectral solution of the half-space, tabulated (`corridor.tone.eddies`; after Foster 1931, Sunde 1949). Elements
    farther than 512 m away are left out. Checked against a full-wave solution in tests/validation.
    """
    plan = np.asarray(xy_m, dtype=float).reshape(-1, 2)
    lowest = np.column_stack((plan, np.full(len(plan), min(heights_m))))
    points, across, start, end = checked_sections(lowest, start_m, end_m, axis)
    gammas = tuple(complex(gamma) for gamma in gammas_per_m)
    for gamma in gammas:
        if not gamma.real > 0.0:
            message = f"gamma_per_m must have a positive real part, got {gamma}"
            raise DomainError(message)
    count = len(heights_m) * len(gammas)
    out = np.zeros((count, 3, len(points), len(start)), dtype=np.complex128)
    if out.size:
        deepest = 2.0 ** math.ceil(math.log2(max(float(start[:, 2].max()), float(end[:, 2].max()), 1.0)))
        table = eddy_table(gammas, tuple(float(height) for height in heights_m), deepest)
        # most sections are level: what they need is read once per depth, not once per pair
        level = start[:, 2] == end[:, 2]
        depths, depth_of = np.unique(start[level, 2], return_inverse=True)
        which = np.full(len(start), -1)
        which[level] = depth_of
        smooth = _SMOOTH / max(abs(gamma) for gamma in gammas)
        read = (table.parts, table.scale, table.at_depths(depths), which, smooth)
        sections = (start, end, reaches(reach_m, len(start)))
        in_ranges(
            lambda first, last: _kernel((points, across), sections, read, ((first, last), out.view(np.float64))),
            len(points),
            smallest=POINTS_MIN // 10,
        )
    return out.reshape(len(heights_m), len(gammas), *out.shape[1:])


def eddy_matrices(
    points_m: ArrayLike,
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    axis: ArrayLike,
    gamma_per_m: complex,
    reach_m: ArrayLike = math.inf,
) -> SurfaceField:
    """Return ``eddy_fields`` for one soil, at points of any height.

    Parameters
    ----------
    points_m, start_m, end_m, axis, reach_m
        As in ``field_matrices``.
    gamma_per_m : complex, 1/m
        Propagation constant of the soil, real part > 0.

    Returns
    -------
    SurfaceField
        Complex matrices (p, n), T/A.

    Raises
    ------
    DomainError
        As in ``field_matrices``, and if the real part of gamma_per_m is not positive.
    """
    points, across, start, end = checked_sections(points_m, start_m, end_m, axis)
    found = np.zeros((3, len(points), len(start)), dtype=np.complex128)
    for height in np.unique(points[:, 2]) if len(points) else [0.0]:
        here = points[:, 2] == height
        found[:, here] = eddy_fields(
            points[here, :2], start, end, axis=across[here], heights_m=[height], gammas_per_m=[gamma_per_m],
            reach_m=reach_m,
        )[0, 0]  # fmt: skip
    return SurfaceField(*found)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _kernel(places: Any, sections: Any, tables: Any, filled: Any) -> None:  # pragma: no cover - compiled
    """Fill some points of (k, 3, points, 2 n): per soil and height the three matrices, real and imaginary part."""
    points, axis = places
    rows, out = filled
    start, end, reach = sections
    parts, scale, flat, depth_of, smooth = tables
    width = parts.shape[3]
    read, total = np.zeros((4, width)), np.zeros((3, width))
    for p in range(rows[0], rows[1]):
        e_x, e_y, z = axis[p, 0], axis[p, 1], points[p, 2]
        for j in range(start.shape[0]):
            ax, ay = points[p, 0] - start[j, 0], points[p, 1] - start[j, 1]
            if ax * ax + ay * ay > reach[j] * reach[j]:
                continue
            tx, ty, tz = end[j, 0] - start[j, 0], end[j, 1] - start[j, 1], end[j, 2] - start[j, 2]
            apart = z + start[j, 2] + 0.5 * tz + math.hypot(ax - 0.5 * tx, ay - 0.5 * ty)
            length = math.sqrt(tx * tx + ty * ty + tz * tz)
            pieces = 1 + int(length / (apart + _TINY))
            per_piece = 1 if length < _SHORT * (apart + smooth) else 2
            count = per_piece * pieces
            total[:] = 0.0
            for k in range(count):
                w = (k // per_piece + 0.5 + (k % 2 - 0.5) * _GAUSS_2 * (per_piece - 1)) / pieces
                dx, dy = ax - w * tx, ay - w * ty
                rho = math.hypot(dx, dy)
                if rho > RHO_MAX_M:
                    continue
                if depth_of[j] >= 0:
                    read_level_eddies(flat[depth_of[j]], scale[0], rho, read)
                    read[3] = 0.0
                else:
                    read_eddies(parts, scale, (rho, start[j, 2] + w * tz), read)
                # the unit vector from the element to the point, turned to the left, along the axis
                ux, uy = dx / (rho + _TINY), dy / (rho + _TINY)
                turned = (ux * e_y - uy * e_x) / count
                level, upright, beside = (tx * e_y - ty * e_x) / count, -tz * turned, (uy * tx - ux * ty) / count
                for c in range(width):
                    total[0, c] += level * read[0, c] + upright * read[3, c]
                    total[1, c] += turned * read[1, c]
                    total[2, c] += beside * read[2, c]
            for c in range(width // 2):
                for part in range(3):
                    out[c, part, p, 2 * j] = total[part, 2 * c]
                    out[c, part, p, 2 * j + 1] = total[part, 2 * c + 1]
