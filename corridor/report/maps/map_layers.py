"""What is drawn on a map, layer by layer, from the ground up."""

import math
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from shapely.geometry.base import BaseGeometry

from corridor.report.look.colours import ColourTable
from corridor.report.look.symbols import (
    BOND_SYMBOLS,
    CUT_SYMBOL,
    DASH,
    GRADE_SYMBOLS,
    GRADES_FIRST,
    INK,
    PLAIN_WIDTH_PT,
    tone_width_pt,
)
from corridor.report.maps.cartography import Sheet

__all__ = [
    "draw_area",
    "draw_bonds",
    "draw_cut_ends",
    "draw_grades",
    "draw_lines",
    "draw_structures",
    "first_grade",
    "flags",
    "prepare",
]

_MARK_SPACING_PT = 62.0
_EDGE_PT = 0.8  # dark edge of a line, both sides together
_GOLDEN = 0.618  # neighbours' symbols start at different places, so that they don't form a clump


def flags(column: pd.Series) -> np.ndarray:
    """Return a flag column as plain bools, shape (n,); NULL counts as False."""
    return np.array([value is not pd.NA and bool(value) for value in column.fillna(False)], dtype=bool)


def prepare(axes: Axes, sheet: Sheet) -> None:
    """Set the axes to the sheet's extent, without ticks."""
    axes.set_xlim(sheet.west_m, sheet.west_m + sheet.width_m)
    axes.set_ylim(sheet.south_m, sheet.south_m + sheet.height_m)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_facecolor("white")


def draw_area(axes: Axes, work_area: gpd.GeoDataFrame) -> None:
    """Draw the work area: tinted, with a dash-dot edge."""
    for shape in work_area.geometry.dropna():
        for part in shapely.get_parts(shape):
            x, y = part.exterior.xy
            axes.fill(x, y, facecolor="#f4f2ec", edgecolor="none", zorder=0)
            axes.plot(x, y, color="#555555", linewidth=1.6, linestyle=(0, (8, 3, 1.5, 3)), zorder=1)


def draw_structures(axes: Axes, structures: gpd.GeoDataFrame) -> None:
    """Draw structures as small grey squares, for orientation."""
    shapes = structures.geometry.dropna()
    if len(shapes):
        axes.scatter(
            shapes.x, shapes.y, s=8, marker="s", facecolor="#cfcfcf", edgecolor="#8a8a8a", linewidth=0.4, zorder=2
        )


def draw_lines(axes: Axes, lines: gpd.GeoDataFrame, stretches: gpd.GeoDataFrame, *, colours: ColourTable) -> None:
    """Draw every recorded line thin, and on it its stretches as wide as the tone is strong; dashed where assumed."""
    utility = dict(zip(lines["line_id"].astype(str), lines["utility"], strict=True))
    there = lines[lines["status"].ne("removed")]
    assumed = flags(there["assumed"]) if "assumed" in there else np.zeros(len(there), dtype=bool)
    dashed_stretches = [shape for shape in stretches.geometry[flags(stretches["assumed"])] if shape is not None]
    axes.add_collection(  # the thin line below must not show through the gaps of a dashed stretch
        LineCollection(
            [np.asarray(shape.coords)[:, :2] for shape in dashed_stretches],
            colors="white", linewidths=PLAIN_WIDTH_PT + _EDGE_PT, zorder=3.5,
        )
    )  # fmt: skip
    for frame, widths, dashed, zorder in (
        (there, np.full(len(there), PLAIN_WIDTH_PT), assumed, 3.0),
        (stretches, tone_width_pt(stretches["current_ma"]), flags(stretches["assumed"]), 4.0),
    ):
        paint = np.array([colours.of(utility.get(str(line_id))) for line_id in frame["line_id"]], dtype=object)
        drawn = frame.geometry.notna().to_numpy()
        for dash in (False, True):
            rows = np.flatnonzero(drawn & (dashed == dash))
            pieces = [np.asarray(frame.geometry.iloc[row].coords)[:, :2] for row in rows]
            look = {"linestyles": [DASH if dash else "solid"], "capstyle": "butt" if dash else "round"}
            # a dark edge keeps the light colours (yellow) visible on white
            axes.add_collection(
                LineCollection(pieces, colors="#333333", linewidths=widths[rows] + _EDGE_PT, zorder=zorder, **look)
            )
            axes.add_collection(
                LineCollection(pieces, colors=list(paint[rows]), linewidths=widths[rows], zorder=zorder + 0.1, **look)
            )


def first_grade(*grades: str | None) -> str | None:
    """Return the one of several grades that a crew must know first; None if none is stated."""
    return next((grade for grade in GRADES_FIRST if grade in grades), None)


def draw_grades(axes: Axes, sheet: Sheet, stretches: gpd.GeoDataFrame) -> list[BaseGeometry]:
    """Put along each stretch the grade, nominal or worst, that a crew must know first, hollow where the cases differ.

    Untraceable is always filled: no case shows such a line.

    Returns
    -------
    list of geometry
        The areas that the symbols take, in points on paper.
    """
    spacing_m = _MARK_SPACING_PT / sheet.points_per_m
    spots: dict[tuple[str, bool], list[list[float]]] = {}
    grades = [first_grade(*pair) for pair in zip(stretches["grade"], stretches["grade_worst"], strict=True)]
    for number, (shape, grade, settled) in enumerate(
        zip(stretches.geometry, grades, flags(stretches["settled"]), strict=True)
    ):
        visible = None if shape is None else sheet.clip(shape)
        if visible is None or grade is None:
            continue
        first = spacing_m * (0.2 + 0.6 * math.modf(_GOLDEN * number)[0])
        along = (
            np.arange(first, visible.length, spacing_m) if visible.length > first else np.array([visible.length / 2])
        )
        points = shapely.get_coordinates(shapely.line_interpolate_point(visible, along)).tolist()
        spots.setdefault((grade, bool(settled) or grade == "untraceable"), []).extend(points)
    taken: list[BaseGeometry] = []
    for (grade, settled), points in sorted(spots.items()):
        x, y = np.asarray(points).T
        symbol = GRADE_SYMBOLS[grade]
        axes.scatter(
            x, y, s=symbol.area, marker=symbol.marker, facecolor=INK if settled else "white",
            edgecolor="white" if settled else INK, linewidth=0.6 if settled else 0.9, zorder=6,
        )  # fmt: skip
        taken += [sheet.to_points(shapely.Point(point)).buffer(math.sqrt(symbol.area) / 2) for point in points]
    return taken


def draw_bonds(axes: Axes, sheet: Sheet, bonds: gpd.GeoDataFrame) -> list[BaseGeometry]:
    """Draw bonds as thick plus signs, hollow where nobody has seen them; return the areas they take."""
    taken: list[BaseGeometry] = []
    known = bonds["evidence"].isin(("recorded", "observed", "measured")).to_numpy()
    for hollow in (False, True):
        shapes = [shape for shape in bonds.geometry[known != hollow] if shape is not None and not shape.is_empty]
        points = [(p.x, p.y) for p in map(shapely.centroid, shapes) if sheet.shows(p.x, p.y)]
        if not points:
            continue
        x, y = np.asarray(points).T
        symbol = BOND_SYMBOLS["thought" if hollow else "known"]
        axes.scatter(
            x, y, s=42, marker=symbol.marker, linewidth=0.8, zorder=7,
            facecolor="white" if hollow else INK, edgecolor=INK if hollow else "white",
        )  # fmt: skip
        taken += [sheet.to_points(shapely.Point(point)).buffer(3.0) for point in points]
    return taken


def draw_cut_ends(axes: Axes, sheet: Sheet, ends: Sequence[shapely.Point]) -> list[BaseGeometry]:
    """Draw a pair of bars where the extract of the records cut a line; return the areas they take."""
    points = [(point.x, point.y) for point in ends if sheet.shows(point.x, point.y)]
    if points:
        x, y = np.asarray(points).T
        axes.scatter(x, y, s=CUT_SYMBOL.area, marker=CUT_SYMBOL.marker, color=INK, linewidth=0.4, zorder=7)
    return [sheet.to_points(shapely.Point(point)).buffer(3.0) for point in points]
