"""Stations and readings along a line."""

import tracemalloc
from dataclasses import fields

import numpy as np
import pytest

from corridor.settings import ReceiverSettings
from corridor.tone import predict as predict_module
from corridor.tone.cases import CASES
from corridor.tone.predict import Prediction, horizontal_fields, peak_owners, predict
from corridor.tone.solve import solve_tone
from corridor.tone.stations import set_stations
from tests.tone.wires import EQUIPMENT, SOIL, placed, shape_of, wires

MODEL = wires()
SOLUTION = solve_tone(MODEL, [placed(MODEL)], CASES[:2], frequencies_hz=[1e3, 33e3], soil=SOIL, equipment=EQUIPMENT)


def test_the_prediction_has_a_value_for_all() -> None:
    stations = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=20.0)
    got = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    assert got.current.shape == got.field_t.shape == (3, 1, 2, 2)
    assert abs(got.current[1, 0, 0, 0]) == pytest.approx(1.0, abs=0.2)
    assert (got.field_t > 0).all()


def test_a_line_predicted_in_parts_reads_as_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    # identity: no station's reading depends on another station; last digits may differ with the size of the products
    stations = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=4.0)
    whole = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    monkeypatch.setattr(predict_module, "PROFILE_BYTES", 1)
    parts = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    for field in fields(Prediction)[2:]:
        assert getattr(parts, field.name) == pytest.approx(getattr(whole, field.name), rel=1e-9, abs=1e-12, nan_ok=True)


def test_many_stations_take_no_more_memory_than_is_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    # the fields of 15,000 points at eighty sections and of as many columns would be 158 MB
    monkeypatch.setattr(predict_module, "PROFILE_BYTES", 10_000_000)
    stations = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=0.2)
    drives = [0] * 16  # of so many hook-ups
    tracemalloc.start()
    try:
        predict(SOLUTION, stations, drives, receiver=ReceiverSettings())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 20_000_000  # 10 MB measured


def test_the_owner_of_a_peak_is_the_line_under_it() -> None:
    stations = set_stations("C", shape_of("C"), depth_m=0.8, spacing_m=20.0)
    beside = predict(SOLUTION, stations, [0], receiver=ReceiverSettings())
    owners = peak_owners(SOLUTION, beside, drive=0, frequency_hz=1e3)
    assert [owner for owner, masked in zip(owners, beside.masked[:, 0, 0, 0], strict=True) if masked] == ["A"] * 3
    own = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=20.0)
    over = predict(SOLUTION, own, [0], receiver=ReceiverSettings())
    assert peak_owners(SOLUTION, over, drive=0, frequency_hz=1e3) == [None] * 3


def test_horizontal_fields_are_those_the_reading_was_taken_from() -> None:
    # the reading's own figures at its peak: field at the lower coil, two-coil depth; eddy currents carried over from
    # other places of the profile, hence not to the last digit
    stations = set_stations("A", shape_of("A"), depth_m=0.8, spacing_m=30.0)
    receiver = ReceiverSettings()
    got = predict(SOLUTION, stations, [0], receiver=receiver)
    lower = receiver.lower_coil_height_m
    for s, f, c in np.ndindex(2, 2, 2):
        peak = got.peak_offset_m[s, 0, f, c]
        profile = (np.array([peak, peak + 0.1]), (lower, lower + receiver.coil_spacing_m))
        fields, again = horizontal_fields(SOLUTION, stations, [0], profiles=(profile, profile))
        assert (fields == again).all()
        assert fields.shape == (2, 2, 2, 4)
        low, high = np.abs(fields[:, s, 0, 2 * f + c])
        assert low == pytest.approx(got.field_t[s, 0, f, c], rel=2e-3)
        assert receiver.coil_spacing_m * high / (low - high) - lower == pytest.approx(got.depth_m[s, 0, f, c], rel=0.01)
