"""The walking order: the shortest route through set-ups along streets, for which the utility lines stand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.plan.setups.streets import find_streets
from corridor.plan.setups.tour import best_tour

__all__ = ["Route", "walking_order"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Route:
    """A walk through all points.

    Attributes
    ----------
    order : ndarray of int, shape (n,)
        Points in the order of the walk.
    legs_m : ndarray, shape (n - 1,)
        Lengths between one point and the next, m.
    legs : tuple of LineString, length n - 1
        Their ways.
    bridged : bool
        Somewhere the ways don't connect and a straight line stands in.
    """

    order: Ints
    legs_m: Floats
    legs: tuple[shapely.LineString, ...]
    bridged: bool

    @property
    def length_m(self) -> float:
        """Length of the walk, m."""
        return float(self.legs_m.sum())


def walking_order(
    points_xy: ArrayLike, ways: Iterable[Any], *, start: int | None = None, seed: int = 0, link_m: float = 20.0
) -> Route:
    """Return the shortest route through all points along ways, open at its end.

    Records hold no streets, and utility lines follow them: the lines are the ways, noded where they cross. People cross
    from one to another where they lie within ``link_m``; corners of one way aren't cut so. A point off the ways is
    reached straight from the nearest. It is a guide to the order of work: barriers, buildings and traffic aren't in it.

    Parameters
    ----------
    points_xy : array_like, shape (n, 2)
        Set-ups, m.
    ways : iterable of LineString or MultiLineString
        Lines in the same frame, m; a GeoSeries will do.
    start : int, optional
        Point to start from; any where not given.
    seed : int
        Of the search where there are more points than can be ordered exactly (see `best_tour`).
    link_m : float
        >= 0.

    Returns
    -------
    Route

    Raises
    ------
    DomainError
        If points aren't pairs of finite numbers, a way isn't a line, or start isn't one of the points.
    """
    points = np.asarray(points_xy, dtype=np.float64)
    if points.size == 0:
        points = points.reshape(0, 2)
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        message = f"points_xy: expected finite pairs (n, 2) in m, got the shape {points.shape}"
        raise DomainError(message)
    if start is not None and not 0 <= start < len(points):
        message = f"start: expected one of {len(points)} points, counted from 0, got {start!r}"
        raise DomainError(message)
    if not link_m >= 0:
        message = f"link_m: expected a length >= 0, got {link_m!r}"
        raise DomainError(message)
    streets = find_streets(points, ways, link_m=link_m)
    order = best_tour(streets.between_m, start=start, seed=seed)
    legs = tuple(streets.way(int(a), int(b)) for a, b in pairwise(order))
    return Route(order, streets.between_m[order[:-1], order[1:]], legs, streets.bridged)
