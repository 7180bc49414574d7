"""Coordinate reference systems: never guessed, always metres in the end."""

from collections.abc import Sequence
from functools import lru_cache

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from corridor.errors import CrsError
from corridor.site.findings import Findings
from corridor.site.quoting import quoted

__all__ = [
    "check_in_range", "check_way", "horizontal", "in_metres", "layer_crs", "parsed_crs", "reproject", "site_crs",
    "to_degrees",
]  # fmt: skip

_WGS84 = CRS.from_epsg(4326)
_FULL_TURN_DEG, _POLE_DEG = 360.0, 90.0
# metres on the map, not on the ground: off by 1/cos(latitude)
_STRETCHED = ("popular visualisation", "mercator (variant", "equidistant cylindrical", "plate carr")


def layer_crs(
    frame: gpd.GeoDataFrame, *, mapped: str | None, stated: str | CRS | None, where: str, findings: Findings
) -> CRS | None:
    """Return the CRS of a layer: the field map's, else its own, else the one stated for layers without.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer as read.
    mapped, stated : str or CRS, optional
        From the layer's field map, and from the caller.
    where : str
        File and layer, for messages.
    findings : Findings
        Collector.

    Returns
    -------
    CRS or None
        None only where no row has a geometry.

    Raises
    ------
    CrsError
        If there are geometries and no CRS, or a name isn't one.
    """
    own = frame.crs
    if mapped is not None:
        crs = parsed_crs(mapped, where)
        if own is not None and own != crs:
            told = f"{where}: the layer says {own.to_string()}, the field map {crs.to_string()}"
            findings.add("crs_replaced", told, action="used as the field map says; check which is right", source=where)
        return crs
    if own is not None:
        return CRS(own)
    if frame.geometry.isna().all():
        return None
    if stated is None:
        message = (
            f"{where} has no coordinate reference system; state one (crs=, --crs, or crs in its block of a field map), "
            "it is not guessed"
        )
        raise CrsError(message)
    crs = parsed_crs(stated, where)
    told = f"{where}: the layer has no coordinate reference system, {crs.to_string()} was stated for it"
    findings.add("crs_stated", told, action="used as stated", source=where)
    return crs


def check_in_range(frame: gpd.GeoDataFrame, *, where: str) -> None:
    """Refuse a layer in degrees whose coordinates can't be degrees: its CRS is another one.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer in the CRS found for it; one without CRS or coordinates passes.
    where : str
        File and layer, for the message.

    Raises
    ------
    CrsError
        If no coordinate lies in the range of longitude and latitude.
    """
    if frame.crs is None or not horizontal(CRS(frame.crs)).is_geographic:
        return
    x, y = shapely.get_coordinates(frame.geometry.array).T
    known = np.isfinite(x) & np.isfinite(y)
    if known.any() and not ((np.abs(x) <= _FULL_TURN_DEG) & (np.abs(y) <= _POLE_DEG))[known].any():
        name, got = CRS(frame.crs).to_string(), f"{x[known][0]:.12g}, {y[known][0]:.12g}"
        message = (
            f"{where}: expected longitudes and latitudes, as {name} has them, got coordinates such as {got}; "
            "state the CRS they are in: crs in the layer's block of a field map, or --crs where the file states none"
        )
        raise CrsError(message)


def check_way(frame: gpd.GeoDataFrame, *, where: str) -> None:
    """Refuse a layer whose CRS nobody can place on the Earth, since its projection or datum isn't known.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer in the CRS found for it; one without CRS or geometry passes.
    where : str
        File and layer, for the message.

    Raises
    ------
    CrsError
        If no way leads from there to longitude and latitude.
    """
    if frame.crs is None or frame.geometry.isna().all():
        return
    crs = horizontal(CRS(frame.crs))
    try:
        to_degrees(crs)
    except ProjError:
        raise CrsError(_no_way(crs, where)) from None


def _no_way(crs: CRS, where: str) -> str:
    method = crs.coordinate_operation.method_name if crs.coordinate_operation else "none"
    return (
        f"{where}: expected a coordinate reference system that can be placed on the Earth, got {quoted(crs.name)} with "
        f"the projection {quoted(method)}, which can't; correct it in the file, or state the true one: crs in the "
        "layer's block of a field map"
    )


@lru_cache(maxsize=256)  # finding the way takes milliseconds
def to_degrees(crs: CRS) -> Transformer:
    """Return the way from a CRS, x before y, to longitude and latitude.

    Raises
    ------
    ProjError
        If there is none.
    """
    return Transformer.from_crs(crs, _WGS84, always_xy=True)


def site_crs(frames: Sequence[gpd.GeoDataFrame], *, where: str = "the files") -> CRS:
    """Return the site's CRS: the first layer's that is projected in metres, else the UTM zone of the first place.

    ``where`` names the layers in the message.

    Raises
    ------
    CrsError
        If no layer has a CRS and a place to choose by.
    """
    for frame in frames:
        if frame.crs is not None and in_metres(frame.crs):
            return CRS(frame.crs).to_2d()
    for frame in frames:
        if frame.crs is not None and not frame.geometry.isna().all():
            try:
                return CRS(frame.estimate_utm_crs())
            except (RuntimeError, ValueError):
                continue  # no finite place in this layer
    message = (
        f"expected at least one layer with a coordinate reference system and a place on Earth, got none in {where}; "
        "check coordinates and CRS"
    )
    raise CrsError(message)


@lru_cache(maxsize=256)
def in_metres(crs: CRS) -> bool:
    """Tell whether a CRS is projected, in metres, and true to scale near its centre."""
    flat = horizontal(CRS(crs))
    method = flat.coordinate_operation.method_name.casefold() if flat.coordinate_operation else ""
    metric = all(abs(axis.unit_conversion_factor - 1.0) < 1e-12 for axis in flat.axis_info[:2])
    return flat.is_projected and metric and not method.startswith(_STRETCHED)


def reproject(frame: gpd.GeoDataFrame, crs: CRS, *, where: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return a layer in the site's CRS, and say so where that changed it."""
    if frame.crs is None:
        return frame.set_crs(crs)
    own = horizontal(CRS(frame.crs))
    if own == crs:
        return frame.set_crs(crs, allow_override=True)
    unit = own.axis_info[0].unit_name if own.axis_info else "unknown unit"
    told = f"{where}: {own.to_string()} ({unit}) reprojected to {crs.to_string()}"
    findings.add("reprojected", told, action="used after reprojection", source=where)
    return frame.set_crs(own, allow_override=True).to_crs(crs)


@lru_cache(maxsize=256)  # libraries take milliseconds to take a CRS apart
def horizontal(crs: CRS) -> CRS:
    """Return the part of a CRS that says where on the map: without heights, without a tie to another datum."""
    crs = CRS(crs)
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs.to_2d()


def parsed_crs(crs: str | CRS, where: str) -> CRS:
    """Return the CRS of a name or a description; ``where`` is who states it, for the message.

    Raises
    ------
    CrsError
        If there is none such.
    """
    try:
        return CRS.from_user_input(crs)
    except CRSError:
        message = f"{where}: expected a coordinate reference system such as EPSG:32631, got {quoted(crs)}"
        raise CrsError(message) from None
