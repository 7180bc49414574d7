"""What holds a large group together: the bonds that split it most, and the visits that settle most of its length."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np

from corridor.network.edges import LEVELS, Edge, Node
from corridor.network.groups import Group

__all__ = [
    "LARGE_SHARE",
    "Split",
    "edges_within",
    "large_groups",
    "length_split_off_m",
    "splitting_bonds",
    "splitting_visits",
]

LARGE_SHARE = 0.2  # of the site's length: a group above it is looked into
SHOWN = 20
NOTHING_M = 1e-6  # what sums of lengths differ by for nothing


@dataclass(frozen=True)
class Split:
    """What taking some edges out of a group splits off: all but its longest remaining part."""

    key: Hashable
    edges: tuple[Edge, ...]
    split_off_m: float


def large_groups(
    groups: Sequence[Group], length_m: Mapping[Node, float], *, share: float = LARGE_SHARE
) -> list[tuple[int, float]]:
    """Return number and length (m) of the groups that hold more than a share of the site's length.

    Parameters
    ----------
    groups : sequence of Group
    length_m : mapping of Node to float, m
        What each place stands for; all of the site's.
    share : float
        Of the whole length.
    """
    least_m = share * sum(length_m.values())
    sizes = [(number, sum(length_m[node] for node in sorted(group.nodes))) for number, group in enumerate(groups)]
    return [(number, size_m) for number, size_m in sizes if size_m > least_m]


def edges_within(group: Group, edges: Sequence[Edge]) -> list[Edge]:
    """Return the edges that hold a group together, in their order."""
    rank = LEVELS.index(group.level)
    return [edge for edge in edges if edge.level <= rank and edge.a in group.nodes]


def splitting_bonds(
    group: Group, edges: Sequence[Edge], length_m: Mapping[Node, float], *, shown: int = SHOWN
) -> list[Split]:
    """Return the bonds whose removal splits most length off a group, the most first.

    One beside which another way holds the same lines together splits nothing off and is left out.

    Parameters
    ----------
    group : Group
    edges : sequence of Edge
        Of the site; those of the group are picked.
    length_m : mapping of Node to float, m
        What each place stands for.
    shown : int
        How many at most.
    """
    return _ranked(group, edges, length_m, lambda edge: edge.edge_id if edge.kind == "bond" else None)[:shown]


def splitting_visits(
    group: Group,
    edges: Sequence[Edge],
    length_m: Mapping[Node, float],
    *,
    structure_of: Mapping[str, str],
    shown: int = SHOWN,
) -> list[Split]:
    """Return the places whose unsettled bonds, all open, would split most length off a group, the most first.

    One visit settles them: until then that length hangs on the group by bonds that nobody has seen. A bond without a
    structure is a visit of its own.

    Parameters
    ----------
    group : Group
    edges, length_m
        As ``splitting_bonds``.
    structure_of : mapping of str to str
        Structure by bond_id, where there is one.
    shown : int
        How many at most.
    """

    def key(edge: Edge) -> Hashable | None:
        if edge.bond_id is None or edge.settled:
            return None
        structure = structure_of.get(edge.bond_id)
        return ("bond", edge.bond_id) if structure is None else ("structure", structure)

    return _ranked(group, edges, length_m, key)[:shown]


def _ranked(
    group: Group, edges: Sequence[Edge], length_m: Mapping[Node, float], key_of: Callable[[Edge], Hashable | None]
) -> list[Split]:
    row_of = {node: row for row, node in enumerate(sorted(group.nodes))}
    sets: dict[Hashable, list[Edge]] = {}
    fixed = []
    for edge in edges_within(group, edges):
        key = key_of(edge)
        if key is None:
            fixed.append((row_of[edge.a], row_of[edge.b]))
        else:
            sets.setdefault(key, []).append(edge)
    pairs = [[(row_of[edge.a], row_of[edge.b]) for edge in held] for held in sets.values()]
    off_m = length_split_off_m([length_m[node] for node in row_of], fixed, pairs)
    found = [
        Split(key, tuple(held), split_m)
        for (key, held), split_m in zip(sets.items(), off_m, strict=True)
        if split_m > NOTHING_M
    ]
    return sorted(found, key=lambda split: (-round(split.split_off_m, 6), str(split.key)))


def length_split_off_m(
    length_m: Sequence[float], fixed: Sequence[tuple[int, int]], sets: Sequence[Sequence[tuple[int, int]]]
) -> list[float]:
    """Return how much length each set of edges splits off a connected graph when it alone is taken out.

    The longest part that remains counts as staying, the rest as split off. Sets are taken out by halves, with a
    union-find that goes back (offline divide and conquer): n log k log n steps for n edges in k sets, whatever they
    hold, where articulation points would do for single edges only.

    Parameters
    ----------
    length_m : sequence of float, m
        By node.
    fixed : sequence of (int, int)
        Edges that stay.
    sets : sequence of sequences of (int, int)
        Edges taken out together.

    Returns
    -------
    list of float, m
        By set.
    """
    if not sets or not length_m:
        return [0.0] * len(sets)
    joined = np.array(fixed, dtype=np.int64).reshape(-1, 2)
    begins = np.cumsum([0, *(len(held) for held in sets)])
    taken = np.array([pair for held in sets for pair in held], dtype=np.int64).reshape(-1, 2)
    stays_m = np.empty(len(sets))
    _longest_without(np.array(length_m, dtype=float), joined, (begins, taken), stays_m)
    whole_m = sum(length_m)
    return [whole_m - float(longest_m) for longest_m in stays_m]


@numba.njit(cache=True)
def _longest_without(length_m: Any, fixed: Any, sets: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Write the length of the longest part that remains without each set.

    Union-find by size that remembers its steps: the parts joined, and the lengths before.
    """
    begins, pairs = sets
    n, count = length_m.size, out.size
    parts = np.arange(n), np.ones(n, np.int64), length_m.copy()
    steps = np.empty((n, 2), np.int64), np.empty((n, 2))
    now = np.array([length_m.max()])  # the longest part
    made = 0
    for k in range(fixed.shape[0]):
        made = _join(fixed[k, 0], fixed[k, 1], (parts, steps, now), made)
    # a stack in place of recursion: each entry goes back to where its parent stood, then joins its sibling's sets
    waiting = np.empty((2 * count + 2, 5), np.int64)
    waiting[0], size = (0, count, made, 0, 0), 1
    while size:
        size -= 1
        first, last, mark, other, end = waiting[size]
        made = _back_to(mark, (parts, steps, now), made)
        for k in range(begins[other], begins[end]):
            made = _join(pairs[k, 0], pairs[k, 1], (parts, steps, now), made)
        if last - first == 1:
            out[first] = now[0]
            continue
        middle = (first + last) // 2
        waiting[size] = (middle, last, made, first, middle)
        waiting[size + 1] = (first, middle, made, middle, last)
        size += 2


@numba.njit(cache=True)
def _join(a: int, b: int, held: Any, made: int) -> int:  # pragma: no cover - compiled
    """Make one part of two; return how many steps were made."""
    (parent, count, part_m), (which, before_m), now = held
    while parent[a] != a:
        a = parent[a]
    while parent[b] != b:
        b = parent[b]
    if a == b:
        return made
    if count[a] < count[b]:
        a, b = b, a
    which[made, 0], which[made, 1] = a, b
    before_m[made, 0], before_m[made, 1] = part_m[a], now[0]
    parent[b] = a
    count[a] += count[b]
    part_m[a] += part_m[b]
    now[0] = max(now[0], part_m[a])
    return made + 1


@numba.njit(cache=True)
def _back_to(mark: int, held: Any, made: int) -> int:  # pragma: no cover - compiled
    """Take back all steps after a mark."""
    (parent, count, part_m), (which, before_m), now = held
    while made > mark:
        made -= 1
        a, b = which[made]
        parent[b] = b
        count[a] -= count[b]
        part_m[a], now[0] = before_m[made]
    return made
