"""Ways to walk: utility lines as streets, with links from one to the next and straight lines where nothing connects."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

import networkx as nx
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import KDTree

from corridor.errors import DomainError

__all__ = ["Streets", "find_streets", "ways_near"]

Floats = NDArray[np.float64]

_STEP_M = 10.0  # farthest apart of nodes on a way: people cross from one way to the next at a node
_DETOUR = 2.0  # a link is made where the ways take more than so many times its length: corners aren't cut
_DIGITS = 3  # places nearer than 1 mm are one
_LEAST_M = 1e-9  # of an edge: a length of 0 would be none
_BEYOND_M = 1000.0  # nobody walks from one set-up to the next by a way so far beyond all of them, or twice their extent
_CHUNK = 256  # nodes whose surroundings are searched at once: bounds the memory


@dataclass(frozen=True)
class Streets:
    """Shortest ways between points.

    Attributes
    ----------
    xy : ndarray, shape (m, 2)
        Nodes, the points first, m.
    between_m : ndarray, shape (n, n)
        Lengths of the shortest ways between points, m.
    before : ndarray of int, shape (n, m)
        The node before each on the way from a point.
    bridged : bool
        Straight lines join parts that the ways don't connect.
    """

    xy: Floats
    between_m: Floats
    before: NDArray[np.int32]
    bridged: bool

    def way(self, a: int, b: int) -> shapely.LineString:
        """Return the shortest way from point a to point b."""
        nodes = [b]
        while nodes[-1] != a:
            nodes.append(int(self.before[a, nodes[-1]]))
        return shapely.LineString(self.xy[nodes[::-1]] if len(nodes) > 1 else self.xy[[a, a]])


def find_streets(points: Floats, ways: Iterable[Any], *, link_m: float) -> Streets:
    """Return shortest ways between points along lines (Dijkstra 1959, Numerische Mathematik 1, 269-271).

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        m.
    ways : iterable of LineString or MultiLineString
        In the same frame, m; noded where they cross.
    link_m : float
        How far apart ways may lie that people cross between.

    Returns
    -------
    Streets

    Raises
    ------
    DomainError
        If a way isn't a line.
    """
    lines = _noded(ways)
    graph = _Graph([(float(x), float(y)) for x, y in points])
    feet: defaultdict[int, list[float]] = defaultdict(list)
    near: list[tuple[int, float]] = []
    if lines and len(points):
        places = [shapely.Point(xy) for xy in points.tolist()]
        _, nearest = shapely.STRtree(lines).query_nearest(places, all_matches=False)
        for place, line in zip(places, nearest.tolist(), strict=True):
            near.append((line, float(lines[line].project(place))))
            feet[line].append(near[-1][1])
    for number, line in enumerate(lines):
        graph.add_line(line, feet[number])
    graph.link(len(points), link_m)
    for number, (line, at_m) in enumerate(near):
        foot = lines[line].interpolate(at_m)
        graph.join(number, graph.node(foot.x, foot.y))
    bridged = graph.bridge(len(points))
    if not len(points):
        return Streets(graph.nodes, np.zeros((0, 0)), np.zeros((0, len(graph.xy)), dtype=np.int32), bridged)
    length, before = csgraph.dijkstra(
        graph.matrix(), directed=False, indices=np.arange(len(points)), return_predecessors=True
    )
    between = length[:, : len(points)]
    return Streets(graph.nodes, np.minimum(between, between.T), before, bridged)


def ways_near(points: Floats, ways: Iterable[Any]) -> list[Any]:
    """Return the ways that people could take between points, cut where they lead far beyond all of them.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        m.
    ways : iterable of LineString or MultiLineString
        In the same frame, m.

    Returns
    -------
    list of LineString or MultiLineString
        Those that lie near are the same objects; without points there are none.
    """
    if not len(points):
        return []
    low, high = points.min(axis=0), points.max(axis=0)
    margin = max(_BEYOND_M, 2.0 * float((high - low).max()))
    near = shapely.box(*(low - margin), *(high + margin))
    found: list[Any] = []
    for way in ways:
        if way is None or shapely.covers(near, way):
            found.append(way)
        else:
            found += [part for part in shapely.get_parts(shapely.intersection(way, near)) if part.length > 0]
    return found


def _noded(ways: Iterable[Any]) -> list[shapely.LineString]:
    """Return single lines that meet at their ends only."""
    given = [way for way in ways if way is not None and not way.is_empty]
    strange = sorted({way.geom_type for way in given} - {"LineString", "MultiLineString", "LinearRing"})
    if strange:
        message = f"ways: expected lines, got {', '.join(strange)}"
        raise DomainError(message)
    union = shapely.unary_union([shapely.force_2d(way) for way in given])
    parts: list[Any] = shapely.get_parts(union).tolist()
    return sorted((part for part in parts if part.length > 0), key=lambda line: list(line.coords))


@dataclass
class _Graph:
    xy: list[tuple[float, float]]
    _node_of: dict[tuple[float, float], int] = field(default_factory=dict)
    _edges: dict[tuple[int, int], float] = field(default_factory=dict)

    @property
    def nodes(self) -> Floats:
        return np.array(self.xy, dtype=np.float64).reshape(-1, 2)

    def node(self, x: float, y: float) -> int:
        key = (round(x, _DIGITS) + 0.0, round(y, _DIGITS) + 0.0)
        if key not in self._node_of:
            self._node_of[key] = len(self.xy)
            self.xy.append((x, y))
        return self._node_of[key]

    def join(self, a: int, b: int) -> None:
        """Add the straight edge of two nodes."""
        length = float(np.hypot(*np.subtract(self.xy[a], self.xy[b])))
        if a != b:
            self._edges[min(a, b), max(a, b)] = max(length, _LEAST_M)

    def add_line(self, line: shapely.LineString, feet_m: list[float]) -> None:
        """Add a line's vertices, places in between and the feet of points on it."""
        vertices = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
        at_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertices, axis=0).T))])
        feet = shapely.get_coordinates(shapely.line_interpolate_point(line, np.array(feet_m, dtype=np.float64)))
        order = np.argsort(np.concatenate([at_m, feet_m]), kind="stable")
        chain = [self.node(float(x), float(y)) for x, y in np.concatenate([vertices, feet])[order]]
        for a, b in pairwise(chain):
            self.join(a, b)

    def link(self, first: int, link_m: float) -> None:
        """Join nodes of ways, those from ``first`` on, that lie near each other but far apart along the ways."""
        nodes, along = self.nodes, self.matrix()
        if len(nodes) == first:
            return
        found = np.sort(KDTree(nodes[first:]).query_pairs(link_m, output_type="ndarray"), axis=1)
        pairs = np.unique(found.reshape(-1, 2), axis=0) + first
        straight = np.hypot(*(nodes[pairs[:, 0]] - nodes[pairs[:, 1]]).T)
        sources = np.unique(pairs[:, 0])
        for start in range(0, sources.size, _CHUNK):
            chunk = sources[start : start + _CHUNK]
            here = np.flatnonzero(np.isin(pairs[:, 0], chunk))
            way_m: Floats = csgraph.dijkstra(along, directed=False, indices=chunk, limit=_DETOUR * link_m + 1)
            taken = way_m[np.searchsorted(chunk, pairs[here, 0]), pairs[here, 1]]
            for a, b in pairs[here[taken > _DETOUR * straight[here]]].tolist():
                self.join(a, b)

    def bridge(self, n_points: int) -> bool:
        """Join the parts that hold points by the straight lines of a shortest tree; return whether any was needed."""
        _, part = csgraph.connected_components(self.matrix(), directed=False)
        wanted = sorted(set(part[:n_points].tolist()))
        nodes = self.nodes
        members = {number: np.flatnonzero(part == number) for number in wanted}
        trees = {number: KDTree(nodes[members[number]]) for number in wanted}
        gaps: nx.Graph[int] = nx.Graph()
        for one, other in combinations(wanted, 2):
            distance, index = (np.asarray(found) for found in trees[other].query(nodes[members[one]]))
            nearest = int(np.argmin(distance))
            ends = (int(members[one][nearest]), int(members[other][index[nearest]]))
            gaps.add_edge(one, other, weight=float(distance[nearest]), ends=ends)
        for _, _, gap in nx.minimum_spanning_edges(gaps, data=True):
            self.join(*gap["ends"])
        return len(wanted) > 1

    def matrix(self) -> sparse.csr_array:
        edges = np.array(list(self._edges), dtype=np.int64).reshape(-1, 2)
        shape = (len(self.xy), len(self.xy))
        return sparse.coo_array((list(self._edges.values()), (edges[:, 0], edges[:, 1])), shape=shape).tocsr()
