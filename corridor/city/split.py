"""Cutting a place into tiles that hold about as much geometry each."""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["tiles_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def tiles_of(lines: gpd.GeoDataFrame, others: gpd.GeoDataFrame, *, segments: int) -> tuple[Ints, Ints]:
    """Return the tile of each line and of each other feature, numbered from 0 so that neighbours have near numbers.

    A tile is cut in two across its longer side, where half of its segments lie on either side, until it holds no more
    than asked for (a k-d tree: Bentley 1975, Multidimensional binary search trees, from memory). A line belongs where
    the middle of its box lies; it is never cut.

    Parameters
    ----------
    lines : GeoDataFrame
        LineStrings.
    others : GeoDataFrame
        Points that belong to the tile they lie in; those without geometry to the first.
    segments : int
        Most segments in a tile, >= 1; one line may have more.

    Returns
    -------
    ndarray of int, shape (lines,)
    ndarray of int, shape (others,)
    """
    shapes = lines.geometry.to_numpy()
    weight = np.maximum(shapely.get_num_coordinates(shapes) - 1, 1)
    middle, place = _middles(shapes), _middles(others.geometry.to_numpy())
    of_line, of_other = np.zeros(len(shapes), np.int64), np.zeros(len(place), np.int64)
    inside = np.flatnonzero(np.isfinite(place).all(axis=1))
    for number, (rows, more) in enumerate(_parts((middle, place), weight, (np.arange(len(shapes)), inside), segments)):
        of_line[rows], of_other[more] = number, number
    return of_line, of_other


def _middles(shapes: NDArray[np.object_]) -> Floats:
    bounds = shapely.bounds(shapes).reshape(-1, 4)
    return (bounds[:, :2] + bounds[:, 2:]) / 2


def _parts(
    places: tuple[Floats, Floats], weight: Ints, first: tuple[Ints, Ints], segments: int
) -> Iterator[tuple[Ints, Ints]]:
    """Yield the rows of lines and others of each tile."""
    middle, place = places
    waiting = [first]
    while waiting:
        rows, more = waiting.pop()
        if len(rows) < 2 or weight[rows].sum() <= segments:
            yield rows, more
            continue
        axis = int(np.argmax(np.ptp(middle[rows], axis=0)))
        ordered = rows[np.argsort(middle[rows, axis], kind="stable")]
        summed = np.cumsum(weight[ordered])
        cut = int(np.clip(np.searchsorted(summed, summed[-1] / 2) + 1, 1, len(ordered) - 1))
        beyond = place[more, axis] >= middle[ordered[cut], axis]
        waiting += [(np.sort(ordered[cut:]), more[beyond]), (np.sort(ordered[:cut]), more[~beyond])]
