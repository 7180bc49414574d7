"""Cutting lines into stretches: few changes, nothing hidden."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.plan.stretches import NOTHING, Stretch, best_choices, cells, cut_stretches


def choose(worst: list[list[int]], nominal: list[list[int]] | None = None, usable: object = None) -> list[int]:
    ranks = np.array(worst)
    others = ranks if nominal is None else np.array(nominal)
    allowed = np.ones(ranks.shape, dtype=bool) if usable is None else np.array(usable, dtype=bool)
    return best_choices(ranks, others, allowed).tolist()


def cut(worst: list[list[int]], chosen: list[int], *, step_m: float = 4.0, min_length_m: float = 5.0) -> list[Stretch]:
    ranks = np.array(worst)
    station = np.arange(len(worst)) * step_m
    start, end, gap = cells(station + step_m / 2, [(0.0, len(worst) * step_m)], spacing_m=step_m)
    return cut_stretches(
        np.array(chosen), ranks, ranks, start_m=start, end_m=end, gap=gap, min_length_m=min_length_m
    )  # fmt: skip


def test_the_best_grade_wins() -> None:
    assert choose([[1, 0], [0, 1]]) == [1, 0]


def test_the_nominal_grade_breaks_the_tie_of_worst_grades() -> None:
    assert choose([[1, 1]], [[1, 0]]) == [1]


def test_the_first_of_equals_wins() -> None:
    assert choose([[0, 0, 0], [0, 0, 0]]) == [0, 0]


def test_one_choice_is_held_though_another_is_liked_better_for_a_while() -> None:
    assert choose([[0, 0], [0, 0], [1, 0]]) == [1, 1, 1]


def test_nothing_where_nothing_is_usable() -> None:
    assert choose([[0], [0], [0]], usable=[[0], [1], [0]]) == [NOTHING, 0, NOTHING]
    assert best_choices(np.empty((0, 2), int), np.empty((0, 2), int), np.empty((0, 2), bool)).tolist() == []


grids = st.integers(1, 6).flatmap(
    lambda s: st.lists(st.lists(st.integers(0, 2), min_size=3, max_size=3), min_size=s, max_size=s)
)


@given(grids)
def test_changes_are_as_few_as_the_best_grades_allow(worst: list[list[int]]) -> None:
    ranks = np.array(worst)
    chosen = choose(worst)
    best = ranks.min(axis=1)
    assert all(ranks[n, c] == best[n] for n, c in enumerate(chosen))
    every = [
        way for way in product(range(3), repeat=len(worst)) if all(ranks[n, c] == best[n] for n, c in enumerate(way))
    ]
    assert np.count_nonzero(np.diff(chosen)) == min(np.count_nonzero(np.diff(way)) for way in every)


@given(st.lists(st.floats(0, 200), min_size=1, max_size=12, unique=True).map(sorted))
def test_cells_hold_their_stations_and_never_overlap(stations: list[float]) -> None:
    start, end, gap = cells(np.array(stations), [(0.0, 200.0)], spacing_m=4.0)
    assert (start <= stations).all()
    assert (end >= stations).all()
    assert (end[:-1] <= start[1:] + 1e-9).all()
    meets = np.isclose(end[:-1], start[1:])
    assert meets[~gap[1:]].all()
    assert gap[0]
    assert start[0] >= 0
    assert end[-1] <= 200


def test_cells_fill_a_line_and_break_at_gaps() -> None:
    start, end, gap = cells(np.array([2.0, 6.0, 30.0]), [(0.0, 31.0)], spacing_m=4.0)
    assert start.tolist() == [0.0, 4.0, 28.0]
    assert end.tolist() == [4.0, 8.0, 31.0]
    assert gap.tolist() == [True, False, True]


def test_a_short_good_place_goes_into_its_bad_stretch() -> None:
    assert cut([[1]] * 4 + [[0]] + [[1]] * 4, [0] * 9) == [Stretch(0, 8, 0, 1, 1)]


def test_a_short_bad_place_is_never_hidden() -> None:
    found = cut([[0]] * 4 + [[2]] + [[0]] * 4, [0] * 9)
    assert [(s.first, s.last, s.rank_worst) for s in found] == [(0, 3, 0), (4, 4, 2), (5, 8, 0)]


def test_a_short_place_keeps_its_own_hook_up_where_the_neighbours_is_worse() -> None:
    found = cut([[1, 2]] * 4 + [[3, 0]] + [[1, 2]] * 4, [0] * 4 + [1] + [0] * 4)
    assert [s.choice for s in found] == [0, 1, 0]


def test_a_short_place_takes_the_neighbours_hook_up_where_it_is_as_good() -> None:
    found = cut([[1, 2]] * 4 + [[1, 1]], [0] * 4 + [1])
    assert found == [Stretch(0, 4, 0, 1, 1)]


def test_long_enough_is_left_alone() -> None:
    assert len(cut([[1]] * 4 + [[0]] * 2 + [[1]] * 4, [0] * 10)) == 3
    assert len(cut([[1]] * 4 + [[0]] * 2 + [[1]] * 4, [0] * 10, min_length_m=9.0)) == 1


def test_nothing_is_joined_over_a_gap() -> None:
    start, end, gap = cells(np.array([2.0, 60.0]), [(0.0, 100.0)], spacing_m=4.0)
    ranks = np.zeros((2, 1), dtype=int)
    found = cut_stretches(np.array([0, 0]), ranks, ranks, start_m=start, end_m=end, gap=gap, min_length_m=50.0)
    assert len(found) == 2


def test_stations_without_tone_stay_apart() -> None:
    found = cut([[0], [5], [0], [0]], [0, NOTHING, 0, 0])
    assert [(s.choice, s.rank_worst) for s in found] == [(0, 0), (NOTHING, NOTHING), (0, 0)]


@given(grids, st.sampled_from([0.5, 5.0, 9.0, 100.0]))
def test_what_is_shown_is_never_better_than_what_was_predicted(worst: list[list[int]], min_length_m: float) -> None:
    ranks = np.array(worst)
    found = cut(worst, choose(worst), min_length_m=min_length_m)
    assert [s.first for s in found[1:]] == [s.last + 1 for s in found[:-1]]
    assert (found[0].first, found[-1].last) == (0, len(worst) - 1)
    for stretch in found:
        assert ranks[stretch.stations, stretch.choice].max() == stretch.rank_worst


@pytest.mark.parametrize("sides", [(1, 2), (2, 1)])
def test_the_better_neighbour_absorbs(sides: tuple[int, int]) -> None:
    left, right = sides
    found = cut([[left]] * 3 + [[0]] + [[right]] * 3, [0] * 7)
    assert [s.rank_worst for s in found] == [left, right]
    assert found[0].last == (3 if left < right else 2)
