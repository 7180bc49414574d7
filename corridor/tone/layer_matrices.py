"""What a second soil layer changes in the matrices of the sections.

The matrices come made for the half space of the top layer's soil. Pairs in the top layer get what the interface adds,
the others are written anew. Static images are integrated over the sections exactly, the rest is read from tables over
the horizontal offset and both depths, as the half space's is.
"""

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.tone.earth import ComplexArray
from corridor.tone.integrals import DistanceIntegrals, pair_integral
from corridor.tone.kernel_table import cubic_weights
from corridor.tone.layered import Layers, layer_grid, static_images
from corridor.tone.sommerfeld import FloatArray

__all__ = ["LayerSections", "LayerTable", "correct_for_layers", "layer_table", "read_table"]

RHO_NODES = 200
DEPTH_NODES = 10
# Depths of one value still need a grid of some width.
DEPTH_MARGIN_M = 0.05
# Pairs closer than this many lengths get two points a section for the smooth part, as in the half space.
NEAR_LENGTHS = 3.0
FOUR_PI = 2.0 * TWO_PI
# Least distance of an axis to an image's; capped by the radius afterwards.
MIRROR_MIN_M = 1e-3
# Kind of a pair: how many of its sections lie below the interface.
BELOW = 2


class LayerSections(NamedTuple):
    """Sections as `corridor.tone.matrices` has them.

    Attributes
    ----------
    points : ndarray of float, shape (n, 3, 3)
        Middle and two Gauss points of each.
    tangent : ndarray of float, shape (n, 3)
        Unit vectors.
    length : ndarray of float, shape (n,)
        Metres.
    conducts : ndarray of bool, shape (n,)
        False for located electrodes.
    start, end : ndarray of float, shape (n, 3)
        Ends, m.
    """

    points: FloatArray
    tangent: FloatArray
    length: FloatArray
    conducts: NDArray[np.bool_]
    start: FloatArray
    end: FloatArray


class LayerTable(NamedTuple):
    """Rests of g_A and g_K (see `corridor.tone.layered.layer_columns`), times hypot(rho, d).

    Attributes
    ----------
    rests : ndarray of complex, shape (rho, a, b, 2)
        Over asinh(rho) and both depths.
    scale : ndarray of float, shape (6,)
        Start and inverse step of the three axes.
    thickness_m : float
        The d in the factor.
    """

    rests: ComplexArray
    scale: FloatArray
    thickness_m: float


class _Ground(NamedTuple):
    series_factor: complex  # j omega mu_0/(4 pi)
    gamma_lower: complex
    thickness: float
    lower: NDArray[np.bool_]  # (n,), which sections lie below the interface
    images: ComplexArray  # (3, 4): top, across, below; direct, surface, interface, 1/(4 pi sigma)
    rests: ComplexArray  # (3, rho, a, b, 2): the tables of top, across, below
    scale: FloatArray  # (3, 6)


class _Work(NamedTuple):
    ends: FloatArray  # (n, 2, 3)
    mirrored: FloatArray  # (n, 2, 3), in the interface
    direct: FloatArray
    image: FloatArray
    leakage_diagonal: FloatArray
    Z: ComplexArray
    P: ComplexArray


def layer_table(
    layers: Layers, depths_a: tuple[float, float], depths_b: tuple[float, float], *, rho_max_m: float
) -> LayerTable:
    """Tabulate the rests of g_A and g_K between two ranges of depth, each on one side of the interface.

    Parameters
    ----------
    layers : Layers
    depths_a, depths_b : tuple of float
        Least and largest depth, m; the first range not below the second.
    rho_max_m : float
        Largest horizontal offset, m.

    Returns
    -------
    LayerTable
    """
    stretched = np.linspace(0.0, math.asinh(max(rho_max_m, 1.0)), RHO_NODES)
    grids = [np.linspace(*depths, DEPTH_NODES) for depths in (depths_a, depths_b)]
    rho = np.sinh(stretched)
    rests = layer_grid(layers, rho, *grids) * np.hypot(rho, layers.thickness_m)[:, None, None, None]
    axes = [stretched, *grids]
    scale = np.array([value for axis in axes for value in (axis[0], 1.0 / (axis[1] - axis[0]))])
    return LayerTable(np.ascontiguousarray(rests), scale, layers.thickness_m)


def correct_for_layers(
    Z: ComplexArray,
    P: ComplexArray,
    *,
    sections: LayerSections,
    integrals: DistanceIntegrals,
    layers: Layers,
    frequency_hz: float,
) -> None:
    """Change the matrices of the top layer's half space into those of two layers, in place.

    Parameters
    ----------
    Z, P : ndarray of complex, shape (n, n)
        Without the metal's own and the coating's terms, ohm.
    sections : LayerSections
    integrals : DistanceIntegrals
        Of the same sections.
    layers : Layers
    frequency_hz : float
    """
    lower = sections.points[:, 0, 2] > layers.thickness_m
    ends = np.stack([sections.start, sections.end], axis=1)
    mirrored = ends.copy()
    mirrored[..., 2] = 2.0 * layers.thickness_m - mirrored[..., 2]
    parts = (integrals.direct, integrals.image, integrals.leakage_diagonal)
    _correct(sections, _ground(sections, layers, lower, frequency_hz), _Work(ends, mirrored, *parts, Z, P))


def _ground(sections: LayerSections, layers: Layers, lower: NDArray[np.bool_], frequency_hz: float) -> _Ground:
    reach = float(np.hypot(*np.ptp(sections.points.reshape(-1, 3)[:, :2], axis=0)))
    sides = [_depths(sections.points[lower == side, :, 2], layers.thickness_m, below=side) for side in (False, True)]
    kinds = ((False, False), (False, True), (True, True))
    images = [static_images(layers, lower_a=a, lower_b=b) for a, b in kinds]
    present = [not lower.all(), lower.any() and not lower.all(), lower.any()]
    tables = [
        layer_table(layers, sides[a], sides[b], rho_max_m=reach if needed else 1.0)
        for (a, b), needed in zip(kinds, present, strict=True)
    ]
    return _Ground(
        1j * TWO_PI * frequency_hz * MU_0 / FOUR_PI,
        layers.gamma_lower,
        layers.thickness_m,
        lower,
        np.array([[i.direct, i.surface, i.interface, 1.0 / (FOUR_PI * i.sigma)] for i in images]),
        np.stack([table.rests for table in tables]),
        np.stack([table.scale for table in tables]),
    )


def _depths(depths: FloatArray, thickness: float, *, below: bool) -> tuple[float, float]:
    """Return the range of a layer's table: what its sections need, held within the layer."""
    if depths.size == 0:
        return (thickness, thickness + DEPTH_MARGIN_M) if below else (0.5 * thickness, thickness)
    low, high = float(depths.min()), float(depths.max())
    if below:
        low = max(low, thickness)
        return low, max(high, low + DEPTH_MARGIN_M)
    high = min(high, thickness)
    return max(0.0, min(low, high - DEPTH_MARGIN_M)), high


@numba.njit(cache=True)
def _place(value: float, start: float, inverse_step: float, nodes: int) -> tuple[int, float]:
    """Node left of a value and the rest in steps; held inside, one-sided next to the rim."""
    x = min(max((value - start) * inverse_step, 0.0), nodes - 1.0)
    i = min(max(int(x), 1), nodes - 3)
    return i, x - i


@numba.njit(cache=True)
def read_table(table: LayerTable, rho_m: float, depths_m: tuple[float, float]) -> tuple[complex, complex]:
    """Read the rests of g_A and g_K at one point, for use inside compiled loops.

    Parameters
    ----------
    table : LayerTable
    rho_m : float
        Horizontal offset, m; beyond the table its rim is read.
    depths_m : tuple of float
        Both depths, in the table's order, m.

    Returns
    -------
    tuple of complex
        1/m.
    """
    rests, scale = table.rests, table.scale
    i, x = _place(np.arcsinh(rho_m), scale[0], scale[1], rests.shape[0])
    j, y = _place(depths_m[0], scale[2], scale[3], rests.shape[1])
    k, z = _place(depths_m[1], scale[4], scale[5], rests.shape[2])
    along, down_a, down_b = cubic_weights(x), cubic_weights(y), cubic_weights(z)
    vector, potential = 0.0j, 0.0j
    for p in range(4):
        for q in range(4):
            for r in range(4):
                weight = along[p] * down_a[q] * down_b[r]
                vector += weight * rests[i - 1 + p, j - 1 + q, k - 1 + r, 0]
                potential += weight * rests[i - 1 + p, j - 1 + q, k - 1 + r, 1]
    far = math.sqrt(rho_m * rho_m + table.thickness_m * table.thickness_m)
    return vector / far, potential / far


@numba.njit(cache=True)
def _wave(gamma: complex, distance: float) -> complex:
    """(exp(-gamma R) - 1)/R by its series where it cancels."""
    x = gamma * distance
    if abs(x) < 1e-4:
        return -gamma * (1.0 - x / 2.0)
    return (np.exp(-x) - 1.0) / distance


@numba.njit(cache=True)
def _rest(i: np.int64, j: int, sections: LayerSections, ground: _Ground) -> tuple[complex, complex, float]:
    """Mean over two sections of the rests of g_A and g_K, and of the term between vertical and horizontal."""
    a, b = sections.tangent[i], sections.tangent[j]
    offset_x = sections.points[i, 0, 0] - sections.points[j, 0, 0]
    offset_y = sections.points[i, 0, 1] - sections.points[j, 0, 1]
    reach = NEAR_LENGTHS * max(sections.length[i], sections.length[j])
    first, last = (1, 3) if offset_x * offset_x + offset_y * offset_y < reach * reach else (0, 1)
    kind = int(ground.lower[i]) + int(ground.lower[j])
    table = LayerTable(ground.rests[kind], ground.scale[kind], ground.thickness)
    vector, potential, mixed = 0.0j, 0.0j, 0.0
    for p in range(first, last):
        for q in range(first, last):
            x = sections.points[i, p, 0] - sections.points[j, q, 0]
            y = sections.points[i, p, 1] - sections.points[j, q, 1]
            depth_i, depth_j = sections.points[i, p, 2], sections.points[j, q, 2]
            rho_2 = x * x + y * y
            rho = math.sqrt(rho_2)
            # the table across the interface wants the upper depth first
            depths = (depth_j, depth_i) if ground.lower[i] else (depth_i, depth_j)
            at_vector, at_potential = read_table(table, rho, depths)
            if kind == BELOW:
                drop = depth_i - depth_j
                wave = _wave(ground.gamma_lower, math.sqrt(rho_2 + drop * drop))
                at_vector, at_potential = at_vector + wave, at_potential + wave
            vector, potential = vector + at_vector, potential + at_potential
            h_sum = depth_i + depth_j
            r2 = math.sqrt(rho_2 + h_sum * h_sum)
            mixed += (a[2] * (x * b[0] + y * b[1]) - b[2] * (x * a[0] + y * a[1])) / (r2 * (r2 + h_sum))
    share = 1.0 if first == 0 else 0.25
    return share * vector, share * potential, share * mixed


@numba.njit(cache=True)
def _correct_row(i: np.int64, sections: LayerSections, ground: _Ground, work: _Work) -> None:
    Z, P = work.Z, work.P
    a = sections.tangent[i]
    for j in range(i, len(sections.length)):
        b = sections.tangent[j]
        area = sections.length[i] * sections.length[j]
        vector, potential, mixed = _rest(i, j, sections, ground)
        level, upright = a[0] * b[0] + a[1] * b[1], a[2] * b[2]
        coefficient = ground.images[int(ground.lower[i]) + int(ground.lower[j])]
        direct = work.leakage_diagonal[i] if i == j else work.direct[i, j]
        mirror = 0.0
        if ground.lower[i] == ground.lower[j]:
            # an image is never nearer than the metal itself, whose radius the direct term knows
            mirror = min(pair_integral(work.ends[i], work.mirrored[j], MIRROR_MIN_M), direct)
        leak = coefficient[2] * mirror / area + potential
        drop = area * level * vector
        if ground.lower[i] or ground.lower[j]:
            image = work.image[i, j]
            drop += (level + upright) * work.direct[i, j] + area * mixed - 2.0 * upright * image
            leak += (coefficient[0] * direct + coefficient[1] * image) / area
            Z[i, j], P[i, j] = 0.0, 0.0
        if sections.conducts[i] and sections.conducts[j]:
            Z[i, j] += ground.series_factor * drop
        P[i, j] += coefficient[3] * leak
        Z[j, i], P[j, i] = Z[i, j], P[i, j]


@numba.njit(parallel=True, cache=True)
def _correct(sections: LayerSections, ground: _Ground, work: _Work) -> None:
    n = len(sections.length)
    # a long and a short row of the triangle together: equal work for each thread
    for k in numba.prange((n + 1) // 2):
        first = np.int64(k)
        last = n - 1 - first
        _correct_row(first, sections, ground, work)
        if last != first:
            _correct_row(last, sections, ground, work)
