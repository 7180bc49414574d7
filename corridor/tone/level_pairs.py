"""Tables of what the earth adds for pairs of level sections, over the offset alone, a row for each pair of depths.

Most sections are level, and a line's share one depth: for two such depths everything smooth in the kernels depends on
the offset only. One reading of a row replaces the wave, the root and the bicubic table of `corridor.tone.kernel_table`.
"""

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.tone.kernel_table import cubic_weights, rests_at

__all__ = ["LevelPairs", "level_pairs", "read_level_pair", "wave_rest"]

NODES = 480  # on asinh(rho): as fine for these rows as the bicubic table is
PAIRS_MIN = 1500  # pairs of sections at two depths, from which a row is worth making


class LevelPairs(NamedTuple):
    """Rows of the table and who reads which.

    Attributes
    ----------
    depth_of : ndarray of int, shape (n,)
        Number of each section's depth; -1 for sections that aren't level or whose depth is rare.
    row_of : ndarray of int, shape (depths, depths)
        Row of two depths, -1 where there is none.
    rests : ndarray of float, shape (rows, 480, 4)
        Smooth parts of g_A and g_K, real and imaginary, 1/m.
    scale : float
        Inverse step of the asinh(rho) axis.
    """

    depth_of: NDArray[np.int64]
    row_of: NDArray[np.int64]
    rests: NDArray[np.float64]
    scale: float


@numba.njit(cache=True, error_model="numpy")
def wave_rest(gamma: complex, distance_m: float) -> complex:  # pragma: no cover - compiled
    """Return (exp(-gamma R) - 1)/R, free of cancellation, for use inside compiled loops.

    Parameters
    ----------
    gamma : complex, 1/m
        Propagation constant.
    distance_m : float
        R, >= 0.

    Returns
    -------
    complex, 1/m
    """
    if distance_m < 1e-9:
        return -gamma
    real, imag = -gamma.real * distance_m, -gamma.imag * distance_m
    grown = math.expm1(real)
    half = math.sin(0.5 * imag)
    return complex(grown * math.cos(imag) - 2.0 * half * half, (grown + 1.0) * math.sin(imag)) / distance_m


def level_pairs(
    start_depth_m: NDArray[np.float64],
    end_depth_m: NDArray[np.float64],
    *,
    gamma: complex,
    rests: NDArray[np.complex128],
    scale: NDArray[np.float64],
    rho_max_m: float,
) -> LevelPairs:
    """Return the table for some sections in one soil at one frequency.

    Parameters
    ----------
    start_depth_m, end_depth_m : ndarray of float, shape (n,)
        Depths of the sections' ends as the kernel takes them.
    gamma : complex, 1/m
        Propagation constant of the soil.
    rests, scale : ndarray
        Of an `corridor.tone.kernel_table.EarthTable` for these sections.
    rho_max_m : float
        Its largest offset.

    Returns
    -------
    LevelPairs
    """
    level = start_depth_m == end_depth_m
    depths, number, count = np.unique(start_depth_m[level], return_inverse=True, return_counts=True)
    depth_of = np.full(len(level), -1, dtype=np.int64)
    depth_of[level] = number
    pairs = np.triu(np.outer(count, count) >= PAIRS_MIN)
    first, second = np.nonzero(pairs)
    row_of = np.full((len(depths), len(depths)), -1, dtype=np.int64)
    row_of[first, second] = row_of[second, first] = np.arange(len(first))
    stretched = np.linspace(0.0, math.asinh(max(rho_max_m, 1.0)), NODES)
    table = np.empty((len(first), NODES, 4))
    _fill((depths[first], depths[second], np.sinh(stretched)), gamma, (rests, scale), table)
    return LevelPairs(depth_of, row_of, table, float(1.0 / stretched[1]))


@numba.njit(cache=True, parallel=True, error_model="numpy")
def _fill(
    places: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    gamma: complex,
    earth: tuple[NDArray[np.complex128], NDArray[np.float64]],
    table: NDArray[np.float64],
) -> None:  # pragma: no cover - compiled
    first, second, rho = places
    rests, scale = earth
    for row in numba.prange(table.shape[0]):
        drop, h_sum = first[row] - second[row], first[row] + second[row]
        for k in range(table.shape[1]):
            r2 = math.sqrt(rho[k] * rho[k] + h_sum * h_sum)
            wave = wave_rest(gamma, math.sqrt(rho[k] * rho[k] + drop * drop))
            vector, potential = rests_at(rests, scale, rho[k], h_sum)
            vector, potential = wave + vector / r2, wave + potential / r2
            table[row, k, 0], table[row, k, 1] = vector.real, vector.imag
            table[row, k, 2], table[row, k, 3] = potential.real, potential.imag


@numba.njit(cache=True, error_model="numpy")
def read_level_pair(
    rests: NDArray[np.float64], scale: float, rho_m: float
) -> tuple[complex, complex]:  # pragma: no cover - compiled
    """Read the smooth parts of g_A and g_K at one offset, for use inside compiled loops.

    Parameters
    ----------
    rests : ndarray of float, shape (480, 4)
        A row of the table.
    scale : float
        Of the table.
    rho_m : float
        Inside the table's range (not checked here).

    Returns
    -------
    tuple of complex, 1/m
    """
    x = np.arcsinh(rho_m) * scale
    i = min(max(int(x), 1), rests.shape[0] - 3)
    a, b, c, d = cubic_weights(x - i)
    one, two, three, four = rests[i - 1], rests[i], rests[i + 1], rests[i + 2]
    return (
        complex(
            a * one[0] + b * two[0] + c * three[0] + d * four[0], a * one[1] + b * two[1] + c * three[1] + d * four[1]
        ),
        complex(
            a * one[2] + b * two[2] + c * three[2] + d * four[2], a * one[3] + b * two[3] + c * three[3] + d * four[3]
        ),
    )
