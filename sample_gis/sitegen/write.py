"""Writes a draft: one GeoPackage, its truth and a short read-me."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from .draft import Draft
from .dressing import spoil_lines, spoil_structures, spoil_terminations
from .truth import bonded_groups, practice_built

# A metric grid whose origin for the samples lies in open sea: no place on land is meant.
CRS = "EPSG:32631"
ORIGIN_M = (500_000.0, 6_206_000.0)
TURN_RAD = 0.21
# The clock must not enter the files.
FILE_DATE = "2020-01-01T00:00:00.000Z"

LINE_COLUMNS = (
    "line_id",
    "utility",
    "subtype",
    "asset",
    "count",
    "contained_in",
    "conductive",
    "material",
    "joints",
    "joint_spacing_m",
    "tracer_wire",
    "sheath",
    "sheath_bonding",
    "coating",
    "cathodic_protection",
    "diameter_mm",
    "wall_mm",
    "conductor_mm2",
    "depth_m",
    "depth_method",
    "horizontal_accuracy_m",
    "vertical_accuracy_m",
    "quality_level",
    "status",
    "energized",
    "nominal_voltage_v",
    "vertical_position",
    "owner",
    "install_year",
    "source",
    "source_date",
    "series_ohm_per_km",
    "leakage_s_per_km",
    "capacitance_nf_per_km",
    "relative_permeability",
    "size_text",
)
STRUCTURE_COLUMNS = ("structure_id", "kind", "utility", "access", "permit", "owner", "quality_level")
NUMERIC = frozenset(
    name for name in LINE_COLUMNS if name.endswith(("_m", "_mm", "_mm2", "_v", "_km", "_year", "_permeability"))
) | {
    "count",
    "resistance_ohm",
    "probability",
    "resistivity_ohm_m",
    "low_ohm_m",
    "high_ohm_m",
    "top_thickness_m",
    "lower_resistivity_ohm_m",
    "dig_depth_m",
}


@dataclass(frozen=True)
class Areas:
    """The polygon layers of a site in local metres: rows of attributes with a ring (n, 2) under ``ring``."""

    soil: list[dict[str, Any]]
    work_area: list[dict[str, Any]]
    surfaces: list[dict[str, Any]] = field(default_factory=list)


def to_map(points: ArrayLike) -> NDArray[np.float64]:
    """Turn local metres (n, 2) into map coordinates (n, 2) in ``CRS``, rounded to the millimetre."""
    local = np.asarray(points, dtype=np.float64)
    cos, sin = np.cos(TURN_RAD), np.sin(TURN_RAD)
    turned: NDArray[np.float64] = local @ np.array([[cos, sin], [-sin, cos]]) + np.array(ORIGIN_M)
    return turned.round(3)


def _line_shape(path: Any) -> LineString | MultiLineString:
    if isinstance(path, list):
        return MultiLineString([to_map(part) for part in path])
    return LineString(to_map(path))


def _table(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> pd.DataFrame:
    table = pd.DataFrame({name: [row.get(name) for row in rows] for name in columns}, dtype=object)
    for name in columns:
        table[name] = table[name].astype(np.float64 if name in NUMERIC else "str")
    return table


def _frame(rows: list[dict[str, Any]], columns: tuple[str, ...], shapes: list[Any]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(_table(rows, columns), geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)


def layers(draft: Draft, areas: Areas, *, messy: bool) -> dict[str, pd.DataFrame]:
    """Return the tables of a site by layer name; messy ones carry the planted defects, which are noted on the draft."""
    lines = [
        {**dict.fromkeys(LINE_COLUMNS), **line.attributes, "line_id": line.line_id, "path": line.path}
        for line in draft.lines.values()
    ]
    structures: list[dict[str, Any]] = [
        {
            "structure_id": item.structure_id,
            "kind": item.kind,
            "position": item.position,
            "quality_level": "c",
            **item.attributes,
        }
        for item in draft.structures.values()
    ]
    terminations = list(draft.terminations)
    if messy:
        lines = spoil_lines(lines, draft)
        spoil_structures(structures, draft)
        terminations = spoil_terminations(terminations, draft)
    tables: dict[str, pd.DataFrame] = {
        "lines": _frame(lines, LINE_COLUMNS, [_line_shape(row["path"]) for row in lines]),
        "structures": _frame(
            structures, STRUCTURE_COLUMNS, [Point(to_map([row["position"]])[0]) for row in structures]
        ),
        "terminations": _table(terminations, ("structure_id", "line_id", "at", "direct", "clamp", "isolated")),
        "bonds": _frame(
            draft.bonds,
            (
                "bond_id",
                "line_a",
                "line_b",
                "structure_id",
                "kind",
                "state",
                "resistance_ohm",
                "evidence",
                "probability",
            ),
            [None if row["geometry"] is None else LineString(to_map(row["geometry"])) for row in draft.bonds],
        ),
        "grounds": _frame(
            draft.grounds,
            ("ground_id", "line_id", "resistance_ohm", "evidence"),
            [Point(to_map([row["position"]])[0]) for row in draft.grounds],
        ),
    }
    polygons = {
        "soil": (
            areas.soil,
            ("resistivity_ohm_m", "low_ohm_m", "high_ohm_m", "top_thickness_m", "lower_resistivity_ohm_m"),
        ),
        "work_area": (areas.work_area, ("phase", "dig_depth_m")),
        "surfaces": (areas.surfaces, ("kind", "closure")),
    }
    for name, (rows, columns) in polygons.items():
        if rows:
            tables[name] = _frame(rows, columns, [Polygon(to_map(row["ring"])) for row in rows])
    return tables


def write_geopackage(tables: dict[str, pd.DataFrame], path: Path) -> None:
    """Write tables as layers of one GeoPackage 1.3; the same tables give the same bytes."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FILE_DATE})
    try:
        for number, (name, table) in enumerate(tables.items()):
            options: dict[str, Any] = {"append": True} if number else {"dataset_options": {"VERSION": "1.3"}}
            if isinstance(table, gpd.GeoDataFrame) and len(set(table.geom_type.dropna())) > 1:
                options |= {"geometry_type": "Unknown", "promote_to_multi": False}
            pyogrio.write_dataframe(table, path, layer=name, driver="GPKG", **options)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def truth(draft: Draft, name: str, seed: int) -> dict[str, Any]:
    """Return what is true of a site as plain data; spots in map coordinates, m."""
    recorded = [{key: value for key, value in row.items() if key != "geometry"} for row in draft.bonds]
    hidden = [{**row, "spot": to_map([row["spot"]])[0].tolist()} for row in draft.hidden_bonds]
    practice = practice_built(draft, name, seed)
    built = [row for row in practice if row["built"]]
    return {
        "site": name,
        "seed": seed,
        "parameters": {"crs": CRS, "snap_m": 0.1, "structure_reach_m": 0.5, "likely_probability": 0.5},
        "bonds": {"records": recorded, "inferred": practice, "hidden": hidden},
        "connections": sorted([*sorted(pair)] for pair in draft.connections()),
        "groups": bonded_groups(draft, built),
        "planted": draft.planted,
    }


def statistics(draft: Draft) -> dict[str, Any]:
    """Return counts and lengths (m) of a draft."""
    length = {line_id: float(LineString(line.path).length) for line_id, line in draft.lines.items()}
    access = sum("yes" in (row["direct"], row["clamp"]) for row in draft.terminations)
    return {
        "lines": len(draft.lines),
        "structures": len(draft.structures),
        "bonds": len(draft.bonds),
        "grounds": len(draft.grounds),
        "access_points": access,
        "length_m": sum(length.values()),
        "conductive_m": sum(value for line_id, value in length.items() if draft.lines[line_id].live),
    }


def read_me(name: str, seed: int, facts: dict[str, Any], about: str) -> str:
    """Return the text of a sample's README.md."""
    return "\n".join(
        [
            f"# {name}",
            "",
            about,
            f"Invented: no real place, owner or record; {CRS} with an origin in open sea, turned by {TURN_RAD} rad.",
            f"{facts['lines']} lines, {facts['length_m']:.0f} m in all; {facts['conductive_m']:.0f} m can carry tone;",
            f"{facts['structures']} structures, {facts['access_points']} terminations with direct or clamp access,",
            f"{facts['bonds']} bond records, {facts['grounds']} grounds.",
            "`truth.json` holds bonds (hidden ones too), bonded groups and what was planted; it is for tests only, the",
            "toolkit never reads it. Depths, sizes and resistances are engineering estimates.",
            f"Made by `python sample_gis/make_samples.py --seed {seed}`; the same seed gives the same bytes.",
            "",
        ]
    )


def write_site(draft: Draft, areas: Areas, folder: Path, *, seed: int, about: str, messy: bool) -> Path:
    """Write a site's GeoPackage, truth and read-me into a folder and return the GeoPackage's path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{folder.name}.gpkg"
    write_geopackage(layers(draft, areas, messy=messy), path)
    facts = truth(draft, folder.name, seed)
    (folder / "truth.json").write_text(
        json.dumps(facts, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
    )
    (folder / "README.md").write_text(
        read_me(folder.name, seed, statistics(draft), about), encoding="utf-8", newline="\n"
    )
    return path
