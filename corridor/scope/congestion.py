"""The table of cells: how many recorded lines each holds, how they meet, and what the engine makes of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.dictionary.scopes import CONGESTION
from corridor.dictionary.shared import GRADES
from corridor.frames import table_frame
from corridor.scope.cells import Grid, Pieces
from corridor.scope.meets import Meets
from corridor.settings import ScopeSettings

__all__ = ["GRADED_SHARE", "cells_table", "shares_of"]

GRADED_SHARE = 0.95  # of a length that must be graded for its shares to be told; slivers at the edge never are


def cells_table(grid: Grid, meets: Meets, work_area: gpd.GeoDataFrame, *, settings: ScopeSettings) -> gpd.GeoDataFrame:
    """Return the table ``cells``, without its test holes.

    Parameters
    ----------
    grid : Grid
        Over the whole work area.
    meets : Meets
        What the whole work area meets.
    work_area : GeoDataFrame
        One row a phase.
    settings : ScopeSettings
        From how many lines on they are several, many and very many.

    Returns
    -------
    GeoDataFrame
        By row and column. ``length_m`` adds up to the lines' length in the area.
    """
    count = len(grid.key)
    lines = meets.lines
    pieces = grid.cut(lines.geometry.to_numpy())
    length = _summed(pieces, count)
    on = _different(pieces, lines["line_id"].to_numpy(dtype=object), count)
    utilities = _different(pieces, lines["utility"].to_numpy(dtype=object), count)
    runs = grid.cut(meets.runs.geometry.to_numpy())
    points = shapely.get_coordinates(meets.crossings.geometry.to_numpy())
    graded, shares, hidden = _graded(grid, meets.stretches)
    told = (length > 0) & (graded >= GRADED_SHARE * length)
    area = shapely.area(grid.polygons)
    columns: dict[str, Any] = {
        "cell_id": grid.names,
        "phase": _phases(grid, work_area),
        "state": np.where(length == 0, "no_records", np.where(told, "computed", "geometry_only")),
        "congestion": congestion_words(on, settings=settings),
        "area_m2": area,
        "lines": on,
        "utilities": utilities,
        "length_m": length,
        "parallel_m": _summed(runs, count),
        "crossings": np.bincount(grid.cells_of(points), minlength=count),
        "length_per_100m2_m": 100.0 * length / area,
        "graded_m": graded,
    } | {f"{grade}_share": np.where(told, shares[grade], np.nan) for grade in GRADES}
    columns["not_shown_worst_share"] = np.where(told, hidden, np.nan)
    return table_frame("cells", columns, geometry=grid.polygons, crs=work_area.crs)


def congestion_words(lines: NDArray[np.int64], *, settings: ScopeSettings) -> NDArray[np.object_]:
    """Return for numbers of lines (n,) how many that is, in words."""
    steps = [1, settings.several_from, settings.many_from, settings.very_many_from]
    return np.array(CONGESTION, dtype=object)[np.searchsorted(steps, lines, side="right")]


def shares_of(stretches: gpd.GeoDataFrame, length_m: float) -> dict[str, Any]:
    """Return ``graded_m`` and the share of each grade, NULL where too little of a length was graded."""
    own = stretches.groupby("grade")["length_in_m"].sum()
    hidden = float(stretches.loc[~stretches["shown_worst"], "length_in_m"].sum())
    graded = float(own.sum())
    told = length_m > 0 and graded >= GRADED_SHARE * length_m
    shares = {f"{grade}_share": float(own.get(grade, 0.0)) / graded if told else None for grade in GRADES}
    return {"graded_m": graded, **shares, "not_shown_worst_share": hidden / graded if told else None}


def _graded(
    grid: Grid, stretches: gpd.GeoDataFrame
) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]], NDArray[np.float64]]:
    """Return the length graded in each cell, of each grade its share, and the share not shown in the worst case."""
    count = len(grid.key)
    pieces = grid.cut(stretches.geometry.to_numpy())
    graded = _summed(pieces, count)
    some = np.where(graded > 0, graded, 1.0)

    def share_of(chosen: pd.Series) -> NDArray[np.float64]:
        own = chosen.to_numpy(dtype=bool)[pieces.owner]
        return np.asarray(np.bincount(pieces.cell[own], weights=pieces.length_m[own], minlength=count) / some)

    return (
        graded,
        {grade: share_of(stretches["grade"].eq(grade)) for grade in GRADES},
        share_of(~stretches["shown_worst"]),
    )


def _summed(pieces: Pieces, count: int) -> NDArray[np.float64]:
    return np.asarray(np.bincount(pieces.cell, weights=pieces.length_m, minlength=count), dtype=np.float64)


def _different(pieces: Pieces, names: NDArray[np.object_], count: int) -> NDArray[np.int64]:
    """Return how many different names the pieces in each cell have."""
    codes, _ = pd.factorize(names)
    pairs = np.unique(np.column_stack([pieces.cell, codes[pieces.owner]]), axis=0)
    return np.bincount(pairs[:, 0], minlength=count)


def _phases(grid: Grid, work_area: gpd.GeoDataFrame) -> Sequence[str | None]:
    """Return the names of the phases that each cell touches with an area of its own."""
    names = work_area["phase"].to_numpy(dtype=object)
    shapes = work_area.geometry.to_numpy()
    touching: list[set[str]] = [set() for _ in grid.key]
    phase, cell = shapely.STRtree(grid.polygons).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[phase], grid.polygons[cell])) > 0
    for number, where in zip(phase[shared], cell[shared], strict=True):
        if isinstance(names[number], str):
            touching[where].add(names[number])
    return [" ".join(sorted(found)) or None for found in touching]
