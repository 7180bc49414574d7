"""Which lines hang on energized ones by metal: what the hazard gate has to know of the bonds."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any, TypeVar

import networkx as nx
import pandas as pd

from corridor.dictionary import GONE
from corridor.plan.gate import Tie, hazard

__all__ = ["hazard_ties"]

Node = TypeVar("Node")

_CERTAIN_EVIDENCE = ("recorded", "observed", "measured")
_EARTH = "earth"


def hazard_ties(
    lines: pd.DataFrame, bonds_found: pd.DataFrame, links: pd.DataFrame, *, targets: Iterable[str]
) -> dict[str, tuple[Tie, ...]]:
    """Return, for each target, its metallic connections to lines that count as energized, or may.

    Parameters
    ----------
    lines : DataFrame
        The site's lines; those proposed or removed aren't there.
    bonds_found : DataFrame
        Bonds, one a row. Closed recorded, observed and measured ones are certain; such a bond recorded as open doesn't
        connect; all others are uncertain, however unlikely.
    links : DataFrame
        Of the network; its junctions (kind junction: line_a, line_b) are certain, whatever the lines carry.
    targets : iterable of str
        line_id of the lines asked about.

    Returns
    -------
    dict
        A tuple of ties for each target. Certain ones name the nearest energized and the nearest unclear line, by number
        of connections. Uncertain ones are one for each uncertain bond that leaves the target's certain group towards
        such a line: the bonds to check.
    """
    rows = {str(row["line_id"]): row for row in lines.to_dict("records") if row.get("status") not in GONE}
    hazards = {line_id: kind for line_id, row in rows.items() if (kind := hazard(row))}
    certain, doubtful = _graphs(rows, bonds_found, links)
    group_of = {line: n for n, group in enumerate(_components(certain)) for line in group}
    between: nx.MultiGraph[int] = nx.MultiGraph()
    between.add_nodes_from(group_of.values())
    for line_a, line_b, bond_id in doubtful:
        if group_of[line_a] != group_of[line_b]:
            between.add_edge(group_of[line_a], group_of[line_b], key=bond_id, ends=(line_a, line_b))
    dangerous = _members(group_of, hazards)
    kinds: defaultdict[int, Counter[str]] = defaultdict(Counter)
    for line, kind in hazards.items():
        kinds[group_of[line]][kind] += 1
    beyond: dict[int, tuple[Tie, ...]] = {}
    ties: dict[str, tuple[Tie, ...]] = {}
    for target in dict.fromkeys(str(t) for t in targets):
        if target not in rows:
            ties[target] = ()
            continue
        group = group_of[target]
        if group not in beyond:
            found = _beyond(between, group, dangerous)
            beyond[group] = tuple(Tie(rows[line], (bond_id,), certain=False) for bond_id, line in found)
        ties[target] = _within(certain, target, hazards=hazards, rows=rows, kinds=kinds[group]) + beyond[group]
    return ties


def _graphs(
    rows: dict[str, dict[str, Any]], bonds_found: pd.DataFrame, links: pd.DataFrame
) -> tuple[nx.Graph[str], list[tuple[str, str, str]]]:
    """Graph of lines over certain connections, and the uncertain ones as (line_a, line_b, bond_id)."""
    certain: nx.Graph[str] = nx.Graph()
    certain.add_nodes_from(sorted(rows))
    doubtful = []
    columns = ["bond_id", "line_a", "line_b", "state", "evidence"]
    for bond_id, line_a, line_b, state, evidence in bonds_found[columns].sort_values("bond_id").itertuples(index=False):
        if line_a not in rows or line_b not in rows or _EARTH in (line_a, line_b):
            continue
        known = evidence in _CERTAIN_EVIDENCE
        if known and state == "closed":
            certain.add_edge(line_a, line_b, through=(str(bond_id),))
        elif not (known and state == "open"):
            doubtful.append((line_a, line_b, str(bond_id)))
    joined = links[links["kind"] == "junction"]
    for line_a, line_b in zip(joined["line_a"], joined["line_b"], strict=True):
        if line_a != line_b and line_a in rows and line_b in rows:
            certain.add_edge(line_a, line_b, through=())
    return certain, doubtful


def _components(graph: nx.Graph[str]) -> list[set[str]]:
    return sorted(nx.connected_components(graph), key=min)


def _members(group_of: dict[str, int], hazards: dict[str, str]) -> dict[int, list[str]]:
    """Return for each group that holds hazards the energized lines, or where there are none the unclear ones."""
    found: defaultdict[int, list[str]] = defaultdict(list)
    for line in sorted(hazards):
        found[group_of[line]].append(line)
    return {group: [line for line in lines if hazards[line] == "energized"] or lines for group, lines in found.items()}


def _within(
    certain: nx.Graph[str],
    target: str,
    *,
    hazards: dict[str, str],
    rows: dict[str, dict[str, Any]],
    kinds: Counter[str],
) -> tuple[Tie, ...]:
    """Ties inside the target's own certain group: the nearest line of each kind of hazard.

    ``kinds`` counts them in the group, so that nobody looks for what isn't there.
    """
    own = hazards.get(target)
    wanted = [kind for kind in ("energized", "unclear") if kinds[kind] > (kind == own)]
    nearest: dict[str, str] = {}
    before = {target: target}
    for level in _levels(certain, target, before):
        for kind in wanted:
            near = [line for line in level if hazards.get(line) == kind and line != target]
            if near and kind not in nearest:
                nearest[kind] = min(near)
        if len(nearest) == len(wanted):
            break
    ties = []
    for kind in wanted:
        path = [nearest[kind]]
        while path[-1] != target:
            path.append(before[path[-1]])
        through = tuple(bond for a, b in pairwise(path[::-1]) for bond in certain.edges[a, b]["through"])
        ties.append(Tie(rows[path[0]], through, certain=True))
    return tuple(ties)


def _beyond(between: nx.MultiGraph[int], group: int, dangerous: dict[int, list[str]]) -> list[tuple[str, str]]:
    """Uncertain bonds that leave a group towards a line that is, or may be, energized: bond_id and that line.

    The line is the bond's own other end where that counts, else one of the nearest group that holds such lines.
    """
    found: dict[str, str] = {}
    for neighbour in sorted(between.adj[group]):
        reached = {group: group, neighbour: neighbour}  # no way leads back through the group itself
        near = (min(here) for level in _levels(between, neighbour, reached) if (here := dangerous.keys() & set(level)))
        nearest = next(near, None)
        if nearest is not None:
            lines = dangerous[nearest]
            for bond_id, bond in between.adj[group][neighbour].items():
                found[bond_id] = next((line for line in lines if line in bond["ends"]), lines[0])
    return sorted(found.items())


def _levels(graph: nx.Graph[Node], start: Node, before: dict[Node, Node]) -> Iterator[list[Node]]:
    """Yield the nodes by number of connections from the start, as far as somebody asks, and fill in the way there."""
    level = [start]
    while level:
        yield level
        further = []
        for node in level:
            for neighbour in graph.adj[node]:
                if neighbour not in before:
                    before[neighbour] = node
                    further.append(neighbour)
        level = further
