"""Growth outward from a seed: what lies within a distance, along metal and across couplings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.couplings.model import Couplings
from corridor.errors import InputError
from corridor.network.model import Network

__all__ = ["Growth", "grow", "reach_graph"]

Floats = NDArray[np.float64]
Anchor = tuple[str, int, str]  # coupling, number along it, line

TOUCH_M = 1e-6  # an anchor at a node is on the spans on both sides of it
ANCHOR_M = 10.0  # along a parallel run tone may jump anywhere; so closely is it let
NEAR_M = 10.0  # so near, tone comes over even where lines neither run side by side nor cross (engineering estimate)


NO_ANCHORS: tuple[Floats, list[Anchor]] = (np.empty(0), [])


@dataclass(frozen=True)
class Growth:
    """What a growth has reached.

    Attributes
    ----------
    spans : dict of str to float
        Distance in m at which each span was reached, by span_id; a span that is reached counts as a whole.
    cut_nodes : tuple of str
        Nodes where the growth stops and metal goes on, sorted: a span left out begins there, or a link leads to one.
    lines : tuple of str
        Lines with a span in it, sorted.
    """

    spans: dict[str, float]
    cut_nodes: tuple[str, ...]
    lines: tuple[str, ...]


def grow(
    network: Network,
    couplings: Couplings,
    seeds: Iterable[str],
    *,
    distance_m: float,
    graph: nx.Graph[Hashable] | None = None,
) -> Growth:
    """Grow outward from lines or nodes.

    Along metal the distance counts; links of every kind and state (open ones are solved closed too), and the jump to a
    line coupled by a parallel run or crossing, cost nothing; to other lines within 10 m the jump costs its length.

    Parameters
    ----------
    network : Network
    couplings : Couplings
        Runs and crossings of the same site.
    seeds : iterable of str
        line_ids (the whole line) and node_ids.
    distance_m : float, m
        How far to grow, >= 0.
    graph : networkx.Graph, optional
        Of ``reach_graph``, where several growths share it.

    Returns
    -------
    Growth

    Raises
    ------
    InputError
        If there is no seed, or one is neither a node nor a line of the network.
    """
    grid = reach_graph(network, couplings) if graph is None else graph
    on_line = _places_on_lines(network, grid)
    sources: set[Hashable] = set()
    for seed in seeds:
        if seed not in network.graph and seed not in on_line:
            message = f"expected line_ids or node_ids of the network as seeds, got {seed!r}; it may carry no tone"
            raise InputError(message)
        sources |= {seed} if seed in network.graph else on_line[seed]
    if not sources:
        message = "expected at least one line_id or node_id as seed, got none"
        raise InputError(message)
    reached = nx.multi_source_dijkstra_path_length(grid, sources, cutoff=distance_m)
    spans = _reached_spans(grid, reached, distance_m)
    lines = dict(zip(network.spans["span_id"], network.spans["line_id"], strict=True))
    return Growth(spans=spans, cut_nodes=_cuts(network, spans), lines=tuple(sorted({lines[s] for s in spans})))


def reach_graph(network: Network, couplings: Couplings, *, near_m: float = NEAR_M) -> nx.Graph[Hashable]:
    """Return the graph that growth runs on: nodes, and anchors on the spans where a coupling lets tone jump.

    Edges carry ``weight`` (m along metal, 0 across links and couplings) and, along a span, ``span_id``. Two lines that
    come within ``near_m`` (m) of each other are coupled too, by leakage and induction; with 0 none is.
    """
    anchors, gap_m = _anchors(network, couplings, near_m)
    graph: nx.Graph[Hashable] = nx.Graph()
    graph.add_nodes_from(network.nodes["node_id"])
    spans = network.spans.sort_values(["line_id", "start_m"], kind="stable")
    for line, part in spans.groupby("line_id", sort=False):
        measures, names = anchors.get(str(line), NO_ANCHORS)
        for span in part.itertuples(index=False):
            first, last = np.searchsorted(measures, (span.start_m - TOUCH_M, span.end_m + TOUCH_M))
            places = [span.start_m, *measures[first:last], span.end_m]
            chain: list[Hashable] = [span.node_start, *names[first:last], span.node_end]
            for k in range(len(chain) - 1):
                step_m = max(0.0, float(places[k + 1] - places[k]))
                _cheapest(graph, chain[k], chain[k + 1], weight=step_m, span_id=span.span_id)
    for a, b in network.links[["node_a", "node_b"]].itertuples(index=False):
        _cheapest(graph, a, b, weight=0.0, span_id=None)
    sides: dict[tuple[str, int], list[Anchor]] = defaultdict(list)
    for _, names in anchors.values():
        for name in names:
            if name in graph:
                sides[name[:2]].append(name)
    for jump in sides.values():
        if len(jump) == 2:
            _cheapest(graph, jump[0], jump[1], weight=gap_m.get(jump[0][:2], 0.0), span_id=None)
    return graph


def _cheapest(graph: nx.Graph[Hashable], a: Hashable, b: Hashable, *, weight: float, span_id: str | None) -> None:
    """Add an edge, keeping the cheaper of two that join the same nodes, and every span's name."""
    spans = {span_id} - {None}
    if graph.has_edge(a, b):
        weight = min(weight, graph.edges[a, b]["weight"])
        spans |= graph.edges[a, b]["spans"]
    graph.add_edge(a, b, weight=weight, spans=spans)


def _anchors(
    network: Network, couplings: Couplings, near_m: float
) -> tuple[dict[str, tuple[Floats, list[Anchor]]], dict[tuple[str, int], float]]:
    """Return measures and names of the anchors on each line, ascending, and the length of the jumps that cost.

    A name is (coupling, number, line).
    """
    shapes = _line_shapes(network.spans)
    rows: list[tuple[str, int, str, str, shapely.Point]] = []
    for run_id, a, b, shape in _couples(couplings.parallel_runs, "run_id", set(shapes)):
        count = max(2, int(np.ceil(shape.length / ANCHOR_M)) + 1)
        points = shapely.line_interpolate_point(shape, np.linspace(0.0, shape.length, count))
        rows += [(run_id, k, a, b, point) for k, point in enumerate(points)]
    for crossing_id, a, b, point in _couples(couplings.crossings, "crossing_id", set(shapes)):
        rows.append((f"{crossing_id}x", 0, a, b, point))
    gap_m = {}
    for number, (a, b, point, gap) in enumerate(_near(shapes, near_m)):
        rows.append((f"{a}~{b}n", number, a, b, point))
        gap_m[f"{a}~{b}n", number] = gap
    found: dict[str, list[tuple[float, Anchor]]] = defaultdict(list)
    for name, number, a, b, point in rows:
        for line in (a, b):
            found[line].append((float(shapely.line_locate_point(shapes[line], point)), (name, number, line)))
    ordered = {line: sorted(places) for line, places in found.items()}
    anchors = {
        line: (np.array([place[0] for place in places]), [place[1] for place in places])
        for line, places in ordered.items()
    }
    return anchors, gap_m


def _couples(frame: gpd.GeoDataFrame, name: str, lines: set[str]) -> Iterator[tuple[str, str, str, Any]]:
    for coupling, a, b, shape in zip(frame[name], frame["line_a"], frame["line_b"], frame.geometry, strict=True):
        if a in lines and b in lines:
            yield coupling, a, b, shape


def _near(shapes: dict[str, shapely.LineString], near_m: float) -> Iterator[tuple[str, str, shapely.Point, float]]:
    """Yield places where two lines come close, line_a < line_b, with a point on line_a and the gap there, m."""
    if near_m <= 0:
        return
    names = sorted(shapes)
    lines = np.array([shapes[name] for name in names], dtype=object)
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=near_m)
    for i, j in sorted(zip(first.tolist(), second.tolist(), strict=True)):
        if i < j:
            closest = shapely.shortest_line(lines[i], lines[j])
            steps = np.linspace(0.0, lines[i].length, max(2, int(np.ceil(lines[i].length / ANCHOR_M)) + 1))
            points = [shapely.get_point(closest, 0), *shapely.line_interpolate_point(lines[i], steps)]
            gaps = shapely.distance(np.array(points, dtype=object), lines[j])
            yield from ((names[i], names[j], points[k], float(gaps[k])) for k in np.flatnonzero(gaps <= near_m))


def _line_shapes(spans: gpd.GeoDataFrame) -> dict[str, shapely.LineString]:
    """Put each line together again from its spans, so that measures are the network's own."""
    ordered = spans.sort_values(["line_id", "start_m"], kind="stable")
    return {
        str(line): shapely.LineString(np.concatenate([shapely.get_coordinates(shape) for shape in part.geometry]))
        for line, part in ordered.groupby("line_id", sort=False)
    }


def _places_on_lines(network: Network, graph: nx.Graph[Hashable]) -> dict[str, set[Hashable]]:
    """Return the nodes and anchors on each line: a seed line is reached all along it."""
    places: dict[str, set[Hashable]] = defaultdict(set)
    for line, name in zip(network.nodes["line_id"], network.nodes["node_id"], strict=True):
        places[line].add(name)
    for name in graph:
        if isinstance(name, tuple):
            places[name[2]].add(name)
    return places


def _reached_spans(graph: nx.Graph[Hashable], reached: dict[Hashable, float], distance_m: float) -> dict[str, float]:
    spans: dict[str, float] = {}
    for a, b, held in graph.edges(data=True):
        at_m = min(reached.get(a, np.inf), reached.get(b, np.inf))
        if at_m < distance_m or at_m == 0:
            for name in held["spans"]:
                spans[name] = min(float(at_m), spans.get(name, np.inf))
    return dict(sorted(spans.items()))


def _cuts(network: Network, spans: dict[str, float]) -> tuple[str, ...]:
    table = network.spans
    inside = table["span_id"].isin(spans).to_numpy()
    held = set(table["node_start"][inside]) | set(table["node_end"][inside])
    left_out = set(table["node_start"][~inside]) | set(table["node_end"][~inside])
    cuts = held & left_out
    for a, b in network.links[["node_a", "node_b"]].itertuples(index=False):
        if (a in held) != (b in held):
            cuts.add(a if a in held else b)
    return tuple(sorted(cuts))
