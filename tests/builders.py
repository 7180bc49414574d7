"""Small sites built by hand, for tests of every room."""

from collections.abc import Iterable, Mapping
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import INPUT_TABLES
from corridor.frames import empty_table, table_frame
from corridor.site.model import Site

METRIC = CRS.from_epsg(32633)  # any projected CRS in metres: the sites are invented

LINE_DEFAULTS: dict[str, Any] = {
    "utility": "electricity",
    "asset": "cable",
    "conductive": "yes",
    "material": "copper",
    "status": "in_service",
    "depth_m": 0.8,
    "diameter_mm": 30.0,
}

Row = Mapping[str, Any]


def _shape(table: str, geometry: Any) -> BaseGeometry | None:
    if geometry is None or isinstance(geometry, BaseGeometry):
        return geometry
    kind = {"LineString": LineString, "Polygon": Polygon}.get(INPUT_TABLES[table].geometry, Point)
    return kind(geometry)


def _table(name: str, rows: Iterable[Row]) -> gpd.GeoDataFrame:
    listed = [dict(row) for row in rows]
    shapes = [_shape(name, row.pop("geometry", None)) for row in listed]
    return table_frame(name, listed, geometry=shapes, crs=METRIC) if listed else empty_table(name, METRIC)


def make_lines(rows: Iterable[Row]) -> gpd.GeoDataFrame:
    """A ``lines`` frame as read_site gives it; a row is a dict with line_id, geometry (coordinates will do) and more.

    What a row leaves out comes from LINE_DEFAULTS; a depth_m of None is a missing depth. Every mapped column counts as
    given unless the row says ``<column>_src``.
    """
    full = []
    for row in rows:
        line = LINE_DEFAULTS | dict(row)
        for column in INPUT_TABLES["lines"].columns:
            if column.mapped:
                line.setdefault(f"{column.name}_src", None if line.get(column.name) is None else "given")
        for name in ("depth_m", "diameter_mm"):
            line.setdefault(f"{name}_low", line[name])
            line.setdefault(f"{name}_high", line[name])
        filled = [c.removesuffix("_src") for c, v in line.items() if c.endswith("_src") and v == "default"]
        line.setdefault("assumed", bool(filled))
        line.setdefault("assumed_columns", " ".join(sorted(filled)))
        full.append(line)
    return _table("lines", full)


def make_site(
    *,
    lines: Iterable[Row] = (),
    structures: Iterable[Row] = (),
    terminations: Iterable[Row] = (),
    bonds: Iterable[Row] = (),
    grounds: Iterable[Row] = (),
    soil: Iterable[Row] = (),
    work_area: Iterable[Row] = (),
) -> Site:
    """A site from rows (dicts of dictionary columns, ``geometry`` as shapely geometry or coordinates)."""
    frame = make_lines(lines)
    terminals = _table("terminations", terminations)
    accounting = pd.DataFrame(
        {"layer": ["lines"], "features_in": [len(frame)], "used": [len(frame)], "repaired": [0], "set_aside": [0]}
    )
    return Site(
        lines=frame,
        structures=_table("structures", structures),
        terminations=pd.DataFrame(terminals.drop(columns="geometry")),
        bonds=_table("bonds", bonds),
        grounds=_table("grounds", grounds),
        soil=_table("soil", soil),
        work_area=_table("work_area", work_area),
        surfaces=empty_table("surfaces", METRIC),
        findings=empty_table("findings", METRIC),
        accounting=accounting,
        sources=(),
        crs=METRIC,
    )
