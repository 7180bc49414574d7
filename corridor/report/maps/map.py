"""The map of a review or of one hook-up: lines in utility colours, tone as width, grades, hook-ups and bonds."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from shapely import Point
from shapely.geometry.base import BaseGeometry

from corridor.frames import CAUTION
from corridor.report.look.colours import ColourTable
from corridor.report.look.conventions import conventions_in
from corridor.report.look.symbols import INK, STYLE
from corridor.report.maps.cartography import Sheet, add_north_arrow, add_scale_bar, sheet_for
from corridor.report.maps.hookup_marks import EDGE_CLEAR_PT, draw_hookups, number_text
from corridor.report.maps.labels import Label, Placed, place_labels
from corridor.report.maps.legend import add_legend
from corridor.report.maps.map_layers import (
    draw_area,
    draw_bonds,
    draw_cut_ends,
    draw_grades,
    draw_lines,
    draw_structures,
    prepare,
)
from corridor.report.text import plain

__all__ = ["MapContent", "draw_map", "setup_numbers", "write_map"]

FIGURE_IN = (14.0, 10.0)
DPI = 150
_MAP_BOX = (0.01, 0.045, 0.76, 0.917)  # left, bottom, width, height as shares of the figure
_LABELS_MAX = 160
_SHORTEST_LABELLED_PT = 12.0


@dataclass(frozen=True)
class MapContent:
    """What a map shows; frames with the columns of the data dictionary, all in one CRS in metres.

    ``stretches`` are rows of ``strategy`` or ``sections``: pieces of lines with current, grade and assumed.
    ``cut_ends`` are the ends that the extract of the records cut. ``setups``, if given, number the hook-ups as the
    set-ups of the plan are numbered, in walking order.
    """

    title: str
    lines: gpd.GeoDataFrame
    stretches: gpd.GeoDataFrame
    hookups: gpd.GeoDataFrame
    bonds: gpd.GeoDataFrame
    work_area: gpd.GeoDataFrame
    structures: gpd.GeoDataFrame
    notes: tuple[str, ...] = ()
    cut_ends: tuple[Point, ...] = ()
    setups: pd.DataFrame | None = None


def write_map(content: MapContent, path: str | Path, *, metadata: Mapping[str, str]) -> None:
    """Draw a map and write it as PNG, caution and receipt among the picture's text entries.

    Colours are those of the convention that the receipt's settings name.
    """
    figure = draw_map(content, colours=conventions_in(metadata).colours)
    text: dict[str, str | None] = {"Title": content.title, "Description": metadata.get("caution", CAUTION)}
    text |= {key: value for key, value in metadata.items() if key not in ("caution", "date")}
    figure.savefig(path, dpi=DPI, format="png", metadata=text | {"Software": None})


def draw_map(content: MapContent, *, colours: ColourTable) -> Figure:
    """Draw a map; the caution stands inside it.

    Parameters
    ----------
    content : MapContent
        What to show. The work area sets the extent; without one the stretches, or else all lines do.
    colours : ColourTable
        Colours by utility.

    Returns
    -------
    Figure
        14 by 10 inches; the labels' boxes don't overlap.
    """
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=FIGURE_IN, dpi=DPI)
        FigureCanvasAgg(figure)
        sheet = sheet_for(_framed(content), figure_in=FIGURE_IN, box=_MAP_BOX)
        axes = figure.add_axes(_MAP_BOX)
        prepare(axes, sheet)
        draw_area(axes, content.work_area)
        draw_structures(axes, content.structures)
        draw_lines(axes, content.lines, content.stretches, colours=colours)
        chosen = _chosen(content, sheet)
        marks = draw_hookups(axes, sheet, content.hookups, chosen)
        taken = [
            *draw_grades(axes, sheet, content.stretches),
            *draw_bonds(axes, sheet, content.bonds),
            *draw_cut_ends(axes, sheet, content.cut_ends),
            *marks.taken,
            add_scale_bar(axes, sheet),
            add_north_arrow(axes, sheet),
        ]
        left_out = _label(axes, sheet, content, numbers=marks.labels, taken=taken)
        add_legend(
            figure,
            colours=colours,
            utilities=set(content.lines["utility"]),
            setups=_setup_rows(content, sheet, chosen),
            cut_ends=bool(content.cut_ends),
        )
        title = plain(content.title)
        figure.text(0.01, 0.973, title, fontsize=13, fontweight="bold", color=INK, parse_math=False)
        figure.text(0.01, 0.022, CAUTION, fontsize=10.5, fontweight="bold", color="#8a0000")
        notes = [*content.notes, *([f"{left_out} labels without room: see results.gpkg"] if left_out else [])]
        figure.text(0.01, 0.007, plain("  ·  ".join(notes)), fontsize=7, color=INK, parse_math=False)
    return figure


def _framed(content: MapContent) -> np.ndarray:
    """Bounds of what must be seen: the work area, or else the stretches, or else all lines."""
    for frame in (content.work_area, content.stretches, content.lines):
        bounds = np.asarray(frame.total_bounds, dtype=float)
        if len(frame) and np.all(np.isfinite(bounds)):
            return bounds
    return np.array([0.0, 0.0, 100.0, 100.0])


def _chosen(content: MapContent, sheet: Sheet) -> dict[str, list[int]]:
    """Return numbers by hook-up: of its set-ups, or without any from north to south, those off the map last."""
    numbers = setup_numbers(content.setups) if content.setups is not None else {}
    if numbers:
        return numbers
    used = set(content.stretches["hookup_id"].dropna().astype(str))
    rows = content.hookups[content.hookups["hookup_id"].astype(str).isin(used)]
    places = [
        (
            shape is None or not sheet.shows(shape.x, shape.y, clear_pt=EDGE_CLEAR_PT),
            0.0 if shape is None else -shape.y,
            name,
        )
        for shape, name in zip(rows.geometry, rows["hookup_id"].astype(str), strict=True)
    ]
    return {name: [number] for number, (_, _, name) in enumerate(sorted(places), start=1)}


def setup_numbers(setups: pd.DataFrame) -> dict[str, list[int]]:
    """Return the numbers of the set-ups at each hook-up, in walking order: of ``S12`` 12; sweeps have none."""
    numbers: dict[str, list[int]] = {}
    for hookup_id, setup_id in zip(setups["hookup_id"], setups["setup_id"].astype(str), strict=True):
        digits = setup_id.removeprefix("S")
        if isinstance(hookup_id, str) and digits.isascii() and digits.isdigit():
            numbers.setdefault(hookup_id, []).append(int(digits))
    return {name: sorted(found) for name, found in sorted(numbers.items(), key=lambda item: min(item[1]))}


def _setup_rows(content: MapContent, sheet: Sheet, chosen: dict[str, list[int]]) -> list[tuple[str, str]]:
    rows = content.hookups.set_index(content.hookups["hookup_id"].astype(str))
    texts = []
    for name, numbers in chosen.items():
        if name not in rows.index:
            continue
        row = rows.loc[name]
        place = f" at {row['structure_id']}" if isinstance(row["structure_id"], str) else ""
        state = "" if row["ready"] == "ready" else "NOT READY: "  # first, so that no long name pushes it off
        shape = row.geometry
        off = "" if shape is not None and sheet.shows(shape.x, shape.y, clear_pt=EDGE_CLEAR_PT) else " (off the map)"
        texts.append((number_text(numbers), f"{state}{row['mode']}, {row['line_id']}{place}{off}"))
    return texts


def _label(axes: Axes, sheet: Sheet, content: MapContent, *, numbers: list[Label], taken: list[BaseGeometry]) -> int:
    """Write the numbers of hook-ups and the lines' names beside them; return how many found no room."""
    targets = set(content.stretches["line_id"].astype(str))
    visible = [
        (str(name) not in targets, -sheet.to_points(piece).length, str(name), sheet.to_points(piece))
        for name, shape, status in zip(
            content.lines["line_id"], content.lines.geometry, content.lines["status"], strict=True
        )
        if shape is not None and status != "removed" and (piece := sheet.clip(shape)) is not None
    ]
    named = sorted((row for row in visible if -row[1] >= _SHORTEST_LABELLED_PT), key=lambda row: row[:3])
    wanted = [*numbers, *(Label(text=plain(name), shape=shape) for _, _, name, shape in named[:_LABELS_MAX])]
    placed = place_labels(wanted, lines=[row[3] for row in visible], frame=sheet.frame, taken=taken)
    for place in placed:
        _draw_label(axes, sheet, place)
    return len(wanted) + max(0, len(named) - _LABELS_MAX) - len(placed)


def _draw_label(axes: Axes, sheet: Sheet, place: Placed) -> None:
    x, y = sheet.west_m + place.x_pt / sheet.points_per_m, sheet.south_m + place.y_pt / sheet.points_per_m
    boxed = place.label.boxed
    if place.has_leader or boxed:
        to_x = sheet.west_m + place.anchor_x_pt / sheet.points_per_m
        to_y = sheet.south_m + place.anchor_y_pt / sheet.points_per_m
        # a box's leader ends under the symbols that it numbers
        colour, width, zorder = (INK, 0.7, 8.5) if boxed else ("#555555", 0.45, 10.0)
        axes.plot([x, to_x], [y, to_y], color=colour, linewidth=width, zorder=zorder)
    looks: dict[str, Any] = {"path_effects": [withStroke(linewidth=2.2, foreground="white")]}
    if boxed:
        box = {"boxstyle": "square,pad=0.22", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}
        looks = {"fontweight": "bold", "bbox": box}
    axes.text(
        x, y, place.label.text, fontsize=place.label.size_pt, ha="center", va="center", color=INK, zorder=11,
        parse_math=False, **looks,
    )  # fmt: skip
