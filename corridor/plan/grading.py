"""Every ready hook-up graded along its target and the lines joined to it, at every frequency and in every case."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString, MultiPolygon, Polygon

from corridor.constants import MA_PER_A
from corridor.dictionary import RESULT_TABLES
from corridor.frames import rounded
from corridor.settings import Equipment, Settings
from corridor.site import Site
from corridor.threads import worked
from corridor.tone.grades import grade_names
from corridor.tone.predict import Prediction, predict
from corridor.tone.solve import ToneSolution
from corridor.tone.sources import LIMITS
from corridor.tone.stations import set_stations
from corridor.tone.tables import NT_PER_T, graded, sides

__all__ = [
    "Grading",
    "Outputs",
    "allowed",
    "can_be_tuned",
    "candidate_rows",
    "drives_of",
    "grade_hookups",
    "output_rows",
    "source_limits",
]

Array = np.ndarray[Any, Any]
Progress = Callable[[str, int, int], None]

_CANDIDATES = [
    "line_id", "station_m", "hookup_id", "frequency_hz", "level_ma", "grade", "grade_worst", "settled", "current_ma",
    "current_low_ma", "current_high_ma", "peak_offset_m", "pulled_to", "depth_error_m", "mistaken_for",
]  # fmt: skip
_OUTPUTS = ["hookup_id", "frequency_hz", "level_ma", "voltage_v", "loop_ohm", "limited_by"]


@dataclass(frozen=True)
class Grading:
    """What every hook-up gives on its target.

    Attributes
    ----------
    candidates : DataFrame
        A row per station, hook-up and frequency, as `build_strategy` takes them.
    outputs : DataFrame
        What the transmitter does, per hook-up and frequency.
    predictions : mapping of str to Prediction
        By line_id: all its ready hook-ups, and the nearest on lines that metal joins to it.
    """

    candidates: pd.DataFrame
    outputs: pd.DataFrame
    predictions: Mapping[str, Prediction]

    @property
    def stations(self) -> dict[str, Array]:
        """Measures of the stations on each line."""
        return {line_id: prediction.stations.measure_m for line_id, prediction in self.predictions.items()}


@dataclass(frozen=True)
class Outputs:
    """The level set (d, f), what each case can deliver (d, f, c), A, and what limits the nominal case (d, f)."""

    level_a: Array
    available_a: Array
    limited_by: Array

    @classmethod
    def at(cls, level_a: Array, limits: tuple[Array, Array]) -> "Outputs":
        """Return outputs at given levels, with the sources' limits as ``source_limits`` gives them."""
        available, limited_by = limits
        return cls(level_a, available, np.where(level_a <= available[..., 0], LIMITS.index("level"), limited_by))

    @property
    def hookup_a(self) -> Array:
        """Hook-up currents, A, (d, f, c)."""
        return np.minimum(self.level_a[..., None], self.available_a)


def grade_hookups(
    site: Site,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution | None,
    *,
    lines: Sequence[str],
    joined: Mapping[str, Collection[str]],
    area: Polygon | MultiPolygon | None,
    settings: Settings,
    equipment: Equipment,
    progress: Progress | None = None,
) -> Grading:
    """Grade hook-ups line by line.

    Parameters
    ----------
    site : Site
        The records.
    ready : GeoDataFrame
        Rows of the table ``hookups``, in the order of the solution's drives.
    solution : ToneSolution or None
        None where no hook-up is ready.
    lines : sequence of str
        line_id of the targets.
    joined : mapping of str to collection of str
        line_ids that metal joins to each line: their nearest hook-ups are graded on it too.
    area : Polygon or MultiPolygon, optional
        Stations outside are left out.
    settings, equipment
        Thresholds; levels that can be set.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Grading
    """
    rows = site.lines.set_index("line_id", drop=False)
    candidates: list[pd.DataFrame] = []
    outputs: list[pd.DataFrame] = []
    predictions: dict[str, Prediction] = {}
    wanted = [] if solution is None else [line_id for line_id in sorted(lines) if line_id in solution.model.line_ids]

    def graded_line(line_id: str) -> tuple[pd.DataFrame, pd.DataFrame, Prediction] | None:
        row = rows.loc[line_id]
        stations = set_stations(
            line_id,
            row.geometry,
            depth_m=float(row["depth_m"]),
            spacing_m=settings.receiver.station_spacing_m,
            area=area,
        )
        drives = drives_of(ready, line_id, row.geometry, joined=joined.get(line_id, ()), settings=settings)
        if not len(stations.measure_m) or not len(drives) or solution is None:
            return None
        prediction = predict(solution, stations, drives.tolist(), receiver=settings.receiver)
        own = ready.iloc[drives]
        out = _levels(solution, prediction, equipment, settings)
        graded_here = candidate_rows(solution, prediction, own, out, settings=settings, equipment=equipment)
        return graded_here, output_rows(solution, prediction, own, out), prediction

    for done, (line_id, found) in enumerate(zip(wanted, worked(graded_line, wanted), strict=True), start=1):
        if found is not None:
            candidates.append(found[0])
            outputs.append(found[1])
            predictions[line_id] = found[2]
        if progress is not None:
            progress("grading", done, len(wanted))
    if not candidates:
        return Grading(pd.DataFrame(columns=_CANDIDATES), pd.DataFrame(columns=_OUTPUTS), predictions)
    known = pd.concat(outputs, ignore_index=True).drop_duplicates(["hookup_id", "frequency_hz", "level_ma"])
    return Grading(pd.concat(candidates, ignore_index=True), known.reset_index(drop=True), predictions)


def drives_of(
    ready: gpd.GeoDataFrame, line_id: str, line: LineString, *, joined: Collection[str], settings: Settings
) -> Array:
    """Return the rows of a line's own hook-ups, and of the nearest few on the lines joined to it."""
    own = np.flatnonzero((ready["line_id"] == line_id).to_numpy())
    others = np.flatnonzero(ready["line_id"].isin(set(joined) - {line_id}).to_numpy())
    away = np.round(ready.geometry.iloc[others].distance(line).to_numpy(), 3)
    names = ready["hookup_id"].to_numpy(object)[others].astype(str)
    nearest = others[np.lexsort((names, away))][: settings.hookups.joined_max]
    return np.concatenate((own, np.sort(nearest)))


def _levels(solution: ToneSolution, prediction: Prediction, equipment: Equipment, settings: Settings) -> Outputs:
    """Choose the lowest level that is heard at as many stations, in as many cases, as the highest."""
    limits = source_limits(solution, prediction.drives)
    steps = np.array(sorted(equipment.transmitter.levels_ma)) / MA_PER_A
    nt = prediction.field_t * NT_PER_T
    heard = np.stack(
        [(nt * np.minimum(step, limits[0]) >= settings.grades.floor_nt).sum(axis=(0, 3)) for step in steps], axis=-1
    )
    first = (heard == heard[..., -1:]).argmax(axis=-1)
    return Outputs.at(steps[first], limits)


def source_limits(solution: ToneSolution, drives: Sequence[int]) -> tuple[Array, Array]:
    """Return what the sources can give in each case (d, f, c), A, and what limits the nominal case (d, f).

    Parameters
    ----------
    solution : ToneSolution
    drives : sequence of int
        Its d columns.
    """
    results = [[solution.results[f, case.name] for case in solution.cases] for f in solution.frequencies_hz]
    available = np.array([[[case.available_a[d] for case in row] for row in results] for d in drives])
    return available, np.array([[row[0].limited_by[d] for row in results] for d in drives])


def allowed(
    own: gpd.GeoDataFrame, xy_m: Array, frequencies_hz: Array, *, settings: Settings, equipment: Equipment
) -> Array:
    """Return what is graded (s, d, f): stations out of earshot of an induction loop, frequencies it can be tuned to.

    Parameters
    ----------
    own : GeoDataFrame
        The d hook-ups.
    xy_m : ndarray, shape (s, 2)
        Stations.
    frequencies_hz : ndarray, shape (f,)
    settings, equipment
        Standing distance; lowest frequency of the loop.
    """
    induced = own["mode"].eq("induction").to_numpy()
    clear_m = np.where(induced, settings.hookups.induction_standing_m, 0.0)
    source = shapely.get_coordinates(own.geometry.to_numpy())
    standing = np.linalg.norm(xy_m[:, None, :] - source[None, :, :], axis=2) >= clear_m[None, :]
    return np.asarray(standing[:, :, None] & can_be_tuned(own, frequencies_hz, equipment=equipment)[None, :, :])


def can_be_tuned(own: gpd.GeoDataFrame, frequencies_hz: Array, *, equipment: Equipment) -> Array:
    """Return at which frequencies each hook-up's source can be set, (d, f): an induction loop has a lowest one.

    Parameters
    ----------
    own : GeoDataFrame
        The d hook-ups.
    frequencies_hz : ndarray, shape (f,)
    equipment
        Lowest frequency of the loop.
    """
    induced = own["mode"].eq("induction").to_numpy()
    return np.asarray(~induced[:, None] | (np.asarray(frequencies_hz) >= equipment.induction_min_hz)[None, :])


def candidate_rows(
    solution: ToneSolution,
    prediction: Prediction,
    own: gpd.GeoDataFrame,
    out: Outputs,
    *,
    settings: Settings,
    equipment: Equipment,
) -> pd.DataFrame:
    """Return a row per station, hook-up and frequency, as ``Grading.candidates`` has them.

    Parameters
    ----------
    solution : ToneSolution
    prediction : Prediction
        Along one line.
    own : GeoDataFrame
        Its hook-ups.
    out : Outputs
        Levels that are set.
    settings, equipment
        Thresholds; lowest frequency of the loop.
    """
    codes = graded(prediction, out.hookup_a[None], settings)
    size = np.abs(prediction.current) * out.hookup_a[None] * MA_PER_A
    stations, frequencies = prediction.stations, np.array(solution.frequencies_hz)
    keep = allowed(own, stations.xy_m, frequencies, settings=settings, equipment=equipment)
    peak = prediction.peak_offset_m[..., 0]
    s, d, f = np.nonzero(keep)
    return pd.DataFrame(
        {
            "line_id": stations.line_id,
            "station_m": stations.measure_m[s],
            "hookup_id": own["hookup_id"].to_numpy(object)[d],
            "frequency_hz": frequencies[f],
            "level_ma": out.level_a[d, f] * MA_PER_A,
            "grade": grade_names(codes[..., 0])[s, d, f],
            "grade_worst": grade_names(codes.max(axis=-1))[s, d, f],
            "settled": (codes == codes[..., :1]).all(axis=-1)[s, d, f],
            "current_ma": size[..., 0][s, d, f],
            "current_low_ma": size.min(axis=-1)[s, d, f],
            "current_high_ma": size.max(axis=-1)[s, d, f],
            "peak_offset_m": rounded(RESULT_TABLES["stations"], "peak_offset_m", peak)[s, d, f],
            "pulled_to": sides(stations.direction[s], peak[s, d, f], settings.grades.offset_tolerance_m),
            "depth_error_m": (prediction.depth_m[..., 0] - stations.depth_m)[s, d, f],
            "mistaken_for": None,
        },
        columns=_CANDIDATES,
    )


def output_rows(solution: ToneSolution, prediction: Prediction, own: gpd.GeoDataFrame, out: Outputs) -> pd.DataFrame:
    """Return a row per hook-up and frequency, as ``Grading.outputs`` has them.

    Parameters
    ----------
    solution : ToneSolution
    prediction : Prediction
        Along one line.
    own : GeoDataFrame
        Its hook-ups.
    out : Outputs
        Levels that are set.
    """
    nominal = solution.cases[0].name
    loop = np.array(
        [
            [abs(complex(solution.results[f, nominal].loop_ohm[drive])) for f in solution.frequencies_hz]
            for drive in prediction.drives
        ]
    )
    d, f = (axis.ravel() for axis in np.indices(loop.shape))
    return pd.DataFrame(
        {
            "hookup_id": own["hookup_id"].to_numpy(object)[d],
            "frequency_hz": np.array(solution.frequencies_hz)[f],
            "level_ma": out.level_a[d, f] * MA_PER_A,
            "voltage_v": out.hookup_a[d, f, 0] * loop[d, f],
            "loop_ohm": loop[d, f],
            "limited_by": np.array(LIMITS, dtype=object)[out.limited_by[d, f]],
        },
        columns=_OUTPUTS,
    )
