"""Pairs of lines with an end at one structure, against every structure and line looked at."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings.structures import EndPairs, end_pairs


def _plain(ends: np.ndarray, points: np.ndarray, reach_m: float) -> list[tuple[int, int, int]]:
    found = []
    for p, point in enumerate(points):
        here = [k for k, e in enumerate(ends) if min(np.hypot(*(e[:2] - point)), np.hypot(*(e[2:] - point))) <= reach_m]
        found += [(p, a, b) for a, b in combinations(here, 2)]
    return found


def _rows(found: EndPairs) -> list[tuple[int, int, int]]:
    return list(zip(found.point.tolist(), found.line_a.tolist(), found.line_b.tolist(), strict=True))


@given(st.integers(0, 10_000), st.floats(0.2, 3.0), st.floats(-1e5, 1e6))
@settings(max_examples=15, deadline=None)
def test_equals_the_plain_definition(seed: int, reach_m: float, shift_m: float) -> None:
    rng = np.random.default_rng(seed)
    ends, points = rng.uniform(0, 12, (30, 4)) + shift_m, rng.uniform(0, 12, (15, 2)) + shift_m
    assert _rows(end_pairs(ends, points, reach_m=reach_m)) == _plain(ends, points, reach_m)


@pytest.mark.parametrize("chunk_points", [1, 4])
def test_chunks_change_nothing(chunk_points: int) -> None:
    rng = np.random.default_rng(2)
    ends, points = rng.uniform(0, 6, (40, 4)), rng.uniform(0, 6, (13, 2))
    whole = end_pairs(ends, points, reach_m=1.0)
    assert _rows(end_pairs(ends, points, reach_m=1.0, chunk_points=chunk_points)) == _rows(whole)
    assert len(whole)


def test_a_full_chamber_gives_all_its_pairs() -> None:
    ends = np.column_stack((np.zeros((150, 2)), np.full((150, 2), 99.0)))  # more than there is room for at first
    found = end_pairs(ends, np.zeros((1, 2)), reach_m=0.5)
    assert len(found) == 150 * 149 // 2
    assert _rows(found) == _plain(ends, np.zeros((1, 2)), 0.5)


def test_a_ring_is_one_line() -> None:
    ends = np.array([[0.0, 0.0, 0.1, 0.0], [0.2, 0.0, 9.0, 9.0]])
    assert _rows(end_pairs(ends, np.zeros((1, 2)), reach_m=0.5)) == [(0, 0, 1)]


def test_places_that_are_not_known_hold_nothing() -> None:
    ends = np.array([[0.0, 0.0, 5.0, 0.0], [0.0, 0.0, 9.0, 9.0]])
    assert len(end_pairs(ends, np.full((2, 2), np.nan), reach_m=0.5)) == 0
    assert len(end_pairs(ends, np.empty((0, 2)), reach_m=0.5)) == 0
    assert len(end_pairs(np.empty((0, 4)), np.zeros((1, 2)), reach_m=0.5)) == 0
