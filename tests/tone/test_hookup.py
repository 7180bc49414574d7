"""Hook-ups: what is refused, and how they are named."""

from typing import Any

import pytest

from corridor.dictionary import MODES
from corridor.errors import HookUpError
from corridor.tone.hookup import FAR_ENDS, LOOP_AXES, HookUp, stake_on_lead


@pytest.mark.parametrize("mode", MODES)
def test_every_mode_of_the_vocabulary_is_taken(mode: Any) -> None:
    assert HookUp(mode, "L", at_m=3.0).mode == mode


@pytest.mark.parametrize("far_end", FAR_ENDS)
def test_every_far_end_is_taken(far_end: Any) -> None:
    assert HookUp("direct", "L", at_m=3.0, far_end=far_end).far_end == far_end


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"mode": "magic", "at_m": 1.0}, "direct, clamp, induction, got 'magic'"),
        ({"mode": "direct", "at_m": 1.0, "far_end": "up"}, "far end of open, grounded, returned, got 'up'"),
        ({"mode": "induction", "at_m": 1.0, "loop_axis": "up"}, "axis of across, along, vertical, got 'up'"),
        ({"mode": "clamp", "at_m": 1.0, "lift_ground": True}, "a lifted ground with mode direct only, got mode clamp"),
        ({"mode": "clamp", "at_m": 1.0, "further_stakes": ((0, 0),)}, "further stakes with mode direct only"),
        ({"mode": "clamp", "at_m": 1.0, "loop_axis": "along"}, "another axis of the loop with mode induction only"),
        ({"mode": "direct", "at_m": 1.0, "loop_offset_m": 1.0}, "a loop beside the line with mode induction only"),
        ({"mode": "direct", "at_m": 1.0, "far_end": "returned", "further_stakes": ((0, 0),)}, "expected no stakes"),
        ({"mode": "clamp"}, "structure_id or at_m for the hook-up on L, got neither"),
    ],
)
def test_what_is_no_hookup_is_refused(given: dict[str, Any], said: str) -> None:
    with pytest.raises(HookUpError, match=said):
        HookUp(line_id="L", **given)


def test_the_name_says_mode_line_and_place() -> None:
    assert HookUp("direct", "L", structure_id="V1", at_m=3.2).hookup_id == "direct:L:V1"
    assert HookUp("clamp", "L", at_m=3.2).hookup_id == "clamp:L:3m"


@pytest.mark.parametrize("axis", LOOP_AXES)
def test_every_axis_is_taken(axis: Any) -> None:
    assert HookUp("induction", "L", at_m=3.0, loop_axis=axis).loop_axis == axis


def test_a_stake_moves_along_its_lead() -> None:
    assert stake_on_lead((1.0, 1.0), (4.0, 5.0), 10.0) == pytest.approx((7.0, 9.0))
    assert stake_on_lead((1.0, 1.0), (4.0, 5.0), 5.0) == pytest.approx((4.0, 5.0))


@pytest.mark.parametrize(("stake", "distance_m"), [((1.0, 1.0), 2.0), ((4.0, 5.0), 0.0), ((4.0, 5.0), float("nan"))])
def test_a_lead_without_length_is_refused(stake: tuple[float, float], distance_m: float) -> None:
    with pytest.raises(HookUpError, match="expected a distance above 0 m on a lead"):
        stake_on_lead((1.0, 1.0), stake, distance_m)


def test_the_start_of_a_line_is_a_place() -> None:
    assert HookUp("induction", "L", at_m=0.0).hookup_id == "induction:L:0m"
