"""Bonded groups: which lines share metal, by how much evidence that takes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numba
import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.couplings.finders import all_bonds
from corridor.couplings.places import conducts
from corridor.couplings.segments import sorted_lines
from corridor.frames import empty_table, stamp, table_frame
from corridor.network.edges import LEVELS, STRENGTH, Edge, Node, metal_of
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["Group", "bonded_groups", "find_groups", "forests", "group_names", "group_table"]


@dataclass(frozen=True)
class Group:
    """Lines that share metal at one level; ``nodes`` are their places in it, ``lines`` are sorted.

    ``evidence`` and ``probability`` are those of the weakest edge of the most probable way to hold it together.
    """

    level: str
    lines: tuple[str, ...]
    nodes: frozenset[Node]
    evidence: str
    probability: float


def bonded_groups(
    site: Site, *, bonds_found: gpd.GeoDataFrame | None = None, settings: Settings | None = None
) -> gpd.GeoDataFrame:
    """Return the groups of lines that share metal, at three levels of evidence.

    recorded: lines of one utility that meet with no isolating joint between, and closed bonds that are recorded,
    observed or measured. likely: further bonds of probability 0.5 or more. possible: all bonds but the open ones.
    A line in no group is not shown: no record of a bond doesn't mean that there is none.

    Metal that no record vouches for joins nothing at level recorded: lines meet with the weaker evidence of the two
    (``continuity``), likely where a pipe's material is assumed, possible where its joints may part it. Such a line also
    leads from one of its bonds to the next only by that evidence, so that it may stand in two groups of one level. So
    may a line with an isolating joint in it, one on either side.

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
    groups = find_groups(metal_of(site, lines, bonds, settings=used).edges)
    return stamp(group_table(groups, group_names(groups), lines), bonded_groups)


def group_table(groups: Sequence[Group], names: Sequence[str], lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return groups as table ``bonded_groups`` of the data dictionary, with these names, in this order."""
    if not groups:
        return empty_table("bonded_groups", lines.crs)
    lengths = dict(zip(lines["line_id"], lines.geometry.length, strict=True))
    shapes = dict(zip(lines["line_id"], lines.geometry, strict=True))
    rows = [
        {
            "group_id": name,
            "level": group.level,
            "line_ids": " ".join(group.lines),
            "line_count": len(group.lines),
            "length_m": sum(lengths[line] for line in group.lines),
            "evidence_weakest": group.evidence,
            "probability": group.probability,
        }
        for name, group in zip(names, groups, strict=True)
    ]
    geometry = [shapely.multilinestrings([shapes[line] for line in group.lines]) for group in groups]
    return table_frame("bonded_groups", rows, geometry=geometry, crs=lines.crs)


def group_names(groups: Iterable[Group], *, kept: Sequence[str | None] = (), barred: Iterable[str] = ()) -> list[str]:
    """Return a stable name for each group: its level and first line, with a number where that is taken.

    Parameters
    ----------
    groups : iterable of Group
    kept : sequence of str or None, optional
        Names that groups have already, one each; None: it has none.
    barred : iterable of str, optional
        Further names that no new group may take.
    """
    listed = list(groups)
    fixed = list(kept) or [None] * len(listed)
    taken = {*barred, *(name for name in fixed if name is not None)}
    numbers: dict[str, int] = {}
    names: list[str] = []
    for group, name in zip(listed, fixed, strict=True):
        if name is not None:
            names.append(name)
            continue
        first = f"{group.level}:{'_'.join(group.lines[0].split())}"
        number = numbers.get(first, 1)
        while (new := first if number == 1 else f"{first}:{number}") in taken:
            number += 1
        numbers[first] = number
        taken.add(new)
        names.append(new)
    return names


def find_groups(edges: Sequence[Edge], *, within: NDArray[np.bool_] | None = None) -> list[Group]:
    """Return the groups of two lines or more at each level, by level and lines.

    Of the ways to hold a group together the most probable one counts: a maximum spanning tree (Kruskal 1956).

    Parameters
    ----------
    edges : sequence of Edge
        As ``metal_of`` gives them: the most probable first, the stronger evidence first among equals.
    within : ndarray of bool, shape (levels, edges), optional
        Edges that a forest may be made of, as ``forests`` gives them for parts of the whole: what closes a loop in a
        part closes it in the whole too. None: all.
    """
    if not edges:
        return []
    pairs, level = _as_numbers(edges)
    found: list[Group] = []
    for rank in range(len(LEVELS)):
        in_tree, part = _forest_of(pairs, level <= rank if within is None else (level <= rank) & within[rank])
        found += _of_level([edges[k] for k in np.flatnonzero(in_tree).tolist()], LEVELS[rank], part[pairs[in_tree, 0]])
    return found


def forests(edges: Sequence[Edge]) -> NDArray[np.bool_]:
    """Tell which edges hold groups together at each level, all others closing loops; shape (levels, edges).

    Parameters
    ----------
    edges : sequence of Edge
        In the order of ``metal_of``.
    """
    if not edges:
        return np.zeros((len(LEVELS), 0), dtype=bool)
    pairs, level = _as_numbers(edges)
    return np.array([_forest_of(pairs, level <= rank)[0] for rank in range(len(LEVELS))])


def _as_numbers(edges: Sequence[Edge]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return numbers for both nodes of each edge, and its level."""
    number: dict[Node, int] = {}
    pairs = np.array([[number.setdefault(node, len(number)) for node in (edge.a, edge.b)] for edge in edges])
    return pairs, np.array([edge.level for edge in edges])


def _forest_of(pairs: NDArray[np.int64], counts: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Return which edges, of those that count, are in the forest, and the part that each node is in."""
    part, in_tree = np.arange(int(pairs.max()) + 1), np.zeros(len(pairs), dtype=bool)
    _forest(pairs, counts, part, in_tree)
    return in_tree, part


def _of_level(edges: Sequence[Edge], level: str, part: NDArray[np.int64]) -> list[Group]:
    """Return the groups that the edges of a forest hold together; ``part`` has the number of each edge's tree."""
    edges_of: dict[int, list[Edge]] = {}
    for edge, number in zip(edges, part.tolist(), strict=True):
        edges_of.setdefault(number, []).append(edge)
    found = []
    for tree in edges_of.values():
        held = frozenset(node for edge in tree for node in (edge.a, edge.b))
        lines = tuple(sorted({node[0] for node in held}))
        if len(lines) > 1:
            evidence = max((edge.evidence for edge in tree), key=STRENGTH.index)
            found.append(Group(level, lines, held, evidence, min(edge.probability for edge in tree)))
    return sorted(found, key=lambda group: (group.lines, sorted(group.nodes)))


@numba.njit(cache=True)
def _forest(pairs: Any, counts: Any, part: Any, in_tree: Any) -> None:  # pragma: no cover - compiled
    """Mark the edges that join what no edge before them did, and write the part that each node ends up in."""
    for k in range(pairs.shape[0]):
        if counts[k]:
            a, b = _root(part, pairs[k, 0]), _root(part, pairs[k, 1])
            if a != b:
                part[max(a, b)] = min(a, b)
                in_tree[k] = True
    for node in range(part.size):
        part[node] = _root(part, node)


@numba.njit(cache=True)
def _root(part: Any, node: int) -> int:  # pragma: no cover - compiled
    while part[node] != node:
        part[node] = part[part[node]]
        node = part[node]
    return node
