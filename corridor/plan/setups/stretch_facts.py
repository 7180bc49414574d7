"""What the draws say of each stretch: how likely it is readable, how far off it may be, and what would confirm it."""

from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.constants import MA_PER_A
from corridor.plan.ensemble import LineDraws
from corridor.plan.setups.choice import Choice
from corridor.settings import Settings
from corridor.tone.grades import PULLED, READABLE

__all__ = ["CLASSES", "expected_class", "with_draws"]

# PAS 128:2022, quality level, plan in metres and share of depth (whichever is greater), and depth as a share; as quoted
# in summaries, so check your copy. From tone alone no better than QL-B2: QL-B1 asks for a second method.
CLASSES = (("QL-B2", 0.25, 0.4, 0.4), ("QL-B3", 0.5, 0.0, np.inf))

QUANTILE = 0.9
CONFIRM_FROM = 0.5  # a set-up that confirms another must be readable more often than not
Real = NDArray[np.float64]


def expected_class(offset_m: float, depth_share: float, depth_m: float) -> str | None:
    """Return the quality level that a survey of such errors could claim; None where it reaches none.

    Parameters
    ----------
    offset_m : float
        Plan error that 90 % stay below, m.
    depth_share : float
        Depth error that 90 % stay below, over the depth; NaN where no depth is shown.
    depth_m : float
        Depth, m.
    """
    for name, fixed_m, of_depth, depth_limit in CLASSES:
        depth_holds = depth_share <= depth_limit or depth_limit == np.inf
        if offset_m <= max(fixed_m, of_depth * depth_m) and depth_holds:
            return name
    return None


def with_draws(
    strategy: gpd.GeoDataFrame, choice: Choice, ready: gpd.GeoDataFrame, *, settings: Settings
) -> gpd.GeoDataFrame:
    """Fill the columns of a strategy that rest on the draws.

    Parameters
    ----------
    strategy : GeoDataFrame
        Table ``strategy``.
    choice : Choice
    ready : GeoDataFrame
        Hook-ups, in the order of the ensemble.
    settings : Settings
        Noise floor.

    Returns
    -------
    GeoDataFrame
        With readable_share, pull_90_m, depth_error_90_m, expected_class_if_done and confirm_by.
    """
    result = strategy.copy()
    number = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
    names = ready["hookup_id"].to_numpy(object)
    for index, stretch in strategy.iterrows():
        line = choice.ensemble.lines.get(str(stretch["line_id"]))
        drive = number.get(stretch["hookup_id"])
        if line is None or drive is None or drive not in line.drives:
            continue
        frequency = choice.ensemble.frequencies_hz.index(float(stretch["frequency_hz"]))
        at_m = line.stations.measure_m
        inside = np.flatnonzero((at_m >= stretch["from_m"]) & (at_m <= stretch["to_m"]))
        if inside.size:
            found = _facts(
                choice, line, inside, (drive, frequency), level_a=float(stretch["level_ma"]) / MA_PER_A,
                names=names, settings=settings,
            )  # fmt: skip
            for column, value in found.items():
                result.at[index, column] = value
    return result


def _facts(
    choice: Choice,
    line: LineDraws,
    inside: NDArray[np.int64],
    hooked: tuple[int, int],
    *,
    level_a: float,
    names: NDArray[np.object_],
    settings: Settings,
) -> dict[str, Any]:
    drive, frequency = hooked
    column = line.drives.index(drive)
    amperes = choice.ensemble.sources.hookup_a(drive, frequency, level_a)
    heard = line.field_nt[inside, column, frequency] * amperes[None] >= settings.grades.floor_nt
    loud = line.loud[inside, column, frequency]
    usable = heard & ((loud == READABLE) | (loud == PULLED))
    facts: dict[str, Any] = {"readable_share": float((heard & (loud == READABLE)).mean())}
    if usable.mean() < CONFIRM_FROM:
        return facts
    offset = np.abs(line.peak_offset_m[inside, column, frequency][usable])
    share = np.abs(line.depth_error_m[inside, column, frequency][usable]) / line.stations.depth_m
    plan_90, depth_90 = float(np.quantile(offset, QUANTILE)), float(np.nanquantile(share, QUANTILE))
    depth = line.stations.depth_m
    return facts | {
        "pull_90_m": plan_90,
        "depth_error_90_m": depth_90 * depth,
        "expected_class_if_done": expected_class(plan_90, depth_90, depth),
        "confirm_by": _confirm(choice, line, inside, (column, frequency), names=names),
    }


def _confirm(
    choice: Choice, line: LineDraws, inside: NDArray[np.int64], chosen: tuple[int, int], *, names: NDArray[np.object_]
) -> str | None:
    """Name the set-up, readable as a rule, whose error of the peak goes least with the chosen one's over the draws."""
    count = line.loud.shape[-1]
    if count < 3:
        return None
    own = np.nan_to_num(line.peak_offset_m[inside][:, chosen[0], chosen[1]].mean(axis=0))
    error = np.nan_to_num(line.peak_offset_m[inside].mean(axis=0))  # (d, f, n)
    good = ((line.loud[inside] == READABLE) & line.allowed[inside][..., None]).mean(axis=(0, 3)) >= CONFIRM_FROM
    good[chosen[0]] = False
    if not good.any():
        return None
    size = error.std(axis=-1) * own.std()
    both = ((error - error.mean(axis=-1, keepdims=True)) * (own - own.mean())).mean(axis=-1)
    correlation = np.divide(both, size, out=np.zeros_like(both), where=size > 0)
    scored = np.where(good, np.round(np.abs(correlation), 6), np.inf)
    d, f = np.unravel_index(int(scored.argmin()), scored.shape)
    return f"{names[line.drives[d]]} at {choice.ensemble.frequencies_hz[f]:g} Hz"
