"""Solutions as tables: sections, stations and bleed paths, rounded and graded as people read them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from corridor.constants import MA_PER_A
from corridor.dictionary import RESULT_TABLES
from corridor.frames import empty_table, rounded, table_frame
from corridor.settings import Settings
from corridor.tone.bleed import Path
from corridor.tone.field import left_of
from corridor.tone.grades import grade, grade_names
from corridor.tone.hop_names import HopNames
from corridor.tone.predict import Prediction
from corridor.tone.sense import station_senses
from corridor.tone.solve import ToneSolution
from corridor.tone.stations import compass

__all__ = [
    "NT_PER_T",
    "Rows",
    "Setting",
    "above_floor_db",
    "as_table",
    "graded",
    "output_a",
    "path_rows",
    "section_rows",
    "sides",
    "station_rows",
]

NT_PER_T = 1e9
_STATIONS = RESULT_TABLES["stations"]


@dataclass(frozen=True)
class Setting:
    """One hook-up as it is run: its column in the solution, its frequency and the current asked for."""

    hookup_id: str
    drive: int
    frequency_hz: float
    level_a: float


@dataclass(frozen=True)
class Rows:
    """Rows of a result table before it is typed and rounded, which is done once for many of them."""

    frame: pd.DataFrame
    geometry: list[Any]

    def where(self, keep: NDArray[np.bool_]) -> "Rows":
        """Return the rows that a mask keeps."""
        chosen = np.flatnonzero(keep)
        return Rows(self.frame.iloc[chosen].reset_index(drop=True), [self.geometry[k] for k in chosen])


def as_table(name: str, parts: Iterable[Rows], crs: Any) -> gpd.GeoDataFrame:
    """Return the rows as one table of the dictionary.

    Parameters
    ----------
    name : str
        The table.
    parts : iterable of Rows
        In their order.
    crs : CRS
        Of the site.
    """
    filled = [part for part in parts if part.geometry]
    if not filled:
        return empty_table(name, crs)
    frame = pd.concat([part.frame for part in filled], ignore_index=True)
    return table_frame(name, frame, geometry=[shape for part in filled for shape in part.geometry], crs=crs)


def output_a(solution: ToneSolution, setting: Setting) -> NDArray[np.float64]:
    """Return the hook-up current in each case, A: what is asked for, within the source's limits."""
    available = [
        solution.results[setting.frequency_hz, case.name].available_a[setting.drive] for case in solution.cases
    ]
    return np.minimum(setting.level_a, np.array(available))


def graded(prediction: Prediction, hookup_a: NDArray[np.float64], settings: Settings) -> NDArray[np.int8]:
    """Return grades (stations, drives, frequencies, cases) from the rounded readings.

    Parameters
    ----------
    prediction : Prediction
        Per ampere of hook-up current.
    hookup_a : ndarray, broadcast to its shape
        Hook-up current, A.
    settings : Settings
        Thresholds.
    """
    thresholds = settings.grades
    return grade(
        peak_offset_m=rounded(_STATIONS, "peak_offset_m", prediction.peak_offset_m),
        depth_reading_m=rounded(_STATIONS, "depth_reading_m", prediction.depth_m),
        depth_m=prediction.stations.depth_m,
        strength=rounded(_STATIONS, "field_nt", prediction.field_t * hookup_a * NT_PER_T),
        floor=thresholds.floor_nt,
        masked=prediction.masked,
        offset_tolerance_m=thresholds.offset_tolerance_m,
        depth_tolerance_share=thresholds.depth_tolerance_share,
    )


def sides(direction: NDArray[np.float64], offset_m: NDArray[np.float64], tolerance_m: float) -> NDArray[np.object_]:
    """Return the compass side of each peak; None within tolerance.

    Parameters
    ----------
    direction : ndarray, shape (n, 2)
        Of the line there.
    offset_m : ndarray, shape (n,), m
        Of the peak, positive to the left.
    tolerance_m : float, m
        Offsets up to here count as none.
    """
    found = np.full(len(offset_m), None, dtype=object)
    pulled = np.flatnonzero(np.abs(offset_m) > tolerance_m)
    if pulled.size:
        towards = left_of(direction[pulled]) * np.sign(offset_m[pulled])[:, None]
        found[pulled] = compass(towards)
    return found


def above_floor_db(field_nt: NDArray[np.float64], floor_nt: float) -> NDArray[np.float64]:
    """Return how far a field stands above the receiver's noise floor, 20 log10(B/floor), dB; NaN without field.

    Parameters
    ----------
    field_nt : ndarray, nT
        At the lower coil, at the peak; rounded as the table shows it, as the grades take it.
    floor_nt : float, nT
        Weakest usable field.
    """
    shown = rounded(_STATIONS, "field_nt", field_nt)
    with np.errstate(divide="ignore"):
        return np.where(shown > 0.0, 20.0 * np.log10(shown / floor_nt), np.nan)


def station_rows(
    solution: ToneSolution,
    prediction: Prediction,
    setting: Setting,
    *,
    line: Mapping[str, Any],
    settings: Settings,
    owners: list[str | None],
) -> Rows:
    """Return the rows of ``stations`` of one line under one hook-up.

    Parameters
    ----------
    solution, prediction, setting
        The prediction's drives must hold the setting's.
    line : mapping
        Row of the table ``lines``.
    settings : Settings
        Thresholds.
    owners : list of str or None
        Line whose peak is followed at each station, from ``peak_owners``.

    Returns
    -------
    Rows
        Without a hook-up (passive tone) there is no target, so that phase and sense are empty.
    """
    hooked = bool(solution.drives)
    d, f = prediction.drives.index(setting.drive), solution.frequencies_hz.index(setting.frequency_hz)
    hookup_a = output_a(solution, setting)
    codes = graded(prediction, hookup_a, settings)[:, d, f]
    peak, depth = prediction.peak_offset_m[:, d, f], prediction.depth_m[:, d, f]
    stations, current = prediction.stations, prediction.current[:, d, f]
    names = grade_names(codes[:, 0])
    field_nt = prediction.field_t[:, d, f, 0] * hookup_a[0] * NT_PER_T
    columns = {
        "station_id": [f"{stations.line_id}@{m:.1f}" for m in stations.measure_m],
        "line_id": stations.line_id,
        "hookup_id": setting.hookup_id,
        "frequency_hz": setting.frequency_hz,
        "station_m": stations.measure_m,
        "depth_m": stations.depth_m,
        "peak_offset_m": peak[:, 0],
        "peak_offset_low_m": peak.min(axis=1),
        "peak_offset_high_m": peak.max(axis=1),
        "pulled_to": sides(stations.direction, peak[:, 0], settings.grades.offset_tolerance_m),
        "null_offset_m": prediction.null_offset_m[:, d, f, 0],
        "peak_null_gap_m": np.abs(peak[:, 0] - prediction.null_offset_m[:, d, f, 0]),
        "depth_reading_m": depth[:, 0],
        "depth_reading_low_m": np.fmin.reduce(depth, axis=1),
        "depth_reading_high_m": np.fmax.reduce(depth, axis=1),
        "field_nt": field_nt,
        "above_floor_db": above_floor_db(field_nt, settings.grades.floor_nt),
        "inferred_current_ma": np.maximum(prediction.inferred_a[:, d, f, 0], 0.0) * hookup_a[0] * MA_PER_A,
        "current_ma": np.abs(current[:, 0]) * hookup_a[0] * MA_PER_A,
        "phase_deg": np.degrees(np.angle(current[:, 0])) if hooked else np.nan,
        "sense": station_senses(
            solution,
            prediction,
            drive=setting.drive,
            frequency_hz=setting.frequency_hz,
            angle_deg=settings.receiver.sense_angle_deg,
        )
        if hooked
        else None,
        "grade": names,
        "grade_worst": grade_names(codes.max(axis=1)),
        "settled": (codes == codes[:, :1]).all(axis=1),
        "mistaken_for": owners,
        "assumed": bool(line.get("assumed", False)),
        "assumed_columns": line.get("assumed_columns"),
    }
    frame = pd.DataFrame(columns, index=range(len(stations.measure_m)))
    return Rows(frame, np.asarray(shapely.points(stations.xy_m)).tolist())


def section_rows(
    solution: ToneSolution,
    setting: Setting,
    *,
    lines: gpd.GeoDataFrame,
    stations: pd.DataFrame,
    target: str | None,
    only: set[str] | None = None,
) -> Rows:
    """Return the rows of ``sections`` under one hook-up; a section takes its grade from the nearest station.

    Parameters
    ----------
    solution, setting
        What was solved, and how it is run.
    lines : GeoDataFrame
        Table ``lines``.
    stations : DataFrame
        Rows of ``stations`` of the lines that were graded; sections of others are faint.
    target : str or None
        The hook-up's line; None without a hook-up (passive tone): then phase and shares are empty.
    only : set of str, optional
        Lines to list; default all in the model.
    """
    model = solution.model
    hookup_a = output_a(solution, setting)
    at = [solution.results[setting.frequency_hz, case.name].current_a[:, setting.drive] for case in solution.cases]
    current = np.stack(at, axis=1).astype(complex)
    size_ma = np.abs(current) * hookup_a * MA_PER_A
    top = 0.0 if target is None else np.abs(current[model.sections_of(target), 0]).max(initial=0.0)
    flags = lines[["line_id", "assumed", "assumed_columns"]].set_index("line_id")
    parts = []
    geometries: list[LineString] = []
    for line_id in model.line_ids:
        if only is not None and line_id not in only:
            continue
        own = model.sections_of(line_id)
        graded_here = _nearest_grades(stations[stations["line_id"] == line_id], model.measure_m[own].mean(axis=1))
        assumed = bool(flags.at[line_id, "assumed"])
        part = pd.DataFrame(
            {
                "section_id": [f"{line_id}#{k}" for k in range(1, len(own) + 1)],
                "line_id": line_id,
                "hookup_id": setting.hookup_id,
                "frequency_hz": setting.frequency_hz,
                "current_ma": size_ma[own, 0],
                "current_low_ma": size_ma[own].min(axis=1),
                "current_high_ma": size_ma[own].max(axis=1),
                "phase_deg": np.nan if target is None else np.degrees(np.angle(current[own, 0])),
                "share_of_output": np.nan if target is None else np.abs(current[own, 0]),
                "ratio_to_target": np.abs(current[own, 0]) / top if top > 0 else np.nan,
                "assumed": assumed,
                "assumed_columns": flags.at[line_id, "assumed_columns"],
                "assumed_share": float(assumed),
            }
        )
        parts.append(pd.concat([part, graded_here], axis=1))
        ends = np.stack([model.start_m[own, :2], model.end_m[own, :2]], axis=1) + model.origin_m
        geometries += np.asarray(shapely.linestrings(ends)).tolist()
    return Rows(pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(), geometries)


def _nearest_grades(stations: pd.DataFrame, measure_m: NDArray[np.float64]) -> pd.DataFrame:
    columns = ["grade", "grade_worst", "settled", "mistaken_for"]
    if stations.empty:
        faint = {"grade": "faint", "grade_worst": "faint", "settled": True, "mistaken_for": None}
        return pd.DataFrame(faint, index=range(len(measure_m)), columns=columns)
    nearest = np.abs(stations["station_m"].to_numpy()[None, :] - measure_m[:, None]).argmin(axis=1)
    return stations.iloc[nearest][columns].reset_index(drop=True)


def path_rows(
    solution: ToneSolution,
    setting: Setting,
    paths: list[Path],
    *,
    names: HopNames,
) -> Rows:
    """Return the rows of ``bleed_paths``: a row a hop; a line's small parts share one row without a kind."""
    hookup_ma = output_a(solution, setting) * MA_PER_A
    largest = _largest_a(solution, setting)
    rows: list[dict[str, Any]] = []
    geometries: list[LineString | Point | None] = []
    numbers: dict[str, int] = {}
    for path in paths:
        number = numbers[path.line_id] = numbers.get(path.line_id, 0) + 1
        peaks = largest[path.line_id] * hookup_ma
        shared = {
            "path_id": f"{setting.hookup_id}|{path.line_id}|{number}",
            "hookup_id": setting.hookup_id,
            "frequency_hz": setting.frequency_hz,
            "line_id": path.line_id,
            "share_of_line": path.share,
            "line_current_ma": peaks[0],
            "line_current_low_ma": peaks.min(),
            "line_current_high_ma": peaks.max(),
        }
        if not path.hops:
            rows.append(shared | {"hop": 1, "to_line": path.line_id, "through": "further ways, each under 5 %"})
            geometries.append(None)
        for hop_number, hop in enumerate(path.hops, start=1):
            kind, through, geometry = names.of(hop.entry)
            rows.append(
                shared
                | {
                    "hop": hop_number,
                    "kind": kind,
                    "from_line": hop.entry.from_line or None,
                    "to_line": hop.entry.line_id,
                    "through": through or None,
                    "current_in_ma": hop.current_in_a * hookup_ma[0],
                    "current_out_ma": hop.current_out_a * hookup_ma[0],
                    "evidence": names.evidence.get(through) if kind == "bond" else None,
                }
            )
            geometries.append(geometry)
    return Rows(pd.DataFrame(rows), geometries)


def _largest_a(solution: ToneSolution, setting: Setting) -> dict[str, NDArray[np.float64]]:
    """Return the current on each line in each case where the nominal one is largest, per ampere of hook-up current."""
    model = solution.model
    results = [solution.results[setting.frequency_hz, case.name] for case in solution.cases]
    size = np.abs(np.stack([result.current_a[:, setting.drive] for result in results], axis=1))
    return {
        line_id: size[own[size[own, 0].argmax()]]
        for line_id in model.line_ids
        if (own := model.sections_of(line_id)).size
    }
