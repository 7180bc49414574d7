"""A folder of tiles: written whole, every record once, read again as it was, with all that bears on a tile."""

import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from corridor.city import Tiles, is_tiles, open_tiles, write_tiles
from corridor.city.parts import ROW, SPREAD
from corridor.errors import InputError, OutputError
from corridor.settings import CitySettings, Settings
from corridor.site.model import Site
from tests.block import sample
from tests.builders import make_site
from tests.city.made_up import random_city

USED = Settings(city=CitySettings(tile_segments=60))


@pytest.fixture(scope="module")
def site() -> Site:
    return sample("bonded_district")


@pytest.fixture(scope="module")
def folder(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("city") / "tiles"
    assert write_tiles(site, made, settings=USED) == 2
    return made


def rows(path: Path) -> pd.DataFrame:
    return pd.concat([pd.read_parquet(part) for part in sorted(path.glob("*.parquet"))], ignore_index=True)


def test_every_record_stands_in_one_tile(site: Site, folder: Path) -> None:
    for name in SPREAD:
        there = len(getattr(site, name))
        found = sorted(rows(folder / name)[ROW]) if there else []
        assert found == list(range(there)), name


def test_tiles_are_geoparquet_that_others_read(site: Site, folder: Path) -> None:
    # geopandas reads a folder of parts as one layer by itself (GeoParquet 1.1, with boxes as columns)
    lines = gpd.read_parquet(folder / "lines").sort_values(ROW)
    assert lines.crs == site.crs
    assert shapely.to_wkb(lines.geometry.to_numpy()).tolist() == shapely.to_wkb(site.lines.geometry.to_numpy()).tolist()
    part = gpd.read_parquet(folder / "lines" / "000000.parquet", bbox=tuple(lines.geometry.iloc[0].bounds))
    assert 0 < len(part) < len(site.lines)


def test_a_tile_of_everything_is_the_site(site: Site, folder: Path) -> None:
    here = open_tiles(folder).site(0, reach_m=1e6).site
    for name in ("lines", "structures", "bonds", "terminations"):
        pd.testing.assert_frame_equal(
            pd.DataFrame(getattr(here, name)), pd.DataFrame(getattr(site, name)), check_exact=True, obj=name
        )


def test_what_is_not_spread_comes_back(site: Site, folder: Path) -> None:
    whole = open_tiles(folder).whole()
    for name in ("findings", "soil", "work_area", "surfaces", "completeness", "accounting"):
        pd.testing.assert_frame_equal(pd.DataFrame(getattr(whole, name)), pd.DataFrame(getattr(site, name)), obj=name)
    assert (whole.sources, whole.crs, whole.fieldmap) == (site.sources, site.crs, site.fieldmap)
    assert whole.lines.empty


def test_a_tile_knows_its_lines_and_all_within_reach(folder: Path, site: Site) -> None:
    tiles = open_tiles(folder)
    owned = [tiles.site(number, reach_m=2.0).owned for number in range(2)]
    assert owned[0].isdisjoint(owned[1])
    assert owned[0] | owned[1] == set(site.lines["line_id"])
    here = tiles.site(0, reach_m=2.0)
    mine = site.lines.geometry[site.lines["line_id"].isin(owned[0])].union_all()
    near = set(site.lines["line_id"][site.lines.geometry.dwithin(mine, 2.0)])
    assert near <= set(here.site.lines["line_id"])
    assert set(site.structures["structure_id"][site.structures.geometry.dwithin(mine, 2.0)]) <= set(
        here.site.structures["structure_id"]
    )


def test_a_bond_brings_its_far_line_and_structure(tmp_path: Path) -> None:
    lines = [{"line_id": f"L{k}", "geometry": [(100.0 * k, 0), (100.0 * k + 10, 0)]} for k in range(4)]
    far = make_site(
        lines=lines,
        structures=[{"structure_id": "S", "kind": "manhole", "geometry": (305, 0)}],
        bonds=[{"bond_id": "b", "line_a": "L3", "line_b": "L0", "structure_id": "S"}],
        terminations=[{"structure_id": "S", "line_id": "L0", "isolated": "yes"}],
    )
    write_tiles(far, tmp_path / "t", settings=Settings(city=CitySettings(tile_segments=1)))
    tiles = open_tiles(tmp_path / "t")
    assert len(tiles) == 4
    for number, names in ((0, {"L0", "L3"}), (1, {"L1"}), (3, {"L0", "L3"})):
        here = tiles.site(number, reach_m=1.0)
        assert set(here.site.lines["line_id"]) == names
        assert here.site.bonds["bond_id"].tolist() == (["b"] if len(names) == 2 else [])
        assert here.site.structures["structure_id"].tolist() == (["S"] if len(names) == 2 else [])
        assert len(here.site.terminations) == (len(names) == 2)


def test_the_reach_is_the_farthest_of_what_is_looked_for(tmp_path: Path) -> None:
    site = random_city(1)
    site = replace(site, lines=site.lines.assign(horizontal_accuracy_m=4.0))
    write_tiles(site, tmp_path / "t")
    tiles = open_tiles(tmp_path / "t")
    assert 8.0 < tiles.reach_m(tiles.settings) < 8.1
    wide = Settings(couplings={"max_separation_m": 20.0})
    assert 20.0 < tiles.reach_m(wide) < 20.1


def test_the_same_records_give_the_same_bytes(site: Site, folder: Path, tmp_path: Path) -> None:
    write_tiles(site, tmp_path / "t", settings=USED)
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        assert path.read_bytes() == (tmp_path / "t" / path.relative_to(folder)).read_bytes(), path.name


def test_own_columns_of_the_records_keep_their_kinds(tmp_path: Path) -> None:
    site = random_city(2)
    count = len(site.bonds)
    own = {"src_mixed": [1, "two", None, 3.5, True, None][:count], "src_number": [1, 2, None, 4, 5, 6][:count]}
    bonds = site.bonds.assign(**{name: pd.Series(values, dtype=object) for name, values in own.items()})
    write_tiles(replace(site, bonds=bonds), tmp_path / "t")
    found = open_tiles(tmp_path / "t").site(0, reach_m=1.0).site.bonds
    assert found["src_number"].tolist() == own["src_number"]
    assert found["src_mixed"].tolist() == ["1", "two", None, "3.5", "True", None]


def test_a_folder_of_something_else_stays(tmp_path: Path, site: Site) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"holds 'mine\.txt'"):
        write_tiles(site, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_tiles_replace_tiles(tmp_path: Path) -> None:
    write_tiles(random_city(1), tmp_path / "t", settings=Settings(city=CitySettings(tile_segments=3)))
    write_tiles(random_city(2), tmp_path / "t")
    assert [p.name for p in (tmp_path / "t" / "lines").iterdir()] == ["000000.parquet"]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "expected a folder of tiles"),
        ("{", "expected a folder of tiles"),
        ('{"format": "of tomorrow"}', "has 'of tomorrow'; write them again"),
    ],
)
def test_what_is_no_folder_of_tiles_is_said(tmp_path: Path, content: str | None, told: str) -> None:
    assert not is_tiles(tmp_path)
    if content is not None:
        (tmp_path / "tiles.json").write_text(content)
    with pytest.raises(InputError, match=told):
        open_tiles(tmp_path)


def test_a_damaged_part_is_named(tmp_path: Path) -> None:
    write_tiles(random_city(1), tmp_path / "t")
    (tmp_path / "t" / "lines" / "000000.parquet").write_bytes(b"torn")
    with pytest.raises(InputError, match=r"can't read .*000000\.parquet of the tiles: .*; write them again"):
        open_tiles(tmp_path / "t").site(0, reach_m=1.0)


def test_there_is_no_such_tile(folder: Path) -> None:
    with pytest.raises(InputError, match=r"expected a tile from 0 to 1 of .*, got 2"):
        open_tiles(folder).site(2, reach_m=1.0)


def test_the_index_says_what_each_tile_holds(folder: Path, site: Site) -> None:
    about = json.loads((folder / "tiles.json").read_text(encoding="utf-8"))["tiles"]
    assert sum(tile["lines"] for tile in about) == len(site.lines)
    assert sum(tile["segments"] for tile in about) == int((site.lines.geometry.count_coordinates() - 1).sum())
    assert sum(tile["structures"] for tile in about) == len(site.structures)
    assert all(tile["segments"] <= 60 for tile in about)
    assert isinstance(open_tiles(folder), Tiles)
