"""The strategy: for each stretch of each target the hook-up, frequency and output that grade best, and why.

The solution decides; no rule of thumb does. The order of modes in the settings only breaks ties.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.ops import substring

from corridor.dictionary import GONE, GRADES
from corridor.errors import InputError
from corridor.frames import stamp, table_frame
from corridor.plan.stretches import NOTHING, Stretch, best_choices, cells, cut_stretches
from corridor.plan.wording import (
    OTHER_METHODS,
    STILL_THERE,
    caution_text,
    reason_text,
    why_untraceable,
)
from corridor.settings import Settings
from corridor.site.model import Site
from corridor.tone.stations import inside_parts

__all__ = ["build_strategy", "strategy_totals"]

Row = dict[str, Any]

_KEY = ["hookup_id", "frequency_hz", "level_ma"]
_RANK = {grade: rank for rank, grade in enumerate(GRADES)}
_MISSING = len(GRADES)  # no prediction: worse than every grade
_MISTAKEN_REACH_M = 20.0  # a conductor farther away isn't taken for the target (engineering estimate)


@dataclass(frozen=True)
class _Target:
    """The predictions for one line, by station and choice; choices in order of preference."""

    line: Row
    hookups: pd.DataFrame  # of this line, whatever their readiness
    known: pd.DataFrame  # its candidates
    choices: pd.DataFrame  # hook-up, frequency and output of each column
    station_m: NDArray[np.float64]
    rows: NDArray[np.int64]  # (stations, choices) position in ``known``, -1 where there is no prediction
    rank_worst: NDArray[np.int64]
    rank: NDArray[np.int64]
    eligible: NDArray[np.bool_]

    @property
    def ready(self) -> NDArray[np.bool_]:
        return (self.choices["ready"] == "ready").to_numpy(dtype=bool)


def build_strategy(
    site: Site,
    hookups: gpd.GeoDataFrame,
    candidates: pd.DataFrame,
    outputs: pd.DataFrame,
    *,
    settings: Settings,
    targets: Iterable[str] | None = None,
    area: Polygon | MultiPolygon | None = None,
    stations: Mapping[str, NDArray[np.float64]] | None = None,
) -> gpd.GeoDataFrame:
    """Choose for every stretch of every target how to put tone on it.

    Parameters
    ----------
    site : Site
        The records.
    hookups : GeoDataFrame
        Table ``hookups`` with ``caution``, as `find_hookups` returns it. Only ready ones are chosen; one that isn't
        ready may be named in the reason; refused ones are left out.
    candidates : DataFrame
        A row per line_id, station_m, hookup_id, frequency_hz and level_ma: grade, grade_worst, settled, current_ma,
        current_low_ma, current_high_ma, peak_offset_m, pulled_to, depth_error_m, mistaken_for. With ``eligible`` only
        rows where that is true are chosen; the others may be named as rivals.
    outputs : DataFrame
        A row per hookup_id, frequency_hz and level_ma: voltage_v, loop_ohm, limited_by (level, voltage, current or
        power).
    settings : Settings
        Spacing of stations, shortest stretch and the order of modes.
    targets : iterable of str, optional
        line_id of the lines wanted; default every line that exists.
    area : Polygon or MultiPolygon, optional
        Where the lines are wanted; default over their whole length.
    stations : mapping of str to ndarray, optional
        Measures along lines, by line_id, that must all be answered for, whether a candidate reaches them or not.

    Returns
    -------
    GeoDataFrame
        Table ``strategy``, by line and distance along it. Best is the worst grade over the cases, then the nominal
        grade, then the fewest changes along the line, then the lower frequency, the lower output, and the order of
        modes.

    Raises
    ------
    InputError
        If a candidate names a hook-up or a grade that doesn't exist.
    """
    lines = site.lines[~site.lines["status"].isin(GONE).to_numpy()].sort_values("line_id", kind="stable")
    wanted = set(lines["line_id"]) if targets is None else {str(target) for target in targets}
    lines = lines[lines["line_id"].isin(wanted).to_numpy()]
    choices = _choices(candidates, hookups, outputs, settings)
    known = _known(candidates, choices)
    by_line = known.groupby("line_id", sort=False).indices
    rows: list[Row] = []
    for line in lines.to_dict("records"):
        found = by_line.get(line["line_id"])
        own = hookups[(hookups["line_id"] == line["line_id"]).to_numpy()]
        if found is None:
            rows.extend(_unpredicted(line, own, area, too_close=line["line_id"] in (stations or {})))
        else:
            target = _target(line, own, known.iloc[found], choices, stations=(stations or {}).get(line["line_id"]))
            rows.extend(_predicted(target, inside_parts(line["geometry"], area), settings))
    _name_neighbours(rows, site.lines)
    frame = table_frame("strategy", rows, geometry=[row.pop("geometry") for row in rows], crs=site.crs)
    return stamp(frame, build_strategy, hookups=settings.hookups.model_dump(mode="json"))


def strategy_totals(strategy: gpd.GeoDataFrame) -> dict[str, float]:
    """Return the length of each worst grade, m to centimetres, in the order of the grades."""
    sums = strategy.groupby("grade_worst")["length_m"].sum()
    return {grade: round(float(sums.get(grade, 0.0)), 2) for grade in GRADES}


def _choices(
    candidates: pd.DataFrame, hookups: gpd.GeoDataFrame, outputs: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Every hook-up, frequency and output, best liked first: lower frequency, lower output, then the order of modes."""
    keys = candidates[_KEY].drop_duplicates()
    about = hookups[["hookup_id", "structure_id", "mode", "ready", "missing", "caution"]]
    choices = keys.merge(about, on="hookup_id", how="left", validate="many_to_one")
    strangers = choices.loc[choices["mode"].isna(), "hookup_id"]
    if len(strangers):
        message = f"expected candidates of the hook-ups given, got unknown hookup_id {strangers.iloc[0]!r}"
        raise InputError(message)
    choices = choices.merge(outputs[[*_KEY, "voltage_v", "loop_ohm", "limited_by"]], on=_KEY, how="left")
    liked = {mode: n for n, mode in enumerate(settings.hookups.mode_order)}
    choices["mode_rank"] = choices["mode"].map(liked).fillna(len(liked))
    order = ["frequency_hz", "level_ma", "mode_rank", "hookup_id"]
    choices = choices[choices["ready"] != "refused"].sort_values(order, kind="stable", ignore_index=True)
    return choices.assign(choice=np.arange(len(choices)))


def _known(candidates: pd.DataFrame, choices: pd.DataFrame) -> pd.DataFrame:
    """Add the number of the choice and the grades as ranks to the candidates; refused hook-ups drop out."""
    known = candidates.merge(choices[[*_KEY, "choice"]], on=_KEY, how="inner")
    for column in ("grade", "grade_worst"):
        ranks = known[column].map(_RANK)
        if ranks.isna().any():
            message = f"expected a grade of {', '.join(GRADES)}, got {known.loc[ranks.isna(), column].iloc[0]!r}"
            raise InputError(message)
        known[f"{column}_rank"] = ranks.astype(int)
    return known


def _target(
    line: Row,
    hookups: pd.DataFrame,
    known: pd.DataFrame,
    choices: pd.DataFrame,
    *,
    stations: NDArray[np.float64] | None,
) -> _Target:
    reached = known["station_m"].to_numpy(dtype=float)
    station_m = np.unique(reached if stations is None else np.concatenate((reached, stations)))
    station = np.searchsorted(station_m, reached)
    number, choice = np.unique(known["choice"].to_numpy(), return_inverse=True)
    rows = np.full((len(station_m), len(number)), -1)
    rows[station, choice] = np.arange(len(known))
    worst, nominal = (
        np.where(rows >= 0, known[column].to_numpy()[rows], _MISSING) for column in ("grade_worst_rank", "grade_rank")
    )
    eligible = np.ones(rows.shape, dtype=bool)
    if "eligible" in known:
        eligible = (rows >= 0) & known["eligible"].to_numpy(dtype=bool)[rows]
    own = choices.iloc[number].reset_index(drop=True)
    return _Target(line, hookups, known, own, station_m, rows, worst, nominal, eligible)


def _predicted(target: _Target, parts: list[tuple[float, float]], settings: Settings) -> list[Row]:
    """Cut one line that has predictions into its stretches."""
    usable = (target.rank_worst < _RANK["untraceable"]) & target.ready[None, :] & target.eligible
    chosen = best_choices(target.rank_worst, target.rank, usable)
    start, end, gap = cells(target.station_m, parts, spacing_m=settings.receiver.station_spacing_m)
    cut = cut_stretches(
        chosen,
        target.rank_worst,
        target.rank,
        start_m=start,
        end_m=end,
        gap=gap,
        min_length_m=settings.hookups.stretch_min_m,
    )
    rows = []
    for number, stretch in enumerate(cut, start=1):
        place = _place(target.line, number, float(start[stretch.first]), float(end[stretch.last]))
        rivals = _rivals(target, stretch)
        if stretch.choice == NOTHING:
            better = _better_unready(rivals, target, _RANK["untraceable"])
            heard = bool((target.rows[stretch.stations] >= 0).any())
            rows.append(
                place | _untraceable(target.line, target.hookups, predicted=heard, too_close=not heard, better=better)
            )
        else:
            rows.append(place | _chosen(target, stretch, rivals))
    return rows


def _place(line: Row, number: int, from_m: float, to_m: float) -> Row:
    filled = bool(line["assumed"])
    return {
        "stretch_id": f"{line['line_id']}:{number}",
        "line_id": line["line_id"],
        "utility": line["utility"],
        "owner": line["owner"],
        "from_m": from_m,
        "to_m": to_m,
        "length_m": to_m - from_m,
        "assumed": filled,
        "assumed_columns": line["assumed_columns"],
        "assumed_share": float(filled),  # a line's values hold over its whole length
        "geometry": substring(line["geometry"], from_m, to_m),
    }


def _chosen(target: _Target, stretch: Stretch, rivals: pd.DataFrame) -> Row:
    """Say what the chosen hook-up gives on one stretch."""
    choice = target.choices.iloc[stretch.choice]
    taken = target.known.iloc[target.rows[stretch.stations, stretch.choice]]
    worst = taken[taken["grade_worst_rank"] == stretch.rank_worst]
    pull, depth = _largest(taken["peak_offset_m"]), _largest(taken["depth_error_m"])
    grade_worst = GRADES[stretch.rank_worst]
    equal = target.ready & ((rivals["worst"] == stretch.rank_worst) & (rivals["nominal"] == stretch.rank)).to_numpy()
    return {
        "mode": choice["mode"],
        "hookup_id": choice["hookup_id"],
        "structure_id": choice["structure_id"],
        "frequency_hz": choice["frequency_hz"],
        "level_ma": choice["level_ma"],
        "voltage_v": choice["voltage_v"],
        "loop_ohm": choice["loop_ohm"],
        "grade": GRADES[stretch.rank],
        "grade_worst": grade_worst,
        "settled": bool(taken["settled"].all()),
        "current_ma": taken["current_ma"].min(),
        "current_low_ma": taken["current_low_ma"].min(),
        "current_high_ma": taken["current_high_ma"].max(),
        "peak_offset_m": taken["peak_offset_m"].iloc[pull],
        "pulled_to": taken["pulled_to"].iloc[pull],
        "depth_error_m": taken["depth_error_m"].iloc[depth],
        "mistaken_for": _most_frequent(worst["mistaken_for"]),
        "runner_up": _runner_up(rivals, target, choice),
        "reason": reason_text(
            grade_worst,
            equal=int(equal.sum()),
            choices=int(target.ready.sum()),
            limited_by=choice["limited_by"],
            better=_better_unready(rivals, target, stretch.rank_worst),
        ),
        "caution": caution_text(
            choice["caution"], (GRADES[stretch.rank], grade_worst), settled=bool(taken["settled"].all())
        ),
    }


def _largest(values: pd.Series) -> int:
    """Position of the value of largest magnitude; 0 where all are NULL."""
    sizes = np.abs(values.to_numpy(dtype=float))
    return 0 if np.isnan(sizes).all() else int(np.nanargmax(sizes))


def _most_frequent(names: pd.Series) -> str | None:
    counts = names[names.notna() & (names != "")].value_counts()
    return None if counts.empty else min(counts.index[counts == counts.max()])


def _rivals(target: _Target, stretch: Stretch) -> pd.DataFrame:
    """Grade each choice over the whole stretch."""
    stations = stretch.stations
    return target.choices[["hookup_id", "frequency_hz", "missing"]].assign(
        worst=target.rank_worst[stations].max(axis=0), nominal=target.rank[stations].max(axis=0)
    )


def _runner_up(rivals: pd.DataFrame, target: _Target, choice: pd.Series) -> str | None:
    """Name the best of the other hook-ups, else the same one at another frequency."""
    able = rivals[target.ready & (rivals["worst"] < _RANK["untraceable"]).to_numpy()]
    other = able[(able["hookup_id"] != choice["hookup_id"]).to_numpy()]
    if other.empty:
        other = able[(able["frequency_hz"] != choice["frequency_hz"]).to_numpy()]
    return None if other.empty else _named(other)


def _better_unready(rivals: pd.DataFrame, target: _Target, rank_worst: int) -> str:
    """Name the best hook-up that would grade better, but isn't ready; empty where there is none."""
    better = rivals[~target.ready & (rivals["worst"] < rank_worst).to_numpy()]
    if better.empty:
        return ""
    lacks = better.sort_values(["worst", "nominal"], kind="stable")["missing"].iloc[0]
    return f"not ready: {_named(better)}, but it lacks {lacks}"


def _named(rivals: pd.DataFrame) -> str:
    best = rivals.sort_values(["worst", "nominal"], kind="stable").iloc[0]
    return f"{best['hookup_id']} at {best['frequency_hz']:g} Hz: {GRADES[best['worst']]}"


def _untraceable(
    line: Row, hookups: pd.DataFrame, *, predicted: bool, too_close: bool = False, better: str = ""
) -> Row:
    reason = why_untraceable(line, hookups, predicted=predicted, too_close=too_close)
    why = "; ".join(text for text in (reason, better) if text)
    return {
        "grade": "untraceable",
        "grade_worst": "untraceable",
        "reason": f"{why}; use {OTHER_METHODS}",
        "caution": STILL_THERE,
    }


def _unpredicted(
    line: Row, hookups: pd.DataFrame, area: Polygon | MultiPolygon | None, *, too_close: bool
) -> list[Row]:
    """List the parts of a line that nothing was predicted for."""
    return [
        _place(line, number, from_m, to_m) | _untraceable(line, hookups, predicted=False, too_close=too_close)
        for number, (from_m, to_m) in enumerate(inside_parts(line["geometry"], area), start=1)
    ]


def _name_neighbours(rows: list[Row], lines: gpd.GeoDataFrame) -> None:
    """Name the nearest conductor in plan where tone can't show the line: that is what a crew would mark."""
    lost = [row for row in rows if row["grade_worst"] == "untraceable"]
    conductors = lines[((lines["conductive"] == "yes") & ~lines["status"].isin(GONE)).to_numpy()]
    if not lost or conductors.empty:
        return
    shapes, ids = conductors.geometry.to_numpy(), conductors["line_id"].to_numpy(dtype=object)
    wanted = np.array([row["geometry"] for row in lost], dtype=object)
    stretch, near = shapely.STRtree(shapes).query(wanted, predicate="dwithin", distance=_MISTAKEN_REACH_M)
    distance = np.round(shapely.distance(wanted[stretch], shapes[near]), 2)
    for n in np.lexsort((ids[near].astype(str), distance, stretch)):
        row = lost[stretch[n]]
        if ids[near[n]] != row["line_id"]:
            row.setdefault("mistaken_for", ids[near[n]])
