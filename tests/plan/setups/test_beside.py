"""Lines too near to be told apart, on made-up currents in wires whose places are known."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.plan.setups.beside import Beside, beside
from corridor.settings import CheckSettings, CouplingSettings, Settings
from corridor.tone.cases import CASES
from corridor.tone.solve import CaseResult, ToneSolution
from corridor.tone.stations import Stations
from tests.tone.wires import SOIL, wires

# A along x; B at a right angle beyond its end; C 0.6 m to the right of A and D 0.9 m to its left, along it
MODEL = wires(
    lines=(
        {"line_id": "A", "geometry": [(0, 0), (60, 0)]},
        {"line_id": "B", "geometry": [(60, 3), (60, 50)], "utility": "water", "asset": "pipe", "material": "steel"},
        {"line_id": "C", "geometry": [(0, -0.6), (60, -0.6)], "utility": "telecom"},
        {"line_id": "D", "geometry": [(0, 0.9), (60, 0.9)], "utility": "telecom"},
        {"line_id": "E", "geometry": [(30, -20), (30, 20)], "utility": "telecom"},
    )
)
SETTINGS = Settings()


def solved(**currents: complex) -> ToneSolution:
    """Each line carries one current all along, the others and the electrodes none."""
    current = np.zeros((MODEL.n_sections, 1), dtype=np.complex64)
    for line_id, value in currents.items():
        current[MODEL.sections_of(line_id)] = value
    current[MODEL.electrode_mask] = 100.0
    one: Any = np.ones(1)
    result = CaseResult(current, np.zeros_like(current), one, one, one, current, one)
    return ToneSolution(MODEL, (), (1000.0,), CASES[:1], SOIL, {(1000.0, CASES[0].name): result})


def at(x_m: float, *, depth_m: float = 1.0) -> Stations:
    """A station on A."""
    return Stations("A", np.array([x_m]), np.array([[x_m, 0.0]]), np.array([[1.0, 0.0]]), depth_m)


def found(solution: ToneSolution, station: Stations, chosen: Settings = SETTINGS) -> Beside | None:
    return beside(solution, station, 0, settings=chosen)


def test_a_line_nearer_than_the_depth_with_tone_is_found() -> None:
    near = found(solved(A=1.0, C=-0.5), at(20.0))
    assert near is not None
    assert near.line_id == "C"
    assert near.away_m == pytest.approx(0.6, abs=1e-6)
    assert near.share == pytest.approx(0.5)


def test_of_two_the_nearer_one_is_named() -> None:
    near = found(solved(A=1.0, C=0.5, D=0.9), at(20.0))
    assert near is not None and near.line_id == "C"
    other = found(solved(A=1.0, C=0.2, D=0.9), at(20.0))
    assert other is not None and other.line_id == "D"


@pytest.mark.parametrize("depth", [0.3, 0.59])
def test_a_line_farther_than_the_depth_shows_a_peak_of_its_own(depth: float) -> None:
    assert found(solved(A=1.0, C=1.0, D=1.0), at(20.0, depth_m=depth)) is None


def test_a_crossing_line_is_no_line_beside() -> None:
    # E crosses A at 30 m: its field points along A, and its peak lies along itself
    assert found(solved(A=1.0, E=1.0), at(30.0)) is None


def test_what_counts_as_parallel_is_a_setting() -> None:
    wide = SETTINGS.model_copy(update={"couplings": CouplingSettings(max_angle_deg=90.0)})
    near = found(solved(A=1.0, E=1.0), at(30.0), wide)
    assert near is not None and near.line_id == "E"
    assert near.away_m == pytest.approx(0.0, abs=1e-6)


def test_electrodes_and_the_line_itself_dont_count() -> None:
    assert found(solved(A=1.0), at(0.5)) is None
    assert found(solved(A=1.0), at(59.5)) is None


def test_without_tone_on_the_line_there_is_nothing_to_compare() -> None:
    assert found(solved(C=1.0), at(20.0)) is None


@settings(max_examples=30, deadline=None)
@given(st.floats(0.01, 3.0), st.floats(0.05, 2.0), st.floats(1e-3, 1e3), st.floats(0.0, 360.0))
def test_only_the_share_counts_not_size_or_phase(share: float, limit: float, size: float, turn: float) -> None:
    chosen = SETTINGS.model_copy(update={"checks": CheckSettings(beside_share=limit)})
    solution = solved(A=size, C=size * share * np.exp(1j * np.radians(turn)))
    if abs(share / limit - 1.0) > 1e-3:
        assert (found(solution, at(20.0), chosen) is not None) is (share > limit)


def test_past_the_end_of_a_line_the_distance_is_to_its_end() -> None:
    station = replace(at(60.0), xy_m=np.array([[60.3, -0.6]]))
    near = found(solved(A=1.0, C=1.0), station)
    assert near is not None
    assert near.away_m == pytest.approx(0.3, abs=1e-6)


# --- in words ---------------------------------------------------------------------------------------------------------


def test_the_neighbours_own_set_up_is_named() -> None:
    other = Beside("B", 0.8, 0.6)
    text = other.text(["direct:B:B-S at 1000 Hz"], "direct:A:A-S")
    assert "B runs 0.8 m beside, nearer than the depth, with 60% of this line's current" in text
    assert "trace B by itself with direct:B:B-S at 1000 Hz" in text
    for own in ([], ["direct:A:A-S at 1000 Hz"]):
        assert "no set-up of the plan is on that line" in other.text(own, "direct:A:A-S")


@pytest.mark.parametrize("own", [[], ["direct:B:B-S at 1000 Hz"]])
def test_nobody_is_asked_to_open_anything(own: list[str]) -> None:
    text = Beside("B", 0.8, 0.6).text(own, "direct:A:A-S")
    assert "energise one at a time" in text
    for word in ("open", "lift", "disconnect", "remove", "ground"):
        assert word not in text
