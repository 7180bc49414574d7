"""What maps have in common: sheet, scale bar, north arrow, title, caution, legend column, labels, and the file."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.patheffects import withStroke
from shapely.geometry.base import BaseGeometry

from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.look.symbols import INK, STYLE
from corridor.report.maps.cartography import Sheet, add_north_arrow, add_scale_bar, sheet_for
from corridor.report.maps.labels import Label, Placed, place_labels
from corridor.report.maps.map_layers import prepare
from corridor.report.place import check_file_place, whole_file
from corridor.report.text import plain, wrapped

__all__ = ["MAP_SUFFIXES", "MapFrame", "check_map", "map_frame", "write_figure"]

FIGURE_IN = (14.0, 10.0)
DPI = 150
MAP_BOX = (0.01, 0.045, 0.76, 0.917)  # left, bottom, width, height as shares of the figure
MAP_SUFFIXES = (".png", ".svg")
_LEFT, _TOP, _BOTTOM, _GAP = 0.778, 0.962, 0.045, 0.008
_SIZE_PT, _TITLE_PT = 7.4, 8.0
_LINE_SPACING = 1.25
_LEGEND_CHARACTERS, _LIST_CHARACTERS = 46, 58  # that the column holds, for most letters


@dataclass
class MapFrame:
    """A map being drawn: its figure, axes and sheet, and what is taken of it, in points on paper."""

    figure: Figure
    axes: Axes
    sheet: Sheet
    taken: list[BaseGeometry] = field(default_factory=list)
    top: float = _TOP

    def legend(self, title: str, rows: Sequence[Artist]) -> None:
        """Add a block of symbols and words to the column beside the map, below what is there."""
        if not rows:
            return
        words = [self._broken(str(row.get_label())) for row in rows]
        block = Legend(
            self.figure, list(rows), words, title=title, loc="upper left",
            bbox_to_anchor=(_LEFT, self.top), bbox_transform=self.figure.transFigure, fontsize=_SIZE_PT,
            title_fontsize=_TITLE_PT, frameon=False, borderpad=0.1, borderaxespad=0.0, labelspacing=0.42,
            handlelength=2.8, alignment="left",
        )  # fmt: skip
        block.get_title().set_fontweight("bold")
        for text in block.get_texts():
            text.set_parse_math(False)  # a name out of the data is no formula
        self.figure.add_artist(block)
        extent = block.get_window_extent(self.figure.canvas.get_renderer())  # type: ignore[attr-defined]
        self.top = float(extent.transformed(self.figure.transFigure.inverted()).y0) - _GAP

    @staticmethod
    def _broken(text: str) -> str:
        return "\n".join(wrapped(text, width=_LEGEND_CHARACTERS, hanging=""))

    def list(self, title: str, lines: Sequence[str], *, more: str = "", size_pt: float = 6.8) -> None:
        """Add lines of text to the column, as many as there is room for; the rest is counted, ``more`` says where."""
        if not lines:
            return
        lines = [part for line in lines for part in wrapped(line, width=_LIST_CHARACTERS)]
        step = size_pt * _LINE_SPACING / 72.0 / FIGURE_IN[1]
        room = int((self.top - _BOTTOM) / step) - 2
        if room < 2:
            return
        shown = list(lines) if len(lines) <= room else [*lines[: room - 1], f"and {len(lines) - room + 1} more{more}"]
        self.figure.text(
            _LEFT, self.top, plain(title), fontsize=_TITLE_PT, fontweight="bold", va="top", color=INK, parse_math=False
        )
        top = self.top - 1.5 * _TITLE_PT / 72.0 / FIGURE_IN[1]
        for number, line in enumerate(shown):
            self.figure.text(
                _LEFT, top - number * step, plain(line), fontsize=size_pt, va="top", color=INK, parse_math=False
            )
        self.top = top - len(shown) * step - _GAP

    def label(self, wanted: Sequence[Label], lines: Sequence[BaseGeometry]) -> int:
        """Write labels, the most important first, so that none overlaps; return how many had no room."""
        placed = place_labels(wanted, lines=lines, frame=self.sheet.frame, taken=self.taken)
        for place in placed:
            self._write(place)
        return len(wanted) - len(placed)

    def _write(self, place: Placed) -> None:
        x, y = self._ground(place.x_pt, place.y_pt)
        boxed = place.label.boxed
        if place.has_leader or boxed:
            to_x, to_y = self._ground(place.anchor_x_pt, place.anchor_y_pt)
            # a box's leader ends under the symbols that it numbers
            colour, width, zorder = (INK, 0.7, 8.5) if boxed else ("#555555", 0.45, 10.0)
            self.axes.plot([x, to_x], [y, to_y], color=colour, linewidth=width, zorder=zorder)
        looks: dict[str, Any] = {"path_effects": [withStroke(linewidth=2.2, foreground="white")]}
        if boxed:
            box = {"boxstyle": "square,pad=0.22", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}
            looks = {"fontweight": "bold", "bbox": box}
        self.axes.text(
            x, y, place.label.text, fontsize=place.label.size_pt, ha="center", va="center", color=INK, zorder=11,
            parse_math=False, **looks,
        )  # fmt: skip

    def _ground(self, x_pt: float, y_pt: float) -> tuple[float, float]:
        return self.sheet.west_m + x_pt / self.sheet.points_per_m, self.sheet.south_m + y_pt / self.sheet.points_per_m


@contextmanager
def map_frame(title: str, bounds_m: np.ndarray, *, notes: Sequence[str] = ()) -> Iterator[MapFrame]:
    """Yield a map of ``bounds_m`` (west, south, east, north) to draw on; the caution stands inside it.

    Notes may be added to until the end; they stand in one line at the foot.
    """
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=FIGURE_IN, dpi=DPI)
        FigureCanvasAgg(figure)
        sheet = sheet_for(_bounds(bounds_m), figure_in=FIGURE_IN, box=MAP_BOX)
        axes = figure.add_axes(MAP_BOX)
        prepare(axes, sheet)
        made = MapFrame(figure, axes, sheet)
        made.taken += [add_scale_bar(axes, sheet), add_north_arrow(axes, sheet)]
        yield made
        figure.text(0.01, 0.973, plain(title), fontsize=13, fontweight="bold", color=INK, parse_math=False)
        figure.text(0.01, 0.022, CAUTION, fontsize=10.5, fontweight="bold", color="#8a0000")
        figure.text(0.01, 0.007, plain("  ·  ".join(notes)), fontsize=7, color=INK, parse_math=False)


def _bounds(bounds_m: np.ndarray) -> np.ndarray:
    return bounds_m if np.all(np.isfinite(bounds_m)) else np.array([0.0, 0.0, 100.0, 100.0])


def check_map(path: str | Path) -> str:
    """Return the suffix of a map's file, before any work is done for it.

    Raises
    ------
    OutputError
        If no map can be written in that format, or not there.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in MAP_SUFFIXES:
        message = f"expected a map ending in {' or '.join(MAP_SUFFIXES)}, got {str(path)!r}"
        raise OutputError(message)
    check_file_place(path)
    return suffix


def write_figure(figure: Figure, path: str | Path, *, title: str, metadata: Mapping[str, str]) -> None:
    """Write a map as PNG or SVG, by the suffix, whole or not at all; caution and receipt stand in the file.

    Raises
    ------
    OutputError
        If the suffix is another, or the file can't be written.
    """
    suffix = check_map(path)
    caution = metadata.get("caution", CAUTION)
    entries: dict[str, Any]
    if suffix == ".svg":
        entries = {"Title": title, "Description": caution, "Source": metadata.get("receipt", ""), "Date": None}
        entries["Creator"] = None
    else:
        entries = {"Title": title, "Description": caution, "Software": None}
        entries |= {key: value for key, value in metadata.items() if key not in ("caution", "date")}
    # letters as outlines, so that the picture doesn't depend on the fonts of a machine; no clock leaves a trace
    with whole_file(path) as made, mpl.rc_context({**STYLE, "svg.fonttype": "path", "svg.hashsalt": "corridor"}):
        figure.savefig(made, dpi=DPI, format=suffix.removeprefix("."), metadata=entries)
