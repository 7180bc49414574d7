"""Draws solved: against the network built anew with the drawn values, and the stake's contact in series."""

import math
from dataclasses import replace

import numpy as np
import pytest

from corridor.draws import DrawnSite, Draws, draw, solve_geometry, unknowns_of
from corridor.settings import DrawSettings
from corridor.tone.cases import Case
from corridor.tone.electrodes import rod_resistance
from corridor.tone.solve import solve_tone
from tests.draws.conftest import EQUIPMENT, Open
from tests.plan.conftest import SETTINGS

FREQUENCIES_HZ = EQUIPMENT.common_frequencies_hz


@pytest.fixture(scope="module")
def table(opened: Open) -> Draws:
    prepared = opened.prepared
    found = unknowns_of(prepared.model, prepared.soil, opened.site.lines, settings=DrawSettings())
    return draw(found, count=6, geometries=2, seed=5)


@pytest.fixture(scope="module")
def solved(opened: Open, table: Draws) -> DrawnSite:
    return asked(opened, table)


def asked(opened: Open, table: Draws, geometry: int = 0) -> DrawnSite:
    prepared = opened.prepared
    return solve_geometry(
        prepared.model,
        prepared.drives,
        table,
        geometry,
        frequencies_hz=FREQUENCIES_HZ,
        soil=prepared.soil,
        equipment=EQUIPMENT,
        solver=SETTINGS.solver,
    )


def test_each_draw_is_the_network_with_its_values(opened: Open, solved: DrawnSite, table: Draws) -> None:
    site = solved.redrawn
    for k in solved.members:
        state = site.model.states[f"draw {k}"]
        elements = [replace(e, closed=bool(on)) for e, on in zip(site.model.elements, state, strict=True)]
        fresh = solve_tone(
            replace(site.model, elements=tuple(elements)),
            opened.prepared.drives,
            [Case("nominal", "nominal", "nominal")],
            frequencies_hz=FREQUENCIES_HZ,
            soil=site.soil,
            equipment=EQUIPMENT,
        )
        for frequency in FREQUENCIES_HZ:
            ours, theirs = solved.solution.results[frequency, f"draw {k}"], fresh.results[frequency, "nominal"]
            scale = np.abs(theirs.current_a).max(axis=0)
            assert (np.abs(ours.current_a - theirs.current_a) <= 1e-5 * scale).all()


def test_the_stakes_contact_adds_to_the_loop_and_to_nothing_else(opened: Open, solved: DrawnSite, table: Draws) -> None:
    (column,) = [k for k, unknown in enumerate(table.unknowns) if unknown.kind == "stake"]
    plain = replace(table, value=np.where(np.arange(table.value.shape[1]) == column, 1.0, table.value))
    without = asked(opened, plain)
    rod = next(e for e in solved.redrawn.model.electrodes if e.line_id is None)
    own_ohm = rod_resistance(rod.length_m, rod.radius_m, solved.redrawn.soil.nominal_ohm_m)
    direct = [k for k, drive in enumerate(opened.prepared.drives) if drive.return_node >= 0]
    assert direct
    for k in solved.members:
        for frequency in FREQUENCIES_HZ:
            a, b = (one.solution.results[frequency, f"draw {k}"] for one in (solved, without))
            extra = own_ohm * (table.value[k, column] - 1.0)
            assert a.loop_ohm[direct] - b.loop_ohm[direct] == pytest.approx(np.full(len(direct), extra))
            assert np.array_equal(a.current_a, b.current_a)
            source = EQUIPMENT.transmitter
            limits = (
                source.max_voltage_v / np.abs(a.loop_ohm[direct]),
                np.full(len(direct), source.max_current_ma / 1000),
                np.sqrt(source.max_power_w / a.loop_ohm[direct].real),
            )
            assert a.available_a[direct] == pytest.approx(np.min(limits, axis=0))


def test_a_dry_soil_makes_the_loop_more_resistive(opened: Open, table: Draws) -> None:
    first, second = (asked(opened, table, geometry) for geometry in (0, 1))
    dry, wet = sorted((first, second), key=lambda one: -one.redrawn.soil.nominal_ohm_m)
    direct = next(k for k, drive in enumerate(opened.prepared.drives) if drive.return_node >= 0)

    def loop(one: DrawnSite) -> float:
        return math.fsum(abs(one.solution.results[1000.0, f"draw {k}"].loop_ohm[direct]) for k in one.members)

    assert dry.redrawn.soil.nominal_ohm_m > 1.2 * wet.redrawn.soil.nominal_ohm_m
    assert loop(dry) > loop(wet)
