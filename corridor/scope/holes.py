"""Test holes: where digging by hand or vacuum would settle what neither records nor tone do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from corridor.dictionary.scopes import TIERS
from corridor.frames import table_frame
from corridor.scope.meets import Meets
from corridor.settings import ScopeSettings

__all__ = ["holes_in", "holes_table"]

Row = dict[str, Any]

_CAUTION = "One-call first; by hand or by vacuum in all of the tolerance zone of your local code."
_SETTLES = {
    "not shown by tone": "whether the line is there, its place and depth: tone can't be relied on to show it",
    "carries no tone": "whether the line is there, its place and depth: nothing in it carries tone",
    "mark pulled": "its place and depth where peak or depth is predicted to be off",
    "depth not sure": "whether it lies in the dig: its depth isn't on record, or too vague",
    "grade not sure": "its place and depth: in some cases that the records leave open, tone doesn't show it",
    "crossing clearance not known": "which of the two lies above, and how far apart",
}
_TIER_OF = {  # on the longest part, in the middle, an even number of holes from it
    (True, True, True): "low", (True, False, True): "likely", (True, False, False): "high",
    (False, True, True): "likely", (False, False, True): "high", (False, False, False): "high",
}  # fmt: skip
_RANK = {reason: rank for rank, reason in enumerate(_SETTLES)}


def holes_in(
    meets: Meets, against: NDArray[np.object_], *, phase: str, whole: dict[str, Any], settings: ScopeSettings
) -> list[Row]:
    """Return the candidates for test holes in one phase, unmerged.

    Parameters
    ----------
    meets : Meets
        What the phase meets.
    against : ndarray of str
        `against_dig` of its lines.
    phase : str
        Its name.
    whole : dict of str to LineString
        The lines' whole course by line_id, from which stations are measured.
    settings : ScopeSettings
        How far apart holes on one line stand.
    """
    lines = meets.lines
    names = lines["line_id"].to_numpy(dtype=object)
    dug = {name: state for name, state in zip(names, against, strict=True) if state != "below"}
    depth = dict(zip(names, lines["depth_m"].to_numpy(dtype=np.float64, na_value=np.nan), strict=True))
    found = [*_by_grade(meets, dug, settings), *_without_tone(meets, dug, settings), *_unsure(lines, dug),
             *_crossings(meets.crossings, dug)]  # fmt: skip
    for row in found:
        line = whole[row["line_id"]]
        row |= {"phase": phase, "depth_m": depth[row["line_id"]]}
        row["station_m"] = float(line.project(row["geometry"]))
    return found


def holes_table(rows: list[Row], surfaces: gpd.GeoDataFrame, *, settings: ScopeSettings) -> gpd.GeoDataFrame:
    """Return the table ``test_holes``: candidates near each other made one, the most telling first.

    Parameters
    ----------
    rows : list of dict
        Of all phases, as `holes_in` gives them; a hole that two phases share is told for the first.
    surfaces : GeoDataFrame
        Table ``surfaces``.
    settings : ScopeSettings
        How near is one place.
    """
    ordered = sorted(rows, key=_order)
    kept = _merged(ordered, settings.hole_merge_m)
    points = np.array([row["geometry"] for row in kept], dtype=object)
    under = _surface_at(points, surfaces)
    for number, (row, surface) in enumerate(zip(kept, under, strict=True), start=1):
        row |= {"hole_id": f"H{number}", "surface": surface, "settles": _SETTLES[row["reason"]], "caution": _CAUTION,
                "line_ids": " ".join(sorted(row.pop("settled")))}  # fmt: skip
        row.pop("geometry")
    return table_frame("test_holes", kept, geometry=points, crs=surfaces.crs)


def _order(row: Row) -> tuple[Any, ...]:
    tier, rank = TIERS.index(row["counted_from"]), _RANK[row["reason"]]
    return row["phase"], tier, rank, row["line_id"], round(row["station_m"], 3)


def _merged(rows: list[Row], reach_m: float) -> list[Row]:
    """Keep the first of several candidates of one phase so near to each other; it settles something of all."""
    kept: list[Row] = []
    if not rows:
        return kept
    xy = np.array([(row["geometry"].x, row["geometry"].y) for row in rows])
    near = cKDTree(xy).query_ball_point(xy, reach_m)
    holder: dict[int, Row] = {}
    for number, row in enumerate(rows):
        before = sorted(k for k in near[number] if k in holder and holder[k]["phase"] == row["phase"])
        if before:
            holder[before[0]]["settled"] |= row["settled"]
            continue
        own = row | {"settled": set(row["settled"])}
        holder[number] = own
        kept.append(own)
    return kept


def _by_grade(meets: Meets, dug: dict[str, str], settings: ScopeSettings) -> Iterator[Row]:
    """Holes on stretches that tone doesn't show, or shows in the wrong place; what adjoins on a line is one stretch."""
    stretches = meets.stretches
    hidden = ~stretches["shown"].to_numpy(dtype=bool)
    pulled = stretches["grade"].eq("pulled").to_numpy()
    doubtful = ~(hidden | pulled | stretches["shown_worst"].to_numpy(dtype=bool))
    for line_id, shapes in _joined(stretches[hidden]):
        if line_id in dug:
            yield from _along(line_id, shapes, "not shown by tone", settings)
    for chosen, reason, tier in ((pulled, "mark pulled", "likely"), (doubtful, "grade not sure", "high")):
        for line_id, shapes in _joined(stretches[chosen]):
            if line_id in dug:
                yield from (_in_the_middle(line_id, shape, reason, tier) for shape in shapes)


def _joined(stretches: gpd.GeoDataFrame) -> Iterator[tuple[str, Sequence[Any]]]:
    """Return the stretches of each line, those that adjoin made one."""
    for line_id, own in stretches.groupby("line_id", sort=True):
        whole = shapely.line_merge(shapely.union_all(own.geometry.to_numpy()))
        yield str(line_id), list(shapely.get_parts(whole))


def _without_tone(meets: Meets, dug: dict[str, str], settings: ScopeSettings) -> Iterator[Row]:
    """Holes on lines of which the records say that they carry no tone, where nothing was computed for them."""
    lines = meets.lines
    silent = lines["conductive"].eq("no").to_numpy() & ~lines["line_id"].isin(meets.stretches["line_id"]).to_numpy()
    for line_id, shape in zip(lines["line_id"][silent], lines.geometry[silent], strict=True):
        if line_id in dug:
            yield from _along(line_id, list(shapely.get_parts(shape)), "carries no tone", settings)


def _along(line_id: str, shapes: Sequence[Any], reason: str, settings: ScopeSettings) -> Iterator[Row]:
    """Set holes evenly along the parts of a line, all in one phase.

    The one in the middle of the longest part always counts; the middle of any other, and every other hole of the
    longest, is likely; the rest are the most.
    """
    for rank, part in enumerate(sorted(shapes, key=lambda part: -part.length)):
        count = max(1, int(np.ceil(part.length / settings.hole_spacing_m - 1e-9)))
        middle = count // 2
        for number in range(count):
            tier = _TIER_OF[rank == 0, number == middle, (number - middle) % 2 == 0]
            spot = part.interpolate((number + 0.5) / count, normalized=True)
            yield {"line_id": line_id, "reason": reason, "counted_from": tier, "geometry": spot, "settled": {line_id}}


def _unsure(lines: gpd.GeoDataFrame, dug: dict[str, str]) -> Iterator[Row]:
    """One hole on each line of which it isn't sure whether it lies in the dig."""
    for line_id, shape in zip(lines["line_id"], lines.geometry, strict=True):
        if dug.get(line_id) == "unsure":
            yield _in_the_middle(line_id, shape, "depth not sure", "likely")


def _in_the_middle(line_id: str, shape: Any, reason: str, tier: str) -> Row:
    longest = max(shapely.get_parts(shape), key=lambda part: part.length)
    spot = longest.interpolate(0.5, normalized=True)
    return {"line_id": line_id, "reason": reason, "counted_from": tier, "geometry": spot, "settled": {line_id}}


def _crossings(crossings: pd.DataFrame, dug: dict[str, str]) -> Iterator[Row]:
    """Holes where two lines of the dig cross and the records don't say how far apart."""
    blind = crossings[crossings["clearance_m"].isna().to_numpy()]
    for line_a, line_b, spot in zip(blind["line_a"], blind["line_b"], blind.geometry, strict=True):
        if line_a in dug and line_b in dug:
            yield {"line_id": line_a, "reason": "crossing clearance not known", "counted_from": "high",
                   "geometry": spot, "settled": {line_a, line_b}}  # fmt: skip


def _surface_at(points: NDArray[Any], surfaces: gpd.GeoDataFrame) -> list[str | None]:
    """Return the kind of surface at each point; of several the first by name."""
    found: list[str | None] = [None] * len(points)
    if surfaces.empty or not len(points):
        return found
    kinds = surfaces["kind"].to_numpy(dtype=object)
    point, surface = shapely.STRtree(surfaces.geometry.to_numpy()).query(points, predicate="intersects")
    stated = ((n, k) for n, k in zip(point.tolist(), kinds[surface], strict=True) if isinstance(k, str))
    for number, kind in sorted(stated):
        found[number] = found[number] or kind
    return found
