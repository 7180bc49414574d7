"""What the receiver reads along each graded line under each of its hook-ups: peak, depth, grade, and who masks it."""

from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.plan.grading import Grading, allowed
from corridor.settings import Equipment, Settings
from corridor.threads import worked
from corridor.tone.field import field_matrices, left_of
from corridor.tone.predict import REACH_M, Prediction
from corridor.tone.solve import ToneSolution
from corridor.tone.tables import graded

__all__ = ["NOTHING", "NOT_GRADED", "STATION_KINDS", "Profiles", "maskers", "profiles_of"]

NOTHING = np.iinfo(np.int16).min  # no depth is shown
NOT_GRADED = 255  # within earshot of an induction loop, or a frequency that it can't be tuned to
# peak, its lowest and highest, depth error; grade, worst grade; line that masks
STATION_KINDS: tuple[type[Any], ...] = (np.int16,) * 4 + (np.uint8,) * 2 + (np.int16,)
_CM_PER_M = 100.0
_FAR_CM = 3000.0  # depth readings beyond say nothing more

Array = NDArray[Any]
_Part = tuple[Array, ...]


@dataclass(frozen=True)
class Profiles:
    """Stations of the graded lines, t in all, and which of them each hook-up is graded at.

    Attributes
    ----------
    line_of : ndarray of int, shape (t,)
        Position in the window's ``line_ids``; stations stand line by line, by measure.
    measure_m : ndarray, shape (t,)
        Distance along the line.
    graded : tuple of ndarray of int
        For each hook-up the graded lines' positions in ``line_ids``, ascending.
    parts : mapping
        While the blocks are made: arrays by hook-up and line.
    """

    line_of: NDArray[np.int64]
    measure_m: NDArray[np.float64]
    graded: tuple[NDArray[np.int64], ...]
    parts: dict[tuple[int, int], _Part] = field(default_factory=dict)

    def stations_of(self, hookup: int) -> NDArray[np.int64]:
        """Return the stations at which a hook-up is graded, in the order of its block."""
        return np.flatnonzero(np.isin(self.line_of, self.graded[hookup]))

    def arrays_of(self, hookup: int) -> list[Array]:
        """Return the seven arrays (f, stations) of a hook-up: offsets in cm, grades, masking lines."""
        own = [self.parts[hookup, int(line)] for line in self.graded[hookup]]
        if not own:
            return [np.empty(0, dtype=kind) for kind in STATION_KINDS]
        together = (np.concatenate([part[k] for part in own], axis=1) for k in range(len(STATION_KINDS)))
        return [array.astype(kind) for array, kind in zip(together, STATION_KINDS, strict=True)]

    def without_arrays(self) -> "Profiles":
        """Return it without the arrays, which the blocks then hold."""
        return replace(self, parts={})


def profiles_of(
    solution: ToneSolution,
    grading: Grading,
    ready: gpd.GeoDataFrame,
    line_ids: tuple[str, ...],
    *,
    hookup_a: Array,
    settings: Settings,
    equipment: Equipment,
) -> Profiles:
    """Collect the predictions along all graded lines.

    Parameters
    ----------
    solution : ToneSolution
    grading : Grading
        Its predictions.
    ready : GeoDataFrame
        Hook-ups, h of them, in the order of the drives.
    line_ids : tuple of str
        Of the window.
    hookup_a : ndarray, shape (h, f, c), A
        Hook-up currents at which to grade.
    settings, equipment
        Thresholds; lowest frequency of the loop.
    """
    at = {line_id: k for k, line_id in enumerate(line_ids)}
    names = sorted(grading.predictions, key=lambda name: at[name])
    frequencies = np.array(solution.frequencies_hz)

    def collected(name: str) -> list[_Part]:
        prediction = grading.predictions[name]
        drives = list(prediction.drives)
        keep = allowed(
            ready.iloc[drives], prediction.stations.xy_m, frequencies, settings=settings, equipment=equipment
        )
        codes = graded(prediction, hookup_a[None, drives], settings).astype(np.int16)  # NOT_GRADED is beyond theirs
        lines = _positions(maskers(solution, prediction), solution.model.line_ids, at)
        peak = np.rint(prediction.peak_offset_m * _CM_PER_M)
        depth = (prediction.depth_m[..., 0] - prediction.stations.depth_m) * _CM_PER_M
        depth = np.where(np.isfinite(depth), np.rint(np.clip(depth, -_FAR_CM, _FAR_CM)), NOTHING)
        arrays = [
            peak[..., 0], peak.min(axis=-1), peak.max(axis=-1), depth,
            np.where(keep, codes[..., 0], NOT_GRADED), np.where(keep, codes.max(axis=-1), NOT_GRADED),
            np.where(keep, lines, -1),
        ]  # fmt: skip
        return [tuple(array[:, d].T for array in arrays) for d in range(len(drives))]

    parts: dict[tuple[int, int], _Part] = {}
    lines: list[list[int]] = [[] for _ in range(len(ready))]
    for name, found in zip(names, worked(collected, names), strict=True):
        for drive, part in zip(grading.predictions[name].drives, found, strict=True):
            parts[drive, at[name]] = part
            lines[drive].append(at[name])
    measures = [grading.predictions[name].stations.measure_m for name in names]
    return Profiles(
        np.repeat([at[name] for name in names], [len(own) for own in measures]).astype(np.int64),
        np.concatenate(measures) if measures else np.empty(0),
        tuple(np.array(own, dtype=np.int64) for own in lines),
        parts,
    )


def maskers(solution: ToneSolution, prediction: Prediction) -> NDArray[np.int64]:
    """Return the line whose current makes most of the field at the peak, where that isn't the traced line's own.

    Parameters
    ----------
    solution : ToneSolution
    prediction : Prediction
        Along one line: s stations, d hook-ups, f frequencies.

    Returns
    -------
    ndarray of int, shape (s, d, f)
        Position in the model's ``line_ids``, nominal case; -1 where nothing masks.
    """
    model, stations = solution.model, prediction.stations
    found = np.full(prediction.masked.shape[:3], -1, dtype=np.int64)
    at = np.nonzero(prediction.masked[..., 0])
    near = _near(solution, prediction)
    if not at[0].size or not near.size:
        return found
    left = left_of(stations.direction)[at[0]]
    xy = stations.xy_m[at[0]] - model.origin_m + prediction.peak_offset_m[(*at, 0)][:, None] * left
    places, which = np.unique(np.round(np.column_stack((xy, left)), 6), axis=0, return_inverse=True)
    points = np.column_stack((places[:, :2], np.zeros(len(places))))
    field_of = field_matrices(points, model.start_m[near], model.end_m[near], axis=places[:, 2:])
    lines, first = np.unique(model.line_index[near], return_index=True)
    nominal = solution.cases[0].name
    drives = np.array(prediction.drives)
    for f, frequency in enumerate(solution.frequencies_hz):
        result = solution.results[frequency, nominal]
        for d in np.unique(at[1][at[2] == f]):
            rows = np.flatnonzero((at[2] == f) & (at[1] == d))
            place = which.ravel()[rows]
            parts = field_of.h_per_current[place] * result.current_a[near, drives[d]]
            parts += field_of.h_per_leak[place] * result.leak_a[near, drives[d]]
            total = np.abs(np.add.reduceat(parts, first, axis=1))
            total[:, lines == model.line_ids.index(stations.line_id)] = 0.0
            found[at[0][rows], d, f] = lines[total.argmax(axis=1)]
    return found


def _near(solution: ToneSolution, prediction: Prediction) -> NDArray[np.int64]:
    """Return the sections of lines near the stations, line by line."""
    model, xy = solution.model, prediction.stations.xy_m - solution.model.origin_m
    low, high = xy.min(axis=0) - REACH_M, xy.max(axis=0) + REACH_M
    middle = (model.start_m[:, :2] + model.end_m[:, :2]) / 2
    inside = ((middle >= low) & (middle <= high)).all(axis=1) & ~model.electrode_mask
    near = np.flatnonzero(inside)
    return near[np.argsort(model.line_index[near], kind="stable")]


def _positions(lines: NDArray[np.int64], model_ids: tuple[str, ...], at: dict[str, int]) -> NDArray[np.int64]:
    """Return positions in the model's lines as positions in the window's; -1 stays."""
    table = np.array([*(at.get(name, -1) for name in model_ids), -1], dtype=np.int64)
    return np.asarray(table[lines])
