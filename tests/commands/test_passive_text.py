"""Passive tone as a command: cautions first, the lines heard, the silent ones, the file, and what is refused."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from shapely import LineString, Point, box

from corridor.commands.main import cli
from corridor.commands.passive_text import passive_lines
from corridor.frames import CAUTION, table_frame
from corridor.plan.passive import INDICATIVE
from tests.builders import METRIC, make_site

CRS = "EPSG:32633"
X, Y = 500_000.0, 5_000_000.0
SITE = make_site(lines=[{"line_id": "A", "geometry": [(0, 0), (9, 0)]}])
SECTIONS = [
    {"section_id": f"{name}#1", "line_id": name, "current_ma": ma, "current_low_ma": ma / 2, "current_high_ma": 2 * ma,
     "grade": "readable", "grade_worst": "faint", "settled": False, "assumed": name == "B"}
    for name, ma in (("A", 40.0), ("B", 90.0), ("S", 0.01))
]  # fmt: skip
STATIONS = [
    {"station_id": f"{name}@{n}", "line_id": name, "above_floor_db": db, "grade": grade}
    for name, rows in {"A": [(3.0, "readable"), (-2.0, "faint")], "B": [(1.0, "masked"), (9.0, "pulled")]}.items()
    for n, (db, grade) in enumerate(rows)
]


def _trace(**changes: Any) -> Any:
    parts = {
        "sections": table_frame("sections", SECTIONS, crs=METRIC),
        "stations": table_frame("stations", STATIONS, crs=METRIC),
        "kind": "mains",
        "frequency_hz": 50.0,
        "silent": ("S",),
        "notes": ("assumed: a net current",),
    }
    return SimpleNamespace(**(parts | changes))


def test_both_cautions_stand_before_any_figure() -> None:
    lines = passive_lines(_trace(), SITE)
    assert lines[0] == CAUTION
    before = " ".join(" ".join(lines[: lines.index("")]).split())
    assert INDICATIVE in before
    assert "Passive tone (indicative): mains current, 50 Hz" in before


def test_lines_heard_come_by_current_with_their_shares() -> None:
    lines = passive_lines(_trace(), SITE)
    rows = [line.split() for line in lines if line.startswith(("A ", "B "))]
    assert [row[0] for row in rows] == ["B", "A"]
    assert rows[0][1:6] == ["90.0", "45.0", "180", "100%", "50%"]
    assert rows[1][4:6] == ["50%", "50%"]
    assert "(assumed)" in rows[0]


def test_silent_lines_are_named_as_still_there() -> None:
    text = "\n".join(passive_lines(_trace(), SITE))
    assert "Silent, but still there: S" in text
    assert not any(line.startswith("S ") for line in text.splitlines())
    many = _trace(silent=tuple(f"L{n}" for n in range(20)))
    assert "and 8 more (--verbose)" in " ".join(passive_lines(many, SITE))
    assert "more" not in " ".join(passive_lines(many, SITE, verbose=True)).replace("more likely", "")


def test_nothing_heard_says_so() -> None:
    nothing = _trace(stations=table_frame("stations", [], crs=METRIC), silent=("A", "B", "S"))
    assert "no line carries enough to be heard" in passive_lines(nothing, SITE)


def _line(line_id: str, utility: str, shift: float) -> dict[str, Any]:
    asset = "cable" if utility == "electricity" else "pipe"
    material = "copper" if asset == "cable" else "steel"
    return {"line_id": line_id, "utility": utility, "asset": asset, "material": material,
            "depth_m": 1.0, "status": "in_service",
            "geometry": LineString([(X, Y + shift), (X + 60, Y + shift)])}  # fmt: skip


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cable between two transformers, and a pipe on either side."""
    path = tmp_path_factory.mktemp("records") / "site.gpkg"
    lines = [_line("W-1", "water", 0.0), _line("E-1", "electricity", 2.0), _line("W-2", "water", 30.0)]
    stations = [{"structure_id": f"N-{x}", "kind": "transformer", "geometry": Point(X + x, Y + 2)} for x in (0, 60)]
    for layer, rows in {"lines": lines, "structures": stations}.items():
        pyogrio.write_dataframe(gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS), path, layer=layer, driver="GPKG")
    return path


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def test_the_command_traces_mains_and_stamps_its_file(records: Path, tmp_path: Path) -> None:
    out = tmp_path / "p.gpkg"
    result = _run("trace", records, "--passive", "mains", "-o", out)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(CAUTION)
    for words in ("indicative", "E-1", "Silent, but still there", "W-2", "assumed: a net current of 100 mA at 50 Hz"):
        assert words in result.stdout
    assert {name for name, _ in pyogrio.list_layers(out)} == {"sections", "stations", "layer_styles"}
    for layer in ("sections", "stations"):
        told = pyogrio.read_info(out, layer=layer)["layer_metadata"]
        assert INDICATIVE in told["caution"]
        assert json.loads(told["receipt"])["options"]["indicative"] is True
        assert set(gpd.read_file(out, layer=layer)["hookup_id"]) == {"passive mains (indicative)"}


def test_targets_and_a_work_area_choose_what_is_shown(records: Path, tmp_path: Path) -> None:
    area = tmp_path / "dig.gpkg"
    dig = gpd.GeoDataFrame(
        [{"phase": "1", "geometry": box(X + 10, Y - 1, X + 20, Y + 1)}], geometry="geometry", crs=CRS
    )
    pyogrio.write_dataframe(dig, area, layer="dig", driver="GPKG")
    for option in (("--target", "W-1"), ("--target-utility", "water"), ("--work-area", area)):
        result = _run("trace", records, "--passive", "mains", *option)
        assert result.exit_code == 0, result.output
        assert "W-1" in result.stdout
        assert not any(line.startswith("E-1") for line in result.stdout.splitlines())
        assert "into E-1" in result.stdout


def test_a_frequency_of_its_own(records: Path) -> None:
    result = _run("trace", records, "--passive", "radio", "--frequency-hz", 60_000)
    assert result.exit_code == 0, result.output
    assert "a radio wave, 60000 Hz" in result.stdout
    assert "readings leave out" in " ".join(result.stdout.split())


@pytest.mark.parametrize(
    "option", [("--hookup", "direct:W-1:V-1"), ("--level-ma", 50), ("--list",), ("--equipment", "small_output")]
)
def test_what_a_transmitter_needs_is_no_option_of_it(option: tuple[object, ...], records: Path) -> None:
    result = _run("trace", records, "--passive", "mains", *option)
    assert result.exit_code == 2
    assert "--passive has no transmitter" in result.stderr


def test_other_words_are_refused(records: Path) -> None:
    result = _run("trace", records, "--passive", "sonar")
    assert result.exit_code == 2
    assert "mains" in result.stderr


@pytest.mark.parametrize(
    ("option", "words"),
    [
        (("--target", "Z-9"), "at least one that conducts (such as E-1, W-1, W-2), got Z-9"),
        (("--frequency-hz", 10), "expected a frequency of 50 to 200000 Hz, got 10"),
        (("--target-utility", "gas"), "expected a utility of the records (electricity, water), got 'gas'"),
        (("-o", "p.xyz"), ".gpkg"),
    ],
)
def test_wrong_input_gets_one_clear_sentence(option: tuple[object, ...], words: str, records: Path) -> None:
    result = _run("trace", records, "--passive", "mains", *option)
    assert result.exit_code == 1
    assert result.stderr.startswith("corridor: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr


def test_mains_without_an_electric_line_says_so(tmp_path: Path) -> None:
    path = tmp_path / "water.gpkg"
    rows = gpd.GeoDataFrame([_line("W-1", "water", 0.0)], geometry="geometry", crs=CRS)
    pyogrio.write_dataframe(rows, path, layer="lines", driver="GPKG")
    result = _run("trace", path, "--passive", "mains")
    assert result.exit_code == 1
    assert "expected an electric line in service" in result.stderr


def test_wrong_settings_are_named(records: Path, tmp_path: Path) -> None:
    settings = tmp_path / "s.toml"
    settings.write_text("[passive]\nmains_net_ma = -1\nradio_arrival_deg = 400\n", encoding="utf-8")
    result = _run("trace", records, "--passive", "mains", "--settings", settings)
    assert result.exit_code == 1
    assert "passive.mains_net_ma" in result.stderr
    assert "passive.radio_arrival_deg" in result.stderr
