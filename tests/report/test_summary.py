"""The summary: at most 25 lines, in the order that matters, with ranges."""

import json
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


def test_however_much_there_is_it_stays_short() -> None:
    partners = [
        {"line_id": f"P-{i}", "current_ma": 1.0, "low": 0.5, "high": 2.0, "cause": "leakage " * 30} for i in range(50)
    ]
    lines = _lines(
        missing=[(f"text {i}", i) for i in range(50)],
        wrong_line=[f"A-{i}: mistaken for B" for i in range(50)],
        untraceable=[f"S-{i:03d} sewer, clay" for i in range(80)],
        partners=partners,
        notes=[f"note {i}" for i in range(50)],
    )
    assert len(lines) <= LINES_MAX
    assert max(map(len, lines)) <= LINE_MAX
    text = "\n".join(lines)
    assert "and 46 more" in text
    assert "(80)" in text
    assert lines[-1].startswith("Written")


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
