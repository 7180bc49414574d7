"""An invented street corner of seven lines: small enough to be reviewed in seconds, with something of everything."""

from pathlib import Path

import geopandas as gpd
import pyogrio
from shapely import LineString, Point, box

CRS = "EPSG:32633"
X, Y = 500_000.0, 5_000_000.0
SETTINGS = """[solver]
section_max_m = 12.0
section_close_m = 6.0
workers = 1

[draws]
count = 4
geometries = 2
"""
EQUIPMENT = """frequencies_hz = [1000, 50000]
transmitter = { max_voltage_v = 50, max_current_ma = 300, max_power_w = 5, levels_ma = [5, 50, 200] }
clamp = { max_diameter_mm = 120, turns = 10, core_area_cm2 = 4, saturation_t = 0.3, inductance_uh = 2.9 }
stake = { length_m = 0.4, diameter_mm = 14, lead_m = 20 }
"""
_LINES = (  # line_id, utility, asset, material, owner, north of the corner (m), depth (m)
    ("W-1", "water", "pipe", "ductile_iron", "Slate Water", 0.0, 1.2),
    ("W-2", "water", "pipe", "polyethylene", "Slate Water", 1.1, 1.0),
    ("G-1", "gas", "pipe", "steel", "Ninefold & <b>Sons</b>", 2.0, 0.9),
    ("T-1", "telecommunications", "cable", None, "=Quartz", 3.1, 0.6),
    ("T-2", "telecommunications", "cable", None, "../Quartz", 3.4, None),
    ("E-1", "electricity", "cable", None, "Bränd\x1b[31mstrom", 4.2, 0.8),
    ("S-1", "sewer", "pipe", "concrete", None, 5.5, 2.5),
)
_KINDS = {
    "water": "valve",
    "gas": "valve",
    "telecommunications": "handhole",
    "electricity": "cabinet",
    "sewer": "manhole",
}


def write_corner(folder: Path) -> tuple[Path, Path, Path]:
    """Write the records, settings and equipment into a folder; return the three files."""
    records = folder / "corner.gpkg"
    lines = [
        {"line_id": name, "utility": utility, "asset": asset, "material": material, "owner": owner, "depth_m": depth_m,
         "status": "in_service", "source": "as-built", "source_date": "2020-05-01",
         "geometry": LineString([(X, Y + north_m), (X + 45, Y + north_m + 0.4), (X + 45, Y + 40 - north_m)])}
        for name, utility, asset, material, owner, north_m, depth_m in _LINES
    ]  # fmt: skip
    structures = [
        {"structure_id": f"{row['line_id']}-{end}", "kind": _KINDS[str(row["utility"])], "utility": row["utility"],
         "access": "footway", "owner": row["owner"], "geometry": Point(row["geometry"].coords[place])}
        for row in lines[:6] for end, place in (("A", 0), ("B", 1))
    ]  # fmt: skip
    bonds = [
        {"bond_id": "B-1", "line_a": "T-1", "line_b": "E-1", "structure_id": "T-1-A", "kind": "shared_ground",
         "state": "closed", "resistance_ohm": 0.1, "evidence": "recorded", "geometry": Point(X, Y + 3.1)}
    ]  # fmt: skip
    grounds = [{"ground_id": "GR-1", "line_id": "E-1", "resistance_ohm": 12.0, "geometry": Point(X, Y + 4.2)}]
    area = [{"phase": "1", "geometry": box(X + 5, Y - 2, X + 40, Y + 8)}]
    tables = {"lines": lines, "structures": structures, "bonds": bonds, "grounds": grounds, "work_area": area}
    for name, rows in tables.items():
        pyogrio.write_dataframe(gpd.GeoDataFrame(rows, crs=CRS), records, layer=name, driver="GPKG")
    settings, equipment = folder / "settings.toml", folder / "equipment.toml"
    settings.write_text(SETTINGS, encoding="utf-8")
    equipment.write_text(EQUIPMENT, encoding="utf-8")
    return records, settings, equipment
