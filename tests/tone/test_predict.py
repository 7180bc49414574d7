"""Stations and readings along a line."""

import numpy as np
import pytest
from shapely import LineString, box

from corridor.settings import ReceiverSettings
from corridor.tone.cases import CASES
from corridor.tone.predict import compass, peak_owners, predict, set_stations
from corridor.tone.solve import solve_tone
from tests.tone.wires import EQUIPMENT, SOIL, placed, shape_of, wires

MODEL = wires()
SOLUTION = solve_tone(MODEL, [placed(MODEL)], CASES[:2], frequencies_hz=[1e3, 33e3], soil=SOIL, equipment=EQUIPMENT)


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
    assert got.measure_m.tolist() == [6.0]


def test_the_prediction_has_a_value_for_all() -> None:
    stations = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=20.0)
    got = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    assert got.current.shape == got.field_t.shape == (3, 1, 2, 2)
    assert abs(got.current[1, 0, 0, 0]) == pytest.approx(1.0, abs=0.2)
    assert (got.field_t > 0).all()


def test_the_owner_of_a_peak_is_the_line_under_it() -> None:
    stations = set_stations("C", shape_of("C"), depth_m=0.8, spacing_m=20.0)
    beside = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    owners = peak_owners(SOLUTION, beside, drive=0, frequency_hz=1e3)
    assert [owner for owner, masked in zip(owners, beside.masked[:, 0, 0, 0], strict=True) if masked] == ["A"] * 3
    own = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=20.0)
    over = predict(SOLUTION, own, [0], receiver=ReceiverSettings())
    assert peak_owners(SOLUTION, over, drive=0, frequency_hz=1e3) == [None] * 3
