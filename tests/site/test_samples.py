"""The shipped samples: every planted defect is found, and told."""

import json
from typing import Any

import pytest

from tests.block import SAMPLES, sample
from tests.site.records import checked

NAMES = ("downtown_block", "bonded_district", "excavation_zone")


def planted(kind: str) -> list[dict[str, Any]]:
    truth = json.loads((SAMPLES / "downtown_block" / "truth.json").read_text(encoding="utf-8"))
    rows: list[dict[str, Any]] = truth["planted"][kind]
    assert rows
    return rows


def told(code: str, line_id: str) -> list[str]:
    findings = sample("downtown_block").findings
    return list(findings.loc[(findings["code"] == code) & (findings["line_id"] == line_id), "message"])


@pytest.mark.parametrize("name", NAMES)
def test_samples_keep_every_promise_of_a_site(name: str) -> None:
    site = checked(sample(name))
    assert (site.lines["conductive"] != "unknown").all()
    assert not set(site.findings["code"]) & {"no_bonds", "no_grounds", "no_soil", "no_structures", "no_work_area"}


@pytest.mark.parametrize(
    ("kind", "code"),
    [("self_crossing_line", "self_crossing"), ("depth_sentinel", "out_of_range"),
     ("depth_out_of_range", "out_of_range"),
     ("multipart_line", "multipart"), ("duplicate_line", "duplicate"), ("zero_length_line", "zero_length"),
     ("termination_of_unknown_line", "unknown_reference"), ("junction_gap_snapped", "snapped"),
     ("junction_gap_reported", "near_miss")],
)  # fmt: skip
def test_planted_defects_are_found(kind: str, code: str) -> None:
    for row in planted(kind):
        assert told(code, row["line_id"]), row


def test_unknown_words_are_found() -> None:
    for row in planted("unknown_word"):
        (message,) = told("unknown_word", row["id"])
        assert message.startswith(row["column"])
        assert repr(row["value"]) in message


def test_planted_gaps_are_closed_or_left() -> None:
    lines = sample("downtown_block").lines.set_index("line_id").geometry
    for row in planted("junction_gap_snapped"):
        assert f"{row['gap_m']:.3f} m" in told("snapped", row["line_id"])[0]
        assert lines[row["line_id"]].distance(lines[row["onto"]]) < 1e-6
    for row in planted("junction_gap_reported"):
        assert row["onto"] in told("near_miss", row["line_id"])[0]
        assert lines[row["line_id"]].distance(lines[row["onto"]]) == pytest.approx(row["gap_m"], abs=0.005)


def test_nothing_else_is_called_a_gap_or_a_copy() -> None:
    findings = sample("downtown_block").findings
    for kind, code in (
        ("junction_gap_snapped", "snapped"),
        ("junction_gap_reported", "near_miss"),
        ("duplicate_line", "duplicate"),
    ):
        assert set(findings.loc[findings["code"] == code, "line_id"]) == {row["line_id"] for row in planted(kind)}


def test_sentinels_are_filled_with_a_range() -> None:
    lines = sample("downtown_block").lines.set_index("line_id")
    for row in planted("depth_sentinel") + planted("depth_out_of_range"):
        line = lines.loc[row["line_id"]]
        assert line["depth_m_src"] == "default"
        assert line["depth_m_low"] < line["depth_m"] < line["depth_m_high"]
        assert "depth_m" in line["assumed_columns"].split()


def test_status_is_kept() -> None:
    status = sample("downtown_block").lines.set_index("line_id")["status"]
    assert {status[row["line_id"]] for row in planted("abandoned_line")} == {"abandoned"}
    assert {status[row["line_id"]] for row in planted("proposed_line")} == {"proposed"}
