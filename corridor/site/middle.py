"""The line along the middle of a long, narrow area, for ducts and trenches drawn as areas."""

from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
import shapely
import shapely.ops
from shapely import LineString

__all__ = ["Middle", "middle_line"]

_LEAST_ASPECT = 4.0  # an area less long than this many widths is a chamber, not a course (engineering estimate)
_STEP_SHARE = 0.5  # vertices of the outline, in widths apart, from which the middle is found
_MAX_VERTICES = 4000
_STRAIGHT_SHARE = 0.05  # tolerance of the middle's own bends, in widths


@dataclass(frozen=True)
class Middle:
    """The line along the middle of an area, and the area's mean width, m."""

    line: LineString
    width_m: float


def middle_line(area: Any) -> Middle | None:
    """Return the line along the middle of an area, None where it has no length to speak of.

    The middle is the longest path in the Voronoi diagram of the outline's points that stays inside (Blum, 1967, the
    medial axis; from memory); it ends within a width of the outline's ends, and goes on straight to the outline. The
    mean width w of an area A with outline P follows from A = l w and P = 2 l + 2 w.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        In metres; of several parts, the largest is taken only if the others are empty.

    Returns
    -------
    Middle or None
    """
    parts = [part for part in shapely.get_parts(shapely.make_valid(area)) if part.area > 0.0]
    if len(parts) != 1 or parts[0].geom_type != "Polygon":
        return None
    polygon = shapely.Polygon(parts[0].exterior)  # a hole is no second way
    half = polygon.length / 4.0
    root = half * half - polygon.area
    if root <= 0.0:
        return None
    width = half - float(np.sqrt(root))
    if polygon.area / width < _LEAST_ASPECT * width:
        return None
    step = max(width * _STEP_SHARE, polygon.length / _MAX_VERTICES)
    dense = shapely.segmentize(polygon, step)
    edges = shapely.get_parts(shapely.voronoi_polygons(dense, only_edges=True))
    edges = shapely.get_parts(shapely.node(shapely.multilinestrings(_pieces(edges))))
    shapely.prepare(polygon)
    inside = edges[shapely.contains_properly(polygon, edges)]
    course = _longest(inside)
    if course is None:
        return None
    line = _prolonged(shapely.simplify(course, width * _STRAIGHT_SHARE), polygon, width)
    return Middle(line, width)


def _pieces(edges: Any) -> Any:
    """Return every straight piece of some lines."""
    coordinates, index = shapely.get_coordinates(edges, return_index=True)
    same = index[1:] == index[:-1]
    return shapely.linestrings(np.stack([coordinates[:-1][same], coordinates[1:][same]], axis=1))


def _longest(edges: Any) -> LineString | None:
    """Return the longest of the shortest ways between two ends of a net of straight pieces (exact in a tree)."""
    graph: nx.Graph[tuple[float, ...]] = nx.Graph()
    ends = shapely.get_coordinates(edges).reshape(-1, 2, 2)
    for (start, end), length in zip(ends.round(6).tolist(), shapely.length(edges), strict=True):
        graph.add_edge(tuple(start), tuple(end), length=float(length))
    if not graph:
        return None
    largest = max(nx.connected_components(graph), key=lambda part: (len(part), min(part)))
    seed = min(largest)
    for _ in range(2):  # the farthest from anywhere is one end, the farthest from there the other
        found: Any = nx.single_source_dijkstra(graph, seed, weight="length")
        length, ways = found
        seed = max(length, key=lambda node: (length[node], node))
    way = ways[seed]
    return LineString(way) if len(way) > 1 else None


def _prolonged(line: LineString, polygon: Any, width: float) -> LineString:
    """Return a line without the forks at its two ends, gone on straight to the outline."""
    if line.length <= 3.0 * width:
        return line
    inner = shapely.ops.substring(line, width, line.length - width)
    points = shapely.get_coordinates(inner)
    for end, before in ((0, 1), (-1, -2)):
        way = points[end] - points[before]
        far = points[end] + way / np.hypot(*way) * 4.0 * width
        met = shapely.intersection(LineString([points[end], far]), polygon.exterior)
        if not shapely.is_empty(met):
            touches = shapely.get_coordinates(met)
            nearest = touches[np.hypot(*(touches - points[end]).T).argmin()]
            points[end] = nearest
    return LineString(points)
