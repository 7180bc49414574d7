"""What readings say, on disk: whole, the same again, and ready for the next plan."""

import json
from dataclasses import replace
from pathlib import Path

import pyogrio
import pytest

from corridor.errors import OutputError
from corridor.frames import CAUTION, table_frame
from corridor.readings import Update
from corridor.report.receipt import make_receipt
from corridor.report.updates import update_lines, write_update
from corridor.site.corrections import load_corrections
from tests.builders import METRIC, make_site
from tests.plan.conftest import cable

BOND = {"bond_id": "X", "line_a": "A", "line_b": "B", "geometry": (60, 0.9), "state": "unknown",
        "evidence": "suspected", "probability": 0.2}  # fmt: skip
SITE = make_site(lines=[cable("A"), cable("B", 1.8)], bonds=[BOND])
AFTER = make_site(
    lines=[cable("A"), cable("B", 1.8)],
    bonds=[BOND | {"probability": 0.93}, BOND | {"bond_id": "readings~new", "probability": 0.4}],
)


def update(*, changed: bool = True) -> Update:
    causes = [
        {"rank": 1, "cause_id": "c", "kind": "bond_conducts", "probability": 0.93, "set_id": "1", "explained": "It is.",
         "where_to_look": "Look there."},
        {"rank": 2, "cause_id": "d", "kind": "hidden_bond", "probability": 0.05, "set_id": "1", "explained": "Or that.",
         "where_to_look": "Or there."},
        {"rank": 3, "cause_id": "none", "kind": "none", "probability": 0.02, "explained": "Nothing.",
         "where_to_look": "-"},
    ]  # fmt: skip
    row = {"setup_id": "S1", "line_id": "A", "station_m": 9.0, "kind": "receiver_ma", "value": 80.0}
    more = {"expected_low": 30.0, "expected_high": 44.0, "outlier_probability": 0.97, "used": "yes"}
    return Update(
        table_frame("causes", causes, crs=METRIC),
        table_frame("reading_intervals", [row | more, row | {"used": "predicted"}], crs=METRIC),
        table_frame("readings", [row | {"time": "2030-01-02"}, row], crs=METRIC),
        (0.8, 1.1, 1.4),
        AFTER if changed else SITE,
        (CAUTION, "a note"),
    )


RECEIPT = make_receipt(SITE, command="readings")


def test_everything_is_written_and_the_same_again(tmp_path: Path) -> None:
    lines = write_update(update(), SITE, tmp_path / "u", receipt=RECEIPT)
    first = {path.name: path.read_bytes() for path in sorted((tmp_path / "u").iterdir())}
    assert set(first) == {"results.gpkg", "summary.txt", "receipt.json", "added.gpkg", "corrections.csv"}
    write_update(update(), SITE, tmp_path / "u", receipt=RECEIPT)
    assert {path.name: path.read_bytes() for path in sorted((tmp_path / "u").iterdir())} == first
    assert first["summary.txt"].decode().splitlines() == lines
    receipt = json.loads(first["receipt.json"])
    assert set(receipt["files"]) == set(first)
    assert receipt["caution"] == CAUTION
    layers = {name for name, _ in pyogrio.list_layers(tmp_path / "u" / "results.gpkg")}
    assert {"causes", "reading_intervals", "readings"} <= layers


def test_what_goes_into_the_next_plan_can_be_read_there(tmp_path: Path) -> None:
    write_update(update(), SITE, tmp_path / "u", receipt=RECEIPT)
    (row,) = load_corrections(tmp_path / "u" / "corrections.csv").rows
    assert (row.layer, row.id, row.column, row.value, row.date) == ("bonds", "X", "probability", "0.9300", "2030-01-02")
    added = pyogrio.read_dataframe(tmp_path / "u" / "added.gpkg", layer="bonds")
    assert added["bond_id"].tolist() == ["readings~new"]
    assert added["evidence"].tolist() == ["suspected"]


def test_nothing_changed_leaves_nothing_for_the_plan(tmp_path: Path) -> None:
    write_update(update(changed=False), SITE, tmp_path / "u", receipt=RECEIPT)
    assert {path.name for path in (tmp_path / "u").iterdir()} == {"results.gpkg", "summary.txt", "receipt.json"}


def test_the_summary_says_what_to_check_and_what_to_read_again() -> None:
    text = "\n".join(update_lines(update()))
    assert text.startswith(CAUTION)
    for words in ("not facts", "93%  It is.", "Look there.", "can't tell the first from 1 more", "1.10 times",
                  "Read again: receiver_ma on A at 9 m, 80 read, 30 to 44 expected.", "1 used, 1 not taken yet",
                  "Note: a note"):  # fmt: skip
        assert words in text
    assert text.count(CAUTION) == 1


def test_without_readings_nothing_is_explained() -> None:
    bare = replace(update(), expected=update().expected.assign(used="predicted", outlier_probability=None))
    text = "\n".join(update_lines(bare))
    assert "No reading has a value yet." in text
    assert "explains the readings best" not in text
    assert "Read again" not in text


def test_an_undated_reading_says_so(tmp_path: Path) -> None:
    bare = replace(update(), readings=update().readings.assign(time=None))
    write_update(bare, SITE, tmp_path / "u", receipt=RECEIPT)
    assert load_corrections(tmp_path / "u" / "corrections.csv").rows[0].date == "undated"


def test_foreign_files_stay(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"mine\.txt"):
        write_update(update(), SITE, tmp_path, receipt=RECEIPT)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
