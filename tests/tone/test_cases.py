"""What the records leave open: elements switched by case, and one soil for the lines."""

import math

import numpy as np
import pytest

from corridor.settings import SoilSettings
from corridor.tone.cases import CASES, element_ohms, soil_range
from tests.builders import make_site
from tests.tone.wires import BONDS, LINES, wires

MODEL = wires(bonds=[BONDS[0] | {"evidence": "suspected", "state": None}])
BOND = next(k for k, e in enumerate(MODEL.elements) if e.source_id == "b1")
WEST = [(-10, -60), (30, -60), (30, 60), (-10, 60)]
EAST = [(30, -60), (90, -60), (90, 60), (30, 60)]


def test_the_first_case_is_the_nominal_one() -> None:
    assert (CASES[0].soil, CASES[0].paths) == ("nominal", "nominal")
    assert len({case.name for case in CASES}) == len(CASES)


def test_a_switchable_bond_is_closed_or_open() -> None:
    assert element_ohms(MODEL, "closed", 1e3)[BOND] == MODEL.elements[BOND].closed_ohm
    assert math.isinf(abs(element_ohms(MODEL, "open", 1e3)[BOND]))


def test_what_is_recorded_stays_in_every_case() -> None:
    fixed = [k for k, e in enumerate(MODEL.elements) if not e.switchable]
    nominal = element_ohms(MODEL, "nominal", 1e3)[fixed]
    for paths in ("closed", "open"):
        assert np.array_equal(element_ohms(MODEL, paths, 1e3)[fixed], nominal)


def test_no_soil_in_the_records_gives_the_settings() -> None:
    site = make_site(lines=LINES)
    got = soil_range(site.soil, site.lines, SoilSettings())
    assert (got.nominal_ohm_m, got.low_ohm_m, got.high_ohm_m) == (100.0, 20.0, 1000.0)
    assert "settings" in got.source


def test_soil_is_weighted_by_length_in_the_logarithm() -> None:
    # 30 m in each: the geometric mean; ranges left out follow the settings' in proportion
    soil = [
        {"soil_id": "s1", "resistivity_ohm_m": 40.0, "geometry": WEST},
        {"soil_id": "s2", "resistivity_ohm_m": 250.0, "geometry": EAST},
    ]
    site = make_site(lines=[LINES[0]], soil=soil)
    got = soil_range(site.soil, site.lines, SoilSettings())
    assert got.nominal_ohm_m == pytest.approx(100.0)
    assert got.low_ohm_m == pytest.approx(8.0)
    assert got.high_ohm_m == pytest.approx(2500.0)
    assert got.source == "records"


def test_two_layers_where_most_of_the_line_has_them() -> None:
    layered = {"top_thickness_m": 1.5, "lower_resistivity_ohm_m": 20.0}
    soil = [
        {"soil_id": "s1", "resistivity_ohm_m": 100.0, "geometry": WEST} | layered,
        {"soil_id": "s2", "resistivity_ohm_m": 100.0, "geometry": EAST},
    ]
    half = soil_range(make_site(lines=[LINES[0]], soil=soil).soil, make_site(lines=[LINES[0]]).lines, SoilSettings())
    assert math.isnan(half.top_thickness_m)
    assert math.isnan(half.lower_at(100.0))
    soil[1] |= {"top_thickness_m": 6.0, "lower_resistivity_ohm_m": 80.0}
    both = soil_range(make_site(lines=[LINES[0]], soil=soil).soil, make_site(lines=[LINES[0]]).lines, SoilSettings())
    # 30 m in each: geometric means
    assert both.top_thickness_m == pytest.approx(3.0)
    assert both.lower_ohm_m == pytest.approx(40.0)
    assert both.lower_at(20.0) == pytest.approx(8.0)
