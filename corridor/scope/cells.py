"""Cells over a work area, hexagons or squares, and the pieces that their edges cut lines into.

A piece belongs to one cell by arithmetic on its middle, so that what lies on a common edge is counted once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = ["Grid", "Pieces", "grid_over"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shape = Literal["hexagon", "square"]

_LEAST_M2 = 1e-6  # of the area in a cell: less is rounding
_LEAST_M = 1e-8  # of a line in a cell, likewise
_HALF_ROOT_3 = math.sqrt(3.0) / 2.0


@dataclass(frozen=True)
class Pieces:
    """Pieces of lines, each within one cell: ``owner`` is the row of its line, ``cell`` that of its cell."""

    owner: Ints
    cell: Ints
    length_m: Floats


@dataclass(frozen=True)
class Grid:
    """The cells that cover an area, in order of row and column.

    Attributes
    ----------
    shape : {"hexagon", "square"}
    size_m : float
        Between two sides; hexagons have two sides that run north.
    key : ndarray of int, shape (n, 2)
        Column and row from the origin of the CRS.
    polygons : ndarray of Polygon or MultiPolygon, shape (n,)
        Each cell's part of the area.
    """

    shape: Shape
    size_m: float
    key: Ints
    polygons: NDArray[Any]

    @property
    def names(self) -> list[str]:
        """Return a stable name for each cell: the same place has the same name in every run of one size and shape."""
        return [f"{column}_{row}" for column, row in self.key.tolist()]

    def cells_of(self, xy_m: Floats) -> Ints:
        """Return the row of the cell that each point (m, 2) belongs to; for a point outside, that of the nearest."""
        if not len(xy_m):
            return np.empty(0, dtype=np.int64)
        rows = self._rows(_keys(xy_m, self.shape, self.size_m))
        lost = np.flatnonzero(rows < 0)
        if len(lost):  # on the area's edge, where the cell beyond it has no part of the area
            rows[lost] = shapely.STRtree(self.polygons).nearest(shapely.points(xy_m[lost]))
        return rows

    def cut(self, lines: NDArray[Any]) -> Pieces:
        """Cut lines that lie in the area into pieces, each within one cell.

        Parameters
        ----------
        lines : ndarray of LineString or MultiLineString
            Empty ones and parts that are points have no piece.

        Returns
        -------
        Pieces
            Ordered by line; their lengths add up to the lines'.
        """
        start, end, owner = _segments(lines)
        if not len(owner):
            nothing = np.empty(0, dtype=np.int64)
            return Pieces(nothing, nothing, np.empty(0))
        segment, low, high = _cut_segments(start, end, self.shape, self.size_m)
        along = end - start
        middle = start[segment] + ((low + high) / 2)[:, None] * along[segment]
        length = (high - low) * np.hypot(along[:, 0], along[:, 1])[segment]
        some = length > _LEAST_M
        return Pieces(owner[segment][some], self.cells_of(middle[some]), length[some])

    def _rows(self, keys: Ints) -> Ints:
        """Return the rows of keys (m, 2); -1 where there is no such cell."""
        if not len(self.key):
            return np.full(len(keys), -1, dtype=np.int64)
        least = np.minimum(self.key.min(axis=0), keys.min(axis=0))
        width = int(max(self.key[:, 0].max(), keys[:, 0].max()) - least[0] + 1)
        known, asked = ((k[:, 1] - least[1]) * width + (k[:, 0] - least[0]) for k in (self.key, keys))
        order = np.argsort(known)
        place = np.minimum(np.searchsorted(known[order], asked), len(order) - 1)
        rows = order[place]
        return np.where(known[rows] == asked, rows, -1)


def grid_over(area: BaseGeometry, *, shape: Shape, size_m: float) -> Grid:
    """Return the cells that have a part of an area.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        In a CRS in metres.
    shape : {"hexagon", "square"}
    size_m : float
        Between two sides, > 0.

    Returns
    -------
    Grid
        Its parts add up to the area.
    """
    west, south, east, north = area.bounds
    column_m, row_m = _steps(shape, size_m)
    columns = np.arange(math.floor(west / column_m) - 2, math.ceil(east / column_m) + 3)
    rows = np.arange(math.floor(south / row_m) - 2, math.ceil(north / row_m) + 3)
    key = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2).astype(np.int64)
    whole = _polygons(key, shape, size_m)
    tree = shapely.STRtree(whole)
    near = np.sort(tree.query(area, predicate="intersects"))
    shapely.prepare(area)
    inside = shapely.contains_properly(area, whole[near])
    parts = whole[near].copy()
    parts[~inside] = shapely.intersection(area, whole[near][~inside])
    parts[~inside] = [_surface(part) for part in parts[~inside]]
    kept = shapely.area(parts) > _LEAST_M2
    return Grid(shape, size_m, key[near][kept], parts[kept])


def _surface(part: BaseGeometry) -> BaseGeometry:
    """Return the polygons of an intersection, which may also hold the lines and points where two areas touch."""
    polygons = [one for one in shapely.get_parts(shapely.get_parts(part)) if one.geom_type == "Polygon"]
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)


def _steps(shape: Shape, size_m: float) -> tuple[float, float]:
    """Return how far apart columns and rows of cells lie, m."""
    return (size_m, size_m) if shape == "square" else (size_m, size_m * _HALF_ROOT_3)


def _polygons(key: Ints, shape: Shape, size_m: float) -> NDArray[Any]:
    column_m, row_m = _steps(shape, size_m)
    if shape == "square":
        ring = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]]) * size_m
        origin = key * size_m
    else:
        corner = np.radians(90.0 + 60.0 * np.arange(7))
        ring = np.column_stack([np.cos(corner), np.sin(corner)]) * size_m / (2 * _HALF_ROOT_3)
        ring[-1] = ring[0]
        origin = np.column_stack([(key[:, 0] + 0.5 * (key[:, 1] % 2)) * column_m, key[:, 1] * row_m])
    return np.asarray(shapely.polygons(origin[:, None, :] + ring[None, :, :]))


def _keys(xy_m: Floats, shape: Shape, size_m: float) -> Ints:
    """Return column and row of the cell that each point lies in, shape (m, 2)."""
    if shape == "square":
        return np.floor(xy_m / size_m).astype(np.int64)
    row = xy_m[:, 1] / (size_m * _HALF_ROOT_3)
    column = xy_m[:, 0] / size_m - row / 2.0
    rounded = np.round(np.column_stack([column, row, -column - row]))
    off = np.abs(rounded - np.column_stack([column, row, -column - row]))
    worst = off.argmax(axis=1)  # of three rounded coordinates that must add up to nothing, the worst gives way
    q = np.where(worst == 0, -rounded[:, 1] - rounded[:, 2], rounded[:, 0]).astype(np.int64)
    r = np.where(worst == 1, -rounded[:, 0] - rounded[:, 2], rounded[:, 1]).astype(np.int64)
    return np.column_stack([q + (r - r % 2) // 2, r])


def _segments(lines: NDArray[Any]) -> tuple[Floats, Floats, Ints]:
    parts, part_owner = shapely.get_parts(np.asarray(lines, dtype=object), return_index=True)
    straight = np.isin(shapely.get_type_id(parts), (1, 5))
    parts, part_owner = parts[straight], part_owner[straight]
    parts, inner = shapely.get_parts(parts, return_index=True)
    xy, of_part = shapely.get_coordinates(parts, return_index=True)
    follows = of_part[1:] == of_part[:-1] if len(of_part) else np.empty(0, dtype=bool)
    owner = part_owner[inner][of_part[:-1][follows]] if len(of_part) else np.empty(0, dtype=np.int64)
    return xy[:-1][follows], xy[1:][follows], owner.astype(np.int64)


def _cut_segments(start: Floats, end: Floats, shape: Shape, size_m: float) -> tuple[Ints, Floats, Floats]:
    """Return the pieces of segments between the grid's edges: row of the segment, and where they begin and end, 0 to 1.

    The sides of hexagons lie on lines half a size apart in three directions; those cut hexagons up too, which does no
    harm: every piece still lies within one.
    """
    angles, step_m = ((0.0, 90.0), size_m) if shape == "square" else ((0.0, 60.0, 120.0), size_m / 2.0)
    rows, cuts = [np.arange(len(start))] * 2, [np.zeros(len(start)), np.ones(len(start))]
    for angle in np.radians(angles):
        normal = np.array([np.cos(angle), np.sin(angle)])
        a, b = (start @ normal) / step_m, (end @ normal) / step_m
        first, last = np.ceil(np.minimum(a, b)).astype(np.int64), np.floor(np.maximum(a, b)).astype(np.int64)
        count = np.where(a == b, 0, np.maximum(last - first + 1, 0))
        of = np.repeat(np.arange(len(start)), count)
        number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        rows.append(of)
        cuts.append(np.clip((first[of] + number - a[of]) / (b - a)[of], 0.0, 1.0))
    row, cut = np.concatenate(rows), np.concatenate(cuts)
    order = np.lexsort((cut, row))
    row, cut = row[order], cut[order]
    inside = (row[1:] == row[:-1]) & (cut[1:] > cut[:-1])
    return row[:-1][inside], cut[:-1][inside], cut[1:][inside]
