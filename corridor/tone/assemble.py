"""From a network to the solver's model: lines cut into sections, links and grounds turned into lumped elements."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from corridor.constants import MM_PER_M
from corridor.errors import DomainError
from corridor.network.continuity import may_part
from corridor.network.model import Network
from corridor.settings import Settings, Stake
from corridor.site.materials import joint_types
from corridor.tone.conductors import JOINT_SPACING_M, Conductor, conductors, propagation_per_m
from corridor.tone.electrodes import RADII_MIN, equivalent_rod_length_m, layered_rod_resistance
from corridor.tone.layout import Layout
from corridor.tone.mesh import Piece, Spacing, cut_line, joint_measures
from corridor.tone.model import Electrode, Element, SoilRange, ToneModel

__all__ = ["Placement", "build_model"]

Real = NDArray[np.float64]

ROD_RADIUS_M = 0.008  # 16 mm rod (common practice)
JUNCTION_OHM = 1e-4  # metal to metal (engineering estimate)
CONTACT_OHM = 1e-3  # a bond or a ground lead at least (engineering estimate)
GROUND_OHM = 25.0  # a ground of unknown resistance (from memory: NEC 250.53's limit for one rod)
DEPTH_FLOOR_M = 0.05
RESISTANCE_TOLERANCE = 0.01  # a rod of two parts has the resistance given to within this


@dataclass(frozen=True)
class Placement:
    """Electrodes and leads that hook-ups bring along.

    Attributes
    ----------
    stakes : mapping
        Name to position (x, y in the site's CRS) of each ground stake.
    stake : Stake
        Their length and diameter.
    leads : tuple of (str, str, float)
        Stakes that are connected to a line: stake name, line_id, distance along the line.
    ties : tuple of (str, str)
        Names of stakes that are connected to each other.
    """

    stakes: Mapping[str, tuple[float, float]]
    stake: Stake
    leads: tuple[tuple[str, str, float], ...] = ()
    ties: tuple[tuple[str, str], ...] = ()


@dataclass
class _Builder:
    """Chains, elements and nodes as they are laid down."""

    settings: Settings
    points: list[Real] = field(default_factory=list)
    measures: list[Real] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    depths: list[float] = field(default_factory=list)
    nodes: int = 0
    node_of: dict[str, int] = field(default_factory=dict)
    elements: list[Element] = field(default_factory=list)

    def lay(self, pieces: list[Piece], line: int, row: pd.Series) -> None:
        """Add the pieces of a run as chains, with a joint element between each and the next."""
        for number, piece in enumerate(pieces):
            if number:
                self.elements.append(self._joint(piece, str(row["joints"])))
            self.points.append(piece.xy_m)
            self.measures.append(piece.measure_m)
            self.lines.append(line)
            self.depths.append(max(float(row["depth_m"]), DEPTH_FLOOR_M))
            self.nodes += len(piece.xy_m)

    def _joint(self, piece: Piece, kind: str) -> Element:
        joint = joint_types()[kind]
        return Element(
            kind="joint",
            source_id=f"{piece.line_id}@{piece.measure_m[0]:.2f}",
            line_a=piece.line_id,
            line_b=piece.line_id,
            node_a=self.nodes - 1,
            node_b=self.nodes,
            closed=joint.closed,
            switchable=True,
            closed_ohm=joint.closed_ohm,
            open_ohm=joint.open_ohm,
            open_f=joint.open_f,
            evidence=kind,
        )

    def name_nodes(self, names: list[str], at_m: Real, first_chain: int) -> None:
        """Remember which solver node each network node of a run is."""
        measures = np.concatenate(self.measures[first_chain:])
        start = self.nodes - len(measures)
        for name, measure in zip(names, at_m, strict=True):
            self.node_of[name] = start + int(np.abs(measures - measure).argmin())


def build_model(
    network: Network,
    lines: gpd.GeoDataFrame,
    *,
    frequency_max_hz: float,
    soil: SoilRange,
    settings: Settings,
    placement: Placement | None = None,
) -> ToneModel:
    """Cut a network into sections and place its elements and electrodes.

    Parameters
    ----------
    network : Network
        Spans, links and grounds of the part to be solved.
    lines : GeoDataFrame
        Table ``lines``: depths, materials and joints of the spans' lines.
    frequency_max_hz : float
        Highest frequency of the run; it bounds the section lengths.
    soil : SoilRange
        Its nominal resistivity bounds the section lengths and sizes the rods of given resistance.
    settings : Settings
        Solver part.
    placement : Placement, optional
        Stakes of the hook-ups.

    Returns
    -------
    ToneModel

    Raises
    ------
    DomainError
        If the network holds no conductor.
    """
    if network.spans.empty:
        message = "expected at least one conductor to put tone on, got none"
        raise DomainError(message)
    spans = network.spans.sort_values(["line_id", "start_m"], kind="stable")
    line_ids = tuple(spans["line_id"].unique())
    rows = lines.set_index("line_id", drop=False).loc[list(line_ids)]
    metals = conductors(rows)
    spacing = Spacing(list(rows.geometry), rows["depth_m"].to_numpy(float), settings.solver)
    busy = _busy_measures(network)
    parted = dict(zip(line_ids, may_part(rows), strict=True))
    builder = _Builder(settings)
    for index, (line_id, own) in enumerate(spans.groupby("line_id", sort=True)):
        row = rows.iloc[index]
        gamma = _gamma(metals[line_id], frequency_max_hz, soil)
        for run in _runs(own):
            names, at_m = _run_nodes(run)
            pieces = cut_line(
                index,
                row.geometry,
                at_m,
                joints_m=_joints(row, at_m) if parted[line_id] else np.empty(0),
                busy_m=busy.get(line_id, np.empty(0)),
                gamma_per_m=gamma,
                spacing=spacing,
                settings=settings.solver,
                line_id=str(line_id),
                ends_m=(float(at_m[0]), float(at_m[-1])),
            )
            first_chain = len(builder.points)
            builder.lay(pieces, index, row)
            builder.name_nodes(names, at_m, first_chain)
    electrodes = tuple(
        part for rod in (*_rods(network.grounds, soil), *_stakes(placement)) for part in _parts(rod, soil)
    )
    elements = [
        *builder.elements,
        *_link_elements(network.links, builder.node_of),
        *_ground_elements(network.grounds, builder, electrodes),
    ]
    model = _model(builder, elements, electrodes, metals)
    return _with_leads(model, placement)


def _gamma(metal: Conductor, frequency_hz: float, soil: SoilRange) -> float:
    return propagation_per_m(
        metal.series(frequency_hz),
        metal.leakage(frequency_hz),
        radius_m=metal.outer_radius_m,
        frequency_hz=frequency_hz,
        resistivity_ohm_m=soil.nominal_ohm_m,
    )


def _busy_measures(network: Network) -> dict[str, Real]:
    """Return for each line the measures of the nodes where something is connected."""
    used = {*network.links["node_a"], *network.links["node_b"], *network.grounds["node_id"]}
    nodes = network.nodes[network.nodes["node_id"].isin(used)]
    return {str(line_id): group["at_m"].to_numpy(float) for line_id, group in nodes.groupby("line_id")}


def _runs(spans: pd.DataFrame) -> list[pd.DataFrame]:
    """Part a line's spans into runs that meet end to end."""
    starts, ends = spans["node_start"].to_numpy(), spans["node_end"].to_numpy()
    breaks = np.flatnonzero(starts[1:] != ends[:-1]) + 1
    bounds = [0, *breaks.tolist(), len(spans)]
    return [spans.iloc[a:b] for a, b in pairwise(bounds)]


def _run_nodes(run: pd.DataFrame) -> tuple[list[str], Real]:
    names = [*run["node_start"], run["node_end"].iloc[-1]]
    at_m = np.array([*run["start_m"], run["end_m"].iloc[-1]], dtype=float)
    return names, at_m


def _joints(row: pd.Series, nodes_m: Real) -> Real:
    """Return the measures of a line's joints."""
    spacing_m = float(row["joint_spacing_m"]) if pd.notna(row["joint_spacing_m"]) else JOINT_SPACING_M
    clear_m = min(0.5, spacing_m / 4)
    return joint_measures(row.geometry.length, spacing_m, keep_clear=nodes_m, clear_m=clear_m)


def _rods(grounds: gpd.GeoDataFrame, soil: SoilRange) -> list[Electrode]:
    """Return the grounds as rods whose length gives their resistance in the nominal soil."""
    rods = []
    for row in grounds.to_dict("records"):
        given = row["resistance_ohm"]
        ohm = GROUND_OHM if given is None or math.isnan(given) else float(given)
        rods.append(
            Electrode(
                name=str(row["ground_id"]),
                line_id=str(row["line_id"]),
                xy_m=(row["geometry"].x, row["geometry"].y),
                length_m=equivalent_rod_length_m(
                    ohm,
                    ROD_RADIUS_M,
                    soil.nominal_ohm_m,
                    top_thickness_m=soil.top_thickness_m,
                    lower_ohm_m=soil.lower_ohm_m,
                ),
                radius_m=ROD_RADIUS_M,
                resistance_ohm=ohm,
            )
        )
    return rods


def _stakes(placement: Placement | None) -> list[Electrode]:
    if placement is None:
        return []
    size = placement.stake
    radius = size.diameter_mm / 2 / MM_PER_M
    return [
        Electrode(name=name, line_id=None, xy_m=xy, length_m=size.length_m, radius_m=radius)
        for name, xy in sorted(placement.stakes.items())
    ]


def _parts(rod: Electrode, soil: SoilRange) -> list[Electrode]:
    """Part a rod where a second layer of soil begins, so that each section lies in one layer.

    One section through both would be off by a few per cent to twice its potential (docs). The parts' resistances
    are calculated; a rod whose parts wouldn't have its resistance stays one section, as does one with hardly any of it
    in one of the layers.
    """
    depth, least = soil.top_thickness_m, RADII_MIN * rod.radius_m
    if not least <= depth <= rod.length_m - least:  # false for one soil, too
        return [rod]
    together = layered_rod_resistance(
        rod.length_m, rod.radius_m, soil.nominal_ohm_m, top_thickness_m=depth, lower_ohm_m=soil.lower_ohm_m
    )
    if abs(together - rod.resistance_ohm) > RESISTANCE_TOLERANCE * together:
        return [rod]
    return [
        replace(rod, length_m=depth, resistance_ohm=math.nan),
        replace(rod, top_m=depth, length_m=rod.length_m - depth, resistance_ohm=math.nan),
    ]


def _link_elements(links: pd.DataFrame, node_of: dict[str, int]) -> list[Element]:
    """Return junctions, bonds and isolations between places that are both in the model."""
    elements, isolating = [], joint_types()["isolating_joint"]
    for row in links.to_dict("records"):
        if row["node_a"] not in node_of or row["node_b"] not in node_of:
            continue
        isolation = row["kind"] == "isolation"
        elements.append(
            Element(
                kind=row["kind"],
                source_id=str(row["source_id"] if row["kind"] == "bond" else row["link_id"]),
                line_a=row["line_a"],
                line_b=row["line_b"],
                node_a=node_of[row["node_a"]],
                node_b=node_of[row["node_b"]],
                closed=bool(row["closed"]),
                switchable=bool(row["switchable"]),
                closed_ohm=JUNCTION_OHM if row["kind"] == "junction" else _at_least(row["resistance_ohm"]),
                open_ohm=_number(row["resistance_ohm"], isolating.open_ohm) if isolation else math.inf,
                open_f=_number(row["capacitance_f"], isolating.open_f) if isolation else 0.0,
                evidence=row.get("evidence"),
                probability=float(row["probability"]),
            )
        )
    return [element for element in elements if element.node_a != element.node_b]


def _ground_elements(grounds: gpd.GeoDataFrame, builder: _Builder, electrodes: tuple[Electrode, ...]) -> list[Element]:
    """Return the leads from the lines to their rods, whose nodes stand after the last line node, in their order."""
    heads, node = [], builder.nodes
    for rod in electrodes:
        if rod.top_m == 0.0:
            heads.append(node)
            node += 1
        node += 1
    return [
        Element(
            kind="ground",
            source_id=str(row["ground_id"]),
            line_a=row["line_id"],
            line_b=row["line_id"],
            node_a=builder.node_of[row["node_id"]],
            node_b=heads[number],
            closed=bool(row["closed"]),
            switchable=bool(row["switchable"]),
            closed_ohm=CONTACT_OHM,
            evidence=row.get("evidence"),
            probability=float(row["probability"]),
        )
        for number, row in enumerate(grounds.to_dict("records"))
    ]


def _with_leads(model: ToneModel, placement: Placement | None) -> ToneModel:
    """Connect the stakes that belong to a line's far end, and those that share a hook-up."""
    if placement is None or not (placement.leads or placement.ties):
        return model
    ends = [(name, line_id, model.node_at(line_id, at_m)) for name, line_id, at_m in placement.leads]
    ends += [(name, "", model.electrode_node(first)) for first, name in placement.ties]
    leads = [
        Element(
            kind="ground",
            source_id=name,
            line_a=line_id,
            line_b=line_id,
            node_a=node,
            node_b=model.electrode_node(name),
            closed=True,
            switchable=False,
            closed_ohm=CONTACT_OHM,
        )
        for name, line_id, node in ends
    ]
    return model.with_elements((*model.elements, *leads))


def _model(
    builder: _Builder, elements: list[Element], electrodes: tuple[Electrode, ...], metals: dict[str, Conductor]
) -> ToneModel:
    line_ids = tuple(metals)
    origin = np.floor(np.min([points.min(axis=0) for points in builder.points], axis=0))
    starts, ends, chain, index, measure = [], [], [], [], []
    for number, points in enumerate(builder.points):
        local, count = points - origin, len(points) - 1
        depth = np.full((count, 1), builder.depths[number])
        starts.append(np.hstack([local[:-1], depth]))
        ends.append(np.hstack([local[1:], depth]))
        chain.append(np.full(count, number))
        index.append(np.full(count, builder.lines[number]))
        measure.append(np.column_stack([builder.measures[number][:-1], builder.measures[number][1:]]))
    number = len(builder.points) - 1
    for rod in electrodes:
        x, y = np.asarray(rod.xy_m) - origin
        starts.append(np.array([[x, y, rod.top_m]]))
        ends.append(np.array([[x, y, rod.top_m + rod.length_m]]))
        number += rod.top_m == 0.0
        chain.append(np.array([number]))
        index.append(np.array([line_ids.index(rod.line_id) if rod.line_id in line_ids else -1]))
        measure.append(np.full((1, 2), np.nan))
    layout = Layout(
        np.concatenate(chain), np.array([e.node_a for e in elements]), np.array([e.node_b for e in elements])
    )
    return ToneModel(
        layout=layout,
        start_m=np.concatenate(starts),
        end_m=np.concatenate(ends),
        origin_m=origin,
        line_index=np.concatenate(index).astype(np.int64),
        line_ids=line_ids,
        conductors=tuple(metals.values()),
        electrodes=electrodes,
        measure_m=np.concatenate(measure),
        elements=tuple(elements),
        node_of=builder.node_of,
        solver=builder.settings.solver,
    )


def _number(value: Any, other: float) -> float:
    return other if value is None or math.isnan(value) else float(value)


def _at_least(value: Any) -> float:
    return max(_number(value, 0.01), CONTACT_OHM)
