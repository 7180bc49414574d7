"""Places for the stake tried by superposition, against stakes that are sections of the network, and reciprocity."""

from functools import lru_cache

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.tone.assemble import Placement
from corridor.tone.drive import unit_output
from corridor.tone.electrodes import rod_resistance
from corridor.tone.model import SoilRange
from corridor.tone.solve import nominal_network
from corridor.tone.stake_fields import StakeFields, StakeResponse, stake_fields, stake_responses
from corridor.tone.touch import with_rods
from tests.tone.wires import EQUIPMENT, SOIL, placed, solved, wires

BARE = wires(placement=None)
PLACES = ((0.0, 5.0), (-3.0, 4.0), (5.0, -3.0), (0.0, 12.0), (0.0, -1.9))
SIZE = {"length_m": EQUIPMENT.stake.length_m, "radius_m": EQUIPMENT.stake.diameter_mm / 2000}
RHO = SOIL.nominal_ohm_m
FEED = BARE.node_at("A", 0.0)


def fields_of(frequency_hz: float = 8e3, soil: SoilRange = SOIL) -> StakeFields:
    return stake_fields(BARE, PLACES, **SIZE, frequency_hz=frequency_hz, resistivity_ohm_m=RHO, soil=soil)


@lru_cache
def responses(frequency_hz: float = 8e3) -> StakeResponse:
    network = nominal_network(BARE, frequency_hz=frequency_hz, resistivity_ohm_m=RHO, soil=SOIL)
    return stake_responses(network, fields_of(frequency_hz), [FEED] * len(PLACES))


@pytest.mark.parametrize("frequency_hz", [500.0, 8e3, 100e3])
@pytest.mark.parametrize("number", range(len(PLACES)))
def test_a_place_tried_equals_the_stake_as_a_section(number: int, frequency_hz: float) -> None:
    # the same equations; what differs is the tables' range. Bar: the far 1 to 2 % that a choice of places needs
    model = wires(placement=Placement({"stake": PLACES[number]}, EQUIPMENT.stake))
    whole = solved(model, frequency_hz=frequency_hz)
    output = unit_output(whole.solution, [placed(model)], frequency_hz=frequency_hz, equipment=EQUIPMENT)
    tried = responses(frequency_hz)
    lines = whole.solution.current_a[: BARE.n_conducting, 0]
    assert np.abs(tried.current_a[: BARE.n_conducting, number] - lines).max() < 1e-4 * np.abs(lines).max()
    assert tried.loop_ohm[number] == pytest.approx(output.loop_ohm[0], rel=1e-4)


def test_what_a_stake_lifts_is_what_is_felt_at_it() -> None:
    # Lorentz's reciprocity: the node's potential per ampere at the stake is the soil's there per ampere at the node
    tried = responses()
    assert tried.lift_v == pytest.approx(tried.felt_v, rel=1e-9)


def test_potentials_at_stakes_are_reciprocal() -> None:
    tried = responses()
    raised = tried.fields.between(np.arange(len(PLACES))) + tried.fields.soil_ohm.T @ tried.leak_a
    assert np.abs(raised - raised.T).max() < 1e-9 * np.abs(raised).max()


def test_a_stake_has_the_resistance_of_its_rod() -> None:
    # Dwight 1936, direct current; 1 % for 500 Hz
    own = fields_of(500.0).between([0])[0, 0]
    assert own.real == pytest.approx(rod_resistance(SIZE["length_m"], SIZE["radius_m"], RHO), rel=0.01)


def test_two_stakes_are_those_of_the_network_with_both() -> None:
    pair = {"stake": PLACES[0], "stake|2": PLACES[1]}
    model = wires(placement=Placement(pair, EQUIPMENT.stake, ties=(("stake", "stake|2"),)))
    whole = solved(model)
    output = unit_output(whole.solution, [placed(model)], frequency_hz=8e3, equipment=EQUIPMENT)
    tried = responses()
    both = tried.loop_of_both(0, 1)
    assert both == pytest.approx(output.loop_ohm[0], rel=1e-3)
    # common practice: two far apart are worth less than half of one, never less than half
    assert abs(both) > abs(tried.loop_ohm[:2]).min() / 2
    assert abs(both) < abs(tried.loop_ohm[:2]).min()


def test_order_of_the_two_does_not_matter() -> None:
    tried = responses()
    assert tried.loop_of_both(0, 3) == pytest.approx(tried.loop_of_both(3, 0), rel=1e-9)


def test_every_ampere_comes_back_through_the_stake() -> None:
    # Kirchhoff: the network leaks what is fed in, in sum, and nothing where only the stake leaks
    tried = responses()
    assert np.abs(tried.leak_a.sum(axis=0)).max() < 1e-9
    assert np.abs(tried.current_a[BARE.section_at("A", 0.0)]) == pytest.approx(np.ones(len(PLACES)), abs=0.05)


def test_a_stake_beside_a_neighbour_drives_more_on_it() -> None:
    # C lies 0.6 m to the right: the stake 1.3 m beyond it against the one 5 m to the left of A. In even soil the
    # potential falls as 1/R; C is jacketed and open: most of what it carries is induced by A, whichever the stake
    own = BARE.sections_of("C")
    raised, peak = np.abs(responses().fields.soil_ohm[own[0]]), np.abs(responses().current_a[own]).max(axis=0)
    assert raised[4] > 2 * raised[0]
    assert peak[4] > 1.2 * peak[0]


def test_two_layers_are_solved_as_sections_are() -> None:
    layered = SoilRange(100.0, 20.0, 1000.0, 10.0, "records", 1.2, 20.0)
    model = wires(placement=None, soil=layered)
    more = with_rods(model, wires(placement=Placement({"stake": PLACES[0]}, EQUIPMENT.stake)).electrodes[-1:])
    fields = stake_fields(model, PLACES[:1], **SIZE, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=layered)
    network = nominal_network(model, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=layered)
    whole = nominal_network(more, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=layered)
    injection = np.zeros((more.layout.n_nodes, 1))
    node = model.node_at("A", 0.0)
    injection[[node, more.electrode_node("stake")], 0] = 1.0, -1.0
    volts = whole.solve(injection).node_v[[node, more.electrode_node("stake")], 0]
    assert stake_responses(network, fields, [node]).loop_ohm[0] == pytest.approx(volts[0] - volts[1], rel=1e-4)


def test_a_node_for_each_stake() -> None:
    network = nominal_network(BARE, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=SOIL)
    with pytest.raises(DomainError, match=f"one node for each of {len(PLACES)} stakes, got 1"):
        stake_responses(network, fields_of(), [FEED])


def test_places_have_two_coordinates() -> None:
    with pytest.raises(DomainError, match=r"need places of shape \(m, 2\)"):
        stake_fields(BARE, [1.0, 2.0], **SIZE, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=SOIL)


def test_frequencies_outside_the_method_are_refused() -> None:
    with pytest.raises(DomainError, match="expected a frequency"):
        fields_of(10.0)
