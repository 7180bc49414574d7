"""What holds a large group together: the bonds that split it most, and the visits that settle most of its length."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

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
    sizes = [(number, sum(length_m[node] for node in group.nodes)) for number, group in enumerate(groups)]
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
    whole_m = sum(length_m)
    parts = _Parts(length_m)
    for a, b in fixed:
        parts.join(a, b)
    off_m = [0.0] * len(sets)
    waiting = [(0, len(sets), parts.mark)] if sets else []
    # a stack in place of recursion: each entry goes back to where its parent stood, then joins its sibling's edges
    joined: list[Sequence[Sequence[tuple[int, int]]]] = [()]
    while waiting:
        first, last, mark = waiting.pop()
        parts.back_to(mark)
        for held in joined.pop():
            for a, b in held:
                parts.join(a, b)
        if last - first == 1:
            off_m[first] = whole_m - parts.longest_m
            continue
        middle, here = (first + last) // 2, parts.mark
        waiting += [(middle, last, here), (first, middle, here)]
        joined += [sets[first:middle], sets[middle:last]]
    return off_m


class _Parts:
    """Union-find by size that remembers its steps, with the length of the longest part."""

    def __init__(self, length_m: Sequence[float]) -> None:
        self.parent = list(range(len(length_m)))
        self.count = [1] * len(length_m)
        self.length_m = list(length_m)
        self.longest_m = max(length_m, default=0.0)
        self.steps: list[tuple[int, int, float, float]] = []

    @property
    def mark(self) -> int:
        """How many steps were made."""
        return len(self.steps)

    def root(self, node: int) -> int:
        """Return the node that stands for a part."""
        while self.parent[node] != node:
            node = self.parent[node]
        return node

    def join(self, a: int, b: int) -> None:
        """Make one part of two."""
        large, small = self.root(a), self.root(b)
        if large == small:
            return
        if self.count[large] < self.count[small]:
            large, small = small, large
        self.steps.append((large, small, self.length_m[large], self.longest_m))
        self.parent[small] = large
        self.count[large] += self.count[small]
        self.length_m[large] += self.length_m[small]
        self.longest_m = max(self.longest_m, self.length_m[large])

    def back_to(self, mark: int) -> None:
        """Take back all steps after a mark."""
        while len(self.steps) > mark:
            large, small, length_m, self.longest_m = self.steps.pop()
            self.parent[small] = small
            self.count[large] -= self.count[small]
            self.length_m[large] = length_m
