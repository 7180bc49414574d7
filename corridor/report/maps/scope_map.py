"""The map of a scope: how many recorded lines lie in each cell, and where tone can't be relied on to show them."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as MplPath

from corridor.dictionary.scopes import CONGESTION
from corridor.report.look.symbols import INK
from corridor.report.maps.labels import Label
from corridor.report.maps.map_frame import MapFrame, map_frame, write_figure
from corridor.report.text import percent, plain, source_names

__all__ = ["draw_scope_map", "write_scope_map"]

# from light to dark, so that the map reads without colour too; none is green, and none is that of bare paper
_FILL = dict(zip(CONGESTION[1:], ("#f3e6c4", "#e3b778", "#c0734a", "#7a2f2b"), strict=True))
_HATCH = "#8f8a80"
_EDGE = "#ffffff"
_LINE = "#3f3b36"
_HATCH_PT = 5.0
_MARKS = (
    (0.25, 26.0, "a quarter of the length or more"),
    (0.5, 60.0, "half of it"),
    (0.75, 110.0, "three quarters of it"),
)
_OPEN: Any = {"s": 20.0, "marker": "o", "facecolor": "white", "edgecolor": INK, "linewidth": 0.9}
_LISTED = 8
_CLOSE_M = 700.0  # wider work areas are drawn without lines, which would cover the cells


def write_scope_map(scope: Any, path: str | Path, *, metadata: Mapping[str, str]) -> None:
    """Draw the scope of an excavation and write the map as PNG or SVG, by the suffix.

    Parameters
    ----------
    scope : Scope
    path : str or Path
        ``.png`` or ``.svg``.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If the suffix is another, or the file can't be written.
    """
    write_figure(draw_scope_map(scope), path, title=_title(scope), metadata=metadata)


def draw_scope_map(scope: Any) -> Figure:
    """Draw cells by the number of recorded lines, marks where tone fails, phases, and places of test holes.

    Cells without a record are hatched, never in the lightest colour: unrecorded lines may be anywhere.

    Parameters
    ----------
    scope : Scope

    Returns
    -------
    Figure
        14 by 10 inches; the labels' boxes don't overlap.
    """
    cells, site = scope.cells, scope.site
    bounds = np.asarray(site.work_area.total_bounds, dtype=float)
    notes = ["Grid north up", "counts are of recorded lines; the layer cells has the figures"]
    with map_frame(_title(scope), bounds, notes=notes) as frame:
        _draw_cells(frame, cells)
        if max(bounds[2] - bounds[0], bounds[3] - bounds[1]) <= _CLOSE_M:
            _draw_lines(frame, site.lines, site.work_area)
        _draw_marks(frame, cells)
        _draw_phases(frame, site.work_area)
        left_out = _label(frame, site.work_area, cells)
        _legend(frame, scope)
        _lists(frame, scope)
        if left_out:
            notes.append(f"{left_out} labels without room: see the layer scope_phases")
    return frame.figure


def _title(scope: Any) -> str:
    graded = ", and where tone can't show them" if scope.cells["state"].eq("computed").any() else ""
    return f"{source_names(scope.site)}: how many recorded lines the excavation meets{graded}"


def _draw_cells(frame: MapFrame, cells: gpd.GeoDataFrame) -> None:
    for word, colour in _FILL.items():
        own = cells.geometry.to_numpy()[cells["congestion"].eq(word).to_numpy()]
        if len(own):
            frame.axes.add_patch(PathPatch(_outline(own), facecolor=colour, edgecolor=_EDGE, linewidth=0.6, zorder=1))
    bare = cells.geometry.to_numpy()[cells["state"].eq("no_records").to_numpy()]
    if len(bare):
        strokes = _strokes(bare, _HATCH_PT / frame.sheet.points_per_m)
        frame.axes.add_collection(LineCollection(strokes, colors=_HATCH, linewidths=0.7, zorder=1.2))
        frame.axes.add_patch(PathPatch(_outline(bare), facecolor="none", edgecolor=_HATCH, linewidth=0.5, zorder=1.3))


def _outline(shapes: Sequence[Any]) -> MplPath:
    """Return polygons as one path."""
    parts = shapely.get_parts(shapely.orient_polygons(np.asarray(shapes, dtype=object)))
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    codes = [[MplPath.MOVETO, *[MplPath.LINETO] * (len(ring.coords) - 2), MplPath.CLOSEPOLY] for ring in rings]
    return MplPath(np.concatenate([np.asarray(ring.coords)[:, :2] for ring in rings]), np.concatenate(codes))


def _strokes(shapes: Sequence[Any], spacing_m: float) -> list[np.ndarray]:
    """Return slanted strokes over shapes as arrays of points, in step from cell to cell."""
    west, south, east, north = shapely.total_bounds(np.asarray(shapes, dtype=object))
    step, rise = spacing_m * np.sqrt(2.0), north - south
    first = np.floor((west - rise) / step)
    starts = np.arange(first, np.ceil(east / step) + 1) * step
    ends = np.stack([np.column_stack([starts, np.full(len(starts), south)]),
                     np.column_stack([starts + rise, np.full(len(starts), north)])], axis=1)  # fmt: skip
    lines = np.asarray(shapely.linestrings(ends), dtype=object)
    line, cell = shapely.STRtree(np.asarray(shapes, dtype=object)).query(lines, predicate="intersects")
    cut = shapely.get_parts(shapely.intersection(lines[line], np.asarray(shapes, dtype=object)[cell]))
    return [shapely.get_coordinates(part) for part in cut if part.geom_type == "LineString"]


def _draw_lines(frame: MapFrame, lines: gpd.GeoDataFrame, work_area: gpd.GeoDataFrame) -> None:
    area = work_area.geometry.union_all()
    inside = lines.geometry.to_numpy()[lines.intersects(area).to_numpy()]
    parts = shapely.get_parts(shapely.intersection(inside, area))
    pieces = [shapely.get_coordinates(part) for part in parts if part.geom_type == "LineString"]
    frame.axes.add_collection(LineCollection(pieces, colors=_LINE, linewidths=0.45, alpha=0.65, zorder=2))


def _not_shown(cells: gpd.GeoDataFrame) -> pd.Series:
    """Return the share of each cell's length graded masked, faint or untraceable; NaN where nothing was computed."""
    shares = cells[["masked_share", "faint_share", "untraceable_share"]]
    return shares.sum(axis=1, min_count=1)


def _draw_marks(frame: MapFrame, cells: gpd.GeoDataFrame) -> None:
    share = _not_shown(cells).to_numpy(dtype=float)
    points = shapely.get_coordinates(shapely.point_on_surface(cells.geometry.to_numpy()))
    size = np.zeros(len(share))
    for start, area, _ in _MARKS:
        size[share >= start] = area
    drawn = size > 0
    frame.axes.scatter(
        points[drawn, 0], points[drawn, 1], s=size[drawn], marker="X", facecolor=INK, edgecolor="white", linewidth=0.7,
        zorder=5,
    )  # fmt: skip
    open_cells = _left_open(cells)
    frame.axes.scatter(points[open_cells, 0], points[open_cells, 1], zorder=5, **_OPEN)
    size[open_cells] = _OPEN["s"]
    for point, area in zip(points[size > 0], size[size > 0], strict=True):
        frame.taken.append(frame.sheet.to_points(shapely.Point(point)).buffer(area**0.5 / 2))


def _left_open(cells: gpd.GeoDataFrame) -> np.ndarray:
    """Return which cells weren't computed, where others were: no mark there would look like tone that shows all."""
    states = cells["state"]
    return np.asarray(states.eq("geometry_only").to_numpy() & states.eq("computed").any())


def _draw_phases(frame: MapFrame, work_area: gpd.GeoDataFrame) -> None:
    for area in work_area.geometry:
        for part in shapely.get_parts(area):
            x, y = part.exterior.xy
            frame.axes.plot(x, y, color=INK, linewidth=1.6, linestyle=(0, (8, 3, 1.5, 3)), zorder=4)


def _label(frame: MapFrame, work_area: gpd.GeoDataFrame, cells: gpd.GeoDataFrame) -> int:
    """Write the phases, and the numbers of the cells in the list beside the map."""
    sheet = frame.sheet
    phases = [
        Label(plain(_phase(row)), sheet.to_points(shapely.get_parts(row["geometry"])[0].exterior), 7.5, boxed=True)
        for row in work_area.to_dict("records")
        if isinstance(row["phase"], str)
    ]
    worst = [
        Label(f"{number}", sheet.to_points(shape.centroid), 7.5, boxed=True)
        for number, shape in enumerate(_worst(cells).geometry, start=1)
    ]
    outlines = [sheet.to_points(shape.exterior) for shape in shapely.get_parts(cells.geometry.to_numpy())]
    return frame.label([*worst, *phases], outlines)  # rather on bare paper than over cells


def _worst(cells: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the cells with the most lines, then the most crossings."""
    held = cells[cells["lines"].gt(0).to_numpy(dtype=bool)]
    order = ["lines", "crossings", "length_m", "cell_id"]
    return held.sort_values(order, ascending=[False, False, False, True], kind="stable").head(_LISTED)


def _phase(row: Mapping[str, Any]) -> str:
    depth_m = row["dig_depth_m"]
    stated = depth_m is not None and np.isfinite(depth_m)
    return f"phase {row['phase']}: dig {depth_m:g} m" if stated else f"phase {row['phase']}: depth not stated"


def _legend(frame: MapFrame, scope: Any) -> None:
    steps = scope.settings.scope
    starts = (1, steps.several_from, steps.many_from, steps.very_many_from)
    ranges = [f"{a} to {b - 1}" if b - a > 1 else f"{a}" for a, b in pairwise(starts)]
    rows: list[Artist] = [
        Patch(facecolor=colour, edgecolor="#777777", linewidth=0.5, label=f"{word} ({text})")
        for (word, colour), text in zip(_FILL.items(), [*ranges, f"{starts[-1]} or more"], strict=True)
    ]
    rows.append(Patch(facecolor="white", edgecolor=_HATCH, linewidth=0.6, hatch="////",
                      label="no recorded line: not known, unrecorded lines may be anywhere"))  # fmt: skip
    frame.legend(f"Cell of {steps.cell_m:g} m, recorded lines in it", rows)
    if scope.cells["state"].eq("computed").any():
        frame.legend("Tone can't be relied on to show", [
            Line2D([], [], linestyle="none", marker="X", color=INK, markeredgecolor="white", markeredgewidth=0.6,
                   markersize=area**0.5, label=text)
            for _, area, text in _MARKS
        ])  # fmt: skip
    if _left_open(scope.cells).any():
        frame.legend("", [
            Line2D([], [], linestyle="none", marker="o", markerfacecolor="white", markeredgecolor=INK, markersize=4.5,
                   label="counted only: not known what tone shows")
        ])  # fmt: skip
    marks: list[Artist] = [Line2D([], [], color=INK, linewidth=1.6, linestyle="-.", label="work area, phases")]
    marks.append(Line2D([], [], linestyle="none", marker="s", markersize=8, markerfacecolor="white",
                        markeredgecolor=INK, label="number: cell of the list below"))  # fmt: skip
    frame.legend("", marks)


def _lists(frame: MapFrame, scope: Any) -> None:
    share = _not_shown(scope.cells)
    texts = []
    for number, row in enumerate(_worst(scope.cells).itertuples(), start=1):
        tone = share[row.Index]
        worst = percent(float(row.not_shown_worst_share)) if not pd.isna(tone) else ""
        said = "not computed" if pd.isna(tone) else f"tone misses {percent(float(tone))}, at worst {worst}"
        texts.append(f"{number}  {row.lines} lines, {row.crossings} crossings; {said}")
    frame.list("Most lines in a cell", texts)
    for row in scope.scope_phases.to_dict("records"):
        frame.list(_phase_title(row), _phase_texts(row))
    counted = scope.summary["cells"]
    frame.list("What was computed", [
        f"{counted['computed']} cells computed, {counted['geometry_only']} counted only, "
        f"{counted['no_records']} without a record",
        "Every rate is an estimate: see the layer scope_rates.",
    ])  # fmt: skip


def _phase_title(row: Mapping[str, Any]) -> str:
    if row["phase"] == "all":
        return "Whole work area (low / likely / high)"
    return _phase(row).capitalize()


def _phase_texts(row: Mapping[str, Any]) -> list[str]:
    return [
        f"{row['lines']} lines, {row['length_m']:.0f} m; in the dig or not sure: {row['lines_in_dig']}",
        f"set-ups {_three(row, 'setups')}; crew hours {_three(row, 'crew_hours')}",
        f"closures {_three(row, 'closures')}; test holes {_three(row, 'test_holes')}",
    ]


def _three(row: Mapping[str, Any], what: str) -> str:
    values = [row[f"{what}_{tier}"] for tier in ("low", "likely", "high")]
    return "not known" if any(pd.isna(value) for value in values) else " / ".join(f"{value:.0f}" for value in values)
