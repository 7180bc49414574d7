"""Receiver predictions along a line, for its hook-ups, frequencies and cases at once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from corridor.settings import ReceiverSettings
from corridor.tone.earth import propagation_constant
from corridor.tone.eddy_fields import eddy_fields
from corridor.tone.field import SurfaceField, field_matrices, left_of, profile_nodes, profile_points, profile_weights
from corridor.tone.model import ToneModel
from corridor.tone.receiver import Reading, station_readings
from corridor.tone.solve import ToneSolution
from corridor.tone.stations import Stations

__all__ = ["Prediction", "horizontal_fields", "peak_owners", "predict"]

Real = NDArray[np.float64]

REACH_M = 30.0  # sections farther from a station add under 2 % of the field; electrodes always count
EDDY_NODES = 5  # 0.7 % of the line's field at 10 ohm m and 200 kHz, 0.04 % where gamma is 0.06 per m or less
EDDY_BYTES = 64_000_000  # of eddy matrices held at a time
PROFILE_BYTES = 256_000_000  # of a line's profiles held at a time; two threads predict a line each
EDDY_NODES_WEAK, WEAK_PER_M = 3, 0.03  # so small a gamma leaves hardly any eddies to carry over


@dataclass(frozen=True)
class Prediction:
    """Readings at stations, per ampere of hook-up current; arrays of shape (stations, drives, frequencies, cases).

    ``current`` is the complex current on the line itself against the hook-up current; ``field_t`` and ``inferred_a``
    are tesla and ampere per ampere, offsets and depths metres; ``phase_deg`` is that of the current under the peak,
    along the line's direction, against the hook-up current.
    """

    stations: Stations
    drives: tuple[int, ...]
    current: NDArray[np.complex128]
    peak_offset_m: Real
    null_offset_m: Real
    depth_m: Real
    field_t: Real
    inferred_a: Real
    phase_deg: Real
    masked: NDArray[np.bool_]


def predict(
    solution: ToneSolution, stations: Stations, drives: Sequence[int], *, receiver: ReceiverSettings
) -> Prediction:
    """Predict what the receiver reads at stations under some of the hook-ups.

    Parameters
    ----------
    solution : ToneSolution
        All hook-ups, frequencies and cases.
    stations : Stations
        Along the line that is traced.
    drives : sequence of int
        Columns of the solution.
    receiver : ReceiverSettings
        Coils and search width.

    Returns
    -------
    Prediction
    """
    columns = list(drives)
    near = _near_sections(solution.model, stations)
    stacked = _stacked(solution, near, columns)
    count = round(2 * receiver.half_width_m / receiver.step_m) + 1
    offsets = np.linspace(-receiver.half_width_m, receiver.half_width_m, count)
    # live at once: both coils' three matrices, and about eight arrays of complex fields
    room = count * (48 * near.size + 128 * stacked[0].shape[1])
    readings = [
        _readings(solution, _some(stations, some), near, stacked, offsets=offsets, receiver=receiver)
        for some in _batches(max(1, len(stations.measure_m)), max(1, PROFILE_BYTES // room))
    ]
    return _prediction(solution, stations, columns, _joined(readings))


def _some(stations: Stations, some: slice) -> Stations:
    return replace(
        stations,
        measure_m=stations.measure_m[some],
        xy_m=stations.xy_m[some],
        direction=stations.direction[some],
    )


def _joined(readings: Sequence[Reading]) -> Reading:
    return Reading(
        **{name: np.concatenate([getattr(reading, name) for reading in readings]) for name in vars(readings[0])}
    )


def _readings(
    solution: ToneSolution,
    stations: Stations,
    near: NDArray[np.int64],
    stacked: tuple[NDArray[np.complex128], NDArray[np.complex128]],
    *,
    offsets: Real,
    receiver: ReceiverSettings,
) -> Reading:
    """Return what the receiver reads at stations, from the currents and leaks of the sections near the line."""
    lower, upper = receiver.lower_coil_height_m, receiver.lower_coil_height_m + receiver.coil_spacing_m
    own = np.isin(near, solution.model.sections_of(stations.line_id))
    currents, leaks = stacked
    profiles = _Fields(solution.model, stations, near, offsets)
    low, up = profiles.direct(lower), profiles.direct(upper)
    lower_h, lower_v = low.horizontal_t(currents, leaks), low.vertical_t(currents)
    upper_h = up.horizontal_t(currents, leaks)
    target_h = low.of_sections(own).horizontal_t(currents[own], leaks[own])
    del low, up
    profiles.add_eddies(solution, stacked, own, ((lower_h, lower_v, target_h, lower), (upper_h, None, None, upper)))
    shape = (len(stations.measure_m), len(offsets), currents.shape[1])
    return station_readings(
        lower_h.reshape(shape),
        upper_h.reshape(shape),
        lower_v.reshape(shape),
        offsets,
        coil_spacing_m=receiver.coil_spacing_m,
        lower_coil_height_m=lower,
        b_target_h=target_h.reshape(shape),
    )


def horizontal_fields(
    solution: ToneSolution,
    stations: Stations,
    drives: Sequence[int],
    *,
    profiles: Sequence[tuple[Real, Sequence[float]]],
) -> list[NDArray[np.complex128]]:
    """Return the horizontal field across a line, as `predict` takes it.

    Parameters
    ----------
    solution, stations, drives
        As for `predict`.
    profiles : sequence of (offsets_m, heights_m)
        Offsets, positive to the left, at least two different ones; heights of coils above ground.

    Returns
    -------
    list of ndarray of complex, shape (heights, stations, offsets, frequencies x cases x drives)
        One a profile, T per ampere of hook-up current.
    """
    near = _near_sections(solution.model, stations)
    stacked = _stacked(solution, near, list(drives))
    nobody = np.zeros(near.size, dtype=np.bool_)
    result = []
    for offsets_m, heights_m in profiles:
        fields = _Fields(solution.model, stations, near, offsets_m)
        found = [fields.direct(height).horizontal_t(*stacked) for height in heights_m]
        coils = tuple((field, None, None, height) for field, height in zip(found, heights_m, strict=True))
        fields.add_eddies(solution, stacked, nobody, coils)
        result.append(np.stack([field.reshape(len(stations.measure_m), len(offsets_m), -1) for field in found]))
    return result


def _prediction(solution: ToneSolution, stations: Stations, columns: list[int], reading: Reading) -> Prediction:
    shape = (len(stations.measure_m), len(solution.frequencies_hz), len(solution.cases), len(columns))

    def arranged(values: NDArray[np.generic]) -> NDArray[np.generic]:
        return np.moveaxis(values.reshape(shape), 3, 1)

    at = [solution.model.section_at(stations.line_id, m) for m in stations.measure_m]
    own, _ = _stacked(solution, np.array(at, dtype=np.int64), columns)
    return Prediction(
        stations,
        tuple(columns),
        current=arranged(own),  # type: ignore[arg-type]
        peak_offset_m=arranged(reading.peak_offset_m),  # type: ignore[arg-type]
        null_offset_m=arranged(reading.null_offset_m),  # type: ignore[arg-type]
        depth_m=arranged(reading.depth_m),  # type: ignore[arg-type]
        field_t=arranged(reading.field_t),  # type: ignore[arg-type]
        inferred_a=arranged(reading.current_a),  # type: ignore[arg-type]
        phase_deg=arranged(reading.phase_deg),  # type: ignore[arg-type]
        masked=arranged(reading.masked | reading.at_edge),  # type: ignore[arg-type]
    )


def _near_sections(model: ToneModel, stations: Stations) -> NDArray[np.int64]:
    middle = (model.start_m[:, :2] + model.end_m[:, :2]) / 2 + model.origin_m
    if len(stations.xy_m) == 0:
        return np.flatnonzero(model.electrode_mask)
    away, _ = cKDTree(stations.xy_m).query(middle)
    return np.flatnonzero((away <= REACH_M) | model.electrode_mask)


def _stacked(
    solution: ToneSolution, sections: NDArray[np.int64], columns: list[int]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return currents and leaks (sections, frequencies x cases x drives), frequency by frequency, case by case."""
    order = [solution.results[f, case.name] for f in solution.frequencies_hz for case in solution.cases]
    grid = np.ix_(sections, np.asarray(columns, dtype=np.int64))
    current = np.hstack([result.current_a[grid] for result in order]).astype(np.complex128)
    leak = np.hstack([result.leak_a[grid] for result in order]).astype(np.complex128)
    return current, leak


class _Fields:
    """Field matrices of the sections near one line's stations."""

    def __init__(self, model: ToneModel, stations: Stations, near: NDArray[np.int64], offsets: Real) -> None:
        self._start, self._end = model.start_m[near], model.end_m[near]
        self._reach = np.where(model.electrode_mask[near], np.inf, REACH_M)
        self._xy, self._direction = stations.xy_m - model.origin_m, stations.direction
        self._offsets = offsets

    def direct(self, height_m: float) -> SurfaceField:
        """Return the matrices at all offsets for one coil."""
        points, axis = profile_points(self._xy, self._direction, self._offsets, height_m=height_m)
        return field_matrices(points, self._start, self._end, axis=axis, reach_m=self._reach)

    def add_eddies(
        self,
        solution: ToneSolution,
        stacked: tuple[NDArray[np.complex128], NDArray[np.complex128]],
        own: NDArray[np.bool_],
        coils: tuple[
            tuple[NDArray[np.complex128], NDArray[np.complex128] | None, NDArray[np.complex128] | None, float],
            ...,
        ],
    ) -> None:
        """Add the soil's eddy currents to the fields, in place, for all soils and frequencies at once."""
        soils = _columns_by_gamma(solution, stacked[0].shape[1])
        gammas, heights = list(soils), [height for *_, height in coils]
        alike = _alike(soils, stacked)
        count = EDDY_NODES_WEAK if max(abs(gamma) for gamma in gammas) < WEAK_PER_M else EDDY_NODES
        places = np.unique(self._offsets)
        nodes = places if len(places) <= count else profile_nodes(places, count)
        weights = profile_weights(nodes, self._offsets)
        room = 48 * len(gammas) * len(heights) * len(nodes) * len(self._start)
        for some in _batches(len(self._xy), max(1, EDDY_BYTES // max(room, 1))):
            points, axis = profile_points(self._xy[some], self._direction[some], nodes, height_m=0.0)
            fields = eddy_fields(
                points[:, :2],
                self._start,
                self._end,
                axis=axis,
                heights_m=heights,
                gammas_per_m=gammas,
                reach_m=self._reach,
            )
            rows = slice(some.start * len(self._offsets), some.stop * len(self._offsets))
            for coil, of_soils in zip(coils, fields, strict=True):
                horizontal, vertical, target, _ = coil
                for which, columns, currents, leaks in alike:
                    per_current, per_leak, upward = (of_soils[which, part] for part in range(3))
                    horizontal[rows, columns] += _spread(weights, per_current @ currents + per_leak @ leaks)
                    if vertical is not None and target is not None:
                        vertical[rows, columns] += _spread(weights, upward @ currents)
                        near = per_current[..., own] @ currents[:, own] + per_leak[..., own] @ leaks[:, own]
                        target[rows, columns] += _spread(weights, near)


def _columns_by_gamma(solution: ToneSolution, columns: int) -> dict[complex, NDArray[np.int64]]:
    """Return which of the stacked columns (frequencies x cases x drives) each soil's propagation constant rules."""
    per_case = columns // (len(solution.frequencies_hz) * len(solution.cases))
    order = [(frequency, case) for frequency in solution.frequencies_hz for case in solution.cases]
    found: dict[complex, list[int]] = {}
    for k, (frequency, case) in enumerate(order):
        rho = case.resistivity_ohm_m(solution.soil)
        gamma = propagation_constant(rho, frequency, relative_permittivity=solution.soil.relative_permittivity)
        found.setdefault(complex(gamma), []).extend(range(k * per_case, (k + 1) * per_case))
    by_size = sorted(found.items(), key=lambda item: len(item[1]))  # soils of as many cases side by side
    return {gamma: np.array(indices) for gamma, indices in by_size}


def _alike(
    soils: dict[complex, NDArray[np.int64]], stacked: tuple[NDArray[np.complex128], NDArray[np.complex128]]
) -> list[tuple[slice, NDArray[np.int64], NDArray[np.complex128], NDArray[np.complex128]]]:
    """Return soils that rule as many columns each, to be multiplied at once: which, columns, currents and leaks.

    Currents and leaks have the shape (soils, sections, columns of each).
    """
    sizes = [len(columns) for columns in soils.values()]
    every = list(soils.values())
    found = []
    for size in sorted(set(sizes)):
        which = slice(sizes.index(size), sizes.index(size) + sizes.count(size))
        columns = np.array(every[which])
        current, leak = (np.ascontiguousarray(np.moveaxis(part[:, columns], 1, 0)) for part in stacked)
        found.append((which, columns.ravel(), current, leak))
    return found


def _batches(count: int, size: int) -> list[slice]:
    return [slice(first, min(first + size, count)) for first in range(0, count, size)]


def _spread(weights: Real, at_nodes: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Carry values (soils, points, columns) at the nodes of each profile to all its offsets: (points, all columns)."""
    count = at_nodes.shape[0] * at_nodes.shape[2]
    flat = np.ascontiguousarray(np.moveaxis(at_nodes, 0, 1)).reshape(-1, count)
    profiles = flat.view(np.float64).reshape(-1, weights.shape[1], 2 * count)
    return (weights @ profiles).reshape(-1, 2 * count).view(np.complex128)


def peak_owners(solution: ToneSolution, prediction: Prediction, *, drive: int, frequency_hz: float) -> list[str | None]:
    """Return per masked station the other line whose current makes most of the field at the peak.

    Parameters
    ----------
    solution : ToneSolution
        The nominal case is used where it is masked, else the first case that is.
    prediction : Prediction
        Of this solution along the traced line.
    drive : int
        Column of the hook-up in the solution.
    frequency_hz : float
        One of the solved ones.

    Returns
    -------
    list of str or None
        None where no case masks the line.
    """
    model, stations = solution.model, prediction.stations
    d, f = prediction.drives.index(drive), solution.frequencies_hz.index(frequency_hz)
    owners: list[str | None] = [None] * len(stations.measure_m)
    masked = prediction.masked[:, d, f]
    lost = np.flatnonzero(masked.any(axis=1))
    if not lost.size:
        return owners
    left = left_of(stations.direction[lost])
    case = masked[lost].argmax(axis=1)
    xy = stations.xy_m[lost] - model.origin_m + prediction.peak_offset_m[lost, d, f, case, None] * left
    near = _near_sections(model, stations)
    near = near[~model.electrode_mask[near]]
    points = np.column_stack((xy, np.zeros(lost.size)))
    field = field_matrices(points, model.start_m[near], model.end_m[near], axis=left)
    results = [solution.results[frequency_hz, one.name] for one in solution.cases]
    current = np.stack([result.current_a[near, drive] for result in results])[case]
    leak = np.stack([result.leak_a[near, drive] for result in results])[case]
    parts = field.h_per_current * current + field.h_per_leak * leak
    total = np.zeros((len(model.line_ids), lost.size), dtype=np.complex128)
    np.add.at(total, model.line_index[near], parts.T)
    if stations.line_id in model.line_ids:
        total[model.line_ids.index(stations.line_id)] = 0.0
    for station, index in zip(lost, np.abs(total).argmax(axis=0), strict=True):
        owners[int(station)] = model.line_ids[int(index)]
    return owners
