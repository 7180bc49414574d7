"""Where to stand: induction spots along a line, and places for the ground stake."""

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["STAKE_CLEARANCE_M", "induction_spots", "stake_places"]

Floats = NDArray[np.float64]

STAKE_CLEARANCE_M = (
    1.0  # nearest recorded line a stake may be driven at (engineering estimate; local codes may ask more)
)

_SAMPLE_STEP_M = 2.0
_NEIGHBOUR_REACH_M = 10.0  # neighbours farther than this count as equally far
_STAKE_BEARINGS_DEG = (90.0, -90.0, 60.0, -60.0, 120.0, -120.0)  # off the line's direction, square first
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
    points = shapely.line_interpolate_point(targets.geometry.to_numpy()[owners], measures)
    shapes = conductors.geometry.to_numpy()
    sample, other = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=_NEIGHBOUR_REACH_M)
    ids = conductors["line_id"].to_numpy(dtype=object)[other]
    foreign = ids != targets["line_id"].to_numpy(dtype=object)[owners[sample]]
    sample, other = sample[foreign], other[foreign]
    nearest = np.full(len(points), _NEIGHBOUR_REACH_M)
    np.minimum.at(nearest, sample, shapely.distance(points[sample], shapes[other]))
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
    wished = min(distance_m, lead_m)
    origin = shapely.get_coordinates(shapely.line_interpolate_point(lines, at_m))
    heading = _heading(lines, at_m)
    distances = np.array([factor * wished for factor in _STAKE_DISTANCES if factor * wished <= lead_m])
    bearings = np.radians(_STAKE_BEARINGS_DEG)
    turn = heading[:, None, None] + bearings[None, None, :]
    reach = distances[None, :, None]
    tries = np.stack((reach * np.cos(turn), reach * np.sin(turn)), axis=-1).reshape(len(lines), -1, 2)
    tries += origin[:, None, :]
    points = np.asarray(shapely.points(tries.reshape(-1, 2)))
    tree = shapely.STRtree(obstacles)
    nearest = np.full(points.size, wished)
    (point, _), found = tree.query_nearest(points, max_distance=wished, return_distance=True, all_matches=False)
    nearest[point] = found
    clear = np.round(nearest, 2).reshape(len(lines), -1)
    best = clear.argmax(axis=1)  # the first of equals: square to the line at the wished distance
    rows = np.arange(len(lines))
    return tries[rows, best], clear[rows, best]


def _heading(lines: NDArray[Any], at_m: Floats) -> Floats:
    """Direction of each line at a measure, radians from the x axis, over half a metre to each side."""
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(lines, at_m + 0.5))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(lines, np.maximum(at_m - 0.5, 0.0)))
    step = ahead - behind
    return np.arctan2(step[:, 1], step[:, 0])
