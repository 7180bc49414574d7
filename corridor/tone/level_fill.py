"""Z and P of pairs of level sections in one soil: most of a street's pairs, and so most of the time of the matrices.

The formulas are those of `corridor.tone.pair_kernel`; here they stand in loops over plain arrays, in tiles, so that the
mirrored entries are written next to each other too.
"""

from typing import Any

import numba
import numpy as np

from corridor.threads import in_ranges
from corridor.tone.integrals import FloatArray
from corridor.tone.kernel_table import cubic_weights
from corridor.tone.pair_kernel import NEAR_LENGTHS, PairSections, PairSoil

__all__ = ["fill_level_pairs", "has_row"]

_TILE = 32


def fill_level_pairs(
    sections: PairSections, soil: PairSoil, integrals: tuple[FloatArray, FloatArray, FloatArray], out: Any
) -> None:
    """Write the entries of all pairs for which the soil has a row of `corridor.tone.level_pairs`; others are left.

    Parameters
    ----------
    sections : PairSections
        n of them.
    soil : PairSoil
        One soil, with its rows.
    integrals : tuple of ndarray of float, shapes (n, n), (n, n) and (n,), m
        Of 1/R1 for induction, of 1/R2, and of 1/R1 of each section and itself for leakage.
    out : ndarray of complex, shape (2, n, n), ohm
        Z and P, without the metal's and the coating's own.
    """
    plain = (
        np.ascontiguousarray(sections.points[:, :, 0]),
        np.ascontiguousarray(sections.points[:, :, 1]),
        sections.tangent,
        sections.length,
        sections.conducts,
    )
    rows = (soil.depth_of, soil.row_of, soil.level_rests, soil.level_scale)
    factors = (soil.series_factor, soil.leakage_factor, soil.reflection)
    known = tuple(integrals)  # whatever kind of tuple it is, or the loops compile twice
    tiles = -(-len(sections.length) // _TILE)

    def fill(first: int, last: int) -> None:
        for number in range(first, last):
            # a long and a short row of the triangle in turn: equal work for each thread
            tile = number // 2 if number % 2 == 0 else tiles - 1 - number // 2
            _fill_row(tile, plain, (rows, factors, known), out)

    in_ranges(fill, tiles, smallest=2)


@numba.njit(cache=True, nogil=True, inline="always")
def has_row(depth_of: Any, row_of: Any, i: Any, j: Any) -> Any:
    """Tell whether two sections are level, at depths that share a row of the table; for use inside compiled loops.

    Parameters
    ----------
    depth_of, row_of : ndarray of int
        Of a `corridor.tone.level_pairs.LevelPairs`.
    i, j : int
        The sections.

    Returns
    -------
    bool
    """
    return depth_of[i] >= 0 and depth_of[j] >= 0 and row_of[depth_of[i], depth_of[j]] >= 0


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _fill_row(tile: int, plain: Any, read: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Fill one row of tiles, from the diagonal on, and its mirror image."""
    xs, ys, tangent, length, conducts = plain
    (depth_of, row_of, rests, scale), (series, leakage, reflection), (direct, image, own) = read
    n, last_node = length.size, rests.shape[1] - 3
    for start in range(tile * _TILE, n, _TILE):
        for i in range(tile * _TILE, min((tile + 1) * _TILE, n)):
            for j in range(max(i, start), min(start + _TILE, n)):
                if not has_row(depth_of, row_of, i, j):
                    continue
                row = row_of[depth_of[i], depth_of[j]]
                x, y = xs[i, 0] - xs[j, 0], ys[i, 0] - ys[j, 0]
                reach = NEAR_LENGTHS * max(length[i], length[j])
                near = x * x + y * y < reach * reach
                first, last, share = (1, 3, 0.25) if near else (0, 1, 1.0)
                v_re, v_im, p_re, p_im = 0.0, 0.0, 0.0, 0.0
                for p in range(first, last):
                    for q in range(first, last):
                        x, y = xs[i, p] - xs[j, q], ys[i, p] - ys[j, q]
                        square = x * x + y * y
                        # asinh; the library's own takes three times as long
                        at = np.log(np.sqrt(square) + np.sqrt(square + 1.0)) * scale
                        k = min(max(int(at), 1), last_node)
                        a, b, c, d = cubic_weights(at - k)
                        v_re += _read(rests, (row, k, 0), (a, b, c, d))
                        v_im += _read(rests, (row, k, 1), (a, b, c, d))
                        p_re += _read(rests, (row, k, 2), (a, b, c, d))
                        p_im += _read(rests, (row, k, 3), (a, b, c, d))
                vector, potential = complex(share * v_re, share * v_im), complex(share * p_re, share * p_im)
                area, leaking = length[i] * length[j], own[i] if i == j else direct[i, j]
                along = 0.0j
                if conducts[i] and conducts[j]:
                    level = tangent[i, 0] * tangent[j, 0] + tangent[i, 1] * tangent[j, 1]
                    upright = tangent[i, 2] * tangent[j, 2]  # of sections in the surface, which are held level below it
                    static = (level + upright) * direct[i, j] - 2.0 * upright * image[i, j]
                    along = series * (static + area * (level * vector))
                leak = leakage * ((leaking + reflection * image[i, j]) / area + potential)
                out[0, i, j], out[1, i, j] = along, leak
                out[0, j, i], out[1, j, i] = along, leak


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _read(rests: Any, at: Any, weights: Any) -> Any:  # pragma: no cover - compiled
    row, k, part = at
    a, b, c, d = weights
    before, after = rests[row, k - 1, part], rests[row, k + 1, part]
    return a * before + b * rests[row, k, part] + c * after + d * rests[row, k + 2, part]
