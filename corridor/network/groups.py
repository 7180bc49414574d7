"""Bonded groups: which lines share metal, by how much evidence that takes."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from networkx.utils import UnionFind

from corridor.couplings.bonds import EARTH, PROBABILITY
from corridor.couplings.finders import all_bonds
from corridor.couplings.places import JOINT_REACH_M, conducts
from corridor.couplings.segments import sorted_lines
from corridor.frames import empty_table, stamp, table_frame
from corridor.network.build import CLOSED_FROM, KNOWN
from corridor.network.continuity import continuity, weaker
from corridor.network.isolations import joints
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["bonded_groups"]

LEVELS = ("recorded", "likely", "possible")
Node = tuple[str, float]  # a line, and where on it if it may be parted
STRENGTH = ("measured", "observed", "recorded", "inferred", "suspected")  # strongest first


def bonded_groups(
    site: Site, *, bonds_found: gpd.GeoDataFrame | None = None, settings: Settings | None = None
) -> gpd.GeoDataFrame:
    """Return the groups of lines that share metal, at three levels of evidence.

    recorded: lines of one utility that meet with no isolating joint between, and closed bonds that are recorded,
    observed or measured. likely: further bonds of probability 0.5 or more. possible: all bonds but the open ones.
    A line in no group is not shown: no record of a bond doesn't mean that there is none.

    Metal that no record vouches for joins nothing at level recorded: lines meet with the weaker evidence of the two
    (``continuity``), likely where a pipe's material is assumed, possible where its joints may part it. Such a line also
    leads from one of its bonds to the next only by that evidence, so that it may stand in two groups of one level.

    Parameters
    ----------
    site : Site
    bonds_found : GeoDataFrame, optional
        As ``find_couplings`` gives them; None: they are found, by plug-ins too.
    settings : Settings, optional
        ``site.snap_m`` and ``site.structure_reach_m`` are used.

    Returns
    -------
    GeoDataFrame
        Table ``bonded_groups`` of the data dictionary: a row per group of two lines or more and level. Of the ways to
        hold a group together the most probable one counts (a maximum spanning tree): ``evidence_weakest`` is the
        weakest evidence in it, ``probability`` that of its weakest bond.

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used.
    """
    used = settings or Settings()
    lines = sorted_lines(site.lines)
    lines = lines[conducts(lines)].reset_index(drop=True)
    bonds = all_bonds(site, settings=used) if bonds_found is None else bonds_found
    edges = _edges(site, lines, bonds, snap_m=used.site.snap_m)
    lengths = dict(zip(lines["line_id"], lines.geometry.length, strict=True))
    shapes = dict(zip(lines["line_id"], lines.geometry, strict=True))
    rows, geometry = [], []
    taken: Counter[str] = Counter()
    for rank, level in enumerate(LEVELS):
        for names, evidence, probability in _groups([edge for edge in edges if edge["level"] <= rank]):
            group_id = f"{level}:{names[0]}"
            taken[group_id] += 1
            rows.append({
                "group_id": group_id if taken[group_id] == 1 else f"{group_id}:{taken[group_id]}",
                "level": level,
                "line_ids": " ".join(names),
                "line_count": len(names),
                "length_m": sum(lengths[name] for name in names),
                "evidence_weakest": evidence,
                "probability": probability,
            })  # fmt: skip
            geometry.append(shapely.multilinestrings([shapes[name] for name in names]))
    if not rows:
        return stamp(empty_table("bonded_groups", site.crs), bonded_groups)
    return stamp(table_frame("bonded_groups", rows, geometry=geometry, crs=site.crs), bonded_groups)


def _edges(site: Site, lines: gpd.GeoDataFrame, bonds: gpd.GeoDataFrame, *, snap_m: float) -> list[dict[str, Any]]:
    """Return what joins two lines, the most probable first, the stronger evidence first among equals."""
    ids = lines["line_id"].to_numpy(dtype=object)
    evidence_of = dict(zip(ids, continuity(lines), strict=True))
    places: dict[str, set[float]] = {name: set() for name, word in evidence_of.items() if word != "recorded"}

    def end(line: str, at_m: float) -> Node:
        if line not in places:
            return line, 0.0
        at_m = 0.0 if pd.isna(at_m) else float(at_m)
        places[line].add(at_m)
        return line, at_m

    edges = []
    met = joints(site, lines, snap_m=snap_m)
    for meeting in met[met["structure_id"].isna()].itertuples(index=False):
        a, b = end(ids[meeting.line_a], meeting.measure_a_m), end(ids[meeting.line_b], meeting.measure_b_m)
        edges.append(_metal(a, b, weaker(evidence_of[a[0]], evidence_of[b[0]])))
    for bond in bonds.itertuples(index=False):
        if bond.state == "open" or bond.line_b == EARTH or not {bond.line_a, bond.line_b} <= set(evidence_of):
            continue
        probability = 0.0 if pd.isna(bond.probability) else float(bond.probability)
        settled = bond.state == "closed" and bond.evidence in KNOWN
        a, b = end(bond.line_a, bond.measure_a_m), end(bond.line_b, bond.measure_b_m)
        level = 0 if settled else _level(probability)
        edges.append({"a": a, "b": b, "evidence": str(bond.evidence), "level": level, "probability": probability})
    for line, measures in places.items():
        for near, far in pairwise(sorted(measures)):
            one_place = far - near <= JOINT_REACH_M
            edges.append(_metal((line, near), (line, far), "recorded" if one_place else evidence_of[line]))
    return sorted(edges, key=lambda e: (-e["probability"], STRENGTH.index(e["evidence"]), e["a"], e["b"]))


def _metal(a: Node, b: Node, evidence: str) -> dict[str, Any]:
    """Return what the metal of lines joins, by the evidence that there is any."""
    recorded = evidence == "recorded"
    probability = 1.0 if recorded else PROBABILITY[evidence]
    level = 0 if recorded else _level(probability)
    return {"a": a, "b": b, "evidence": evidence, "level": level, "probability": probability}


def _level(probability: float) -> int:
    return 1 if probability >= CLOSED_FROM else 2


def _groups(edges: list[dict[str, Any]]) -> list[tuple[list[str], str, float]]:
    """Return lines, weakest evidence and its probability of each group, by a maximum spanning tree (Kruskal 1956)."""
    held: Any = UnionFind()
    tree = []
    for edge in edges:
        if edge["a"] != edge["b"] and held[edge["a"]] != held[edge["b"]]:
            held.union(edge["a"], edge["b"])
            tree.append(edge)
    groups: dict[str, dict[str, Any]] = {}
    for edge in tree:
        group = groups.setdefault(held[edge["a"]], {"names": set(), "evidence": 0, "probability": 1.0})
        group["names"] |= {edge["a"][0], edge["b"][0]}
        group["evidence"] = max(group["evidence"], STRENGTH.index(edge["evidence"]))
        group["probability"] = min(group["probability"], edge["probability"])
    found = [
        (sorted(g["names"]), STRENGTH[g["evidence"]], g["probability"]) for g in groups.values() if len(g["names"]) > 1
    ]
    return sorted(found, key=lambda group: group[0])
