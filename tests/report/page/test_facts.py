"""What the page is told of a review."""

import json
from typing import Any

import pytest

from corridor.dictionary import GRADES
from corridor.frames import CAUTION
from corridor.report.look.colours import colour_table
from corridor.report.page.facts import COLUMNS, STILL_THERE, page_facts, path_facts
from tests.browser.pages import FREQUENCIES, HOSTILE, receipt_of, small_plan
from tests.report.examples import example_review


def facts_of(review: Any) -> dict[str, Any]:
    return page_facts(review, receipt_of(review), colour_table())


def cell(facts: dict[str, Any], table: str, row: int, column: str) -> Any:
    return facts[table][row][COLUMNS[table].index(column)]


def test_nothing_of_the_tables_is_left_out() -> None:
    plan, facts = small_plan(), facts_of(small_plan())
    for name in COLUMNS:
        if name in ("lines", "structures"):
            continue
        assert len(facts[name]) == len(getattr(plan, name)), name
    assert len(facts["lines"]) == len(facts["line_xy"]) == len(plan.site.lines)
    assert len(facts["structures"]) == len(facts["structures_xy"]) == len(plan.site.structures)
    assert len(facts["hookups_xy"]) == len(plan.hookups)


def test_hookups_that_arent_ready_carry_their_reason() -> None:
    facts = facts_of(small_plan())
    for row in range(len(facts["hookups"])):
        if cell(facts, "hookups", row, "ready") != "ready":
            assert cell(facts, "hookups", row, "missing") or cell(facts, "hookups", row, "reason")


def test_caution_and_wording_come_along() -> None:
    facts = facts_of(small_plan())
    assert facts["caution"] == CAUTION
    assert facts["still_there"] == STILL_THERE == "a recorded line that tone can't show; it is still there"
    assert facts["generic"] is True
    assert list(facts["vocabulary"]["grades"]) == list(GRADES)


def test_texts_are_kept_but_for_what_steers_a_terminal() -> None:
    facts = facts_of(small_plan())
    owners = [cell(facts, "lines", row, "owner") for row in range(4)]
    assert owners[:3] == [HOSTILE[0], HOSTILE[1], HOSTILE[2]]
    assert "\u2028" not in owners[3]


def test_a_window_tells_how_to_read_its_blocks() -> None:
    plan, facts = small_plan(), facts_of(small_plan())
    (window,), (found,) = facts["windows"], plan.what_if
    assert window["frequencies_hz"] == list(FREQUENCIES)
    assert len(window["line_of"]) == len(window["floor"]) == len(window["xy"]) // 4
    assert window["hookups"] == list(found.hookup_ids)
    assert [len(rows) for rows in window["set"]] == [len(FREQUENCIES)] * len(found.hookup_ids)
    x_m = facts["origin_m"][0] + window["xy"][0] / 100.0
    assert x_m == pytest.approx(found.ends_m[0, 0, 0], abs=0.0051)
    for number, frequency, why in window["barred"]:
        assert found.barred[number, frequency] == why


def test_paths_add_up() -> None:
    # the shares of a line's paths are a signed sum of 1 (data dictionary)
    plan = small_plan()
    paths = path_facts(plan)
    assert set(paths) == set(zip(plan.bleed_paths["hookup_id"], plan.bleed_paths["frequency_hz"], strict=True))
    hops = sum(max(len(way[2]), 1) for ways in paths.values() for way in ways)
    assert hops == len(plan.bleed_paths)
    for ways in paths.values():
        for line_id in {way[0] for way in ways}:
            assert sum(way[1] for way in ways if way[0] == line_id) == pytest.approx(1.0, abs=0.002)


def test_colours_in_use_are_explained() -> None:
    facts = facts_of(example_review(4))
    shown = {colour for colour, _ in facts["colours"]["groups"]}
    assert set(facts["colours"]["utilities"].values()) <= shown
    # a set's own order is another in every process
    assert list(facts["colours"]["utilities"]) == sorted(facts["colours"]["utilities"])


def test_a_review_without_tone_has_no_windows() -> None:
    facts = facts_of(example_review(1))
    assert facts["windows"] == []
    assert facts["verify_first"] == []
    json.dumps(facts, allow_nan=False)
