"""The sheet of a map: extent, scale, scale bar and north arrow."""

from dataclasses import dataclass

import numpy as np
import shapely
from matplotlib.axes import Axes
from shapely.geometry.base import BaseGeometry

from corridor.report.look.symbols import INK

__all__ = ["Sheet", "add_north_arrow", "add_scale_bar", "scale_bar_length_m", "sheet_for"]

POINTS_PER_INCH = 72.0
_MARGIN_SHARE = 0.07
_MARGIN_MIN_M = 6.0


@dataclass(frozen=True)
class Sheet:
    """The piece of ground that a map shows, and its scale on paper."""

    west_m: float
    south_m: float
    width_m: float
    height_m: float
    points_per_m: float

    @property
    def frame(self) -> shapely.Polygon:
        """The map's edge, in points on paper."""
        return shapely.box(0.0, 0.0, self.width_m * self.points_per_m, self.height_m * self.points_per_m)

    def to_points(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape in points on paper, from the lower left corner of the map."""
        origin = np.array([self.west_m, self.south_m])
        return shapely.transform(shape, lambda xy: (xy - origin) * self.points_per_m)

    def clip(self, line: BaseGeometry) -> shapely.LineString | None:
        """Return the longest visible piece of a line; None if none is."""
        window = (self.west_m, self.south_m, self.west_m + self.width_m, self.south_m + self.height_m)
        seen = shapely.clip_by_rect(shapely.force_2d(line), *window)
        parts = [part for part in shapely.get_parts(seen) if part.geom_type == "LineString" and part.length > 0]
        return max(parts, key=lambda part: part.length) if parts else None

    def shows(self, x_m: float, y_m: float, *, clear_pt: float = 0.0) -> bool:
        """Whether a point lies on the map, this far (points on paper) from its edge."""
        clear_m = clear_pt / self.points_per_m
        east, north = x_m - self.west_m, y_m - self.south_m
        return clear_m <= east <= self.width_m - clear_m and clear_m <= north <= self.height_m - clear_m


def sheet_for(bounds_m: np.ndarray, *, figure_in: tuple[float, float], box: tuple[float, float, float, float]) -> Sheet:
    """Return the sheet that shows ``bounds_m`` (west, south, east, north) with a margin, filling the axes' box."""
    west, south, east, north = (float(value) for value in bounds_m)
    margin = max(_MARGIN_MIN_M, _MARGIN_SHARE * max(east - west, north - south))
    width, height = east - west + 2 * margin, north - south + 2 * margin
    box_width_in, box_height_in = figure_in[0] * box[2], figure_in[1] * box[3]
    inch_per_m = min(box_width_in / width, box_height_in / height)
    shown_width, shown_height = box_width_in / inch_per_m, box_height_in / inch_per_m
    return Sheet(
        west_m=(west + east - shown_width) / 2,
        south_m=(south + north - shown_height) / 2,
        width_m=shown_width,
        height_m=shown_height,
        points_per_m=inch_per_m * POINTS_PER_INCH,
    )


def scale_bar_length_m(width_m: float) -> float:
    """Return a round length (1, 2 or 5 times a power of ten) of at most a fifth of the map's width."""
    most = width_m / 5.0
    power = 10.0 ** np.floor(np.log10(most))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most))


def add_scale_bar(axes: Axes, sheet: Sheet) -> BaseGeometry:
    """Draw a scale bar in the lower left corner; return the area it takes, in points on paper."""
    length = scale_bar_length_m(sheet.width_m)
    point = 1.0 / sheet.points_per_m
    x, y = sheet.west_m + 14 * point, sheet.south_m + 14 * point
    panel = shapely.box(x - 8 * point, y - 8 * point, x + length + 34 * point, y + 24 * point)
    axes.fill(*panel.exterior.xy, facecolor="white", edgecolor="#888888", linewidth=0.6, zorder=20)
    for half, colour in enumerate((INK, "white")):
        start = x + half * length / 2
        axes.fill(
            [start, start + length / 2, start + length / 2, start], [y, y, y + 4 * point, y + 4 * point],
            facecolor=colour, edgecolor=INK, linewidth=0.7, zorder=21,
        )  # fmt: skip
    for share, text in ((0.0, "0"), (0.5, f"{length / 2:g}"), (1.0, f"{length:g} m")):
        axes.text(x + share * length, y + 8 * point, text, fontsize=8, ha="center", va="bottom", zorder=21, color=INK)
    return sheet.to_points(panel)


def add_north_arrow(axes: Axes, sheet: Sheet) -> BaseGeometry:
    """Draw an arrow to grid north in the upper left corner; return the area it takes, in points on paper."""
    point = 1.0 / sheet.points_per_m
    x, top = sheet.west_m + 22 * point, sheet.south_m + sheet.height_m - 10 * point
    panel = shapely.box(x - 16 * point, top - 50 * point, x + 16 * point, top + 4 * point)
    axes.fill(*panel.exterior.xy, facecolor="white", edgecolor="#888888", linewidth=0.6, zorder=20)
    arrow = np.array([[0, 0], [8, -32], [0, -25], [-8, -32]]) * point + [x, top]
    axes.fill(arrow[:, 0], arrow[:, 1], facecolor=INK, edgecolor=INK, linewidth=0.7, zorder=21)
    axes.text(x, top - 35 * point, "N", fontsize=9, fontweight="bold", ha="center", va="top", zorder=21, color=INK)
    return sheet.to_points(panel)
