"""The network of a site: spans of its conductors, and what links and grounds them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import shapely
from networkx.utils import UnionFind

from corridor.couplings.bonds import EARTH, PROBABILITY
from corridor.couplings.places import conducts, isolating_places
from corridor.couplings.segments import pieces, segments_of, sorted_lines
from corridor.network.isolations import joints
from corridor.network.model import Network
from corridor.network.nodes import NodeTable
from corridor.settings import Settings
from corridor.site.ends import cut_ends
from corridor.site.materials import joint_types
from corridor.site.model import Site

__all__ = ["build_network"]

KNOWN = ("recorded", "observed", "measured")
CLOSED_FROM = 0.5  # probability from which a path that may conduct is closed in the nominal case
ISOLATION_OHM = joint_types()["isolating_joint"].open_ohm
ISOLATION_F = joint_types()["isolating_joint"].open_f
GROUND_OHM = 25.0  # a ground electrode of unstated resistance: NEC 250.53, from memory; engineering estimate

LINK_COLUMNS = (
    "link_id", "kind", "node_a", "node_b", "line_a", "line_b", "closed", "switchable", "resistance_ohm",
    "capacitance_f", "probability", "evidence", "source_id",
)  # fmt: skip
GROUND_COLUMNS = (
    "ground_id", "node_id", "line_id", "resistance_ohm", "evidence", "closed", "switchable", "probability",
    "resistance_low_ohm", "resistance_high_ohm",
)  # fmt: skip
RANGE_COLUMNS = ("resistance_low_ohm", "resistance_high_ohm")


@dataclass(frozen=True)
class _Asked:
    """What was asked of the node table, place numbers first."""

    joints: list[tuple[int, int, str | None]]  # the structure of an isolating joint, or None: a junction
    inside: list[tuple[int, str]]
    bonds: list[tuple[int, int, dict[str, Any]]]
    grounds: list[tuple[int, dict[str, Any]]]
    ends: dict[tuple[str, str], int]  # by line and start or end


def build_network(site: Site, bonds_found: gpd.GeoDataFrame, *, settings: Settings | None = None) -> Network:
    """Build the network of a site's conductors (conductive, neither proposed nor removed).

    A line is cut into spans at its ends, tees, bonds, grounds, access points and at isolating joints inside it; places
    within 0.3 m share a node. k ends that meet make k - 1 junctions; an isolating joint turns them into an open
    isolation. A bond of a recorded, observed or measured kind and known state is as it is; every other bond is
    switchable, closed from probability 0.5 on. A bond to earth is a ground; an inferred ground is switchable, closed.

    Ends that the extract of the records cut are named.

    Parameters
    ----------
    site : Site
    bonds_found : GeoDataFrame
        As ``find_bonds`` gives them.
    settings : Settings, optional
        Part ``site``.

    Returns
    -------
    Network

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used.
    """
    everything = sorted_lines(site.lines)
    lines = everything[conducts(everything)].reset_index(drop=True)
    nodes = NodeTable(lines)
    used = (settings or Settings()).site
    asked = _ask(site, bonds_found, nodes, snap_m=used.snap_m)
    nodes.settle()
    frame = nodes.frame()
    spans = _spans(nodes)
    links = _links(asked, nodes)
    grounds = _grounds(asked, nodes, frame)
    cut = sorted(nodes.node_id(asked.ends[end]) for end in cut_ends(site, settings=used) if end in asked.ends)
    graph = _graph(frame, spans, links, grounds)
    return Network(graph=graph, spans=spans, nodes=frame, links=links, grounds=grounds, extract_ends=tuple(cut))


def _ask(site: Site, bonds_found: gpd.GeoDataFrame, nodes: NodeTable, *, snap_m: float) -> _Asked:
    lines = nodes.lines
    row_of = {str(name): row for row, name in enumerate(lines["line_id"])}
    shapes = lines.geometry.to_numpy()
    length = shapely.length(shapes)
    ends = {}
    for name, row in row_of.items():
        ends[name, "start"] = nodes.ask(row, 0.0, "end")
        ends[name, "end"] = nodes.ask(row, float(length[row]), "end")
    met = [
        (nodes.ask(m.line_a, m.measure_a_m, "tee"), nodes.ask(m.line_b, m.measure_b_m, "tee"), m.structure_id)
        for m in joints(site, lines, snap_m=snap_m).itertuples(index=False)
    ]
    inside = [
        (nodes.ask(row_of[place.line_id], place.measure_m, "isolation"), str(place.structure_id))
        for place in isolating_places(site).itertuples(index=False)
        if place.inside and place.line_id in row_of
    ]
    bonds, grounds = [], []
    for record in bonds_found.drop(columns="geometry").to_dict("records"):
        a, b = str(record["line_a"]), str(record["line_b"])
        if a not in row_of or (b not in row_of and b != EARTH):
            continue
        place = nodes.ask(row_of[a], float(record["measure_a_m"]), "bond")
        if b == EARTH:
            grounds.append((place, record))
        else:
            bonds.append((place, nodes.ask(row_of[b], float(record["measure_b_m"]), "bond"), record))
    for point, record in zip(
        site.grounds.geometry, site.grounds.drop(columns="geometry").to_dict("records"), strict=True
    ):
        name = str(record["line_id"])
        if name in row_of and point is not None:
            at_m = float(shapely.line_locate_point(shapes[row_of[name]], point))
            grounds.append((nodes.ask(row_of[name], at_m, "ground"), record | {"own": True}))
    _ask_access(site, nodes, row_of)
    return _Asked(joints=met, inside=inside, bonds=bonds, grounds=grounds, ends=ends)


def _ask_access(site: Site, nodes: NodeTable, row_of: dict[str, int]) -> None:
    """Ask for a node wherever a conductor can be reached at a structure."""
    points = dict(zip(site.structures["structure_id"].astype(str), site.structures.geometry, strict=True))
    shapes = nodes.lines.geometry.to_numpy()
    for record in site.terminations.to_dict("records"):
        row, point = row_of.get(str(record["line_id"])), points.get(str(record["structure_id"]))
        if row is not None and point is not None:
            fixed = {"start": 0.0, "end": float(shapely.length(shapes[row]))}
            at_m = fixed.get(str(record["at"]), float(shapely.line_locate_point(shapes[row], point)))
            nodes.ask(row, at_m, "access")


def _spans(nodes: NodeTable) -> gpd.GeoDataFrame:
    table = nodes.table.sort_values(["row", "at_m"], kind="stable", ignore_index=True)
    row, at_m = table["row"].to_numpy(dtype=np.int64), table["at_m"].to_numpy(dtype=float)
    from_node = np.flatnonzero(row[1:] == row[:-1]) if len(row) else np.empty(0, np.int64)
    on, start, end = row[from_node], at_m[from_node], at_m[from_node + 1]
    names = nodes.lines["line_id"].to_numpy(dtype=object)[on]
    number = pd.Series(on).groupby(on).cumcount().to_numpy() + 1
    columns = pd.DataFrame({
        "span_id": np.array([f"{name}#{k}" for name, k in zip(names, number, strict=True)], dtype=object),
        "line_id": names,
        "node_start": table["far_id"].to_numpy(dtype=object)[from_node],
        "node_end": table["node_id"].to_numpy(dtype=object)[from_node + 1],
        "start_m": start,
        "end_m": end,
    })  # fmt: skip
    shapes: Any = pieces(segments_of(nodes.lines), on, start, end) if len(on) else []
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(list(shapes), crs=nodes.lines.crs), crs=nodes.lines.crs)


def _links(asked: _Asked, nodes: NodeTable) -> pd.DataFrame:
    rows = [*_junctions(asked, nodes), *(_parted(nodes, *place) for place in asked.inside)]
    for place_a, place_b, record in asked.bonds:
        node_a, node_b = nodes.node_id(place_a), nodes.node_id(place_b)
        if node_a == node_b:  # a jumper round an isolating joint in the line
            node_b = nodes.far_id(place_b)
        if node_a != node_b:
            name = str(record["bond_id"])
            rows.append({
                "link_id": f"bond:{name}", "kind": "bond", "node_a": node_a, "node_b": node_b,
                "line_a": record["line_a"], "line_b": record["line_b"], "source_id": name,
                "resistance_ohm": record["resistance_ohm"], "capacitance_f": 0.0, **_switch(record),
            })  # fmt: skip
    types: dict[str, Any] = dict.fromkeys(LINK_COLUMNS, object)
    types |= {"resistance_ohm": float, "capacitance_f": float, "probability": float, "closed": bool, "switchable": bool}
    links = pd.DataFrame(rows, columns=list(LINK_COLUMNS)).astype(types)
    links["source_id"] = links["source_id"].where(links["source_id"].notna(), None)
    return links


def _junctions(asked: _Asked, nodes: NodeTable) -> list[dict[str, Any]]:
    """Make a spanning tree of junctions for each meeting point, then one isolation between the parts of each."""
    held: Any = UnionFind()
    rows = []
    parted: set[tuple[str, str]] = set()
    for isolated in (False, True):
        for place_a, place_b, structure_id in asked.joints:
            if (structure_id is not None) != isolated:
                continue
            node_a, node_b = sorted((nodes.node_id(place_a), nodes.node_id(place_b)))
            root_a, root_b = sorted((held[node_a], held[node_b]))
            if root_a == root_b or (root_a, root_b) in parted:
                continue
            if isolated:
                parted.add((root_a, root_b))
                rows.append(_isolation(node_a, node_b, structure_id))
            else:
                held.union(node_a, node_b)
                rows.append(_junction(node_a, node_b))
    return rows


def _line_of(node_id: str) -> str:
    return node_id.rpartition("@")[0]


def _junction(node_a: str, node_b: str) -> dict[str, Any]:
    return {
        "link_id": f"junction:{node_a}:{node_b}", "kind": "junction", "node_a": node_a, "node_b": node_b,
        "line_a": _line_of(node_a), "line_b": _line_of(node_b), "closed": True, "switchable": False,
        "resistance_ohm": 0.0, "capacitance_f": 0.0, "probability": 1.0, "evidence": "recorded", "source_id": None,
    }  # fmt: skip


def _isolation(node_a: str, node_b: str, structure_id: str | None) -> dict[str, Any]:
    return _junction(node_a, node_b) | {
        "link_id": f"isolation:{node_a}:{node_b}", "kind": "isolation", "closed": False, "probability": 0.0,
        "resistance_ohm": ISOLATION_OHM, "capacitance_f": ISOLATION_F, "source_id": structure_id,
    }  # fmt: skip


def _parted(nodes: NodeTable, place: int, structure_id: str) -> dict[str, Any]:
    return _isolation(nodes.node_id(place), nodes.far_id(place), structure_id)


def _switch(record: dict[str, Any]) -> dict[str, Any]:
    """Say whether a bond is closed in the nominal case and whether it is solved both ways."""
    evidence = str(record["evidence"])
    settled = record["state"] == "open" or (record["state"] == "closed" and evidence in KNOWN)
    closed = record["state"] == "closed" if settled else record["probability"] >= CLOSED_FROM
    return {
        "closed": bool(closed),
        "switchable": not settled,
        "probability": record["probability"],
        "evidence": evidence,
    }


def _grounds(asked: _Asked, nodes: NodeTable, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows = []
    for place, record in asked.grounds:
        own = record.get("own", False)
        evidence = record["evidence"] if isinstance(record["evidence"], str) else "recorded"
        row = {"ground_id": record["ground_id"] if own else record["bond_id"], "node_id": nodes.node_id(place)}
        row |= {"line_id": record["line_id"] if own else record["line_a"]}
        ohm = GROUND_OHM if pd.isna(record["resistance_ohm"]) else float(record["resistance_ohm"])
        row["resistance_ohm"] = ohm
        for name in RANGE_COLUMNS:
            row[name] = ohm if pd.isna(record.get(name)) else float(record[name])
        if own:
            known = evidence in KNOWN
            switch = {"closed": True, "switchable": not known, "evidence": evidence}
            rows.append(row | switch | {"probability": 1.0 if known else PROBABILITY.get(evidence, CLOSED_FROM)})
        else:
            rows.append(row | _switch(record))
    types: dict[str, Any] = dict.fromkeys(GROUND_COLUMNS, object)
    types |= dict.fromkeys(("resistance_ohm", "probability", *RANGE_COLUMNS), float)
    types |= {"closed": bool, "switchable": bool}
    columns = pd.DataFrame(rows, columns=list(GROUND_COLUMNS)).astype(types)
    columns = columns.sort_values("ground_id", kind="stable", ignore_index=True)
    where = frame.set_index("node_id").geometry.loc[columns["node_id"]].to_numpy() if rows else []
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(list(where), crs=frame.crs), crs=frame.crs)


def _graph(
    nodes: gpd.GeoDataFrame, spans: gpd.GeoDataFrame, links: pd.DataFrame, grounds: gpd.GeoDataFrame
) -> nx.MultiGraph[str]:
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    by_node = grounds.groupby("node_id")["ground_id"].apply(tuple).to_dict() if len(grounds) else {}
    for name, x, y in zip(nodes["node_id"], nodes.geometry.x, nodes.geometry.y, strict=True):
        graph.add_node(name, x_m=x, y_m=y, ground_ids=by_node.get(name, ()))
    for span in spans.itertuples(index=False):
        length = span.end_m - span.start_m
        graph.add_edge(span.node_start, span.node_end, span.span_id, kind="span", line_id=span.line_id, length_m=length)
    for link in links.itertuples(index=False):
        attributes = {"kind": link.kind, "closed": link.closed, "switchable": link.switchable}
        graph.add_edge(link.node_a, link.node_b, link.link_id, probability=link.probability, **attributes)
    return graph
