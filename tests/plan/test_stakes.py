"""Ground stakes of the hook-ups to be solved: where they stand, what has to be said, and grounds taken as lifted."""

from dataclasses import replace
from typing import Any

import pytest

from corridor import HookUp, Site, trace_tone
from corridor.errors import HookUpError
from corridor.plan.stakes import stake_out, without_lifted
from corridor.settings import load_equipment
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, access, cable, ground

EQUIPMENT = load_equipment(None)
FEED = HookUp("direct", "A", at_m=0.0, stake_xy=(-5.0, 0.0))


def staked(*hookups: HookUp, site: Site | None = None) -> Any:
    lines = (site or make_site(lines=[cable("A")])).lines
    names = [f"h{k}" for k in range(len(hookups))]
    return stake_out(hookups, names, lines, equipment=EQUIPMENT, settings=SETTINGS)


def test_a_stake_stands_where_the_hookup_says() -> None:
    staking = staked(FEED)
    assert staking.placement.stakes == {"stake|h0": (-5.0, 0.0)}
    assert staking.notes == ()


def test_further_stakes_are_tied_to_the_first() -> None:
    staking = staked(replace(FEED, further_stakes=((-5.0, 1.0), (-5.0, 2.0))))
    assert sorted(staking.placement.stakes) == ["stake|h0", "stake|h0|2", "stake|h0|3"]
    assert staking.placement.ties == (("stake|h0", "stake|h0|2"), ("stake|h0", "stake|h0|3"))


def test_only_a_direct_connection_with_earth_return_has_stakes() -> None:
    others = [replace(FEED, far_end="returned"), HookUp("clamp", "A", at_m=5.0), HookUp("induction", "A", at_m=5.0)]
    assert staked(*others).placement.stakes == {}


@pytest.mark.parametrize(("at_m", "far_x_m"), [(0.0, LENGTH_M), (LENGTH_M, 0.0)])
def test_a_grounded_far_end_has_a_stake_of_its_own(at_m: float, far_x_m: float) -> None:
    placement = staked(replace(FEED, at_m=at_m, far_end="grounded")).placement
    assert placement.stakes["far|h0"] == (far_x_m, 0.0)
    assert placement.leads == (("far|h0", "A", far_x_m),)


def test_a_stake_that_nobody_placed_is_said_to_be_assumed() -> None:
    staking = staked(replace(FEED, stake_xy=None, at_m=20.0))
    assert staking.placement.stakes["stake|h0"] == pytest.approx((20.0, SETTINGS.hookups.stake_distance_m))
    assert "no clear place for the ground stake is known" in staking.notes[0]
    assert "5.00 m from A" in staking.notes[0]


@pytest.mark.parametrize("stake_xy", [(20.0, 0.4), None], ids=["placed", "assumed"])
def test_a_stake_on_a_recorded_line_is_warned_of(stake_xy: tuple[float, float] | None) -> None:
    site = make_site(lines=[cable("A"), cable("B", 4.6), cable("C", -5.0, status="proposed")])
    (note,) = staked(replace(FEED, stake_xy=stake_xy, at_m=20.0), site=site).notes
    assert "0.40 m from" in note
    assert "don't drive it there" in note


def test_a_proposed_line_is_in_nobodys_way() -> None:
    site = make_site(lines=[cable("A"), cable("C", -5.0, status="proposed")])
    assert staked(replace(FEED, stake_xy=(20.0, -5.0)), site=site).notes == ()


def test_stakes_that_act_as_one_are_refused() -> None:
    with pytest.raises(HookUpError, match=r"hook-up h0: expected stakes at least 0\.3 m apart"):
        staked(replace(FEED, further_stakes=((-5.0, 0.1),)))


def grounded(*grounds: dict[str, Any]) -> Site:
    return make_site(lines=[cable("A")], grounds=grounds, soil=[KNOWN_SOIL], **access("A"))


def lifted(site: Site, hookup: str | HookUp) -> Any:
    return trace_tone(site, hookup, frequency_hz=1e3, level_ma=50.0, settings=SETTINGS)


def test_lifting_the_near_ground_sends_more_out_along_the_line_and_says_what_it_is() -> None:
    # common practice: a ground at the access point takes its part of the tone straight back to the stake
    site = grounded(ground("A", 0.0), ground("A", LENGTH_M))
    hookup = HookUp("direct", "A", structure_id="A-S")
    kept, off = (lifted(site, one) for one in (hookup, replace(hookup, lift_ground=True)))
    far = [result.sections["share_of_output"].iloc[-1] for result in (kept, off)]
    assert far[1] > 1.2 * far[0]
    assert off.loop_ohm > kept.loop_ohm
    assert "a comparison only, with A@0 taken as lifted" in off.notes[0]
    assert not any("lifted" in note for note in kept.notes)


def test_a_ground_that_isnt_there_cant_be_lifted() -> None:
    site = grounded(ground("A", LENGTH_M))
    with pytest.raises(HookUpError, match="the records have none there"):
        lifted(site, HookUp("direct", "A", structure_id="A-S", lift_ground=True))


def test_a_ground_is_lifted_for_one_hookup_alone(alone: Site) -> None:
    hookups = [replace(FEED, lift_ground=True), FEED]
    with pytest.raises(HookUpError, match="solved alone, got 2 hook-ups"):
        without_lifted(None, hookups)  # type: ignore[arg-type]


def test_two_stakes_lower_the_loop_of_a_trace(alone: Site) -> None:
    one = HookUp("direct", "A", structure_id="A-S", stake_xy=(0.0, 5.0))
    loops = [lifted(alone, hookup).loop_ohm for hookup in (one, replace(one, further_stakes=((0.0, 7.0),)))]
    assert 0.4 * loops[0] < loops[1] < 0.8 * loops[0]


def test_a_hookup_without_a_stake_takes_the_clear_place_of_the_plan(alone: Site) -> None:
    # identity: by id and by place it is the same hook-up
    by_id, by_place = (lifted(alone, one) for one in ("direct:A:A-S", HookUp("direct", "A", structure_id="A-S")))
    assert by_id.loop_ohm == by_place.loop_ohm
    assert by_id.notes == by_place.notes


def test_a_trace_says_that_its_stake_has_no_clear_place() -> None:
    ducts = [
        cable(f"N{k}", asset="duct", material="pvc", conductive="no", geometry=[(-20, 0.9 * k), (60, 0.9 * k)])
        for k in range(-20, 21) if k
    ]  # fmt: skip
    rows = [cable("A", geometry=[(-20, 0), (60, 0)]), *ducts]
    site = make_site(lines=rows, soil=[KNOWN_SOIL], **access("A"))
    result = lifted(site, HookUp("direct", "A", structure_id="A-M"))
    assert "no clear place for the ground stake is known" in result.notes[0]
