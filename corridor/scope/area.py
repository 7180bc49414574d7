"""``scope``: congestion and effort over a large excavation, cell by cell and phase by phase."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.dictionary import GONE
from corridor.dictionary.scopes import CELL_STATES
from corridor.errors import InputError
from corridor.frames import check_metric, stamp, table_frame
from corridor.scope.cells import Grid, grid_over
from corridor.scope.congestion import cells_table
from corridor.scope.effort import rate_rows
from corridor.scope.holes import holes_in, holes_table
from corridor.scope.meets import meets_of
from corridor.scope.phases import ALL, Phase, phase_tables, phases_of
from corridor.scope.solved import Solved, only_geometry, solve_windows
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site

__all__ = ["Scope", "scope_area"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Scope:
    """Congestion and effort over one work area: tables of the data dictionary, and a summary as plain data.

    ``strategy`` holds what was solved, with the set-ups of its own window, unnumbered; empty where nothing was.
    """

    scope_phases: gpd.GeoDataFrame
    cells: gpd.GeoDataFrame
    test_holes: gpd.GeoDataFrame
    scope_effort: gpd.GeoDataFrame
    scope_rates: gpd.GeoDataFrame
    strategy: gpd.GeoDataFrame
    summary: dict[str, Any]
    settings: Settings
    equipment: Equipment | None
    site: Site


def scope_area(
    site: Site,
    *,
    everything: bool = False,
    geometry_only: bool = False,
    equipment: Equipment | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Scope:
    """Count what an excavation meets, cell by cell, and estimate what locating it takes, phase by phase.

    Parameters
    ----------
    site : Site
        The records, with a work area: polygons in phases with their dig depth. Its surfaces say what must be closed.
    everything : bool
        Take the rectangle round all lines where there is no work area.
    geometry_only : bool
        Count only; nothing is solved, grade shares are NULL.
    equipment : Equipment, optional
        The generic standard profile where left out.
    settings : Settings, optional
        Part ``scope``: cells, frequencies and windows solved, rates. Every rate's default is an estimate, no source.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Scope

    Raises
    ------
    InputError
        If there is no work area and not everything is asked for.
    CrsError
        If the CRS isn't in metres.
    EquipmentError
        If transmitter and receiver share no frequency.
    """
    settings = settings or Settings()
    check_metric(site.lines)
    site = _with_area(site, everything=everything)
    area = site.work_area.geometry.union_all()
    gear = None if geometry_only else (equipment or load_equipment(None))
    if gear is None:
        solved = only_geometry(site, area=area, settings=settings)
    else:
        solved = solve_windows(site, area=area, equipment=gear, settings=settings, progress=progress)
    meets = meets_of(site.lines, solved.parallel_runs, solved.crossings, solved.strategy, area=area)
    grid = grid_over(area, shape=settings.scope.shape, size_m=settings.scope.cell_m)
    phases = phases_of(site.work_area, meets, settings.scope)
    holes = _holes(site, phases, settings)
    cells = _with_holes(cells_table(grid, meets, site.work_area, settings=settings.scope), grid, holes)
    totals, effort = phase_tables(phases, holes, site.surfaces, meets=meets, area=area, settings=settings.scope)
    rates = table_frame("scope_rates", rate_rows(settings.scope.rates), crs=site.crs)
    scope = settings.scope.model_dump(mode="json", exclude={"rates"})
    return Scope(
        scope_phases=stamp(totals, scope_area, geometry_only=geometry_only, **scope),
        cells=stamp(cells, scope_area, geometry_only=geometry_only, **scope),
        test_holes=stamp(holes, scope_area, geometry_only=geometry_only, **scope),
        scope_effort=stamp(effort, scope_area, geometry_only=geometry_only, **scope),
        scope_rates=rates,
        strategy=solved.strategy,
        summary=_facts(site, solved, cells, geometry_only=geometry_only),
        settings=settings,
        equipment=gear,
        site=site,
    )


def _with_area(site: Site, *, everything: bool) -> Site:
    """Return the site with a work area of non-empty polygons."""
    drawn = site.work_area[~(site.work_area.geometry.isna() | site.work_area.geometry.is_empty).to_numpy()]
    if len(drawn):
        return replace(site, work_area=drawn.reset_index(drop=True))
    if not everything:
        message = "no work area in the records: give --work-area FILE, or --everything to take all lines"
        raise InputError(message)
    there = site.lines[~site.lines["status"].isin(GONE).to_numpy()]
    west, south, east, north = there.total_bounds
    if not np.isfinite([west, south, east, north]).all():
        message = "expected lines that are in the ground, got none: all are proposed or removed; check column status"
        raise InputError(message)
    around = shapely.box(west - 1.0, south - 1.0, east + 1.0, north + 1.0)
    return replace(site, work_area=table_frame("work_area", [{"phase": None}], geometry=[around], crs=site.crs))


def _holes(site: Site, phases: list[Phase], settings: Settings) -> gpd.GeoDataFrame:
    whole = dict(zip(site.lines["line_id"], site.lines.geometry, strict=True))
    rows = [
        row
        for phase in phases
        for row in holes_in(phase.meets, phase.against, phase=phase.name, whole=whole, settings=settings.scope)
    ]
    return holes_table(rows, site.surfaces, settings=settings.scope)


def _with_holes(cells: gpd.GeoDataFrame, grid: Grid, holes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Count in each cell the holes that the likely estimate counts."""
    likely = holes[holes["counted_from"].ne("high").to_numpy()]
    at = grid.cells_of(shapely.get_coordinates(likely.geometry.to_numpy()))
    counted = np.bincount(at, minlength=len(cells))
    cells["test_holes"] = pd.array(counted, dtype="Int64")
    return cells


def _facts(site: Site, solved: Solved, cells: gpd.GeoDataFrame, *, geometry_only: bool) -> dict[str, Any]:
    """Return what the summary tells, as data that JSON can hold."""
    accounts = site.accounting[["features_in", "used", "set_aside", "repaired"]].sum()
    gone = site.lines[site.lines["status"].isin(GONE).to_numpy()]
    states = cells["state"].value_counts()
    return {
        **{key: int(accounts[key]) for key in ("features_in", "used", "set_aside", "repaired")},
        "cells": {state: int(states.get(state, 0)) for state in CELL_STATES},
        "geometry_only": geometry_only,
        "windows": solved.windows,
        "windows_solved": len(solved.extents),
        "sections": max((extent.sections for extent in solved.extents), default=0),
        "leaving_share": round(max((extent.leaving_share for extent in solved.extents), default=0.0), 4),
        "frequencies_hz": list(solved.frequencies_hz),
        "cases": list(dict.fromkeys(name for extent in solved.extents for name in extent.cases)),
        "surfaces": len(site.surfaces),
        "gone_lines": int(gone.intersects(site.work_area.geometry.union_all()).sum()),
        "phases": int(site.work_area["phase"].nunique()),
        "whole": ALL,
    }
