"""Mutual impedance of two grounded straight wires, by the closed forms and quadrature to convergence."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.earth import (
    ComplexArray,
    air_reflection,
    complex_conductivity,
    g_k,
    propagation_constant,
    vector_kernel_t,
)
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


class _Soil(NamedTuple):
    gamma: complex
    reflection: complex
    sigma: complex
    frequency_hz: float


def mutual_impedance(
    wire_a: ArrayLike,
    wire_b: ArrayLike,
    *,
    resistivity_ohm_m: float,
    frequency_hz: float,
    relative_permittivity: float = 10.0,
) -> complex:
    """Return the mutual impedance of two straight buried wires, each grounded at both ends only.

    Parameters
    ----------
    wire_a, wire_b : array_like of float, shape (2, 3)
        Ends of each wire: x, y, depth below ground, m; depth > 0. The order of the ends is the sense.
    resistivity_ohm_m : float
        Resistivity of the homogeneous soil, > 0.
    frequency_hz : float
        Frequency, > 0.
    relative_permittivity : float
        Of the soil; 0 leaves the displacement currents out.

    Returns
    -------
    complex
        Ohms: minus the integral of E along ``wire_b`` per ampere in ``wire_a``. Sunde 1949 (Earth Conduction Effects in
        Transmission Systems) and Foster 1933 (Mutual impedance of grounded wires lying on or above the surface of the
        earth, Bell System Technical Journal) for wires at the surface, here at depth; the part of vertical and sloping
        wires in the low-frequency limit of the spectral solution.

    Raises
    ------
    DomainError
        If a shape is wrong, a wire has no length or isn't below ground, soil or frequency are out of range, or the
        wires touch end to end or run on top of each other.
    """
    a, b = _wire(wire_a, "wire_a"), _wire(wire_b, "wire_b")
    if not frequency_hz > 0.0:
        msg = f"frequency_hz must be positive, got {frequency_hz}"
        raise DomainError(msg)
    soil = _Soil(
        propagation_constant(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity),
        air_reflection(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity),
        complex_conductivity(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity),
        frequency_hz,
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
    fixed = factor * exact + _between_ends(a, b, soil)
    panels = max(1, math.ceil(abs(soil.gamma) * max(np.linalg.norm(step_a), np.linalg.norm(step_b)) / 4.0))
    last = factor * _smooth(a, b, soil, panels=panels)
    while panels < PANELS_MAX:
        panels *= 2
        value = factor * _smooth(a, b, soil, panels=panels)
        if abs(value - last) <= TOLERANCE * abs(fixed + value):
            return complex(fixed + value)
        last = value
    return complex(fixed + last)


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


def _between_ends(a: FloatArray, b: FloatArray, soil: _Soil) -> complex:
    rho = np.hypot(b[:, None, 0] - a[None, :, 0], b[:, None, 1] - a[None, :, 1])
    kernel = g_k(rho, b[:, None, 2], a[None, :, 2], gamma=soil.gamma, reflection=soil.reflection)
    sign = np.array([-1.0, 1.0])
    return complex(sign @ kernel @ sign) / (4.0 * math.pi * soil.sigma)


def _points(wire: FloatArray, panels: int) -> tuple[FloatArray, FloatArray]:
    """Composite Gauss points and weights (m) on a wire."""
    node, weight = np.polynomial.legendre.leggauss(GAUSS_POINTS)
    share = ((np.arange(panels)[:, None] + 0.5 * (node + 1.0)[None, :]) / panels).ravel()
    step = wire[1] - wire[0]
    return wire[0] + share[:, None] * step, np.tile(0.5 * weight / panels, panels) * float(np.linalg.norm(step))


def _smooth(a: FloatArray, b: FloatArray, soil: _Soil, *, panels: int) -> complex:
    """Integrate what is left of the tensor kernel (method, eq. 6) without 1/R1 and the vertical 1/R2."""
    place_a, weight_a = _points(a, panels)
    place_b, weight_b = _points(b, panels)
    tangent_a = (a[1] - a[0]) / np.linalg.norm(a[1] - a[0])
    tangent_b = (b[1] - b[0]) / np.linalg.norm(b[1] - b[0])
    rows = max(1, BLOCK // len(place_a))
    total = 0j
    for first in range(0, len(place_b), rows):
        away = place_b[first : first + rows, None, :2] - place_a[None, :, :2]
        depth_b, depth_a = place_b[first : first + rows, None, 2], place_a[None, :, 2]
        rho = np.hypot(away[..., 0], away[..., 1])
        r2 = np.hypot(rho, depth_a + depth_b)
        values = _wave_rest(soil.gamma, np.hypot(rho, depth_b - depth_a)) * (tangent_a[:2] @ tangent_b[:2])
        values += (vector_kernel_t(rho, depth_a + depth_b, soil.gamma) - np.exp(-soil.gamma * r2) / r2) * (
            tangent_a[:2] @ tangent_b[:2]
        )
        turned = tangent_b[2] * (away @ tangent_a[:2]) - tangent_a[2] * (away @ tangent_b[:2])
        values += turned / (r2 * (r2 + depth_a + depth_b))
        total += complex(weight_b[first : first + rows] @ values @ weight_a)
    return total


def _wave_rest(gamma: complex, distance: FloatArray) -> ComplexArray:
    apart = np.maximum(distance, CONTACT_M)
    grown: ComplexArray = np.expm1((-gamma * apart).astype(np.complex128))
    return grown / apart
