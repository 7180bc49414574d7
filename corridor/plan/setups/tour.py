"""The shortest open tour through all points of a table of distances."""

from __future__ import annotations

from collections.abc import Callable

import networkx as nx
import numpy as np
from networkx.algorithms import approximation
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError

__all__ = ["EXACT_TO", "best_tour", "tour_length"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EXACT_TO = 10  # points: 2^n n^2 steps, a fraction of a second
_KICKS = 40  # of the search beyond: with twice as many none of eight random cases of 30 and 60 points gained 0.2 %
_GAIN = 1e-9  # of a length; smaller ones are rounding


def best_tour(between_m: ArrayLike, *, start: int | None = None, seed: int = 0) -> Ints:
    """Return the shortest order through all points, each once, not back to the first.

    Up to ten points exactly (Held and Karp 1962, J. SIAM 10(1), 196-210; Bellman 1962). Beyond, the best of networkx's
    approximations (greedy, Christofides 1976, simulated annealing with the seed), bettered by turning and moving parts
    (2-opt, Croes 1958; Or 1976) and by seeded double bridges (Martin, Otto and Felten 1991): good, not proven. Sources
    but the first from memory.

    Parameters
    ----------
    between_m : array_like, shape (n, n)
        Distances, symmetric, finite, >= 0.
    start : int, optional
        First point; any where not given.
    seed : int
        Of the search.

    Returns
    -------
    ndarray of int, shape (n,)

    Raises
    ------
    DomainError
        If the table isn't square, symmetric and finite, or start isn't one of the points.
    """
    d = np.asarray(between_m, dtype=np.float64)
    if d.ndim != 2 or d.shape[0] != d.shape[1] or not (np.isfinite(d) & (d >= 0)).all() or not np.allclose(d, d.T):
        message = f"between_m: expected a symmetric table of finite distances >= 0, got the shape {d.shape}"
        raise DomainError(message)
    if start is not None and not 0 <= start < len(d):
        message = f"start: expected one of {len(d)} points, counted from 0, got {start!r}"
        raise DomainError(message)
    if len(d) <= 1:
        return np.arange(len(d))
    tour = _exact(d, start) if len(d) <= EXACT_TO else _search(d, start, seed=seed)
    if start is None and tour[-1] < tour[0]:
        tour = tour[::-1]
    return np.array(tour, dtype=np.int64)


def tour_length(between_m: Floats, order: Ints | list[int]) -> float:
    """Return the length of an order, m; between_m (n, n), order (n,)."""
    o = np.asarray(order, dtype=np.int64)
    return float(between_m[o[:-1], o[1:]].sum())


def _exact(d: Floats, start: int | None) -> list[int]:
    """Dynamic programming over the sets of points visited and the last of them."""
    n = len(d)
    length, before = np.full((1 << n, n), np.inf), np.full((1 << n, n), -1, dtype=np.int64)
    for first in range(n) if start is None else [start]:
        length[1 << first, first] = 0.0
    for visited in range(1, 1 << n):
        for last in range(n):
            if not np.isfinite(length[visited, last]):
                continue
            for following in range(n):
                whole = visited | 1 << following
                if whole != visited and length[visited, last] + d[last, following] < length[whole, following]:
                    length[whole, following] = length[visited, last] + d[last, following]
                    before[whole, following] = last
    visited = (1 << n) - 1
    tour = [int(np.argmin(length[visited]))]
    while before[visited, tour[-1]] >= 0:
        last = tour[-1]
        tour.append(int(before[visited, last]))
        visited ^= 1 << last
    return tour[::-1]


def _search(d: Floats, start: int | None, *, seed: int) -> list[int]:
    rng = np.random.default_rng(seed)
    best = min((_improved(d, tour, start) for tour in _approximations(d, start, seed=seed)), key=_by_length(d))
    fixed = 0 if start is None else 1
    for _ in range(_KICKS):
        cuts = np.sort(rng.choice(np.arange(fixed, len(d) + 1), 3, replace=False)).tolist()
        a, b, c = cuts
        kicked = _improved(d, best[:a] + best[b:c] + best[a:b] + best[c:], start)
        if tour_length(d, kicked) < tour_length(d, best) - _GAIN:
            best = kicked
    return best


def _approximations(d: Floats, start: int | None, *, seed: int) -> list[list[int]]:
    """Return round tours of networkx cut open: at the start, else at the longest edge."""
    graph: nx.Graph[int] = nx.Graph()
    n = len(d)
    graph.add_weighted_edges_from((a, b, float(d[a, b])) for a in range(n) for b in range(a + 1, n))
    source = 0 if start is None else start
    greedy = approximation.greedy_tsp(graph, source=source)
    annealed = approximation.simulated_annealing_tsp(graph, "greedy", source=source, seed=seed)
    tours = []
    for ring in (greedy, approximation.christofides(graph), annealed):
        nodes = [int(node) for node in ring[:-1]]
        if start is None:
            at = int(np.argmax(d[nodes, nodes[1:] + nodes[:1]])) + 1
            tours.append(nodes[at:] + nodes[:at])
        else:
            at = nodes.index(start)
            turned = nodes[at:] + nodes[:at]
            tours += [turned, turned[:1] + turned[:0:-1]]
    return tours


def _improved(d: Floats, tour: list[int], start: int | None) -> list[int]:
    """Turn and move parts as long as that shortens the tour; the start stays first."""
    fixed = 0 if start is None else 1
    while True:
        shorter = _turned(d, tour, fixed) or _moved(d, tour, fixed)
        if shorter is None:
            return tour
        tour = shorter


def _turned(d: Floats, tour: list[int], fixed: int) -> list[int] | None:
    """Return the tour with that part turned round which shortens it most; ends are free, so a part may reach them."""
    o = np.array(tour)
    n = o.size
    step = np.concatenate([[0.0], d[o[:-1], o[1:]], [0.0]])  # step[i]: from point i - 1 to point i
    first, last = np.triu_indices(n, 1)
    first, last = first[first >= fixed], last[first >= fixed]
    into = np.where(first > 0, d[o[np.maximum(first - 1, 0)], o[last]], 0.0)
    out = np.where(last < n - 1, d[o[first], o[np.minimum(last + 1, n - 1)]], 0.0)
    gain = step[first] + step[last + 1] - into - out
    best = int(np.argmax(gain))
    if gain[best] <= _GAIN:
        return None
    i, j = int(first[best]), int(last[best]) + 1
    return tour[:i] + tour[i:j][::-1] + tour[j:]


def _moved(d: Floats, tour: list[int], fixed: int) -> list[int] | None:
    """Return the tour with those one to three points moved elsewhere, either way round, which shortens it most."""
    o, n = np.array(tour), len(tour)
    step = np.concatenate([[0.0], d[o[:-1], o[1:]], [0.0]])  # step[g]: over the gap before place g
    before, after = o[np.maximum(np.arange(n + 1) - 1, 0)], o[np.minimum(np.arange(n + 1), n - 1)]
    has_before, has_after = np.arange(n + 1) > 0, np.arange(n + 1) < n
    best, found = _GAIN, None
    for size in range(1, min(3, n - 1 - fixed) + 1):
        first = np.arange(fixed, n - size + 1)
        behind = first + size
        bridge = np.where(has_before[first] & has_after[behind], d[before[first], after[behind]], 0.0)
        saved = step[first] + step[behind] - bridge
        gap = np.arange(fixed, n + 1)
        elsewhere = (gap < first[:, None]) | (gap > behind[:, None])
        ends = (o[first], o[behind - 1])
        for turned in (False, True):
            head, tail = ends[::-1] if turned else ends
            added = has_before[gap] * d[head[:, None], before[gap]] + has_after[gap] * d[tail[:, None], after[gap]]
            gain = np.where(elsewhere, saved[:, None] - added + step[gap], -np.inf)
            k = int(np.argmax(gain))
            if gain.flat[k] > best:
                best, found = float(gain.flat[k]), (size, int(first[k // gap.size]), int(gap[k % gap.size]), turned)
    if found is None:
        return None
    size, i, g, turned = found
    part, rest = tour[i : i + size], tour[:i] + tour[i + size :]
    at = g if g < i else g - size
    return rest[:at] + (part[::-1] if turned else part) + rest[at:]


def _by_length(d: Floats) -> Callable[[list[int]], float]:
    return lambda tour: tour_length(d, tour)
