"""Tiles: balanced by segments, nothing lost, numbered so that the same records give the same tiles."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from corridor.city.split import tiles_of
from tests.builders import METRIC


def drawn(seed: int, count: int) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    rng = np.random.default_rng(seed)
    start = rng.integers(0, 100, (count, 1, 2)) * 1.0
    steps = rng.uniform(-5, 5, (count, 3, 2)).cumsum(axis=1)
    lines = gpd.GeoDataFrame(geometry=list(shapely.linestrings(start + steps)), crs=METRIC)
    points = gpd.GeoDataFrame(geometry=[*shapely.points(rng.uniform(0, 100, (count, 2))), None], crs=METRIC)
    return lines, points


@given(seed=st.integers(0, 10**6), count=st.integers(1, 60), segments=st.integers(1, 50))
def test_every_tile_has_some_and_none_too_many(seed: int, count: int, segments: int) -> None:
    lines, points = drawn(seed, count)
    of_line, of_point = tiles_of(lines, points, segments=segments)
    held = np.bincount(of_line)
    assert (held > 0).all()
    assert ((held * 2 <= segments) | (held == 1)).all()
    assert held.sum() == count
    assert (of_point >= 0).all()
    assert (of_point < len(held)).all()
    assert of_point[-1] == 0, "one without a place is in the first"


def test_halves_are_about_equal() -> None:
    lines, points = drawn(1, 1000)
    held = np.bincount(tiles_of(lines, points, segments=300)[0])
    assert len(held) == 8
    assert held.max() - held.min() <= 8


def test_a_heavy_line_counts_as_what_it_is() -> None:
    heavy = shapely.linestrings(np.column_stack((np.linspace(0, 1, 101), np.zeros(101))))
    light = [shapely.LineString([(x, 0), (x + 1, 0)]) for x in range(10, 20)]
    lines = gpd.GeoDataFrame(geometry=[heavy, *light], crs=METRIC)
    of_line, _ = tiles_of(lines, lines[:0], segments=50)
    assert of_line.tolist() == [0] + [1] * 10


def test_places_go_where_the_lines_around_them_are() -> None:
    west = [shapely.LineString([(x, 0), (x + 1, 0)]) for x in range(4)]
    east = [shapely.LineString([(x, 0), (x + 1, 0)]) for x in range(100, 104)]
    lines = gpd.GeoDataFrame(geometry=[*east, *west], crs=METRIC)
    points = gpd.GeoDataFrame(geometry=list(shapely.points([(2.0, 5.0), (101.0, -5.0)])), crs=METRIC)
    of_line, of_point = tiles_of(lines, points, segments=4)
    assert of_line.tolist() == [1] * 4 + [0] * 4
    assert of_point.tolist() == [0, 1]


@pytest.mark.parametrize("count", [1, 5])
def test_lines_in_one_place_are_cut_all_the_same(count: int) -> None:
    lines = gpd.GeoDataFrame(geometry=[shapely.LineString([(0, 0), (1, 0)])] * count, crs=METRIC)
    of_line, of_point = tiles_of(lines, lines[:0], segments=1)
    assert sorted(of_line.tolist()) == list(range(count))
    assert of_point.tolist() == []
