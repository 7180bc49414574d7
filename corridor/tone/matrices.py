"""The two matrices of the tone network: series impedance Z along the sections and leakage impedance P to the soil.

Frequency-independent integrals come ready from `corridor.tone.integrals`; what the earth adds is smooth and is read
from an `EarthTable` at midpoints, for near pairs at two Gauss points on each section.
"""

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.earth import ComplexArray, air_reflection, complex_conductivity, propagation_constant
from corridor.tone.integrals import CoatedPairs, DistanceIntegrals, FloatArray
from corridor.tone.kernel_table import EarthTable, rests_at
from corridor.tone.layer_matrices import LayerSections, correct_for_layers
from corridor.tone.layered import Layers, direct_factor, layers_of
from corridor.tone.sommerfeld import air_propagation_constant

__all__ = ["section_matrices"]

# Pairs closer than this many lengths get two points a section for the smooth part.
NEAR_LENGTHS = 3.0
# The smooth part is read no nearer to the surface than this.
DEPTH_FLOOR_M = 0.005
FOUR_PI = 4.0 * math.pi
GAUSS_2 = 0.5 / math.sqrt(3.0)


class _Sections(NamedTuple):
    points: FloatArray  # (n, 3, 3): midpoint, then the two Gauss points
    tangent: FloatArray  # (n, 3)
    length: FloatArray  # (n,)
    conducts: NDArray[np.bool_]  # (n,), false for located electrodes


class _Earth(NamedTuple):
    gamma: complex
    reflection: complex
    series_factor: complex  # j omega mu_0/(4 pi)
    leakage_factor: complex  # 1/(4 pi sigma)
    rests: ComplexArray
    scale: FloatArray


class _Work(NamedTuple):
    direct: FloatArray
    image: FloatArray
    leakage_diagonal: FloatArray
    Z: ComplexArray
    P: ComplexArray


def section_matrices(
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    integrals: DistanceIntegrals,
    series_ohm_per_m: ArrayLike,
    coating_s_per_m: ArrayLike,
    electrode: ArrayLike,
    electrode_ohm: ArrayLike,
    frequency_hz: float,
    resistivity_ohm_m: float,
    relative_permittivity: float = 10.0,
    top_thickness_m: float | None = None,
    lower_resistivity_ohm_m: float | None = None,
) -> tuple[ComplexArray, ComplexArray]:
    """Return the matrices Z and P of n sections: drop along a section per current, potential of a section per leak.

    Parameters
    ----------
    start_m, end_m : array_like of float, shape (n, 3)
        Ends of the sections: x, y, depth below ground, m.
    integrals : DistanceIntegrals
        Of the same sections, from `corridor.tone.integrals.inverse_distance_integrals`.
    series_ohm_per_m : array_like of complex, shape (n,)
        Internal impedance of each section.
    coating_s_per_m : array_like of complex, shape (n,)
        Admittance of its coating; infinite for bare metal, never zero.
    electrode : array_like of bool, shape (n,)
        Sections that are located ground electrodes: they leak and don't carry current along.
    electrode_ohm : array_like of float, shape (n,)
        Resistance to remote earth that replaces an electrode's own leakage term; NaN keeps the calculated one.
    frequency_hz, resistivity_ohm_m, relative_permittivity : float
        Of the tone and the soil; the top layer's where there are two.
    top_thickness_m, lower_resistivity_ohm_m : float, optional
        Thickness of a top layer, m, and the resistivity below it; None or NaN for both: one soil. A section lies in the
        layer of its middle.

    Returns
    -------
    tuple of ndarray of complex, shape (n, n)
        Z and P, ohms, both symmetric. Partial elements after Otero, Cidras and del Alamo 1999 (IEEE Transactions on
        Power Delivery) with the kernels g_A and g_K of the half space or of two layers, with the wave in the air; pairs
        with a vertical part use the low-frequency limit of the spectral solution in homogeneous soil.

    Raises
    ------
    DomainError
        If shapes don't fit, a coating has no admittance, the soil or the frequency is out of range, or only one of
        thickness and lower resistivity is given.
    """
    if not frequency_hz > 0.0:
        msg = f"frequency_hz must be positive, got {frequency_hz}"
        raise DomainError(msg)
    start, end = np.asarray(start_m, dtype=np.float64), np.asarray(end_m, dtype=np.float64)
    n = len(start)
    series = _per_section(series_ohm_per_m, n, "series_ohm_per_m")
    coating = _per_section(coating_s_per_m, n, "coating_s_per_m")
    located = _per_section(electrode, n, "electrode").astype(bool)
    resistance = _per_section(electrode_ohm, n, "electrode_ohm").real
    if start.shape != (n, 3) or end.shape != (n, 3) or integrals.direct.shape != (n, n):
        msg = f"start_m, end_m and integrals must describe the same n sections, got {start.shape}, {end.shape}"
        raise DomainError(msg)
    if np.any(coating == 0.0):
        msg = f"section {int(np.flatnonzero(coating == 0.0)[0])}: a coating needs an admittance, however small"
        raise DomainError(msg)
    sections = _sections(start, end, located)
    soil = (resistivity_ohm_m, frequency_hz, relative_permittivity)
    layers = layers_of(
        resistivity_ohm_m,
        frequency_hz,
        top_thickness_m=top_thickness_m,
        lower_resistivity_ohm_m=lower_resistivity_ohm_m,
        relative_permittivity=relative_permittivity,
    )
    Z, P = np.empty((n, n), dtype=np.complex128), np.empty((n, n), dtype=np.complex128)
    earth = _earth(sections, soil)
    _fill(sections, earth, _Work(integrals.direct, integrals.image, integrals.leakage_diagonal, Z, P))
    if layers is not None:
        lines = LayerSections(sections.points, sections.tangent, sections.length, sections.conducts, start, end)
        correct_for_layers(Z, P, sections=lines, integrals=integrals, layers=layers, frequency_hz=frequency_hz)
    _add_coated(P, sections, integrals.coated, earth.leakage_factor if layers is None else layers)
    diagonal = np.arange(n)
    Z[diagonal, diagonal] += np.where(located, 0.0, series * sections.length)
    P[diagonal, diagonal] += _coating_ohm(coating, sections.length)
    replaced = located & ~np.isnan(resistance)
    P[replaced, replaced] = resistance[replaced]
    return Z, P


def _per_section(values: ArrayLike, n: int, name: str) -> ComplexArray:
    array = np.asarray(values, dtype=np.complex128)
    if array.shape != (n,):
        msg = f"{name} must have one value for each of the {n} sections, got shape {array.shape}"
        raise DomainError(msg)
    return array


def _coating_ohm(coating: ComplexArray, length: FloatArray) -> ComplexArray:
    # 1/(inf + 0j) is NaN in complex arithmetic: bare metal is set apart
    bare = np.isinf(coating)
    return np.where(bare, 0.0, 1.0 / (np.where(bare, 1.0, coating) * length))


def _add_coated(P: ComplexArray, sections: _Sections, coated: CoatedPairs, ground: complex | Layers) -> None:
    """Let the leaks of a coated conductor's near pairs start from its outer radius."""
    first, second, change_m = coated
    factor: complex | ComplexArray
    if isinstance(ground, Layers):
        lower = sections.points[:, 0, 2] > ground.thickness_m
        factor = direct_factor(ground, lower_a=lower[first], lower_b=lower[second])
    else:
        factor = ground
    ohm = factor * change_m / (sections.length[first] * sections.length[second])
    P[first, second] += ohm
    P[second, first] += ohm


def _sections(start: FloatArray, end: FloatArray, located: NDArray[np.bool_]) -> _Sections:
    step = end - start
    length = np.linalg.norm(step, axis=1)
    middle = 0.5 * (start + end)
    points = np.stack([middle, middle - GAUSS_2 * step, middle + GAUSS_2 * step], axis=1)
    points[..., 2] = np.maximum(points[..., 2], DEPTH_FLOOR_M)
    return _Sections(points, step / length[:, None], length, ~located)


def _earth(sections: _Sections, soil: tuple[float, float, float]) -> _Earth:
    resistivity, frequency, permittivity = soil
    gamma = propagation_constant(resistivity, frequency, relative_permittivity=permittivity)
    reflection = air_reflection(resistivity, frequency, relative_permittivity=permittivity)
    sigma = complex_conductivity(resistivity, frequency, relative_permittivity=permittivity)
    places = sections.points.reshape(-1, 3)
    table = EarthTable(
        gamma,
        reflection,
        rho_max_m=float(np.hypot(*np.ptp(places[:, :2], axis=0))),
        depth_sum_min_m=2.0 * float(places[:, 2].min()),
        depth_sum_max_m=2.0 * float(places[:, 2].max()),
        gamma_air=air_propagation_constant(frequency, relative_permittivity=permittivity),
    )
    return _Earth(
        gamma, reflection, 1j * TWO_PI * frequency * MU_0 / FOUR_PI, 1.0 / (FOUR_PI * sigma), table.rests, table.scale
    )


@numba.njit(cache=True)
def _wave_rest(gamma: complex, distance: float) -> complex:
    """(exp(-gamma R) - 1)/R, free of cancellation."""
    if distance < 1e-9:
        return -gamma
    real, imag = -gamma.real * distance, -gamma.imag * distance
    grown = math.expm1(real)
    half = math.sin(0.5 * imag)
    return complex(grown * math.cos(imag) - 2.0 * half * half, (grown + 1.0) * math.sin(imag)) / distance


@numba.njit(cache=True)
def _rest(i: np.int64, j: int, sections: _Sections, earth: _Earth) -> tuple[complex, complex, float]:
    """Mean over two sections of the smooth parts of g_A and g_K, and of the term between vertical and horizontal."""
    a, b = sections.tangent[i], sections.tangent[j]
    offset_x = sections.points[i, 0, 0] - sections.points[j, 0, 0]
    offset_y = sections.points[i, 0, 1] - sections.points[j, 0, 1]
    reach = NEAR_LENGTHS * max(sections.length[i], sections.length[j])
    first, last = (1, 3) if offset_x * offset_x + offset_y * offset_y < reach * reach else (0, 1)
    vector = 0.0j
    potential = 0.0j
    mixed = 0.0
    for p in range(first, last):
        for q in range(first, last):
            x = sections.points[i, p, 0] - sections.points[j, q, 0]
            y = sections.points[i, p, 1] - sections.points[j, q, 1]
            drop = sections.points[i, p, 2] - sections.points[j, q, 2]
            h_sum = sections.points[i, p, 2] + sections.points[j, q, 2]
            rho_2 = x * x + y * y
            r2 = math.sqrt(rho_2 + h_sum * h_sum)
            wave = _wave_rest(earth.gamma, math.sqrt(rho_2 + drop * drop))
            at_vector, at_potential = rests_at(earth.rests, earth.scale, math.sqrt(rho_2), h_sum)
            vector += wave + at_vector / r2
            potential += wave + at_potential / r2
            mixed += (a[2] * (x * b[0] + y * b[1]) - b[2] * (x * a[0] + y * a[1])) / (r2 * (r2 + h_sum))
    share = 1.0 if first == 0 else 0.25
    return share * vector, share * potential, share * mixed


@numba.njit(cache=True)
def _fill_row(i: np.int64, sections: _Sections, earth: _Earth, work: _Work) -> None:
    Z, P = work.Z, work.P
    a = sections.tangent[i]
    for j in range(i, len(sections.length)):
        b = sections.tangent[j]
        area = sections.length[i] * sections.length[j]
        vector, potential, mixed = _rest(i, j, sections, earth)
        direct, image = work.direct[i, j], work.image[i, j]
        if sections.conducts[i] and sections.conducts[j]:
            level = a[0] * b[0] + a[1] * b[1]
            upright = a[2] * b[2]
            Z[i, j] = earth.series_factor * (
                (level + upright) * direct + area * (level * vector + mixed) - 2.0 * upright * image
            )
        else:
            Z[i, j] = 0.0
        if i == j:
            direct = work.leakage_diagonal[i]
        P[i, j] = earth.leakage_factor * ((direct + earth.reflection * image) / area + potential)
        Z[j, i], P[j, i] = Z[i, j], P[i, j]


@numba.njit(parallel=True, cache=True)
def _fill(sections: _Sections, earth: _Earth, work: _Work) -> None:
    n = len(sections.length)
    # a long and a short row of the triangle together: equal work for each thread
    for k in numba.prange((n + 1) // 2):
        first = np.int64(k)
        last = n - 1 - first
        _fill_row(first, sections, earth, work)
        if last != first:
            _fill_row(last, sections, earth, work)
