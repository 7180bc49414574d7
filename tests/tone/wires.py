"""A few buried wires as a solver's model: one fed, one bonded to it, one beside it, with a ground at the far end."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from corridor.couplings import find_bonds
from corridor.network import build_network
from corridor.settings import Equipment, Settings, SolverSettings, load_equipment
from corridor.tone.assemble import Placement, build_model
from corridor.tone.cases import element_ohms
from corridor.tone.drive import Drive, place, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.hookup import HookUp
from corridor.tone.layout import Solution
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import matrices
from corridor.tone.tree import factorise
from tests.builders import make_site

SOIL = SoilRange(100.0, 20.0, 1000.0, 10.0, "records")
EQUIPMENT: Equipment = load_equipment(None)
COARSE = Settings(solver=SolverSettings(section_max_m=6.0, section_close_m=2.0))
LINES: tuple[dict[str, Any], ...] = (
    {"line_id": "A", "geometry": [(0, 0), (60, 0)]},
    {"line_id": "B", "geometry": [(60, 3), (60, 50)], "utility": "water", "asset": "pipe", "material": "steel"},
    {"line_id": "C", "geometry": [(0, -0.6), (60, -0.6)], "utility": "telecom"},
)
BONDS = ({"bond_id": "b1", "line_a": "A", "line_b": "B", "state": "closed", "evidence": "recorded"},)
GROUNDS = ({"ground_id": "g1", "line_id": "A", "geometry": (60, 0), "evidence": "recorded", "resistance_ohm": 20.0},)
STAKE = Placement({"stake": (-1.0, 5.0)}, EQUIPMENT.stake)
FEED = HookUp("direct", "A", at_m=0.0)


def wires(*, placement: Placement | None = STAKE, soil: SoilRange = SOIL, **tables: Any) -> ToneModel:
    """The model of the wires above; a keyword replaces a table."""
    site = make_site(**{"lines": LINES, "bonds": BONDS, "grounds": GROUNDS} | tables)
    network = build_network(site, find_bonds(site))
    return build_model(network, site.lines, frequency_max_hz=33e3, soil=soil, settings=COARSE, placement=placement)


def shape_of(line_id: str) -> Any:
    """The line in plan."""
    lines = make_site(lines=LINES).lines.set_index("line_id")
    return lines.geometry[line_id]


def placed(model: ToneModel, hookup: HookUp = FEED) -> Drive:
    """The hook-up on the model."""
    return place(model, hookup, shape_of(hookup.line_id), stake="stake", equipment=EQUIPMENT)


@dataclass(frozen=True)
class Solved:
    """One hook-up solved, with all that gave the solution."""

    solution: Solution
    system: tuple[Any, Any, Any]
    source: tuple[Any, Any]
    drive: Drive


def solved(model: ToneModel, hookup: HookUp = FEED, *, frequency_hz: float = 8e3) -> Solved:
    """Solve one hook-up in the nominal case."""
    drive = placed(model, hookup)
    z, p = matrices(model, frequency_hz=frequency_hz, resistivity_ohm_m=SOIL.nominal_ohm_m, soil=SOIL)
    ohms = element_ohms(model, "nominal", frequency_hz)
    gamma = propagation_constant(SOIL.nominal_ohm_m, frequency_hz, relative_permittivity=SOIL.relative_permittivity)
    source = unit_sources(model, [drive], frequency_hz=frequency_hz, gamma_per_m=gamma)
    return Solved(factorise(model.layout, z, p, ohms).solve(*source), (z, p, ohms), source, drive)


def peak_of(model: ToneModel, solution: Solution, line_id: str) -> complex:
    """The current of a line where it is largest."""
    current = solution.current_a[model.sections_of(line_id), 0]
    return complex(current[np.abs(current).argmax()])
