"""The soil as a homogeneous half space under air: its constants and the two kernels of a buried current element.

Time factor exp(+j omega t), RMS values, depth positive downwards. For horizontal elements the kernels are exact in the
quasi-static limit of the air (propagation in the air is left out): Sommerfeld integrals in the closed forms that
Foster (1931, Bell System Technical Journal 10:408) and Sunde (Earth Conduction Effects in Transmission Systems, 1949)
use for wires at the surface, carried to any depth.
"""

import cmath
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.errors import DomainError

__all__ = [
    "air_reflection",
    "both_kernels",
    "complex_conductivity",
    "g_a",
    "g_k",
    "potential_kernel_f",
    "propagation_constant",
    "vector_kernel_t",
]

# Below this |gamma| R the closed form of T loses more digits by cancellation than its series leaves out (measured with
# 60 digits: both stay under 1e-7).
SERIES_LIMIT = 2e-4

ComplexArray = NDArray[np.complex128]


class _Products(NamedTuple):
    """Products of modified Bessel functions I(a) K(b), both scalings undone together so that nothing overflows."""

    i0k0: ComplexArray
    i0k1: ComplexArray
    i1k0: ComplexArray
    i1k1: ComplexArray


class _Waves(NamedTuple):
    """What both kernels are made of at some points."""

    gamma: complex
    r: NDArray[np.float64]
    a: ComplexArray
    b: ComplexArray
    product: _Products


def complex_conductivity(
    resistivity_ohm_m: float, frequency_hz: float, *, relative_permittivity: float = 10.0
) -> complex:
    """Return the soil's conductivity with its displacement current, 1/rho + j omega epsilon.

    Parameters
    ----------
    resistivity_ohm_m : float
        Resistivity of the soil, > 0.
    frequency_hz : float
        Frequency, >= 0.
    relative_permittivity : float
        Of the soil; 0 leaves the displacement current out.

    Returns
    -------
    complex
        S/m.

    Raises
    ------
    DomainError
        If the resistivity isn't positive, or the frequency or permittivity is negative.
    """
    if not (math.isfinite(resistivity_ohm_m) and resistivity_ohm_m > 0.0):
        msg = f"resistivity_ohm_m must be a positive number of ohm metres, got {resistivity_ohm_m}"
        raise DomainError(msg)
    if not (math.isfinite(frequency_hz) and frequency_hz >= 0.0):
        msg = f"frequency_hz must be zero or a positive number of hertz, got {frequency_hz}"
        raise DomainError(msg)
    if not (math.isfinite(relative_permittivity) and relative_permittivity >= 0.0):
        msg = f"relative_permittivity must be zero or positive, got {relative_permittivity}"
        raise DomainError(msg)
    return complex(1.0 / resistivity_ohm_m, TWO_PI * frequency_hz * EPSILON_0 * relative_permittivity)


def propagation_constant(
    resistivity_ohm_m: float, frequency_hz: float, *, relative_permittivity: float = 10.0
) -> complex:
    """Return the soil's propagation constant gamma = sqrt(j omega mu_0 (1/rho + j omega epsilon)).

    Parameters
    ----------
    resistivity_ohm_m, frequency_hz, relative_permittivity : float
        As in `complex_conductivity`.

    Returns
    -------
    complex
        1/m, real part >= 0.

    Raises
    ------
    DomainError
        As in `complex_conductivity`.
    """
    sigma = complex_conductivity(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity)
    return cmath.sqrt(1j * TWO_PI * frequency_hz * MU_0 * sigma)


def air_reflection(resistivity_ohm_m: float, frequency_hz: float, *, relative_permittivity: float = 10.0) -> complex:
    """Return the image coefficient of a charge under the surface, (sigma - j omega eps0) / (sigma + j omega eps0).

    Parameters
    ----------
    resistivity_ohm_m, frequency_hz, relative_permittivity : float
        As in `complex_conductivity`. Permittivity 0 leaves the displacement current of the air out too and gives 1.

    Returns
    -------
    complex
        Dimensionless, 1 at low frequency.

    Raises
    ------
    DomainError
        As in `complex_conductivity`.
    """
    sigma = complex_conductivity(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity)
    air = 1j * TWO_PI * frequency_hz * EPSILON_0 if relative_permittivity > 0.0 else 0.0
    return (sigma - air) / (sigma + air)


def potential_kernel_f(rho_m: ArrayLike, depth_sum_m: ArrayLike, gamma: complex) -> ComplexArray:
    """Return F = integral over lambda from 0 to infinity of exp(-u H) J0(lambda rho), u = sqrt(lambda^2 + gamma^2).

    Parameters
    ----------
    rho_m : array_like of float
        Horizontal offset, m, >= 0.
    depth_sum_m : array_like of float
        Sum H of both depths, m, >= 0; broadcast against ``rho_m``; not both zero.
    gamma : complex
        Propagation constant of the soil, 1/m.

    Returns
    -------
    ndarray of complex
        1/m. F = M/R with M = a I1(a) K0(b) + b I0(a) K1(b), a, b = gamma (R -+ H)/2, R^2 = rho^2 + H^2 (after
        Foster 1931).

    Raises
    ------
    DomainError
        If an offset or depth is negative, or both are zero.
    """
    rho, h_sum, r = _geometry(rho_m, depth_sum_m)
    return _direct(r) if gamma == 0.0 else _potential(_waves(rho, h_sum, r, gamma))


def vector_kernel_t(rho_m: ArrayLike, depth_sum_m: ArrayLike, gamma: complex) -> ComplexArray:
    """Return T = integral over lambda from 0 to infinity of 2 lambda/(u + lambda) exp(-u H) J0(lambda rho).

    Parameters
    ----------
    rho_m, depth_sum_m, gamma
        As in `potential_kernel_f`.

    Returns
    -------
    ndarray of complex
        1/m. T = (2/gamma^2) (E_HH - F_HH) + 2 F with E = exp(-gamma R)/R (after Foster 1931, Sunde 1949); for
        |gamma| R < 2e-4, where that difference cancels, the series (1 - 2 gamma R/3)/R.

    Raises
    ------
    DomainError
        If an offset or depth is negative, or both are zero.
    """
    rho, h_sum, r = _geometry(rho_m, depth_sum_m)
    return _direct(r) if gamma == 0.0 else _vector(h_sum, _waves(rho, h_sum, r, gamma))


def both_kernels(rho_m: ArrayLike, depth_sum_m: ArrayLike, gamma: complex) -> tuple[ComplexArray, ComplexArray]:
    """Return T and F of `vector_kernel_t` and `potential_kernel_f`, their Bessel functions worked out once.

    Parameters
    ----------
    rho_m, depth_sum_m, gamma
        As in `potential_kernel_f`.

    Returns
    -------
    tuple of ndarray of complex
        T and F, 1/m.

    Raises
    ------
    DomainError
        If an offset or depth is negative, or both are zero.
    """
    rho, h_sum, r = _geometry(rho_m, depth_sum_m)
    if gamma == 0.0:
        return _direct(r), _direct(r)
    waves = _waves(rho, h_sum, r, gamma)
    return _vector(h_sum, waves), _potential(waves)


def _direct(r: NDArray[np.float64]) -> ComplexArray:
    return np.asarray(1.0 / r, dtype=np.complex128)


def _potential(waves: _Waves) -> ComplexArray:
    return _moment(waves.product, waves.a, waves.b) / waves.r


def _vector(h_sum: NDArray[np.float64], waves: _Waves) -> ComplexArray:
    gamma, r, a, b, product = waves
    series = np.asarray((1.0 - 2.0 * gamma * r / 3.0) / r, dtype=np.complex128)
    small = abs(gamma) * r < SERIES_LIMIT
    if np.all(small):
        return series
    # the closed form divides by gamma^2; the entries it can't serve are replaced below
    moment = _moment(product, a, b)
    squares = a * a + b * b
    s = squares * product.i0k0 + 2.0 * a * b * product.i1k1
    s_h = (
        2.0 * gamma**2 * h_sum * product.i0k0
        - (squares * moment + 2.0 * a * b * (a * product.i0k1 + b * product.i1k0)) / r
    )
    f_hh = moment * (3.0 * h_sum**2 - r**2) / r**5 + 3.0 * h_sum * s / r**4 - s_h / r**2
    wave = np.exp(-gamma * r)
    e_r = -wave * (1.0 + gamma * r) / r**2
    e_rr = wave * (2.0 + 2.0 * gamma * r + (gamma * r) ** 2) / r**3
    e_hh = e_rr * h_sum**2 / r**2 + e_r * (1.0 / r - h_sum**2 / r**3)
    closed = 2.0 / gamma**2 * (e_hh - f_hh) + 2.0 * moment / r
    return np.asarray(np.where(small, series, closed), dtype=np.complex128)


def g_a(rho_m: ArrayLike, depth_a_m: ArrayLike, depth_b_m: ArrayLike, *, gamma: complex) -> ComplexArray:
    """Return the longitudinal kernel g_A = exp(-gamma R1)/R1 - exp(-gamma R2)/R2 + T of two horizontal elements.

    Parameters
    ----------
    rho_m : array_like of float
        Horizontal offset, m, >= 0.
    depth_a_m, depth_b_m : array_like of float
        Depths of the elements, m, >= 0; all three broadcast.
    gamma : complex
        Propagation constant of the soil, 1/m.

    Returns
    -------
    ndarray of complex
        1/m; E = -j omega mu_0/(4 pi) cos(theta) g_A I dl is the part without potential (Sunde 1949).

    Raises
    ------
    DomainError
        If an offset or depth is negative, or the points coincide.
    """
    r1, r2 = _distances(rho_m, depth_a_m, depth_b_m)
    h_sum = np.asarray(depth_a_m, dtype=np.float64) + np.asarray(depth_b_m, dtype=np.float64)
    return np.exp(-gamma * r1) / r1 - np.exp(-gamma * r2) / r2 + vector_kernel_t(rho_m, h_sum, gamma)


def g_k(
    rho_m: ArrayLike, depth_a_m: ArrayLike, depth_b_m: ArrayLike, *, gamma: complex, reflection: complex
) -> ComplexArray:
    """Return the leakage kernel g_K = exp(-gamma R1)/R1 - exp(-gamma R2)/R2 + (1 + reflection) F.

    Parameters
    ----------
    rho_m, depth_a_m, depth_b_m, gamma
        As in `g_a`.
    reflection : complex
        From `air_reflection`.

    Returns
    -------
    ndarray of complex
        1/m; V = g_K Q/(4 pi sigma) is the potential at a point for a leak Q at the other (Sunde 1949).

    Raises
    ------
    DomainError
        If an offset or depth is negative, or the points coincide.
    """
    r1, r2 = _distances(rho_m, depth_a_m, depth_b_m)
    h_sum = np.asarray(depth_a_m, dtype=np.float64) + np.asarray(depth_b_m, dtype=np.float64)
    image = (1.0 + reflection) * potential_kernel_f(rho_m, h_sum, gamma)
    return np.exp(-gamma * r1) / r1 - np.exp(-gamma * r2) / r2 + image


def _geometry(
    rho_m: ArrayLike, depth_sum_m: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    rho, h_sum = np.broadcast_arrays(np.asarray(rho_m, dtype=np.float64), np.asarray(depth_sum_m, dtype=np.float64))
    r = np.hypot(rho, h_sum)
    if not (np.all(rho >= 0.0) and np.all(h_sum >= 0.0) and np.all(r > 0.0)):
        msg = "offsets and depths must be zero or positive and not both zero: two points coincide or lie above ground"
        raise DomainError(msg)
    return rho, h_sum, r


def _distances(
    rho_m: ArrayLike, depth_a_m: ArrayLike, depth_b_m: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rho = np.asarray(rho_m, dtype=np.float64)
    depth_a, depth_b = np.asarray(depth_a_m, dtype=np.float64), np.asarray(depth_b_m, dtype=np.float64)
    if np.any(depth_a < 0.0) or np.any(depth_b < 0.0):
        msg = "depths must be zero or positive (metres below ground)"
        raise DomainError(msg)
    r1 = np.hypot(rho, depth_a - depth_b)
    if not np.all(r1 > 0.0):
        msg = "two points coincide: the kernel needs a distance above zero"
        raise DomainError(msg)
    return r1, np.hypot(rho, depth_a + depth_b)


def _arguments(
    rho: NDArray[np.float64], h_sum: NDArray[np.float64], r: NDArray[np.float64], gamma: complex
) -> tuple[ComplexArray, ComplexArray]:
    # R - H written as rho^2/(R + H): no cancellation right above an element
    slope = np.complex128(gamma)
    return slope * (rho**2 / (2.0 * (r + h_sum))), slope * ((r + h_sum) / 2.0)


def _waves(rho: NDArray[np.float64], h_sum: NDArray[np.float64], r: NDArray[np.float64], gamma: complex) -> _Waves:
    a, b = _arguments(rho, h_sum, r, gamma)
    return _Waves(gamma, r, a, b, _products(a, b))


def _products(a: ComplexArray, b: ComplexArray) -> _Products:
    scale = np.exp(a.real - b)
    i0, i1 = special.ive(0, a), special.ive(1, a)
    k0, k1 = special.kve(0, b) * scale, special.kve(1, b) * scale
    return _Products(i0 * k0, i0 * k1, i1 * k0, i1 * k1)


def _moment(product: _Products, a: ComplexArray, b: ComplexArray) -> ComplexArray:
    return a * product.i1k0 + b * product.i0k1
