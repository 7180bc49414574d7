"""The map of a review or of one hook-up: lines in utility colours, tone as width, grades, hook-ups and bonds."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from shapely import Point

from corridor.report.look.colours import ColourTable
from corridor.report.look.conventions import conventions_in
from corridor.report.maps.cartography import Sheet
from corridor.report.maps.hookup_marks import EDGE_CLEAR_PT, HookUpMarks, draw_hookups, number_text
from corridor.report.maps.labels import Label
from corridor.report.maps.legend import add_legend
from corridor.report.maps.map_frame import MapFrame, map_frame, write_figure
from corridor.report.maps.map_layers import (
    draw_area,
    draw_bonds,
    draw_cut_ends,
    draw_grades,
    draw_lines,
    draw_structures,
)
from corridor.report.text import plain

__all__ = ["MapContent", "draw_map", "setup_numbers", "write_map"]

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
    write_figure(figure, path, title=content.title, metadata=metadata)


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
    notes = list(content.notes)
    with map_frame(content.title, _framed(content), notes=notes) as frame:
        axes, sheet = frame.axes, frame.sheet
        draw_area(axes, content.work_area)
        draw_structures(axes, content.structures)
        draw_lines(axes, content.lines, content.stretches, colours=colours)
        chosen = _chosen(content, sheet)
        marks = draw_hookups(axes, sheet, content.hookups, chosen)
        frame.taken += [
            *draw_grades(axes, sheet, content.stretches),
            *draw_bonds(axes, sheet, content.bonds),
            *draw_cut_ends(axes, sheet, content.cut_ends),
            *marks.taken,
        ]
        left_out = _label(frame, content, marks)
        if left_out:
            notes.append(f"{left_out} labels without room: see results.gpkg")
        add_legend(
            frame.figure,
            colours=colours,
            utilities=set(content.lines["utility"]),
            setups=_setup_rows(content, sheet, chosen),
            cut_ends=bool(content.cut_ends),
        )
    return frame.figure


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


def _label(frame: MapFrame, content: MapContent, marks: HookUpMarks) -> int:
    """Write the numbers of hook-ups and the lines' names beside them; return how many found no room."""
    sheet, targets = frame.sheet, set(content.stretches["line_id"].astype(str))
    visible = [
        (str(name) not in targets, -sheet.to_points(piece).length, str(name), sheet.to_points(piece))
        for name, shape, status in zip(
            content.lines["line_id"], content.lines.geometry, content.lines["status"], strict=True
        )
        if shape is not None and status != "removed" and (piece := sheet.clip(shape)) is not None
    ]
    named = sorted((row for row in visible if -row[1] >= _SHORTEST_LABELLED_PT), key=lambda row: row[:3])
    wanted = [*marks.labels, *(Label(text=plain(name), shape=shape) for _, _, name, shape in named[:_LABELS_MAX])]
    return frame.label(wanted, [*(row[3] for row in visible), *marks.small]) + max(0, len(named) - _LABELS_MAX)
