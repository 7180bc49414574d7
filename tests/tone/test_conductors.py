"""Conductors from records: which metal carries the tone, and overrides."""

import math
from typing import Any

import pytest

from corridor.errors import DomainError
from corridor.tone.conductors import CARRIERS, carrier, conductor, conductors, propagation_per_m
from tests.builders import make_lines

PIPE = {"line_id": "P", "asset": "pipe", "material": "steel", "diameter_mm": 100.0}
CABLE = {"line_id": "E", "asset": "cable", "material": "copper", "diameter_mm": 30.0}


def test_a_pipe_is_a_tube_of_its_metal() -> None:
    got = conductor(PIPE | {"wall_mm": 4.0})
    assert (got.radius_m, got.wall_m, got.cover) == (0.05, 0.004, None)
    assert math.isinf(got.leakage(1e3).real)


def test_a_thick_wall_is_solid() -> None:
    assert conductor(PIPE | {"wall_mm": 50.0}).wall_m is None


def test_a_coated_pipe_leaks_less_than_bare() -> None:
    got = conductor(PIPE | {"coating": "polyethylene"})
    assert got.outer_radius_m > got.radius_m
    assert 0 < abs(got.leakage(1e3)) < 1.0


def test_a_cable_without_sheath_is_the_wire_of_its_cross_section() -> None:
    got = conductor(CABLE | {"conductor_mm2": 10.0})
    assert math.pi * got.radius_m**2 == pytest.approx(10e-6)
    assert got.wall_m is None


def test_a_larger_conductor_is_stranded_wider_than_its_metal_and_no_better() -> None:
    got = conductor(CABLE | {"conductor_mm2": 100.0})
    assert math.pi * got.radius_m**2 == pytest.approx(100e-6 / 0.76)  # fill
    assert got.series(0.0).real == pytest.approx(1.02 * 1.7241e-8 / 100e-6)  # lay


def test_a_sheath_carries_the_tone_of_a_cable() -> None:
    got = conductor(CABLE | {"sheath": "lead", "conductor_mm2": 100.0})
    assert (got.radius_m, got.wall_m) == (0.015, 0.0015)
    assert got.resistivity_ohm_m > conductor(CABLE).resistivity_ohm_m


def test_a_tracer_wire_carries_the_tone_of_a_plastic_pipe() -> None:
    got = conductor(PIPE | {"material": "polyethylene", "tracer_wire": "yes"})
    assert got.radius_m < 0.002
    assert got.cover is not None


def test_neither_diameter_nor_cross_section_is_refused() -> None:
    with pytest.raises(DomainError, match="line P: need diameter_mm or conductor_mm2"):
        conductor(PIPE | {"diameter_mm": None})


@pytest.mark.parametrize("frequency", [100.0, 10e3])
def test_overrides_replace_what_is_calculated(frequency: float) -> None:
    given: dict[str, Any] = {"series_ohm_per_km": 2.0, "leakage_s_per_km": 0.5, "capacitance_nf_per_km": 100.0}
    got, plain = conductor(CABLE | given), conductor(CABLE)
    assert got.series(frequency).real == pytest.approx(0.002)
    assert got.series(frequency).imag == plain.series(frequency).imag
    assert got.leakage(frequency) == pytest.approx(0.0005 + 2j * math.pi * frequency * 1e-10)


def test_conductors_are_keyed_by_line() -> None:
    lines = make_lines([{"line_id": "a", "geometry": [(0, 0), (1, 0)]}, {"line_id": "b", "geometry": [(0, 1), (1, 1)]}])
    got = conductors(lines)
    assert list(got) == ["a", "b"]
    assert got["b"].line_id == "b"


def test_bare_metal_propagates_in_less_distance_than_coated() -> None:
    gamma = [
        propagation_per_m(0.001 + 0j, leak, radius_m=0.05, frequency_hz=1e4, resistivity_ohm_m=100.0)
        for leak in (complex(math.inf), 1e-5 + 0j, 0j)
    ]
    assert gamma[0] > gamma[1] > gamma[2] == 0.0


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        (PIPE, "pipe wall"),
        (PIPE | {"material": "pvc", "tracer_wire": "yes"}, "tracer wire"),
        ({"line_id": "T", "asset": "tracer_wire"}, "tracer wire"),
        (CABLE, "wire"),
        (CABLE | {"sheath": "lead"}, "sheath"),
        (CABLE | {"sheath": "lead", "sheath_bonding": "both_ends"}, "sheath"),
        (CABLE | {"sheath": "lead", "sheath_bonding": "one_end"}, "sheath"),
        (CABLE | {"sheath": "lead", "sheath_bonding": "cross"}, "sheath"),
        (CABLE | {"sheath": "lead", "sheath_bonding": "none"}, "core"),
        (CABLE | {"sheath": "none", "sheath_bonding": "none"}, "wire"),
        ({"line_id": "R", "asset": "rail", "material": "steel", "diameter_mm": 100.0}, "pipe wall"),
        ({"line_id": "F", "asset": "fence", "conductor_mm2": 5.0}, "wire"),
        (PIPE | {"material": "reinforced_concrete"}, "reinforcement"),
    ],
)
def test_the_record_tells_what_carries_the_tone(row: dict[str, Any], kind: str) -> None:
    assert carrier(row) == kind
    assert kind in CARRIERS
    assert conductor(row).series(1e3).real > 0


def test_the_core_in_an_open_sheath_lies_deep_in_dielectric() -> None:
    sheathed = CABLE | {"sheath": "lead", "conductor_mm2": 50.0}
    sheath, core = (conductor(sheathed | {"sheath_bonding": word}) for word in ("both_ends", "none"))
    assert core.radius_m < sheath.radius_m
    assert core.outer_radius_m == pytest.approx(sheath.outer_radius_m)
    assert abs(core.leakage(1e3)) < 0.2 * abs(sheath.leakage(1e3))


def test_a_tracer_wire_of_its_own_keeps_its_metal() -> None:
    wire = {"line_id": "T", "asset": "tracer_wire", "conductor_mm2": 2.0}
    clad, copper = (conductor(wire | {"material": name}) for name in ("copper_clad_steel", "copper"))
    assert clad.series(0.0).real > 4 * copper.series(0.0).real


@pytest.mark.parametrize(("joints", "more_ohm"), [("welded", 0.0), ("bonded", 3e-4), ("gasketed", 0.0), (None, 0.0)])
def test_joints_that_conduct_add_their_resistance(joints: str | None, more_ohm: float) -> None:
    # the others are elements between sections
    row = PIPE | {"wall_mm": 4.0, "joint_spacing_m": 6.0}
    more = conductor(row | {"joints": joints}).series(1e3) - conductor(row).series(1e3)
    assert more == pytest.approx(more_ohm / 6.0)


def test_joints_of_a_pipe_add_nothing_to_its_tracer_wire() -> None:
    assert conductor(PIPE | {"material": "pvc", "tracer_wire": "yes", "joints": "bonded"}).joint_ohm_per_m == 0.0


def test_a_cage_of_bars_is_narrower_than_its_pipe_and_worse_than_a_steel_wall() -> None:
    row = PIPE | {"material": "reinforced_concrete", "diameter_mm": 600.0}
    cage, wall = conductor(row), conductor(row | {"material": "steel"})
    assert cage.bars == 9  # 0.275 m circle, a bar every 0.2 m
    assert 0.5 * 0.275 < cage.radius_m < 0.275
    assert cage.outer_radius_m == 0.3
    assert cage.series(1e3).real > 10 * wall.series(1e3).real
    assert math.isfinite(abs(cage.leakage(1e3)))
