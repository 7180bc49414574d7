"""The choice of set-ups, against every subset looked at one by one."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from corridor.errors import DomainError
from corridor.plan.setups.cover import Cover, choose_setups, greedy_setups, trade_off
from tests.plan.setups.choices import best_of_all, judge, small_choice, street_block

NONE = math.nan
TOLERANCE = 2e-6  # the solver's own, 1e-6, and rounding of the judge


def judged(cover: Cover, case: tuple[np.ndarray, np.ndarray, np.ndarray], near: float) -> tuple[float, ...]:
    return judge(*case, near=near, chosen=cover.chosen.tolist())


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("near", [0.05, 0.3])
def test_all_stages_equal_brute_force(seed: int, near: float) -> None:
    case = small_choice(seed)
    cover = choose_setups(case[0], case[1], preference=case[2], near=near)
    assert judged(cover, case, near) == pytest.approx(best_of_all(*case, near=near), abs=TOLERANCE)
    assert cover.proven
    assert cover.gap == 0
    assert cover.bound == cover.number


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("most", [1, 2, 3])
def test_all_stages_equal_brute_force_with_few_set_ups(seed: int, most: int) -> None:
    case = small_choice(seed)
    cover = choose_setups(case[0], case[1], preference=case[2], near=0.1, max_setups=most)
    assert judged(cover, case, 0.1) == pytest.approx(best_of_all(*case, near=0.1, most=most), abs=TOLERANCE)
    assert cover.proven
    assert cover.gap == 0


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("most", [None, 2])
def test_greedy_is_never_better(seed: int, most: int | None) -> None:
    case = small_choice(seed, segments=14, candidates=10)
    cover = choose_setups(case[0], case[1], preference=case[2], max_setups=most)
    greedy = greedy_setups(case[0], case[1], preference=case[2], max_setups=most)
    assert judged(cover, case, 0.05) <= judged(greedy, case, 0.05)
    assert math.isnan(greedy.gap)
    assert math.isnan(greedy.bound)
    assert not greedy.proven


def test_greedy_takes_more_where_the_largest_misleads() -> None:
    # the textbook's trap (Chvatal 1979): two candidates cover all, a larger third one covers the middle of both
    value = np.array([[1, 0, 0], [1, 0, 1], [1, 0, 1], [0, 1, 1], [0, 1, 1], [0, 1, 0]], dtype=float)
    value = np.column_stack([value, np.arange(6) / 10])  # a weak fourth, so that no two segments are equal
    assert choose_setups(np.ones(6), value, preference=np.zeros(4)).chosen.tolist() == [0, 1]
    assert greedy_setups(np.ones(6), value, preference=np.zeros(4)).chosen.tolist() == [0, 1, 2]


def test_a_block_of_streets_is_proven() -> None:
    length, value, likes = street_block(7, lines=40, points=16, variants=4)
    assert value.shape[0] > 350
    assert value.shape[1] == 2560
    cover = choose_setups(length, value, preference=likes)
    assert cover.proven
    assert cover.gap == 0
    best = np.nan_to_num(value).max(axis=1)
    assert (value[best > 0, cover.assigned[best > 0]] >= best[best > 0] - 0.05 - 1e-9).all()
    assert cover.number <= greedy_setups(length, value, preference=likes).number
    assert cover.readable_m == pytest.approx(np.nansum(length * value[np.arange(len(length)), cover.assigned]))
    assert [stage.name for stage in cover.stages] == ["readable", "number", "preference", "length"]


def test_few_set_ups_on_a_small_block() -> None:
    length, value, likes = street_block(3, lines=8, points=6, variants=2)
    whole = choose_setups(length, value, preference=likes)
    half = choose_setups(length, value, preference=likes, max_setups=whole.number // 2)
    greedy = greedy_setups(length, value, preference=likes, max_setups=whole.number // 2)
    assert half.proven
    assert half.number <= whole.number // 2
    assert greedy.readable_m <= half.readable_m + 0.05 * length.sum()
    enough = choose_setups(length, value, preference=likes, max_setups=whole.number)
    assert enough.chosen.tolist() == whole.chosen.tolist()


def test_out_of_time_says_so_and_still_covers() -> None:
    length, value, likes = street_block(7, lines=20, points=8, variants=3)
    cover = choose_setups(length, value, preference=likes, time_limit_s=1e-9)
    assert not cover.proven
    assert cover.gap > 0
    assert cover.bound <= cover.number
    best = np.nan_to_num(value).max(axis=1)
    assert (value[best > 0, cover.assigned[best > 0]] >= best[best > 0] - 0.05 - 1e-9).all()
    short = choose_setups(length, value, preference=likes, time_limit_s=1e-9, max_setups=5)
    assert not short.proven
    assert short.number <= 5


def test_the_order_is_number_then_preference_then_length() -> None:
    value = np.array([[1.0, 0.96, NONE, 0.97], [1.0, 0.96, 1.0, 0.97]])
    # one is enough: the liked of those near the best, although another reads more
    assert choose_setups([1, 1], value, preference=[3, 1, 0, 2]).chosen.tolist() == [1]
    # of those liked equally the one that reads more
    assert choose_setups([1, 1], value, preference=[3, 1, 0, 1]).chosen.tolist() == [3]
    # near 0: only the best counts
    assert choose_setups([1, 1], value, preference=[3, 1, 0, 1], near=0).chosen.tolist() == [0]


def test_the_assigned_is_the_best_chosen_and_ties_go_to_the_liked() -> None:
    value = np.array([[0.9, NONE], [NONE, 0.8], [0.5, 0.5], [NONE, NONE]])
    cover = choose_setups([1, 2, 3, 4], value, preference=[2, 1])
    assert cover.chosen.tolist() == [0, 1]
    assert cover.assigned.tolist() == [0, 1, 1, -1]
    assert cover.readable_m == pytest.approx(0.9 + 1.6 + 1.5)
    assert cover.preference == 3


def test_required_segments_are_covered_whatever_else() -> None:
    value = np.array([[1.0, NONE], [NONE, 1.0]])
    assert choose_setups([100, 1], value, preference=[0, 0], max_setups=1).chosen.tolist() == [0]
    required = choose_setups([100, 1], value, preference=[0, 0], max_setups=1, required=[False, True])
    assert required.chosen.tolist() == [1]
    assert required.assigned.tolist() == [-1, 1]
    greedy = greedy_setups([100, 1], value, preference=[0, 0], max_setups=1, required=[False, True])
    assert greedy.chosen.tolist() == [1]


@pytest.mark.parametrize("seed", range(6))
def test_required_segments_equal_brute_force(seed: int) -> None:
    length, value, likes = small_choice(seed, segments=8, candidates=8)
    must = np.zeros(8, dtype=bool)
    must[[1, 4]] = np.nanmax(np.where(np.isnan(value), 0, value), axis=1)[[1, 4]] > 0
    cover = choose_setups(length, value, preference=likes, max_setups=2, required=must)
    near = np.nan_to_num(value) >= np.nan_to_num(value).max(axis=1, keepdims=True) - 0.05
    options = [
        judge(length, value, likes, near=0.05, chosen=[a, b])
        for a in range(8)
        for b in range(a, 8)
        if (near[must][:, [a, b]].any(axis=1)).all() and a != b
    ] + [judge(length, value, likes, near=0.05, chosen=[a]) for a in range(8) if near[must][:, a].all()]
    assert judge(length, value, likes, near=0.05, chosen=cover.chosen.tolist()) == pytest.approx(
        min(options), abs=TOLERANCE
    )


def test_nothing_in_reach_gives_an_empty_cover() -> None:
    cover = choose_setups([1, 2], np.full((2, 3), NONE), preference=[0, 0, 0])
    assert cover.number == 0
    assert cover.assigned.tolist() == [-1, -1]
    assert cover.readable_m == 0
    assert cover.proven
    assert choose_setups([], np.zeros((0, 2)), preference=[0, 0]).number == 0
    assert choose_setups([1], np.zeros((1, 0)), preference=[]).assigned.tolist() == [-1]


def test_inputs_stay_as_they_were() -> None:
    length, value, likes = small_choice(1)
    before = length.copy(), value.copy(), likes.copy()
    choose_setups(length, value, preference=likes)
    for now, then in zip((length, value, likes), before, strict=True):
        np.testing.assert_array_equal(now, then)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"length_m": [1.0, -1.0]}, "length_m: expected finite numbers >= 0, got -1.0 at 1"),
        ({"length_m": [[1.0, 1.0]]}, "length_m: expected one dimension"),
        ({"length_m": [1.0]}, "value: expected the shape"),
        ({"value": [[0.5, 1.5], [0, 0]]}, "value: expected 0 to 1, or NaN, got 1.5 for segment 0 and candidate 1"),
        ({"preference": [1.0]}, "preference: expected one number for each of 2 candidates, got 1"),
        ({"preference": [1.0, math.nan]}, "preference: expected finite numbers"),
        ({"near": 1.5}, "near: expected 0 to 1, got 1.5"),
        ({"required": [True]}, "required: expected one truth value for each of 2 segments"),
        ({"required": [True, True]}, "that some candidate reaches, got 1 that none does, the first is 1"),
        ({"max_setups": 0}, "max_setups: expected a whole number >= 1, got 0"),
        ({"max_setups": 1.5}, "max_setups: expected a whole number"),
        ({"time_limit_s": 0}, "time_limit_s: expected seconds > 0, got 0"),
    ],
)  # fmt: skip
def test_wrong_input_is_told(changed: dict[str, object], words: str) -> None:
    given_now: dict[str, object] = {"length_m": [1.0, 1.0], "value": [[0.5, 1.0], [0, NONE]], "preference": [0.0, 1.0]}
    given_now |= changed
    with pytest.raises(DomainError) as told:
        choose_setups(given_now.pop("length_m"), given_now.pop("value"), **given_now)  # type: ignore[arg-type]
    assert words in str(told.value)


def test_too_few_for_the_required_is_told_with_the_number_needed() -> None:
    with pytest.raises(DomainError, match="max_setups: expected at least 3, so many the required segments need, got 2"):
        choose_setups(np.ones(3), np.eye(3), preference=np.zeros(3), max_setups=2, required=np.ones(3, dtype=bool))


@pytest.mark.parametrize("seed", range(5))
def test_the_trade_off_equals_brute_force(seed: int) -> None:
    length, value, likes = small_choice(seed, candidates=7)
    table = trade_off(length, value, preference=likes, most=8)
    for number, readable_m in table:
        best = best_of_all(length, value, likes, near=0.0, most=min(number, 7))
        assert readable_m == pytest.approx(-best[0], abs=1e-5)
    assert [number for number, _ in table] == list(range(1, 9))
    reached = [readable_m for _, readable_m in table]
    assert reached == sorted(reached)


def test_the_trade_off_of_nothing_and_of_no_number() -> None:
    assert trade_off([1.0], [[NONE]], preference=[0.0], most=2) == [(1, 0.0), (2, 0.0)]
    with pytest.raises(DomainError, match="most: expected a whole number >= 1, got 0"):
        trade_off([1.0], [[1.0]], preference=[0.0], most=0)


parts = st.integers(0, 8).map(lambda n: n / 8)
tables = st.tuples(st.integers(1, 6), st.integers(2, 6)).flatmap(lambda shape: arrays(float, shape, elements=parts))


@settings(max_examples=20, deadline=None)
@given(tables, st.integers(0, 2**32 - 1))
def test_the_order_of_candidates_doesnt_matter_for_what_is_reached(value: np.ndarray, seed: int) -> None:
    rng = np.random.default_rng(seed)
    length, likes = rng.integers(1, 9, value.shape[0]).astype(float), rng.integers(0, 3, value.shape[1]).astype(float)
    deal = rng.permutation(value.shape[1])
    one = judge(
        length,
        value,
        likes,
        near=0.125,
        chosen=choose_setups(length, value, preference=likes, near=0.125).chosen.tolist(),
    )
    other = choose_setups(length, value[:, deal], preference=likes[deal], near=0.125)
    assert judge(length, value[:, deal], likes[deal], near=0.125, chosen=other.chosen.tolist()) == pytest.approx(
        one, abs=TOLERANCE
    )


@settings(max_examples=20, deadline=None)
@given(tables, st.integers(0, 2**32 - 1), st.sampled_from([None, 1, 2]))
def test_one_more_candidate_never_makes_it_worse(value: np.ndarray, seed: int, most: int | None) -> None:
    # near 0: else a better candidate raises what counts as the best, and asks for more
    rng = np.random.default_rng(seed)
    length, likes = rng.integers(1, 9, value.shape[0]).astype(float), rng.integers(0, 3, value.shape[1]).astype(float)
    fewer = choose_setups(length, value[:, :-1], preference=likes[:-1], near=0, max_setups=most)
    more = choose_setups(length, value, preference=likes, near=0, max_setups=most)
    assert more.readable_m >= fewer.readable_m - TOLERANCE
    if abs(more.readable_m - fewer.readable_m) < TOLERANCE:
        assert (more.number, more.preference) <= (fewer.number, fewer.preference)


@settings(max_examples=30, deadline=None)
@given(tables, st.integers(0, 2**32 - 1))
def test_every_segment_gets_near_its_best_and_twice_gives_the_same(value: np.ndarray, seed: int) -> None:
    length = np.random.default_rng(seed).uniform(0, 9, value.shape[0])
    cover = choose_setups(length, value, preference=np.zeros(value.shape[1]))
    best = value.max(axis=1)
    for segment in np.flatnonzero(best > 0):
        assert value[segment, cover.chosen].max() >= best[segment] - 0.05 - 1e-9
        assert value[segment, cover.assigned[segment]] == value[segment, cover.chosen].max()
    again = choose_setups(length, value, preference=np.zeros(value.shape[1]))
    assert again.chosen.tolist() == cover.chosen.tolist()
