"""``--draft-fieldmap`` and ``--corrections`` on the command line."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from click.testing import CliRunner, Result
from shapely import LineString

from corridor.commands.main import cli
from corridor.frames import CAUTION

CRS = "EPSG:32631"


@pytest.fixture
def mains(tmp_path: Path) -> Path:
    rows: dict[str, list[Any]] = {"ASSET_NO": ["W-1", "W-2"], "MAT": ["DI", "CI"], "COVER_FT": [3.0, 4.0]}
    shapes = [LineString([(500_000, 6_000_000 + y), (500_050, 6_000_000 + y)]) for y in (0, 5)]
    gpd.GeoDataFrame(rows, geometry=shapes, crs=CRS).to_file(tmp_path / "water_mains.gpkg", layer="water_mains")
    return tmp_path / "water_mains.gpkg"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def test_a_draft_is_written_and_can_be_used(mains: Path, tmp_path: Path) -> None:
    target = tmp_path / "map.toml"
    result = run("check", mains, "--draft-fieldmap", target)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(CAUTION)
    assert "Nothing in it has been applied" in result.stdout
    assert 'depth_m = { source = "COVER_FT", unit = "ft" }' in target.read_text(encoding="utf-8")
    assert [path.name for path in sorted(tmp_path.iterdir())] == ["map.toml", "water_mains.gpkg"]
    checked = run("check", mains, "--fieldmap", target)
    assert checked.exit_code == 0, checked.output
    assert "2 in = 2 used + 0 set aside" in checked.stdout
    assert "depth_to_axis" in checked.stdout


def test_a_map_that_is_there_stays(mains: Path, tmp_path: Path) -> None:
    target = tmp_path / "map.toml"
    target.write_text("mine", encoding="utf-8")
    result = run("check", mains, "--draft-fieldmap", target)
    assert result.exit_code == 1
    assert "is there already; name another" in result.stderr
    assert target.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("extra", [("--fieldmap", "a.toml"), ("-o", "a.gpkg"), ("--corrections", "a.csv")])
def test_a_draft_goes_alone(mains: Path, tmp_path: Path, extra: tuple[str, str]) -> None:
    result = run("check", mains, "--draft-fieldmap", tmp_path / "map.toml", *extra)
    assert result.exit_code == 2
    assert "only writes a draft" in result.stderr


def test_without_a_map_the_error_points_to_the_draft(mains: Path) -> None:
    result = run("check", mains)
    assert result.exit_code == 1
    assert "--draft-fieldmap" in result.stderr


@pytest.mark.parametrize("command", ["check", "find", "bonds"])
def test_corrections_go_with_every_command_that_reads(mains: Path, tmp_path: Path, command: str) -> None:
    target, changes = tmp_path / "map.toml", tmp_path / "changes.csv"
    assert run("check", mains, "--draft-fieldmap", target).exit_code == 0
    head = "layer,id,column,value,source,date\n"
    changes.write_text(head + "water_mains,W-1,material,PE,letter,2024-05-06\n", encoding="utf-8")
    result = run(command, mains, "--fieldmap", target, "--corrections", changes)
    assert result.exit_code == 0, result.output
    if command == "check":
        assert "material: 'DI' corrected to 'PE'" in " ".join(result.stdout.split())
    changes.write_text("layer\n", encoding="utf-8")
    result = run(command, mains, "--fieldmap", target, "--corrections", changes)
    assert result.exit_code == 1
    assert "is missing" in result.stderr
