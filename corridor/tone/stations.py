"""Places above a line where the receiver is held."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

__all__ = ["Stations", "compass", "inside_parts", "set_stations"]

Real = NDArray[np.float64]

SLIVER_M = 0.1  # shorter parts of a line inside an area aren't worth a station
COMPASS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


@dataclass(frozen=True)
class Stations:
    """Places above a line where the receiver is held.

    Attributes
    ----------
    line_id : str
        The line.
    measure_m : ndarray, shape (s,)
        Distance along it.
    xy_m, direction : ndarray, shape (s, 2)
        Place in the site's CRS, and unit vector along the line.
    depth_m : float
        Of its axis.
    """

    line_id: str
    measure_m: Real
    xy_m: Real
    direction: Real
    depth_m: float


def compass(vectors: Real) -> NDArray[np.object_]:
    """Return the side of the compass that plan vectors (n, 2) point to, in eighths."""
    eighth = np.round(np.arctan2(vectors[:, 1], vectors[:, 0]) / (np.pi / 4)).astype(np.int64) % 8
    return np.array(COMPASS, dtype=object)[eighth]


def inside_parts(line: LineString, area: BaseGeometry | None) -> list[tuple[float, float]]:
    """Return the measures between which a line lies inside an area, m; the whole line where there is none."""
    if area is None:
        return [(0.0, line.length)]
    edge = shapely.get_coordinates(shapely.intersection(line, area.boundary))
    crossed = shapely.line_locate_point(line, np.asarray(shapely.points(edge))) if len(edge) else np.empty(0)
    marks = np.unique(np.concatenate(([0.0, line.length], crossed)))
    middle = np.asarray(shapely.line_interpolate_point(line, (marks[1:] + marks[:-1]) / 2))
    inside = shapely.covers(area, middle)
    parts: list[tuple[float, float]] = []
    for low, high in zip(marks[:-1][inside], marks[1:][inside], strict=True):
        if parts and parts[-1][1] == low:
            parts[-1] = (parts[-1][0], float(high))
        else:
            parts.append((float(low), float(high)))
    return [part for part in parts if part[1] - part[0] >= min(SLIVER_M, line.length)]


def set_stations(
    line_id: str, line: LineString, *, depth_m: float, spacing_m: float, area: BaseGeometry | None = None
) -> Stations:
    """Set stations evenly along each part of a line that lies inside an area, half a step from the part's ends.

    Parameters
    ----------
    line_id : str
        The line.
    line : LineString
        In plan.
    depth_m : float
        Of its axis.
    spacing_m : float
        At most, between stations.
    area : Polygon, optional
        The whole line where left out.
    """
    steps = []
    for low, high in inside_parts(line, area):
        count = max(1, int(np.ceil((high - low) / spacing_m)))
        steps.append(low + (np.arange(count) + 0.5) * (high - low) / count)
    measure = np.concatenate(steps) if steps else np.empty(0)
    points = np.asarray(shapely.line_interpolate_point(line, measure))
    step = min(0.05, line.length / 10)
    before = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(measure - step, 0)))
    after = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(measure + step, line.length)))
    along = after - before
    length = np.hypot(along[:, 0], along[:, 1])
    direction = np.where(length[:, None] > 0, along / np.where(length > 0, length, 1)[:, None], [1.0, 0.0])
    return Stations(line_id, measure, shapely.get_coordinates(points), direction, depth_m)
