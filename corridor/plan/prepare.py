"""From records and chosen hook-ups to a model that can be solved: couplings, growth, soil, stakes and drives."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import geopandas as gpd
import networkx as nx
import pandas as pd
from shapely import MultiPolygon, Polygon

from corridor.couplings import find_couplings
from corridor.couplings.model import Couplings
from corridor.errors import EquipmentError
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.network.part import part_of
from corridor.network.reach import Growth, grow, reach_graph
from corridor.plan.hookups import find_hookups
from corridor.plan.stakes import Staking, stake_name, stake_out, without_lifted
from corridor.plan.too_long import too_long
from corridor.settings import Equipment, Settings
from corridor.site import Site
from corridor.tone.assemble import build_model
from corridor.tone.budget import refuse_beyond_memory
from corridor.tone.cases import soil_range
from corridor.tone.drive import Drive, place
from corridor.tone.hookup import HookUp
from corridor.tone.leaving import leaving_share, share_of_solution, with_tails
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import ToneSolution

__all__ = ["Connected", "Prepared", "connect", "hookup_of", "prepare", "refuse_low_induction"]

SECTION_GUESS_M = 2.0  # mean length, to foresee how many sections a growth needs


@dataclass(frozen=True)
class Connected:
    """What a site's records connect: couplings, the network of all lines, and the table ``hookups``.

    ``joined`` names for each line those that metal joins to it at a junction.
    """

    site: Site
    couplings: Couplings
    network: Network
    hookups: gpd.GeoDataFrame
    joined: dict[str, set[str]]

    @cached_property
    def reach(self) -> nx.Graph[Hashable]:
        """The graph that growth runs on, made on first use: growths of all windows share it."""
        return reach_graph(self.network, self.couplings)


@dataclass(frozen=True)
class Prepared:
    """A model with the hook-ups placed on it, and how far it reaches.

    ``reach_m`` is the distance grown along metal from the seeds; ``cuts`` are the solver nodes where metal goes on
    beyond it, and ``leaving_share`` the largest share of a hook-up current that leaves there: NaN where it could change
    nothing, until ``looked_at`` reads it from the solution. ``stopped`` says that the limit of sections or distance
    ended the growth before the share was small enough. ``notes`` are sentences on stakes and lifted grounds that belong
    beside every result.
    """

    model: ToneModel
    drives: tuple[Drive, ...]
    soil: SoilRange
    reach_m: float
    cuts: tuple[int, ...]
    leaving_share: float
    stopped: bool
    notes: tuple[str, ...] = ()

    @property
    def watched(self) -> tuple[int, ...]:
        """Nodes whose potentials the solution must keep for ``looked_at``."""
        return self.cuts if math.isnan(self.leaving_share) else ()

    def looked_at(self, solution: ToneSolution, *, settings: Settings) -> Prepared:
        """Return it with the share that leaves, from a solution that kept ``watched``, where it isn't known yet."""
        if not math.isnan(self.leaving_share):
            return self
        share = share_of_solution(solution, self.cuts)
        return replace(self, leaving_share=share, stopped=share > settings.solver.leaving_share)

    def reach_text(self) -> str:
        """Return how far the network solved reaches, in words."""
        if not self.cuts:
            return "the network solved is all that the records join to the targets, nothing is cut off"
        text = f"the network solved reaches {self.reach_m:.0f} m out; {self.leaving_share:.1%} of the output leaves it"
        return f"{text} (stopped at the settings' limit)" if self.stopped else text


def connect(
    site: Site,
    *,
    equipment: Equipment,
    settings: Settings,
    lines: Iterable[str] | None = None,
    area: Polygon | MultiPolygon | None = None,
) -> Connected:
    """Find couplings, build the network and find the hook-ups of a site.

    Parameters
    ----------
    site : Site
        The records.
    equipment, settings
        What can be connected, and the thresholds.
    lines : iterable of str, optional
        Targets; their hook-ups and those of the lines joined to them are found, but none on a line joined that is too
        long to be solved. Default every conductive line.
    area : Polygon or MultiPolygon, optional
        Keep only hook-ups in here, or as near to it as the settings allow.

    Returns
    -------
    Connected
    """
    couplings = find_couplings(site, settings=settings)
    network = build_network(site, couplings.bonds_found, settings=settings)
    joined: dict[str, set[str]] = defaultdict(set)
    junctions = network.links[network.links["kind"] == "junction"]
    for a, b in zip(junctions["line_a"], junctions["line_b"], strict=True):
        joined[a].add(b)
        joined[b].add(a)
    wanted = None
    if lines is not None:
        asked = {str(line) for line in lines}
        beyond = set(site.lines["line_id"][too_long(site.lines, settings.solver)])
        wanted = sorted(asked | ({name for line in asked for name in joined.get(line, ())} - beyond))
    hookups = find_hookups(
        site,
        couplings.bonds_found,
        equipment=equipment,
        settings=settings,
        network=network,
        lines=wanted,
        area=None if area is None else area.buffer(settings.hookups.beyond_area_m),
    )
    return Connected(site, couplings, network, hookups, dict(joined))


def hookup_of(row: pd.Series) -> HookUp:
    """Return the hook-up that a row of the table ``hookups`` stands for."""
    stake = None if pd.isna(row["stake_x_m"]) else (float(row["stake_x_m"]), float(row["stake_y_m"]))
    structure = None if pd.isna(row["structure_id"]) else str(row["structure_id"])
    change, bond = row.get("owner_change"), row.get("opened_bond")
    return HookUp(
        row["mode"],
        str(row["line_id"]),
        structure,
        float(row["at_m"]),
        stake,
        far_end="open" if pd.isna(row.get("far_end")) else row["far_end"],
        lift_ground=not pd.isna(change) and change == "lift_ground",
        opened_bond=None if pd.isna(bond) else str(bond),
    )


def refuse_low_induction(hookup: HookUp, frequency_hz: float, equipment: Equipment) -> None:
    """Raise if the equipment's loop can't be tuned so low.

    Raises
    ------
    EquipmentError
        If an induction hook-up is asked for below the equipment's ``induction_min_hz``.
    """
    if hookup.mode == "induction" and frequency_hz < equipment.induction_min_hz:
        message = (
            f"equipment {equipment.name}: expected {equipment.induction_min_hz:g} Hz or more for induction, "
            f"got {frequency_hz:g} Hz; take a higher frequency, a clamp or a direct connection"
        )
        raise EquipmentError(message)


def prepare(
    connected: Connected,
    hookups: Sequence[HookUp],
    names: Sequence[str],
    *,
    frequencies_hz: Sequence[float],
    equipment: Equipment,
    settings: Settings,
) -> Prepared:
    """Grow the network from the hook-ups' lines, cut it into sections and place the hook-ups.

    It grows until no more than ``settings.solver.leaving_share`` of any hook-up current leaves it, at the lowest and
    the highest frequency of the run, or until the settings' limits. Where the settings let it take one step only, what
    leaves it isn't worked out here.

    Parameters
    ----------
    connected : Connected
        The whole site.
    hookups : sequence of HookUp
        With ``at_m`` filled.
    names : sequence of str
        Their ids.
    frequencies_hz : sequence of float
        Of the run; the highest bounds the section lengths.
    equipment, settings
        Stake, loop and solver settings.

    Returns
    -------
    Prepared

    Raises
    ------
    HookUpError
        If a hook-up's line carries no tone, its stakes stand too close together, or a ground can't be lifted.
    DomainError
        If the lines alone make more sections than memory holds.
    """
    solver = settings.solver
    staking = stake_out(hookups, names, connected.site.lines, equipment=equipment, settings=settings)
    graph = connected.reach  # taking a ground away doesn't change what can be reached
    network, lifted = without_lifted(connected.network, hookups)
    connected = replace(connected, network=network)
    lengths = network.spans.set_index("span_id").geometry.length
    seeds = sorted({hookup.line_id for hookup in hookups})

    def grown(distance_m: float) -> Growth:
        return grow(network, connected.couplings, seeds, distance_m=distance_m, graph=graph)

    limit = max(solver.section_limit, solver.compressed_limit)

    def fits(growth: Growth) -> bool:
        return bool(lengths.loc[list(growth.spans)].sum() / SECTION_GUESS_M <= limit)

    distance = min(solver.growth_step_m, solver.growth_max_m)
    growth = grown(distance)
    # no section is longer: so many there are at least, and cutting a line of thousands of kilometres takes its time
    least = math.ceil(lengths.loc[list(growth.spans)].sum() / solver.section_max_m)
    refuse_beyond_memory(least, solver, workers=solver.workers if least <= solver.section_limit else 1)
    while True:
        model, drives, soil = _placed(
            connected, growth, hookups, names, staking=staking, frequencies_hz=frequencies_hz,
            equipment=equipment, settings=settings,
        )  # fmt: skip
        cuts = tuple(model.node_of[name] for name in growth.cut_nodes if name in model.node_of)
        notes = (*lifted, *staking.notes)
        if solver.growth_step_m >= solver.growth_max_m:
            return Prepared(model, drives, soil, distance, cuts, math.nan, stopped=False, notes=notes)
        share = leaving_share(
            model, drives, cuts, frequencies_hz=(min(frequencies_hz), max(frequencies_hz)), soil=soil,
            equipment=equipment,
        )  # fmt: skip
        wider_m = min(2 * distance, solver.growth_max_m)
        enough = share <= solver.leaving_share
        if enough or wider_m <= distance or not fits(wider := grown(wider_m)):
            return Prepared(model, drives, soil, distance, cuts, share, not enough, notes)
        growth, distance = wider, wider_m


def _placed(
    connected: Connected,
    growth: Growth,
    hookups: Sequence[HookUp],
    names: Sequence[str],
    *,
    staking: Staking,
    frequencies_hz: Sequence[float],
    equipment: Equipment,
    settings: Settings,
) -> tuple[ToneModel, tuple[Drive, ...], SoilRange]:
    """Return the model of what has grown, with the hook-ups on it, and its soil."""
    site = connected.site
    lines = site.lines[site.lines["line_id"].isin(growth.lines)]
    soil = soil_range(site.soil, lines, settings.soil)
    part = part_of(connected.network, growth.spans.keys())
    part = with_tails(
        part, growth.cut_nodes, lines, frequency_hz=math.sqrt(min(frequencies_hz) * max(frequencies_hz)), soil=soil
    )
    geometry = site.lines.set_index("line_id").geometry
    model = build_model(
        part,
        lines,
        frequency_max_hz=max(frequencies_hz),
        soil=soil,
        settings=settings,
        placement=staking.placement,
    )
    drives = tuple(
        place(
            model,
            hookup,
            geometry.loc[hookup.line_id],
            stake=stake_name(name) if stake_name(name) in staking.placement.stakes else None,
            equipment=equipment,
        )
        for name, hookup in zip(names, hookups, strict=True)
    )
    return model, drives, soil
