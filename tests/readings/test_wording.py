"""Every kind of cause has its words, with the cautions that it needs."""

import pytest

from corridor.dictionary.readings import CAUSE_KINDS
from corridor.readings.causes import Suspect
from corridor.readings.wording import RANKED, explained, where_to_look

KINDS = [kind for kind in CAUSE_KINDS if kind != "none"]


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_says_what_it_means_and_where_to_look(kind: str) -> None:
    suspect = Suspect(kind, "W-1", "E-2", "structure V-3", (0.0, 0.0))
    for text in (explained(suspect), where_to_look(suspect)):
        assert text.endswith(".")
        assert "{" not in text
    assert "W-1" in explained(suspect)


@pytest.mark.parametrize("kind", ["bond_conducts", "bond_open", "ground_open"])
def test_nobody_is_sent_to_open_close_or_lift_anything(kind: str) -> None:
    # docs/safety.md: a bond or a ground is its owner's
    text = where_to_look(Suspect(kind, "W-1", "E-2", "bond X", (0.0, 0.0)))
    assert "don't" in text
    assert "owner" in text


def test_a_wrong_line_stops_the_work() -> None:
    text = where_to_look(Suspect("wrong_line", "W-1", "E-2", "V-3", (0.0, 0.0)))
    assert text.startswith("Transmitter off.")
    assert "E-2 may be energized" in text


def test_nothing_hidden_claims_nothing() -> None:
    assert "may still be there" in where_to_look(None)
    assert explained(None)
    assert "not a fact" in RANKED
