"""Every set-up that could be made: how likely each shows each piece of each target, over all draws."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.constants import MA_PER_A
from corridor.plan.ensemble import Ensemble, LineDraws
from corridor.plan.stretches import cells
from corridor.settings import Equipment, Settings
from corridor.tone.grades import PULLED
from corridor.tone.stations import inside_parts

__all__ = ["Options", "Pieces", "make_options"]

Ints = NDArray[np.int64]
Real = NDArray[np.float64]
_SAME = 1e-6  # outputs that differ by less in every draw are one
_ROUND = 1e-9


@dataclass(frozen=True)
class Pieces:
    """The s pieces of targets that are to be shown, one round each station.

    Attributes
    ----------
    line_id : ndarray of str, shape (s,)
    station_m, length_m : ndarray, shape (s,)
        Where along the line, and how long.
    rows : dict of str to slice
        Those of each line.
    """

    line_id: NDArray[np.object_]
    station_m: Real
    length_m: Real
    rows: dict[str, slice]


@dataclass(frozen=True)
class Options:
    """The c set-ups that could be made: a hook-up at a frequency and an output.

    Attributes
    ----------
    pieces : Pieces
    hookup, frequency : ndarray of int, shape (c,)
        Row of the table of ready hook-ups, and position among the frequencies.
    level_a : ndarray, shape (c,)
        Output set, A.
    readable, worth : ndarray, shape (s, c)
        Share of the draws in which the piece is graded readable, and that with what pulled readings are worth; NaN
        where the set-up doesn't reach, or may not be made.
    preference : ndarray, shape (c,)
        Lower is liked better: lower frequency, then lower output, then the order of modes.
    """

    pieces: Pieces
    hookup: Ints
    frequency: Ints
    level_a: Real
    readable: Real
    worth: Real
    preference: Real

    def __len__(self) -> int:
        return len(self.hookup)

    def shown(self, column: int, line_id: str, ensemble: Ensemble, *, floor_nt: float) -> NDArray[np.bool_] | None:
        """Return in which draws a crew can read the pieces of a line under an option, (s, n); None out of its reach."""
        line, drive, frequency = ensemble.lines[line_id], int(self.hookup[column]), int(self.frequency[column])
        if drive not in line.drives:
            return None
        amperes = ensemble.sources.hookup_a(drive, frequency, float(self.level_a[column]))
        return line.shows(line.drives.index(drive), frequency, amperes, floor_nt)


def make_options(
    ensemble: Ensemble,
    ready: gpd.GeoDataFrame,
    lines: gpd.GeoDataFrame,
    *,
    area: Polygon | MultiPolygon | None,
    barred: pd.DataFrame | None,
    equipment: Equipment,
    settings: Settings,
) -> Options:
    """List the set-ups that could be made, and how likely each shows each piece of the targets.

    Parameters
    ----------
    ensemble : Ensemble
    ready : GeoDataFrame
        Hook-ups, in the order of the ensemble.
    lines : GeoDataFrame
        Table ``lines``.
    area : Polygon or MultiPolygon, optional
        Where the lines are wanted.
    barred : DataFrame, optional
        Verdicts of the gate on bleed partners: hookup_id, frequency_hz, level_ma, and ``ready`` false where it may not
        be made.
    equipment, settings
        Levels; thresholds, what a pulled reading is worth, and the order of modes.

    Returns
    -------
    Options
        Of outputs that come to the same in every draw only the lowest.
    """
    pieces = _pieces(ensemble, lines, area=area, settings=settings)
    levels = np.array(sorted(equipment.transmitter.levels_ma)) / MA_PER_A
    available = ensemble.sources.available_a
    number = np.indices((*available.shape[:2], len(levels))).reshape(3, -1)
    output = np.minimum(levels[None, None, :, None], available[:, :, None, :])
    fresh = np.ones(output.shape[:3], dtype=bool)
    fresh[:, :, 1:] = (output[:, :, 1:] > output[:, :, :-1] * (1 + _SAME)).any(axis=-1)
    fresh &= ~_barred(barred, ready, ensemble.frequencies_hz, levels)
    hookup, frequency, level = number[:, fresh.ravel()]
    readable = np.full((len(pieces.line_id), len(hookup)), np.nan)
    pulled = np.full_like(readable, np.nan)
    column_of = np.full(output.shape[:3], -1)
    column_of[hookup, frequency, level] = np.arange(len(hookup))
    for line_id, line in ensemble.lines.items():
        own = pieces.rows[line_id]
        _fill((readable[own], pulled[own]), line, output, column_of, floor_nt=settings.grades.floor_nt)
    liked = {mode: rank for rank, mode in enumerate(settings.hookups.mode_order)}
    mode = np.array([liked.get(name, len(liked)) for name in ready["mode"]])[hookup]
    preference = (frequency * len(levels) + level) * (len(liked) + 1) + mode
    worth = readable + settings.plan.pulled_worth * pulled
    return Options(pieces, hookup, frequency, levels[level], readable, worth, preference.astype(np.float64))


def _pieces(
    ensemble: Ensemble, lines: gpd.GeoDataFrame, *, area: Polygon | MultiPolygon | None, settings: Settings
) -> Pieces:
    shape = lines.set_index("line_id").geometry
    names, measures, lengths, rows = [], [], [], {}
    first = 0
    for line_id, line in sorted(ensemble.lines.items()):
        at_m = line.stations.measure_m
        parts = inside_parts(shape.loc[line_id], area)
        start, end, _ = cells(at_m, parts, spacing_m=settings.receiver.station_spacing_m)
        rows[line_id] = slice(first, first + len(at_m))
        first += len(at_m)
        names += [line_id] * len(at_m)
        measures.append(at_m)
        lengths.append(end - start)
    station_m, length_m = (np.concatenate([np.empty(0), *part]) for part in (measures, lengths))
    return Pieces(np.array(names, dtype=object), station_m, length_m, rows)


def _fill(shares: tuple[Real, Real], line: LineDraws, output: Real, column_of: Ints, *, floor_nt: float) -> None:
    """Enter in what share of the draws one line's hook-ups show it readable, and pulled, at every output."""
    readable, pulled = shares
    drives = np.array(line.drives)
    is_pulled = (line.loud == PULLED) & line.allowed[..., None]
    for level in range(output.shape[2]):
        amperes = output[drives, :, level]
        columns = column_of[drives, :, level]
        good = line.readable(amperes, floor_nt).mean(axis=-1)
        poor = (is_pulled & (line.field_nt * amperes[None] >= floor_nt)).mean(axis=-1)
        there = columns >= 0
        seen = line.allowed[:, there]
        readable[:, columns[there]] = np.where(seen, good[:, there], np.nan)
        pulled[:, columns[there]] = np.where(seen, poor[:, there], np.nan)


def _barred(
    barred: pd.DataFrame | None, ready: gpd.GeoDataFrame, frequencies_hz: Sequence[float], levels_a: Real
) -> NDArray[np.bool_]:
    mask = np.zeros((len(ready), len(frequencies_hz), len(levels_a)), dtype=bool)
    if barred is None or barred.empty:
        return mask
    rows = barred[~barred["ready"].to_numpy(dtype=bool)]
    number = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
    hookup = rows["hookup_id"].map(number).to_numpy(dtype=np.int64)
    frequency = np.searchsorted(np.array(frequencies_hz), rows["frequency_hz"].to_numpy(float) * (1 - _ROUND))
    level = np.searchsorted(levels_a, rows["level_ma"].to_numpy(float) / MA_PER_A * (1 - _ROUND))
    mask[hookup, frequency, level] = True
    return mask
