"""Bonded groups: which lines share metal, by how much evidence that takes."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from networkx.utils import UnionFind

from corridor.couplings.bonds import EARTH
from corridor.couplings.finders import all_bonds
from corridor.couplings.places import conducts
from corridor.couplings.segments import sorted_lines
from corridor.frames import empty_table, stamp, table_frame
from corridor.network.build import CLOSED_FROM, KNOWN
from corridor.network.isolations import joints
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["bonded_groups"]

LEVELS = ("recorded", "likely", "possible")
STRENGTH = ("measured", "observed", "recorded", "inferred", "suspected")  # strongest first


def bonded_groups(
    site: Site, *, bonds_found: gpd.GeoDataFrame | None = None, settings: Settings | None = None
) -> gpd.GeoDataFrame:
    """Return the groups of lines that share metal, at three levels of evidence.

    recorded: lines of one utility that meet with no isolating joint between, and closed bonds that are recorded,
    observed or measured. likely: further bonds of probability 0.5 or more. possible: all bonds but the open ones.
    A line in no group is not shown: no record of a bond doesn't mean that there is none.

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
    for rank, level in enumerate(LEVELS):
        for names, evidence, probability in _groups([edge for edge in edges if edge["level"] <= rank]):
            rows.append({
                "group_id": f"{level}:{names[0]}",
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
    met = joints(site, lines, snap_m=snap_m)
    met = met[met["structure_id"].isna()]
    pairs = zip(ids[met["line_a"].to_numpy(dtype=int)], ids[met["line_b"].to_numpy(dtype=int)], strict=True)
    edges = [{"a": a, "b": b, "evidence": "recorded", "probability": 1.0, "level": 0} for a, b in pairs]
    known = set(ids)
    for bond in bonds.itertuples(index=False):
        if bond.state == "open" or bond.line_b == EARTH or not {bond.line_a, bond.line_b} <= known:
            continue
        probability = 0.0 if pd.isna(bond.probability) else float(bond.probability)
        settled = bond.state == "closed" and bond.evidence in KNOWN
        level = 0 if settled else 1 if probability >= CLOSED_FROM else 2
        edge = {"a": bond.line_a, "b": bond.line_b, "evidence": str(bond.evidence), "level": level}
        edges.append(edge | {"probability": probability})
    return sorted(edges, key=lambda e: (-e["probability"], STRENGTH.index(e["evidence"]), e["a"], e["b"]))


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
        group["names"] |= {edge["a"], edge["b"]}
        group["evidence"] = max(group["evidence"], STRENGTH.index(edge["evidence"]))
        group["probability"] = min(group["probability"], edge["probability"])
    found = [(sorted(g["names"]), STRENGTH[g["evidence"]], g["probability"]) for g in groups.values()]
    return sorted(found, key=lambda group: group[0])
