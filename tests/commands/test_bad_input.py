"""Bad input to every command that takes it: one clear line on stderr that says what and where, and exit code 1."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from shapely import LineString, Point, box

from corridor.commands.main import cli

CRS = "EPSG:32633"
X, Y = 500_000.0, 5_000_000.0
EVERY = ("check", "find", "bonds", "review", "trace")
SOLVING = ("--frequency-hz", 1000, "--level-ma", 50)
HOOKUP = "direct:W-1:V-1"


def write(path: Path, layer: str, *rows: dict[str, Any], crs: str | None = CRS) -> Path:
    pyogrio.write_dataframe(
        gpd.GeoDataFrame(list(rows), geometry="geometry", crs=crs), path, layer=layer, driver="GPKG"
    )
    return path


def pipe(line_id: str = "W-1", shift_m: float = 0.0, **more: Any) -> dict[str, Any]:
    shape = LineString([(X, Y + shift_m), (X + 60, Y + shift_m)])
    return {"line_id": line_id, "utility": "water", "asset": "pipe", "material": "steel", "depth_m": 1.0,
            "status": "in_service", "geometry": shape} | more  # fmt: skip


def valve(structure_id: str, x_m: float) -> dict[str, Any]:
    return {"structure_id": structure_id, "kind": "valve", "utility": "water", "geometry": Point(X + x_m, Y)}


def dig(x_m: float) -> dict[str, Any]:
    return {"phase": "1", "geometry": box(X + x_m, Y - 5, X + x_m + 40, Y + 5)}


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """A pipe with valves at both ends, in a work area."""
    path = write(tmp_path / "site.gpkg", "lines", pipe())
    write(path, "structures", valve("V-1", 0), valve("V-2", 60))
    return write(path, "work_area", dig(10))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def asked(command: str, path: Path, folder: Path, *more: object) -> Result:
    """Run a command on records, with all that it needs."""
    needs: dict[str, tuple[object, ...]] = {
        "trace": ("--hookup", HOOKUP, *SOLVING),
        "review": ("-o", folder / "out", "--equipment", "small_output"),
    }
    return run(command, path, *needs.get(command, ()), *more)


def tells(result: Result, *words: str) -> None:
    """Assert one clear sentence, nothing else, and exit code 1."""
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1, result.stderr
    assert result.stderr.startswith("corridor: ")
    assert "Traceback" not in result.stderr
    assert "unexpected" not in result.stderr
    for word in words:
        assert word in result.stderr, result.stderr


def missing_file(folder: Path) -> Path:
    return folder / "nowhere.gpkg"


def a_letter(folder: Path) -> Path:
    path = folder / "letter.gpkg"
    path.write_text("Dear all, the records will follow.\n", encoding="utf-8")
    return path


def an_empty_file(folder: Path) -> Path:
    path = folder / "empty.gpkg"
    path.touch()
    return path


def a_folder(folder: Path) -> Path:
    path = folder / "records.gpkg"
    path.mkdir()
    return path


def no_crs(folder: Path) -> Path:
    return write(folder / "bare.gpkg", "lines", pipe(), crs=None)


def no_lines(folder: Path) -> Path:
    return write(folder / "points.gpkg", "structures", valve("V-1", 0))


def lines_without_shape(folder: Path) -> Path:
    return write(folder / "shapeless.gpkg", "lines", pipe(geometry=None))


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
@pytest.mark.parametrize("command", EVERY)
@pytest.mark.parametrize(
    ("made", "words"),
    [
        (missing_file, ("nowhere.gpkg", "does not exist")),
        (a_letter, ("letter.gpkg", "vector file")),
        (an_empty_file, ("empty.gpkg", "vector file")),
        (a_folder, ("records.gpkg",)),
        (no_crs, ("bare.gpkg:lines", "--crs")),
        (no_lines, ("lines",)),
        (lines_without_shape, ("shapeless.gpkg", "usable line")),
    ],
)
def test_records_that_cannot_be_read(
    command: str, made: Callable[[Path], Path], words: tuple[str, ...], tmp_path: Path
) -> None:
    tells(asked(command, made(tmp_path), tmp_path), *words)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", EVERY)
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[layers.lines]\ntable = "lines"\ncolumns = { owner = "OWNR" }\n', ("OWNR", "lines", "isn't there")),
        ('[layers.pipes]\ntable = "lines"\n', ("pipes",)),
        ("[layers.lines\n", ("map.toml",)),
    ],
    ids=["missing column", "missing layer", "no TOML"],
)
def test_a_field_map_that_does_not_fit(
    command: str, text: str, words: tuple[str, ...], records: Path, tmp_path: Path
) -> None:
    fieldmap = tmp_path / "map.toml"
    fieldmap.write_text(text, encoding="utf-8")
    tells(asked(command, records, tmp_path, "--fieldmap", fieldmap), *words)


@pytest.mark.parametrize("crs", ["EPSG:99", "metres"])
def test_a_crs_that_is_none(crs: str, tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        path = no_crs(tmp_path)
    tells(run("check", path, "--crs", crs), crs)


def test_an_unknown_hookup_names_the_three_nearest(records: Path) -> None:
    result = run("trace", records, "--hookup", "direct:W-1:V-9", *SOLVING)
    tells(result, "direct:W-1:V-9", "direct:W-1:V-1", "direct:W-1:V-2")
    nearest = result.stderr.rsplit("nearest are ", maxsplit=1)[1].split(",")
    assert len(nearest) == 3


@pytest.mark.parametrize("frequency_hz", ["0", "-1", "49.9", "200001", "nan", "inf"])
def test_a_frequency_out_of_range(frequency_hz: str, records: Path) -> None:
    tells(
        run("trace", records, "--hookup", HOOKUP, "--frequency-hz", frequency_hz, "--level-ma", 50),
        "frequency", "50", "200000",
    )  # fmt: skip


@pytest.mark.parametrize("level_ma", ["0", "-5", "nan", "inf"])
def test_a_level_that_is_none(level_ma: str, records: Path) -> None:
    result = run("trace", records, "--hookup", HOOKUP, "--frequency-hz", 1000, "--level-ma", level_ma)
    tells(result, "current above 0 mA", level_ma)


def test_all_lines_outside_the_work_area(records: Path, tmp_path: Path) -> None:
    far = write(tmp_path / "far.gpkg", "dig", dig(5000))
    tells(asked("review", records, tmp_path, "--work-area", far), "lines", "work area", "outside")


def test_a_work_area_without_polygons(records: Path, tmp_path: Path) -> None:
    lines = write(tmp_path / "outline.gpkg", "dig", {"geometry": pipe()["geometry"]})
    tells(asked("review", records, tmp_path, "--work-area", lines), "polygons", "outline.gpkg")


def test_no_work_area_offers_two_ways_out(tmp_path: Path) -> None:
    path = write(tmp_path / "site.gpkg", "lines", pipe())
    tells(asked("review", path, tmp_path), "--work-area FILE", "--everything")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [(("--target", "Z-9"), ("Z-9", "line_id", "the nearest are")), (("--target-utility", "gas"), ("gas",))],
)
def test_a_target_that_is_not_there(
    options: tuple[str, ...], words: tuple[str, ...], records: Path, tmp_path: Path
) -> None:
    tells(asked("review", records, tmp_path, *options), *words)


def test_the_list_of_an_unknown_target(records: Path) -> None:
    tells(run("trace", records, "--list", "--target", "Z-9"), "Z-9")


@pytest.mark.parametrize("command", ["review", "trace"])
@pytest.mark.parametrize(
    ("option", "words"),
    [
        (("--equipment", "golden"), ("golden", "standard_output")),
        (("--settings", "none.toml"), ("none.toml",)),
    ],
)
def test_settings_and_equipment_that_are_not_there(
    command: str, option: tuple[str, str], words: tuple[str, ...], records: Path, tmp_path: Path
) -> None:
    tells(asked(command, records, tmp_path, *option), *words)


def test_a_folder_of_other_things_is_not_replaced(records: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "letter.txt").write_text("keep me", encoding="utf-8")
    tells(asked("review", records, tmp_path), "out", "letter.txt")
    assert (out / "letter.txt").read_text(encoding="utf-8") == "keep me"
