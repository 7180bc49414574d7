"""Look-ups in the solver's model."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.integrals import straight_pair_integral
from corridor.tone.model import SoilRange
from tests.tone.wires import LINES, wires

MODEL = wires()


@pytest.mark.parametrize("look", ["section_at", "node_at"])
def test_a_line_that_is_not_there_is_refused(look: str) -> None:
    with pytest.raises(DomainError, match="line Z carries no tone"):
        getattr(MODEL, look)("Z", 1.0)


def test_an_electrode_that_is_not_there_is_refused() -> None:
    with pytest.raises(DomainError, match="no electrode 'x'"):
        MODEL.electrode_node("x")


def test_an_absent_line_has_no_sections() -> None:
    assert MODEL.sections_of("Z").size == 0


@pytest.mark.parametrize(("at_m", "end"), [(-5.0, 0), (999.0, -1)])
def test_places_beyond_the_ends_are_the_ends(at_m: float, end: int) -> None:
    assert MODEL.section_at("A", at_m) == MODEL.sections_of("A")[end]


def test_electrodes_are_bare_whatever_the_lines_are() -> None:
    spread = MODEL.per_section([1.0, 2.0, 3.0])
    assert np.isinf(spread[MODEL.electrode_mask].real).all()
    assert set(spread[~MODEL.electrode_mask]) == {1.0, 2.0, 3.0}


def test_a_given_resistance_scales_with_the_soil() -> None:
    own = MODEL.electrode_ohm(0.5)[MODEL.n_conducting :]
    assert own[0] == 10.0
    assert np.isnan(own[1])


def test_the_same_sections_can_be_joined_otherwise() -> None:
    bare = MODEL.with_elements(())
    assert bare.layout.n_elements == 0
    assert bare.n_sections == MODEL.n_sections


@given(line_id=st.sampled_from(["A", "B", "C"]), at_m=st.floats(-10.0, 80.0))
@settings(max_examples=60, deadline=None)
def test_the_nearest_section_and_node_are_found(line_id: str, at_m: float) -> None:
    # by going through all of them
    own = MODEL.sections_of(line_id)
    low, high = MODEL.measure_m[own].T
    away = np.maximum(np.maximum(low - at_m, at_m - high), 0.0)
    assert away[own.tolist().index(MODEL.section_at(line_id, at_m))] == away.min()
    node = MODEL.node_at(line_id, at_m)
    heads = MODEL.layout.start_node[own]
    places = dict(zip([*heads, heads[-1] + 1], [*low, high[-1]], strict=True))
    assert abs(places[node] - at_m) == pytest.approx(min(abs(m - at_m) for m in places.values()))


def test_every_section_belongs_to_one_line_or_is_an_electrode() -> None:
    lines = np.concatenate([MODEL.sections_of(line_id) for line_id in MODEL.line_ids])
    assert sorted(lines.tolist()) == list(range(MODEL.n_conducting))
    for line_id in MODEL.line_ids:
        own = MODEL.sections_of(line_id)
        assert (np.diff(MODEL.measure_m[own, 0]) > 0).all()
        assert MODEL.end_m[own[:-1]] == pytest.approx(MODEL.start_m[own[1:]])


def test_a_line_parted_by_joints_stays_one_conductor() -> None:
    # touching ends on both sides of a joint are as near as the metal's radius, not as two conductors' coatings would be
    iron = {"line_id": "J", "asset": "pipe", "material": "ductile_iron", "diameter_mm": 150.0, "utility": "water",
            "joints": "gasketed", "joint_spacing_m": 6.0, "geometry": [(0, 20), (12, 20)]}  # fmt: skip
    model = wires(lines=[*LINES, iron])
    own = model.sections_of("J")
    across = np.flatnonzero(np.diff(model.layout.chain[own]))[0]
    a, b = own[across], own[across + 1]
    pipe = model.conductors[model.line_ids.index("J")]
    wire_a, wire_b = (np.array([model.start_m[k], model.end_m[k]]) for k in (a, b))
    wanted = straight_pair_integral(wire_a, wire_b, pipe.radius_m)
    assert model.integrals.direct[a, b] == pytest.approx(wanted, rel=1e-9)


def test_the_lower_soil_goes_with_the_upper() -> None:
    soil = SoilRange(100.0, 50.0, 300.0, 10.0, "records", 1.5, 40.0)
    assert [soil.lower_at(rho) for rho in (50.0, 100.0, 300.0)] == [20.0, 40.0, 120.0]
    assert np.isnan(SoilRange(100.0, 50.0, 300.0, 10.0, "records").lower_at(50.0))
