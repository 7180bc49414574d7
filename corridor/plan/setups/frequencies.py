"""Frequencies for crews that work at once: none shared where one's tone reaches the other's receiver."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

import networkx as nx
import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from corridor.errors import DomainError

__all__ = ["Colouring", "colour_frequencies"]

Floats = NDArray[np.float64]
Conflict = tuple[int, int, float]


@dataclass(frozen=True)
class Colouring:
    """A frequency for each set-up.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Hz.
    rank : ndarray of int, shape (n,)
        Which of the set-up's allowed frequencies that is; 0 is its best.
    not_with : tuple of tuple of int, length n
        Set-ups that it shares a frequency with although one's tone reaches the other's receiver: not at the same time.
    proven : bool
        No other choice has fewer such pairs, nor with as few a lower sum of ranks.
    """

    frequency_hz: Floats
    rank: NDArray[np.int64]
    not_with: tuple[tuple[int, ...], ...]
    proven: bool


def colour_frequencies(
    allowed: Sequence[Sequence[float]], conflicts: Iterable[Conflict], *, time_limit_s: float = 5.0
) -> Colouring:
    """Choose a frequency for each set-up: fewest pairs that have to wait for each other, then the best frequencies.

    Set-ups that disturb each other are coloured by networkx (DSATUR, Brelaz 1979, Communications of the ACM 22(4),
    251-256), with a clique of frequencies joined to every set-up that may not use them; a mixed-integer programme
    (HiGHS) then finds out whether fewer pairs have to wait, and gives each its best frequency where it can.

    Parameters
    ----------
    allowed : sequence of sequence of float
        For each set-up the frequencies that keep its grade, Hz, the best first.
    conflicts : iterable of (int, int, float)
        Pairs of set-ups at work at once and the frequency, Hz, at which the tone of one reaches the other's receiver.
    time_limit_s : float
        Solver seconds for each group of set-ups that disturb each other; where they end it, the best found stands.

    Returns
    -------
    Colouring

    Raises
    ------
    DomainError
        If a set-up has no frequency or one twice, or a conflict names a set-up that isn't there or only one.
    """
    lists = [[float(f) for f in own] for own in allowed]
    for number, own in enumerate(lists):
        if not own or len(set(own)) != len(own):
            message = f"allowed: expected different frequencies for set-up {number}, one at least, got {own}"
            raise DomainError(message)
    pairs = set()
    for a, b, f in conflicts:
        if a == b or not (0 <= a < len(lists) and 0 <= b < len(lists)):
            message = f"conflicts: expected two of {len(lists)} set-ups, counted from 0, got {a} and {b}"
            raise DomainError(message)
        if float(f) in lists[a] and float(f) in lists[b]:
            pairs.add((min(a, b), max(a, b), float(f)))
    disturbed: nx.Graph[int] = nx.Graph()
    disturbed.add_nodes_from(range(len(lists)))
    disturbed.add_edges_from((a, b) for a, b, _ in sorted(pairs))
    chosen, proven = [own[0] for own in lists], True
    for members in sorted(nx.connected_components(disturbed), key=min):
        own_pairs = sorted(pair for pair in pairs if pair[0] in members)
        if _waiting(chosen, own_pairs):
            found, exact = _solve(sorted(members), lists, own_pairs, time_limit_s=time_limit_s)
            proven &= exact
            for number, f in found.items():
                chosen[number] = f
    wait = _waiting(chosen, sorted(pairs))
    not_with = tuple(tuple(sorted({a, b} - {n}).pop() for a, b in wait if n in (a, b)) for n in range(len(lists)))
    rank = np.array([own.index(f) for own, f in zip(lists, chosen, strict=True)], dtype=np.int64)
    return Colouring(np.array(chosen, dtype=np.float64), rank, not_with, proven)


def _waiting(chosen: Sequence[float], pairs: Iterable[Conflict]) -> list[tuple[int, int]]:
    return [(a, b) for a, b, f in pairs if chosen[a] == f == chosen[b]]


def _solve(
    members: list[int], lists: list[list[float]], pairs: list[Conflict], *, time_limit_s: float
) -> tuple[dict[int, float], bool]:
    """Best frequencies of set-ups that disturb each other, and whether that is proven."""
    start = _dsatur(members, lists, pairs)
    columns = [(number, f) for number in members for f in lists[number]]
    of = {column: k for k, column in enumerate(columns)}
    edges = sorted({(a, b) for a, b, _ in pairs})
    n = len(columns) + len(edges)
    one_each = sparse.coo_array(
        (np.ones(len(columns)), ([members.index(number) for number, _ in columns], range(len(columns)))),
        shape=(len(members), n),
    )
    apart = sparse.lil_array((len(pairs), n))
    for row, (a, b, f) in enumerate(pairs):
        apart[row, of[a, f]] = apart[row, of[b, f]] = 1.0
        apart[row, len(columns) + edges.index((a, b))] = -1.0
    waits = np.repeat([0.0, 1.0], [len(columns), len(edges)])
    ranks = np.array([lists[number].index(f) for number, f in columns] + [0] * len(edges), dtype=np.float64)
    rules = [
        LinearConstraint(one_each.tocsc(), 1, 1),
        LinearConstraint(apart.tocsc(), -np.inf, 1),
    ]
    best, proven = start, True
    for cost in (waits, ranks):
        result = milp(
            cost, integrality=np.ones(n, dtype=np.int64), bounds=Bounds(0, 1), constraints=rules,
            options={"mip_rel_gap": 0.0, "time_limit": time_limit_s},
        )  # fmt: skip
        proven &= result.status == 0
        if result.x is not None:
            found = {number: f for (number, f), x in zip(columns, result.x, strict=False) if x > 0.5}
            best = min(best, found, key=lambda choice: _cost(choice, lists, pairs))
        rules.append(LinearConstraint(sparse.csc_array(waits[None, :]), 0, _cost(best, lists, pairs)[0] + 0.5))
    return best, proven


def _cost(choice: dict[int, float], lists: list[list[float]], pairs: list[Conflict]) -> tuple[int, int]:
    waits = sum(choice[a] == f == choice[b] for a, b, f in pairs)
    return waits, sum(lists[number].index(f) for number, f in choice.items())


def _dsatur(members: list[int], lists: list[list[float]], pairs: list[Conflict]) -> dict[int, float]:
    """Colour by networkx; a set-up that gets a colour of its own takes the frequency with the fewest conflicts."""
    frequencies = sorted(set(chain.from_iterable(lists[number] for number in members)))
    graph: nx.Graph[tuple[str, float]] = nx.Graph()
    graph.add_edges_from((("f", a), ("f", b)) for a in frequencies for b in frequencies if a < b)
    graph.add_nodes_from(("f", f) for f in frequencies)
    for number in members:
        graph.add_node(("s", number))
        graph.add_edges_from((("s", number), ("f", f)) for f in frequencies if f not in lists[number])
    graph.add_edges_from((("s", a), ("s", b)) for a, b, _ in pairs)
    colour = nx.greedy_color(graph, strategy="DSATUR")
    of_colour = {colour["f", f]: f for f in frequencies}
    chosen: dict[int, float] = {}
    for number in members:
        own = of_colour.get(colour["s", number])
        if own is not None:
            chosen[number] = own
    for number in members:
        if number not in chosen:
            near = [(b if a == number else a, f) for a, b, f in pairs if number in (a, b)]
            chosen[number] = min(lists[number], key=lambda f: sum(chosen.get(k) == g == f for k, g in near))
    return chosen
