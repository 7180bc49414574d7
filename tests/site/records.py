"""Records on disk for the tests of the site room, and what every site must keep to."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import INPUT_TABLES
from corridor.frames import check_metric
from corridor.site import Site, read_site
from corridor.site.findings import CODES, FEATURE, Findings

CRS = "EPSG:32631"
X, Y = 500_000.0, 6_000_000.0  # metres, open sea
with np.errstate(invalid="ignore"):
    BROKEN = LineString([(X, Y), (X, float("nan"))])
FILE = "records.gpkg"

Row = Mapping[str, Any]


def course(*points: tuple[float, float]) -> LineString:
    """A line through points, metres from the corner of the invented site."""
    return LineString([(X + x, Y + y) for x, y in points])


def line(line_id: str | None = "W-1", *points: tuple[float, float], **values: Any) -> dict[str, Any]:
    """A water pipe of ductile iron, whole unless the values say otherwise."""
    row = {"line_id": line_id, "utility": "water", "asset": "pipe", "material": "ductile_iron", "joints": "gasketed",
           "joint_spacing_m": 5.5, "coating": "none", "diameter_mm": 170.0, "wall_mm": 8.0, "depth_m": 1.2,
           "geometry": course(*(points or ((0.0, 0.0), (50.0, 0.0))))}  # fmt: skip
    return row | values


def frame(rows: Sequence[Row], crs: Any = CRS) -> gpd.GeoDataFrame:
    """Rows as a layer; a missing geometry is NULL."""
    data = pd.DataFrame([{k: v for k, v in row.items() if k != "geometry"} for row in rows])
    shapes: list[BaseGeometry | None] = [row.get("geometry") for row in rows]
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, index=data.index, crs=crs), crs=crs)


def write(folder: Path, *, crs: Any = CRS, name: str = FILE, **layers: Sequence[Row]) -> Path:
    """Write layers of one GeoPackage; a layer without any geometry becomes a table."""
    path = folder / name
    for layer, rows in layers.items():
        data = frame(rows, crs)
        if data.geometry.isna().all():
            pyogrio.write_dataframe(pd.DataFrame(data.drop(columns="geometry")), path, layer=layer)
        else:
            data.to_file(path, layer=layer)
    return path


def read(folder: Path, **layers: Sequence[Row]) -> Site:
    """Write layers and read them as a site."""
    return checked(read_site(write(folder, **layers)))


def checked(site: Site) -> Site:
    """Return the site after looking at types, columns, CRS, ids and the accounts."""
    for name, table in INPUT_TABLES.items():
        columns = list(getattr(site, name).columns)
        assert columns[: len(table.names)] == list(table.names), name
        if name != "terminations":
            layer = getattr(site, name)
            assert isinstance(layer, gpd.GeoDataFrame)
            assert layer.crs == site.crs
            check_metric(layer)
            assert not layer.geometry.has_z.any()
            assert list(layer.index) == list(range(len(layer)))
    assert site.lines["line_id"].is_unique
    assert site.lines["line_id"].notna().all()
    assert (site.lines.geom_type == "LineString").all()
    for name in ("depth_m", "diameter_mm"):
        low, mid, high = (site.lines[f"{name}{suffix}"] for suffix in ("_low", "", "_high"))
        assert ((low <= mid) & (mid <= high)).all(), name
    for column in INPUT_TABLES["lines"].columns:
        if column.vocabulary:
            assert set(site.lines[column.name].dropna()) <= set(column.vocabulary)
        if column.mapped:
            stated = site.lines[column.name].notna()
            assert site.lines.loc[stated, f"{column.name}_src"].isin(["given", "mapped", "default", "inferred"]).all()
            assert site.lines.loc[~stated, f"{column.name}_src"].isna().all()
    assert site.lines["conductive"].isin(["yes", "no", "unknown"]).all()
    assert site.lines["assumed"].dtype == bool
    assert (site.lines["assumed"] == (site.lines["assumed_columns"] != "")).all()
    assert_accounts(site)
    return site


def assert_accounts(site: Site) -> None:
    """Every feature in is used or set aside, and each one set aside is told."""
    table = site.accounting
    assert (table["features_in"] == table["used"] + table["set_aside"]).all()
    assert (table["repaired"] <= table["used"]).all()
    findings = site.findings
    assert set(findings["code"]) <= set(CODES)
    assert findings["message"].str.len().gt(0).all()
    told = findings[findings["action"].str.startswith("set aside") & findings["feature_row"].notna()]
    told = told.drop_duplicates(["feature_source", "feature_row"])["feature_source"].value_counts()
    whole = set(findings.loc[findings["code"].eq("unknown_layer"), "feature_source"])
    for row in table[~table["layer"].isin(whole)].itertuples():
        # a multipart feature may lose one part and keep another
        assert told.get(row.layer, 0) >= row.set_aside, row


def codes(site: Site) -> list[str]:
    """The codes of all findings, in order."""
    return list(site.findings["code"])


def found(site: Site, code: str) -> pd.Series:
    """The one finding of a code."""
    rows = site.findings[site.findings["code"] == code]
    assert len(rows) == 1, rows[["code", "message"]].to_string()
    return rows.iloc[0]


def labelled(rows: Sequence[Row]) -> gpd.GeoDataFrame:
    """Rows as the steps of the reader pass them on: with their FEATURE columns."""
    layer = frame(rows)
    for name in layer.columns.difference(["geometry"]):
        if not pd.api.types.is_numeric_dtype(layer[name].dtype):
            layer[name] = layer[name].astype(object).where(layer[name].notna(), None)
    for name, values in zip(FEATURE, ("records.gpkg:lines", range(len(layer)), None), strict=True):
        layer[name] = values
    return layer


def messages(findings: Findings) -> dict[str, list[str]]:
    """Messages by code."""
    table = findings.frame(None)
    return {code: list(rows["message"]) for code, rows in table.groupby("code")}
