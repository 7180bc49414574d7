"""``corridor bonds`` on files: what it says, what it writes, and an earlier result beside a new one."""

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from shapely import LineString

from corridor.commands.main import cli
from corridor.frames import CAUTION

X, Y = 500_000.0, 5_000_000.0
LAYERS = {"line_groups", "bonded_groups", "group_edges", "group_splits", "isolations", "bonds_found"}


def _records(folder: Path, *, bonds: list[tuple[str, str]], name: str = "site.gpkg") -> Path:
    """Four steel pipes side by side, and closed bonds between some."""
    path = folder / name
    lines = [{"line_id": f"W-{k}", "utility": "water", "asset": "pipe", "material": "steel", "joints": "welded",
              "depth_m": 1.0, "status": "in_service",
              "geometry": LineString([(X, Y + k), (X + 60, Y + k)])} for k in range(4)]  # fmt: skip
    rows = [{"bond_id": f"B-{a}{b}", "line_a": f"W-{a}", "line_b": f"W-{b}", "state": "closed", "evidence": "recorded",
             "geometry": LineString([(X + 30, Y + int(a)), (X + 30, Y + int(b))])} for a, b in bonds]  # fmt: skip
    for layer, table in (("lines", lines), ("bonds", rows)):
        if table:
            frame = gpd.GeoDataFrame(table, geometry="geometry", crs="EPSG:32633")
            pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG")
    return path


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, ["bonds", *(str(argument) for argument in arguments)])


def _done(result: Result) -> str:
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture
def records(tmp_path: Path) -> Path:
    return _records(tmp_path, bonds=[("0", "1"), ("1", "2")])


def test_it_tells_groups_what_is_not_known_and_what_a_large_group_hangs_on(records: Path) -> None:
    told = _done(_run(records))
    assert told.startswith(CAUTION)
    assert "4 lines that carry tone, 240 m" in told
    assert "recorded: 75 % of the length in groups; not known: 1 lines" in told
    assert "recorded:W-0" in told
    assert "W-0 W-1 W-2" in told
    assert "the bonds whose removal splits most off" in told
    assert "B-01" in told
    assert "visit" not in told  # every bond is on record
    for word in ("unbonded", "separate", "isolated"):
        assert word not in told
    assert "Differences" not in told
    assert _run(records, "--quiet").output == ""


def test_a_large_group_with_two_ways_everywhere_is_said_to_hang_on_nothing(tmp_path: Path) -> None:
    ring = _records(tmp_path, bonds=[("0", "1"), ("1", "2"), ("0", "2")])
    told = _done(_run(ring))
    assert "recorded:W-0: no one bond or visit splits it" in told
    assert "splits most off" not in told


def test_it_writes_every_layer_whole(records: Path, tmp_path: Path) -> None:
    out = tmp_path / "b.gpkg"
    _done(_run(records, "-o", out))
    assert {name for name, _ in pyogrio.list_layers(out)} - {"layer_styles"} == LAYERS
    lines = gpd.read_file(out, layer="line_groups").set_index("line_id")
    assert lines["group_recorded"].to_dict() == {
        "W-0": "recorded:W-0", "W-1": "recorded:W-0", "W-2": "recorded:W-0", "W-3": "not known"
    }  # fmt: skip
    edges = gpd.read_file(out, layer="group_edges")
    assert set(edges["evidence"]) == {"recorded"}
    metadata = pyogrio.read_info(out, layer="line_groups")["dataset_metadata"]
    assert json.loads(metadata["receipt"])["options"] == {}


def test_the_same_records_give_the_same_bytes(records: Path, tmp_path: Path) -> None:
    for name in ("a.gpkg", "b.gpkg"):
        _done(_run(records, "-o", tmp_path / name))
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


@pytest.mark.parametrize("suffix", ["gpkg", "geojson"])
def test_an_earlier_result_keeps_ids_and_tells_the_differences(records: Path, tmp_path: Path, suffix: str) -> None:
    old, new = tmp_path / f"old.{suffix}", tmp_path / "new.gpkg"
    _done(_run(records, "-o", old))
    assert "Differences from the earlier result:\nnone" in _done(_run(records, "--previous", old))
    fewer = _records(tmp_path, bonds=[("1", "2"), ("2", "3")], name="later.gpkg")
    told = _done(_run(fewer, "--previous", old, "-o", new))
    assert "changed" in told
    changes = gpd.read_file(new, layer="group_changes")
    assert list(changes["level"]) == ["recorded", "likely", "possible"]
    assert set(changes["change"]) == {"changed"}
    first = changes.iloc[0]
    assert (first["group_ids"], first["previous_ids"]) == ("recorded:W-0", "recorded:W-0")
    assert (first["lines_gained"], first["lines_lost"]) == ("W-3", "W-0")
    receipt = json.loads(pyogrio.read_info(new, layer="group_changes")["dataset_metadata"]["receipt"])
    assert receipt["options"]["previous"]["path"] == str(old)
    assert len(receipt["options"]["previous"]["sha256"]) == 64


def test_an_earlier_result_may_be_replaced_by_the_new_one(records: Path, tmp_path: Path) -> None:
    out = tmp_path / "b.gpkg"
    _done(_run(records, "-o", out))
    _done(_run(records, "--previous", out, "-o", out))
    assert {name for name, _ in pyogrio.list_layers(out)} - {"layer_styles"} == LAYERS | {"group_changes"}


@pytest.mark.parametrize("what", ["records", "nothing"])
def test_a_file_that_is_no_earlier_result_is_refused_in_one_line(records: Path, tmp_path: Path, what: str) -> None:
    result = _run(records, "--previous", records if what == "records" else tmp_path / "no.gpkg")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert ("line_groups" if what == "records" else "does not exist") in result.stderr
    assert result.stdout == ""


def test_short_lists_count_what_they_leave_out(tmp_path: Path) -> None:
    path = tmp_path / "many.gpkg"
    lines: list[dict[str, Any]] = []
    for k in range(13):  # thirteen pairs of cables that meet
        for half in (0, 1):
            shape = LineString([(X + 20 * half, Y + 9 * k), (X + 20 * half + 20, Y + 9 * k)])
            lines.append({"line_id": f"E-{k:02d}-{half}", "utility": "electricity", "asset": "cable", "geometry": shape,
                          "material": "copper", "depth_m": 0.8, "status": "in_service"})  # fmt: skip
    frame = gpd.GeoDataFrame(lines, geometry="geometry", crs="EPSG:32633")
    pyogrio.write_dataframe(frame, path, layer="lines", driver="GPKG")
    short, long = _done(_run(path)), _done(_run(path, "--verbose"))
    assert "and 3 more groups" in short  # one at each level
    assert "E-12-0" not in short
    assert "E-12-0" in long
    assert "more groups" not in long


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_it_draws_the_groups_where_asked(records: Path, tmp_path: Path, suffix: str) -> None:
    target = tmp_path / f"groups.{suffix}"
    assert f"Drawn: {target}" in _done(_run(records, "--map", target))
    assert CAUTION.encode() in target.read_bytes()
    assert b'command": "bonds"' in target.read_bytes().replace(b"&quot;", b'"')


def test_a_map_that_cannot_be_drawn_ends_it_before_the_work(tmp_path: Path) -> None:
    result = _run(tmp_path / "no_such.gpkg", "--map", tmp_path / "groups.pdf")
    assert result.exit_code == 1
    assert "expected a map ending in .png or .svg" in result.output
