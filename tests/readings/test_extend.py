"""What is put into a network changes nothing until it's switched, and then does what it says."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.readings.extend import Contact, Extended, Parting, Rod, extended
from corridor.tone.cases import element_ohms
from corridor.tone.drive import unit_sources
from corridor.tone.layout import Solution
from corridor.tone.model import ToneModel
from corridor.tone.solve import nominal_network
from corridor.tone.tree import Factored
from tests.readings.small import FREQUENCY_HZ, small_prepared

PREPARED = small_prepared()
MODEL, SOIL = PREPARED.model, PREPARED.soil
A = MODEL.sections_of("A")
CUT = int(A[len(A) // 2])
CUT_M = float(MODEL.measure_m[CUT, 0])
THINGS = (Contact("A", 30.0, "B", 30.0), Parting(CUT), Rod("B", 30.0, (30.0, 3.0)), Rod("A", 0.0, (0.0, 0.5)))


def room(things: tuple[Contact | Parting | Rod, ...] = THINGS) -> Extended:
    return extended(MODEL, PREPARED.drives, things, soil=SOIL)


def solved(model: ToneModel, drives: object, changes: dict[int, complex] | None = None) -> Solution:
    network = nominal_network(model, frequency_hz=FREQUENCY_HZ, resistivity_ohm_m=SOIL.nominal_ohm_m, soil=SOIL)
    assert isinstance(network, Factored)
    source = unit_sources(model, drives, frequency_hz=FREQUENCY_HZ, gamma_per_m=0.006 * (1 + 1j))  # type: ignore[arg-type]
    if changes:
        return network.with_elements(list(changes), list(changes.values())).solve(*source)
    return network.solve(*source)


def test_as_it_stands_it_is_the_same_network() -> None:
    # regression against the network without it: 1e-6 of the output, since a joint of 1e-4 ohm isn't quite none
    before, wider = solved(MODEL, PREPARED.drives), room()
    after = solved(wider.model, wider.drives)
    n = MODEL.n_sections
    assert after.current_a[:n] == pytest.approx(before.current_a, abs=1e-6)
    assert after.leak_a[:n] == pytest.approx(before.leak_a, abs=1e-6)
    assert after.element_a[: len(MODEL.elements)] == pytest.approx(before.element_a, abs=1e-6)
    assert np.abs(after.leak_a[n:]).max() < 1e-12  # a rod that nothing is connected to


def test_elements_keep_their_places_and_things_have_theirs() -> None:
    wider = room()
    assert [e.source_id for e in wider.model.elements[: len(MODEL.elements)]] == [e.source_id for e in MODEL.elements]
    kinds = [wider.model.elements[k].kind for k in wider.index]
    assert kinds == ["hidden_bond", "joint_open", "hidden_ground", "hidden_ground"]
    ohms = element_ohms(wider.model, "nominal", FREQUENCY_HZ)[list(wider.index)]
    assert np.isinf(ohms[[0, 2, 3]]).all()
    assert ohms[1] == pytest.approx(1e-4)


def test_nodes_still_name_the_same_places() -> None:
    wider = room()
    for name, node in MODEL.node_of.items():
        old = np.flatnonzero(MODEL.layout.start_node == node)
        new = np.flatnonzero(wider.model.layout.start_node == wider.model.node_of[name])
        if old.size and old[0] != CUT:
            assert new.tolist() == old.tolist()
    assert wider.drives[0].section == PREPARED.drives[0].section


def test_an_open_parting_stops_the_current() -> None:
    wider = room()
    after = solved(wider.model, wider.drives, {wider.index[1]: complex(np.inf)})
    before, tail = np.abs(after.section_ends()[1][CUT - 1, 0]), np.abs(after.section_ends()[0][CUT, 0])
    assert max(before, tail) < 1e-9  # Kirchhoff: nothing flows at an end


def test_a_parted_line_is_two_lines() -> None:
    # the same metal laid as two chains from the start: the model without the elements that joined them
    wider = room((Parting(CUT),))
    opened = solved(wider.model, wider.drives, {wider.index[0]: complex(np.inf)})
    elements = tuple(
        replace(e, closed=False, closed_ohm=np.inf, open_ohm=np.inf) if k == wider.index[0] else e
        for k, e in enumerate(wider.model.elements)
    )
    direct = solved(wider.model.with_elements(elements), wider.drives)
    assert opened.current_a == pytest.approx(direct.current_a, abs=1e-9)


def test_a_closed_contact_is_a_recorded_bond() -> None:
    # against the suspected bond of the records, closed at the same place with the same resistance
    bond = next(k for k, e in enumerate(MODEL.elements) if e.source_id == "X")
    ohm = MODEL.elements[bond].closed_ohm
    recorded = solved(MODEL, PREPARED.drives, {bond: complex(ohm)})
    wider = room((Contact("A", 60.0, "B", 60.0),))
    put_in = solved(wider.model, wider.drives, {wider.index[0]: complex(ohm)})
    assert put_in.current_a[: MODEL.n_sections] == pytest.approx(recorded.current_a, abs=1e-9)


def test_a_rod_connected_takes_current_from_its_line() -> None:
    wider = room()
    after = solved(wider.model, wider.drives, {wider.index[3]: 0.001 + 0j})
    assert np.abs(after.element_a[wider.index[3], 0]) > 1e-3
    assert np.abs(after.leak_a[-1, 0]) == pytest.approx(np.abs(after.element_a[wider.index[3], 0]), rel=1e-9)


def test_rods_stay_in_the_top_layer() -> None:
    layered = replace(SOIL, top_thickness_m=1.0, lower_ohm_m=300.0)
    wider = extended(MODEL, PREPARED.drives, (Rod("A", 0.0, (0.0, 0.5)),), soil=layered)
    assert wider.model.end_m[-1, 2] == pytest.approx(0.9)


def test_nothing_asked_nothing_changed() -> None:
    wider = room(())
    assert wider.index == ()
    assert wider.model.n_sections == MODEL.n_sections
    assert wider.model.elements == MODEL.elements


def test_a_line_that_isnt_there_is_refused() -> None:
    with pytest.raises(DomainError, match="line Z carries no tone"):
        room((Contact("A", 1.0, "Z", 1.0),))
