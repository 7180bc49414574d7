"""Results on disk: the review's folder, one file by suffix, the same bytes again."""

import json
from pathlib import Path
from types import SimpleNamespace

import pyogrio
import pytest

from corridor.dictionary import RESULT_TABLES
from corridor.dictionary.plans import PLAN_TABLES
from corridor.dictionary.readings import READINGS_TABLES
from corridor.dictionary.scopes import SCOPE_TABLES
from corridor.errors import OutputError
from corridor.frames import CAUTION, empty_table
from corridor.report.layers.styles import STYLE_TABLE
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import REVIEW_FILES, check_output, review_tables, write_results, write_review, write_trace
from tests.builders import METRIC
from tests.report.examples import example_review

# what the commands bonds, check, plan, readings and scope write
OTHERS_ONLY = (
    "line_groups", "group_edges", "group_splits", "group_changes", "completeness",
    *(table.name for table in (*PLAN_TABLES, *READINGS_TABLES, *SCOPE_TABLES) if table.name != "setups"),
)  # fmt: skip


def test_a_review_is_written_whole_and_the_same_again(tmp_path: Path) -> None:
    review = example_review(2)
    lines = write_review(review, tmp_path / "out")
    files = [*REVIEW_FILES, "excavation.png"]
    first = {name: (tmp_path / "out" / name).read_bytes() for name in files}
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(files)
    write_review(review, tmp_path / "out")
    assert {name: (tmp_path / "out" / name).read_bytes() for name in files} == first
    assert first["summary.txt"].decode().splitlines() == lines
    layers = [layer for layer, _ in pyogrio.list_layers(tmp_path / "out" / "results.gpkg")]
    assert layers == [*(name for name in RESULT_TABLES if name not in OTHERS_ONLY), STYLE_TABLE]
    receipt = json.loads(first["receipt.json"])
    assert receipt["files"] == files
    assert json.loads(first["summary.json"])["receipt"] == receipt
    info = pyogrio.read_info(tmp_path / "out" / "results.gpkg", layer="strategy")
    assert info["dataset_metadata"]["caution"] == CAUTION
    assert json.loads(info["dataset_metadata"]["receipt"]) == receipt


def test_people_meet_the_strategy_first() -> None:
    assert next(iter(review_tables(example_review(1)))) == "strategy"


def test_a_review_never_replaces_foreign_files(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"mine\.txt"):
        write_review(example_review(1), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("name", ["results.xyz", "results", "results.gpkg.bak"])
def test_an_unknown_suffix_names_the_known_ones(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match=r"expected an output ending in \.csv, \.geojson, \.gpkg, \.parquet, got"):
        write_results(tmp_path / name, {"findings": empty_table("findings", METRIC)}, metadata={})


def test_an_output_is_checked_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    check_output(tmp_path / "r.gpkg")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError, match="is a folder"):
        check_output(".")
    with pytest.raises(OutputError, match=r"got 'no\.xyz'"):
        check_output("no.xyz")
    assert list(tmp_path.iterdir()) == []


def test_geojson_is_in_degrees_and_names_the_layer(tmp_path: Path) -> None:
    review = example_review(1)
    write_results(
        tmp_path / "r.geojson", {"strategy": review.strategy, "hookups": review.hookups}, metadata={"caution": CAUTION}
    )
    data = json.loads((tmp_path / "r.geojson").read_text(encoding="utf-8"))
    assert data["caution"] == CAUTION
    assert {f["properties"]["layer"] for f in data["features"]} == {"strategy", "hookups"}
    assert len(data["features"]) == len(review.strategy) + len(review.hookups)
    # RFC 7946, section 4: longitude and latitude in degrees; zone 33 has its middle at 15 degrees east
    west, south = data["features"][0]["geometry"]["coordinates"][0][:2]
    assert west == pytest.approx(15.0, abs=0.01)
    assert 8.5 < south < 9.5
    assert data["features"][0]["properties"]["voltage_v"] is None


def test_the_receipt_of_geojson_is_an_object(tmp_path: Path) -> None:
    review = example_review(1)
    receipt = make_receipt(review.site, command="find")
    write_results(tmp_path / "r.geojson", {"hookups": review.hookups}, metadata=receipt_metadata(receipt))
    data = json.loads((tmp_path / "r.geojson").read_text(encoding="utf-8"))
    assert data["receipt"] == receipt
    assert data["caution"] == CAUTION


def test_geojson_of_rows_without_geometry(tmp_path: Path) -> None:
    review = example_review(1)
    table = review.strategy.set_geometry([None] * len(review.strategy), crs=METRIC)
    write_results(tmp_path / "r.geojson", {"strategy": table}, metadata={})
    features = json.loads((tmp_path / "r.geojson").read_text(encoding="utf-8"))["features"]
    assert [f["geometry"] for f in features] == [None] * len(table)


def test_a_trace_is_one_file_with_its_receipt(tmp_path: Path) -> None:
    review = example_review(1)
    trace = SimpleNamespace(**{name: empty_table(name, METRIC) for name in ("sections", "stations", "bleed_paths")})
    write_trace(trace, tmp_path / "t.gpkg", receipt=make_receipt(review.site, command="trace"))
    layers = [layer for layer, _ in pyogrio.list_layers(tmp_path / "t.gpkg")]
    assert layers == ["sections", "stations", "bleed_paths", STYLE_TABLE]
    metadata = pyogrio.read_info(tmp_path / "t.gpkg", layer="sections")["dataset_metadata"]
    assert json.loads(metadata["receipt"])["command"] == "trace"
