"""Where to stand: induction spots along a line, and places for the ground stake."""

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = [
    "STAKE_CLEARANCE_M",
    "bearing_and_distance",
    "induction_spots",
    "stake_clearance",
    "stake_places",
    "stake_tries",
]

Floats = NDArray[np.float64]

STAKE_CLEARANCE_M = (
    1.0  # nearest recorded line a stake may be driven at (engineering estimate; local codes may ask more)
)

_SAMPLE_STEP_M = 2.0
_CHUNK = 100_000  # samples looked at together
_NEIGHBOUR_REACH_M = 10.0  # neighbours farther than this count as equally far
_STAKE_BEARINGS_DEG = (90.0, -90.0, 60.0, -60.0, 120.0, -120.0)  # off the line's direction, square first
_MORE_BEARINGS_DEG = (30.0, -30.0, 150.0, -150.0, 0.0, 180.0)
_STAKE_DISTANCES = (1.0, 0.7, 1.4, 2.0)  # times the wished distance, as far as the lead reaches


def induction_spots(
    targets: gpd.GeoDataFrame, conductors: gpd.GeoDataFrame, *, spacing_m: float
) -> list[tuple[str, float]]:
    """Choose places along each target where its neighbours are farthest, one for each piece of ``spacing_m``.

    Parameters
    ----------
    targets : GeoDataFrame
        line_id and LineStrings, in metres.
    conductors : GeoDataFrame
        Every line that carries tone, the targets among them.
    spacing_m : float
        Length of the pieces; a line is cut into equal ones nearest to it.

    Returns
    -------
    list of (line_id, at_m)
        In the order of ``targets``, then along the line. Of places equally far from their neighbours the one nearest to
        the middle of its piece is taken.
    """
    owners, measures = _samples(targets)
    if not owners.size:
        return []
    clearance = _clearance(targets, conductors, owners, measures)
    spots: list[tuple[str, float]] = []
    for n, (line_id, length) in enumerate(zip(targets["line_id"], targets.length, strict=True)):
        own = owners == n
        at, free = measures[own], clearance[own]
        pieces = max(1, round(length / spacing_m))
        piece = np.minimum((at / length * pieces).astype(int), pieces - 1)
        from_middle = np.abs(at - (piece + 0.5) * length / pieces)
        order = np.lexsort((at, from_middle, -free, piece))
        _, first = np.unique(piece[order], return_index=True)
        spots.extend((str(line_id), float(m)) for m in sorted(at[order][first]))
    return spots


def _samples(targets: gpd.GeoDataFrame) -> tuple[NDArray[np.int64], Floats]:
    """Row number and measure of samples every two metres, at whole metres so that names built from them are short."""
    owners, measures = [], []
    for n, length in enumerate(targets.length):
        at = np.arange(_SAMPLE_STEP_M / 2, length, _SAMPLE_STEP_M) if length >= _SAMPLE_STEP_M else [length / 2]
        measures.append(np.asarray(at, dtype=float))
        owners.append(np.full(len(at), n))
    if not owners:
        return np.empty(0, dtype=np.int64), np.empty(0)
    return np.concatenate(owners), np.concatenate(measures)


def _clearance(
    targets: gpd.GeoDataFrame, conductors: gpd.GeoDataFrame, owners: NDArray[np.int64], measures: Floats
) -> Floats:
    """Distance of each sample to the nearest conductor other than its line, m, at most the reach; to centimetres."""
    lines, shapes = targets.geometry.to_numpy(), conductors.geometry.to_numpy()
    own, others = (frame["line_id"].to_numpy(dtype=object) for frame in (targets, conductors))
    tree = shapely.STRtree(shapes)
    nearest = np.full(len(measures), _NEIGHBOUR_REACH_M)
    for start in range(0, len(measures), _CHUNK):  # of a line of 12,000 km, all points at once take gigabytes
        some = slice(start, start + _CHUNK)
        points = shapely.line_interpolate_point(lines[owners[some]], measures[some])
        sample, other = tree.query(points, predicate="dwithin", distance=_NEIGHBOUR_REACH_M)
        foreign = others[other] != own[owners[some]][sample]
        sample, other = sample[foreign], other[foreign]
        np.minimum.at(nearest[some], sample, shapely.distance(points[sample], shapes[other]))
    return np.round(nearest, 2)


def stake_places(
    lines: NDArray[Any], at_m: Floats, obstacles: NDArray[Any], *, distance_m: float, lead_m: float
) -> tuple[Floats, Floats]:
    """Place a ground stake for each hook-up, square to its line first, as clear of recorded lines as the lead allows.

    Parameters
    ----------
    lines : ndarray of LineString, shape (n,)
        The target of each hook-up.
    at_m : ndarray, shape (n,)
        Where along it, m.
    obstacles : ndarray of LineString
        Every line in the ground, the targets among them.
    distance_m, lead_m : float
        Wished distance of the stake and length of its lead, m.

    Returns
    -------
    places : ndarray, shape (n, 2)
        x and y, m.
    clearance_m : ndarray, shape (n,)
        Distance to the nearest recorded line; clearances beyond ``distance_m`` count as equal and are cut to it.
    """
    if not len(lines):
        return np.empty((0, 2)), np.empty(0)
    tries = stake_tries(lines, at_m, distance_m=distance_m, lead_m=lead_m, bearings_deg=_STAKE_BEARINGS_DEG)
    clear = stake_clearance(tries, obstacles, reach_m=min(distance_m, lead_m))
    best = clear.argmax(axis=1)  # the first of equals: square to the line at the wished distance
    rows = np.arange(len(lines))
    return tries[rows, best], clear[rows, best]


def stake_tries(
    lines: NDArray[Any],
    at_m: Floats,
    *,
    distance_m: float,
    lead_m: float,
    bearings_deg: Sequence[float] = (*_STAKE_BEARINGS_DEG, *_MORE_BEARINGS_DEG),
) -> Floats:
    """Return places where a ground stake could be tried, in the order in which equals are preferred.

    Parameters
    ----------
    lines : ndarray of LineString, shape (n,)
        The target of each hook-up.
    at_m : ndarray, shape (n,)
        Where along it, m.
    distance_m, lead_m : float
        Wished distance of the stake and length of its lead, m.
    bearings_deg : sequence of float
        Off the line's direction, degrees to the left.

    Returns
    -------
    ndarray, shape (n, tries, 2)
        x and y, m: the wished distance before others, at each of them square to the line first.
    """
    wished = min(distance_m, lead_m)
    origin = shapely.get_coordinates(shapely.line_interpolate_point(lines, at_m))
    distances = np.array([factor * wished for factor in _STAKE_DISTANCES if factor * wished <= lead_m])
    turn = _heading(lines, at_m)[:, None, None] + np.radians(bearings_deg)[None, None, :]
    reach = distances[None, :, None]
    steps = np.stack((reach * np.cos(turn), reach * np.sin(turn)), axis=-1)
    return np.asarray(steps.reshape(len(lines), -1, 2) + origin[:, None, :])


def stake_clearance(tries: Floats, obstacles: NDArray[Any], *, reach_m: float) -> Floats:
    """Return the distance of each try to the nearest obstacle, m, to centimetres and at most the reach.

    Parameters
    ----------
    tries : ndarray, shape (n, tries, 2)
        x and y, m.
    obstacles : ndarray of LineString
        Every line in the ground.
    reach_m : float
        Distances beyond count as equal.
    """
    points = np.asarray(shapely.points(tries.reshape(-1, 2)))
    nearest = np.full(points.size, reach_m)
    (point, _), found = shapely.STRtree(obstacles).query_nearest(
        points, max_distance=reach_m, return_distance=True, all_matches=False
    )
    nearest[point] = found
    return np.round(nearest, 2).reshape(tries.shape[:2])


def bearing_and_distance(from_xy: Floats, to_xy: Floats) -> tuple[Floats, Floats]:
    """Return the bearing, degrees clockwise from the grid's north, and the distance, m, of places from others.

    Parameters
    ----------
    from_xy, to_xy : ndarray, shape (n, 2)
        x and y, m.
    """
    step = np.asarray(to_xy, dtype=float) - np.asarray(from_xy, dtype=float)
    return np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 360.0, np.hypot(step[:, 0], step[:, 1])


def _heading(lines: NDArray[Any], at_m: Floats) -> Floats:
    """Direction of each line at a measure, radians from the x axis, over half a metre to each side."""
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(lines, at_m + 0.5))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(lines, np.maximum(at_m - 0.5, 0.0)))
    step = ahead - behind
    return np.arctan2(step[:, 1], step[:, 0])
