"""Made-up choices of set-ups, and the best of every subset by looking at all of them."""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def small_choice(seed: int, *, segments: int = 9, candidates: int = 9) -> tuple[Floats, Floats, Floats]:
    """Lengths (s,), values (s, c) in parts of 32 with gaps, preferences (c,) of few kinds."""
    rng = np.random.default_rng(seed)
    value = rng.integers(0, 33, (segments, candidates)) / 32
    value[rng.random(value.shape) < 0.55] = np.nan
    return rng.uniform(1, 20, segments), value, rng.integers(0, 4, candidates).astype(float)


def street_block(
    seed: int, *, lines: int, points: int, variants: int, spacing_m: float = 5.0
) -> tuple[Floats, Floats, Floats]:
    """A block of lines in pieces of 5 m: set-ups at points along each, in variants of frequency and output.

    A tone falls off with distance from its hook-up, passes on to the next two lines in part, and a higher variant
    reaches farther on its own line and is masked more by others. Values are parts of 32 draws.
    """
    rng = np.random.default_rng(seed)
    pieces = rng.integers(6, 14, lines)
    line = np.repeat(np.arange(lines), pieces)
    at_m = np.concatenate([np.arange(n) * spacing_m for n in pieces])
    own = np.repeat(np.arange(lines), points)
    spot = rng.uniform(0, 1, own.size) * (pieces[own] * spacing_m)
    reach = rng.uniform(10, 60, own.size)
    columns, likes = [], []
    for variant in range(variants):
        near = np.abs(at_m[:, None] - spot) / (reach * (1 + 0.15 * variant))
        share = np.where(
            line[:, None] == own, 1.0, np.where((line[:, None] - own) % lines <= 2, 0.6 - 0.05 * variant, 0.0)
        )
        heard = share / (1 + near**2) * rng.uniform(0.9, 1.0, near.shape)
        columns.append(np.round(heard * 32) / 32)
        likes.append(np.full(own.size, float(variant)) + rng.integers(0, 3, own.size) * 10)
    value = np.concatenate(columns, axis=1)
    value[value < 0.1] = np.nan
    return np.full(line.size, spacing_m), value, np.concatenate(likes)


def judge(length_m: Floats, value: Floats, preference: Floats, *, near: float, chosen: list[int]) -> tuple[float, ...]:
    """What a choice reaches, written out segment by segment; smaller is better, in the order of the stages."""
    counted = true = 0.0
    for length, row in zip(length_m, value, strict=True):
        reached = [v for v in row if v > 0]
        best = max(reached, default=0.0)
        got = max((row[c] for c in chosen if row[c] > 0), default=0.0)
        true += length * got
        counted += length * (best if got > 0 and got >= best - near - 1e-12 else got)
    return (-round(counted, 6), len(chosen), round(sum(preference[chosen]), 6), -round(true, 6))


def best_of_all(
    length_m: Floats, value: Floats, preference: Floats, *, near: float, most: int | None = None
) -> tuple[float, ...]:
    candidates = range(value.shape[1])
    sizes = range((len(candidates) if most is None else most) + 1)
    return min(
        judge(length_m, value, preference, near=near, chosen=list(chosen))
        for size in sizes
        for chosen in combinations(candidates, size)
    )
