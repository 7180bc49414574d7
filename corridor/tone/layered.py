"""Soil of two layers: a top layer of given thickness over a lower half space, under air.

The field of a horizontal element is a wave on a transmission line in depth for each of its two polarisations (Wait
1962, Electromagnetic Waves in Stratified Media; Michalski and Mosig 1997, IEEE Transactions on Antennas and
Propagation 45:508, both from memory, checked against another program): reflection coefficients at the surface and at
the interface give its spectrum, `corridor.tone.sommerfeld` the integral. What would be singular, 1/R of the elements
and of their static images, is taken out of the spectrum and added in closed form.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.earth import ComplexArray, air_reflection, complex_conductivity, propagation_constant
from corridor.tone.sommerfeld import (
    FloatArray,
    Spectrum,
    Wavenumbers,
    air_propagation_constant,
    hankel_columns,
    hankel_points,
)

__all__ = [
    "Images",
    "Layers",
    "direct_factor",
    "layer_columns",
    "layer_grid",
    "layer_rests",
    "layers_of",
    "static_images",
]

# spectra are followed as if nothing lay nearer than this to the interface
HEIGHT_MIN_M = 0.02


class Layers(NamedTuple):
    """Two layers at one frequency.

    Attributes
    ----------
    gamma_top, gamma_lower, gamma_air : complex
        Propagation constants, 1/m.
    sigma_top, sigma_lower : complex
        Conductivities with displacement current, S/m.
    surface : complex
        Image coefficient of a charge in the top layer in the ground surface.
    contrast : complex
        Of the same in the interface, (sigma_top - sigma_lower)/(sigma_top + sigma_lower).
    thickness_m : float
        Of the top layer.
    """

    gamma_top: complex
    gamma_lower: complex
    gamma_air: complex
    sigma_top: complex
    sigma_lower: complex
    surface: complex
    contrast: complex
    thickness_m: float


class Images(NamedTuple):
    """Static images of a leak: coefficients of 1/R1, 1/R2 and 1/R to the mirror image in the interface.

    ``sigma`` is the conductivity (S/m) by which the leakage kernel is divided.
    """

    direct: complex
    surface: complex
    interface: complex
    sigma: complex


class _Modes(NamedTuple):
    """One polarisation: reflection at the surface and at the interface, both seen from the top layer."""

    surface: ComplexArray
    interface: ComplexArray
    repeated: ComplexArray  # sum of all passes up and down, 1/(1 - R0 R1 exp(-2 u1 d))


def layers_of(
    resistivity_ohm_m: float,
    frequency_hz: float,
    *,
    top_thickness_m: float | None,
    lower_resistivity_ohm_m: float | None,
    relative_permittivity: float = 10.0,
) -> Layers | None:
    """Return the constants of two layers, or None for one soil.

    Parameters
    ----------
    resistivity_ohm_m : float
        Of the top layer, > 0.
    frequency_hz : float
        Frequency, > 0.
    top_thickness_m, lower_resistivity_ohm_m : float or None
        Thickness of the top layer, m, > 0, and the resistivity below it, > 0; None or NaN for both: one soil.
    relative_permittivity : float
        Of both layers; 0 leaves all displacement currents out.

    Returns
    -------
    Layers or None

    Raises
    ------
    DomainError
        If a value is out of range, or only one of thickness and lower resistivity is given.
    """
    thickness = math.nan if top_thickness_m is None else top_thickness_m
    below = math.nan if lower_resistivity_ohm_m is None else lower_resistivity_ohm_m
    if math.isnan(thickness) and math.isnan(below):
        return None
    if not (0.0 < thickness < math.inf and 0.0 < below < math.inf):
        msg = (
            "two layers need top_thickness_m and lower_resistivity_ohm_m, both positive numbers (m, ohm m), got "
            f"{top_thickness_m} and {lower_resistivity_ohm_m}; leave both out for one soil"
        )
        raise DomainError(msg)
    eps = relative_permittivity
    top = complex_conductivity(resistivity_ohm_m, frequency_hz, relative_permittivity=eps)
    lower = complex_conductivity(below, frequency_hz, relative_permittivity=eps)
    return Layers(
        propagation_constant(resistivity_ohm_m, frequency_hz, relative_permittivity=eps),
        propagation_constant(below, frequency_hz, relative_permittivity=eps),
        air_propagation_constant(frequency_hz, relative_permittivity=eps),
        top,
        lower,
        air_reflection(resistivity_ohm_m, frequency_hz, relative_permittivity=eps),
        (top - lower) / (top + lower),
        thickness,
    )


def static_images(layers: Layers, *, lower_a: bool, lower_b: bool) -> Images:
    """Return the images that `layer_rests` leaves to be added, by the layers of both elements.

    Parameters
    ----------
    layers : Layers
    lower_a, lower_b : bool
        Whether each element lies below the interface.

    Returns
    -------
    Images
    """
    k = layers.contrast
    if lower_a != lower_b:
        return Images(1.0 + k, (1.0 + k) * layers.surface, 0j, layers.sigma_top)
    if lower_a:
        return Images(1.0 + 0j, (1.0 - k * k) * layers.surface, -k, layers.sigma_lower)
    return Images(1.0 + 0j, layers.surface, k, layers.sigma_top)


def direct_factor(layers: Layers, *, lower_a: NDArray[np.bool_], lower_b: NDArray[np.bool_]) -> ComplexArray:
    """Return what 1/R of two elements is multiplied by in the leakage matrix, by the layers of both.

    Parameters
    ----------
    layers : Layers
    lower_a, lower_b : ndarray of bool, shape (m,)
        Whether each element lies below the interface.

    Returns
    -------
    ndarray of complex, shape (m,)
        `static_images`' coefficient over 4 pi sigma, ohm m.
    """
    kinds = [static_images(layers, lower_a=a, lower_b=b) for a, b in ((False, False), (False, True), (True, True))]
    factors = np.array([kind.direct / (4.0 * math.pi * kind.sigma) for kind in kinds])
    return np.asarray(factors[lower_a.astype(int) + lower_b.astype(int)])


def layer_columns(layers: Layers, depth_a_m: FloatArray, depth_b_m: FloatArray) -> Spectrum:
    """Return the spectra of the rests of g_A and g_K for pairs of depths that lie in the same two layers.

    Parameters
    ----------
    layers : Layers
    depth_a_m, depth_b_m : ndarray of float, shape (c,)
        Depths, m. All of a on one side of the interface, all of b on one side; b the lower one.

    Returns
    -------
    callable
        Takes `Wavenumbers`, returns shape (2, k, c), to be integrated with J0(l rho), in 1/m.

        In the top layer: what the interface adds to the half space of the top layer's soil, less contrast/R to the
        mirror image in it. Below: all but exp(-gamma R1)/R1 and the static images. One in each: all but the static
        terms (g_A: 1/R1).
    """
    d = layers.thickness_m
    h_sum, drop = depth_a_m + depth_b_m, np.abs(depth_b_m - depth_a_m)
    # a node of a table may lie on the interface itself: the middle tells the side
    lower_a, lower_b = bool(depth_a_m.mean() > d), bool(depth_b_m.mean() > d)
    k = layers.contrast

    def top(nodes: Wavenumbers) -> ComplexArray:
        u, _ = _roots(layers, nodes)
        waves = [np.exp(-u * path) for path in (2.0 * d + h_sum, 2.0 * d - h_sum, 2.0 * d + drop, 2.0 * d - drop)]
        volts = [
            m.repeated * m.interface * (m.surface * (m.surface * waves[0] + waves[2] + waves[3]) + waves[1])
            for m in _polarisations(layers, nodes)
        ]
        static = k * np.exp(-nodes.horizontal[:, None] * (2.0 * d - h_sum))
        return _kernels(nodes, u, layers.gamma_top, volts) - np.stack([np.zeros_like(static), static])

    def below(nodes: Wavenumbers) -> ComplexArray:
        u_top, u = _roots(layers, nodes)
        there_and_back = np.exp(-2.0 * u_top * d)
        wave = np.exp(-u * (h_sum - 2.0 * d))
        volts = [(m.surface * there_and_back - m.interface) * m.repeated * wave for m in _polarisations(layers, nodes)]
        flat = nodes.horizontal[:, None]
        image = (1.0 - k * k) * layers.surface
        static = image * np.exp(-flat * h_sum) - k * np.exp(-flat * (h_sum - 2.0 * d))
        return _kernels(nodes, u, layers.gamma_lower, volts) - np.stack([np.zeros_like(static), static])

    def across(nodes: Wavenumbers) -> ComplexArray:
        u, u_lower = _roots(layers, nodes)
        down, up = np.exp(-u * (d - depth_a_m)), np.exp(-u * (d + depth_a_m))
        on = np.exp(-u_lower * (depth_b_m - d))
        volts = [m.repeated * (1.0 + m.interface) * (down + m.surface * up) * on for m in _polarisations(layers, nodes)]
        flat = nodes.horizontal[:, None]
        direct = np.exp(-flat * drop)
        static = (1.0 + k) * (direct + layers.surface * np.exp(-flat * h_sum))
        return _kernels(nodes, u, layers.gamma_top, volts) - np.stack([direct, static])

    if lower_a != lower_b:
        return across
    return below if lower_a else top


def layer_rests(layers: Layers, rho_m: ArrayLike, depth_a_m: ArrayLike, depth_b_m: ArrayLike) -> ComplexArray:
    """Integrate the rests of g_A and g_K (see `layer_columns`) at points in the same two layers.

    Parameters
    ----------
    layers : Layers
    rho_m, depth_a_m, depth_b_m : array_like of float, shape (m,)
        Horizontal offset and depths, m. All of a on one side of the interface, all of b on one side, b the lower one.

    Returns
    -------
    ndarray of complex, shape (2, m)
        1/m.
    """
    rho = np.asarray(rho_m, dtype=np.float64)
    depths = np.stack([np.asarray(depth_a_m, dtype=np.float64), np.asarray(depth_b_m, dtype=np.float64)], axis=1)
    pairs, column = np.unique(depths, axis=0, return_inverse=True)
    return hankel_points(
        rho,
        column.ravel().astype(np.int64),
        lambda nodes, used: layer_columns(layers, pairs[used, 0], pairs[used, 1])(nodes),
        gamma_air=layers.gamma_air,
        scale_per_m=_scale(layers),
        height_m=_height(layers, pairs[:, 0], pairs[:, 1]),
    )


def layer_grid(layers: Layers, rho_m: FloatArray, depth_a_m: FloatArray, depth_b_m: FloatArray) -> ComplexArray:
    """Integrate the rests of g_A and g_K on a grid, for a table.

    Parameters
    ----------
    layers : Layers
    rho_m, depth_a_m, depth_b_m : ndarray of float, shapes (m,), (a,), (b,)
        As in `layer_rests`.

    Returns
    -------
    ndarray of complex, shape (m, a, b, 2)
        1/m.
    """
    same = np.array_equal(depth_a_m, depth_b_m)  # the rests know no order: half of the pairs serve for all
    shape = (len(depth_a_m), len(depth_b_m))
    row, column = np.triu_indices(len(depth_a_m)) if same else np.indices(shape).reshape(2, -1)
    a, b = depth_a_m[row], depth_b_m[column]
    spectra = layer_columns(layers, a, b)
    found = hankel_columns(
        rho_m,
        lambda nodes: np.concatenate(list(spectra(nodes)), axis=1),
        gamma_air=layers.gamma_air,
        scale_per_m=_scale(layers),
        height_m=_height(layers, a, b),
    )
    out = np.empty((len(rho_m), *shape, 2), dtype=np.complex128)
    out[:, row, column] = np.moveaxis(found.reshape(len(rho_m), 2, len(row)), 1, -1)
    if same:
        out[:, column, row] = out[:, row, column]
    return out


def _scale(layers: Layers) -> float:
    return min(abs(layers.gamma_top), abs(layers.gamma_lower), 1.0 / layers.thickness_m)


def _height(layers: Layers, depth_a: FloatArray, depth_b: FloatArray) -> float:
    """Return what the slowest falling exponential falls with."""
    d = layers.thickness_m
    middle_a, middle_b = bool(depth_a.mean() > d), bool(depth_b.mean() > d)
    if middle_a != middle_b:
        least = float(np.min(depth_b - depth_a))
    elif middle_a:
        least = float(np.min(depth_a + depth_b)) - 2.0 * d
    else:
        least = 2.0 * d - float(np.max(depth_a + depth_b))
    return max(least, HEIGHT_MIN_M)


def _roots(layers: Layers, nodes: Wavenumbers) -> tuple[ComplexArray, ComplexArray]:
    flat = nodes.horizontal[:, None] ** 2
    return np.sqrt(flat + layers.gamma_top**2), np.sqrt(flat + layers.gamma_lower**2)


def _polarisations(layers: Layers, nodes: Wavenumbers) -> tuple[_Modes, _Modes]:
    """Transverse magnetic (line impedance u/sigma), then transverse electric (j omega mu/u)."""
    top, lower = _roots(layers, nodes)
    air = nodes.air[:, None]
    over, under = (layers.gamma_air / layers.gamma_top) ** 2, layers.sigma_lower / layers.sigma_top
    passed = np.exp(-2.0 * top * layers.thickness_m)

    def modes(surface: ComplexArray, interface: ComplexArray) -> _Modes:
        return _Modes(surface, interface, 1.0 / (1.0 - surface * interface * passed))

    return (
        modes((air - over * top) / (air + over * top), (lower - under * top) / (lower + under * top)),
        modes((top - air) / (top + air), (top - lower) / (top + lower)),
    )


def _kernels(nodes: Wavenumbers, u: ComplexArray, gamma: complex, volts: list[ComplexArray]) -> ComplexArray:
    """From the voltages of both polarisations, against their own line's Z/2, to g_A and g_K."""
    magnetic, electric = volts
    flat = nodes.horizontal[:, None]
    return np.stack([flat / u * electric, (u * magnetic - gamma**2 / u * electric) / flat])
