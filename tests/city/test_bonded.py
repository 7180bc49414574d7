"""Bonded networks over tiles against those of the whole: the same tables, names and differences."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.city import city_bonded_networks, open_tiles, write_tiles
from corridor.network import bonded_networks
from corridor.settings import CitySettings, Settings
from corridor.site.model import Site
from tests.city.made_up import assert_same, random_city


def assert_as_whole(site: Site, folder: Path, segments: int, **asked: object) -> None:
    used = Settings(city=CitySettings(tile_segments=segments))
    write_tiles(site, folder, settings=used)
    whole, found = bonded_networks(site, settings=used, **asked), city_bonded_networks(open_tiles(folder), **asked)
    for name in vars(whole):
        assert_same(getattr(whole, name), getattr(found, name), name)


@settings(max_examples=3)
@given(seed=st.integers(0, 10**6), segments=st.integers(4, 9))
def test_any_size_of_tile_gives_the_tables_of_the_whole(
    tmp_path_factory: pytest.TempPathFactory, seed: int, segments: int
) -> None:
    earlier = bonded_networks(random_city(seed + 1)).line_groups
    assert_as_whole(random_city(seed), tmp_path_factory.mktemp("tiles"), segments, previous=earlier)
