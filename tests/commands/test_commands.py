"""The commands on files: what they say, what they write, and one clear sentence for each bad input."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader
from shapely import LineString, Point, box

from corridor.commands.main import EXIT_STRICT, cli
from corridor.frames import CAUTION
from corridor.site import read_site

CRS = "EPSG:32633"
X, Y = 500_000.0, 5_000_000.0


def _write(path: Path, layer: str, rows: list[dict[str, Any]], *, crs: str | None = CRS) -> Path:
    pyogrio.write_dataframe(gpd.GeoDataFrame(rows, geometry="geometry", crs=crs), path, layer=layer, driver="GPKG")
    return path


def _line(line_id: str, utility: str, shift: float, **more: Any) -> dict[str, Any]:
    asset = "cable" if utility == "electricity" else "pipe"
    shape = LineString([(X, Y + shift), (X + 60, Y + shift)])
    material = "copper" if asset == "cable" else "steel"
    return {"line_id": line_id, "utility": utility, "asset": asset, "material": material, "depth_m": 1.0,
            "status": "in_service", "geometry": shape} | more  # fmt: skip


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two pipes and a cable side by side, a valve, a recorded bond and a work area."""
    path = tmp_path_factory.mktemp("records") / "site.gpkg"
    lines = [_line("W-1", "water", 0.0), _line("W-2", "water", 1.0, depth_m=None), _line("E-1", "electricity", 2.0)]
    _write(path, "lines", lines)
    _write(path, "structures", [{"structure_id": "V-1", "kind": "valve", "utility": "water", "geometry": Point(X, Y)}])
    bond = {"bond_id": "B-1", "line_a": "W-1", "line_b": "W-2", "state": "closed", "evidence": "recorded"}
    _write(path, "bonds", [bond | {"geometry": LineString([(X + 30, Y), (X + 30, Y + 1)])}])
    _write(path, "work_area", [{"phase": "1", "geometry": box(X + 10, Y - 5, X + 50, Y + 5)}])
    return path


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


@cache
def _once(*arguments: object) -> Result:
    """A run that writes nothing, for all tests that look at the same."""
    return _run(*arguments)


def _one_line(result: Result, *words: str) -> None:
    assert result.exit_code == 1, result.output
    assert result.stderr.count("\n") == 1, result.stderr
    assert result.stderr.startswith("corridor: ")
    assert "unexpected" not in result.stderr
    for word in words:
        assert word in result.stderr
    assert result.stdout == ""


def test_check_accounts_for_every_feature(records: Path, tmp_path: Path) -> None:
    result = _run("check", records, "-o", tmp_path / "c.gpkg")
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(CAUTION)
    assert "6 in = 6 used + 0 set aside" in result.stdout
    assert "filled_depth" in result.stdout
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "c.gpkg")} == {
        "findings",
        "defects",
        "lines",
        "completeness",
        "layer_styles",
    }
    metadata = pyogrio.read_info(tmp_path / "c.gpkg", layer="findings")["dataset_metadata"]
    assert metadata["caution"] == CAUTION
    assert json.loads(metadata["receipt"])["inputs"][0]["path"] == str(records)


def test_verbose_lists_every_finding_and_quiet_none(records: Path) -> None:
    short, long = _once("check", records).stdout, _run("check", records, "--verbose").stdout
    assert len(long.splitlines()) > len(short.splitlines())
    assert _run("check", records, "--quiet").output == ""


def test_strict_is_exit_5_on_severe_findings(records: Path, tmp_path: Path) -> None:
    assert _run("check", records, "--strict").exit_code == 0
    path = _write(tmp_path / "s.gpkg", "lines", [_line("W-1", "water", 0.0), _line("W-1", "water", 30.0)])
    site = _run("check", path)
    if "severe" in site.stdout:
        assert _run("check", path, "--strict").exit_code == EXIT_STRICT


def test_find_writes_the_couplings(records: Path, tmp_path: Path) -> None:
    result = _run("find", records, "-o", tmp_path / "f.gpkg")
    assert result.exit_code == 0, result.output
    assert "parallel_runs: 3" in result.stdout
    assert "B-1" in result.stdout
    runs = gpd.read_file(tmp_path / "f.gpkg", layer="parallel_runs")
    assert runs["separation_mean_m"].tolist() == pytest.approx([2.0, 1.0, 1.0])
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "f.gpkg")} == {
        "parallel_runs",
        "crossings",
        "bonds_found",
        "layer_styles",
    }


def test_bonds_lists_the_groups(records: Path, tmp_path: Path) -> None:
    result = _run("bonds", records, "-o", tmp_path / "b.geojson")
    assert result.exit_code == 0, result.output
    assert "no record is not no bond" in result.stdout
    assert "W-1 W-2" in result.stdout
    assert "unbonded" not in result.stdout
    assert json.loads((tmp_path / "b.geojson").read_text(encoding="utf-8"))["caution"] == CAUTION


def test_the_same_command_gives_the_same_bytes(records: Path, tmp_path: Path) -> None:
    for name in ("a.gpkg", "b.gpkg"):
        assert _run("find", records, "-o", tmp_path / name).exit_code == 0
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_plugins_lists_the_built_ins() -> None:
    result = _run("plugins", "--verbose")
    assert result.exit_code == 0
    for words in ("corridor.commands", "review", "corridor.writers", "gpkg", "0.1.0"):
        assert words in result.stdout
    assert result.stderr == ""


def test_data_cannot_steer_the_terminal(tmp_path: Path) -> None:
    path = _write(tmp_path / "s.gpkg", "lines", [_line("W\x1b[2J-1", "wa\x1b]0;ter", 0.0)])
    for command in ("check", "find", "bonds"):
        assert "\x1b" not in _run(command, path, *(["--verbose"] if command != "bonds" else [])).output


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_layer_without_crs(tmp_path: Path) -> None:
    path = _write(tmp_path / "s.gpkg", "lines", [_line("W-1", "water", 0.0)], crs=None)
    _one_line(_run("check", path), "s.gpkg:lines", "--crs")
    assert _run("check", path, "--crs", CRS).exit_code == 0


def test_settings_that_are_wrong(records: Path, tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("[grades]\noffset_tolerance_m = -1\nfancy = 2\n", encoding="utf-8")
    _one_line(_run("check", records, "--settings", settings), "grades.offset_tolerance_m", "grades.fancy")


def test_equipment_that_is_unknown(records: Path) -> None:
    _one_line(_run("review", records, "--equipment", "golden"), "standard_output", "golden")


def test_an_output_nobody_can_write(records: Path, tmp_path: Path) -> None:
    result = _run("find", records, "--quiet", "-o", tmp_path / "f.xyz")
    _one_line(result, ".gpkg")
    _one_line(_run("find", records, "--quiet", "-o", tmp_path / "no" / "f.gpkg"), "doesn't exist")


@pytest.mark.parametrize("command", ["check", "find", "bonds", "trace", "review"])
def test_an_output_is_refused_before_the_records_are_read(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read(*_: object, **__: object) -> None:
        pytest.fail("the records were read first")

    monkeypatch.setattr("corridor.commands.inputs.read_site", read)
    solving = ("--hookup", "h", "--frequency-hz", 1000, "--level-ma", 50) if command == "trace" else ()
    place = tmp_path / "no" / "f.gpkg"
    _one_line(_run(command, "any.gpkg", *solving, "-o", place), "doesn't exist")
    if command != "review":
        monkeypatch.chdir(tmp_path)
        _one_line(_run(command, "any.gpkg", *solving, "-o", "."), "is a folder")
        _one_line(_run(command, "any.gpkg", *solving, "-o", "f.xyz"), ".gpkg", "f.xyz")


def test_find_counts_what_it_leaves_out(records: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corridor.commands.find._SHOWN", 1)
    short, long = _run("find", records).stdout, _run("find", records, "--verbose").stdout
    assert "and 2 more rows" in short
    assert "more rows" not in long


def test_find_says_that_there_are_no_bonds(tmp_path: Path) -> None:
    told = _run("find", _write(tmp_path / "s.gpkg", "lines", [_line("W-1", "water", 0.0)])).stdout
    assert "Parallel runs: none" in told
    assert "Bonds: none recorded, none inferred; no record is not no bond" in told


@pytest.mark.parametrize("command", ["find", "bonds"])
def test_data_that_is_missing_is_told_in_a_line_each(command: str, tmp_path: Path) -> None:
    told = _run(command, _write(tmp_path / "s.gpkg", "lines", [_line("W-1", "water", 0.0, depth_m=None)])).stdout
    missing = [line for line in told.splitlines() if line.startswith("Missing: ")]
    for words in ("no structures", "no bond data", "no ground data", "no soil data", "no work area", "no depth data"):
        assert sum(words in line for line in missing) == 1


def test_check_gives_the_message_the_room(tmp_path: Path) -> None:
    path = _write(tmp_path / "s.gpkg", "lines", [_line("W-1", "water", 0.0, depth_m=None, diameter_mm=None)])
    told = _run("check", path, "--verbose").stdout
    assert "…" not in told
    words = " ".join(told.split())
    for row in read_site([str(path)]).findings.itertuples():
        assert f"{row.message} [{row.action}]" in words


def test_trace_lists_only_what_was_asked_for(records: Path, tmp_path: Path) -> None:
    whole = _once("trace", records, "--list").stdout
    area = _write(tmp_path / "dig.gpkg", "dig", [{"geometry": box(X + 40, Y - 5, X + 70, Y + 5)}])
    part = _run("trace", records, "--list", "--work-area", area).stdout
    assert "direct:W-1:V-1" in whole
    assert "V-1" not in part
    assert "induction:W-1" in part
    assert "generic equipment" in part
    only = _run("trace", records, "--list", "--target", "W-2").stdout
    assert "W-2" in only
    assert "W-1" not in only


@pytest.mark.parametrize("option", [("--target", "W-2"), ("--target-utility", "water"), ("--work-area", "dig.gpkg")])
def test_options_of_the_list_are_no_options_of_a_hookup(option: tuple[str, str], records: Path) -> None:
    result = _run("trace", records, "--hookup", "direct:W-1:V-1", "--frequency-hz", 1000, "--level-ma", 50, *option)
    assert result.exit_code == 2
    assert "--list" in result.stderr


@pytest.mark.parametrize("command", [("trace", "--list"), ("review",)])
def test_an_unknown_utility_names_those_there(command: tuple[str, ...], records: Path, tmp_path: Path) -> None:
    more = ("-o", tmp_path / "out") if command == ("review",) else ()
    _one_line(
        _run(*command[:1], records, *command[1:], *more, "--target-utility", "NOPE"), "electricity, water", "NOPE"
    )


def test_a_phase_limits_the_list_and_an_unknown_one_names_those_there(records: Path) -> None:
    assert _run("trace", records, "--list", "--phase", "1").exit_code == 0
    wrong = _run("trace", records, "--list", "--phase", "north")
    assert wrong.exit_code == 1
    assert "expected a phase of the work area (1), got 'north'" in wrong.stderr


def test_trace_lists_hookups_with_readiness(records: Path) -> None:
    result = _once("trace", records, "--list")
    assert result.exit_code == 0, result.output
    assert "READY" in result.stdout
    only = _run("trace", records, "--list", "--target-utility", "electricity").stdout
    assert "W-1" not in only
    assert "direct:E-1" not in only.replace("REFUSED", "") or "REFUSED" in only


def test_trace_needs_a_hookup_or_the_list(records: Path) -> None:
    result = _run("trace", records)
    assert result.exit_code == 2
    assert "--list" in result.stderr


def test_trace_tells_the_way_of_the_tone(records: Path, tmp_path: Path) -> None:
    arguments = ("--hookup", "direct:W-1:V-1", "--frequency-hz", 1000, "--level-ma", 50, "-o", tmp_path / "t.gpkg")
    result = _run("trace", records, *arguments)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(CAUTION)
    for words in ("direct:W-1:V-1", "Output:", "W-2", "Bleed paths:", "B-1"):
        assert words in result.stdout
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "t.gpkg")} == {
        "sections",
        "stations",
        "bleed_paths",
        "layer_styles",
    }


def test_trace_draws_where_the_tone_goes(records: Path, tmp_path: Path) -> None:
    target = tmp_path / "t.svg"
    asked = ("--hookup", "direct:W-1:V-1", "--frequency-hz", 1000, "--level-ma", 50)
    result = _run("trace", records, *asked, "--map", target)
    assert result.exit_code == 0, result.output
    assert f"Drawn: {target}" in result.stdout
    assert CAUTION in target.read_text(encoding="utf-8")
    passive = _run("trace", records, "--passive", "mains", "--map", tmp_path / "p.png", "-q")
    assert passive.exit_code == 0, passive.output
    assert b"indicative" in (tmp_path / "p.png").read_bytes()
    refused = _run("trace", tmp_path / "none.gpkg", *asked, "--map", tmp_path / "t.pdf")
    assert "expected a map ending in .png or .svg" in refused.output


def test_review_makes_the_folder(records: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    asked = ("--equipment", "small_output", "--progress", "json", "--paper", "letter")
    result = _run("review", records, "-o", out, *asked)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == CAUTION
    assert len(lines) <= 25
    assert result.stdout == (out / "summary.txt").read_text(encoding="utf-8")
    for line in result.stderr.splitlines():
        assert set(json.loads(line)) == {"step", "done", "total"}
    made = {"results.gpkg", "page.html", "map.png", "excavation.png", "summary.txt", "summary.json", "receipt.json"}
    assert {p.name for p in out.iterdir()} == made | {"crew_sheet.pdf", "defects_site_gpkg_lines.csv"}
    assert tuple(PdfReader(out / "crew_sheet.pdf").pages[0].mediabox)[2:] == (612, 792)  # letter: 8.5 by 11 inches
