"""Where the receiver is held."""

import numpy as np
import pytest
from shapely import LineString, box

from corridor.tone.stations import compass, inside_parts, set_stations


@pytest.mark.parametrize(
    ("vector", "word"), [((1, 0), "east"), ((1, 1), "north-east"), ((-1, 0), "west"), ((0, -1), "south")]
)
def test_compass(vector: tuple[float, float], word: str) -> None:
    assert compass(np.array([vector], dtype=float)).tolist() == [word]


def test_stations_stand_half_a_spacing_from_the_ends() -> None:
    got = set_stations("L", LineString([(0, 0), (12, 0)]), depth_m=0.8, spacing_m=4.0)
    assert got.measure_m.tolist() == [2.0, 6.0, 10.0]
    assert got.direction == pytest.approx(np.tile([1.0, 0.0], (3, 1)))


def test_stations_outside_the_area_are_left_out() -> None:
    got = set_stations("L", LineString([(0, 0), (12, 0)]), depth_m=0.8, spacing_m=4.0, area=box(5, -1, 9, 1))
    assert got.measure_m.tolist() == [5.0 + 2.0]


def test_each_part_inside_the_area_has_its_own_stations_to_its_ends() -> None:
    line, area = LineString([(0, 0), (60, 0)]), box(10, -1, 20, 1).union(box(40, -1, 43, 1))
    assert inside_parts(line, area) == [(10.0, 20.0), (40.0, 43.0)]
    got = set_stations("L", line, depth_m=0.8, spacing_m=5.0, area=area)
    assert got.measure_m.tolist() == [12.5, 17.5, 41.5]


def test_a_line_outside_has_no_station_and_one_without_area_is_taken_whole() -> None:
    line = LineString([(0, 0), (6, 0)])
    assert set_stations("L", line, depth_m=0.8, spacing_m=4.0, area=box(10, 10, 11, 11)).measure_m.size == 0
    assert inside_parts(line, None) == [(0.0, 6.0)]


def test_a_touch_of_the_area_is_no_part_of_it() -> None:
    assert inside_parts(LineString([(0, 0), (6, 0)]), box(0, 0, 6, 5)) == [(0.0, 6.0)]  # along its edge: covered
    assert inside_parts(LineString([(0, 0), (6, 0)]), box(5.95, -1, 9, 1)) == []
