"""Mutual impedance of two grounded straight wires, by the closed forms and quadrature to convergence."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.earth import ComplexArray
from corridor.tone.ground import Ground, ground_of
from corridor.tone.integrals import FloatArray, straight_pair_integral

__all__ = ["mutual_impedance"]

# Two axes nearer than this are one place: the mutual impedance of thin wires is infinite there.
CONTACT_M = 1e-6
GAUSS_POINTS = 6
# The smooth part is halved until it changes by less than this share of the whole.
TOLERANCE = 1e-7
PANELS_MAX = 256
# Point pairs handled at a time (memory).
BLOCK = 200_000

# offsets in plan from a to b (..., 2), depths of a, depths of b, to 1/m
_Kernel = Callable[[FloatArray, FloatArray, FloatArray], ComplexArray]


def mutual_impedance(
    wire_a: ArrayLike,
    wire_b: ArrayLike,
    *,
    resistivity_ohm_m: float,
    frequency_hz: float,
    relative_permittivity: float = 10.0,
    top_thickness_m: float | None = None,
    lower_resistivity_ohm_m: float | None = None,
) -> complex:
    """Return the mutual impedance of two straight buried wires, each grounded at both ends only.

    Parameters
    ----------
    wire_a, wire_b : array_like of float, shape (2, 3)
        Ends of each wire: x, y, depth below ground, m; depth > 0. The order of the ends is the sense.
    resistivity_ohm_m : float
        Resistivity of the soil, > 0; of the top layer where there are two.
    frequency_hz : float
        Frequency, > 0.
    relative_permittivity : float
        Of the soil; 0 leaves the displacement currents out, in the soil and in the air.
    top_thickness_m, lower_resistivity_ohm_m : float, optional
        Thickness of a top layer, m, > 0, and the resistivity below it, > 0; both or none.

    Returns
    -------
    complex
        Ohms: minus the integral of E along ``wire_b`` per ampere in ``wire_a``. Sunde 1949 (Earth Conduction Effects in
        Transmission Systems) and Foster 1933 (Mutual impedance of grounded wires lying on or above the surface of the
        earth, Bell System Technical Journal) for wires at the surface, here at depth, with the wave in the air; two
        layers by `corridor.tone.layered`. The part of vertical and sloping wires is the low-frequency limit of the
        spectral solution in homogeneous soil.

    Raises
    ------
    DomainError
        If a shape is wrong, a wire has no length or isn't below ground, soil or frequency are out of range, only one
        of thickness and lower resistivity is given, or the wires touch end to end or run on top of each other.
    """
    a, b = _wire(wire_a, "wire_a"), _wire(wire_b, "wire_b")
    if not frequency_hz > 0.0:
        msg = f"frequency_hz must be positive, got {frequency_hz}"
        raise DomainError(msg)
    ground = ground_of(
        resistivity_ohm_m,
        frequency_hz,
        relative_permittivity=relative_permittivity,
        top_thickness_m=top_thickness_m,
        lower_resistivity_ohm_m=lower_resistivity_ohm_m,
    )
    _refuse_contact(a, b)
    factor = 1j * TWO_PI * frequency_hz * MU_0 / (4.0 * math.pi)
    # what isn't smooth is exact: the potential between the ends, and 1/R1 and 1/R2 along the wires
    step_a, step_b = a[1] - a[0], b[1] - b[0]
    tangent_a, tangent_b = step_a / np.linalg.norm(step_a), step_b / np.linalg.norm(step_b)
    exact = float(tangent_a @ tangent_b) * straight_pair_integral(a, b, CONTACT_M)
    upright = float(tangent_a[2] * tangent_b[2])
    if upright != 0.0:
        exact -= 2.0 * upright * straight_pair_integral(a, b * np.array([1.0, 1.0, -1.0]), CONTACT_M)
    total = factor * exact + _between_ends(a, b, ground)
    level = float(tangent_a[:2] @ tangent_b[:2])

    def near(away: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        rho = np.hypot(away[..., 0], away[..., 1])
        h_sum = depth_a + depth_b
        r2 = np.hypot(rho, h_sum)
        turned = tangent_b[2] * (away @ tangent_a[:2]) - tangent_a[2] * (away @ tangent_b[:2])
        return level * ground.closed(rho, depth_a, depth_b) + turned / (r2 * (r2 + h_sum))

    def smooth(away: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        return level * ground.spectral(np.hypot(away[..., 0], away[..., 1]), depth_a, depth_b)

    pieces = [(one, other) for one in ground.pieces(a) for other in ground.pieces(b)]
    total += _converged(near, pieces, ground.rate_per_m, factor=factor, beside=total)
    if level != 0.0:
        total += _converged(smooth, pieces, ground.rate_per_m, factor=factor, beside=total)
    return complex(total)


def _wire(wire: ArrayLike, name: str) -> FloatArray:
    ends = np.asarray(wire, dtype=np.float64)
    if ends.shape != (2, 3) or not np.all(np.isfinite(ends)):
        msg = f"{name} must be two finite points x, y, depth (shape (2, 3), m), got {ends.tolist()}"
        raise DomainError(msg)
    if np.any(ends[:, 2] <= 0.0):
        msg = f"{name} must lie below ground: depths must be positive, got {ends[:, 2].tolist()} m"
        raise DomainError(msg)
    if np.linalg.norm(ends[1] - ends[0]) <= CONTACT_M:
        msg = f"{name} has no length: both ends are at {ends[0].tolist()}"
        raise DomainError(msg)
    return ends


def _refuse_contact(a: FloatArray, b: FloatArray) -> None:
    gaps = np.linalg.norm(a[:, None, :] - b[None, :, :], axis=-1)
    if gaps.min() <= CONTACT_M:
        msg = "wire_a and wire_b share an end: thin wires must be apart (for one conductor, solve it as sections)"
        raise DomainError(msg)
    step = a[1] - a[0]
    length = float(np.linalg.norm(step))
    along = (b - a[0]) @ step / length
    across = np.linalg.norm(b - a[0] - along[:, None] * step / length, axis=1)
    if across.max() <= CONTACT_M and along.max() > 0.0 and along.min() < length:
        msg = "wire_a and wire_b run on top of each other: give their axes a distance (at least the sum of the radii)"
        raise DomainError(msg)


def _between_ends(a: FloatArray, b: FloatArray, ground: Ground) -> complex:
    rho = np.hypot(b[:, None, 0] - a[None, :, 0], b[:, None, 1] - a[None, :, 1])
    depth_b, depth_a = np.broadcast_arrays(b[:, None, 2], a[None, :, 2])
    sign = np.array([-1.0, 1.0])
    return complex(sign @ ground.potential(rho, depth_a, depth_b) @ sign)


def _points(wire: FloatArray, panels: int) -> tuple[FloatArray, FloatArray]:
    """Composite Gauss points and weights (m) on a wire."""
    node, weight = np.polynomial.legendre.leggauss(GAUSS_POINTS)
    share = ((np.arange(panels)[:, None] + 0.5 * (node + 1.0)[None, :]) / panels).ravel()
    step = wire[1] - wire[0]
    return wire[0] + share[:, None] * step, np.tile(0.5 * weight / panels, panels) * float(np.linalg.norm(step))


def _converged(
    kernel: _Kernel,
    pieces: list[tuple[FloatArray, FloatArray]],
    rate_per_m: float,
    *,
    factor: complex,
    beside: complex,
) -> complex:
    """Integrate a kernel over all pairs of pieces, in panels halved until it changes no more beside the rest."""
    longest = max(float(np.linalg.norm(wire[1] - wire[0])) for pair in pieces for wire in pair)
    panels = max(1, math.ceil(rate_per_m * longest / 4.0))
    last = factor * sum(_integral(kernel, *pair, panels=panels) for pair in pieces)
    while panels < PANELS_MAX:
        panels *= 2
        value = factor * sum(_integral(kernel, *pair, panels=panels) for pair in pieces)
        settled = abs(value - last) <= TOLERANCE * abs(beside + value)
        last = value
        if settled:
            break
    return last


def _integral(kernel: _Kernel, a: FloatArray, b: FloatArray, *, panels: int) -> complex:
    place_a, weight_a = _points(a, panels)
    place_b, weight_b = _points(b, panels)
    rows = max(1, BLOCK // len(place_a))
    total = 0j
    for first in range(0, len(place_b), rows):
        some = place_b[first : first + rows]
        away = some[:, None, :2] - place_a[None, :, :2]
        depth_b, depth_a = np.broadcast_arrays(some[:, None, 2], place_a[None, :, 2])
        total += complex(weight_b[first : first + rows] @ kernel(away, depth_a, depth_b) @ weight_a)
    return total
