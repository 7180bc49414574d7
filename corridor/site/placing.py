"""Where layers lie: axes in the wrong order, layers and features far from all others."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod
from pyproj.exceptions import ProjError

from corridor.site.findings import Findings
from corridor.site.reference import to_degrees

__all__ = ["common_place", "distance_m", "far_features", "place_of", "suspect_axes", "swap_axes"]

_GEOD = Geod(ellps="WGS84")
_HUGE = 1e300  # far off the Earth in any unit

Place = tuple[float, float]  # longitude, latitude in degrees


def swap_axes(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return a layer with first and second coordinate exchanged; Z stays."""
    shapes = np.array(frame.geometry.array, dtype=object)
    for deep in (False, True):
        rows = shapely.has_z(shapes) == deep
        if rows.any():
            shapes[rows] = shapely.transform(shapes[rows], _turned, include_z=deep)
    turned = shapes
    return frame.set_geometry(gpd.GeoSeries(turned, index=frame.index, crs=frame.crs))


def _turned(coordinates: NDArray[np.float64]) -> NDArray[np.float64]:
    return coordinates[:, [1, 0, *range(2, coordinates.shape[1])]]


def place_of(frame: gpd.GeoDataFrame, crs: CRS | None = None, *, swapped: bool = False) -> Place | None:
    """Return the median place of a layer's vertices in longitude and latitude; None where it has none on Earth.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer.
    crs : CRS, optional
        What its coordinates are read in; default its own.
    swapped : bool
        Whether its axes are exchanged first.
    """
    crs = crs or frame.crs
    points = shapely.get_coordinates(frame.geometry.array)
    points = points[np.isfinite(points).all(axis=1)]
    if crs is None or not len(points):
        return None
    x, y = np.median(np.clip(points, -_HUGE, _HUGE), axis=0)  # the mean of two such places must not overflow
    if swapped:
        x, y = y, x
    try:
        lon, lat = to_degrees(crs).transform(x, y)
    except ProjError:  # no way from there to longitude and latitude
        return None
    good = np.isfinite(lon) and np.isfinite(lat) and abs(lat) <= 90.0 and abs(lon) <= 360.0
    return (float(lon), float(lat)) if good else None


def distance_m(one: Place, other: Place) -> float:
    """Return the distance of two places on the ellipsoid, m."""
    return float(_GEOD.inv(*one, *other)[2])


def common_place(places: Sequence[Place | None], *, far_m: float) -> Place | None:
    """Return the place that most of some places are near, of several the first; None where there is none."""
    known = [place for place in places if place is not None]
    if not known:
        return None
    votes = [sum(distance_m(one, other) <= far_m for other in known) for one in known]
    return known[int(np.argmax(votes))]


def suspect_axes(frame: gpd.GeoDataFrame, here: Place, *, far_m: float) -> bool:
    """Tell whether a layer lies far from a place, and near it with its axes exchanged."""
    own, turned = place_of(frame), place_of(frame, swapped=True)
    away = own is None or distance_m(own, here) > far_m
    return away and turned is not None and distance_m(turned, here) <= far_m


def far_features(
    frame: gpd.GeoDataFrame, here_m: tuple[float, float], *, far_m: float, where: str, findings: Findings
) -> gpd.GeoDataFrame:
    """Set aside the features that lie farther than far_m from a place; those without a place stay.

    Parameters
    ----------
    frame : GeoDataFrame
        One layer in the site's CRS, with its ``FEATURE`` columns.
    here_m : (float, float)
        The place, m in the site's CRS.
    far_m : float
        Farther than this, by the nearest point of a feature, is another place.
    where : str
        File and layer.
    findings : Findings
        ``far_away`` for each.
    """
    shapes = frame.geometry.array
    coordinates, index = shapely.get_coordinates(shapes, return_index=True)
    broken = np.zeros(len(frame), dtype=bool)  # what isn't finite is told as such
    broken[index[~np.isfinite(coordinates).all(axis=1)]] = True
    with np.errstate(all="ignore"):
        away = shapely.distance(shapes, shapely.Point(here_m))
        far = ~broken & (away > far_m)
    if not far.any():
        return frame
    told = [f"lies {gap / 1000.0:.0f} km from where most layers lie" for gap in away[far]]
    action = f"set aside: correct the record or the CRS of {where}; site.far_away_m sets the limit"
    findings.add_rows("far_away", frame, told, action=action, at=far)
    return frame[~far]
