"""Every hook-up in every draw: what the receiver would read along the targets, kept small enough to choose from."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.draws import DrawnSite, Draws, solve_geometry
from corridor.plan.grading import allowed, drives_of
from corridor.plan.prepare import Prepared
from corridor.settings import Equipment, Settings
from corridor.site import Site
from corridor.threads import worked
from corridor.tone.grades import READABLE
from corridor.tone.predict import Prediction, predict
from corridor.tone.solve import ToneSolution
from corridor.tone.stations import Stations, set_stations
from corridor.tone.tables import NT_PER_T, graded

__all__ = ["Ensemble", "LineDraws", "Sources", "ensemble_of_cases", "ensemble_of_draws"]

_BY_DRAW = ("loud", "field_nt", "peak_offset_m", "depth_error_m", "current", "inferred")
LOUD_A = 1e9  # an output at which nothing is faint
Progress = Callable[[str, int, int], None]
Small = NDArray[np.float32]
Bool = NDArray[np.bool_]


@dataclass(frozen=True)
class Sources:
    """What the transmitter meets at k hook-ups, f frequencies and n draws; arrays of shape (k, f, n).

    ``available_a`` is the largest hook-up current, ``loop_ohm`` what the source sees (NaN for induction).
    """

    available_a: NDArray[np.float64]
    loop_ohm: NDArray[np.complex128]

    def hookup_a(self, drive: int, frequency: int, level_a: float) -> NDArray[np.float64]:
        """Return what flows at one hook-up with an output set, A: that, or as much as the source gives; (n,)."""
        return np.minimum(level_a, self.available_a[drive, frequency])


@dataclass(frozen=True)
class LineDraws:
    """What the receiver reads along one line, per hook-up d, frequency f and draw n; arrays of shape (s, d, f, n).

    Attributes
    ----------
    stations : Stations
        Where the records have the line.
    drives : tuple of int
        Rows of the table of ready hook-ups.
    allowed : ndarray of bool, shape (s, d, f)
        Out of earshot of an induction loop, and at a frequency it can be tuned to.
    loud : ndarray of int8
        Grade if there is tone enough.
    field_nt : ndarray
        Field at the peak per ampere of hook-up current.
    peak_offset_m, depth_error_m : ndarray
        Errors of the peak and of the depth reading against the line of that draw.
    current : ndarray
        Size of the line's current per ampere of hook-up current.
    inferred : ndarray
        The current that the receiver would infer, likewise.
    """

    stations: Stations
    drives: tuple[int, ...]
    allowed: Bool
    loud: NDArray[np.int8]
    field_nt: Small
    peak_offset_m: Small
    depth_error_m: Small
    current: Small
    inferred: Small

    def readable(self, hookup_a: NDArray[np.float64], floor_nt: float) -> Bool:
        """Return where a crew can read the line at given hook-up currents (d, f, n), A."""
        heard = self.field_nt * hookup_a[None] >= floor_nt
        return np.asarray((self.loud == READABLE) & heard & self.allowed[..., None])

    def shows(self, drive: int, frequency: int, hookup_a: NDArray[np.float64], floor_nt: float) -> Bool:
        """Return where a crew can read the line under one of its hook-ups at given hook-up currents (n,), A; (s, n)."""
        heard = self.field_nt[:, drive, frequency] * hookup_a >= floor_nt
        return np.asarray(
            (self.loud[:, drive, frequency] == READABLE) & heard & self.allowed[:, drive, frequency, None]
        )


@dataclass(frozen=True)
class Ensemble:
    """Every hook-up in every draw.

    Attributes
    ----------
    lines : mapping of str to LineDraws
        By line_id.
    sources : Sources
        Of all ready hook-ups.
    frequencies_hz : tuple of float
    draws : Draws or None
        None where the draws are the cases of a review.
    """

    lines: Mapping[str, LineDraws]
    sources: Sources
    frequencies_hz: tuple[float, ...]
    draws: Draws | None = None

    def part(self, numbers: Sequence[int]) -> "Ensemble":
        """Return some of the draws, for choosing on; what they were drawn from is left out."""
        chosen = np.asarray(numbers, dtype=np.int64)
        lines = {
            line_id: replace(line, **{name: getattr(line, name)[..., chosen] for name in _BY_DRAW})
            for line_id, line in self.lines.items()
        }
        sources = Sources(self.sources.available_a[..., chosen], self.sources.loop_ohm[..., chosen])
        return Ensemble(lines, sources, self.frequencies_hz)


def ensemble_of_cases(
    predictions: Mapping[str, Prediction],
    solution: ToneSolution,
    ready: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
) -> Ensemble:
    """Take the cases of a review as draws.

    Parameters
    ----------
    predictions : mapping of str to Prediction
        Of this solution, by line_id.
    solution : ToneSolution
    ready : GeoDataFrame
        Hook-ups in the order of the solution's drives.
    equipment, settings
        What a loop can be tuned to; standing distance and thresholds.

    Returns
    -------
    Ensemble
    """
    lines = {
        line_id: _line(prediction, prediction.stations, ready, solution, equipment=equipment, settings=settings)
        for line_id, prediction in predictions.items()
    }
    return Ensemble(lines, _sources(solution), solution.frequencies_hz)


def ensemble_of_draws(
    site: Site,
    prepared: Prepared,
    ready: gpd.GeoDataFrame,
    draws: Draws,
    *,
    lines: Sequence[str],
    joined: Mapping[str, Collection[str]],
    area: Polygon | MultiPolygon | None,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None = None,
) -> Ensemble:
    """Solve every draw and predict what the receiver reads.

    Parameters
    ----------
    site : Site
        The records.
    prepared : Prepared
        The recorded network with the hook-ups on it.
    ready : GeoDataFrame
        Rows of the table ``hookups``, in the order of its drives.
    draws : Draws
    lines : sequence of str
        line_ids of the targets.
    joined : mapping of str to collection of str
        line_ids that metal joins to each line.
    area : Polygon or MultiPolygon, optional
        Stations outside are left out.
    equipment, settings
        Frequencies and limits; thresholds.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Ensemble
    """
    rows = site.lines.set_index("line_id", drop=False)
    wanted = [line_id for line_id in sorted(lines) if line_id in prepared.model.line_ids]
    parts: dict[str, list[LineDraws]] = {}
    sources: list[Sources] = []
    for number in range(draws.n_geometries):
        drawn = solve_geometry(
            prepared.model,
            prepared.drives,
            draws,
            number,
            frequencies_hz=equipment.common_frequencies_hz,
            soil=prepared.soil,
            equipment=equipment,
            solver=settings.solver,
        )
        sources.append(_sources(drawn.solution))
        read = partial(_drawn_line, drawn, ready=ready, area=area, equipment=equipment, settings=settings)
        asked = [(rows.loc[line_id], joined.get(line_id, ())) for line_id in wanted]
        for line_id, found in zip(wanted, worked(read, asked), strict=True):
            if found is not None:
                parts.setdefault(line_id, []).append(found)
        if progress is not None:
            progress("solving draws", number + 1, draws.n_geometries)
    order = np.argsort(np.concatenate([draws.members(g) for g in range(draws.n_geometries)]))
    together = {line_id: _together(found, order) for line_id, found in parts.items()}
    return Ensemble(
        together,
        Sources(
            np.concatenate([part.available_a for part in sources], axis=-1)[..., order],
            np.concatenate([part.loop_ohm for part in sources], axis=-1)[..., order],
        ),
        equipment.common_frequencies_hz,
        draws,
    )


def _drawn_line(
    drawn: DrawnSite,
    asked: tuple[pd.Series, Collection[str]],
    *,
    ready: gpd.GeoDataFrame,
    area: Polygon | MultiPolygon | None,
    equipment: Equipment,
    settings: Settings,
) -> LineDraws | None:
    """Read one line, given with the lines joined to it."""
    row, joined = asked
    line_id = str(row["line_id"])
    stations = set_stations(
        line_id, row.geometry, depth_m=float(row["depth_m"]), spacing_m=settings.receiver.station_spacing_m, area=area
    )
    drives = drives_of(ready, line_id, row.geometry, joined=joined, settings=settings)
    if not len(stations.measure_m) or not len(drives):
        return None
    prediction = predict(drawn.solution, drawn.redrawn.moved(stations), drives.tolist(), receiver=settings.receiver)
    return _line(prediction, stations, ready, drawn.solution, equipment=equipment, settings=settings)


def _line(
    prediction: Prediction,
    stations: Stations,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution,
    *,
    equipment: Equipment,
    settings: Settings,
) -> LineDraws:
    own = ready.iloc[list(prediction.drives)]
    frequencies = np.array(solution.frequencies_hz)
    return LineDraws(
        stations,
        prediction.drives,
        allowed(own, stations.xy_m, frequencies, settings=settings, equipment=equipment),
        graded(prediction, np.array(LOUD_A), settings),
        (prediction.field_t * NT_PER_T).astype(np.float32),
        prediction.peak_offset_m.astype(np.float32),
        (prediction.depth_m - prediction.stations.depth_m).astype(np.float32),
        np.abs(prediction.current).astype(np.float32),
        prediction.inferred_a.astype(np.float32),
    )


def _sources(solution: ToneSolution) -> Sources:
    results = [[solution.results[f, case.name] for case in solution.cases] for f in solution.frequencies_hz]
    available, loop = (
        np.moveaxis(np.array([[getattr(case, name) for case in row] for row in results]), 2, 0)
        for name in ("available_a", "loop_ohm")
    )
    return Sources(available, loop)


def _together(parts: Sequence[LineDraws], order: NDArray[np.int64]) -> LineDraws:
    first = parts[0]
    arrays = {name: np.concatenate([getattr(part, name) for part in parts], axis=-1)[..., order] for name in _BY_DRAW}
    return LineDraws(first.stations, first.drives, first.allowed, **arrays)
