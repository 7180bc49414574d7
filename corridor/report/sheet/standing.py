"""Where the crew stands, what it connects to, and what it never touches there."""

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from shapely.ops import substring

from corridor.report.sheet.words import bearing_text, given, named_lines, quantity, short, spoken
from corridor.site.model import Site

__all__ = ["Standing", "stake_text"]

_PACE_M = 1.0
_WAYS_MAX = 3
_NEAR_M = 0.5  # nearer than a pace: no direction is worth telling
_ACCESS = {
    "footway": "in the footway", "carriageway": "in the carriageway", "verge": "in the verge", "private": "private",
    "indoor": "indoors", "locked": "locked",
}  # fmt: skip


class Standing:
    """Looks up places of a site for the words of its set-ups.

    Parameters
    ----------
    site : Site
        Its structures, terminations, lines and work area are used.
    """

    def __init__(self, site: Site) -> None:
        self._structures = site.structures.drop_duplicates("structure_id").set_index("structure_id")
        self._lines = site.lines.drop_duplicates("line_id").set_index("line_id", drop=False)
        self._at = site.terminations
        area = site.work_area.geometry.dropna()
        self._middle = area.union_all().centroid if len(area) else None

    def line(self, line_id: Any) -> Any:
        """Return the row of a line, None where there is none."""
        return self._lines.loc[line_id] if line_id in self._lines.index else None

    def line_text(self, line_id: Any) -> str:
        """Return a line with its utility: ``T-006 (telecommunications)``."""
        row = self.line(line_id)
        return given(line_id) + (f" ({spoken(row['utility']) or 'unknown'})" if row is not None else "")

    def structure(self, structure_id: Any) -> Any:
        """Return the row of a structure, None where there is none."""
        return self._structures.loc[structure_id] if structure_id in self._structures.index else None

    def stand(self, setup: Any) -> str:
        """Return the access point, its kind and ground, or the spot on the surface."""
        place = self.structure(setup["structure_id"])
        if place is None:
            return f"on the surface over {given(setup['line_id'])}{self._beside(setup['geometry'])}"
        access = _ACCESS.get(given(place.get("access")), "access not recorded")
        return f"{given(setup['structure_id'])}, {spoken(place['kind']) or 'structure'}, {access}"

    def side(self, setup: Any, traced: gpd.GeoSeries) -> str:
        """Return on which side of the work area that is, and which way to trace from there."""
        here = setup["geometry"]
        if here is None or here.is_empty:
            return ""
        said = []
        if self._middle is not None:
            away, side = bearing_text((self._middle.x, self._middle.y), (here.x, here.y))
            said.append(f"{side} side of the work area" if away > _NEAR_M else "middle of the work area")
        ways = _ways(here, [shape for shape in traced if shape is not None and not shape.is_empty])
        if ways:
            said.append(f"trace {' and '.join(ways)}" if len(ways) <= _WAYS_MAX else "trace all ways")
        return "; ".join(said)

    def connect(self, setup: Any) -> str:
        """Return what is connected, by mode."""
        line = self.line_text(setup["line_id"])
        return {
            "direct": f"{line}, and the ground stake",
            "clamp": f"clamp closed round {line}, nothing bare",
            "induction": f"nothing: loop flat above {line}, along it",
        }.get(given(setup["mode"]), line)

    def never(self, setup: Any) -> str:
        """Return what is never touched: the other lines at the structure, the most dangerous first."""
        others = self._others(setup)
        mode = given(setup["mode"])
        if mode == "induction":
            return "any metal; open no cover"
        bare = "bare conductors, " if mode == "clamp" else ""
        if not others:
            return f"{bare}any other line or metal here"
        return f"{bare}{named_lines(others, limit=3)}, any other metal"

    def far_end(self, line_id: Any, measure_m: float) -> str:
        """Return the structure at which a line ends on the far side of a measure; empty where none is recorded."""
        rows = self._at[self._at["line_id"].eq(line_id)]
        line = self.line(line_id)
        if line is None or line.geometry is None:
            return ""
        length = line.geometry.length
        towards_end = measure_m >= length / 2
        ends = rows[rows["at"].eq("end" if towards_end else "start")]["structure_id"].dropna()
        if not len(ends):
            return ""
        place = self.structure(ends.iloc[0])
        kind = f" ({spoken(place['kind'])})" if place is not None else ""
        further = length - measure_m if towards_end else measure_m
        return given(ends.iloc[0]) + kind + (f", {further:.0f} m further on" if further >= 1.0 else "")

    def _others(self, setup: Any) -> list[Any]:
        rows = self._at[self._at["structure_id"].eq(setup["structure_id"])]
        names = sorted(set(rows["line_id"].dropna().astype(str)) - {str(setup["line_id"])})
        return [row for name in names if (row := self.line(name)) is not None]

    def _beside(self, here: Any) -> str:
        """Return distance and side of a spot from the nearest structure."""
        shapes = self._structures.geometry.dropna()
        if here is None or here.is_empty or not len(shapes):
            return ""
        nearest = shapes.distance(here).sort_values(kind="stable").index[0]
        point = shapes.loc[nearest].centroid
        away, side = bearing_text((point.x, point.y), (here.x, here.y))
        kind = short(spoken(self._structures.at[nearest, "kind"]), 20)
        if away <= _NEAR_M:
            return f", at {given(nearest)} ({kind})"
        return f", {quantity(away, 'm')} {side} of {given(nearest)} ({kind})"


def _ways(here: shapely.Point, stretches: list[shapely.LineString]) -> list[str]:
    """Return the compass sides on which stretches lie, the longest first; one that passes the place lies on two."""
    length: dict[str, float] = {}
    for shape in stretches:
        at = shape.project(here)
        passed = shape.distance(here) <= _NEAR_M and _PACE_M < at < shape.length - _PACE_M
        parts = [substring(shape, 0.0, at), substring(shape, at, shape.length)] if passed else [shape]
        for part in parts:
            middle = part.interpolate(0.5, normalized=True)
            side = bearing_text((here.x, here.y), (middle.x, middle.y))[1]
            length[side] = length.get(side, 0.0) + part.length
    return sorted(length, key=lambda side: (-round(length[side], 3), side))


def stake_text(setup: Any) -> str:
    """Return where the stake goes: distance, bearing, compass side; empty where none is needed."""
    if pd.isna(setup["stake_distance_m"]) or pd.isna(setup["stake_bearing_deg"]):
        return ""
    return f"{setup['stake_distance_m']:.1f} m at {setup['stake_bearing_deg']:.0f}°"
