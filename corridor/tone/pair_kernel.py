"""What one pair of sections adds to Z and P: the formulas of the kernels g_A and g_K, averaged over both sections.

The parts 1/R1 and 1/R2 come integrated from `corridor.tone.integrals`. The rest is smooth: it is read from tables at
the midpoints, for near pairs at two Gauss points on each section. In two layers the static images are integrated too,
and a section lies in the layer of its middle. Written into the loops that call them where that halves their time.
"""

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.tone.earth import ComplexArray
from corridor.tone.integrals import FloatArray, pair_integral
from corridor.tone.kernel_table import rests_at
from corridor.tone.layer_matrices import LayerGround, LayerTable, read_table
from corridor.tone.level_pairs import read_level_pair, wave_rest

__all__ = ["PairSections", "PairSoil", "layer_entries", "pair_sections", "soil_entries"]

# Pairs closer than this many lengths get two points a section for the smooth part.
NEAR_LENGTHS = 3.0
# The smooth part is read no nearer to the surface than this.
DEPTH_FLOOR_M = 0.005
GAUSS_2 = 0.5 / math.sqrt(3.0)
# Least distance of an axis to an image's in the interface; capped by the radius afterwards.
MIRROR_MIN_M = 1e-3
# Kind of a pair: how many of its sections lie below the interface.
ABOVE, ACROSS, BELOW = 0, 1, 2


class PairSections(NamedTuple):
    """Sections as the kernel wants them.

    Attributes
    ----------
    points : ndarray of float, shape (n, 3, 3)
        Middle and two Gauss points of each, m.
    tangent : ndarray of float, shape (n, 3)
        Unit vectors.
    length : ndarray of float, shape (n,)
        Metres.
    conducts : ndarray of bool, shape (n,)
        False for located electrodes.
    ends : ndarray of float, shape (n, 2, 3)
        Ends, m.
    """

    points: FloatArray
    tangent: FloatArray
    length: FloatArray
    conducts: NDArray[np.bool_]
    ends: FloatArray


class PairSoil(NamedTuple):
    """The half space of the top layer's soil.

    Attributes
    ----------
    gamma : complex
        Propagation constant of the soil, 1/m.
    reflection : complex
        Image coefficient of the surface.
    series_factor : complex
        j omega mu_0/(4 pi), ohm/m.
    leakage_factor : complex
        1/(4 pi sigma), ohm m.
    rests, scale : ndarray
        Of an `corridor.tone.kernel_table.EarthTable`.
    depth_of, row_of, level_rests, level_scale
        The fields of a `corridor.tone.level_pairs.LevelPairs`, in its order.
    """

    gamma: complex
    reflection: complex
    series_factor: complex
    leakage_factor: complex
    rests: ComplexArray
    scale: FloatArray
    depth_of: NDArray[np.int64]
    row_of: NDArray[np.int64]
    level_rests: FloatArray
    level_scale: float


def pair_sections(start_m: FloatArray, end_m: FloatArray, conducts: NDArray[np.bool_]) -> PairSections:
    """Return sections as the kernel wants them.

    Parameters
    ----------
    start_m, end_m : ndarray of float, shape (n, 3)
        Ends: x, y, depth, m.
    conducts : ndarray of bool, shape (n,)
        False for located electrodes.

    Returns
    -------
    PairSections
    """
    step = end_m - start_m
    length = np.linalg.norm(step, axis=1)
    middle = 0.5 * (start_m + end_m)
    points = np.stack([middle, middle - GAUSS_2 * step, middle + GAUSS_2 * step], axis=1)
    points[..., 2] = np.maximum(points[..., 2], DEPTH_FLOOR_M)
    return PairSections(points, step / length[:, None], length, conducts, np.stack([start_m, end_m], axis=1))


@numba.njit(cache=True, inline="always")
def _soil_rest(
    i: int | np.int64, j: int | np.int64, sections: PairSections, soil: PairSoil
) -> tuple[complex, complex, float]:
    """Mean over two sections of the smooth parts of g_A and g_K, and of the term between vertical and horizontal."""
    a, b = sections.tangent[i], sections.tangent[j]
    offset_x = sections.points[i, 0, 0] - sections.points[j, 0, 0]
    offset_y = sections.points[i, 0, 1] - sections.points[j, 0, 1]
    reach = NEAR_LENGTHS * max(sections.length[i], sections.length[j])
    first, last = (1, 3) if offset_x * offset_x + offset_y * offset_y < reach * reach else (0, 1)
    share = 1.0 if first == 0 else 0.25
    vector, potential, mixed = 0.0j, 0.0j, 0.0
    depth_i, depth_j = soil.depth_of[i], soil.depth_of[j]
    row = soil.row_of[depth_i, depth_j] if depth_i >= 0 and depth_j >= 0 else -1
    if row >= 0:
        for p in range(first, last):
            for q in range(first, last):
                x = sections.points[i, p, 0] - sections.points[j, q, 0]
                y = sections.points[i, p, 1] - sections.points[j, q, 1]
                rest = read_level_pair(soil.level_rests[row], soil.level_scale, math.sqrt(x * x + y * y))
                vector, potential = vector + rest[0], potential + rest[1]
        return share * vector, share * potential, 0.0
    for p in range(first, last):
        for q in range(first, last):
            x = sections.points[i, p, 0] - sections.points[j, q, 0]
            y = sections.points[i, p, 1] - sections.points[j, q, 1]
            drop = sections.points[i, p, 2] - sections.points[j, q, 2]
            h_sum = sections.points[i, p, 2] + sections.points[j, q, 2]
            rho_2 = x * x + y * y
            r2 = math.sqrt(rho_2 + h_sum * h_sum)
            wave = wave_rest(soil.gamma, math.sqrt(rho_2 + drop * drop))
            at_vector, at_potential = rests_at(soil.rests, soil.scale, math.sqrt(rho_2), h_sum)
            vector += wave + at_vector / r2
            potential += wave + at_potential / r2
            mixed += (a[2] * (x * b[0] + y * b[1]) - b[2] * (x * a[0] + y * a[1])) / (r2 * (r2 + h_sum))
    return share * vector, share * potential, share * mixed


@numba.njit(cache=True, error_model="numpy")
def _layer_rest(
    i: int | np.int64, j: int | np.int64, sections: PairSections, layers: LayerGround
) -> tuple[complex, complex]:
    """Mean over two sections of the rests of g_A and g_K in two layers."""
    offset_x = sections.points[i, 0, 0] - sections.points[j, 0, 0]
    offset_y = sections.points[i, 0, 1] - sections.points[j, 0, 1]
    reach = NEAR_LENGTHS * max(sections.length[i], sections.length[j])
    first, last = (1, 3) if offset_x * offset_x + offset_y * offset_y < reach * reach else (0, 1)
    kind = int(layers.lower[i]) + int(layers.lower[j])
    table = LayerTable(layers.rests[kind], layers.scale[kind], layers.thickness_m)
    vector, potential = 0.0j, 0.0j
    for p in range(first, last):
        for q in range(first, last):
            x = sections.points[i, p, 0] - sections.points[j, q, 0]
            y = sections.points[i, p, 1] - sections.points[j, q, 1]
            depth_i, depth_j = sections.points[i, p, 2], sections.points[j, q, 2]
            rho_2 = x * x + y * y
            # the table across the interface wants the upper depth first
            depths = (depth_j, depth_i) if layers.lower[i] else (depth_i, depth_j)
            at_vector, at_potential = read_table(table, math.sqrt(rho_2), depths)
            if kind == BELOW:
                drop = depth_i - depth_j
                wave = wave_rest(layers.gamma_lower, math.sqrt(rho_2 + drop * drop))
                at_vector, at_potential = at_vector + wave, at_potential + wave
            vector, potential = vector + at_vector, potential + at_potential
    share = 1.0 if first == 0 else 0.25
    return share * vector, share * potential


@numba.njit(cache=True, inline="always")
def soil_entries(
    pair: tuple[int | np.int64, int | np.int64],
    integrals: tuple[float, float, float],
    sections: PairSections,
    soil: PairSoil,
) -> tuple[complex, complex]:
    """Return one pair's entries of Z and P in one soil, for use inside compiled loops.

    Parameters
    ----------
    pair : tuple of int
        The sections; their order matters to rounding only.
    integrals : tuple of float
        Of 1/R1 for induction, of 1/R2, and of 1/R1 for leakage, m.
    sections : PairSections
    soil : PairSoil

    Returns
    -------
    tuple of complex
        Ohms; without the metal's and the coating's own.
    """
    i, j = pair
    direct, image, leaking = integrals
    a, b = sections.tangent[i], sections.tangent[j]
    area = sections.length[i] * sections.length[j]
    vector, potential, mixed = _soil_rest(i, j, sections, soil)
    along = 0.0j
    if sections.conducts[i] and sections.conducts[j]:
        level, upright = a[0] * b[0] + a[1] * b[1], a[2] * b[2]
        along = soil.series_factor * (
            (level + upright) * direct + area * (level * vector + mixed) - 2.0 * upright * image
        )
    return along, soil.leakage_factor * ((leaking + soil.reflection * image) / area + potential)


@numba.njit(cache=True, error_model="numpy")
def layer_entries(
    pair: tuple[int | np.int64, int | np.int64],
    integrals: tuple[float, float, float],
    sections: PairSections,
    ground: tuple[PairSoil, LayerGround],
) -> tuple[complex, complex]:
    """Return one pair's entries of Z and P in two layers; parameters and result as of `soil_entries`.

    Of a pair above the interface they are those of one soil and what the interface adds.

    Parameters
    ----------
    pair, integrals, sections
        As there.
    ground : tuple
        The half space of the top layer's soil, and what the second layer changes.

    Returns
    -------
    tuple of complex
        Ohms.
    """
    i, j = pair
    direct, image, leaking = integrals
    soil, layers = ground
    a, b = sections.tangent[i], sections.tangent[j]
    area = sections.length[i] * sections.length[j]
    level, upright = a[0] * b[0] + a[1] * b[1], a[2] * b[2]
    kind = int(layers.lower[i]) + int(layers.lower[j])
    coefficient = layers.images[kind]
    vector, potential = _layer_rest(i, j, sections, layers)
    drop = area * level * vector
    if kind != ACROSS:
        # an image is never nearer than the metal itself, whose radius the direct term knows
        mirror = min(pair_integral(sections.ends[i], layers.mirrored[j], MIRROR_MIN_M), leaking)
        potential += coefficient[2] * mirror / area
    leak = coefficient[3] * potential
    if kind == ABOVE:
        along, above = soil_entries(pair, integrals, sections, soil)
        leak += above
    else:
        along = 0.0j
        _, _, mixed = _soil_rest(i, j, sections, soil)
        drop += (level + upright) * direct + area * mixed - 2.0 * upright * image
        leak += coefficient[3] * (coefficient[0] * leaking + coefficient[1] * image) / area
    if sections.conducts[i] and sections.conducts[j]:
        along += soil.series_factor * drop
    return along, leak
