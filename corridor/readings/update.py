"""``readings``: the crew's readings back in, as causes with their probability and currents with their range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from corridor.errors import InputError
from corridor.frames import CAUTION, stamp, table_frame
from corridor.readings.asked import Asked, from_scale
from corridor.readings.carry import carried
from corridor.readings.causes import NONE_ID, Suspect
from corridor.readings.judge import SAME_LOG_ODDS, Judged, told_apart
from corridor.readings.likelihood import mixture_quantiles
from corridor.readings.plan import PlanLike, set_ups_of
from corridor.readings.table import check_readings, read_readings
from corridor.readings.wording import RANKED, explained, where_to_look
from corridor.readings.work import Progress, Work, connected_of, prepared_of
from corridor.site.model import Site

__all__ = ["Update", "apply_readings"]

Real = NDArray[np.float64]

LEVELS = (0.05, 0.5, 0.95)
FOREIGN_SHARE = 0.2  # of a reading: with more of it from elsewhere, it says nothing of this transmitter
FOREIGN_REACH_M = 10.0  # along the line, as far as a foreign tone is taken to be the same
SHOWN_FROM = 1e-3  # causes of less probability share one set_id with none of the others: they aren't compared


@dataclass(frozen=True)
class Update:
    """What the readings say.

    ``causes``, ``expected`` (table ``reading_intervals``) and ``readings`` are tables of the data dictionary;
    ``soil_factor`` is 5 %, median and 95 % of the factor on the nominal soil; ``site`` has the probabilities carried
    into its records, so that a plan can be made again on it; ``notes`` are sentences that belong beside the tables.
    """

    causes: gpd.GeoDataFrame
    expected: gpd.GeoDataFrame
    readings: gpd.GeoDataFrame
    soil_factor: tuple[float, float, float]
    site: Site
    notes: tuple[str, ...]


def apply_readings(
    site: Site, plan: PlanLike, readings: pd.DataFrame | str | Path, *, progress: Progress | None = None
) -> Update:
    """Find what explains a crew's readings best, and what the currents are then.

    Hypotheses are that nothing is hidden, each single cause that the site suggests, and the likeliest causes two by
    two; each with the soil's resistivity on a grid. Their probability is an exact sum over both (Bayes). Depths and
    places of lines, the noise of readings and a factor common to the receiver's currents along a line enter as
    errors that belong together; any reading may have gone wrong.

    Parameters
    ----------
    site : Site
        The records that the plan was made from.
    plan : PlanLike
        With ``setups``, ``hookups``, ``settings`` and ``equipment``.
    readings : DataFrame, str or Path
        Columns of table ``readings``, or a CSV of them. Readings without a value are predicted.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Update

    Raises
    ------
    InputError
        If a reading names what isn't there or can't be one, or none counts.
    """
    settings, equipment = plan.settings, plan.equipment
    source = "readings" if isinstance(readings, pd.DataFrame) else str(readings)
    raw = readings if isinstance(readings, pd.DataFrame) else read_readings(readings)
    setups = set_ups_of(plan)
    table = check_readings(raw, site, setups, settings=settings.readings, source=source)
    used, notes = _without_foreign(table)
    chosen = {name: s for name, s in setups.items() if s is not None and name in set(table["setup_id"][used.eq("")])}
    if not chosen:
        message = f"{source}: expected at least one reading of a set-up of the plan, got none that counts"
        raise InputError(message)
    connected = connected_of(site, plan, settings)
    prepared, drive_of = prepared_of(connected, chosen, table, equipment=equipment, settings=settings)
    outside = used.eq("") & ~table["line_id"].isin(prepared.model.line_ids)
    used = used.mask(outside, "no: the line carries no tone, or lies beyond the network solved")
    counted = table[used.eq("")]
    with threadpool_limits(1, user_api="blas"):
        work = Work(
            connected, prepared, drive_of=drive_of, readings=counted, setups=chosen, settings=settings,
            equipment=equipment,
        )  # fmt: skip
        judged = work.judged(progress)
    causes, probability = _causes_table(work.suspects, judged, site)
    factor = _soil_factor(judged)
    changed, done = carried(
        site, connected.couplings.bonds_found, work.suspects, probability, soil=prepared.soil, soil_factor=factor
    )
    lost = [f"{work.left_out} more causes weren't looked at (readings.causes_max)"] if work.left_out else []
    notes = [CAUTION, RANKED, *notes, *prepared.notes, *lost, *done]
    expected = _intervals(table, used, judged, work.asked)
    return Update(
        stamp(causes, apply_readings, readings=Path(source).name),
        stamp(expected, apply_readings, readings=Path(source).name),
        table,
        factor,
        changed,
        tuple(notes),
    )


def _without_foreign(table: gpd.GeoDataFrame) -> tuple[pd.Series, list[str]]:
    """Return why readings don't count (empty: they do), and notes on foreign tone."""
    used = pd.Series("", index=table.index, dtype=object)
    foreign = table[table["kind"].eq("foreign_tone")]
    used[foreign.index] = "no: a foreign tone is told, not explained"
    notes = []
    for row in foreign[foreign["value"] > 0].to_dict("records"):
        near = table["line_id"].eq(row["line_id"]) & table["kind"].isin(("receiver_ma", "clamp_ma", "peak_offset_m"))
        near &= table["frequency_hz"].eq(row["frequency_hz"]) | math.isnan(row["frequency_hz"])
        near &= (table["station_m"] - row["station_m"]).abs().le(FOREIGN_REACH_M)
        near &= ~table["kind"].ne("peak_offset_m") | table["value"].mul(FOREIGN_SHARE).lt(row["value"])
        used[near & used.eq("")] = "no: a foreign tone was heard there"
        notes.append(
            f"foreign tone of {row['value']:g} mA on {row['line_id']} at {row['station_m']:.0f} m with the transmitter "
            f"off: {int(near.sum())} readings there don't count"
        )
    return used, notes


def _causes_table(suspects: Sequence[Suspect], judged: Judged, site: Site) -> tuple[gpd.GeoDataFrame, list[float]]:
    """Return the table ``causes`` and the probability of each cause."""
    weight = judged.weight.sum(axis=1)
    prior = np.exp([h.log_prior for h in judged.hypotheses])
    prior /= prior.sum()
    holds = np.array([[k in h.members for k in range(len(suspects))] for h in judged.hypotheses], dtype=float)
    after, before = weight @ holds, prior @ holds
    chance = [float(weight[0]), *after.tolist()]
    order = sorted(range(len(chance)), key=lambda k: (-round(chance[k], 12), k))
    alone = [0, *(_best_alone(judged, weight, k) for k in range(len(suspects)))]
    sets = _sets(judged, order, alone, chance)
    rows = []
    for rank, k in enumerate(order, start=1):
        suspect = suspects[k - 1] if k else None
        rows.append(
            {
                "rank": rank,
                "cause_id": NONE_ID if suspect is None else suspect.cause_id,
                "kind": "none" if suspect is None else suspect.kind,
                "line_a": None if suspect is None else suspect.line_a,
                "line_b": None if suspect is None else suspect.line_b,
                "place": None if suspect is None else suspect.place,
                "prior": float(prior[0]) if suspect is None else float(before[k - 1]),
                "probability": chance[k],
                "set_id": sets.get(k),
                "explained": explained(suspect),
                "where_to_look": where_to_look(suspect),
            }
        )
    shapes = gpd.points_from_xy(*zip(*(suspects[k - 1].xy_m if k else (math.nan,) * 2 for k in order), strict=True))
    points = [None if k == 0 else shape for k, shape in zip(order, shapes, strict=True)]
    return table_frame("causes", rows, geometry=points, crs=site.crs), after.tolist()


def _best_alone(judged: Judged, weight: Real, number: int) -> int:
    own = [k for k, h in enumerate(judged.hypotheses) if h.members == (number,)]
    return max(own, key=lambda k: (float(weight[k]), -k))


def _sets(judged: Judged, order: Sequence[int], alone: Sequence[int], chance: Sequence[float]) -> dict[int, str]:
    """Return the set of each cause worth showing: it joins the first whose likeliest cause it can't be told from."""
    leaders: list[int] = []
    sets: dict[int, str] = {}
    for k in order:
        if chance[k] < SHOWN_FROM:
            continue
        for number, leader in enumerate(leaders, start=1):
            if told_apart(judged, alone[leader], alone[k]) < SAME_LOG_ODDS:
                sets[k] = str(number)
                break
        else:
            leaders.append(k)
            sets[k] = str(len(leaders))
    return sets


def _soil_factor(judged: Judged) -> tuple[float, float, float]:
    """Return 5 %, median and 95 % of the factor on the soil, between the grid's points."""
    share = judged.weight.sum(axis=0)
    below = np.cumsum(share) - share / 2
    low, middle, high = np.exp(np.interp(LEVELS, below, np.log(judged.factors)))
    return float(low), float(middle), float(high)


def _intervals(table: gpd.GeoDataFrame, used: pd.Series, judged: Judged, asked: Sequence[Asked]) -> gpd.GeoDataFrame:
    """Return the table ``reading_intervals``: every reading, those that don't count without figures."""
    weight, gauss = judged.before
    before = from_scale(asked, mixture_quantiles(weight, gauss.mean, gauss.deviation, LEVELS).T)
    weight, gauss = judged.reading
    after = from_scale(asked, mixture_quantiles(weight, gauss.mean, gauss.deviation, LEVELS).T)
    weight, gauss = judged.current
    current = np.exp(mixture_quantiles(weight, gauss.mean, gauss.deviation, LEVELS).T)
    figures = {
        one.row: {
            "before_low": before[k, 0], "before_high": before[k, 2],
            "expected_low": after[k, 0], "expected": after[k, 1], "expected_high": after[k, 2],
            "outlier_probability": judged.wrong[k],
        } | ({"current_low_ma": current[k, 0], "current_ma": current[k, 1], "current_high_ma": current[k, 2]}
             if one.placed else {})
        for k, one in enumerate(asked)
    }  # fmt: skip
    rows = [
        row
        | {"used": used[number] or ("yes" if row["value"] == row["value"] else "predicted")}
        | figures.get(number, {})
        for number, row in zip(table.index, table.drop(columns="geometry").to_dict("records"), strict=True)
    ]
    kept = [{name: value for name, value in row.items() if name not in ("x_m", "y_m", "time", "note")} for row in rows]
    return table_frame("reading_intervals", kept, geometry=list(table.geometry), crs=table.crs)
