"""The parts one after another on an invented block: what one hands on, the next can use."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from shapely import LineString, Point

from corridor.plan.setups import (
    Cover,
    choose_setups,
    colour_frequencies,
    fallbacks,
    greedy_setups,
    interval,
    rank_causes,
    share_out,
    source_readings,
    verify_first,
    walking_order,
)

FREQUENCIES_HZ = [1e3, 1e4, 1e5]
DRAWS = 32


@dataclass(frozen=True)
class Block:
    """Lines in two streets, hook-ups along them at three frequencies, 32 draws of stakes and of one bond a pair."""

    ways: list[LineString]
    length_m: np.ndarray
    hookup_xy: np.ndarray
    hookup_of: list[int]
    frequency_hz: np.ndarray
    preference: np.ndarray
    readable: np.ndarray
    states: np.ndarray
    loop_ohm: np.ndarray

    @property
    def value(self) -> np.ndarray:
        mean = self.readable.mean(axis=2)
        return np.where(mean > 0, mean, np.nan)

    def cover(self) -> Cover:
        return choose_setups(self.length_m, self.value, preference=self.preference)


def block(seed: int = 0, *, lines: int = 6, hookups: int = 3) -> Block:
    rng = np.random.default_rng(seed)
    ways = [LineString([(0, 8 * k), (200, 8 * k)]) for k in range(lines // 2)]
    ways += [LineString([(100 + 8 * k, -90), (100 + 8 * k, 110)]) for k in range(lines - lines // 2)]
    line = np.repeat(np.arange(lines), 20)
    middle = np.tile(np.arange(20) * 10 + 5.0, lines)
    own = np.repeat(np.arange(lines), hookups)
    at = np.tile(np.linspace(0, 200, hookups), lines)
    xy = np.array([ways[k].interpolate(m).coords[0] for k, m in zip(own, at, strict=True)])
    stake = np.exp(rng.normal(0, 0.5, (DRAWS, 1)))
    bond = rng.random((DRAWS, lines)) < np.linspace(0.1, 0.6, lines)
    readable, loop = [], []
    for band, reach_m in enumerate([160.0, 110.0, 60.0]):
        away = np.abs(middle[:, None] - at[None, :])
        same = line[:, None] == own[None, :]
        drawn = reach_m * np.exp(rng.normal(0, 0.3, (len(middle), len(at), DRAWS)))
        heard = same[:, :, None] & (away[:, :, None] < drawn)
        # a bond takes the tone of low frequencies away
        heard &= ~(bond.T[own][None] & (band == 0))
        readable.append(heard)
        loop.append(
            (60 + 40 * band) * stake[:, 0] * (1 + 0 * at[:, None]) * np.where(bond.T[own], 0.4, 1.0) + 20j * band
        )
    return Block(
        ways, np.full(len(middle), 10.0), np.tile(xy, (3, 1)), np.tile(np.arange(len(at)), 3).tolist(),
        np.repeat(FREQUENCIES_HZ, len(at)), np.repeat([0.0, 1.0, 2.0], len(at)), np.concatenate(readable, axis=1),
        np.column_stack([stake, bond]), np.concatenate(loop),
    )  # fmt: skip


def test_every_piece_in_reach_is_near_its_best() -> None:
    made = block()
    cover = made.cover()
    assert cover.proven
    best = np.nan_to_num(made.value).max(axis=1)
    got = made.value[np.arange(len(best)), cover.assigned]
    assert (got[best > 0] >= best[best > 0] - 0.05 - 1e-9).all()
    assert cover.number < greedy_setups(made.length_m, made.value, preference=made.preference).number + 1
    assert cover.readable_m <= best @ made.length_m


def test_the_walk_reaches_every_hookup_chosen_and_crews_share_it() -> None:
    made = block()
    chosen = made.cover().chosen
    route = walking_order(made.hookup_xy[chosen], made.ways, start=None)
    assert sorted(route.order.tolist()) == list(range(len(chosen)))
    assert not route.bridged
    for leg, (a, b) in zip(route.legs, pairwise(chosen[route.order]), strict=True):
        assert Point(leg.coords[0]).distance(Point(made.hookup_xy[a])) < 1e-6
        assert Point(leg.coords[-1]).distance(Point(made.hookup_xy[b])) < 1e-6
    one = share_out(route.order, route.legs_m, 15.0, 1)
    two = share_out(route.order, route.legs_m, 15.0, 2)
    assert two.minutes.max() < one.minutes.max()
    assert two.minutes.sum() <= one.minutes.sum() + 1e-9  # the leg between the parts isn't walked
    assert sorted(np.concatenate(two.parts).tolist()) == list(range(len(chosen)))


def test_crews_that_reach_each_other_get_other_frequencies() -> None:
    made = block()
    chosen = made.cover().chosen
    route = walking_order(made.hookup_xy[chosen], made.ways)
    crew = share_out(route.order, route.legs_m, 15.0, 2).crew
    near = np.hypot(*(made.hookup_xy[chosen][:, None] - made.hookup_xy[chosen][None]).transpose(2, 0, 1)) < 120
    conflicts = [
        (a, b, f)
        for a in range(len(chosen))
        for b in range(a)
        for f in FREQUENCIES_HZ
        if near[a, b] and crew[a] != crew[b]
    ]
    assert conflicts
    allowed = [[float(f), *(g for g in FREQUENCIES_HZ if g != f)] for f in made.frequency_hz[chosen]]
    found = colour_frequencies(allowed, conflicts)
    for a, b, f in conflicts:
        if found.frequency_hz[a] == f == found.frequency_hz[b]:
            assert b in found.not_with[a]
    assert not any(found.not_with)  # two crews and three frequencies: a graph of two sides needs two
    assert found.rank.sum() < len(chosen)


def test_each_set_up_has_a_range_and_causes_that_explain_it() -> None:
    made = block()
    names = ["stake", *(f"bond {k}" for k in range(6))]
    for candidate in made.cover().chosen.tolist():
        source = source_readings(made.loop_ohm[candidate], 0.5, 0.05)
        span = interval(source.loop_ohm)
        inside = np.mean((source.loop_ohm >= span.low) & (source.loop_ohm <= span.high))
        assert inside == pytest.approx(0.8, abs=0.07)
        causes = rank_causes(source.loop_ohm, made.states, names, ["stake"] + ["bond"] * 6)
        # a high loop is the stake's; a low one the stake's or the bond's of the line itself
        line = made.hookup_of[candidate] // 3
        assert causes.high[0].name in ("stake", f"bond {line}")
        assert causes.low[0].name in ("stake", f"bond {line}")


def test_fallbacks_stand_elsewhere() -> None:
    made = block()
    cover = made.cover()
    for candidate, others in fallbacks(
        made.value, cover.assigned, cover.chosen, made.hookup_of, length_m=made.length_m, preference=made.preference
    ).items():
        spots = {made.hookup_of[candidate], *(made.hookup_of[one.candidate] for one in others)}
        assert len(spots) == 1 + len(others)
        for one in others:
            assert 0 < one.readable_m <= made.length_m[cover.assigned == candidate].sum()


def test_bonds_that_matter_come_before_the_stake_that_doesnt() -> None:
    made = block()
    gains = verify_first(made.readable, made.length_m, made.states, seed=1)
    assert gains.gain_m.shape == (7,)
    assert gains.gain_m[1:].max() > gains.gain_m[0]
    assert gains.order[0] != 0


def test_all_of_it_twice_gives_the_same() -> None:
    one, other = block(), block()
    first, second = one.cover(), other.cover()
    assert first.chosen.tolist() == second.chosen.tolist()
    assert first.assigned.tolist() == second.assigned.tolist()
    ways = [walking_order(made.hookup_xy[first.chosen], made.ways, seed=2) for made in (one, other)]
    assert ways[0].order.tolist() == ways[1].order.tolist()
    assert [leg.wkb for leg in ways[0].legs] == [leg.wkb for leg in ways[1].legs]
    gains = [verify_first(made.readable, made.length_m, made.states, seed=2) for made in (one, other)]
    assert gains[0].gain_m.tobytes() == gains[1].gain_m.tobytes()


def test_fewer_set_ups_show_less_and_the_first_ones_most() -> None:
    made = block(lines=4)
    whole = made.cover()
    shown = [
        choose_setups(made.length_m, made.value, preference=made.preference, max_setups=k).readable_m
        for k in range(1, whole.number)
    ]
    assert all(a <= b + 0.05 * made.length_m.sum() for a, b in pairwise(shown))
    assert shown[0] > whole.readable_m / whole.number


def test_moving_the_block_moves_nothing_else() -> None:
    made = block()
    chosen = made.cover().chosen
    here = walking_order(made.hookup_xy[chosen], made.ways)
    shift = np.array([1000.0, -2000.0])
    there = walking_order(
        made.hookup_xy[chosen] + shift, [LineString(np.array(way.coords) + shift) for way in made.ways]
    )
    assert there.order.tolist() == here.order.tolist()
    assert there.length_m == pytest.approx(here.length_m, abs=1e-3)
