"""Set-ups that run at the same time: how much of one crew's tone reaches another crew's receiver."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corridor.constants import MU_0, TWO_PI
from corridor.plan.setups.choice import Choice
from corridor.settings import Settings
from corridor.tone.solve import ToneSolution
from corridor.tone.tables import NT_PER_T

__all__ = ["Crowd", "crowd_of"]

REACH_M = 5.0  # lines farther from where a crew reads add little to what its receiver hears
NEAREST_M = 0.3


@dataclass(frozen=True)
class Crowd:
    """What n set-ups do to each other.

    Attributes
    ----------
    keys : tuple of (str, float)
        Hook-up and frequency of each.
    frequencies_hz : tuple of float
        All that the equipment knows, f of them.
    allowed : tuple of tuple of int
        Positions of the frequencies at which each shows its stretches about as well, best liked first; its own leads.
    reach_nt : ndarray, shape (n, n, f)
        Field that the tone of the first makes where the second is read, at each frequency, nT: of the nearest
        conductor with the largest current, which is on the safe side.
    """

    keys: tuple[tuple[str, float], ...]
    frequencies_hz: tuple[float, ...]
    allowed: tuple[tuple[int, ...], ...]
    reach_nt: NDArray[np.float64]


def crowd_of(
    choice: Choice,
    keys: Sequence[tuple[str, float]],
    strategy: gpd.GeoDataFrame,
    ready: gpd.GeoDataFrame,
    *,
    solution: ToneSolution,
    settings: Settings,
) -> Crowd:
    """Work out what the set-ups of a plan do to each other.

    Parameters
    ----------
    choice : Choice
    keys : sequence of (str, float)
        Hook-up and frequency of the set-ups.
    strategy : GeoDataFrame
        Which says where each is read.
    ready : GeoDataFrame
        Hook-ups, in the order of the solution's drives.
    solution : ToneSolution
        Its nominal case is taken.
    settings : Settings
        How near the best is near enough.

    Returns
    -------
    Crowd
    """
    frequencies = choice.ensemble.frequencies_hz
    number = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
    column_of = {
        (int(choice.options.hookup[k]), int(choice.options.frequency[k])): k for k in choice.columns.tolist()
    }  # fmt: skip
    used = [column_of[number[hookup], frequencies.index(frequency)] for hookup, frequency in keys]
    shapes = strategy.geometry.to_numpy()
    rows = pd.DataFrame(strategy[["hookup_id", "frequency_hz"]]).groupby(["hookup_id", "frequency_hz"]).indices
    where = [shapely.union_all(shapes[rows[key]]) if key in rows else None for key in keys]
    reach = np.zeros((len(keys), len(keys), len(frequencies)))
    for second, shape in enumerate(where):
        near, apart = _near(solution, shape)
        for f, frequency in enumerate(frequencies):
            result = solution.results[frequency, solution.cases[0].name]
            drives = choice.options.hookup[used]
            level = np.minimum(choice.options.level_a[used], result.available_a[drives])
            size = np.abs(result.current_a[np.ix_(near, drives)]) * level / apart[:, None]
            reach[:, second, f] = MU_0 / TWO_PI * size.max(axis=0, initial=0.0) * NT_PER_T
    allowed = tuple(_frequencies(choice, column, near=settings.plan.near) for column in used)
    return Crowd(tuple(keys), frequencies, allowed, reach)


def _near(solution: ToneSolution, shape: BaseGeometry | None) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the sections near where a crew reads, and their distance from the receiver, m."""
    model = solution.model
    if shape is None:
        return np.empty(0, dtype=np.int64), np.empty(0)
    lines = slice(model.n_conducting)
    middle = (model.start_m[lines] + model.end_m[lines]) / 2
    xy = middle[:, :2] + model.origin_m
    low_x, low_y, high_x, high_y = shape.buffer(REACH_M).bounds
    boxed = np.flatnonzero((xy >= (low_x, low_y)).all(axis=1) & (xy <= (high_x, high_y)).all(axis=1))
    aside = np.asarray(shapely.distance(shape, np.asarray(shapely.points(xy[boxed]))))
    close = aside <= REACH_M
    near = boxed[close]
    return near, np.maximum(np.hypot(aside[close], middle[near, 2]), NEAREST_M)


def _frequencies(choice: Choice, column: int, *, near: float) -> tuple[int, ...]:
    """Return the frequencies at which a set-up shows its pieces about as well, its own first."""
    options, cover = choice.options, choice.cover
    pieces = cover.assigned == column
    same = np.flatnonzero(options.hookup == options.hookup[column])
    own = int(options.frequency[column])
    if not pieces.any():
        return (own,)
    lengths = options.pieces.length_m[pieces]
    worth = np.nan_to_num(options.worth[pieces], nan=0.0)
    least = float(lengths @ worth[:, column]) - near * float(lengths.sum())
    good = same[lengths @ worth[:, same] >= least - 1e-9]
    order = good[np.argsort(options.preference[good], kind="stable")]
    return tuple(dict.fromkeys([own, *options.frequency[order].tolist()]))
