"""What joins the metal of two lines, edge by edge, each with its evidence: bonds, meetings and continuity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.couplings.bonds import EARTH, PROBABILITY
from corridor.couplings.places import JOINT_REACH_M, isolating_places
from corridor.network.build import CLOSED_FROM, KNOWN
from corridor.network.continuity import continuity, weaker
from corridor.network.isolations import joints
from corridor.network.nodes import MERGE_M
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["LEVELS", "STRENGTH", "Edge", "Metal", "Node", "edge_key", "edge_points", "metal_of"]

LEVELS = ("recorded", "likely", "possible")  # an edge's level is its place in here: the strictest that it joins at
STRENGTH = ("measured", "observed", "recorded", "inferred", "suspected")  # evidence, strongest first
Node = tuple[str, int, float]  # a line, the piece of it between isolating joints, and where on it if it may be parted


@dataclass(frozen=True, kw_only=True)
class Edge:
    """What joins two places of lines.

    ``kind`` is bond, junction (lines that meet) or continuity (along a line whose metal may part); ``level`` counts in
    ``LEVELS``; ``at_a_m`` and ``at_b_m`` are measures along the lines; ``bond_id`` is that of a bond.
    """

    a: Node
    b: Node
    kind: str
    evidence: str
    probability: float
    level: int
    at_a_m: float
    at_b_m: float
    bond_id: str | None = None

    @property
    def edge_id(self) -> str:
        """A name that keeps from run to run."""
        if self.bond_id is not None:
            return f"bond:{self.bond_id}"
        return f"{self.kind}:{self.a[0]}@{self.at_a_m:.3f}:{self.b[0]}@{self.at_b_m:.3f}"

    @property
    def settled(self) -> bool:
        """Whether it is a matter of record that it conducts."""
        return self.level == 0


@dataclass(frozen=True)
class Metal:
    """The metal of a site: its edges, the strongest first, and the length that each place stands for.

    ``length_m`` maps every node to metres; those of one line add up to the line. ``parted`` has structure_id and line
    of each isolating joint with the places on both sides of it, a row per pair.
    """

    edges: tuple[Edge, ...]
    length_m: dict[Node, float]
    parted: tuple[tuple[str, str, Node, Node], ...]


@dataclass
class _Places:
    """Places asked for on lines, as nodes: one a piece of sound metal, one each where the metal may part."""

    length_m: dict[str, float]
    evidence: dict[str, str]
    joints_m: dict[str, list[float]]
    asked: dict[str, set[Node]] = field(default_factory=dict)

    def node(self, line: str, at_m: float) -> Node:
        """Return the node of a place; one at an isolating joint is on the side of the line's start."""
        piece = sum(joint_m + MERGE_M < at_m for joint_m in self.joints_m.get(line, ()))
        return self._kept(line, piece, at_m)

    def beyond(self, node: Node, at_m: float) -> Node:
        """Return the node across the isolating joint that stands at a place; the same where none does."""
        near = any(abs(joint_m - at_m) <= MERGE_M for joint_m in self.joints_m.get(node[0], ()))
        return self._kept(node[0], node[1] + 1, at_m) if near else node

    def _kept(self, line: str, piece: int, at_m: float) -> Node:
        node = (line, piece, 0.0 if self.evidence[line] == "recorded" else at_m)
        self.asked.setdefault(line, set()).add(node)
        return node

    def pieces(self) -> dict[Node, float]:
        """Return the length that every node stands for: up to half-way to the next, or to the joint between."""
        found: dict[Node, float] = {}
        for line, length_m in self.length_m.items():
            cuts = [0.0, *self.joints_m.get(line, ()), length_m]
            nodes = sorted({*self.asked.get(line, ()), *((line, piece, 0.0) for piece in self._empty(line))})
            for piece, (start_m, end_m) in enumerate(pairwise(cuts)):
                here = [node for node in nodes if node[1] == piece]
                middles = [(near[2] + far[2]) / 2 for near, far in pairwise(here)]
                bounds = [start_m, *middles, end_m]
                for node, (near_m, far_m) in zip(here, pairwise(bounds), strict=True):
                    found[node] = max(far_m - near_m, 0.0)
        return found

    def _empty(self, line: str) -> set[int]:
        return set(range(len(self.joints_m.get(line, ())) + 1)) - {node[1] for node in self.asked.get(line, ())}


def metal_of(
    site: Site, lines: gpd.GeoDataFrame, bonds: gpd.GeoDataFrame, *, settings: Settings | None = None
) -> Metal:
    """Return what joins the lines of a site: closed and unsettled bonds, meetings, and metal that may part.

    An open bond, a bond to earth and a meeting at an isolating joint join nothing. An isolating joint inside a line
    parts it into two pieces; a bond from one side of the joint to the other joins them again.

    Parameters
    ----------
    site : Site
    lines : GeoDataFrame
        The conductors of the site, as ``sorted_lines`` gives them.
    bonds : GeoDataFrame
        As ``find_couplings`` gives them.
    settings : Settings, optional
        ``site.snap_m`` is used.
    """
    ids = lines["line_id"].to_numpy(dtype=object)
    known = set(ids)
    inside: dict[str, list[float]] = {}
    stated = [(str(p.structure_id), str(p.line_id), float(p.measure_m))
              for p in isolating_places(site).itertuples(index=False) if p.inside and p.line_id in known]  # fmt: skip
    for _, line, at_m in stated:
        inside.setdefault(line, []).append(at_m)
    places = _Places(
        length_m=dict(zip(ids, lines.geometry.length.to_numpy(), strict=True)),
        evidence=dict(zip(ids, continuity(lines), strict=True)),
        joints_m={line: _apart(measures) for line, measures in inside.items()},
    )
    met = joints(site, lines, snap_m=(settings or Settings()).site.snap_m)
    edges = [_meeting(places, ids, row) for row in met[met["structure_id"].isna()].itertuples(index=False)]
    for row in bonds.itertuples(index=False):
        if row.state != "open" and row.line_b != EARTH and {row.line_a, row.line_b} <= known:
            edges.append(_bond(places, row))
    parted = [*_across(places, stated), *_held_apart(places, ids, met[met["structure_id"].notna()])]
    edges += _along(places)
    kept = [edge for edge in edges if edge.a != edge.b]
    kept.sort(key=edge_key)
    return Metal(edges=tuple(kept), length_m=places.pieces(), parted=tuple(parted))


def edge_key(edge: Edge) -> tuple[Any, ...]:
    """Return what edges are ordered by: the most probable first, the stronger evidence first among equals."""
    return -edge.probability, STRENGTH.index(edge.evidence), edge.a, edge.b, edge.edge_id


def _apart(measures: list[float]) -> list[float]:
    """Return the places of isolating joints along a line, of those within reach of each other the first."""
    kept: list[float] = []
    for at_m in sorted(measures):
        if not kept or at_m - kept[-1] > MERGE_M:
            kept.append(at_m)
    return kept


def _across(places: _Places, stated: list[tuple[str, str, float]]) -> list[tuple[str, str, Node, Node]]:
    """Return the two sides of each isolating joint inside a line."""
    near = [(structure, line, places.node(line, at_m), at_m) for structure, line, at_m in stated]
    return [(structure, line, node, places.beyond(node, at_m)) for structure, line, node, at_m in near]


def _held_apart(places: _Places, ids: Any, met: pd.DataFrame) -> list[tuple[str, str, Node, Node]]:
    """Return the places of the lines that meet at an isolating joint, once from each line."""
    found = []
    for row in met.itertuples(index=False):
        line_a, line_b = ids[row.line_a], ids[row.line_b]
        a, b = places.node(line_a, float(row.measure_a_m)), places.node(line_b, float(row.measure_b_m))
        found += [(str(row.structure_id), line_a, a, b), (str(row.structure_id), line_b, b, a)]
    return found


def _meeting(places: _Places, ids: Any, row: Any) -> Edge:
    line_a, line_b = ids[row.line_a], ids[row.line_b]
    at_a_m, at_b_m = float(row.measure_a_m), float(row.measure_b_m)
    evidence = weaker(places.evidence[line_a], places.evidence[line_b])
    a, b = places.node(line_a, at_a_m), places.node(line_b, at_b_m)
    return _metal(a, b, evidence, kind="junction", at_m=(at_a_m, at_b_m))


def _metal(a: Node, b: Node, evidence: str, *, kind: str, at_m: tuple[float, float]) -> Edge:
    """Return what the metal of lines joins, by the evidence that there is any."""
    recorded = evidence == "recorded"
    probability = 1.0 if recorded else PROBABILITY[evidence]
    level = 0 if recorded else _level(probability)
    return Edge(a=a, b=b, kind=kind, evidence=evidence, probability=probability, level=level,
                at_a_m=at_m[0], at_b_m=at_m[1])  # fmt: skip


def _bond(places: _Places, row: Any) -> Edge:
    at_a_m, at_b_m = (0.0 if pd.isna(value) else float(value) for value in (row.measure_a_m, row.measure_b_m))
    probability = 0.0 if pd.isna(row.probability) else float(row.probability)
    settled = row.state == "closed" and row.evidence in KNOWN
    a, b = places.node(row.line_a, at_a_m), places.node(row.line_b, at_b_m)
    if a == b:  # a jumper round an isolating joint in the line
        b = places.beyond(b, at_b_m)
    return Edge(
        a=a, b=b, kind="bond", evidence=str(row.evidence), probability=probability,
        level=0 if settled else _level(probability), at_a_m=at_a_m, at_b_m=at_b_m, bond_id=str(row.bond_id),
    )  # fmt: skip


def _along(places: _Places) -> list[Edge]:
    """Return what joins the places of lines that may part, from each to the next."""
    edges = []
    for line in sorted(places.asked):
        if places.evidence[line] == "recorded":
            continue
        for near, far in pairwise(sorted(places.asked[line])):
            if near[1] == far[1]:
                evidence = "recorded" if far[2] - near[2] <= JOINT_REACH_M else places.evidence[line]
                edges.append(_metal(near, far, evidence, kind="continuity", at_m=(near[2], far[2])))
    return edges


def _level(probability: float) -> int:
    return 1 if probability >= CLOSED_FROM else 2


def edge_points(edges: Sequence[Edge], lines: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[Any]]:
    """Return where each edge stands: on its line a; shape (edges,), of Points."""
    row_of = {name: row for row, name in enumerate(lines["line_id"])}
    shapes = lines.geometry.to_numpy()[[row_of[edge.a[0]] for edge in edges]]
    return np.asarray(shapely.line_interpolate_point(shapes, np.array([edge.at_a_m for edge in edges])), dtype=object)
