"""Hook-ups on a map: a numbered symbol each, or one box of numbers for those that stand too close together."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import networkx as nx
import numpy as np
import shapely
from matplotlib.axes import Axes
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from corridor.report.look.symbols import HOOKUP_SYMBOLS, INK
from corridor.report.maps.cartography import Sheet
from corridor.report.maps.labels import Label

__all__ = ["EDGE_CLEAR_PT", "HookUpMarks", "clumps", "draw_hookups", "number_text", "symbol_area"]

_LARGE, _CLOSE, _SMALL = 110.0, 46.0, 13.0  # areas of symbols, square points
_EDGE_PT = 1.6
EDGE_CLEAR_PT = 7.0  # a hook-up nearer to the map's edge would be cut by it
_NUMBER_PT = 5.8
_BOXED_PT = 6.2


@dataclass(frozen=True)
class HookUpMarks:
    """What the chosen hook-ups take of the map, in points on paper, and the boxes of numbers still to be placed.

    ``small`` are the outlines of the other symbols, which text should rather not cover.
    """

    taken: list[BaseGeometry]
    labels: list[Label]
    small: list[BaseGeometry]


def draw_hookups(
    axes: Axes, sheet: Sheet, hookups: gpd.GeoDataFrame, chosen: Mapping[str, Sequence[int]], *, size: float = 1.0
) -> HookUpMarks:
    """Draw access points that are ready, small, and the chosen hook-ups large with their numbers.

    Chosen ones whose symbols would overlap are drawn smaller, without numbers, and share a label; so is one with
    several numbers. Induction can be done nearly anywhere, so its other places are left out.

    Parameters
    ----------
    axes, sheet
        The map.
    hookups : GeoDataFrame
        Table ``hookups``.
    chosen : mapping of str to sequence of int
        Numbers by hookup_id: one, or one for each set-up there.
    size : float
        Type and sides of symbols, as a multiple of the map's usual ones.

    Returns
    -------
    HookUpMarks
    """
    ids = hookups["hookup_id"].astype(str).to_numpy()
    shown = np.array(
        [shape is not None and sheet.shows(shape.x, shape.y, clear_pt=EDGE_CLEAR_PT) for shape in hookups.geometry],
        dtype=bool,
    )
    large = shown & np.array([name in chosen for name in ids], dtype=bool)
    small = shown & ~large & hookups["ready"].eq("ready").to_numpy() & hookups["mode"].ne("induction").to_numpy()
    large_area, close_area = _LARGE * size**2, _CLOSE * size**2
    _scatter(axes, hookups[small], area=_SMALL, edge="#777777", width=0.7, zorder=5)
    rows = np.flatnonzero(large)
    rows = rows[np.argsort([min(chosen[ids[row]]) for row in rows], kind="stable")]
    points = [sheet.to_points(hookups.geometry.iloc[row]).centroid for row in rows]
    modes = hookups["mode"].to_numpy()[rows]
    areas = [symbol_area(point, mode, area=large_area) for point, mode in zip(points, modes, strict=True)]
    marks = HookUpMarks([], [], [])
    for shape, mode in zip(hookups.geometry[small], hookups["mode"][small], strict=True):
        marks.small.append(symbol_area(sheet.to_points(shape).centroid, mode, area=_SMALL).boundary)
    for members in clumps(areas):
        frame = hookups.iloc[rows[members]]
        numbers = [number for row in rows[members] for number in chosen[ids[row]]]
        if len(numbers) == 1:
            _scatter(axes, frame, area=large_area, edge=INK, width=_EDGE_PT, zorder=9)
            axes.text(
                frame.geometry.iloc[0].x, frame.geometry.iloc[0].y, str(numbers[0]), fontsize=_NUMBER_PT * size,
                fontweight="bold", ha="center", va="center_baseline", color=INK, zorder=9.5, clip_on=True,
                gid=f"label-number-{numbers[0]}",
            )  # fmt: skip
            marks.taken.append(areas[members[0]])
            continue
        _scatter(axes, frame, area=close_area, edge=INK, width=_EDGE_PT, zorder=9)
        marks.taken.extend(symbol_area(points[member], modes[member], area=close_area) for member in members)
        places = shapely.MultiPoint([points[member] for member in members])
        marks.labels.append(Label(text=number_text(numbers), shape=places, size_pt=_BOXED_PT * size, boxed=True))
    return marks


def symbol_area(point: shapely.Point, mode: str, *, area: float) -> BaseGeometry:
    """Return what a hook-up's symbol covers, its edge included, in points on paper; ``area`` as matplotlib's size."""
    side = math.sqrt(area)
    marker = HOOKUP_SYMBOLS[mode].marker
    if marker == "o":
        return point.buffer(side / 2 + _EDGE_PT / 2)
    half = side / 2 + _EDGE_PT / 2
    square = shapely.box(point.x - half, point.y - half, point.x + half, point.y + half)
    return affinity.rotate(square, 45.0) if marker == "D" else square


def clumps(areas: Sequence[BaseGeometry]) -> list[list[int]]:
    """Return which areas hang together by touching, each group in the given order, groups by their first member."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(areas)))
    if areas:
        graph.add_edges_from(shapely.STRtree(list(areas)).query(list(areas), predicate="intersects").T.tolist())
    return sorted(sorted(group) for group in nx.connected_components(graph))


def number_text(numbers: Sequence[int]) -> str:
    """Return numbers as people write them: ``3, 7–9``; runs of three or more are drawn together."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return ", ".join(parts)


def _scatter(axes: Axes, frame: gpd.GeoDataFrame, *, area: float, edge: str, width: float, zorder: float) -> None:
    for mode, symbol in HOOKUP_SYMBOLS.items():
        own = frame.geometry[frame["mode"].eq(mode).to_numpy()]
        if len(own):
            axes.scatter(
                own.x, own.y, s=area, marker=symbol.marker, facecolor="white", edgecolor=edge, linewidth=width,
                zorder=zorder,
            )  # fmt: skip
