"""A redrawn network: what moves, what stays, and that a draw of nothing changes nothing."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.draws import Draws, Redrawn, draw, redrawn, unknowns_of
from corridor.settings import DrawSettings
from corridor.tone.stations import set_stations
from tests.draws.conftest import Open


def drawn(opened: Open, count: int = 8, geometries: int = 4) -> Draws:
    prepared = opened.prepared
    found = unknowns_of(prepared.model, prepared.soil, opened.site.lines, settings=DrawSettings())
    return draw(found, count=count, geometries=geometries, seed=3)


def still(opened: Open) -> Draws:
    """Draws in which every unknown has its recorded value."""
    table = drawn(opened)
    elements = opened.prepared.model.elements
    as_recorded = [
        float(elements[u.index].closed) if u.switches else 0.0 if u.kind == "position" else 1.0 for u in table.unknowns
    ]
    return replace(table, value=np.tile(as_recorded, (len(table.value), 1)))


def made(opened: Open, table: Draws, geometry: int = 0) -> Redrawn:
    return redrawn(opened.prepared.model, opened.prepared.soil, table, geometry)


def test_recorded_values_give_the_recorded_network(opened: Open) -> None:
    model, again = opened.prepared.model, made(opened, still(opened))
    assert np.array_equal(model.start_m, again.model.start_m)
    assert again.soil.nominal_ohm_m == opened.prepared.soil.nominal_ohm_m
    assert [c.leakage(1e4) for c in model.conductors] == [c.leakage(1e4) for c in again.model.conductors]
    assert all((state == [e.closed for e in model.elements]).all() for state in again.model.states.values())


def test_lines_move_as_a_whole_square_to_themselves_and_grounds_stay(opened: Open) -> None:
    model, table = opened.prepared.model, drawn(opened)
    again = made(opened, table)
    rods = model.electrode_mask
    moved = again.model.start_m - model.start_m
    assert np.array_equal(moved[rods], np.zeros_like(moved[rods]))
    for number, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        wanted = next(
            table.value[0, k] for k, u in enumerate(table.unknowns) if u.kind == "position" and u.index == number
        )
        assert moved[own, 0] == pytest.approx(0.0)  # the lines run along x
        assert moved[own, 1] == pytest.approx(wanted)


def test_depths_scale_by_line(opened: Open) -> None:
    model, again = opened.prepared.model, made(opened, drawn(opened))
    for number, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        assert again.model.start_m[own, 2] == pytest.approx(model.start_m[own, 2] * again.depth_factor[number])
    assert np.ptp(again.depth_factor) > 0


def test_electrodes_scale_with_the_soil_and_their_own_factor(opened: Open) -> None:
    table = drawn(opened)
    again = made(opened, table)
    soil = again.soil.nominal_ohm_m / opened.prepared.soil.nominal_ohm_m
    for unknown, value in zip(table.unknowns, table.value[0], strict=True):
        if unknown.kind == "ground resistance":
            before = opened.prepared.model.electrodes[unknown.index].resistance_ohm
            assert again.model.electrodes[unknown.index].resistance_ohm == pytest.approx(before * soil * value)


def test_stations_go_with_their_line(opened: Open) -> None:
    again = made(opened, drawn(opened))
    line = opened.site.lines.set_index("line_id").geometry["A"]
    stations = set_stations("A", line, depth_m=1.0, spacing_m=10.0)
    moved, number = again.moved(stations), again.model.line_ids.index("A")
    assert moved.xy_m == pytest.approx(stations.xy_m + again.shift_m[number])
    assert moved.depth_m == pytest.approx(again.depth_factor[number])


def test_states_hold_what_the_draws_say(opened: Open) -> None:
    table = drawn(opened)
    for geometry in range(4):
        again = made(opened, table, geometry)
        assert set(again.model.states) == {f"draw {k}" for k in table.members(geometry)}
        for k in table.members(geometry):
            for unknown, value in zip(table.unknowns, table.value[k], strict=True):
                if unknown.switches:
                    assert again.model.states[f"draw {k}"][unknown.index] == bool(value)
