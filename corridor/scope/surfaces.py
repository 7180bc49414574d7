"""Surfaces above a dig: on which of them lines are traced and holes dug, and what has to be closed for that."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corridor.scope.meets import Meets
from corridor.settings import Estimate, ScopeRates

__all__ = ["UNKNOWN", "OnSurface", "closure_rows", "closures_of_all", "surfaces_under"]

Row = dict[str, Any]
Triple = tuple[float, float, float]

UNKNOWN = "not known"
_SLIVER_M = 0.01  # of line on ground that no surface covers: less is rounding


@dataclass(frozen=True)
class OnSurface:
    """What is done on one kind of surface with one closure: line traced, m, and test holes by estimate."""

    kind: str
    closure: str | None
    traced_m: float
    holes: Triple


def surfaces_under(
    meets: Meets, holes: gpd.GeoDataFrame, surfaces: gpd.GeoDataFrame, *, area: BaseGeometry
) -> list[OnSurface]:
    """Return what is done on each surface of a phase, by kind and closure.

    Parameters
    ----------
    meets : Meets
        What the phase meets.
    holes : GeoDataFrame
        Its test holes.
    surfaces : GeoDataFrame
        Table ``surfaces``; without rows nothing is known.
    area : Polygon or MultiPolygon
        The phase.

    Returns
    -------
    list of OnSurface
        The last one, of kind ``not known``, is ground that no surface covers or whose kind isn't stated.
    """
    lines = meets.lines.geometry.to_numpy()
    inside = surfaces[surfaces.intersects(area).to_numpy()]
    kinds = [kind if isinstance(kind, str) else UNKNOWN for kind in inside["kind"]]
    closures = [closure if isinstance(closure, str) else None for closure in inside["closure"]]
    grounds: dict[tuple[str, str | None], list[BaseGeometry]] = {}
    for kind, closure, shape in zip(kinds, closures, inside.geometry, strict=True):
        grounds.setdefault((kind, closure), []).append(shape)
    found: list[OnSurface] = []
    covered = 0.0
    for (kind, closure), shapes in sorted(grounds.items(), key=lambda item: (item[0][0], item[0][1] or "")):
        ground = shapely.intersection(shapely.union_all(shapes), area)
        traced = _length_in(lines, ground)
        covered += traced
        found.append(OnSurface(kind, closure, traced, _holes_in(holes, ground)))
    rest_m = float(shapely.length(lines).sum()) - covered
    if rest_m > _SLIVER_M:
        known = shapely.union_all(inside.geometry.to_numpy())
        outside = tuple(a - b for a, b in zip(_holes_in(holes, area), _holes_in(holes, known), strict=True))
        found.append(OnSurface(UNKNOWN, None, rest_m, (outside[0], outside[1], outside[2])))
    return [one for one in found if one.traced_m > _SLIVER_M or one.holes[2] > 0]


def closure_rows(under: list[OnSurface], rates: ScopeRates) -> list[Row]:
    """Return rows of ``scope_effort`` for closures and their hours on each surface, and their sums.

    A surface whose kind has no rate, and ground of which no surface is known, has NULL; then the sums are NULL too.
    """
    rows: list[Row] = []
    sums: dict[str, list[Triple | None]] = {"closures": [], "closure_hours": []}
    for one in under:
        counted = _closures(one, rates)
        hours = _hours(one, counted, rates)
        basis = "rates" if counted else f"not known: no rate for the surface {one.kind}"
        if one.kind == UNKNOWN:
            basis = "not known: no surface on record there"
        for what, value in (("closures", counted), ("closure_hours", hours)):
            sums[what].append(value)
            rows.append(_row(what, value, basis, surface=one.kind, closure=one.closure))
    for what, values in sums.items():
        known = [value for value in values if value is not None]
        whole = len(known) == len(values) and bool(values)
        total = tuple(float(sum(value[k] for value in known)) for k in range(3)) if whole else None
        basis = "rates" if whole else "not known: no surfaces on record" if not values else "not known on all surfaces"
        rows.append(_row(what, None if total is None else (total[0], total[1], total[2]), basis))
    return rows


def closures_of_all(phases: list[list[Row]]) -> list[Row]:
    """Add up the rows of several phases by what, surface and closure; NULL where a phase has none known."""
    found: dict[tuple[str, str, str], list[Row]] = {}
    for row in (row for rows in phases for row in rows):
        found.setdefault((row.get("surface") or "", row.get("closure") or "", row["what"]), []).append(row)
    added = []
    for key in sorted(found, key=lambda key: (key[0] == "", key)):
        rows = found[key]
        missing = [row for row in rows if row["low"] is None]
        sums = {tier: None if missing else sum(row[tier] for row in rows) for tier in ("low", "likely", "high")}
        added.append(rows[0] | sums | {"basis": (missing or rows)[0]["basis"]})
    return added


def _row(what: str, value: Triple | None, basis: str, **more: Any) -> Row:
    low, likely, high = value or (None, None, None)
    unit = "h" if what.endswith("hours") else None
    return {"what": what, "low": low, "likely": likely, "high": high, "unit": unit, "basis": basis, **more}


def _closures(one: OnSurface, rates: ScopeRates) -> Triple | None:
    """Return how many closures: by length traced and by holes, each rounded up."""
    by_length, by_hole = rates.closures_per_100m.get(one.kind), rates.closures_per_hole.get(one.kind)
    if by_length is None or by_hole is None:
        return None
    counts = [
        float(np.ceil(round(one.traced_m / 100.0 * a, 6)) + np.ceil(round(hole * b, 6)))
        for a, hole, b in zip(_three(by_length), one.holes, _three(by_hole), strict=True)
    ]
    return counts[0], counts[1], counts[2]


def _hours(one: OnSurface, counted: Triple | None, rates: ScopeRates) -> Triple | None:
    each = rates.closure_hours.get(one.kind)
    if each is None or counted is None:
        return None
    low, likely, high = (count * hours for count, hours in zip(counted, _three(each), strict=True))
    return low, likely, high


def _three(rate: Estimate) -> Triple:
    return rate.low, rate.likely, rate.high


def _length_in(lines: Any, ground: BaseGeometry) -> float:
    near = shapely.STRtree(lines).query(ground, predicate="intersects")
    shapely.prepare(ground)
    whole = shapely.contains_properly(ground, lines[near])
    cut = shapely.intersection(lines[near][~whole], ground)
    return float(shapely.length(lines[near][whole]).sum() + shapely.length(cut).sum())


def _holes_in(holes: gpd.GeoDataFrame, ground: BaseGeometry) -> Triple:
    """Return how many holes stand on a ground, by estimate: what low counts, likely counts too."""
    shapely.prepare(ground)
    inside = shapely.intersects(ground, holes.geometry.to_numpy())
    tier = holes["counted_from"].to_numpy(dtype=object)[inside]
    low, likely = int((tier == "low").sum()), int((tier == "likely").sum())
    return float(low), float(low + likely), float(len(tier))
