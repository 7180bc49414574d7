"""Totals by phase of the work area: what each meets, what lies in its dig, and what locating it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corridor.frames import table_frame
from corridor.scope.congestion import shares_of
from corridor.scope.depths import against_dig
from corridor.scope.effort import effort_rows, work_in
from corridor.scope.meets import Meets, clipped, within
from corridor.scope.surfaces import closure_rows, closures_of_all, surfaces_under
from corridor.settings import ScopeSettings

__all__ = ["ALL", "Phase", "phase_tables", "phases_of"]

Row = dict[str, Any]

ALL = "all"
_IN_TABLE = ("setups", "crew_hours", "closures", "closure_hours", "test_holes")
_TIERS = ("low", "likely", "high")


@dataclass(frozen=True)
class Phase:
    """One phase: all polygons of a name, the deepest of their dig depths, and what it meets.

    ``against`` says for each of its lines whether the dig meets it (`against_dig`).
    """

    name: str
    area: BaseGeometry
    dig_depth_m: float | None
    meets: Meets
    against: NDArray[np.object_]


def phases_of(work_area: gpd.GeoDataFrame, meets: Meets, settings: ScopeSettings) -> list[Phase]:
    """Return the phases of a work area by name, each with what it meets.

    Parameters
    ----------
    work_area : GeoDataFrame
        Polygons without a name are one phase of the name ``all`` where none has one, else ``unnamed``.
    meets : Meets
        What the whole area meets.
    settings : ScopeSettings
        Tolerance of the dig depth.
    """
    named = work_area["phase"].map(lambda name: isinstance(name, str)).to_numpy(dtype=bool)
    names = work_area["phase"].where(named, "unnamed" if named.any() else ALL)
    found = []
    for name in sorted(names.unique(), key=_in_order):
        own = work_area[(names == name).to_numpy()]
        depths = own["dig_depth_m"].to_numpy(dtype=np.float64, na_value=np.nan)
        depth = None if np.isnan(depths).any() else float(depths.max())
        area = own.geometry.union_all()
        inside = _inside(meets, area)
        against = against_dig(inside.lines, depth, tolerance_m=settings.depth_tolerance_m)
        found.append(Phase(str(name), area, depth, inside, against))
    return found


def phase_tables(
    phases: list[Phase],
    holes: gpd.GeoDataFrame,
    surfaces: gpd.GeoDataFrame,
    *,
    meets: Meets,
    area: BaseGeometry,
    settings: ScopeSettings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return the tables ``scope_phases`` and ``scope_effort``: all of the work area first, then phase by phase.

    Parameters
    ----------
    phases : list of Phase
    holes : GeoDataFrame
        Table ``test_holes``.
    surfaces : GeoDataFrame
        Table ``surfaces``.
    meets, area
        The whole work area. A line that two phases share counts once in it, a set-up that serves both too; closures
        are the phases' added up.
    settings : ScopeSettings
    """
    depths = {phase.dig_depth_m for phase in phases}
    whole = Phase(ALL, area, depths.pop() if len(depths) == 1 else None, meets, np.empty(0, dtype=object))
    shown = [whole, *(phase for phase in phases if phase.name != ALL)]
    closed = {
        phase.name: closure_rows(
            surfaces_under(phase.meets, _of(phase, holes), surfaces, area=phase.area), settings.rates
        )
        for phase in phases
    }
    closed[ALL] = closures_of_all([closed[phase.name] for phase in phases])
    rows, effort = [], []
    for phase in shown:
        own_holes = holes if phase is whole else _of(phase, holes)
        work = work_in(phase.meets, own_holes, area_m2=float(phase.area.area))
        own = effort_rows(work, closed[phase.name], settings=settings)
        effort += [{"phase": phase.name, **row} for row in own]
        dig = _dig(phases if phase is whole else [phase])
        rows.append(_totals(phase) | dig | _headline(own) | {"basis": work.basis})
    shapes = [phase.area for phase in shown]
    totals = table_frame("scope_phases", rows, geometry=shapes, crs=surfaces.crs)
    return totals, table_frame("scope_effort", effort, crs=surfaces.crs)


def _of(phase: Phase, holes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return holes[holes["phase"].eq(phase.name).to_numpy()]


def _in_order(name: str) -> tuple[int, float, str]:
    """Order names that are numbers by size, before the others."""
    try:
        return 0, float(name), name
    except ValueError:
        return 1, 0.0, name


def _inside(meets: Meets, area: BaseGeometry) -> Meets:
    return Meets(
        clipped(meets.lines, area), clipped(meets.runs, area), within(meets.crossings, area),
        clipped(meets.stretches, area),
    )  # fmt: skip


def _totals(phase: Phase) -> Row:
    lines, length = phase.meets.lines, float(phase.meets.lines["length_in_m"].sum())
    return {
        "phase": phase.name,
        "dig_depth_m": phase.dig_depth_m,
        "area_m2": float(shapely.area(phase.area)),
        "lines": int(lines["line_id"].nunique()),
        "utilities": int(lines["utility"].nunique()),
        "length_m": length,
        "parallel_m": float(phase.meets.runs["length_in_m"].sum()),
        "crossings": len(phase.meets.crossings),
        **shares_of(phase.meets.stretches, length),
    }


def _dig(phases: list[Phase]) -> Row:
    """Return how much lies in the dig, below it, or can't be told, each phase against its own depth."""
    lines = pd.concat([phase.meets.lines[["line_id", "length_in_m"]] for phase in phases], ignore_index=True)
    against = np.concatenate([phase.against for phase in phases])
    length = lines["length_in_m"].to_numpy()
    met = lines["line_id"][against != "below"]
    return {
        "lines_in_dig": int(met.nunique()),
        "in_dig_m": float(length[against == "in"].sum()),
        "depth_unsure_m": float(length[(against == "unsure") | (against == "not stated")].sum()),
        "below_dig_m": float(length[against == "below"].sum()),
    }


def _headline(rows: list[Row]) -> Row:
    """Return the columns of low, likely and high that a phase shows, from its rows without surface and crews."""
    found = {row["what"]: row for row in rows if row.get("surface") is None and row.get("crews") is None}
    return {f"{what}_{tier}": found[what][tier] for what in _IN_TABLE for tier in _TIERS}
