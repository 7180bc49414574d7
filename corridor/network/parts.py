"""What the bonded networks of a site are made of, for all of it or for the lines of one tile; and parts joined."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.couplings.places import conducts
from corridor.couplings.segments import sorted_lines
from corridor.dictionary import GONE
from corridor.network.edges import Metal, edge_key, edge_points, metal_of
from corridor.network.groups import forests
from corridor.network.isolations import isolations
from corridor.network.releases import NOT_KNOWN
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["Part", "bond_structures", "joined_parts", "part_of"]


@dataclass(frozen=True)
class Part:
    """What the bonded networks of some lines are made of.

    Attributes
    ----------
    lines : GeoDataFrame
        By line_id: line_id, utility, owner, remark (why it is in no group), conducts, geometry.
    metal : Metal
        Its edges are those whose line a is one of the lines.
    edge_points : ndarray of Point, shape (edges,)
        Where each edge stands.
    edge_structures : list of str or None
        The structure that each edge is made at.
    in_forest : ndarray of bool, shape (levels, edges)
        Whether an edge holds a group together at a level; if not, it closes a loop among these lines.
    grounds : GeoDataFrame
        ground_id, line_id, evidence, structure_id, geometry.
    isolations, bonds_found : GeoDataFrame
        Tables of the data dictionary.
    """

    lines: gpd.GeoDataFrame
    metal: Metal
    edge_points: NDArray[Any]
    edge_structures: list[str | None]
    in_forest: NDArray[np.bool_]
    grounds: gpd.GeoDataFrame
    isolations: gpd.GeoDataFrame
    bonds_found: gpd.GeoDataFrame


def part_of(site: Site, bonds: gpd.GeoDataFrame, *, settings: Settings, owned: Collection[str] | None = None) -> Part:
    """Return what the bonded networks of a site are made of.

    Parameters
    ----------
    site : Site
    bonds : GeoDataFrame
        As ``find_couplings`` gives them for it.
    settings : Settings
        ``site.snap_m`` and ``site.structure_reach_m`` are used.
    owned : collection of str, optional
        Of these lines alone; the site then holds all that bears on them. None: of all.

    Raises
    ------
    CrsError, InputError
        As ``bonded_networks``.
    """
    every = sorted_lines(site.lines)
    lines = every[conducts(every)].reset_index(drop=True)
    metal, own = metal_of(site, lines, bonds, settings=settings), every
    stated = isolations(site, settings=settings)
    grounds = site.grounds[(site.grounds["line_id"].isin(lines["line_id"]) & site.grounds.geometry.notna()).to_numpy()]
    if owned is not None:
        metal = _owned_metal(metal, owned)
        own = every[every["line_id"].isin(owned).to_numpy()].reset_index(drop=True)
        stated, grounds, bonds = (
            frame[frame[name].isin(owned).to_numpy(dtype=bool)].reset_index(drop=True)
            for frame, name in ((stated, "line_id"), (grounds, "line_id"), (bonds, "line_a"))
        )
    points, reach_m = edge_points(metal.edges, lines), settings.site.structure_reach_m
    structure_of, near = bond_structures(bonds), _nearest_structures(site, points, reach_m)
    at = [near[k] if e.bond_id is None else structure_of.get(e.bond_id, near[k]) for k, e in enumerate(metal.edges)]
    return Part(
        lines=_slim(own),
        metal=metal,
        edge_points=points,
        edge_structures=at,
        in_forest=forests(metal.edges),
        grounds=_slim_grounds(site, grounds, reach_m),
        isolations=stated,
        bonds_found=bonds,
    )


def joined_parts(parts: Sequence[Part], bonds: gpd.GeoDataFrame) -> Part:
    """Return the whole of parts that share no line.

    Parameters
    ----------
    parts : sequence of Part
        As ``part_of`` gives them for the lines of each tile; at least one.
    bonds : GeoDataFrame
        All their bonds, in the order in which one site would give them.
    """
    edges = [edge for part in parts for edge in part.metal.edges]
    points = np.concatenate([part.edge_points for part in parts])
    structures = [structure for part in parts for structure in part.edge_structures]
    order = sorted(range(len(edges)), key=lambda k: edge_key(edges[k]))
    lines = _stacked([part.lines for part in parts], "line_id")
    pieces = {node: length_m for part in parts for node, length_m in part.metal.length_m.items()}
    parted = tuple(pair for part in parts for pair in part.metal.parted)
    return Part(
        lines=lines,
        metal=Metal(tuple(edges[k] for k in order), {node: pieces[node] for node in sorted(pieces)}, parted),
        edge_points=points[order],
        edge_structures=[structures[k] for k in order],
        in_forest=np.concatenate([part.in_forest for part in parts], axis=1)[:, order],
        grounds=_stacked([part.grounds for part in parts], "ground_id"),
        isolations=_stacked([part.isolations for part in parts], "isolation_id"),
        bonds_found=bonds,
    )


def bond_structures(bonds: gpd.GeoDataFrame) -> dict[str, str]:
    """Return the structure of each bond that has one, by bond_id."""
    return {str(b): str(s) for b, s in zip(bonds["bond_id"], bonds["structure_id"], strict=True) if pd.notna(s)}


def _owned_metal(metal: Metal, owned: Collection[str]) -> Metal:
    return Metal(
        edges=tuple(edge for edge in metal.edges if edge.a[0] in owned),
        length_m={node: length_m for node, length_m in metal.length_m.items() if node[0] in owned},
        parted=tuple(pair for pair in metal.parted if pair[1] in owned),
    )


def _stacked(frames: Sequence[gpd.GeoDataFrame], name: str) -> gpd.GeoDataFrame:
    """Return the rows of all frames, ordered by an id as text."""
    filled = [frame for frame in frames if len(frame)] or [frames[0]]
    rows = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=filled[0].crs) if len(filled) > 1 else filled[0]
    order = np.argsort(rows[name].astype(str).to_numpy(dtype=object), kind="stable")
    stacked = rows.iloc[order].reset_index(drop=True)
    stacked.attrs = dict(frames[0].attrs)
    return stacked


def _slim(every: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    columns = {"line_id": every["line_id"], "utility": every["utility"], "owner": every["owner"]}
    remarks = pd.Series(_remarks(every), index=every.index, dtype=object)
    told = pd.DataFrame(columns).assign(remark=remarks, conducts=conducts(every))
    return gpd.GeoDataFrame(told, geometry=every.geometry.to_numpy(), crs=every.crs)


def _remarks(every: gpd.GeoDataFrame) -> NDArray[Any]:
    """Say of each line why it is left out of the groups; None where it isn't."""
    remarks = np.full(len(every), None, dtype=object)
    for row, (conductive, status) in enumerate(zip(every["conductive"], every["status"], strict=True)):
        if status in GONE:
            remarks[row] = f"not in the ground: status is {status}"
        elif conductive == "no":
            remarks[row] = "carries no tone: conductive is no"
        elif conductive != "yes":
            remarks[row] = f"{NOT_KNOWN} whether it carries tone: state conductive or material"
    return remarks


def _slim_grounds(site: Site, grounds: gpd.GeoDataFrame, reach_m: float) -> gpd.GeoDataFrame:
    told = [evidence if isinstance(evidence, str) else "recorded" for evidence in grounds["evidence"]]
    near = _nearest_structures(site, grounds.geometry.to_numpy(), reach_m)
    columns = pd.DataFrame(
        {"ground_id": grounds["ground_id"], "line_id": grounds["line_id"], "evidence": told, "structure_id": near},
        dtype=object,
    )
    return gpd.GeoDataFrame(columns, geometry=grounds.geometry.to_numpy(), crs=site.crs)


def _nearest_structures(site: Site, points: NDArray[Any], reach_m: float) -> list[str | None]:
    """Return the structure nearest to each point, within reach; of two as near the first by name."""
    best: dict[int, tuple[float, str]] = {}
    shapes, names = site.structures.geometry.to_numpy(), site.structures["structure_id"].to_numpy(dtype=object)
    if len(shapes) and len(points):
        at, near = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=reach_m)
        for point, structure, apart_m in zip(at, near, shapely.distance(points[at], shapes[near]), strict=True):
            told = (round(float(apart_m), 6), str(names[structure]))
            best[int(point)] = min(told, best.get(int(point), told))
    return [best[row][1] if row in best else None for row in range(len(points))]
