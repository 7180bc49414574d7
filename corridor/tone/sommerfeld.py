"""Quadrature of Sommerfeld integrals, and what the wave in the air adds to the half space's kernels.

Integrals over the horizontal wavenumber l from 0 to infinity of f(l) J0(l rho), f smooth but for the branch point of
the air at l = k0. They run along the real axis with l = k0 sin(theta) below and l = k0 cosh(t) above that point, which
makes the air's root analytic, in Gauss panels no longer than J0 allows. What f has beyond some hundred oscillations of
J0 is smooth and cancels: it is faded out instead of being summed.
"""

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.tone.earth import ComplexArray

__all__ = ["Wavenumbers", "air_propagation_constant", "air_wave_rests", "hankel_columns", "hankel_points"]

FloatArray = NDArray[np.float64]
Spectrum = Callable[["Wavenumbers"], ComplexArray]

GAUSS_NODES = 12
# widest panel, in the logarithm of l and in radians of J0
STEP_LOG = 1.0
STEP_RADIANS = 12.0
# panels next to k0, where the pole of the surface wave comes as near as sqrt(omega eps0 rho)
NEAR_AIR = (0.0, 5e-4, 1.5e-3, 5e-3, 0.015, 0.05, 0.15, 0.5)
# start of the panels where there is no wave in the air, as a share of the smaller of both scales
FIRST_PANEL = 1e-3
# fading starts and ends at these arguments of J0
FADE_FROM = 30.0
FADE_TO = 240.0
FADE_SLOPE = 8.0
FADE_AIR = 64.0
# where exp(-l h) has died
DECAY = 36.0
# What the wave in the air adds falls with 1/l^2 beyond k0 and converges at any depth: as if H were this.
AIR_HEIGHT_M = 0.3
# points handled at a time (memory); up to so many columns a product for all is cheaper than picking
POINTS_AT_ONCE = 1000
FEW_COLUMNS = 8


class Wavenumbers(NamedTuple):
    """Nodes along the real axis.

    Attributes
    ----------
    horizontal : ndarray of float, shape (k,)
        Wavenumber l, 1/m.
    air : ndarray of complex, shape (k,)
        Vertical propagation constant in the air, sqrt(l^2 - k0^2), 1/m.
    weight : ndarray of float, shape (k,)
        1/m, the fading included.
    """

    horizontal: FloatArray
    air: ComplexArray
    weight: FloatArray


def air_propagation_constant(frequency_hz: float, *, relative_permittivity: float = 10.0) -> complex:
    """Return the propagation constant of the air, j k0 = j omega sqrt(mu_0 epsilon_0).

    Parameters
    ----------
    frequency_hz : float
        Frequency, >= 0.
    relative_permittivity : float
        Of the soil; 0 stands for no displacement currents at all and gives 0.

    Returns
    -------
    complex
        1/m.
    """
    if relative_permittivity == 0.0:
        return 0j
    return 1j * TWO_PI * frequency_hz * math.sqrt(MU_0 * EPSILON_0)


def air_wave_rests(gamma: complex, gamma_air: complex, reflection: complex) -> Spectrum:
    """Return the spectra of what the wave in the air adds to the quasi-static kernels T and (1 + reflection) F.

    Parameters
    ----------
    gamma, gamma_air : complex
        Propagation constants of soil and air, 1/m.
    reflection : complex
        From `corridor.tone.earth.air_reflection`.

    Returns
    -------
    callable
        Takes `Wavenumbers`, returns shape (2, k), for exp(-u H) J0(l rho): 2 l/(u + u0) less its limit 2 l/(u + l), and
        (2 u0 - 2 gamma0^2/(u + u0) - 2 sigma0 u^2/(sigma u0 + sigma0 u))/l less 1 + reflection (Sommerfeld's solution
        in the form of transmission lines: Michalski and Mosig 1997, IEEE Transactions on Antennas and Propagation
        45:508, from memory, checked against another program).
    """
    # conductivities enter as their ratio only, sigma0/sigma = gamma0^2/gamma^2
    ratio = (gamma_air / gamma) ** 2

    def spectrum(nodes: Wavenumbers) -> ComplexArray:
        flat, air = nodes.horizontal, nodes.air
        u = np.sqrt(flat**2 + gamma**2)
        less = -(gamma_air**2) / (flat + air)
        vector = 2.0 * flat * less / ((u + air) * (u + flat))
        charge = 2.0 * air - 2.0 * gamma_air**2 / (u + air) - 2.0 * ratio * u**2 / (air + ratio * u)
        return np.stack([vector, charge / flat - (1.0 + reflection)])

    return spectrum


def hankel_columns(
    rho_m: FloatArray, columns: Spectrum, *, gamma_air: complex, scale_per_m: float, height_m: float
) -> ComplexArray:
    """Integrate many spectra at each offset: over l of f(l) J0(l rho).

    Parameters
    ----------
    rho_m : ndarray of float, shape (m,)
        Offsets, m, >= 0.
    columns : callable
        Takes `Wavenumbers`, returns the spectra, shape (k, c).
    gamma_air : complex
        Propagation constant of the air, 1/m; 0 for none.
    scale_per_m : float
        Smallest propagation constant of the soil (magnitude), 1/m.
    height_m : float
        The spectra fall like exp(-l height) or faster, m, > 0.

    Returns
    -------
    ndarray of complex, shape (m, c)
        In the spectra's unit times 1/m.
    """
    out: ComplexArray | None = None
    for chosen, nodes in _octaves(rho_m, gamma_air, scale_per_m, height_m):
        spectra = columns(nodes) * nodes.weight[:, None]
        if out is None:
            out = np.empty((len(rho_m), spectra.shape[1]), dtype=np.complex128)
        waves = special.j0(rho_m[chosen, None] * nodes.horizontal[None, :])
        # two real products cost half of a complex one
        out[chosen] = waves @ spectra.real + 1j * (waves @ spectra.imag)
    return np.empty((0, 0), dtype=np.complex128) if out is None else out


def hankel_points(
    rho_m: FloatArray,
    column: NDArray[np.int64],
    columns: Callable[[Wavenumbers, NDArray[np.int64]], ComplexArray],
    *,
    gamma_air: complex,
    scale_per_m: float,
    height_m: float,
) -> ComplexArray:
    """Integrate one spectrum at each point: as `hankel_columns`, with the column of each offset given.

    Parameters
    ----------
    rho_m : ndarray of float, shape (m,)
        Offsets, m, >= 0.
    column : ndarray of int, shape (m,)
        Which of the spectra each offset takes.
    columns : callable
        Takes `Wavenumbers` and c numbers of columns, returns their spectra for f functions, shape (f, k, c).
    gamma_air, scale_per_m, height_m
        As in `hankel_columns`.

    Returns
    -------
    ndarray of complex, shape (f, m)
        In the spectra's unit times 1/m.
    """
    parts = []
    places = []
    for chosen, nodes in _octaves(rho_m, gamma_air, scale_per_m, height_m):
        place = np.flatnonzero(chosen)
        for first in range(0, len(place), POINTS_AT_ONCE):
            some = place[first : first + POINTS_AT_ONCE]
            used, own = np.unique(column[some], return_inverse=True)
            spectra = columns(nodes, used) * nodes.weight[:, None]
            waves = special.j0(rho_m[some, None] * nodes.horizontal[None, :])
            if len(used) <= FEW_COLUMNS:
                parts.append((waves @ spectra)[:, np.arange(len(some)), own])
            else:
                parts.append(np.einsum("mk,fkm->fm", waves, spectra[:, :, own]))
            places.append(some)
    out = np.empty((len(parts[0]), len(rho_m)), dtype=np.complex128)
    out[:, np.concatenate(places)] = np.concatenate(parts, axis=1)
    return out


def _octaves(
    rho: FloatArray, gamma_air: complex, scale: float, height: float
) -> Iterator[tuple[NDArray[np.bool_], Wavenumbers]]:
    """Offsets within a factor of two share their nodes."""
    last = DECAY / height
    # nearer offsets than this don't fade the spectrum before it has died
    near = FADE_TO / last
    octave = np.where(rho <= near, 0, np.ceil(np.log2(np.maximum(rho, near) / near))).astype(np.int64)
    for number in np.unique(octave):
        rho_max = near * 2.0**number
        # the fading begins well beyond the air's branch point, however far the offsets
        end = last if number == 0 else max(2.0 * FADE_TO / rho_max, FADE_AIR * abs(gamma_air))
        yield octave == number, _wavenumbers(gamma_air, scale, rho_max, end, fade=number > 0)


def _wavenumbers(gamma_air: complex, scale: float, rho_max: float, end: float, *, fade: bool) -> Wavenumbers:
    node, weight = np.polynomial.legendre.leggauss(GAUSS_NODES)
    k0 = abs(gamma_air)
    if k0 > 0.0:
        waves = math.ceil(k0 * rho_max / STEP_RADIANS)
        far = np.linspace(0.0, np.pi / 2.0 - NEAR_AIR[-1], waves + 1)
        below = _panels(np.concatenate([far, np.pi / 2.0 - np.array(NEAR_AIR[-2::-1])]), node, weight)
        above = _panels(_breaks(k0, rho_max, end), node, weight)
        flat = k0 * np.concatenate([np.sin(below[0]), np.cosh(above[0])])
        air: ComplexArray = np.concatenate([1j * k0 * np.cos(below[0]), k0 * np.sinh(above[0])], dtype=np.complex128)
        step = k0 * np.concatenate([np.cos(below[0]) * below[1], np.sinh(above[0]) * above[1]])
    else:
        first = FIRST_PANEL * min(scale, 1.0 / rho_max)
        flat, step = _panels(np.concatenate([[0.0], _log_breaks(first, rho_max, end)]), node, weight)
        air = flat.astype(np.complex128)
    if fade:
        place = np.log(flat / (end * FADE_FROM / FADE_TO)) / math.log(FADE_TO / FADE_FROM)
        step = step * 0.5 * special.erfc(FADE_SLOPE * (place - 0.5))
    return Wavenumbers(flat, air, step)


def _panels(breaks: FloatArray, node: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    half, middle = 0.5 * np.diff(breaks), 0.5 * (breaks[1:] + breaks[:-1])
    return (middle[:, None] + half[:, None] * node).ravel(), (half[:, None] * weight).ravel()


def _breaks(k0: float, rho_max: float, end: float) -> FloatArray:
    """Return breaks in t, l = k0 cosh t, from the branch point on."""
    breaks = list(NEAR_AIR)
    outer = np.arccosh(max(end / k0, math.cosh(1.0)))
    while breaks[-1] < outer:
        flat = k0 * math.cosh(breaks[-1])
        along = math.acosh((flat + STEP_RADIANS / rho_max) / k0)
        breaks.append(min(breaks[-1] + STEP_LOG, along, outer))
    return np.array(breaks)


def _log_breaks(first: float, rho_max: float, end: float) -> FloatArray:
    breaks = [min(first, end)]
    while breaks[-1] < end:
        breaks.append(min(breaks[-1] * math.exp(STEP_LOG), breaks[-1] + STEP_RADIANS / rho_max, end))
    return np.array(breaks)
