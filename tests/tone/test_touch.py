"""Voltages between metal and the soil beside it: closed forms of one rod, the whole matrices, node potentials."""

import math
from dataclasses import replace

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.tone.electrodes import rod_resistance
from corridor.tone.model import Electrode
from corridor.tone.solve import kernel_of, matrices
from corridor.tone.touch import touch_rows, with_rods
from tests.tone.wires import EQUIPMENT, SOIL, solved, wires

MODEL = wires()
STAKE = MODEL.n_sections - 1
RHO = SOIL.nominal_ohm_m
LOW_HZ = 50.0  # next to direct current


def leak_of(section: int) -> np.ndarray:
    leak = np.zeros((MODEL.n_sections, 1), dtype=np.complex128)
    leak[section] = 1.0
    return leak


@pytest.mark.parametrize("away_m", [0.5, 1.0, 3.0])
def test_a_stake_against_the_surface_beside_it_is_the_closed_form(away_m: float) -> None:
    # Dwight 1936 for the rod; beside it, an even leak along a rod from the surface raises the surface by
    # rho/(2 pi L) asinh(L/x) (integral of 1/R over the rod and its image; Sunde 1949). 2 %: the code's rod is thin
    # and its own potential the mean along it, as Dwight's; the probe is 5 cm long.
    length, radius = EQUIPMENT.stake.length_m, EQUIPMENT.stake.diameter_mm / 2000
    xy = np.add(MODEL.electrodes[-1].xy_m, (away_m, 0.0))
    rows = touch_rows(MODEL, [STAKE], [xy], frequency_hz=LOW_HZ, resistivity_ohm_m=RHO, soil=SOIL)
    surface = RHO / (2 * math.pi * length) * math.asinh(length / away_m)
    expected = rod_resistance(length, radius, RHO) - surface
    assert rows.volts(leak_of(STAKE), LOW_HZ)[0, 0].real == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("away_m", [1.0, 4.0])
def test_a_line_raises_the_surface_as_its_closed_form_says(away_m: float) -> None:
    # an even leak along a level wire of length L at depth h: at the surface over its middle, x to the side,
    # rho/(pi L) asinh(L/(2 R)), R = hypot(x, h) (wire and image coincide there; Sunde 1949). The difference of two
    # places is free of the wire's own potential.
    section = int(MODEL.sections_of("A")[4])
    start, end = MODEL.start_m[section], MODEL.end_m[section]
    middle = (start + end)[:2] / 2 + MODEL.origin_m
    length, depth = float(np.linalg.norm(end - start)), float(start[2])
    places = [np.add(middle, (0.0, x)) for x in (0.5, away_m)]
    rows = touch_rows(MODEL, [section, section], places, frequency_hz=LOW_HZ, resistivity_ohm_m=RHO, soil=SOIL)
    near, far = rows.volts(leak_of(section), LOW_HZ)[:, 0].real
    surface = [RHO / (math.pi * length) * math.asinh(length / 2 / math.hypot(x, depth)) for x in (0.5, away_m)]
    assert far - near == pytest.approx(surface[0] - surface[1], rel=0.01)


@pytest.mark.parametrize("frequency_hz", [1e3, 33e3])
def test_far_away_the_voltage_is_the_potential_of_the_node(frequency_hz: float) -> None:
    # identity: 5 km away the surface is remote earth, and the middle of a section has the mean of its two nodes
    found = solved(MODEL, frequency_hz=frequency_hz).solution
    sections = MODEL.sections_of("A")[[0, 5, -1]]
    xy = np.tile(MODEL.origin_m + 5e3, (3, 1))
    rows = touch_rows(MODEL, sections, xy, frequency_hz=frequency_hz, resistivity_ohm_m=RHO, soil=SOIL)
    start = MODEL.layout.start_node[sections]
    middle = (found.node_v[start] + found.node_v[start + 1]) / 2
    assert rows.volts(found.leak_a, frequency_hz) == pytest.approx(middle, rel=2e-3)


def test_rows_of_the_middle_frequency_serve_the_others() -> None:
    # rows at 7 kHz against rows at the tone's own frequency: within 2 % of the largest voltage
    sections = MODEL.sections_of("A")[::4]
    xy = (MODEL.start_m[sections, :2] + MODEL.origin_m) + (0.0, 1.0)
    middle = touch_rows(MODEL, sections, xy, frequency_hz=7e3, resistivity_ohm_m=RHO, soil=SOIL)
    for frequency_hz in (500.0, 100e3):
        leak = solved(MODEL, frequency_hz=frequency_hz).solution.leak_a
        own = touch_rows(MODEL, sections, xy, frequency_hz=frequency_hz, resistivity_ohm_m=RHO, soil=SOIL)
        volts = own.volts(leak, frequency_hz)
        assert np.abs(middle.volts(leak, frequency_hz) - volts).max() < 0.02 * np.abs(volts).max()


def test_rods_added_leave_the_matrices_of_the_others_alone() -> None:
    more = with_rods(MODEL, (Electrode("x", None, (30.0, 4.0), 0.4, 0.007),))
    n = MODEL.n_sections
    z, p = matrices(MODEL, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=SOIL)
    kernel = kernel_of(more, frequency_hz=8e3, resistivity_ohm_m=RHO, soil=SOIL)
    block = kernel.block(np.arange(n), np.arange(n))
    assert more.n_sections == n + 1
    assert more.electrode_node("x") == MODEL.layout.n_nodes
    for got, whole in zip(block, (z, p), strict=True):
        assert np.abs(got - whole).max() < 1e-5 * np.abs(whole).max()


def test_no_rods_is_the_same_model() -> None:
    assert with_rods(MODEL, ()) is MODEL


def test_two_layers_count() -> None:
    # wet soil below a dry top layer takes the current down: stake and surface come nearer to remote earth
    layered = replace(SOIL, top_thickness_m=1.0, lower_ohm_m=10.0)
    xy = [np.add(MODEL.electrodes[-1].xy_m, (1.0, 0.0))]
    one, two = (
        touch_rows(MODEL, [STAKE], xy, frequency_hz=1e3, resistivity_ohm_m=RHO, soil=soil).volts(leak_of(STAKE), 1e3)
        for soil in (SOIL, layered)
    )
    assert 0.8 < abs(two[0, 0]) / abs(one[0, 0]) < 1.0


def test_places_and_sections_must_fit() -> None:
    with pytest.raises(DomainError, match="one place on the surface for each of 2 sections, got 1"):
        touch_rows(MODEL, [0, 1], [(0.0, 0.0)], frequency_hz=1e3, resistivity_ohm_m=RHO, soil=SOIL)


def test_strange_sections_are_refused() -> None:
    with pytest.raises(DomainError, match=f"got {MODEL.n_sections} "):
        touch_rows(MODEL, [MODEL.n_sections], [(0.0, 0.0)], frequency_hz=1e3, resistivity_ohm_m=RHO, soil=SOIL)


def test_frequencies_outside_the_method_are_refused() -> None:
    with pytest.raises(DomainError, match="expected a frequency"):
        touch_rows(MODEL, [0], [(0.0, 0.0)], frequency_hz=1.0, resistivity_ohm_m=RHO, soil=SOIL)


def test_voltages_add_up() -> None:
    # superposition: the rows are linear in the leaks
    sections = MODEL.sections_of("A")[:2]
    xy = (MODEL.start_m[sections, :2] + MODEL.origin_m) + (0.0, 1.0)
    rows = touch_rows(MODEL, sections, xy, frequency_hz=1e3, resistivity_ohm_m=RHO, soil=SOIL)
    one, other = leak_of(int(sections[0])), leak_of(STAKE)
    both = rows.volts(2 * one - 1j * other, 1e3)
    assert both == pytest.approx(2 * rows.volts(one, 1e3) - 1j * rows.volts(other, 1e3), rel=1e-9)


def test_short_leaks_cost_no_digit_that_counts() -> None:
    # kept as complex64, as solutions are: 1e-5 of the largest voltage
    found = solved(MODEL, frequency_hz=1e3).solution
    sections = MODEL.sections_of("A")
    xy = (MODEL.start_m[sections, :2] + MODEL.origin_m) + (0.0, 1.0)
    rows = touch_rows(MODEL, sections, xy, frequency_hz=1e3, resistivity_ohm_m=RHO, soil=SOIL)
    full, short = (rows.volts(leak, 1e3) for leak in (found.leak_a, found.leak_a.astype(np.complex64)))
    assert np.abs(full - short).max() < 1e-5 * np.abs(full).max()


def test_a_jacket_keeps_the_metal_off_the_soil() -> None:
    # the same leak through the coating of a cable and from a bare pipe: the coating's drop comes on top
    cable, pipe = int(MODEL.sections_of("A")[3]), int(MODEL.sections_of("B")[3])
    places = [(MODEL.start_m[k, :2] + MODEL.origin_m) + (1.0, 1.0) for k in (cable, pipe)]
    rows = touch_rows(MODEL, [cable, pipe], places, frequency_hz=1e3, resistivity_ohm_m=RHO, soil=SOIL)
    jacketed, bare = abs(rows.volts(leak_of(cable), 1e3)[0, 0]), abs(rows.volts(leak_of(pipe), 1e3)[1, 0])
    coating = abs(1 / (MODEL.conductors[0].leakage(1e3) * np.linalg.norm(MODEL.end_m[cable] - MODEL.start_m[cable])))
    assert jacketed > 0.9 * coating > bare
