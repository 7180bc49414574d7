"""The overview map of a crew sheet: the work area with its set-ups, numbered in walking order."""

from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from corridor.report.look.colours import ColourTable
from corridor.report.look.symbols import INK
from corridor.report.maps.cartography import add_north_arrow, add_scale_bar, sheet_for
from corridor.report.maps.closeup import MM_PER_INCH, SVG_STYLE, write_labels
from corridor.report.maps.hookup_marks import draw_hookups
from corridor.report.maps.labels import place_labels
from corridor.report.maps.map import setup_numbers
from corridor.report.maps.map_layers import draw_area, draw_structures, prepare

__all__ = ["OVERVIEW_IN", "draw_overview"]

OVERVIEW_IN = (258.0 / MM_PER_INCH, 150.0 / MM_PER_INCH)
_SIZE = 1.15  # people read it outdoors, on paper
_BOX = (0.002, 0.003, 0.996, 0.994)


def draw_overview(site: Any, setups: gpd.GeoDataFrame, *, colours: ColourTable) -> Figure:
    """Draw the overview: every recorded line, and the set-ups of the plan at their hook-ups.

    Parameters
    ----------
    site : Site
        Its lines, structures and work area are drawn.
    setups : GeoDataFrame
        Table ``setups``; sweeps have no number.
    colours : ColourTable
        Colours by utility.

    Returns
    -------
    Figure
        `OVERVIEW_IN` inches; each text's gid begins with ``label``.
    """
    drawn = setups[setups["kind"].eq("setup") & setups.geometry.notna()]
    with mpl.rc_context(SVG_STYLE):
        figure = Figure(figsize=OVERVIEW_IN)
        FigureCanvasSVG(figure)
        sheet = sheet_for(_bounds(site, drawn), figure_in=OVERVIEW_IN, box=_BOX)
        axes = figure.add_axes(_BOX)
        prepare(axes, sheet)
        draw_area(axes, site.work_area)
        draw_structures(axes, site.structures)
        pieces, paint = [], []
        for shape, utility, status in zip(
            site.lines.geometry, site.lines["utility"], site.lines["status"], strict=True
        ):
            piece = None if shape is None or status == "removed" else sheet.clip(shape)
            if piece is not None:
                pieces.append(piece)
                paint.append(colours.of(utility))
        coords = [np.asarray(piece.coords) for piece in pieces]
        axes.add_collection(LineCollection(coords, colors=INK, linewidths=1.3, zorder=3.0))
        axes.add_collection(LineCollection(coords, colors=paint, linewidths=0.7, zorder=3.1))
        first = drawn.drop_duplicates("hookup_id")
        marks = draw_hookups(axes, sheet, first, setup_numbers(drawn), size=_SIZE)
        taken = [*marks.taken, add_scale_bar(axes, sheet), add_north_arrow(axes, sheet)]
        placed = place_labels(
            marks.labels, lines=[sheet.to_points(piece) for piece in pieces], frame=sheet.frame, taken=taken
        )
        write_labels(axes, sheet, placed)
    return figure


def _bounds(site: Any, setups: pd.DataFrame) -> np.ndarray:
    """Bounds of the work area and the set-ups, or else of all lines."""
    known = [np.asarray(frame.total_bounds, dtype=float) for frame in (site.work_area, setups) if len(frame)]
    known = [bounds for bounds in known if np.isfinite(bounds).all()]
    if not known:
        bounds = np.asarray(site.lines.total_bounds, dtype=float)
        return bounds if np.isfinite(bounds).all() else np.array([0.0, 0.0, 100.0, 100.0])
    every = np.array(known)
    return np.concatenate([every[:, :2].min(axis=0), every[:, 2:].max(axis=0)])
