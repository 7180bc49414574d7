"""Coordinate reference systems that a layer without one may be in: those that put it where the other layers lie."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError

from corridor.site.placing import Place, distance_m

__all__ = ["Candidate", "crs_candidates"]

_NEAR_M = 3000.0  # candidates put the layer's middle within this of the others'
_SHOWN = 5
_DEGREES = CRS.from_epsg(4326)


@dataclass(frozen=True)
class Candidate:
    """A CRS that a layer may be in: its name, in words, whether axes are exchanged, and how far off it lands."""

    crs: str
    words: str
    swapped: bool
    away_m: float


def crs_candidates(frame: gpd.GeoDataFrame, here: Place | None, *, used: tuple[CRS, ...] = ()) -> list[Candidate]:
    """Return the CRS that put a layer where the others lie, nearest first; none is ever applied.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer; its own CRS, if any, isn't looked at.
    here : (float, float), optional
        Where the other layers lie: longitude and latitude in degrees. Without it only degrees can be told.
    used : tuple of CRS
        Those of the other layers; they come before all others that land as near.

    Returns
    -------
    list of Candidate
        At most five: those used, then all of the public registry whose area holds the place.
    """
    points = shapely.get_coordinates(frame.geometry.array)
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points):
        return []
    x, y = (float(value) for value in np.median(points, axis=0))
    if here is None:
        degrees = (np.abs(points[:, 0]) <= 180.0).all() and (np.abs(points[:, 1]) <= 90.0).all()
        return [Candidate("EPSG:4326", "the numbers can be degrees", swapped=False, away_m=0.0)] if degrees else []
    known = [(crs.to_string(), crs) for crs in dict.fromkeys(used)]
    found = _tried(known, (x, y), here, order=0)
    if abs(x) <= 180.0 and abs(y) <= 180.0:
        found += _tried([("EPSG:4326", _DEGREES)], (x, y), here, order=1)
    else:
        found += _tried(_registered(here), (x, y), here, order=2)
    best: dict[tuple[str, bool], tuple[float, int, Candidate]] = {}
    for away, order, candidate in found:
        best.setdefault((candidate.crs, candidate.swapped), (away, order, candidate))
    # a datum more or less is within a street's width: what is in use comes first there
    ranked = sorted(best.values(), key=lambda row: (round(row[0] / 200.0), row[1], row[2].swapped, row[0], row[2].crs))
    return [candidate for _, _, candidate in ranked[:_SHOWN]]


def _registered(here: Place) -> list[tuple[str, CRS]]:
    lon, lat = here
    area = AreaOfInterest(lon, lat, lon, lat)
    rows = query_crs_info(auth_name="EPSG", pj_types=PJType.PROJECTED_CRS, area_of_interest=area, contains=True)
    return [(f"EPSG:{row.code}", CRS.from_epsg(int(row.code))) for row in sorted(rows, key=lambda row: int(row.code))]


def _tried(
    candidates: list[tuple[str, CRS]], point: tuple[float, float], here: Place, *, order: int
) -> list[tuple[float, int, Candidate]]:
    found = []
    for name, crs in candidates:
        try:
            way = Transformer.from_crs(crs, _DEGREES, always_xy=True)
        except ProjError:  # the registry names it, and no way leads to degrees from there
            continue
        for swapped in (False, True):
            x, y = point[::-1] if swapped else point
            try:
                lon, lat = way.transform(x, y)
            except ProjError:
                continue
            if not (np.isfinite(lon) and np.isfinite(lat) and abs(lat) <= 90.0):
                continue
            away = distance_m((float(lon), float(lat)), here)
            if away <= _NEAR_M:
                words = f"{crs.name}, lands {away / 1000.0:.2f} km from the middle of the others"
                found.append((away, order, Candidate(name, words, swapped=swapped, away_m=away)))
    return found
