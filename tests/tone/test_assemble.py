"""From network to model: sections, elements, electrodes; and the model's look-ups."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.network.continuity import may_part
from corridor.site.materials import joint_types
from corridor.tone.model import ToneModel
from corridor.tone.solve import matrices
from corridor.tone.tree import factorise
from tests.builders import make_lines
from tests.tone.wires import LINES, SOIL, STAKE, wires

MODEL = wires()
IRON = {"line_id": "J", "asset": "pipe", "material": "ductile_iron", "diameter_mm": 150.0, "utility": "water"}


def test_every_line_is_covered_once_from_end_to_end() -> None:
    for line_id, length in (("A", 60.0), ("B", 47.0), ("C", 60.0)):
        measure = MODEL.measure_m[MODEL.sections_of(line_id)]
        assert measure[0, 0] == 0.0
        assert measure[-1, 1] == pytest.approx(length)
        assert np.array_equal(measure[1:, 0], measure[:-1, 1])


def test_electrodes_stand_last() -> None:
    assert [e.name for e in MODEL.electrodes] == ["g1", "stake"]
    assert MODEL.electrode_mask.sum() == 2
    assert MODEL.line_index[MODEL.electrode_mask].tolist() == [MODEL.line_ids.index("A"), -1]
    assert (MODEL.start_m[MODEL.electrode_mask, 2] == 0).all()


def test_the_ground_joins_its_line_to_its_rod() -> None:
    ground = next(e for e in MODEL.elements if e.kind == "ground")
    assert (ground.node_a, ground.node_b) == (MODEL.node_at("A", 60.0), MODEL.electrode_node("g1"))


def test_the_layout_holds_the_elements_nodes() -> None:
    assert MODEL.layout.node_a.tolist() == [e.node_a for e in MODEL.elements]
    assert MODEL.layout.node_b.tolist() == [e.node_b for e in MODEL.elements]


def test_gasketed_joints_part_a_pipe_into_lengths() -> None:
    line = IRON | {"joints": "gasketed", "joint_spacing_m": 6.0, "geometry": [(0, 20), (30, 20)]}
    model = wires(lines=[*LINES, line])
    joints = [e for e in model.elements if e.kind == "joint"]
    assert [e.source_id for e in joints] == ["J@6.00", "J@12.00", "J@18.00", "J@24.00"]
    assert all(e.switchable and not e.closed for e in joints)


def test_a_lead_joins_a_stake_to_the_far_end() -> None:
    placement = type(STAKE)(STAKE.stakes, STAKE.stake, (("stake", "C", 60.0),))
    lead = wires(placement=placement).elements[-1]
    assert (lead.kind, lead.source_id, lead.line_a) == ("ground", "stake", "C")


def test_no_conductor_is_refused() -> None:
    plastic = {"line_id": "A", "conductive": "no", "geometry": [(0, 0), (60, 0)]}
    with pytest.raises(DomainError, match="at least one conductor"):
        wires(lines=[plastic], bonds=[], grounds=[])


def test_a_tie_joins_stakes_to_each_other_and_to_no_line() -> None:
    places = {"stake": (-1.0, 5.0), "more": (-1.0, 6.0)}
    model = wires(placement=replace(STAKE, stakes=places, ties=(("stake", "more"),)))
    tie = model.elements[-1]
    assert (tie.node_a, tie.node_b) == (model.electrode_node("stake"), model.electrode_node("more"))
    assert (tie.line_a, tie.source_id) == ("", "more")


@pytest.mark.parametrize("kind", ["corroded", "gasketed", "insulated", "unknown"])
@pytest.mark.parametrize("asset", ["pipe", "casing"])
def test_joints_that_may_part_a_pipe_are_elements_as_the_table_has_them(kind: str, asset: str) -> None:
    line = IRON | {"asset": asset, "joints": kind, "joint_spacing_m": 10.0, "geometry": [(0, 20), (30, 20)]}
    joints = [e for e in wires(lines=[*LINES, line]).elements if e.kind == "joint"]
    table = joint_types()[kind]
    assert len(joints) == 2
    for joint in joints:
        assert (joint.closed, joint.switchable) == (kind == "corroded", True)
        assert (joint.closed_ohm, joint.open_ohm, joint.open_f) == (table.closed_ohm, table.open_ohm, table.open_f)


@pytest.mark.parametrize("more", [{"joints": "welded"}, {"joints": "bonded"}, {"joints": None}, {"tracer_wire": "yes"}])
def test_what_the_network_takes_as_whole_the_model_does_too(more: dict[str, Any]) -> None:
    line = IRON | {"joints": "gasketed", "joint_spacing_m": 6.0, "geometry": [(0, 20), (30, 20)]} | more
    assert not may_part(make_lines([line])).any()
    assert not [e for e in wires(lines=[*LINES, line]).elements if e.kind == "joint"]


LAYERS = replace(SOIL, top_thickness_m=1.2, lower_ohm_m=30.0)


@pytest.fixture(scope="module")
def layered() -> ToneModel:
    """Two grounds and a stake: the first ground's rod passes 1.2 m, the second and the stake don't."""
    grounds = [
        {"ground_id": "deep", "line_id": "A", "geometry": (60, 0), "evidence": "recorded", "resistance_ohm": 15.0},
        {"ground_id": "flat", "line_id": "C", "geometry": (0, -0.6), "evidence": "recorded", "resistance_ohm": 120.0},
    ]
    return wires(grounds=grounds, soil=LAYERS)


def test_a_rod_is_parted_where_a_second_layer_begins(layered: ToneModel) -> None:
    assert [e.name for e in layered.electrodes] == ["deep", "deep", "flat", "stake"]
    upper, lower, flat, stake = layered.electrodes
    assert (upper.top_m, upper.length_m, lower.top_m) == (0.0, 1.2, 1.2)
    assert np.isnan([upper.resistance_ohm, lower.resistance_ohm]).all()
    assert (flat.resistance_ohm, flat.top_m) == (120.0, 0.0)
    assert max(flat.length_m, stake.length_m) < 1.2


def test_no_section_passes_the_interface(layered: ToneModel) -> None:
    depths = np.stack([layered.start_m[:, 2], layered.end_m[:, 2]])
    assert not ((depths.min(axis=0) < 1.2) & (depths.max(axis=0) > 1.2)).any()


def test_the_parts_of_a_rod_are_one_chain_and_one_body(layered: ToneModel) -> None:
    first = layered.n_conducting
    assert np.diff(layered.layout.chain[first:]).tolist() == [0, 1, 1]
    assert layered.end_m[first].tolist() == layered.start_m[first + 1].tolist()
    leads = {e.source_id: e.node_b for e in layered.elements if e.kind == "ground"}
    assert leads == {name: layered.electrode_node(name) for name in ("deep", "flat")}
    assert layered.electrode_node("stake") == layered.layout.n_nodes - 2


def test_a_parted_rod_keeps_its_resistance_in_all_soils(layered: ToneModel) -> None:
    # between remote earth and the rod alone: every other line is open. It varies with the soil, as any resistance does
    alone = layered.with_elements(())
    for soil_ohm_m in (SOIL.low_ohm_m, SOIL.nominal_ohm_m, SOIL.high_ohm_m):
        z, p = matrices(alone, frequency_hz=50.0, resistivity_ohm_m=soil_ohm_m, soil=LAYERS)
        injection = np.zeros((alone.layout.n_nodes, 1))
        node = alone.electrode_node("deep")
        injection[node] = 1.0
        volts = factorise(alone.layout, z, p, np.empty(0)).solve(injection).node_v[node : node + 3, 0]
        # tolerance: bare pipes near by take up a little of the field
        assert volts.real == pytest.approx(15.0 * soil_ohm_m / SOIL.nominal_ohm_m, rel=0.02)


def test_a_resistance_that_no_rod_has_stays_one_section() -> None:
    grounds = [{"ground_id": "g", "line_id": "A", "geometry": (60, 0), "evidence": "recorded", "resistance_ohm": 0.01}]
    (rod, _) = wires(grounds=grounds, soil=LAYERS).electrodes
    assert (rod.name, rod.resistance_ohm) == ("g", 0.01)
