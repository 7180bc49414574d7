"""Bonded networks for a mapping team: groups by line, what holds them together, what they hang on, what changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.couplings.bonds import EARTH
from corridor.couplings.finders import all_bonds
from corridor.frames import stamp, table_frame
from corridor.network.edges import LEVELS, STRENGTH, Metal, Node
from corridor.network.groups import Group, find_groups, group_names, group_table
from corridor.network.parts import Part, bond_structures, part_of
from corridor.network.releases import NOT_KNOWN, Release, differences, earlier_release, names_kept
from corridor.network.splits import Split, large_groups, splitting_bonds, splitting_visits
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["BondedNetworks", "bonded_networks", "networks_of"]

NamesOf = dict[str, dict[Node, str]]  # by level: the group that a place is in


@dataclass(frozen=True)
class BondedNetworks:
    """Bonded networks of a site; each frame is the table of its name in the data dictionary.

    ``group_changes`` is empty where there was no earlier result to compare with.
    """

    line_groups: gpd.GeoDataFrame
    bonded_groups: gpd.GeoDataFrame
    group_edges: gpd.GeoDataFrame
    group_splits: gpd.GeoDataFrame
    group_changes: gpd.GeoDataFrame
    isolations: gpd.GeoDataFrame
    bonds_found: gpd.GeoDataFrame


def bonded_networks(
    site: Site,
    *,
    bonds_found: gpd.GeoDataFrame | None = None,
    previous: pd.DataFrame | None = None,
    settings: Settings | None = None,
) -> BondedNetworks:
    """Return which lines share metal, what holds each group together and what a large one hangs on.

    The groups are those of ``bonded_groups``. A line that nothing joins is ``not known``, never separate.

    Parameters
    ----------
    site : Site
    bonds_found : GeoDataFrame, optional
        As ``find_couplings`` gives them; None: they are found, by plug-ins too.
    previous : DataFrame, optional
        Table ``line_groups`` of an earlier result: groups keep its names, and ``group_changes`` lists the differences.
    settings : Settings, optional
        ``site.snap_m`` and ``site.structure_reach_m`` are used.

    Returns
    -------
    BondedNetworks

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used, or ``previous`` lacks a column.
    """
    used = settings or Settings()
    earlier = None if previous is None else earlier_release(previous)
    bonds = all_bonds(site, settings=used) if bonds_found is None else bonds_found
    return networks_of(part_of(site, bonds, settings=used), earlier=earlier)


def networks_of(whole: Part, *, earlier: Release | None = None) -> BondedNetworks:
    """Return the bonded networks of a site from what it is made of, as ``part_of`` or ``joined_parts`` gives it.

    Parameters
    ----------
    whole : Part
        All of the site.
    earlier : Release, optional
        As ``earlier_release`` gives it.
    """
    every, metal, bonds = whole.lines, whole.metal, whole.bonds_found
    groups = find_groups(metal.edges, within=whole.in_forest)
    lines = every[every["conducts"].to_numpy(dtype=bool)].reset_index(drop=True)
    length_m = dict(zip(lines["line_id"], lines.geometry.length.to_numpy(), strict=True))
    names = group_names(groups) if earlier is None else names_kept(groups, earlier, length_m)
    names_of = _names_of(groups, names)
    structure_of = bond_structures(bonds)
    frames = {
        "line_groups": _line_groups(every, names_of),
        "bonded_groups": group_table(groups, names, lines),
        "group_edges": _edge_table(whole, names_of),
        "group_splits": _split_table(metal, groups, names, bonds=bonds, structure_of=structure_of),
        "group_changes": _change_table(groups, names, earlier, lines=every),
        "isolations": _bridged(whole.isolations, metal, names_of),
    }
    for frame in frames.values():
        stamp(frame, bonded_networks)
    return BondedNetworks(**frames, bonds_found=bonds)


def _names_of(groups: Sequence[Group], names: Sequence[str]) -> NamesOf:
    found: NamesOf = {level: {} for level in LEVELS}
    for group, name in zip(groups, names, strict=True):
        found[group.level].update(dict.fromkeys(group.nodes, name))
    return found


def _line_groups(every: gpd.GeoDataFrame, names_of: NamesOf) -> gpd.GeoDataFrame:
    remarks = every["remark"].to_numpy(dtype=object)
    columns: dict[str, Any] = {
        "line_id": every["line_id"], "utility": every["utility"], "owner": every["owner"],
        "length_m": every.geometry.length, "remark": remarks,
    }  # fmt: skip
    missing = np.array([None if remark is None else remark.startswith(NOT_KNOWN) for remark in remarks], dtype=object)
    for level in LEVELS:
        of_line: dict[str, set[str]] = {}
        for node, name in names_of[level].items():
            of_line.setdefault(node[0], set()).add(name)
        columns[f"group_{level}"] = [
            None if unknown is False else " ".join(sorted(of_line.get(line, ()))) or NOT_KNOWN
            for line, unknown in zip(every["line_id"], missing, strict=True)
        ]
    return table_frame("line_groups", columns, geometry=every.geometry.to_numpy(), crs=every.crs)


def _edge_table(whole: Part, names_of: NamesOf) -> gpd.GeoDataFrame:
    rows: list[dict[str, Any]] = []
    for edge, structure in zip(whole.metal.edges, whole.edge_structures, strict=True):
        held = {f"group_{level}": names_of[level].get(edge.a) for level in LEVELS[edge.level :]}
        rows.append({
            "edge_id": edge.edge_id, "kind": edge.kind, "line_a": edge.a[0], "line_b": edge.b[0],
            "bond_id": edge.bond_id, "structure_id": structure, "evidence": edge.evidence,
            "probability": edge.probability, "level": LEVELS[edge.level], **held,
        })  # fmt: skip
    for ground in whole.grounds.itertuples(index=False):
        rows.append({
            "edge_id": f"ground:{ground.ground_id}", "kind": "ground", "line_a": ground.line_id, "line_b": EARTH,
            "ground_id": ground.ground_id, "structure_id": ground.structure_id, "evidence": ground.evidence,
        })  # fmt: skip
    shapes = np.concatenate([whole.edge_points, whole.grounds.geometry.to_numpy()])
    order = sorted(range(len(rows)), key=lambda k: str(rows[k]["edge_id"]))
    return table_frame("group_edges", [rows[k] for k in order], geometry=shapes[order], crs=whole.lines.crs)


def _split_table(
    metal: Metal,
    groups: Sequence[Group],
    names: Sequence[str],
    *,
    bonds: gpd.GeoDataFrame,
    structure_of: dict[str, str],
) -> gpd.GeoDataFrame:
    rows, shapes = [], []
    point_of = dict(zip(bonds["bond_id"].astype(str), bonds.geometry, strict=True))
    for number, whole_m in large_groups(groups, metal.length_m):
        group = groups[number]
        found = {
            "bond": splitting_bonds(group, metal.edges, metal.length_m),
            "visit": splitting_visits(group, metal.edges, metal.length_m, structure_of=structure_of),
        }
        for what, splits in found.items():
            for rank, split in enumerate(splits, start=1):
                about = {"group_id": names[number], "level": group.level, "what": what, "rank": rank}
                rows.append(about | _split_row(split, whole_m, structure_of))
                shapes.append(point_of.get(str(split.edges[0].bond_id)))
    return table_frame("group_splits", rows, geometry=shapes, crs=bonds.crs)


def _split_row(split: Split, whole_m: float, structure_of: dict[str, str]) -> dict[str, Any]:
    ids = sorted(str(edge.bond_id) for edge in split.edges)
    return {
        "structure_id": structure_of.get(ids[0]),
        "bond_ids": " ".join(ids),
        "evidence": max((edge.evidence for edge in split.edges), key=STRENGTH.index),
        "split_off_m": split.split_off_m,
        "split_off_share": split.split_off_m / whole_m,
    }


def _change_table(
    groups: Sequence[Group], names: Sequence[str], earlier: Release | None, *, lines: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    shape_of = dict(zip(lines["line_id"], lines.geometry, strict=True))
    length_m = dict(zip(lines["line_id"], lines.geometry.length.to_numpy(), strict=True))
    rows = [] if earlier is None else differences(groups, names, earlier, length_m)
    held = [[shape_of[line] for line in row.pop("lines") if line in shape_of] for row in rows]
    shapes = [shapely.multilinestrings(parts) if parts else None for parts in held]
    return table_frame("group_changes", rows, geometry=shapes, crs=lines.crs)


def _bridged(found: gpd.GeoDataFrame, metal: Metal, names_of: NamesOf) -> gpd.GeoDataFrame:
    """Say at which level the two sides of each joint share metal by another way."""
    strictest: dict[tuple[str, str], int] = {}
    for structure, line, a, b in metal.parted:
        for rank, level in enumerate(LEVELS):
            name = names_of[level].get(a)
            if name is not None and name == names_of[level].get(b):
                strictest[structure, line] = min(rank, strictest.get((structure, line), rank))
    ranks = [strictest.get(key) for key in zip(found["structure_id"], found["line_id"], strict=True)]
    words = [None if rank is None else LEVELS[rank] for rank in ranks]
    columns = found.drop(columns="geometry").assign(bridged=pd.Series(words, index=found.index, dtype=object))
    return table_frame("isolations", columns, geometry=found.geometry.to_numpy(), crs=found.crs)
