"""Couplings over tiles against those of the whole: the same tables, whatever the size of a tile."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.city import city_couplings, open_tiles, write_tiles
from corridor.city import couplings as tile_by_tile
from corridor.couplings import Couplings, find_couplings
from corridor.errors import PlugInError
from corridor.settings import CitySettings, Settings
from corridor.site.model import Site
from tests.city.made_up import assert_same, random_city

TABLES = ("parallel_runs", "crossings", "bonds_found")


def tiled(site: Site, folder: Path, segments: int, **parts: object) -> Couplings:
    used = Settings(city=CitySettings(tile_segments=segments), **parts)
    write_tiles(site, folder, settings=used)
    whole, found = find_couplings(site, settings=used), city_couplings(open_tiles(folder))
    for name in TABLES:
        assert_same(getattr(whole, name), getattr(found, name), name)
    return found


@settings(max_examples=3)
@given(seed=st.integers(0, 10**6), segments=st.integers(4, 9))
def test_any_size_of_tile_gives_the_tables_of_the_whole(
    tmp_path_factory: pytest.TempPathFactory, seed: int, segments: int
) -> None:
    tiled(random_city(seed), tmp_path_factory.mktemp("tiles"), segments)


def test_a_wider_reach_brings_a_wider_halo(tmp_path: Path) -> None:
    found = tiled(random_city(5), tmp_path / "t", 8, couplings={"max_separation_m": 25.0, "max_angle_deg": 60.0})
    assert len(found.parallel_runs) > len(find_couplings(random_city(5)).parallel_runs)


def test_a_plug_in_is_refused_nobody_knows_how_far_it_looks(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    write_tiles(random_city(1), tmp_path / "t")
    points = dict.fromkeys((*TABLES, "bonds_found.test_leads"))
    monkeypatch.setattr(tile_by_tile, "plugin_points", lambda group: points)
    with pytest.raises(PlugInError, match=r"bonds_found\.test_leads installed.*run on the records themselves"):
        city_couplings(open_tiles(tmp_path / "t"))


def test_it_tells_how_far_it_is(tmp_path: Path) -> None:
    count = write_tiles(random_city(1), tmp_path / "t", settings=Settings(city=CitySettings(tile_segments=9)))
    told: list[tuple[str, int, int]] = []
    city_couplings(open_tiles(tmp_path / "t"), told=lambda *step: told.append(step))
    assert told == [("couplings", k + 1, count) for k in range(count)]
    assert count > 1
