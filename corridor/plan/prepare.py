"""From records and chosen hook-ups to a model that can be solved: growth, soil, stakes and drives."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.couplings.model import Couplings
from corridor.network.model import Network
from corridor.network.part import part_of
from corridor.network.reach import grow, reach_graph
from corridor.settings import Equipment, Settings
from corridor.site import Site
from corridor.tone.assemble import Placement, build_model
from corridor.tone.cases import soil_range
from corridor.tone.drive import Drive, place
from corridor.tone.hookup import HookUp
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import ToneSolution

__all__ = ["Prepared", "hookup_of", "leaving_share", "prepare"]


@dataclass(frozen=True)
class Prepared:
    """A model with the hook-ups placed on it, and how far it reaches."""

    model: ToneModel
    drives: tuple[Drive, ...]
    soil: SoilRange
    reach_m: float
    cut_nodes: tuple[str, ...]


def hookup_of(row: pd.Series) -> HookUp:
    """Return the hook-up that a row of the table ``hookups`` stands for."""
    stake = None if pd.isna(row["stake_x_m"]) else (float(row["stake_x_m"]), float(row["stake_y_m"]))
    structure = None if pd.isna(row["structure_id"]) else str(row["structure_id"])
    return HookUp(row["mode"], str(row["line_id"]), structure, float(row["at_m"]), stake)


def prepare(
    site: Site,
    hookups: Sequence[HookUp],
    names: Sequence[str],
    *,
    seeds: set[str],
    couplings: Couplings,
    network: Network,
    frequency_max_hz: float,
    equipment: Equipment,
    settings: Settings,
) -> Prepared:
    """Grow the network from the seeds, cut it into sections and place the hook-ups.

    Parameters
    ----------
    site : Site
        The records.
    hookups : sequence of HookUp
        With ``at_m`` filled.
    names : sequence of str
        Their ids.
    seeds : set of str
        line_id of the lines from which the network grows.
    couplings, network
        Of the whole site.
    frequency_max_hz : float
        Bounds the section lengths.
    equipment, settings
        Stake, loop and solver settings.

    Returns
    -------
    Prepared

    Raises
    ------
    HookUpError
        If a hook-up's line carries no tone.
    """
    solver = settings.solver
    graph = reach_graph(network, couplings)
    distance, step = solver.growth_step_m, solver.growth_step_m
    lengths = network.spans.set_index("span_id").geometry.length
    grown = grow(network, couplings, sorted(seeds), distance_m=distance, graph=graph)
    while grown.cut_nodes and distance < solver.growth_max_m:
        wider = grow(network, couplings, sorted(seeds), distance_m=distance + step, graph=graph)
        if lengths.loc[list(wider.spans)].sum() / 2.0 > solver.section_limit:  # sections are about 2 m
            break
        grown, distance, step = wider, distance + step, 2 * step
    part = part_of(network, grown.spans.keys())
    lines = site.lines[site.lines["line_id"].isin(grown.lines)]
    soil = soil_range(site.soil, lines, settings.soil)
    geometry = site.lines.set_index("line_id").geometry
    stakes, leads = {}, []
    for name, hookup in zip(names, hookups, strict=True):
        line = geometry.loc[hookup.line_id]
        if hookup.mode == "direct" and hookup.far_end != "returned":
            stakes[f"stake|{name}"] = hookup.stake_xy or _square_stake(hookup, line, settings)
        if hookup.mode == "direct" and hookup.far_end == "grounded" and hookup.at_m is not None:
            far = 0.0 if hookup.at_m > line.length / 2 else line.length
            point = line.interpolate(far)
            stakes[f"far|{name}"] = (point.x, point.y)
            leads.append((f"far|{name}", hookup.line_id, far))
    model = build_model(
        part,
        lines,
        frequency_max_hz=frequency_max_hz,
        soil=soil,
        settings=settings,
        placement=Placement(stakes, equipment.stake, tuple(leads)),
    )
    drives = tuple(
        place(
            model,
            hookup,
            geometry.loc[hookup.line_id],
            stake=f"stake|{name}" if f"stake|{name}" in stakes else None,
            equipment=equipment,
        )
        for name, hookup in zip(names, hookups, strict=True)
    )
    return Prepared(model, drives, soil, distance, grown.cut_nodes)


def _square_stake(hookup: HookUp, line: gpd.GeoSeries, settings: Settings) -> tuple[float, float]:
    """Return a stake square to the line at the settings' distance, where the hook-up names none."""
    at = hookup.at_m or 0.0
    here, there = line.interpolate(max(at - 0.1, 0.0)), line.interpolate(min(at + 0.1, line.length))
    along = np.array([there.x - here.x, there.y - here.y])
    along /= np.hypot(*along)
    point = line.interpolate(at)
    distance = settings.hookups.stake_distance_m
    return point.x - along[1] * distance, point.y + along[0] * distance


def leaving_share(solution: ToneSolution, cut_nodes: Sequence[str]) -> float:
    """Return the largest share of a hook-up current that stands where the network solved was cut; nominal case."""
    model = solution.model
    nodes = [model.node_of[name] for name in cut_nodes if name in model.node_of]
    if not nodes:
        return 0.0
    section = np.searchsorted(model.layout.start_node, nodes, side="right") - 1
    lowest = solution.results[solution.frequencies_hz[0], solution.cases[0].name]
    return float(np.abs(lowest.current_a[section]).max(initial=0.0))
