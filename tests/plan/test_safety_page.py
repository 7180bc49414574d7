"""The safety page says what the gate does."""

from pathlib import Path

import pytest

import corridor
from corridor.plan.gate import CLOSED_ACCESS, ENERGIZED_UTILITIES, PROTECTION_KINDS, RULES, Rule
from corridor.plan.places import STAKE_CLEARANCE_M
from corridor.plan.wording import CENTRE_NOT_COVER, OTHER_METHODS
from corridor.settings import GateSettings, PartnerLimits, SafetySettings

PAGE = (Path(corridor.__file__).parents[1] / "docs" / "safety.md").read_text(encoding="utf-8")
PLAIN = " ".join(PAGE.split())


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_every_rule_is_on_the_page_with_what_it_gives(rule: Rule) -> None:
    (row,) = [line for line in PAGE.splitlines() if line.startswith(f"| `{rule.name}` |")]
    assert row.split("|")[2].strip() == rule.status.replace("_", " ")


def test_rules_stand_in_the_order_of_the_gate() -> None:
    places = [PAGE.index(f"| `{rule.name}` |") for rule in RULES]
    assert places == sorted(places)


def test_no_rule_is_on_the_page_that_the_gate_lacks() -> None:
    listed = [line.split("`")[1] for line in PAGE.splitlines() if line.startswith("| `")]
    assert listed == [rule.name for rule in RULES]


@pytest.mark.parametrize("word", [*ENERGIZED_UTILITIES, *PROTECTION_KINDS, *CLOSED_ACCESS])
def test_words_of_the_rules_are_on_the_page(word: str) -> None:
    assert word.replace("_", " ") in PLAIN.lower()


def test_settings_and_sentences_are_on_the_page() -> None:
    assert all(f"`gate.{name}`" in PAGE for name in GateSettings.model_fields)
    assert CENTRE_NOT_COVER.removesuffix(".") in PLAIN
    assert OTHER_METHODS in PLAIN
    assert f"at least {STAKE_CLEARANCE_M:g} m from every recorded line" in PLAIN


def test_limits_of_the_gate_on_bleed_partners_are_on_the_page() -> None:
    safety = SafetySettings()
    assert all(f"`{name}` {value:g} mA" in PLAIN for name, value in PartnerLimits().model_dump().items())
    assert f"{safety.touch_v:g} V AC" in PLAIN
    assert f"{safety.touch_public_v:g} V AC" in PLAIN
    assert f"{safety.touch_distance_m:g} m beside it" in PLAIN


@pytest.mark.parametrize(
    "words", ["One-call first", "not marks", "hand or with vacuum", "qualified persons", "Local codes"]
)
def test_cautions_are_on_the_page(words: str) -> None:
    assert words in PLAIN
