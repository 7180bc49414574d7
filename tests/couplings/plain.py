"""The plain definitions of design and docstrings, pair by pair with geometry objects: slow, and nobody's copy."""

from dataclasses import dataclass
from itertools import combinations, pairwise

import geopandas as gpd
import numpy as np
import shapely
from shapely import LineString, Point

from tests.builders import METRIC


@dataclass
class Run:
    """A parallel run by the plain definition."""

    line_a: str
    line_b: str
    length_m: float
    mean_m: float
    min_m: float


def street(seed: int, *, count: int = 6, turn_rad: float = 0.0, depth: bool = False) -> gpd.GeoDataFrame:
    """Random lines along and across a street of 40 m, in generic position."""
    rng = np.random.default_rng(seed)
    shapes = []
    for _ in range(count):
        heading = turn_rad + rng.choice([0.0, 0.0, 0.0, np.pi, np.pi / 2]) + rng.normal(0, 0.04)
        vertices = rng.integers(2, 6)
        along = np.sort(rng.uniform(0, 40, vertices))
        along += np.arange(vertices) * 0.5
        wobble = rng.normal(0, 0.3, vertices)
        ux, uy = np.cos(heading), np.sin(heading)
        x0, y0 = rng.uniform(-3, 3, 2)
        shapes.append(LineString(np.column_stack((x0 + along * ux - wobble * uy, y0 + along * uy + wobble * ux))))
    columns = {"line_id": [f"L{k}" for k in rng.permutation(count)]}
    if depth:
        columns["depth_m"] = list(rng.uniform(0.4, 2.0, count).round(2))
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=METRIC)


def segments(line: LineString) -> list[LineString]:
    return [LineString(pair) for pair in pairwise(line.coords)]


def _unit(segment: LineString) -> np.ndarray:
    (x0, y0), (x1, y1) = segment.coords
    return np.array([x1 - x0, y1 - y0]) / segment.length


def plain_runs(
    lines: gpd.GeoDataFrame, *, reach_m: float = 3.0, angle_deg: float = 10.0, least_m: float = 5.0
) -> list[Run]:
    """A piece of i is i cut by the flat-ended strip around j; its mean distance is summed over 4001 points."""
    shapes = dict(sorted(zip(lines["line_id"], lines.geometry, strict=True)))
    found = []
    for a, b in combinations(shapes, 2):
        pieces = []
        start = 0.0
        for i in segments(shapes[a]):
            for j in segments(shapes[b]):
                across = abs(np.cross([*_unit(i), 0], [*_unit(j), 0])[2])
                if np.degrees(np.arcsin(min(1.0, across))) > angle_deg:
                    continue
                cut = i.intersection(j.buffer(reach_m, cap_style="flat"))
                if cut.length > 0:
                    ends = sorted(i.project(Point(p)) for p in (cut.coords[0], cut.coords[-1]))
                    points = np.array([i.interpolate(s).coords[0] for s in np.linspace(*ends, 401)])
                    normal = np.array([-_unit(j)[1], _unit(j)[0]])
                    pieces.append((start + ends[0], start + ends[1], np.abs((points - j.coords[0]) @ normal)))
            start += i.length
        found += _joined(a, b, sorted(pieces, key=lambda p: p[:2]), least_m)
    return found


def _joined(a: str, b: str, pieces: list[tuple[float, float, np.ndarray]], least_m: float) -> list[Run]:
    groups: list[list[tuple[float, float, np.ndarray]]] = []
    for piece in pieces:
        if groups and piece[0] <= max(p[1] for p in groups[-1]) + 1.0:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    runs = []
    for group in groups:
        length = max(p[1] for p in group) - group[0][0]
        if length >= least_m:
            weight = np.array([p[1] - p[0] for p in group])
            mean = np.array([np.trapezoid(p[2], dx=1 / 400) for p in group])
            runs.append(Run(a, b, length, float((weight * mean).sum() / weight.sum()), min(p[2].min() for p in group)))
    return runs


def plain_crossings(lines: gpd.GeoDataFrame) -> list[tuple[str, str, Point]]:
    shapes = dict(sorted(zip(lines["line_id"], lines.geometry, strict=True)))
    found = []
    for a, b in combinations(shapes, 2):
        ends_a, ends_b = ([Point(s.coords[0]), Point(s.coords[-1])] for s in (shapes[a], shapes[b]))
        if any(p.distance(q) <= 0.001 for p in ends_a for q in ends_b):
            continue
        points: list[Point] = []
        for i in segments(shapes[a]):
            for j in segments(shapes[b]):
                point = shapely.intersection(i, j)
                if point.geom_type != "Point" or point.is_empty:
                    continue
                if any(point.distance(end) <= 0.05 for end in (*ends_a, *ends_b)):
                    continue
                if all(point.distance(other) > 0.001 for other in points):
                    points.append(point)
        found += [(a, b, point) for point in sorted(points, key=shapes[a].project)]
    return found
