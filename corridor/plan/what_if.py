"""What every ready hook-up does at every frequency, kept small enough to be handed on: currents in logarithmic steps.

A review solves all hook-ups and shows the chosen ones. Here stands the rest: the current of every section with its
range over the cases, its sense against the target, the widest way over metal to each line, and the receiver along each
graded line. One block of bytes a hook-up, compressed; `unpack` gives the arrays back.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from corridor.constants import MA_PER_A, MU_0
from corridor.plan.grading import Grading, Outputs, can_be_tuned, source_limits
from corridor.plan.what_if_profiles import STATION_KINDS, Profiles, profiles_of
from corridor.plan.what_if_ways import Links, links_of, widest_ways
from corridor.settings import Equipment, Settings
from corridor.threads import worked
from corridor.tone.model import ToneModel
from corridor.tone.sense import sense_codes
from corridor.tone.solve import ToneSolution
from corridor.tone.sources import LIMITS
from corridor.tone.tables import NT_PER_T

__all__ = [
    "DOWN_TO_NOTHING",
    "LEAST_MA",
    "RANGE_PER_DECADE",
    "STEPS_PER_DECADE",
    "Unpacked",
    "WhatIf",
    "floor_ma",
    "pack",
    "steps_of",
    "unpack",
    "what_if",
]

LEAST_MA = 1e-3  # step 1; what is smaller is step 0: a receiver needs about a thousand times as much
STEPS_PER_DECADE = 100  # 2.3 % a step
RANGE_PER_DECADE = 20  # of the lowest and highest current, as steps below and above; 12 % a step, always outward
DOWN_TO_NOTHING = 255  # the lowest is below LEAST_MA, or too far below to be counted
_LEVEL = 6  # of the compression: more takes time and saves next to nothing
_AT_ONCE = 16  # hook-ups worked out together

Array = NDArray[Any]


@dataclass(frozen=True)
class WhatIf:
    """What all ready hook-ups of one window do: n sections of lines, h hook-ups, f frequencies.

    Attributes
    ----------
    line_ids : tuple of str
        Lines of the network, in the order of their sections.
    line_of : ndarray of int, shape (n,)
        Position in ``line_ids`` of each section; sections stand line by line, by measure.
    ends_m : ndarray, shape (n, 2, 2)
        x, y of their ends in the site's CRS.
    measure_m : ndarray, shape (n, 2)
        Where they begin and end along the line.
    floor_ma : ndarray, shape (n,)
        Current whose field over a long straight line of that depth is the weakest that a receiver uses.
    profiles : Profiles
        Stations along the graded lines, and which hook-ups are graded on which.
    links : Links
        What metal joins lines.
    hookup_ids : tuple of str
    frequencies_hz : tuple of float
    level_ma, output_ma, voltage_v, loop_ohm : ndarray, shape (h, f)
        Output set: the review's own where it chose one, else the highest that its grading used; hook-up current that
        comes of it in the nominal case, voltage and loop impedance.
    limited_by : ndarray of str, shape (h, f)
        level, voltage, current or power.
    chosen : ndarray of bool, shape (h, f)
        Whether the review chose this set-up.
    barred : mapping of (hookup_id, frequency_hz) to str
        Set-ups that may not be made, and why, in one sentence.
    blocks : tuple of bytes
        A compressed block for each hook-up.
    """

    line_ids: tuple[str, ...]
    line_of: NDArray[np.int64]
    ends_m: NDArray[np.float64]
    measure_m: NDArray[np.float64]
    floor_ma: NDArray[np.float64]
    profiles: Profiles
    links: Links
    hookup_ids: tuple[str, ...]
    frequencies_hz: tuple[float, ...]
    level_ma: NDArray[np.float64]
    output_ma: NDArray[np.float64]
    voltage_v: NDArray[np.float64]
    loop_ohm: NDArray[np.float64]
    limited_by: NDArray[np.object_]
    chosen: NDArray[np.bool_]
    barred: dict[tuple[str, float], str] = field(default_factory=dict)
    blocks: tuple[bytes, ...] = ()


@dataclass(frozen=True)
class Unpacked:
    """What a block holds: arrays of f frequencies by n sections, l lines or t stations of the hook-up's graded lines.

    ``current``, ``way_current`` are steps (`steps_of`); ``low`` and ``high`` count coarser steps below and above
    ``current``. ``sense`` is a position in ``SENSES``. ``way`` is the link by which the widest way over metal enters
    each line, -1 where none does. Of the stations: ``peak_cm`` with its lowest and highest, ``depth_error_cm``
    (``NOTHING`` where there is no depth), positions in ``GRADES`` (``NOT_GRADED`` where it isn't), and the line that
    masks (-1: none).
    """

    current: Array
    low: Array
    high: Array
    sense: Array
    way: Array
    way_current: Array
    peak_cm: Array
    peak_low_cm: Array
    peak_high_cm: Array
    depth_error_cm: Array
    grade: Array
    grade_worst: Array
    masked_by: Array


def what_if(
    solution: ToneSolution,
    ready: gpd.GeoDataFrame,
    *,
    grading: Grading,
    chosen_a: NDArray[np.float64],
    verdicts: pd.DataFrame,
    equipment: Equipment,
    settings: Settings,
) -> WhatIf:
    """Collect what all hook-ups of a window do.

    Parameters
    ----------
    solution : ToneSolution
    ready : GeoDataFrame
        Its hook-ups, in the order of the solution's drives.
    grading : Grading
        Of all of them.
    chosen_a : ndarray, shape (h, f), A
        Outputs of the chosen set-ups, 0 for the others.
    verdicts : DataFrame
        Of the gate on bleed partners.
    equipment, settings
        Levels; lowest frequency of the loop; thresholds.

    Returns
    -------
    WhatIf
    """
    model, frequencies = solution.model, solution.frequencies_hz
    order = _order(model)
    names = tuple(ready["hookup_id"].astype(str))
    level, barred = _levels(ready, frequencies, grading, chosen_a=chosen_a, verdicts=verdicts, equipment=equipment)
    limits = source_limits(solution, range(len(names)))
    out = Outputs.at(level, limits)
    loop = np.abs(np.array([solution.results[f, solution.cases[0].name].loop_ohm for f in frequencies])).T
    middle = model.line_index[order]
    present = tuple(line_id for line_id in model.line_ids if model.sections_of(line_id).size)
    found = WhatIf(
        present,
        np.searchsorted(np.unique(middle), middle),
        np.stack([model.start_m[order, :2], model.end_m[order, :2]], axis=1) + model.origin_m,
        model.measure_m[order],
        floor_ma(model.start_m[order, 2] / 2 + model.end_m[order, 2] / 2, settings),
        profiles_of(solution, grading, ready, present, hookup_a=out.hookup_a, settings=settings, equipment=equipment),
        links_of(model, present),
        names,
        frequencies,
        level * MA_PER_A,
        out.hookup_a[..., 0] * MA_PER_A,
        out.hookup_a[..., 0] * loop,
        loop,
        np.array(LIMITS, dtype=object)[out.limited_by],
        chosen_a > 0,
        barred,
    )
    return _filled(found, solution, order, hookup_a=out.hookup_a, angle_deg=settings.receiver.sense_angle_deg)


def floor_ma(depth_m: NDArray[np.float64], settings: Settings) -> NDArray[np.float64]:
    """Return the current that a receiver just uses over a long straight line, I = 2 pi d B/mu_0 (Ampere's law), mA.

    Parameters
    ----------
    depth_m : ndarray, m
        Of the line's axis.
    settings : Settings
        Noise floor, and height of the lower coil.
    """
    away_m = depth_m + settings.receiver.lower_coil_height_m
    return np.asarray(2.0 * np.pi * away_m * settings.grades.floor_nt / NT_PER_T / MU_0 * MA_PER_A)


def steps_of(current_ma: Array) -> NDArray[np.uint16]:
    """Return currents as steps of their logarithm: 1 is ``LEAST_MA``, 0 is less."""
    with np.errstate(divide="ignore"):
        steps = np.rint(STEPS_PER_DECADE * np.log10(np.asarray(current_ma, dtype=float) / LEAST_MA)) + 1.0
    return np.where(steps >= 1.0, steps, 0.0).astype(np.uint16)


def unpack(found: WhatIf, hookup: int) -> Unpacked:
    """Return the arrays of one hook-up's block.

    Parameters
    ----------
    found : WhatIf
    hookup : int
        Position in ``hookup_ids``.
    """
    raw = np.frombuffer(zlib.decompress(found.blocks[hookup]), dtype=np.uint8)
    count, lines = len(found.line_of), len(found.line_ids)
    rows, used = len(found.frequencies_hz), 0

    def plane(width: int, kind: Any) -> Array:
        nonlocal used
        size = rows * width * np.dtype(kind).itemsize
        part = raw[used : used + size].reshape(np.dtype(kind).itemsize, rows * width)
        used += size
        return np.ascontiguousarray(part.T).view(kind).reshape(rows, width)

    current = np.cumsum(plane(count, np.uint16), axis=1, dtype=np.uint16)
    stations = found.profiles.stations_of(hookup).size
    rest = [(count, np.uint8)] * 3 + [(lines, np.int16), (lines, np.uint16)]
    rest += [(stations, kind) for kind in STATION_KINDS]
    return Unpacked(current, *[plane(width, kind) for width, kind in rest])


def pack(arrays: Sequence[Array]) -> bytes:
    """Return arrays one after another, each as planes of its bytes, low byte first, compressed.

    Parameters
    ----------
    arrays : sequence of ndarray
        Of ``Unpacked``, in its order; of ``current`` the differences along the sections.
    """
    planes = [np.ascontiguousarray(array).reshape(-1, 1).view(np.uint8).T.tobytes() for array in arrays]
    return zlib.compress(b"".join(planes), _LEVEL)


def _order(model: ToneModel) -> NDArray[np.int64]:
    return np.concatenate([model.sections_of(line_id) for line_id in model.line_ids])


def _levels(
    ready: gpd.GeoDataFrame,
    frequencies: Sequence[float],
    grading: Grading,
    *,
    chosen_a: NDArray[np.float64],
    verdicts: pd.DataFrame,
    equipment: Equipment,
) -> tuple[NDArray[np.float64], dict[tuple[str, float], str]]:
    """Return the output of each set-up (h, f), A, as high as the gate on bleed partners lets it, and what it bars."""
    steps = np.array(sorted(equipment.transmitter.levels_ma)) / MA_PER_A
    level = np.full(chosen_a.shape, steps[0])
    at = {name: k for k, name in enumerate(ready["hookup_id"])}
    where = {frequency: k for k, frequency in enumerate(frequencies)}
    used = grading.outputs.groupby(["hookup_id", "frequency_hz"], sort=True)["level_ma"].max()
    for (name, frequency), value in used.items():
        level[at[name], where[frequency]] = value / MA_PER_A
    level = np.where(chosen_a > 0, chosen_a, level)
    names = ready["hookup_id"].astype(str).tolist()
    low = np.argwhere(~can_be_tuned(ready, np.asarray(frequencies), equipment=equipment))
    told = f"the loop can't be tuned below {equipment.induction_min_hz:g} Hz"
    barred = {(names[d], frequencies[f]): told for d, f in low.tolist()}
    caught = verdicts[~verdicts["ready"].astype(bool)] if len(verdicts) else verdicts
    for (name, frequency), rows in caught.groupby(["hookup_id", "frequency_hz"], sort=True) if len(caught) else ():
        least = rows["level_ma"].min() / MA_PER_A
        lower = steps[steps < least]
        if lower.size:
            level[at[name], where[frequency]] = min(level[at[name], where[frequency]], lower[-1])
        else:
            barred.setdefault((str(name), frequency), str(rows.sort_values("level_ma")["missing"].iloc[0]))
    return level, barred


def _filled(
    found: WhatIf, solution: ToneSolution, order: NDArray[np.int64], *, hookup_a: Array, angle_deg: float
) -> WhatIf:
    """Return it with its blocks."""
    senses = _Senses(solution, order, angle_deg)
    count = len(found.hookup_ids)
    groups = [np.arange(first, min(first + _AT_ONCE, count)) for first in range(0, count, _AT_ONCE)]

    def packed(some: NDArray[np.int64]) -> list[bytes]:
        sizes = _sizes(solution, order, some, hookup_a[some])
        sense = senses.of(some)
        ways, through = widest_ways(solution, found.links, found.line_ids, some)
        through *= found.output_ma[some][:, :, None]
        made = []
        for k, hookup in enumerate(some):
            current = sizes[0][k].astype(np.uint16)
            steps = np.diff(current, axis=1, prepend=np.uint16(0))
            arrays = [steps, sizes[1][k], sizes[2][k], sense[k], ways[k], steps_of(through[k])]
            made.append(pack([*arrays, *found.profiles.arrays_of(int(hookup))]))
        return made

    blocks = tuple(block for part in worked(packed, groups) for block in part)
    kept = {name: value for name, value in vars(found).items() if name != "blocks"}
    return WhatIf(**kept | {"profiles": found.profiles.without_arrays()}, blocks=blocks)


def _sizes(
    solution: ToneSolution, order: NDArray[np.int64], some: NDArray[np.int64], hookup_a: Array
) -> tuple[Array, Array, Array]:
    """Return nominal currents of some hook-ups as steps (h, f, n), and how far below and above the cases go."""
    grid = np.ix_(order, some)
    shape = (len(some), len(solution.frequencies_hz), len(order))
    nominal, low, high = (np.empty(shape, dtype=np.float32) for _ in range(3))
    for f, frequency in enumerate(solution.frequencies_hz):
        for c, case in enumerate(solution.cases):
            output_ma = (hookup_a[:, f, c] * MA_PER_A).astype(np.float32)
            size = (np.abs(solution.results[frequency, case.name].current_a[grid]) * output_ma).T
            if c == 0:
                nominal[:, f], low[:, f], high[:, f] = size, size, size
            else:
                np.minimum(low[:, f], size, out=low[:, f])
                np.maximum(high[:, f], size, out=high[:, f])
    least = np.float32(LEAST_MA)
    logs = [np.log10(np.maximum(part, least / 2) / least) for part in (nominal, low, high)]
    steps = np.rint(STEPS_PER_DECADE * logs[0]) + 1.0
    steps[nominal < least] = 0.0
    shown = np.where(steps > 0, (steps - 1.0) / STEPS_PER_DECADE, 0.0)
    below = np.ceil(np.maximum(shown - logs[1], 0.0) * RANGE_PER_DECADE)
    below[(low < least) & (steps > 0)] = DOWN_TO_NOTHING
    above = np.ceil(np.maximum(logs[2] - shown, 0.0) * RANGE_PER_DECADE)
    below[steps == 0] = 0.0
    return steps, np.minimum(below, DOWN_TO_NOTHING).astype(np.uint8), np.minimum(above, 255.0).astype(np.uint8)


class _Senses:
    """Which way sections' currents run against the nearest one of the hook-up's line, nominal case."""

    def __init__(self, solution: ToneSolution, order: NDArray[np.int64], angle_deg: float) -> None:
        model = solution.model
        self._solution, self._order, self._angle_deg = solution, order, angle_deg
        start, end = model.start_m[:, :2], model.end_m[:, :2]
        middle, course = (start + end)[order] / 2, (end - start)[order]
        length = np.maximum(np.hypot(*course.T), np.finfo(float).tiny)
        self._near: dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]] = {}
        for line_id in sorted({drive.hookup.line_id for drive in solution.drives}):
            own = model.sections_of(line_id)
            _, nearest = cKDTree((start + end)[own] / 2).query(middle)  # sections are short: the nearest middle will do
            near = own[nearest]
            along = (end - start)[near]
            cosine = (course * along).sum(axis=1) / length / np.maximum(np.hypot(*along.T), np.finfo(float).tiny)
            self._near[line_id] = near, cosine

    def of(self, some: NDArray[np.int64]) -> NDArray[np.int8]:
        """Return positions in ``SENSES``, (h, f, n)."""
        solution, nominal = self._solution, self._solution.cases[0].name
        found = np.empty((len(some), len(solution.frequencies_hz), len(self._order)), dtype=np.int8)
        for k, drive in enumerate(some):
            near, along = self._near[solution.drives[drive].hookup.line_id]
            for f, frequency in enumerate(solution.frequencies_hz):
                current = solution.results[frequency, nominal].current_a[:, drive]
                product = current[self._order] * np.conj(current[near])
                with np.errstate(invalid="ignore", divide="ignore"):
                    in_phase = product.real / np.abs(product)
                found[k, f] = sense_codes(in_phase, along, angle_deg=self._angle_deg)
        return found
