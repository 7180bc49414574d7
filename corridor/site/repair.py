"""Geometry as the site needs it: there, finite, single, flat, of the table's type; what isn't is set aside."""

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from corridor.dictionary import Table
from corridor.site.elevations import known_z, nothing_z
from corridor.site.findings import FEATURE, Findings
from corridor.site.middle import middle_line

__all__ = ["repair_geometry"]

_WANTED = {"LineString": (1, "a line"), "Point": (0, "a point"), "Polygon": (2, "an area")}  # dimension, in words
_FIRST_MULTI, _COLLECTION = 4, 7  # type ids: single parts stand before, a collection may hold anything
_MULTI: dict[int, Any] = {0: shapely.MultiPoint, 1: shapely.MultiLineString, 2: shapely.MultiPolygon}
_FARTHEST_M = 1e8  # no projected CRS in metres puts a place of the Earth farther from its origin
_MIN_LENGTH_M = 0.001  # a line shorter than this has no direction to follow


def repair_geometry(
    frame: gpd.GeoDataFrame, table: Table, findings: Findings, *, single: bool = True
) -> gpd.GeoDataFrame:
    """Return the rows whose geometry can be used, each with a single flat part of the table's type.

    Parameters
    ----------
    frame : GeoDataFrame
        One layer in the site's CRS, with its ``FEATURE`` columns.
    table : Table
        What it is read into; ``any`` and ``none`` take rows without geometry.
    findings : Findings
        Every row repaired or set aside is told.
    single : bool
        Whether multipart rows are parted.

    Returns
    -------
    GeoDataFrame
        With a fresh index. If ``single``, a multipart row gives one row a part; lines in 3-D keep ``src_z_min_m``,
        ``src_z_max_m``.
    """
    if table.geometry == "none":
        return frame.reset_index(drop=True)
    free = table.geometry == "any"
    frame = _flat(_present(frame, findings, optional=free), findings, lines=table.geometry == "LineString")
    frame = _valid(_typed(frame, table, findings), table, findings)
    if single:
        frame = _single(frame, findings, merge=not free)
    if table.geometry == "LineString":
        frame = _lines(frame, findings)
    return frame.reset_index(drop=True)


def _drop(frame: gpd.GeoDataFrame, bad: Any, findings: Findings, *, code: str, message: str) -> gpd.GeoDataFrame:
    if not bad.any():
        return frame
    findings.add_rows(code, frame, message, action="set aside: correct the record", at=bad)
    return frame[~bad]


def _present(frame: gpd.GeoDataFrame, findings: Findings, *, optional: bool) -> gpd.GeoDataFrame:
    shapes = frame.geometry.array
    blank = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if not optional:
        frame = _drop(frame, blank, findings, code="no_geometry", message="expected a geometry, the record has none")
    elif blank.any():
        frame = frame.set_geometry(gpd.GeoSeries(frame.geometry.where(~blank, None), crs=frame.crs))
    coordinates, index = shapely.get_coordinates(frame.geometry.array, return_index=True)
    broken = np.zeros(len(frame), dtype=bool)
    broken[index[~np.isfinite(coordinates).all(axis=1)]] = True
    told = "a coordinate is not a finite number in the site's CRS"
    off = np.zeros(len(frame), dtype=bool)
    off[index[(np.abs(coordinates) > _FARTHEST_M).any(axis=1)]] = True
    frame = _drop(frame, broken, findings, code="not_finite", message=told)
    told = f"a coordinate lies off the Earth, beyond {_FARTHEST_M / 1000.0:g} km"
    return _drop(frame, off[~broken], findings, code="far_away", message=told)


def _flat(frame: gpd.GeoDataFrame, findings: Findings, *, lines: bool) -> gpd.GeoDataFrame:
    shapes = frame.geometry.array
    deep = shapely.has_z(shapes)
    if not deep.any():
        return frame
    frame = frame.copy()
    if lines:
        low, high = _z_range(shapes)
        frame["src_z_min_m"], frame["src_z_max_m"] = low, high
    frame = frame.set_geometry(gpd.GeoSeries(shapely.force_2d(shapes), index=frame.index, crs=frame.crs))
    where = str(frame[FEATURE[0]].iloc[0])
    z = shapely.get_coordinates(shapes[deep], include_z=True)[:, 2]
    if (bad := nothing_z(z)).any():
        told = f"{where}: Z is {z[bad][0]:.9g} at {int(bad.sum())} of {len(z)} vertices, which stands for nothing"
        findings.add("z_sentinel", told, action="used in plan; no elevation taken from there", source=where)
    kept = " (kept as src_z_min_m, src_z_max_m)" if lines else ""
    told = f"{where}: {int(deep.sum())} geometries in 3-D; Z is an elevation, never a depth{kept}"
    findings.add("z_dropped", told, action="used in plan; depth_m states the depth", source=where)
    return frame


def _z_range(shapes: Any) -> tuple[Any, Any]:
    coordinates, index = shapely.get_coordinates(shapes, include_z=True, return_index=True)
    low, high = np.full(len(shapes), np.inf), np.full(len(shapes), -np.inf)
    known = known_z(coordinates[:, 2])
    np.minimum.at(low, index[known], coordinates[known, 2])
    np.maximum.at(high, index[known], coordinates[known, 2])
    return np.where(np.isfinite(low), low, np.nan), np.where(np.isfinite(high), high, np.nan)


def _typed(frame: gpd.GeoDataFrame, table: Table, findings: Findings) -> gpd.GeoDataFrame:
    if table.geometry == "any":
        return frame
    dimension, words = _WANTED[table.geometry]
    frame = _collected(frame, dimension, findings)
    shapes = frame.geometry.array
    own = shapely.get_dimensions(shapes)
    mixed = shapely.get_type_id(shapes) == _COLLECTION
    if dimension == 0 and (wide := (own > 0) & ~mixed).any():
        points = np.where(wide, shapely.centroid(shapes), shapes)
        told = "expected a point, got a line or an area"
        findings.add_rows("wrong_geometry", frame, told, action="repaired: its centre taken", at=wide)
        frame = frame.set_geometry(gpd.GeoSeries(points, index=frame.index, crs=frame.crs))
        own = np.where(wide, 0, own)
    if dimension == 1 and (own == 2).any():
        frame = _middles(frame, own == 2, findings)
        own = shapely.get_dimensions(frame.geometry.array)
    told = f"expected {words}, got another geometry"
    return _drop(frame, (own != dimension) | mixed, findings, code="wrong_geometry", message=told)


def _collected(frame: gpd.GeoDataFrame, dimension: int, findings: Findings) -> gpd.GeoDataFrame:
    """Take from each collection the parts of one dimension; what else it holds is told."""
    shapes = np.array(frame.geometry.array, dtype=object)
    rows = []
    for row in np.flatnonzero(shapely.get_type_id(shapes) == _COLLECTION):
        parts = _flattened(shapes[row])
        wanted = parts[shapely.get_dimensions(parts) == dimension]
        if len(wanted):
            rows.append((row, f"a collection of {len(parts)}: {len(wanted)} of the kind expected, others left out"))
            shapes[row] = wanted[0] if len(wanted) == 1 else _MULTI[dimension](list(wanted))
    if not rows:
        return frame
    at = [row for row, _ in rows]
    findings.add_rows("collection", frame.iloc[at], [told for _, told in rows], action="repaired: those parts taken")
    return frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))


def _flattened(shape: Any) -> Any:
    parts = shapely.get_parts(shape)
    while (shapely.get_type_id(parts) >= _FIRST_MULTI).any():
        parts = shapely.get_parts(parts)
    return parts[~shapely.is_empty(parts)]


def _middles(frame: gpd.GeoDataFrame, areas: Any, findings: Findings) -> gpd.GeoDataFrame:
    """Replace areas that are long and narrow by the line along their middle; others stay, to be set aside."""
    shapes = np.array(frame.geometry.array, dtype=object)
    rows, told = [], []
    for row in np.flatnonzero(areas):
        middle = middle_line(shapes[row])
        if middle is not None:
            shapes[row] = middle.line
            rows.append(row)
            told.append(f"expected a line, got an area {middle.line.length:.1f} m long, {middle.width_m:.2f} m wide")
    if rows:
        findings.add_rows("area_as_line", frame.iloc[rows], told, action="repaired: the line along its middle taken")
    return frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))


def _valid(frame: gpd.GeoDataFrame, table: Table, findings: Findings) -> gpd.GeoDataFrame:
    if table.geometry != "Polygon":
        return frame  # a line is invalid only where it has no length, which is told as such
    bad = ~shapely.is_valid(frame.geometry.array)
    if not bad.any():
        return frame
    parts = shapely.make_valid(frame.geometry.array[bad])
    areas = [shapely.union_all([p for p in shapely.get_parts(part) if p.area > 0]) for part in parts]
    shapes = np.array(frame.geometry.array, dtype=object)
    shapes[bad] = areas
    frame = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    lost = bad & shapely.is_empty(shapes)
    mended = bad & ~lost
    if mended.any():
        findings.add_rows(
            "invalid_geometry", frame, "the area crosses itself", action="repaired: made valid", at=mended
        )
    return _drop(frame, lost, findings, code="invalid_geometry", message="the area has no inside")


def _single(frame: gpd.GeoDataFrame, findings: Findings, *, merge: bool) -> gpd.GeoDataFrame:
    shapes = np.array(frame.geometry.array, dtype=object)
    many = shapely.get_type_id(shapes) >= 4
    if not many.any() or not merge:
        return frame
    several = shapely.get_num_geometries(shapes) > 1  # one part in a multipart type is a matter of the file's format
    # parts that follow each other are one line
    joined = shapely.line_merge(shapes[many])
    merged = (shapely.get_dimensions(shapes[many]) == 1) & ~shapely.is_empty(joined)  # no length merges to nothing
    shapes[many] = np.where(merged, joined, shapes[many])
    counts = np.where(many, shapely.get_num_geometries(shapes), 1)
    told = [f"multipart: {n} parts" if n > 1 else "multipart, its parts follow each other" for n in counts[several]]
    findings.add_rows("multipart", frame, told, action="repaired: single parts, the first keeps the id", at=several)
    parts, index = shapely.get_parts(shapes, return_index=True)
    exploded = frame.iloc[index].copy()
    exploded["part"] = np.arange(len(index)) - np.searchsorted(index, index)
    return exploded.set_geometry(gpd.GeoSeries(parts, index=exploded.index, crs=frame.crs))


def _lines(frame: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    short = shapely.length(frame.geometry.array) < _MIN_LENGTH_M
    frame = _drop(frame, short, findings, code="zero_length", message="the line has no length")
    shapes = frame.geometry.array
    slim = shapely.remove_repeated_points(shapes, tolerance=0.0)
    fewer = shapely.get_num_coordinates(slim) < shapely.get_num_coordinates(shapes)
    if fewer.any():
        findings.add_rows("repeated_vertices", frame, "a vertex is there twice", action="repaired: one kept", at=fewer)
        frame = frame.set_geometry(gpd.GeoSeries(slim, index=frame.index, crs=frame.crs))
    crossing = ~shapely.is_simple(frame.geometry.array)
    if crossing.any():
        told = "the line crosses or touches itself"
        findings.add_rows("self_crossing", frame, told, action="used as it is", at=crossing)
    return frame
