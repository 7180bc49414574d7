"""The summary: at most 25 lines, in the order that matters, with ranges."""

import json
import re
from typing import Any

import pytest

from corridor.frames import CAUTION
from corridor.report.summary import LINES_MAX, summary_json, summary_lines
from corridor.report.text import LINE_MAX
from tests.report.examples import example_review


def _lines(**facts: Any) -> list[str]:
    review = example_review(1)
    review.summary |= facts
    return summary_lines(review, files=("results.gpkg", "map.png"), folder="out")


def test_the_order_is_the_one_people_need() -> None:
    lines = _lines()
    assert lines[0] == CAUTION
    starts = (
        "Set-ups: 11 READY",
        "  missing: whether E-003",
        "Records: 120 in = 117 used",
        "Assumed: 31 %",
        "Recorded lines that tone can't show",
        "Lines where a crew",
        "Strongest bleed partners",
        "  W-001: 12.3 mA (3.21 to 20.9), by",
        "Solved: 2345",
        "Written to out: results.gpkg, map.png",
    )
    found = [next(i for i, line in enumerate(lines) if line.startswith(start)) for start in starts]
    assert found == sorted(found)
    assert found[-1] == len(lines) - 1


def test_it_says_what_it_rests_on() -> None:
    text = "\n".join(_lines())
    for words in (
        "worst: depth_m 25 %, diameter_mm 18 %, material <1 %",
        "S-007 sewer, clay",
        "they are still there",
        "generic equipment",
        "0.15 m",
        "15 %",
        "nT",
        "100 ohm m (20 to 1000), assumed",
        "no record is not no bond",
    ):
        assert words in text


def _much(**facts: Any) -> dict[str, Any]:
    """More of everything than 25 lines can hold."""
    partners = [
        {"line_id": f"P-{i}", "current_ma": 1.0, "low": 0.5, "high": 2.0, "cause": "leakage " * 30} for i in range(50)
    ]
    return {
        "missing": [(f"text {i} {'long ' * 40}", i) for i in range(50)],
        "wrong_line": [f"A-{i}: mistaken for B" for i in range(50)],
        "untraceable": [f"S-{i:03d} sewer, clay" for i in range(80)],
        "partners": partners,
        "notes": [f"note {i}" for i in range(50)],
        "frequencies_hz": [500.0 * 2**i for i in range(9)],
        "assumed_worst": [(f"column_{i}_m", 0.5) for i in range(30)],
    } | facts


def test_however_much_there_is_it_stays_short_and_counts_what_it_leaves_out() -> None:
    lines = _lines(**_much())
    assert len(lines) <= LINES_MAX
    assert max(map(len, lines)) <= LINE_MAX
    text = " ".join(" ".join(lines).split())
    for layer in ("hookups", "strategy", "bleed_paths"):
        assert re.search(rf"and \d+ more[ a-z]*: see layer {layer}", text)
    assert re.search(r"and \d+ more notes: see summary\.json", text)
    assert "they are still there (80): S-000 sewer, clay; S-001" in text
    assert lines[-1].startswith("Written")


def test_long_sentences_go_on_in_the_next_line() -> None:
    frequencies = [500.0 * 2**i for i in range(9)]
    soil = "100 ohm m (20 to 1000), " + "taken from what the records say of the ground " * 2 + "and no more"
    lines = _lines(frequencies_hz=frequencies, soil=soil)
    assert not any("…" in line for line in lines)
    text = " ".join(" ".join(lines).split())
    assert ", ".join(f"{f:g}" for f in frequencies) + " Hz" in text
    assert soil in text
    after = lines[next(i for i, line in enumerate(lines) if line.startswith("Solved")) + 1]
    assert after.startswith("    ")


def test_conditions_that_keep_setups_waiting_are_told_apart_and_counted() -> None:
    start = "bond B-004 must be checked by a qualified person: it may connect to E-003 (electricity)"
    rest = "bond B-006 must be checked by a qualified person: it may connect to E-001 (electricity)"
    lines = _lines(missing=[(f"{start}; {rest}", 5), (start, 2), (f"access: V-1 is locked; {start}", 1)])
    text = " ".join(" ".join(lines).split())
    assert f"missing: {start} (8 set-ups)" in text
    assert f"missing: {rest} (5 set-ups)" in text
    assert "missing: access: V-1 is locked (1 set-up)" in text


def test_a_partner_says_under_which_hookup() -> None:
    partner = {"line_id": "W-011", "current_ma": 130.0, "low": 3.76, "high": 137.0, "cause": "bond with E-006 (B-1)",
               "hookup_id": "clamp:E-011:BE-002", "frequency_hz": 1000.0}  # fmt: skip
    assert "  W-011: 130 mA (3.76 to 137) under clamp:E-011:BE-002 at 1000 Hz, by bond with E-006 (B-1)" in _lines(
        partners=[partner]
    )


def test_without_a_ready_hookup_nothing_was_solved() -> None:
    lines = _lines(
        sections=0, frequencies_hz=[], ready=0, reach="nothing solved", soil="not solved", wrong_line=[], partners=[]
    )
    assert "Lines where a crew would mark the wrong one: not predicted" in lines
    assert "Bleed partners: not predicted" in lines
    assert "Nothing solved: no hook-up is ready" in lines
    assert not any(line.startswith(("Solved", "Reach")) for line in lines)


def test_nothing_to_tell_is_told() -> None:
    text = "\n".join(_lines(untraceable=[], wrong_line=[], partners=[], missing=[], notes=[], assumed_worst=[]))
    assert "none among the targets" in text
    assert "none predicted" in text
    assert "none above the threshold" in text
    assert "free" not in text


def test_the_data_cannot_steer_the_terminal() -> None:
    assert "\x1b" not in "\n".join(_lines(untraceable=["\x1b[2Jgone"]))


def test_json_holds_facts_caution_and_receipt() -> None:
    review = example_review(1)
    data = json.loads(summary_json(review, {"seed": 3}))
    assert data["caution"] == CAUTION
    assert data["receipt"] == {"seed": 3}
    assert data["summary"]["ready"] == 11


def test_json_refuses_what_is_no_number() -> None:
    review = example_review(1)
    review.summary["reach_m"] = float("nan")
    with pytest.raises(ValueError, match="JSON"):
        summary_json(review, {})
