"""Hook-ups: what is refused, and how they are named."""

from typing import Any

import pytest

from corridor.dictionary import MODES
from corridor.errors import HookUpError
from corridor.tone.hookup import FAR_ENDS, HookUp


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
        ({"mode": "clamp"}, "structure_id or at_m for the hook-up on L, got neither"),
    ],
)
def test_what_is_no_hookup_is_refused(given: dict[str, Any], said: str) -> None:
    with pytest.raises(HookUpError, match=said):
        HookUp(line_id="L", **given)


def test_the_name_says_mode_line_and_place() -> None:
    assert HookUp("direct", "L", structure_id="V1", at_m=3.2).hookup_id == "direct:L:V1"
    assert HookUp("clamp", "L", at_m=3.2).hookup_id == "clamp:L:3m"


def test_the_start_of_a_line_is_a_place() -> None:
    assert HookUp("induction", "L", at_m=0.0).hookup_id == "induction:L:0m"
