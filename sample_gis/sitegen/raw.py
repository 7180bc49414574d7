"""The downtown block as six owners would send it: each in his own format, columns, words, units, axes and CRS.

Nothing is said of bonds, grounds or terminations, and two owners have sent nothing. What is wrong with each stands in
its read-me.
"""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from .write import FILE_DATE

FOOT_M, INCH_MM = 0.3048, 25.4
FEET_CRS = "+proj=utm +zone=31 +datum=WGS84 +units=us-ft +type=crs"
WITH_HEIGHT = "EPSG:32631+5773"
DEGREES = "EPSG:4326"
ABOUT = """\
# downtown_raw

The lines of downtown_block as six invented owners would send them, and the dig: same script, same seed.

| file | owner | what is wrong with it |
|---|---|---|
| water_mains.shp, water_points.shp | Harrow & Slate Water | mains without .prj; names cut short; inches and feet |
| ninefold_gas.geojson | Ninefold Gas | degrees; a depth that doesn't say what it goes to; `UN` and 0 for nothing |
| oxbow_power.gpkg | Oxbow Lantern Power | CRS with a height; Z of -9999; volts as text; one row for several cables |
| telephone.geojson | Thistle & Wire Telephone | latitude before longitude; ids that the gas owner uses too |
| lamps.gpkg | Municipal Lamps Office | US survey feet; codes of its own for the utility; posts as MultiPoint |
| drains.gpkg | Underwick Drainage Board | inverts; lines in collections; a remark in another script |

`work_area.geojson` is the dig. How to get from these files to a review: docs/messy_records.md.
"""
METALS = {"DI": "DI", "CI": "CI", "ductile_iron": "DIP", "cast_iron": "CIP", "polyethylene": "HDPE"}


def write_raw(tables: dict[str, pd.DataFrame], folder: Path) -> None:
    """Write the six owners' files, the dig and a read-me into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    lines = tables["lines"].drop_duplicates("line_id")
    lines = lines[~lines.is_empty & (lines.length > 0)].reset_index(drop=True)
    lines = lines.set_geometry(lines.geometry.line_merge())
    points = tables["structures"]
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FILE_DATE})
    try:
        _water(lines, points, folder)
        _gas(lines, folder)
        _power(lines, points, folder)
        _telephone(lines, folder)
        _lamps(lines, points, folder)
        _drains(lines, points, folder)
        area = tables["work_area"].to_crs(DEGREES)
        _json(area[["phase", "dig_depth_m", "geometry"]], folder / "work_area.geojson")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    (folder / "README.md").write_text(ABOUT, encoding="utf-8", newline="\n")


def _of(lines: gpd.GeoDataFrame, *utilities: str) -> gpd.GeoDataFrame:
    return lines[lines["utility"].isin(utilities)].reset_index(drop=True)


def _cover(rows: gpd.GeoDataFrame, *, size: float, sign: float = -1.0) -> pd.Series:
    """Return the depth to the top (sign -1) or the bottom (+1) in a unit of so many metres."""
    depth = rows["depth_m"].where(rows["depth_m"].between(0.05, 20.0))
    half = rows["diameter_mm"].fillna(0.0) / 2000.0
    return ((depth + sign * half) / size).round(2)


def _frame(columns: dict[str, Any], rows: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=rows.geometry.to_numpy(), crs=rows.crs)


def _shape_file(frame: gpd.GeoDataFrame, path: Path) -> None:
    options = {"DBF_DATE_LAST_UPDATE": "2020-01-01"}
    pyogrio.write_dataframe(frame, path, driver="ESRI Shapefile", layer_options=options)


def _json(frame: gpd.GeoDataFrame, path: Path) -> None:
    pyogrio.write_dataframe(
        frame, path, driver="GeoJSON", layer_options={"COORDINATE_PRECISION": "9", "WRITE_NAME": "NO", "RFC7946": "NO"}
    )


def _layer(frame: gpd.GeoDataFrame, path: Path, layer: str) -> None:
    mixed = {"geometry_type": "Unknown", "promote_to_multi": False} if len(set(frame.geom_type)) > 1 else {}
    options = {"append": True} if path.exists() else {"dataset_options": {"VERSION": "1.3"}}
    pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", **options, **mixed)


def _water(lines: gpd.GeoDataFrame, points: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "water")
    inches = (rows["diameter_mm"] / INCH_MM).round(1)
    mains = _frame({
        "ASSET_NO": rows["line_id"],
        "MAT": rows["material"].map(lambda m: METALS.get(m, m)),
        "SIZE": [None if np.isnan(v) else f'{v:g}"' for v in inches],
        "COVER_FT": _cover(rows, size=FOOT_M),
        "STAT": rows["status"],
        "JOINT_TYPE": rows["joints"],
        "JOINT_SPAC": rows["joint_spacing_m"],
        "COATING": rows["coating"],
        "YR_INST": rows["install_year"],
    }, rows)  # fmt: skip
    _shape_file(mains, folder / "water_mains.shp")
    (folder / "water_mains.prj").unlink()
    posts = points[points["utility"].eq("water")].reset_index(drop=True)
    nodes = _frame({"NODE_ID": posts["structure_id"], "TYPE": posts["kind"], "LOCATION": posts["access"]}, posts)
    _shape_file(nodes.rename(columns={"NODE_ID": "REF"}), folder / "water_points.shp")


def _gas(lines: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "gas")
    pipes = _frame({
        "id": range(1, len(rows) + 1),
        "material": rows["material"].fillna("UN"),
        "od_mm": rows["diameter_mm"].fillna(0.0),
        "wall_mm": rows["wall_mm"],
        "depth": rows["depth_m"],
        "status": rows["status"],
        "coating": rows["coating"],
        "cp": rows["cathodic_protection"],
        "tracer": rows["tracer_wire"],
        "joints": rows["joints"],
    }, rows.to_crs(DEGREES))  # fmt: skip
    _json(pipes, folder / "ninefold_gas.geojson")


def _power(lines: gpd.GeoDataFrame, points: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "electricity")
    known = rows["nominal_voltage_v"]
    volts = [None if np.isnan(v) else f"{v / 1000:g} kV" if v >= 1000 else f"{v:g} V" for v in known]
    deep = gpd.GeoSeries(shapely.force_3d(rows.geometry.to_numpy(), z=-9999.0), crs=WITH_HEIGHT)
    cables = _frame({
        "CABLE_NO": rows["line_id"],
        "ASSET_TYPE": rows["asset"],
        "CONDUCTOR": rows["material"],
        "CSA_MM2": rows["conductor_mm2"],
        "SHEATH": rows["sheath"],
        "SHEATH_BONDING": rows["sheath_bonding"],
        "VOLTAGE": volts,
        "COVER_MM": _cover(rows, size=0.001).round(),
        "DIA_MM": rows["diameter_mm"],
        "QTY": rows["count"].fillna(1).where(rows["asset"] != "cable", 1).where(rows.index != 1, 2),
        "STATE": rows["status"],
        "LIVE": rows["energized"],
    }, gpd.GeoDataFrame(geometry=deep))  # fmt: skip
    path = folder / "oxbow_power.gpkg"
    _layer(cables, path, "power_cables")
    posts = points[points["utility"].eq("electricity")].reset_index(drop=True)
    plant = _frame({"REF": posts["structure_id"], "TYPE": posts["kind"], "ACCESS": posts["access"]}, posts)
    _layer(plant, path, "power_plant")


def _telephone(lines: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "telecommunications", "datacom").to_crs(DEGREES)
    turned = shapely.transform(rows.geometry.to_numpy(), lambda c: c[:, ::-1])
    ducts = gpd.GeoDataFrame({
        "id": range(1, len(rows) + 1),
        "asset": rows["asset"],
        "material": rows["material"],
        "cover_cm": _cover(rows, size=0.01).round(),
        "sheath": rows["sheath"],
        "tracer": rows["tracer_wire"],
        "status": rows["status"].str.replace("LIVE?", "live?"),
    }, geometry=turned, crs=DEGREES)  # fmt: skip
    _json(ducts, folder / "telephone.geojson")


def _lamps(lines: gpd.GeoDataFrame, points: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "lighting", "traffic_signal")
    cables = _frame({
        "REF": rows["line_id"],
        "UTILITY": rows["utility"].map({"lighting": "SL", "traffic_signal": "TS"}),
        "MATERIAL": rows["material"].fillna("UNKNOWN"),
        "SHEATH": rows["sheath"],
        "COVER_FT": _cover(rows, size=FOOT_M).fillna(0.0),
        "STATUS": rows["status"],
        "VOLTAGE_V": rows["nominal_voltage_v"],
    }, rows.to_crs(FEET_CRS))  # fmt: skip
    path = folder / "lamps.gpkg"
    _layer(cables, path, "lamp_cables")
    posts = points[points["utility"].isin(["lighting", "traffic_signal"])].reset_index(drop=True).to_crs(FEET_CRS)
    many = gpd.GeoDataFrame(geometry=[shapely.MultiPoint([p]) for p in posts.geometry], crs=posts.crs)
    _layer(_frame({"REF": posts["structure_id"], "TYPE": posts["kind"]}, many), path, "lamp_posts")


def _drains(lines: gpd.GeoDataFrame, points: gpd.GeoDataFrame, folder: Path) -> None:
    rows = _of(lines, "sewer", "storm_drain")
    mixed = [
        shapely.GeometryCollection([shape, shapely.Point(shape.coords[0])]) if row % 4 == 0 else shape
        for row, shape in enumerate(rows.geometry)
    ]
    pipes = _frame({
        "PIPE_NO": rows["line_id"],
        "SYSTEM": rows["utility"].map({"sewer": "sanitary", "storm_drain": "storm"}),
        "MATERIAL": rows["material"],
        "DIA_MM": rows["diameter_mm"],
        "INVERT_M": _cover(rows, size=1.0, sign=1.0),
        "STATUS": rows["status"],
        "REMARK": ["труба" if row == 0 else None for row in range(len(rows))],
    }, gpd.GeoDataFrame(geometry=gpd.GeoSeries(mixed, crs=rows.crs)))  # fmt: skip
    path = folder / "drains.gpkg"
    _layer(pipes, path, "drain_pipes")
    posts = points[points["utility"].isin(["sewer", "storm_drain"])].reset_index(drop=True)
    _layer(_frame({"MH_NO": posts["structure_id"], "TYPE": posts["kind"]}, posts), path, "drain_manholes")
