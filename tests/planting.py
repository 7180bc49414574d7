"""Twelve defects planted in the records of any site, each with the finding it must give."""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from shapely import LineString, Point
from shapely.ops import substring

from corridor.site import Site, read_site

Tables = dict[str, pd.DataFrame]
SECOND = "survey.gpkg"  # a second owner's file, for a line that two layers record
CLEAR_M = 3.0  # planted things keep so far from what could be taken for them


@dataclass
class Planting:
    """A site's records with defects in them.

    ``planted`` holds what must be found: code, layer and the record's own id (the row's number where it has none).
    """

    site: Site
    tables: Tables
    second: gpd.GeoDataFrame
    rng: np.random.Generator
    planted: list[tuple[str, str, str]] = field(default_factory=list)
    used: set[str] = field(default_factory=set)

    @property
    def lines(self) -> gpd.GeoDataFrame:
        """The site's lines as read, in the order of a lot, those that a defect uses already left out."""
        lines = self.site.lines[~self.site.lines["line_id"].isin(self.used)]
        touched = set(self.site.findings.loc[self.site.findings["severity"] != "note", "line_id"].dropna())
        lines = lines[~lines["line_id"].isin(touched) & lines["status"].eq("in_service")]
        return lines.iloc[self.rng.permutation(len(lines))]

    def note(self, code: str, layer: str, name: str) -> None:
        """Remember what must be found."""
        self.planted.append((code, layer, name))
        self.used.add(name)

    def set(self, table: str, name: str, column: str, value: Any) -> None:
        """Overwrite a value of one record."""
        frame = self.tables[table]
        frame.loc[frame.iloc[:, 0] == name, column] = value

    def add(self, table: str, **row: Any) -> None:
        """Append a record; what is left out is NULL."""
        frame = self.tables[table]
        new = pd.DataFrame([dict.fromkeys(frame.columns) | row], columns=frame.columns).astype(object)
        joined = pd.concat([frame.astype(object), new], ignore_index=True)
        for column in frame.columns:
            if pd.api.types.is_numeric_dtype(frame[column].dtype):
                joined[column] = pd.to_numeric(joined[column])
        is_spatial = isinstance(frame, gpd.GeoDataFrame)
        self.tables[table] = gpd.GeoDataFrame(joined, geometry="geometry", crs=frame.crs) if is_spatial else joined

    def pipe(self, name: str, shape: Any, **more: Any) -> None:
        """Append a welded steel water pipe that says all it should."""
        row = {"line_id": name, "utility": "water", "asset": "pipe", "conductive": "yes", "material": "steel",
               "joints": "welded", "coating": "none", "diameter_mm": 100.0, "wall_mm": 4.0, "depth_m": 1.2,
               "status": "in_service", "owner": "Planted Water", "geometry": shape}  # fmt: skip
        self.add("lines", **(row | more))

    def held(self) -> gpd.GeoDataFrame:
        """The free lines neither end of which the records leave open."""
        findings = self.site.findings
        loose = set(findings.loc[findings["code"].isin(["end_unknown", "end_cut"]), "line_id"])
        lines = self.lines
        return lines[~lines["line_id"].isin(loose)]


def plant(source: Path, folder: Path, seed: int) -> tuple[list[Path], list[tuple[str, str, str]]]:
    """Plant twelve defects in a site's file.

    Parameters
    ----------
    source : Path
        GeoPackage of the dictionary's layers.
    folder : Path
        Where the spoilt records are written.
    seed : int
        What and where is drawn by lot from it.

    Returns
    -------
    tuple of list of Path, and list of (code, layer, id)
        The files to read, and what must be found in them beside what was there before.
    """
    tables: Tables = {name: pyogrio.read_dataframe(source, layer=name) for name, _ in pyogrio.list_layers(source)}
    planting = Planting(clean(source), tables, tables["lines"].iloc[:0], np.random.default_rng(seed))
    for defect in DEFECTS:
        defect(planting)
    paths = [folder / source.name, folder / SECOND]
    for path, layers in zip(
        paths, (planting.tables, {"lines": planting.second, "structures": _poles(planting)}), strict=True
    ):
        for name, table in layers.items():
            options: dict[str, Any] = {"append": path.exists(), "promote_to_multi": False}
            if isinstance(table, gpd.GeoDataFrame):
                options["geometry_type"] = "Unknown"
            pyogrio.write_dataframe(table, path, layer=name, driver="GPKG", **options)
    return paths, planting.planted


@cache
def clean(source: Path) -> Site:
    """The records before anything is planted in them."""
    return read_site(source)


def _duplicate(p: Planting) -> None:
    """A line that the layer holds twice, word for word."""
    name = p.held()["line_id"].iloc[0]
    frame = p.tables["lines"]
    p.add("lines", **frame[frame["line_id"] == name].iloc[0].to_dict())
    p.note("duplicate", "lines", name)


def _same_place(p: Planting) -> None:
    """A line on another's course, under another id and owner."""
    row = p.tables["lines"].set_index("line_id", drop=False).loc[p.held()["line_id"].iloc[0]]
    p.used.add(row["line_id"])
    p.add("lines", **(row.to_dict() | {"line_id": "PL-901", "owner": "Planted Owner"}))
    p.note("same_place", "lines", "PL-901")


def _no_geometry(p: Planting) -> None:
    p.pipe("PL-902", None)
    p.note("no_geometry", "lines", "PL-902")


def _zero_length(p: Planting) -> None:
    x, y = p.site.lines.geometry.iloc[0].coords[0]
    p.pipe("PL-903", LineString([(x + 20, y), (x + 20, y)]))
    p.note("zero_length", "lines", "PL-903")


def _unknown_word(p: Planting) -> None:
    name = p.lines["line_id"].iloc[0]
    p.set("lines", name, "status", "LIVE?")
    p.note("unknown_word", "lines", name)


def _out_of_range(p: Planting) -> None:
    name = p.lines["line_id"].iloc[0]
    p.set("lines", name, "depth_m", 420.0)
    p.note("out_of_range", "lines", name)


def _missing_value(p: Planting) -> None:
    """A valve or the like whose kind nobody states."""
    table = p.tables["structures"]
    told = set(p.site.findings["line_id"].dropna())
    plain = table[table["kind"].isin(["valve", "handhole", "luminaire"]) & ~table["structure_id"].isin(told)]
    name = p.rng.choice(sorted(plain["structure_id"]))
    p.set("structures", name, "kind", None)
    p.note("missing_value", "structures", name)


def _unknown_reference(p: Planting) -> None:
    """A termination of a line that no layer has."""
    p.add("terminations", structure_id=p.site.structures["structure_id"].iloc[0], line_id="PL-999", at="end")
    p.note("unknown_reference", "terminations", str(len(p.tables["terminations"]) - 1))


def _spot(p: Planting, clear_m: float) -> Point:
    """Draw a place inside the records, clear of every line and structure."""
    everything = shapely.union_all([*p.site.lines.geometry, *p.site.structures.geometry])
    west, south, east, north = everything.bounds
    while True:
        x, y = p.rng.uniform((west + 30, south + 30), (east - 30, north - 30))
        if Point(x, y).distance(everything) > clear_m:
            return Point(x, y)


def _unexplained(p: Planting) -> None:
    p.add("structures", structure_id="PL-HY-1", kind="hydrant", utility="water", geometry=_spot(p, CLEAR_M))
    p.note("unexplained_structure", "structures", "PL-HY-1")


def _loose_end(p: Planting) -> None:
    """A stub that starts on a pipe and ends nowhere."""
    pipes = p.site.lines[p.site.lines["asset"].eq("pipe") & p.site.lines["status"].eq("in_service")]
    structures = shapely.union_all(p.site.structures.geometry.to_numpy())
    for share in p.rng.uniform(0.2, 0.8, 20):
        for _, main in pipes[pipes.length > 15].iterrows():
            shape = main.geometry
            foot, beyond = (np.array(shape.interpolate(share * shape.length + d).coords[0]) for d in (0.0, 0.5))
            way = (beyond - foot) / np.hypot(*(beyond - foot))
            tip = foot + CLEAR_M * np.array([-way[1], way[0]])
            rest = p.site.lines[p.site.lines["line_id"] != main["line_id"]]
            same = rest[rest["utility"].isin([main["utility"], "unknown"])]
            clear_m = LineString([foot, tip]).distance(shapely.union_all(same.geometry.to_numpy()))
            if min(clear_m, Point(tip).distance(structures)) > 2.0:
                p.pipe("PL-904", LineString([foot, tip]), utility=main["utility"])
                p.note("end_unknown", "lines", "PL-904")
                return
    raise LookupError("no pipe with room for a stub beside it")


def _near_miss(p: Planting) -> None:
    """A line that ended on another of its utility and now stops 0.6 m short of it."""
    structures = shapely.union_all(p.site.structures.geometry.to_numpy())
    lines = p.lines
    for _, row in lines[lines.length > 4].iterrows():
        others = p.site.lines[p.site.lines["utility"].eq(row["utility"]) & p.site.lines["line_id"].ne(row["line_id"])]
        coordinates = np.array(row.geometry.coords)
        for flip in (False, True):
            path = coordinates[::-1] if flip else coordinates
            tip = Point(path[-1])
            met = others[others.distance(tip) < 1e-3]
            step = path[-2] - path[-1]
            if len(met) != 1 or tip.distance(structures) < 1.5 or np.hypot(*step) < 2.0:
                continue
            ends = shapely.multipoints(np.array(met.geometry.iloc[0].coords)[[0, -1]])
            if tip.distance(ends) < 2.0 or row["line_id"] not in set(p.tables["lines"]["line_id"]):
                continue
            path = np.vstack([path[:-1], path[-1] + 0.6 * step / np.hypot(*step)])
            where = p.tables["lines"].index[p.tables["lines"]["line_id"] == row["line_id"]][0]
            p.tables["lines"].loc[where, "geometry"] = LineString(path[::-1] if flip else path)
            p.note("near_miss", "lines", row["line_id"])
            return
    raise LookupError("no line ends on another, away from every structure")


def _near_duplicate(p: Planting) -> None:
    """A piece of a line that a second layer has too, 0.8 m aside, with poles at its ends: they aren't the defect."""
    structures = shapely.union_all(p.site.structures.geometry.to_numpy())
    everything = shapely.union_all(p.site.lines.geometry.to_numpy())
    lines = p.lines
    for _, row in lines[(lines.length > 12) & lines["utility"].ne("unknown")].iterrows():
        for aside_m, first, last in itertools.product((0.8, -0.8), (0.0, 0.1, 0.3), (1.0, 0.9, 0.7)):
            course = substring(row.geometry, first, last, normalized=True).offset_curve(aside_m)
            if course.geom_type != "LineString" or course.is_empty or not course.is_simple:
                continue
            tips = shapely.multipoints([course.coords[0], course.coords[-1]])
            if tips.distance(structures) < 1.2 or tips.distance(everything) < 0.75:
                continue
            twin = p.tables["lines"].set_index("line_id", drop=False).loc[[row["line_id"]]].reset_index(drop=True)
            twin["line_id"], twin["horizontal_accuracy_m"], twin["contained_in"] = "ZZ-905", None, None
            p.second = twin.set_geometry([course], crs=p.tables["lines"].crs)
            p.used.add(row["line_id"])
            p.note("near_duplicate", "lines", "ZZ-905")
            return
    raise LookupError("no line has room for a twin beside it")


def _poles(p: Planting) -> gpd.GeoDataFrame:
    shape = p.second.geometry.iloc[0]
    rows = {"structure_id": ["PL-P1", "PL-P2"], "kind": ["pole"] * 2, "utility": [None, None]}
    return gpd.GeoDataFrame(rows, geometry=[Point(shape.coords[0]), Point(shape.coords[-1])], crs=p.second.crs)


DEFECTS: tuple[Callable[[Planting], None], ...] = (
    _duplicate, _same_place, _no_geometry, _zero_length, _unknown_word, _out_of_range, _missing_value,
    _unknown_reference, _unexplained, _loose_end, _near_miss, _near_duplicate,
)  # fmt: skip
