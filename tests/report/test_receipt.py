"""The receipt: inputs, settings, equipment and caution, and no time of its own."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path

from corridor import __version__
from corridor.frames import CAUTION
from corridor.report.receipt import equipment_note, make_receipt, receipt_metadata
from corridor.settings import Settings, load_equipment
from corridor.site import FieldMap, read_site
from corridor.site.model import Source
from tests.builders import make_site
from tests.site.records import line, write

LINES = [{"line_id": "A", "geometry": [(0, 0), (10, 0)]}]
SOURCES = (
    Source(path="a.gpkg", sha256="0" * 64, modified="2024-05-06T09:08:09+02:00", layers=("lines",)),
    Source(path="b.gpkg", sha256="1" * 64, modified="2023-01-01", layers=("bonds", "soil")),
)


def test_it_names_everything_the_result_rests_on() -> None:
    site = replace(make_site(lines=LINES), sources=SOURCES)
    receipt = make_receipt(
        site,
        command="review",
        settings=Settings(seed=7),
        equipment=load_equipment("small_output"),
        options={"targets": ["A"]},
    )
    assert receipt["version"] == __version__
    assert receipt["caution"] == CAUTION
    assert receipt["seed"] == 7
    assert receipt["options"] == {"targets": ["A"]}
    assert [source["sha256"] for source in receipt["inputs"]] == ["0" * 64, "1" * 64]
    assert receipt["settings"]["grades"]["offset_tolerance_m"] == Settings().grades.offset_tolerance_m
    assert receipt["equipment"]["name"] == "small_output"
    assert receipt["equipment_note"] == "generic equipment (small_output)"
    assert receipt["accounting"] == [{"layer": "lines", "features_in": 1, "used": 1, "repaired": 0, "set_aside": 0}]


def test_the_field_map_is_part_of_what_it_rests_on(tmp_path: Path) -> None:
    records = write(tmp_path, lines=[line()])
    text = '[layers.lines]\ntable = "lines"\n[layers.lines.constants]\nowner = "Works"\n'
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    receipt = make_receipt(read_site(records, fieldmap=path), command="check")
    content = {"layers": {"lines": {"table": "lines", "constants": {"owner": "Works"}}}}
    assert receipt["fieldmap"] == {
        "path": str(path), "sha256": hashlib.sha256(text.encode()).hexdigest(), "content": content
    }  # fmt: skip
    plan = FieldMap.model_validate(content)
    in_code = make_receipt(read_site(records, fieldmap=plan), command="check")["fieldmap"]
    assert in_code == {"path": None, "sha256": None, "content": content}
    assert make_receipt(read_site(records), command="check")["fieldmap"] is None
    assert json.loads(receipt_metadata(receipt)["receipt"])["fieldmap"]["content"] == content


def test_it_is_plain_data_and_the_same_again() -> None:
    site = replace(make_site(lines=LINES), sources=SOURCES)
    first, second = (make_receipt(site, command="check") for _ in range(2))
    assert json.dumps(first, sort_keys=True, allow_nan=False) == json.dumps(second, sort_keys=True, allow_nan=False)
    assert json.loads(json.dumps(first)) == first


def test_the_date_of_a_file_is_that_of_its_newest_input() -> None:
    metadata = receipt_metadata(make_receipt(replace(make_site(lines=LINES), sources=SOURCES), command="find"))
    assert metadata["date"] == "2024-05-06T07:08:09.000Z"
    assert json.loads(metadata["receipt"])["command"] == "find"
    assert "date" not in receipt_metadata(make_receipt(make_site(lines=LINES), command="find"))


def test_equipment_of_ones_own_is_not_called_generic() -> None:
    own = load_equipment(None).model_copy(update={"generic": False, "name": "ours"})
    assert equipment_note(own) == "ours"
    assert equipment_note(None) == ""
