"""The map of an excavation: where it meets recorded lines, how well their place is known, and what tone can't show."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as MplPath
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import GONE
from corridor.report.look.conventions import Conventions, conventions
from corridor.report.look.symbols import GRADE_SYMBOLS, GRADES_FIRST, INK
from corridor.report.maps.excavation import TONE, Strip, strips_in
from corridor.report.maps.labels import Label
from corridor.report.maps.map_frame import MapFrame, map_frame, write_figure
from corridor.report.maps.map_layers import draw_grades
from corridor.report.text import plain, source_names

__all__ = ["BY_HAND", "draw_excavation_map", "write_excavation_map"]

BY_HAND = "In a strip, and in all of the tolerance zone of your local code, dig by hand or by vacuum first."
_WORDS = {
    "shown": "tone shows it: peak within tolerance",
    "off": "tone is there, but peak or depth is off",
    "not shown": "tone can't be relied on to show it",
}
_FILL = {"shown": "#fbeccb", "off": "#f8d6a3", "not shown": "#efc2ab"}
_HATCH: dict[str, tuple[float, ...]] = {"shown": (), "off": (45.0,), "not shown": (45.0, 135.0)}  # angles in degrees
_HATCH_PT, _HATCH_WIDTH_PT = 4.0, 0.55
_DOT_PT = 9.0
_GROUND, _DOTS = "#f6f5f1", "#9a958a"
_EDGE = "#7a4a32"
_LINE_PT = 1.5
_NAME_PT = 6.2


def write_excavation_map(review: Any, path: str | Path, *, metadata: Mapping[str, str]) -> None:
    """Draw the excavation of a review or plan and write the map as PNG or SVG, by the suffix.

    Parameters
    ----------
    review : Review or Plan
        ``site``, ``strategy`` and ``settings`` are used.
    path : str or Path
        ``.png`` or ``.svg``.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If the suffix is another, or the file can't be written.
    """
    write_figure(draw_excavation_map(review), path, title=_title(review.site), metadata=metadata)


def draw_excavation_map(review: Any) -> Figure:
    """Draw the work area, its phases and dig depths, and every recorded line in it as a strip.

    A strip is as wide as the recorded horizontal accuracy, dashed where none is on record; its pattern says what tone
    makes of the line. No ground is drawn as free: it is dotted, since unrecorded lines may be anywhere.

    Parameters
    ----------
    review : Review or Plan
        ``site``, ``strategy`` and ``settings`` are used.

    Returns
    -------
    Figure
        14 by 10 inches; the labels' boxes don't overlap.
    """
    site, chosen = review.site, conventions(review.settings.report)
    strips = strips_in(site.lines, review.strategy, site.work_area, draws=review.settings.draws)
    notes = ["Grid north up", "number beside a name: recorded depth of the axis, m; ~: assumed, don't rely on it"]
    shown = site.work_area if len(site.work_area) else site.lines
    with map_frame(_title(site), np.asarray(shown.total_bounds, dtype=float), notes=notes) as frame:
        _draw_ground(frame, site.work_area)
        _draw_strips(frame, strips)
        _draw_lines(frame, site.lines, chosen)
        inside = review.strategy[review.strategy.intersects(site.work_area.union_all())]
        frame.taken += draw_grades(frame.axes, frame.sheet, inside)
        left_out = _label(frame, site.lines, site.work_area, strips)
        _legend(frame, site.lines, strips, chosen)
        _lists(frame, site, strips, chosen)
        if left_out:
            notes.append(f"{left_out} labels without room: see the layer lines")
    return frame.figure


def _title(site: Any) -> str:
    return f"{source_names(site)}: what the excavation meets, and what tone can't show of it"


def _draw_ground(frame: MapFrame, work_area: gpd.GeoDataFrame) -> None:
    """Fill the work area with dots, so that no ground looks free, and draw the edge of each phase."""
    step_m = _DOT_PT / frame.sheet.points_per_m
    for area in work_area.geometry.dropna():
        west, south, east, north = area.bounds
        x, y = np.meshgrid(np.arange(west, east, step_m), np.arange(south, north, step_m))
        x[1::2] += step_m / 2
        inside = shapely.contains_xy(area, x.ravel(), y.ravel())
        frame.axes.scatter(x.ravel()[inside], y.ravel()[inside], s=1.6, color=_DOTS, linewidth=0, zorder=1.5)
        for part in shapely.get_parts(area):
            edge_x, edge_y = part.exterior.xy
            frame.axes.fill(edge_x, edge_y, facecolor=_GROUND, edgecolor="none", zorder=1)
            frame.axes.plot(edge_x, edge_y, color=INK, linewidth=1.8, linestyle=(0, (8, 3, 1.5, 3)), zorder=3)


def _draw_strips(frame: MapFrame, strips: Sequence[Strip]) -> None:
    for order, tone in enumerate(TONE):  # what tone can't show lies on top
        own = [strip for strip in strips if strip.tone == tone]
        zorder = 2.0 + 0.1 * order
        ground = shapely.union_all([strip.ground for strip in own])
        if not ground.is_empty:
            frame.axes.add_patch(PathPatch(_outline(ground), facecolor=_FILL[tone], edgecolor="none", zorder=zorder))
        for angle in _HATCH[tone]:
            strokes = _hatching(ground, angle, _HATCH_PT / frame.sheet.points_per_m)
            frame.axes.add_collection(
                LineCollection(strokes, colors=_EDGE, linewidths=_HATCH_WIDTH_PT, zorder=zorder + 0.02)
            )
        for stated in (True, False):
            edges = [np.asarray(ring.coords)[:, :2]
                     for part in _polygons(shapely.union_all([s.ground for s in own if s.stated == stated]))
                     for ring in (part.exterior, *part.interiors)]  # fmt: skip
            frame.axes.add_collection(LineCollection(
                edges, colors=_EDGE, linewidths=0.7, linestyles=["solid" if stated else (0, (4.0, 2.0))],
                zorder=zorder + 0.04,
            ))  # fmt: skip


def _outline(ground: BaseGeometry) -> MplPath:
    """Return polygons as one path; holes are left open, since rings of shells and holes run in opposite senses."""
    rings = [ring for part in _polygons(shapely.orient_polygons(ground)) for ring in (part.exterior, *part.interiors)]
    codes = [[MplPath.MOVETO, *[MplPath.LINETO] * (len(ring.coords) - 2), MplPath.CLOSEPOLY] for ring in rings]
    return MplPath(np.concatenate([np.asarray(ring.coords)[:, :2] for ring in rings]), np.concatenate(codes))


def _polygons(shape: BaseGeometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]


def _hatching(ground: BaseGeometry, angle_deg: float, spacing_m: float) -> list[np.ndarray]:
    """Return parallel strokes over a ground, as arrays of points; the same from the same ground."""
    if ground.is_empty:
        return []
    west, south, east, north = ground.bounds
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    corners = np.array([[west, south], [east, south], [east, north], [west, north]])
    first, last = np.floor((corners @ across).min() / spacing_m), np.ceil((corners @ across).max() / spacing_m)
    low, high = (corners @ along).min(), (corners @ along).max()
    offsets = np.arange(first, last + 1)[:, None] * spacing_m * across
    strokes = shapely.linestrings(np.stack([offsets + low * along, offsets + high * along], axis=1))
    cut = shapely.get_parts(shapely.intersection(strokes, ground))
    return [shapely.get_coordinates(part) for part in cut if part.geom_type == "LineString"]


def _draw_lines(frame: MapFrame, lines: gpd.GeoDataFrame, chosen: Conventions) -> None:
    there = lines[~lines["status"].isin(GONE) & lines.geometry.notna()]
    pieces = [np.asarray(shape.coords)[:, :2] for shape in there.geometry]
    paint = [chosen.colours.of(utility) for utility in there["utility"]]
    frame.axes.add_collection(LineCollection(pieces, colors="#333333", linewidths=_LINE_PT + 0.8, zorder=3.2))
    frame.axes.add_collection(LineCollection(pieces, colors=paint, linewidths=_LINE_PT, zorder=3.3))


def _label(frame: MapFrame, lines: gpd.GeoDataFrame, work_area: gpd.GeoDataFrame, strips: Sequence[Strip]) -> int:
    sheet = frame.sheet
    phases = [
        Label(plain(_phase(row)), sheet.to_points(shapely.get_parts(row["geometry"])[0].exterior), 7.5, boxed=True)
        for row in work_area.to_dict("records")
        if row["geometry"] is not None
    ]
    met = {strip.line_id for strip in strips}
    seen = []
    for row in lines[~lines["status"].isin(GONE)].to_dict("records"):
        piece = None if row["geometry"] is None else sheet.clip(row["geometry"])
        if piece is not None:
            on_paper = sheet.to_points(piece)
            name = str(row["line_id"])
            seen.append((name not in met, -on_paper.length, name, on_paper, _named(row)))
    seen.sort(key=lambda row: row[:3])
    names = [Label(text, shape, size_pt=_NAME_PT) for *_, shape, text in seen]
    return frame.label([*phases, *names], [shape for *_, shape, _ in seen])


def _named(row: Mapping[str, Any]) -> str:
    depth_m = row["depth_m"]
    if depth_m is None or not np.isfinite(depth_m):
        return plain(str(row["line_id"]))
    return plain(f"{row['line_id']} {'' if row.get('depth_m_src') in ('given', 'mapped') else '~'}{depth_m:.1f}")


def _phase(row: Mapping[str, Any]) -> str:
    name = f"phase {row['phase']}" if isinstance(row["phase"], str) else "work area"
    depth_m = row["dig_depth_m"]
    return f"{name}: dig {depth_m:g} m" if depth_m is not None and np.isfinite(depth_m) else f"{name}: depth not stated"


def _legend(frame: MapFrame, lines: gpd.GeoDataFrame, strips: Sequence[Strip], chosen: Conventions) -> None:
    used = {chosen.colours.of(utility) for utility in lines["utility"]}
    frame.legend(f"Utility ({chosen.colours.title})", [
        Patch(facecolor=colour, edgecolor="#333333", linewidth=0.6, label=text)
        for colour, text in chosen.colours.groups.items() if colour in used
    ])  # fmt: skip
    tones = {strip.tone for strip in strips}
    rows: list[Artist] = [
        Patch(facecolor=_FILL[tone], edgecolor=_EDGE, linewidth=0.7, hatch=hatch, label=_WORDS[tone])
        for tone, hatch in zip(TONE, (None, "////", "xxxx"), strict=True)
        if tone in tones
    ]
    rows += [
        Line2D([], [], color=_EDGE, linewidth=0.9, label="edge: horizontal accuracy on record"),
        Line2D([], [], color=_EDGE, linewidth=0.9, linestyle=(0, (4.0, 2.0)),
               label="dashed: none on record, width assumed from the quality level"),
        Patch(facecolor=_GROUND, edgecolor=INK, linestyle="-.", hatch="..",
              label="work area; dots: unrecorded lines may be anywhere"),
    ]  # fmt: skip
    frame.legend("Strip: where a recorded line may lie", rows)
    frame.legend("Grade (hollow: cases differ)", [
        Line2D([], [], linestyle="none", marker=GRADE_SYMBOLS[grade].marker, color=INK,
               markersize=GRADE_SYMBOLS[grade].area ** 0.5, markeredgewidth=0.6, markeredgecolor="white",
               label=" ".join(GRADE_SYMBOLS[grade].text.split()))
        for grade in GRADES_FIRST if any(strip.grade == grade for strip in strips)
    ])  # fmt: skip


def _lists(frame: MapFrame, site: Any, strips: Sequence[Strip], chosen: Conventions) -> None:
    frame.list("Digging", [BY_HAND, "Your local code says how wide the zone is and what may be used in it."])
    for number, row in enumerate(site.work_area.to_dict("records")):
        own = [strip for strip in strips if strip.phase == number]
        met = sorted({strip.line_id for strip in own})
        lengths = {tone: sum(strip.course.length for strip in own if strip.tone == tone) for tone in TONE}
        texts = [f"{len(met)} recorded lines, {sum(lengths.values()):.0f} m"]
        texts += [f"  {lengths[tone]:.0f} m: {_WORDS[tone]}" for tone in TONE if lengths[tone] > 0]
        frame.list(_phase(row).capitalize(), texts)
    lines = site.lines.set_index(site.lines["line_id"].astype(str))
    met = sorted({strip.line_id for strip in strips})
    counted = lines.loc[met, "quality_level"].map(chosen.quality.of).value_counts()
    words = [chosen.quality.of(level) for level in ("a", "b", "c", "d", "none")]
    frame.list(
        f"Lines met, by quality level ({chosen.quality.title})",
        [f"{counted[word]} {word}" for word in words if word in counted],
    )
    blind = sorted({strip.line_id for strip in strips if strip.grade == "untraceable"})
    if blind:
        frame.list("Untraceable; they are still there", [", ".join(blind)])
