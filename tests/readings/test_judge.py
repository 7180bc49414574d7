"""Hypotheses weighed: on figures made up by hand, where the answer is known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from corridor.readings.asked import Asked, from_scale, receiver_of, to_scale
from corridor.readings.causes import Suspect, Variant
from corridor.readings.judge import (
    Expected,
    Hypothesis,
    hypotheses,
    judge,
    pairs,
    soil_factors,
    soils_solved,
    state_of,
    told_apart,
)
from corridor.settings import ReadingSettings, Settings

SETTINGS = ReadingSettings()
FACTORS = soil_factors(SETTINGS)
ONE = Asked(
    row=0, kind="clamp_ma", setup_id="S1", drives=(0,), level_a=0.05, frequency_hz=1000.0, line_id="A", station_m=1.0,
    xy_m=(0.0, 0.0), direction=(1.0, 0.0), depth_m=1.0, floor=0.1,
)  # fmt: skip
ASKED = [replace(ONE, row=k) for k in range(3)]


def expected(*values: float, current: float = 0.0) -> Expected:
    """The same readings in every soil, nothing that belongs together."""
    count = len(values)
    return Expected(
        np.tile(values, (len(FACTORS), 1)), np.full((len(FACTORS), count), current), np.zeros((1, count)),
        np.zeros((1, count)), np.zeros(count, dtype=bool), np.zeros((2, count)), np.zeros(count),
    )  # fmt: skip


LISTED = [Hypothesis((), Variant(), 0.0), Hypothesis((0,), Variant(ohms=((1, 0.1),)), math.log(0.1)),
          Hypothesis((1,), Variant(ohms=((2, 0.1),)), math.log(0.1))]  # fmt: skip


def test_weights_are_bayes_rule() -> None:
    # prior odds times the ratio of normal densities (scipy.stats.norm), outliers as good as none
    rare = ReadingSettings(outlier_share=1e-9)
    seen = np.array([1.0, 1.0, 1.05])
    options = [expected(1.0, 1.0, 1.0), expected(1.1, 1.1, 1.1), expected(0.9, 1.0, 1.0)]
    found = judge(LISTED, options, ASKED, seen, factors=FACTORS, settings=rare)
    sd = math.hypot(rare.noise_share, rare.model_share)
    weight = [
        math.exp(h.log_prior) * stats.norm(e.reading[0], sd).pdf(seen).prod()
        for h, e in zip(LISTED, options, strict=True)
    ]
    assert found.weight.sum(axis=1) == pytest.approx(np.array(weight) / sum(weight), rel=1e-6)


def test_the_soil_keeps_its_prior_where_readings_do_not_depend_on_it() -> None:
    found = judge(LISTED[:1], [expected(1.0, 1.0, 1.0)], ASKED, np.ones(3), factors=FACTORS, settings=SETTINGS)
    share = found.weight.sum(axis=0)
    prior = np.exp(-0.5 * (np.log(FACTORS) / SETTINGS.soil_spread) ** 2)
    assert share == pytest.approx(prior / prior.sum())


def test_the_soil_is_found_by_what_depends_on_it() -> None:
    slope = replace(expected(1.0, 1.0, 1.0), reading=1.0 + np.log(FACTORS)[:, None] * np.ones(3))
    seen = np.full(3, 1.0 + math.log(2.0))
    found = judge(LISTED[:1], [slope], ASKED, seen, factors=FACTORS, settings=SETTINGS)
    assert FACTORS[found.weight.sum(axis=0).argmax()] == pytest.approx(2.0, rel=0.06)


def test_readings_not_taken_change_nothing_and_are_predicted() -> None:
    options = [expected(1.0, 1.0, 2.0), expected(1.3, 1.3, 3.0)]
    seen = np.array([1.3, 1.3, np.nan])
    found = judge(LISTED[:2], options, ASKED, seen, factors=FACTORS, settings=SETTINGS)
    assert found.weight[1].sum() > 0.99
    weight, law = found.reading
    assert weight @ law.mean[:, 2] == pytest.approx(3.0, abs=0.02)
    assert np.isnan(found.wrong).tolist() == [False, False, True]
    assert found.taken.tolist() == [0, 1]


def test_what_belongs_together_counts_once() -> None:
    # three readings that are off together by one cause's depth: with it, they are one reading, not three
    together = replace(expected(1.0, 1.0, 1.0), reading_by=np.full((1, 3), 0.3))
    seen = np.full(3, 1.3)
    other = expected(1.3, 1.3, 1.3)
    alone = judge(LISTED[:2], [expected(1.0, 1.0, 1.0), other], ASKED, seen, factors=FACTORS, settings=SETTINGS)
    shared = judge(LISTED[:2], [together, other], ASKED, seen, factors=FACTORS, settings=SETTINGS)
    assert alone.weight[1].sum() > 0.95
    assert 0.1 < shared.weight[1].sum() < 0.95


def test_a_steep_current_is_worth_less() -> None:
    steep = replace(expected(1.0, 1.0, 1.0), slope_per_m=np.full(3, 1.0))
    seen = np.full(3, 1.2)
    flat = judge(LISTED[:1], [expected(1.0, 1.0, 1.0)], ASKED, seen, factors=FACTORS, settings=SETTINGS)
    doubtful = judge(LISTED[:1], [steep], ASKED, seen, factors=FACTORS, settings=SETTINGS)
    assert flat.wrong.min() > 0.3 > doubtful.wrong.max()


def test_currents_follow_readings_that_belong_to_them() -> None:
    tied = replace(
        expected(1.0, 1.0, 1.0, current=1.0), reading_by=np.full((1, 3), 0.3), current_by=np.full((1, 3), 0.3)
    )
    found = judge(LISTED[:1], [tied], ASKED, np.full(3, 1.3), factors=FACTORS, settings=SETTINGS)
    weight, law = found.current
    assert weight @ law.mean[:, 0] == pytest.approx(1.3, abs=0.02)
    assert law.deviation.max() < 0.1


def test_sets_rest_on_how_far_readings_tell_causes_apart() -> None:
    options = [expected(1.0, 1.0, 1.0), expected(1.0, 1.0, 1.02), expected(1.0, 1.0, 1.6)]
    found = judge(LISTED, options, ASKED, np.ones(3), factors=FACTORS, settings=SETTINGS)
    assert told_apart(found, 0, 1) < math.log(3.0) < told_apart(found, 0, 2)
    assert told_apart(found, 0, 0) == 0.0


def suspects() -> list[Suspect]:
    kinds = ("hidden_bond", "poor_stake", "ground_open")
    return [
        Suspect(k, "A", None, "x", (0.0, 0.0), odds=0.3, switch=(n,), drive=0, stake_ohm=50.0)
        for n, k in enumerate(kinds)
    ]


def test_each_cause_alone_shares_its_odds_among_its_ways() -> None:
    found = hypotheses(suspects())
    assert [h.members for h in found] == [(), (0,), (0,), (0,), (1,), (1,), (1,), (2,)]
    for number in range(3):
        own = [math.exp(h.log_prior) for h in found if h.members == (number,)]
        assert sum(own) == pytest.approx(0.3)


def test_pairs_join_the_likeliest_and_multiply_odds() -> None:
    singles = hypotheses(suspects())
    weight = np.array([0.5, 0.2, 0.0, 0.0, 0.01, 0.0, 0.0, 0.1])
    found = pairs(singles, weight, of=2)
    assert {h.members for h, _, _ in found} == {(0, 2)}
    assert len(found) == 3
    for h, j, k in found:
        assert h.log_prior == pytest.approx(singles[j].log_prior + singles[k].log_prior)
        assert state_of(h.variant) == tuple(sorted(singles[j].variant.ohms + singles[k].variant.ohms))
    assert pairs(singles, weight, of=0) == []


def test_a_pair_deviates_by_both_in_first_order() -> None:
    one, other, none = (
        replace(expected(0.0), reading_by=np.array([[v]]), shift=np.array([[v], [0.0]])) for v in (0.3, 0.4, 0.1)
    )
    exact = expected(2.0)
    both = one.combined(other, none, exact)
    assert both.reading_by[0, 0] == pytest.approx(0.6)
    assert both.reading[0, 0] == pytest.approx(2.6)


def test_soils_hold_the_recorded_one() -> None:
    solved = soils_solved(SETTINGS)
    assert 1.0 in solved
    assert (min(solved), max(solved)) == pytest.approx((0.3, 3.0))
    assert (FACTORS.min(), FACTORS.max()) == pytest.approx((0.3, 3.0))


@pytest.mark.parametrize("value", [0.0, 0.05, 3.0, 400.0])
def test_scales_lead_back(value: float) -> None:
    # at zero the root of what rounding leaves of the floor's square, 1e-16 of it
    there = to_scale(ASKED, np.full((3, 2), value))
    assert from_scale(ASKED, there) == pytest.approx(np.full((3, 2), value), abs=1e-8)
    offset = [replace(ONE, kind="peak_offset_m", floor=math.nan)]
    assert to_scale(offset, np.array([-0.3])).tolist() == [-0.3]
    assert from_scale(offset, np.array([-0.3])).tolist() == [-0.3]


def test_a_crew_looks_beside_the_line_it_reads() -> None:
    assert receiver_of(Settings()).half_width_m == 1.0
    near = Settings(readings=ReadingSettings(search_m=0.1))
    assert receiver_of(near).half_width_m == pytest.approx(0.5)  # what the interpolation of a profile needs
    assert receiver_of(Settings(readings=ReadingSettings(search_m=9.0))).half_width_m == 2.5
