"""Lines cut into straight sections, fine where tone changes over a short distance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, STRtree
from shapely.geometry.base import BaseGeometry

from corridor.settings import SolverSettings

__all__ = ["Piece", "Spacing", "cut_line", "joint_measures"]

Real = NDArray[np.float64]

MEASURE_DECIMALS = 6
SAMPLE_M = 0.5  # how closely the wanted section length is sampled
BEND_TOLERANCE_M = 0.05  # vertices that bend a line by less are left out
NEAR_LIMIT_M = 1.5  # neighbours farther away don't shorten sections (twice the gap is then 3 m)


@dataclass(frozen=True)
class Piece:
    """A stretch of one line without joints: the points of its sections, in order.

    Attributes
    ----------
    line_id : str
        The line.
    xy_m : ndarray, shape (k, 2)
        Ends of the sections, m.
    measure_m : ndarray, shape (k,)
        Distance of each point along the line.
    """

    line_id: str
    xy_m: Real
    measure_m: Real


class Spacing:
    """Wanted section length along lines, from the nearest other conductor.

    Sections are no longer than twice the distance to the nearest other axis (convergence: docs, method, section 3),
    held between ``section_close_m`` and ``section_max_m``; lines that touch in plan are told apart by their depths.
    """

    def __init__(self, geometries: Sequence[BaseGeometry], depths_m: Real, settings: SolverSettings) -> None:
        self._geometries = np.asarray(geometries, dtype=object)
        self._depths = depths_m
        self._tree = STRtree(geometries)
        self._settings = settings

    def wanted_m(self, index: int, xy_m: Real) -> Real:
        """Return the wanted section length at points of one line, shape (k,).

        Parameters
        ----------
        index : int
            Which of the geometries the points lie on.
        xy_m : ndarray, shape (k, 2)
            Points, m.
        """
        points = np.asarray(shapely.points(xy_m))
        at, other = self._tree.query(points, predicate="dwithin", distance=NEAR_LIMIT_M)
        keep = other != index
        at, other = at[keep], other[keep]
        plan = shapely.distance(points[at], self._geometries[other])
        apart = np.hypot(plan, self._depths[other] - self._depths[index])
        nearest = np.full(len(xy_m), np.inf)
        np.minimum.at(nearest, at, apart)
        return np.clip(2 * nearest, self._settings.section_close_m, self._settings.section_max_m)


def joint_measures(length_m: float, spacing_m: float, *, keep_clear: Real, clear_m: float) -> Real:
    """Return where a line's joints stand: at multiples of the spacing, away from the given measures.

    Parameters
    ----------
    length_m, spacing_m : float
        Of the line and between joints, m.
    keep_clear : ndarray
        Measures at which something is connected; a joint closer than ``clear_m`` moves to ``clear_m`` beyond it.
    clear_m : float
        That distance, m.
    """
    measures = np.arange(1, math.floor(length_m / spacing_m) + 1) * spacing_m
    moved = measures.copy()
    if keep_clear.size:
        nearest = keep_clear[np.abs(measures[:, None] - keep_clear[None, :]).argmin(axis=1)]
        close = np.abs(measures - nearest) < clear_m
        moved[close] = nearest[close] + clear_m
    return np.unique(moved[(moved > clear_m) & (moved < length_m - clear_m)])


def cut_line(
    index: int,
    line: LineString,
    fixed_m: Real,
    *,
    joints_m: Real,
    busy_m: Real,
    gamma_per_m: float,
    spacing: Spacing,
    settings: SolverSettings,
    line_id: str,
    ends_m: tuple[float, float] | None = None,
) -> list[Piece]:
    """Cut a line into pieces between joints, and the pieces into sections.

    Parameters
    ----------
    index : int
        Of the line among ``spacing``'s geometries.
    line : LineString
        The line in plan, m.
    fixed_m : ndarray
        Measures that must be ends of sections (nodes).
    joints_m : ndarray
        Measures of the joints, where pieces part.
    busy_m : ndarray
        Measures of bonds and grounds: sections beside them are close.
    gamma_per_m : float
        Propagation constant at the highest frequency; sections are at most ``gamma_step`` over it.
    spacing : Spacing
        Wanted lengths.
    settings : SolverSettings
        Limits.
    line_id : str
        Name for the pieces.
    ends_m : tuple of two floats, optional
        First and last measure to cut; the whole line where left out.

    Returns
    -------
    list of Piece
        In the order of measure.
    """
    first, last = ends_m or (0.0, line.length)
    joints_m = np.round(joints_m, MEASURE_DECIMALS)
    stops = _stops(line, np.concatenate([fixed_m, joints_m, [first, last]]), (first, last), settings.section_min_m)
    longest = min(settings.section_max_m, settings.gamma_step / gamma_per_m if gamma_per_m > 0 else math.inf)
    measures = [stops[:1]]
    for between in pairwise(stops):
        wanted = _Wanted(index, busy_m, longest, spacing, settings.section_close_m)
        measures.append(_graded(line, between, wanted))
    measure = np.concatenate(measures)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, measure))
    cuts = np.searchsorted(measure, joints_m[(joints_m > first) & (joints_m < last)])
    bounds = [0, *cuts.tolist(), len(measure) - 1]
    return [Piece(line_id, xy[a : b + 1], measure[a : b + 1]) for a, b in pairwise(bounds) if b > a]


def _stops(line: LineString, fixed: Real, ends: tuple[float, float], shortest_m: float) -> Real:
    """Return the measures where sections must end: the fixed ones, and bends that matter."""
    kept = np.unique(np.round(fixed, MEASURE_DECIMALS))
    kept = kept[(kept >= ends[0] - 1e-6) & (kept <= ends[1] + 1e-6)]
    bends = shapely.get_coordinates(line.simplify(BEND_TOLERANCE_M))[1:-1]
    for measure in shapely.line_locate_point(line, np.asarray(shapely.points(bends))) if len(bends) else ():
        if ends[0] < measure < ends[1] and np.abs(kept - measure).min() > shortest_m:
            kept = np.sort(np.append(kept, measure))
    return kept


@dataclass(frozen=True)
class _Wanted:
    """Wanted section length along one line."""

    index: int
    busy_m: Real
    longest_m: float
    spacing: Spacing
    close_m: float

    def at(self, line: LineString, measure_m: Real) -> Real:
        points = shapely.get_coordinates(shapely.line_interpolate_point(line, measure_m))
        wanted = np.minimum(self.spacing.wanted_m(self.index, points), self.longest_m)
        if self.busy_m.size:
            beside = np.abs(measure_m[:, None] - self.busy_m[None, :]).min(axis=1)
            wanted = np.where(beside < self.close_m, np.minimum(wanted, self.close_m), wanted)
        return wanted


def _graded(line: LineString, between: tuple[float, float], wanted: _Wanted) -> Real:
    """Return the section ends after ``low`` up to ``high``: equal steps of the integral of 1/wanted length."""
    low, high = between
    at = np.linspace(low, high, max(2, math.ceil((high - low) / SAMPLE_M) + 1))
    density = 1.0 / wanted.at(line, at)
    steps = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * np.diff(at))])
    sections = max(1, math.ceil(steps[-1] - 1e-9))
    ends = np.interp(np.linspace(0, steps[-1], sections + 1)[1:], steps, at)
    ends[-1] = high
    return np.asarray(ends)
