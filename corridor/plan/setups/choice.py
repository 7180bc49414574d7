"""The set-ups chosen for one window: fewest that show every piece about as well as any could."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.plan.ensemble import Ensemble
from corridor.plan.grading import Grading, Outputs, candidate_rows, output_rows, source_limits
from corridor.plan.setups.cover import Cover, choose_setups, greedy_setups
from corridor.plan.setups.options import Options, make_options
from corridor.settings import Equipment, Settings
from corridor.tone.solve import ToneSolution

__all__ = ["Choice", "choose", "chosen_candidates", "chosen_levels_a"]

Ints = NDArray[np.int64]
_KEY = ["hookup_id", "frequency_hz"]
NEAREST = 0.7  # of the largest current: where nothing shows a line, what comes within this is as near to showing it


@dataclass(frozen=True)
class Choice:
    """What was chosen from what.

    Attributes
    ----------
    ensemble : Ensemble
        All hook-ups in all draws.
    options : Options
        Every set-up that could be made.
    cover, greedy : Cover
        The set-ups chosen, and what choosing one by one would have taken, for comparison.
    """

    ensemble: Ensemble
    options: Options
    cover: Cover
    greedy: Cover

    @property
    def columns(self) -> Ints:
        """Chosen options, one for each hook-up and frequency: of several outputs the highest."""
        options = self.options
        best: dict[tuple[int, int], int] = {}
        for k in self.cover.chosen.tolist():
            key = (int(options.hookup[k]), int(options.frequency[k]))
            if key not in best or options.level_a[k] > options.level_a[best[key]]:
                best[key] = k
        return np.array(sorted(best.values()), dtype=np.int64)


def choose(
    ensemble: Ensemble,
    ready: gpd.GeoDataFrame,
    lines: gpd.GeoDataFrame,
    *,
    area: Polygon | MultiPolygon | None,
    barred: pd.DataFrame | None,
    equipment: Equipment,
    settings: Settings,
) -> Choice:
    """Choose set-ups on an ensemble.

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
        Set-ups that may not be made, as the gate on bleed partners lists them.
    equipment, settings
        Levels; how near the best is near enough.

    Returns
    -------
    Choice
    """
    options = make_options(
        ensemble, ready, lines, area=area, barred=barred, equipment=equipment, settings=settings
    )  # fmt: skip
    asked: dict[str, Any] = {
        "preference": options.preference,
        "near": settings.plan.near,
        "max_setups": settings.plan.max_setups,
    }
    length, worth = options.pieces.length_m, options.worth
    cover = choose_setups(length, worth, time_limit_s=settings.plan.solver_seconds, **asked)
    return Choice(ensemble, options, cover, greedy_setups(length, worth, **asked))


def chosen_levels_a(choice: Choice) -> NDArray[np.float64]:
    """Return the outputs of the chosen set-ups, A, (hook-ups, frequencies); 0 for those that weren't chosen."""
    options, sources = choice.options, choice.ensemble.sources
    level = np.zeros(sources.available_a.shape[:2])
    for k in choice.columns:
        level[options.hookup[k], options.frequency[k]] = options.level_a[k]
    return level


def chosen_candidates(
    choice: Choice,
    grading: Grading,
    solution: ToneSolution,
    ready: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return candidates and outputs for the strategy, with the chosen set-ups at their outputs.

    Parameters
    ----------
    choice : Choice
    grading : Grading
        Of all hook-ups, each at its own lowest output.
    solution : ToneSolution
    ready : GeoDataFrame
        In the order of the solution's drives.
    equipment, settings
        As for the grading.

    Returns
    -------
    candidates, outputs : DataFrame
        ``candidates`` with ``eligible``: a chosen set-up that shows the station about as well as any chosen one. Where
        nothing shows it at all, the candidates with the most current there are: they come nearest.
    """
    level = chosen_levels_a(choice)
    rows, outputs = [], []
    for line_id, prediction in grading.predictions.items():
        drives = list(prediction.drives)
        own, wanted = ready.iloc[drives], level[drives]
        out = Outputs.at(wanted, source_limits(solution, drives))
        set_up = wanted > 0
        found = candidate_rows(solution, prediction, own, out, settings=settings, equipment=equipment)
        told = output_rows(solution, prediction, own, out)
        rows.append(found[found["level_ma"] > 0])
        outputs.append(told[told["level_ma"] > 0])
        if set_up.any():
            rows[-1] = rows[-1].assign(eligible=_eligible(rows[-1], choice, line_id, ready, near=settings.plan.near))
    return _with_others(rows, choice, grading), _known(grading, outputs)


def _with_others(rows: list[pd.DataFrame], choice: Choice, grading: Grading) -> pd.DataFrame:
    """Add the set-ups that weren't chosen, as rivals, and where nothing shows a station as what comes nearest."""
    made = pd.concat([part for part in rows if len(part)] or [grading.candidates.iloc[:0].assign(eligible=True)])
    others = grading.candidates.merge(made[_KEY].drop_duplicates(), on=_KEY, how="left", indicator=True)
    others = others[(others["_merge"] == "left_only").to_numpy()].drop(columns="_merge")
    together = pd.concat([made, others.assign(eligible=False)], ignore_index=True)
    shown = _shown(choice)
    lost = np.array([key not in shown for key in zip(together["line_id"], together["station_m"], strict=True)], bool)
    most = together.groupby(["line_id", "station_m"])["current_ma"].transform("max").to_numpy()
    strong = together["current_ma"].to_numpy() >= NEAREST * most
    return together.assign(eligible=np.where(lost, strong, together["eligible"].to_numpy(dtype=bool)))


def _known(grading: Grading, outputs: list[pd.DataFrame]) -> pd.DataFrame:
    known = pd.concat([grading.outputs, *outputs], ignore_index=True)
    return known.drop_duplicates([*_KEY, "level_ma"], ignore_index=True)


def _shown(choice: Choice) -> set[tuple[str, float]]:
    """Return the stations that a chosen set-up shows."""
    pieces, held = choice.options.pieces, choice.cover.assigned >= 0
    return set(zip(pieces.line_id[held].tolist(), pieces.station_m[held].tolist(), strict=True))


def _eligible(
    rows: pd.DataFrame, choice: Choice, line_id: str, ready: gpd.GeoDataFrame, *, near: float
) -> NDArray[np.bool_]:
    """Tell which rows of chosen set-ups show their station about as well as the one assigned to it."""
    options, pieces = choice.options, choice.options.pieces
    names = ready["hookup_id"].to_numpy(object)
    column = {
        (names[options.hookup[k]], choice.ensemble.frequencies_hz[options.frequency[k]]): k for k in choice.columns
    }
    own = pieces.rows[line_id]
    station = np.searchsorted(pieces.station_m[own], rows["station_m"].to_numpy(float)) + own.start
    chosen = np.array([column[key] for key in zip(rows["hookup_id"], rows["frequency_hz"], strict=True)], dtype=int)
    worth = np.nan_to_num(options.worth[station, chosen], nan=0.0)
    assigned = choice.cover.assigned[station]
    best = np.where(assigned >= 0, np.nan_to_num(options.worth[station, np.maximum(assigned, 0)], nan=0.0), 0.0)
    return np.asarray((assigned < 0) | (worth >= best - near), dtype=np.bool_)
