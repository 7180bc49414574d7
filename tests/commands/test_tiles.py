"""``corridor tiles``, and ``find`` and ``bonds`` over what it writes: the same bytes as over the records."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from corridor.commands import inputs
from corridor.commands.main import cli
from corridor.frames import CAUTION
from corridor.settings import Settings
from corridor.site import Site, read_site
from tests.block import SAMPLES

RECORDS = SAMPLES / "bonded_district" / "bonded_district.gpkg"


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def _done(*arguments: object) -> str:
    result = _run(*arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture(scope="module", autouse=True)
def _records_read_once() -> Iterator[None]:
    """Reading is tested elsewhere, and takes longest here."""
    kept: dict[str, Site] = {}

    def read(paths: list[str], *, settings: Settings, **asked: Any) -> Site:
        key = f"{paths} {settings.site} {asked}"
        if key not in kept:
            kept[key] = read_site(paths, settings=settings, **asked)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(inputs, "read_site", read)
        yield


@pytest.fixture(scope="module")
def small_tiles(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("settings") / "small.toml"
    path.write_text("[city]\ntile_segments = 60\n")
    return path


@pytest.fixture(scope="module")
def city(tmp_path_factory: pytest.TempPathFactory, small_tiles: Path) -> Path:
    folder = tmp_path_factory.mktemp("city") / "tiles"
    told = _done("tiles", RECORDS, "--settings", small_tiles, "-o", folder)
    assert told.startswith(CAUTION)
    assert "41 lines in 2 tiles" in told
    assert f"Written: {folder}" in told
    return folder


@pytest.mark.parametrize("command", ["find", "bonds"])
def test_over_tiles_the_file_is_the_same_to_the_byte(
    command: str, city: Path, small_tiles: Path, tmp_path: Path
) -> None:
    said = _done(command, RECORDS, "--settings", small_tiles, "-o", tmp_path / "one.gpkg")
    again = _done(command, city, "-o", tmp_path / "two.gpkg")
    assert (tmp_path / "one.gpkg").read_bytes() == (tmp_path / "two.gpkg").read_bytes()
    assert said.replace("one.gpkg", "two.gpkg") == again


def test_progress_is_told_tile_by_tile(city: Path) -> None:
    result = _run("find", city, "--progress", "json", "-q")
    told = [json.loads(line) for line in result.stderr.splitlines()]
    assert told == [{"step": "couplings", "done": k, "total": 2} for k in (1, 2)]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["find", RECORDS, "--workers", "2"], "expected a folder of tiles for --workers, got"),
        (["bonds", RECORDS, "--scheduler", "tcp://h:1"], "corridor tiles RECORDS -o FOLDER makes one"),
        (["find", "CITY", RECORDS], "expected one folder of tiles alone"),
        (["find", "CITY", "--crs", "EPSG:32633"], "--crs says how to read records"),
        (["bonds", "CITY", "--map", "map.png"], "expected no --map with tiles"),
        (["find", "CITY", "--settings", "OTHER"], "expected the same [site] settings as"),
        (["find", "CITY", "-o", "no/such/folder.gpkg"], "can't write no/such/folder.gpkg"),
    ],
)
def test_what_does_not_go_together_is_said(arguments: list[str], told: str, city: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text("[site]\nsnap_m = 0.3\n")
    named = {"CITY": city, "OTHER": other}
    result = _run(*(named.get(str(argument), argument) for argument in arguments))
    assert result.exit_code == 1
    assert told in result.stderr
    assert result.stderr.count("\n") == 1


def test_other_settings_than_those_of_the_site_may_differ(city: Path, tmp_path: Path) -> None:
    wide = tmp_path / "wide.toml"
    wide.write_text("[couplings]\nmax_separation_m = 6.0\n")
    count = [
        int(_done("find", *asked).split("parallel_runs: ")[1].split()[0])
        for asked in ([city], [city, "--settings", wide])
    ]
    assert count[0] < count[1]


def test_a_folder_of_something_else_stays(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    result = _run("tiles", RECORDS, "-o", tmp_path)
    assert result.exit_code == 1
    assert "holds 'mine.txt', which no earlier result put there" in result.stderr
