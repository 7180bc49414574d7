"""The close-up map of one set-up: legible without colour, few artists, no two labels over each other."""

import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.textpath import TextPath
from shapely.geometry.base import BaseGeometry

from corridor.report.look.colours import ColourTable
from corridor.report.look.symbols import DASH, HOOKUP_SYMBOLS, INK, STYLE
from corridor.report.maps.cartography import Sheet, add_north_arrow, add_scale_bar
from corridor.report.maps.labels import Label, Placed, place_labels
from corridor.report.maps.map_layers import draw_area, draw_structures, prepare
from corridor.report.text import plain

__all__ = [
    "CLOSEUP_IN",
    "MM_PER_INCH",
    "SVG_STYLE",
    "TALL_IN",
    "Arrow",
    "CloseUp",
    "draw_closeup",
    "svg_bytes",
    "write_labels",
]

MM_PER_INCH = 25.4
CLOSEUP_IN = (186.0 / MM_PER_INCH, 80.0 / MM_PER_INCH)
TALL_IN = (186.0 / MM_PER_INCH, 142.0 / MM_PER_INCH)
_KEY_IN = 0.227  # of the height, for the key below the map
_MARGIN_SHARE = 0.10
_LEAST_M = 14.0  # a smaller piece of ground shows no neighbours
_NAMES_PT, _BOXED_PT, _KEY_PT = 7.5, 9.0, 7.0
_NAMES_MAX = 14
_CASING_PT, _CORE_PT, _BAND_PT = 5.2, 2.6, 13.0
_PARTNER_PT, _HOLLOW_PT = 3.0, 1.4
_PLAIN_PT, _PLAIN_EDGE_PT = 1.0, 1.7
_FRAME_IN_PT = 0.45  # of a frame inside its label's box: half its edge
_BAND = "#cdcdcd"
_ARROW_PT = 15.0
SVG_STYLE: Any = STYLE | {"svg.fonttype": "none", "svg.hashsalt": "corridor", "svg.image_inline": True}


@dataclass(frozen=True)
class Arrow:
    """A pull on the map: where, and the unit vector to the side to which the peak is pulled."""

    x_m: float
    y_m: float
    east: float
    north: float


@dataclass(frozen=True)
class CloseUp:
    """What the map of one set-up shows; geometries in one CRS in metres.

    ``traced`` are the stretches with letter, line, geometry and whether they rest on assumed values; ``partners`` are
    lines that take much of the tone, with what is written at them; ``no_depth`` pieces where no depth may be taken;
    ``masked`` points where another line's peak is higher; ``check`` the place of the identity check;
    ``reads`` by letter where a stretch is read. ``size_in`` is `CLOSEUP_IN` or `TALL_IN`.
    """

    number: str
    mode: str
    hookup: shapely.Point
    lines: gpd.GeoDataFrame
    structures: gpd.GeoDataFrame
    work_area: gpd.GeoDataFrame
    line_id: str
    traced: Sequence[tuple[str, str, BaseGeometry, bool]] = ()
    partners: Mapping[str, str] = field(default_factory=dict)
    stake: shapely.Point | None = None
    stake_text: str = ""
    pulls: Sequence[Arrow] = ()
    masked: Sequence[shapely.Point] = ()
    no_depth: Sequence[BaseGeometry] = ()
    check: shapely.Point | None = None
    reads: Mapping[str, shapely.Point] = field(default_factory=dict)
    size_in: tuple[float, float] = CLOSEUP_IN


def draw_closeup(content: CloseUp, *, colours: ColourTable) -> Figure:
    """Draw a close-up.

    Parameters
    ----------
    content : CloseUp
        What to show.
    colours : ColourTable
        Colours by utility; nothing on the map rests on colour alone.

    Returns
    -------
    Figure
        ``size_in`` inches; each text of the map has a gid that begins with ``label``, and none overlaps another.
    """
    with mpl.rc_context(SVG_STYLE):
        figure = Figure(figsize=content.size_in)
        FigureCanvasSVG(figure)
        key = _KEY_IN / content.size_in[1]
        box = (0.002, key, 0.996, 1.0 - key - 0.004)
        sheet = _sheet(content, box)
        axes = figure.add_axes(box)
        prepare(axes, sheet)
        draw_area(axes, content.work_area)
        seen = _seen(content.lines, sheet)
        _draw_lines(axes, content, seen, colours=colours)
        draw_structures(axes, content.structures.cx[sheet.west_m : sheet.west_m + sheet.width_m,
                                                    sheet.south_m : sheet.south_m + sheet.height_m])  # fmt: skip
        taken = [*_draw_marks(axes, sheet, content), add_scale_bar(axes, sheet), add_north_arrow(axes, sheet)]
        _write(axes, sheet, _labels(content, sheet, seen), seen=seen, taken=taken)
        _key(figure, content)
    return figure


def svg_bytes(figure: Figure) -> bytes:
    """Return a figure as SVG, the same each time; texts stay texts, in DejaVu Sans."""
    with mpl.rc_context(SVG_STYLE):
        made = io.BytesIO()
        figure.savefig(made, format="svg", metadata={"Date": None, "Creator": None})
    return made.getvalue()


def _sheet(content: CloseUp, box: tuple[float, float, float, float]) -> Sheet:
    """Show the hook-up, its stake, the stretches and the place of the check, filling the box."""
    shapes: list[Any] = [content.hookup, *(shape for _, _, shape, _ in content.traced)]
    shapes += [place for place in (content.stake, content.check) if place is not None]
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object))
    width_in, height_in = content.size_in[0] * box[2], content.size_in[1] * box[3]
    grown = 1.0 + 2 * _MARGIN_SHARE
    width = max((east - west) * grown, _LEAST_M * width_in / height_in)
    height = max((north - south) * grown, _LEAST_M)
    inch_per_m = min(width_in / width, height_in / height)
    shown = (width_in / inch_per_m, height_in / inch_per_m)
    return Sheet(
        west_m=float((west + east) / 2 - shown[0] / 2),
        south_m=float((south + north) / 2 - shown[1] / 2),
        width_m=float(shown[0]),
        height_m=float(shown[1]),
        points_per_m=float(inch_per_m * 72.0),
    )


def _seen(lines: gpd.GeoDataFrame, sheet: Sheet) -> dict[str, tuple[shapely.LineString, str | None]]:
    """Return the visible piece and the utility of every line on the sheet that is still in the ground."""
    window = shapely.box(
        sheet.west_m, sheet.south_m, sheet.west_m + sheet.width_m, sheet.south_m + sheet.height_m
    )  # fmt: skip
    near = lines.iloc[np.sort(lines.sindex.query(window, predicate="intersects"))]
    found = {}
    for name, utility, status, shape in zip(
        near["line_id"].astype(str), near["utility"], near["status"], near.geometry, strict=True
    ):
        piece = None if status == "removed" else sheet.clip(shape)
        if piece is not None:
            found[name] = (piece, utility if isinstance(utility, str) else None)
    return dict(sorted(found.items()))


def _draw_lines(axes: Axes, content: CloseUp, seen: Mapping[str, Any], *, colours: ColourTable) -> None:
    """Draw others thin, partners hollow, the stretches to trace thick, on a grey band where no depth may be taken."""
    others = [name for name in seen if name not in content.partners]
    paint = [colours.of(seen[name][1]) for name in others]
    plain_lines = [np.asarray(seen[name][0].coords) for name in others]
    hollow = [np.asarray(seen[name][0].coords) for name in content.partners if name in seen]
    bands = [np.asarray(shape.coords) for shape in content.no_depth]
    _collect(axes, bands, colour=_BAND, width=_BAND_PT, zorder=2.5)
    _collect(axes, plain_lines, colour="#333333", width=_PLAIN_EDGE_PT, zorder=3.0)
    _collect(axes, plain_lines, colour=paint, width=_PLAIN_PT, zorder=3.1)
    _collect(axes, hollow, colour=INK, width=_PARTNER_PT, zorder=3.5)
    _collect(axes, hollow, colour="white", width=_HOLLOW_PT, zorder=3.6)
    for dashed in (False, True):
        rows = [row for row in content.traced if row[3] == dashed]
        shapes = [np.asarray(shape.coords)[:, :2] for _, _, shape, _ in rows]
        tint = [colours.of(seen[name][1]) if name in seen else INK for _, name, _, _ in rows]
        _collect(axes, shapes, colour="white", width=_CASING_PT, zorder=3.9)
        _collect(axes, shapes, colour=INK, width=_CASING_PT, zorder=4.0, dashed=dashed)
        _collect(axes, shapes, colour=tint, width=_CORE_PT, zorder=4.1, dashed=dashed)


def _collect(
    axes: Axes, pieces: list[Any], *, colour: str | list[str], width: float, zorder: float, dashed: bool = False
) -> None:
    if pieces:
        look: Any = {"linestyles": [DASH], "capstyle": "butt"} if dashed else {"capstyle": "round"}
        axes.add_collection(LineCollection(pieces, colors=colour, linewidths=width, zorder=zorder, **look))


def _draw_marks(axes: Axes, sheet: Sheet, content: CloseUp) -> list[BaseGeometry]:
    """Draw pulls, masked places, the stake, the check and the hook-up; return the areas they take, in points."""
    taken: list[BaseGeometry] = []
    point = 1.0 / sheet.points_per_m
    pulls = _spaced(content.pulls, sheet)
    if pulls:
        x, y, u, v = np.array([(a.x_m, a.y_m, a.east, a.north) for a in pulls]).T
        axes.quiver(
            x + 4 * point * u, y + 4 * point * v, u * _ARROW_PT * point, v * _ARROW_PT * point, angles="xy",
            scale_units="xy", scale=1.0, units="dots", width=1.7, headwidth=4.6, headlength=5.0, headaxislength=4.6,
            color=INK, zorder=6,
        )  # fmt: skip
        tips = zip(x, y, u, v, strict=True)
        reach = (_ARROW_PT + 4) * point
        taken += [sheet.to_points(shapely.LineString([(a, b), (a + reach * c, b + reach * d)])) for a, b, c, d in tips]
    masked = _spaced([Arrow(p.x, p.y, 0, 0) for p in content.masked], sheet)
    if masked:
        axes.scatter([m.x_m for m in masked], [m.y_m for m in masked], s=62, marker="X", facecolor="white",
                     edgecolor=INK, linewidth=1.1, zorder=6.5)  # fmt: skip
        taken += [sheet.to_points(shapely.Point(m.x_m, m.y_m)).buffer(5.0) for m in masked]
    if content.reads:
        spots = list(content.reads.values())
        axes.scatter([p.x for p in spots], [p.y for p in spots], s=26, marker="o", facecolor="white", edgecolor=INK,
                     linewidth=1.2, zorder=6.2)  # fmt: skip
        taken += [sheet.to_points(spot).buffer(3.2) for spot in spots]
    if content.stake is not None:
        axes.plot([content.hookup.x, content.stake.x], [content.hookup.y, content.stake.y], color=INK, linewidth=1.3,
                  linestyle=(0, (1.2, 2.2)), zorder=7)  # fmt: skip
        axes.scatter([content.stake.x], [content.stake.y], s=95, marker="v", color=INK, zorder=8)
        taken.append(sheet.to_points(content.stake).buffer(6.5))
    if content.check is not None:
        axes.scatter([content.check.x], [content.check.y], s=120, marker="p", facecolor="white", edgecolor=INK,
                     linewidth=1.8, zorder=8)  # fmt: skip
        taken.append(sheet.to_points(content.check).buffer(7.0))
    marker = HOOKUP_SYMBOLS[content.mode].marker if content.mode in HOOKUP_SYMBOLS else "s"
    axes.scatter([content.hookup.x], [content.hookup.y], s=150, marker=marker, facecolor=INK, edgecolor="white",
                 linewidth=1.4, zorder=9)  # fmt: skip
    taken.append(sheet.to_points(content.hookup).buffer(9.0))
    return taken


def _spaced(arrows: Sequence[Arrow], sheet: Sheet) -> list[Arrow]:
    """Return arrows far enough apart to be told from each other; the first of a crowd stays."""
    kept: list[Arrow] = []
    least = 13.0 / sheet.points_per_m
    for arrow in arrows:
        same = (a for a in kept if a.east * arrow.east + a.north * arrow.north >= 0)
        if all(math.hypot(a.x_m - arrow.x_m, a.y_m - arrow.y_m) >= least for a in same):
            kept.append(arrow)
    return kept


def _labels(content: CloseUp, sheet: Sheet, seen: Mapping[str, Any]) -> list[Label]:
    """Return what is written on the map, the most important first."""
    wanted = [
        Label(
            f"set-up {content.number}" if content.number else "hook-up",
            sheet.to_points(content.hookup),
            _BOXED_PT,
            boxed=True,
        )
    ]
    if content.stake is not None:
        wanted.append(Label(f"stake {content.stake_text}", sheet.to_points(content.stake), _BOXED_PT, boxed=True))
    if content.check is not None:
        wanted.append(Label("check here", sheet.to_points(content.check), _BOXED_PT, boxed=True))
    for letter, name, shape, _ in content.traced:
        piece = content.reads.get(letter) or sheet.clip(shape)
        if piece is not None:
            wanted.append(
                Label(
                    f"{letter}: {plain(name)}" if letter else plain(name), sheet.to_points(piece), _BOXED_PT, boxed=True
                )
            )
    for name, text in content.partners.items():
        if name in seen:
            wanted.append(Label(plain(text), sheet.to_points(seen[name][0]), _NAMES_PT))
    traced = {name for _, name, _, _ in content.traced}
    here = shapely.union_all([content.hookup, *(shape for _, _, shape, _ in content.traced)])
    rest = sorted(
        (round(float(piece.distance(here)), 3), name)
        for name, (piece, _) in seen.items()
        if name not in content.partners and name not in traced
    )
    for _, name in rest[:_NAMES_MAX]:
        piece, utility = seen[name]
        text = f"{plain(name)} {plain(utility or 'unknown').replace('_', ' ')}"
        wanted.append(Label(text, sheet.to_points(piece), _NAMES_PT))
    return wanted


def _write(
    axes: Axes, sheet: Sheet, wanted: list[Label], *, seen: Mapping[str, Any], taken: list[BaseGeometry]
) -> None:
    placed = place_labels(
        wanted, lines=[sheet.to_points(piece) for piece, _ in seen.values()], frame=sheet.frame, taken=taken
    )
    write_labels(axes, sheet, placed)


def write_labels(axes: Axes, sheet: Sheet, placed: Sequence[Placed]) -> None:
    """Write placed labels with their leaders; each text's gid begins with ``label``."""
    leaders = [(_ground(sheet, p.x_pt, p.y_pt), _ground(sheet, p.anchor_x_pt, p.anchor_y_pt))
               for p in placed if p.has_leader]  # fmt: skip
    _collect(axes, leaders, colour="white", width=1.6, zorder=9.8)
    _collect(axes, leaders, colour="#333333", width=0.6, zorder=9.9)
    for boxed in (False, True):
        frames = [_corners(sheet, place) for place in placed if place.label.boxed == boxed]
        if frames:
            look: Any = {"edgecolor": INK, "linewidth": 0.8} if boxed else {"edgecolor": "none", "alpha": 0.82}
            axes.add_collection(PolyCollection(frames, facecolor="white", zorder=10.5, gid=f"frames-{boxed}", **look))
    for number, place in enumerate(placed):
        _text(axes, sheet, place, gid=f"label-{number}")


def _ground(sheet: Sheet, x_pt: float, y_pt: float) -> tuple[float, float]:
    return sheet.west_m + x_pt / sheet.points_per_m, sheet.south_m + y_pt / sheet.points_per_m


def _corners(sheet: Sheet, place: Placed) -> list[tuple[float, float]]:
    """Return the corners of a label's own box, its edge within it."""
    west, south, east, north = place.box.buffer(-_FRAME_IN_PT, join_style="mitre").bounds
    return [_ground(sheet, x, y) for x, y in ((west, south), (east, south), (east, north), (west, north))]


def _text(axes: Axes, sheet: Sheet, place: Placed, *, gid: str) -> None:
    label = place.label
    low, high = _ink(label.text, label.size_pt, boxed=label.boxed)
    axes.text(
        *_ground(sheet, place.x_pt, place.y_pt - (low + high) / 2), label.text, fontsize=label.size_pt, ha="center",
        va="baseline", color=INK, zorder=11, parse_math=False, gid=gid,
        fontweight="bold" if label.boxed else "normal",
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _ink(text: str, size_pt: float, *, boxed: bool) -> tuple[float, float]:
    """Return the lowest and highest ink of a text over its baseline, points."""
    font = FontProperties(family="DejaVu Sans", weight="bold" if boxed else "normal")
    y = np.asarray(TextPath((0, 0), text.replace("$", r"\$") or " ", size=size_pt, prop=font).vertices)[:, 1]
    return (float(y.min()), float(y.max())) if y.size else (0.0, size_pt)


def _key(figure: Figure, content: CloseUp) -> None:
    """Draw the key in one row below the map; of marks that may be missing only those that are there."""
    rows: list[tuple[Any, str]] = [
        (Line2D([], [], color=INK, linewidth=_CASING_PT), "trace this" if content.reads else "the line")
    ]
    if any(row[3] for row in content.traced):
        rows.append((Line2D([], [], color=INK, linewidth=3.4, linestyle=(0, (2.4, 1.2))), "assumed"))
    if content.reads:
        rows.append((_mark("o", 4.8, hollow=True), "read here"))
    rows.append((Line2D([], [], color="#333333", linewidth=_PLAIN_EDGE_PT), "other line"))
    if content.partners:
        core = Line2D([], [], color="white", linewidth=_HOLLOW_PT)
        rows.append(((Line2D([], [], color=INK, linewidth=_PARTNER_PT), core), "takes tone too"))
    if content.no_depth:
        rows.append((Line2D([], [], color=_BAND, linewidth=9.0), "no depth"))
    if content.pulls:
        rows.append((_mark(r"$\rightarrow$", 11.0), "peak pulled"))
    if content.masked:
        rows.append((_mark("X", 7.0, hollow=True), "masked"))
    legend = figure.legend(
        [handle for handle, _ in rows], [text for _, text in rows], loc="lower center", bbox_to_anchor=(0.5, 0.0),
        ncols=len(rows), fontsize=_KEY_PT, frameon=False, handlelength=1.9, columnspacing=0.9, handletextpad=0.45,
        borderpad=0.2, borderaxespad=0.1,
    )  # fmt: skip
    for line in legend.get_lines():
        line.set_solid_capstyle("butt")


def _mark(marker: str, size: float, *, hollow: bool = False) -> Line2D:
    return Line2D([], [], linestyle="none", marker=marker, markersize=size, markeredgecolor=INK,
                  markerfacecolor="white" if hollow else INK, markeredgewidth=1.0 if hollow else 0.3)  # fmt: skip
