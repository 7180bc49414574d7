"""What a set-up traces: its stretches with letters, and where on them the receiver misleads."""

import math
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from corridor.report.sheet.words import octant, quantity
from corridor.report.text import current_text
from corridor.settings import GradeSettings

__all__ = ["Pull", "Traced", "letter", "trace_stretches"]

_SHORT_M = 0.05  # over which a line's direction is taken
_MISLEADS = ("pulled", "masked")


@dataclass(frozen=True)
class Pull:
    """A station where the peak stands beside the line: where, towards which side, and how far at most, m.

    ``east`` and ``north`` are a unit vector.
    """

    x_m: float
    y_m: float
    east: float
    north: float
    most_m: float

    @property
    def side(self) -> str:
        """Compass side."""
        return octant(math.degrees(math.atan2(self.east, self.north)) % 360.0)


@dataclass(frozen=True)
class Traced:
    """One stretch: its letter on the sheet, its row of ``strategy``, and where it misleads.

    ``no_depth`` are the pieces where the depth reading may be off by more than the tolerance; ``masked`` the stations
    where another line's peak is higher; ``depth_m`` the records' depths there, lowest and highest;
    ``read_at`` the station nearest to its middle, where the crew reads.
    """

    letter: str
    row: Any
    pulls: tuple[Pull, ...] = ()
    masked: tuple[shapely.Point, ...] = ()
    no_depth: tuple[shapely.LineString, ...] = ()
    depth_m: tuple[float, float] | None = None
    read_at: shapely.Point | None = None

    @property
    def misleads(self) -> bool:
        """Whether a mark from this peak alone may be wrong in some case."""
        return bool({self.row["grade"], self.row["grade_worst"]} & set(_MISLEADS))

    def pull_text(self) -> str:
        """Return to which side peaks are pulled and how far at most; empty where none are."""
        most: dict[str, float] = {}
        for pull in self.pulls:
            most[pull.side] = max(most.get(pull.side, 0.0), pull.most_m)
        return " or ".join(f"{quantity(far, 'm')} {side}" for side, far in sorted(most.items()))

    def depth_text(self) -> str:
        """Return the recorded depths to the axis, m; empty where none is known."""
        if self.depth_m is None or not all(map(math.isfinite, self.depth_m)):
            return ""
        return " to ".join(dict.fromkeys(current_text(value) for value in self.depth_m)) + " m"


def letter(number: int) -> str:
    """Return the letter of the stretch with this number, from 0: a to z, then aa."""
    first, last = divmod(number, 26)
    return (chr(ord("a") + first - 1) if first else "") + chr(ord("a") + last)


def trace_stretches(
    stretches: gpd.GeoDataFrame, stations: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, *, grades: GradeSettings
) -> list[Traced]:
    """Return the stretches of one set-up in the order of line and distance.

    Parameters
    ----------
    stretches : GeoDataFrame
        Its rows of ``strategy``.
    stations : GeoDataFrame
        Rows of ``stations`` of the same hook-up and frequency.
    lines : GeoDataFrame
        Table ``lines``, indexed by line_id.
    grades : GradeSettings
        Tolerances of peak and depth.
    """
    ordered = stretches.sort_values(["line_id", "from_m"], kind="stable")
    found = []
    for number, (_, row) in enumerate(ordered.iterrows()):
        own = stations[
            stations["line_id"].eq(row["line_id"])
            & stations["station_m"].between(row["from_m"] - _SHORT_M, row["to_m"] + _SHORT_M)
        ].sort_values("station_m", kind="stable")
        shape = lines.geometry.get(row["line_id"])
        if shape is None or own.empty:
            found.append(Traced(letter(number), row))
            continue
        depths = own["depth_m"].to_numpy(float)
        found.append(
            Traced(
                letter(number),
                row,
                pulls=_pulls(own, shape, grades.offset_tolerance_m),
                masked=tuple(own.geometry[_masked(own)]),
                no_depth=_no_depth(own, row, shape, grades.depth_tolerance_share),
                depth_m=(float(np.min(depths)), float(np.max(depths))),
                read_at=own.geometry.iloc[_middle(own, row)],
            )
        )
    return found


def _middle(stations: gpd.GeoDataFrame, row: Any) -> int:
    return int((stations["station_m"] - (row["from_m"] + row["to_m"]) / 2).abs().to_numpy().argmin())


def _masked(stations: gpd.GeoDataFrame) -> np.ndarray:
    return (stations["grade"].eq("masked") | stations["grade_worst"].eq("masked")).to_numpy()


def _pulls(stations: gpd.GeoDataFrame, shape: shapely.LineString, tolerance_m: float) -> tuple[Pull, ...]:
    """Return where the peak is off by more than the tolerance in some case; on both sides where cases differ."""
    pulls = []
    offsets = stations[["peak_offset_m", "peak_offset_low_m", "peak_offset_high_m"]].to_numpy(float)
    for measure, point, values in zip(stations["station_m"], stations.geometry, offsets, strict=True):
        left_east, left_north = _left(shape, float(measure))
        known = values[np.isfinite(values)]
        for sign in (1.0, -1.0):
            most = float(np.max(sign * known, initial=0.0))
            if most > tolerance_m:
                pulls.append(Pull(point.x, point.y, sign * left_east, sign * left_north, most))
    return tuple(pulls)


def _left(shape: shapely.LineString, measure_m: float) -> tuple[float, float]:
    """Return the unit vector to the left of a line's direction at a distance along it."""
    ends = [max(measure_m - _SHORT_M, 0.0), min(measure_m + _SHORT_M, shape.length)]
    a, b = shapely.get_coordinates(shapely.line_interpolate_point(shapely.force_2d(shape), ends))
    along = (b - a) / (math.hypot(*(b - a)) or 1.0)
    return -float(along[1]), float(along[0])


def _no_depth(stations: gpd.GeoDataFrame, row: Any, shape: shapely.LineString, share: float) -> tuple[Any, ...]:
    """Return the pieces of a stretch nearest to the stations whose depth reading may be off, joined where they meet."""
    at = stations["station_m"].to_numpy(float)
    depth = stations["depth_m"].to_numpy(float)[:, None]
    shown = stations[["depth_reading_m", "depth_reading_low_m", "depth_reading_high_m"]].to_numpy(float)
    off = (np.abs(shown - depth) > share * depth).any(axis=1) | np.isnan(shown[:, 0])
    cuts = [float(row["from_m"]), *((at[1:] + at[:-1]) / 2).tolist(), float(row["to_m"])]
    pieces: list[list[float]] = []
    for number in np.flatnonzero(off).tolist():
        if pieces and pieces[-1][1] == cuts[number]:
            pieces[-1][1] = cuts[number + 1]
        else:
            pieces.append([cuts[number], cuts[number + 1]])
    return tuple(_piece(shape, *piece) for piece in pieces)


def _piece(shape: shapely.LineString, from_m: float, to_m: float) -> Any:
    """Return a line between two distances along it."""
    flat = shapely.force_2d(shape)
    low, high = sorted((max(from_m, 0.0), min(to_m, flat.length)))
    coords = shapely.get_coordinates(flat)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coords, axis=0).T))])
    inner = coords[(along > low) & (along < high)]
    ends = shapely.get_coordinates(shapely.line_interpolate_point(flat, [low, high]))
    return shapely.LineString(np.vstack([ends[:1], inner, ends[1:]]))
