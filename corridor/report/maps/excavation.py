"""What an excavation meets: for each recorded line in the work area a strip as wide as its position is known."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import GONE
from corridor.report.maps.map_layers import first_grade
from corridor.settings import DrawSettings

__all__ = ["TONE", "Strip", "strips_in"]

_Stretch = tuple[str, BaseGeometry, float, float]
TONE = ("shown", "off", "not shown")
_TONE_OF = {
    "readable": "shown",
    "pulled": "off",
    "masked": "not shown",
    "faint": "not shown",
    "untraceable": "not shown",
}
_SPREADS = 2.0  # standard deviations each side, where no accuracy is on record: 95 % of a normal spread
_GAP_M = 0.02  # stations are rounded to a centimetre


@dataclass(frozen=True)
class Strip:
    """A piece of a recorded line in the work area, and the ground that it may take by what is known of its position."""

    line_id: str
    phase: int  # row of the table work_area
    tone: str
    grade: str  # "" where the line was not looked at
    course: BaseGeometry
    ground: BaseGeometry
    half_width_m: float
    stated: bool  # whether the accuracy is on record


def strips_in(
    lines: gpd.GeoDataFrame, strategy: gpd.GeoDataFrame, work_area: gpd.GeoDataFrame, *, draws: DrawSettings
) -> list[Strip]:
    """Return every recorded line in the work area in pieces: what tone makes of it, and how wide it may lie.

    Parameters
    ----------
    lines : GeoDataFrame
        Table ``lines`` of a site. Removed and proposed ones are left out: they aren't in the ground.
    strategy : GeoDataFrame
        Table ``strategy``; of nominal and worst grade the one that a crew must know first counts. What no row covers
        counts as not shown.
    work_area : GeoDataFrame
        One row a phase.
    draws : DrawSettings
        ``position_m``: standard deviation by quality level, where a line has no accuracy on record.

    Returns
    -------
    list of Strip
        By phase, then line. ``half_width_m`` is half a diameter and the accuracy.
    """
    there = lines[~lines["status"].isin(GONE) & lines.geometry.notna()]
    rows = _stretches(strategy)
    found = []
    for phase, area in enumerate(work_area.geometry):
        if area is None:
            continue
        for line in there[there.intersects(area)].sort_values("line_id").to_dict("records"):
            reach, stated = _half_width(line, draws)
            for grade, piece in _pieces(line["geometry"], rows.get(str(line["line_id"]), [])):
                course = shapely.intersection(piece, area)
                if course.length > 0:
                    ground = shapely.intersection(shapely.buffer(course, reach, cap_style="flat"), area)
                    found.append(Strip(
                        line_id=str(line["line_id"]), phase=phase, tone=_TONE_OF.get(grade, "not shown"), grade=grade,
                        course=course, ground=ground, half_width_m=reach, stated=stated,
                    ))  # fmt: skip
    return found


def _half_width(line: Mapping[str, Any], draws: DrawSettings) -> tuple[float, bool]:
    diameter_mm = line["diameter_mm"]
    radius_m = 0.0 if pd.isna(diameter_mm) else diameter_mm / 2000.0
    accuracy_m = line["horizontal_accuracy_m"]
    if not pd.isna(accuracy_m):
        return radius_m + float(accuracy_m), True
    level = line["quality_level"] if isinstance(line["quality_level"], str) else "none"
    return radius_m + _SPREADS * draws.position_m.get(level, max(draws.position_m.values())), False


def _stretches(strategy: gpd.GeoDataFrame) -> dict[str, list[_Stretch]]:
    """Return by line each stretch's grade, course, and where it begins and ends along the line."""
    found: dict[str, list[_Stretch]] = {}
    columns = ("line_id", "grade", "grade_worst", "from_m", "to_m")
    for name, grade, worst, start, end, shape in zip(
        *(strategy[column] for column in columns), strategy.geometry, strict=True
    ):
        if shape is not None and np.isfinite([start, end]).all():
            found.setdefault(str(name), []).append((first_grade(grade, worst) or "", shape, start, end))
    return found


def _pieces(course: shapely.LineString, stretches: list[_Stretch]) -> list[tuple[str, BaseGeometry]]:
    """Return the pieces of a line with their grade; what no stretch covers has none."""
    pieces: list[tuple[str, BaseGeometry]] = [(grade, shape) for grade, shape, _, _ in stretches]
    at = 0.0
    for start, end in [*sorted((start, end) for *_, start, end in stretches), (course.length, course.length)]:
        if start - at > _GAP_M:
            pieces.append(("", shapely.ops.substring(course, at, start)))
        at = max(at, end)
    return pieces
