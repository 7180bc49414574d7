"""Bonds: the recorded ones, and those that shared structures and code practice suggest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.couplings.inferred import Held, suggested_bonds, within_utility
from corridor.couplings.places import JOINT_REACH_M, conducts, isolating_places, lines_at, meetings
from corridor.couplings.rules import RULES
from corridor.couplings.segments import sorted_lines
from corridor.couplings.twins import twin_ties
from corridor.dictionary import RESULT_TABLES
from corridor.frames import empty_table, stamp, table_frame
from corridor.settings import Settings
from corridor.site.materials import materials
from corridor.site.model import Site

__all__ = ["EARTH", "find_bonds"]

Pair = tuple[str, str]  # line_ids, ascending

EARTH = "earth"
RESISTANCE_OHM = 0.01  # of a bond whose resistance nobody stated (engineering estimate)
# chance that a bond of unknown state conducts, where its record gives none (engineering estimates)
PROBABILITY = {"recorded": 0.9, "observed": 0.9, "measured": 0.9, "inferred": 0.5, "suspected": 0.3}


def find_bonds(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Return the recorded bonds of a site and those that its structures suggest; a plan crossing is never one.

    Recorded rows keep their own words, line_a < line_b; one that names a line the site doesn't have is left out. Where
    they state none: evidence is recorded, state is unknown, resistance 0.01 ohm (engineering estimate; none to earth),
    probability by state and evidence.

    Inferred rows follow the rules of ``corridor.couplings.rules``, each with its evidence, probability and source.
    None is made where the pair has a recorded bond (of any state) or already meets, nor for a line isolated at the
    structure, nor twice where two structures stand in one place. Up to six lines at a structure give all pairs, more
    give as many bonds as hold the same lines together. Near-duplicates of two layers get a suspected tie at either end
    of their common length, rule ``near_duplicate``.

    Parameters
    ----------
    site : Site
    settings : Settings, optional
        Part ``site``.

    Returns
    -------
    GeoDataFrame
        Table ``bonds_found`` of the data dictionary: recorded rows first, then inferred ones, then ties of
        near-duplicates, each part ordered by id.

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used.
    """
    used = settings or Settings()
    lines = sorted_lines(site.lines)
    recorded = _recorded(site, lines)
    inferred = _inferred(site, lines, recorded, used)
    ties = twin_ties(site, settings=used.site)
    columns = _stacked(recorded, inferred, ties)
    if not len(columns["point"]):
        return stamp(empty_table("bonds_found", site.crs), find_bonds)
    points = columns.pop("point")
    frame = table_frame("bonds_found", columns, geometry=points, crs=site.crs)
    return stamp(frame, find_bonds, structure_reach_m=used.site.structure_reach_m)


def _stacked(
    before: list[dict[str, Any]], middle: dict[str, NDArray[Any]], after: list[dict[str, Any]]
) -> dict[str, NDArray[Any]]:
    """Return rows, columns and rows as columns of one table; what some don't have is NaN there."""
    names = dict.fromkeys(["point", *(n for row in before for n in row), *middle, *(n for row in after for n in row)])
    count = len(middle.get("point", ()))
    out = {}
    for name in names:
        own = middle.get(name, np.full(count, np.nan, dtype=object))
        rows = [
            np.array([row.get(name, np.nan) for row in part] + [None], dtype=object)[:-1] for part in (before, after)
        ]
        whole = np.concatenate((rows[0], own, rows[1])) if before or after else own
        known = name == "point" or name in RESULT_TABLES["bonds_found"].names
        out[name] = whole if known else pd.Series(whole.tolist()).to_numpy()  # owners' columns: their types
    return out


def _recorded(site: Site, lines: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    if not len(site.bonds):
        return []
    row_of = {name: row for row, name in enumerate(lines["line_id"])}
    shapes = lines.geometry.to_numpy()
    structures = dict(zip(site.structures["structure_id"].astype(str), site.structures.geometry, strict=True))
    rows = []
    for shape, record in zip(site.bonds.geometry, site.bonds.drop(columns="geometry").to_dict("records"), strict=True):
        a, b = sorted((str(record["line_a"]), str(record["line_b"])), key=lambda name: (name == EARTH, name))
        if a not in row_of or (b not in row_of and b != EARTH):
            continue
        place = shape if shape is not None and not shape.is_empty else structures.get(str(record["structure_id"]))
        line_a, line_b = shapes[row_of[a]], None if b == EARTH else shapes[row_of[b]]
        row = _completed({str(key): None if pd.isna(value) else value for key, value in record.items()}, a, b)
        rows.append(row | _placed(line_a, line_b, place))
    return sorted(rows, key=lambda row: str(row["bond_id"]))


def _completed(record: dict[str, Any], line_a: str, line_b: str) -> dict[str, Any]:
    """Give an owner's record the words it leaves out."""
    evidence, state = str(record["evidence"] or "recorded"), str(record["state"] or "unknown")
    row = record | {"line_a": line_a, "line_b": line_b, "evidence": evidence, "state": state}
    row |= {"rule": "recorded", "source": "owner's record"}
    if row["resistance_ohm"] is None and line_b != EARTH:
        row["resistance_ohm"] = RESISTANCE_OHM
    if state == "open":
        row["probability"] = 0.0  # that the path conducts, not that the record is right
    elif row["probability"] is None:
        row["probability"] = 1.0 if state == "closed" else PROBABILITY.get(evidence, 0.5)
    return row


def _placed(line_a: Any, line_b: Any, place: Any) -> dict[str, Any]:
    """Measures on the two lines, and the point: at the place, without one where the lines are nearest."""
    if place is None:
        place = shapely.get_point(line_a, 0) if line_b is None else shapely.shortest_line(line_a, line_b)
    on_a = shapely.get_point(shapely.shortest_line(line_a, place), 0)
    measures = {"measure_a_m": shapely.line_locate_point(line_a, on_a), "measure_b_m": None}
    if line_b is not None:
        on_b = shapely.get_point(shapely.shortest_line(line_b, place), 0)
        measures["measure_b_m"] = shapely.line_locate_point(line_b, on_b)
    return measures | {"point": place if place.geom_type == "Point" else shapely.centroid(place)}


def _inferred(
    site: Site, lines: gpd.GeoDataFrame, recorded: list[dict[str, Any]], settings: Settings
) -> dict[str, NDArray[Any]]:
    """Return columns of the rows that the rules suggest, and their points; none where there are none."""
    reach_m = settings.site.structure_reach_m
    kinds = {kind for rule in RULES for kind in rule.kinds}
    places = site.structures[site.structures["kind"].isin(kinds)]
    places = places.iloc[np.argsort(places["structure_id"].astype(str).to_numpy(dtype=object), kind="stable")]
    rows = np.flatnonzero(conducts(lines) & _metal(lines))
    if not len(places) or not len(rows):
        return {}
    held = _held(site, lines, rows, places, reach_m=reach_m)
    bonded = _bonded(recorded, places, reach_m)
    joined = _joined(lines, held, settings.site.snap_m, bonded=bonded)
    found = suggested_bonds(held, joined=joined, bonded=bonded, reach_m=reach_m)
    a, b = found.a, found.b
    named = {name: np.array([getattr(rule, name) for rule in RULES], dtype=object)[found.rule]
             for name in ("name", "kind", "evidence", "source")}  # fmt: skip
    bond_id = named["name"] + ("~" + held.structure_id[a]) + ("~" + held.line_id[a]) + ("~" + held.line_id[b])
    columns = {
        "bond_id": bond_id,
        "line_a": held.line_id[a],
        "line_b": held.line_id[b],
        "structure_id": held.structure_id[a],
        "kind": named["kind"],
        "state": np.full(len(a), "unknown", dtype=object),
        "resistance_ohm": np.full(len(a), RESISTANCE_OHM),
        "evidence": named["evidence"],
        "probability": np.array([rule.probability for rule in RULES])[found.rule],
        "measure_a_m": held.measure_m[a],
        "measure_b_m": held.measure_m[b],
        "rule": named["name"],
        "source": named["source"],
        "point": places.geometry.to_numpy()[held.point[a]],
    }
    order = np.argsort(bond_id, kind="stable")
    return {name: values[order] for name, values in columns.items()}


def _held(
    site: Site, lines: gpd.GeoDataFrame, rows: NDArray[np.int64], places: gpd.GeoDataFrame, *, reach_m: float
) -> Held:
    """Return which metal lines are at which structures, two or more at each; without those isolated there."""
    at = lines_at(lines.iloc[rows], places.geometry.to_numpy(), reach_m=reach_m)
    point, line = at["point"].to_numpy(), rows[at["line"].to_numpy()]
    structure_id = places["structure_id"].astype(str).to_numpy(dtype=object)
    ids = lines["line_id"].to_numpy(dtype=object)
    isolating = isolating_places(site)
    barred = set(zip(isolating["structure_id"].astype(str), isolating["line_id"], strict=True))
    keep = np.ones(len(at), dtype=bool)
    if barred:
        keep = np.array([pair not in barred for pair in zip(structure_id[point], ids[line], strict=True)], dtype=bool)
    keep &= np.bincount(point[keep], minlength=len(places))[point] > 1
    point, line = point[keep], line[keep]
    return Held(
        structure_id=structure_id[point],
        kind=places["kind"].to_numpy(dtype=object)[point],
        point=point,
        line=line,
        line_id=ids[line],
        utility=lines["utility"].to_numpy(dtype=object)[line],
        asset=lines["asset"].to_numpy(dtype=object)[line],
        measure_m=at["measure_m"].to_numpy()[keep],
        end=at["end"].to_numpy()[keep],
    )


def _joined(
    lines: gpd.GeoDataFrame, held: Held, snap_m: float, *, bonded: Mapping[str, set[Pair]]
) -> dict[str, set[Pair]]:
    """Return, by structure, the pairs of lines at it that meet there, for structures where that makes a difference."""
    held = held.only(within_utility(held) | pd.Index(held.structure_id).isin(bonded.keys()))
    if not len(held.line):
        return {}
    rows = np.unique(held.line)
    met = meetings(lines.iloc[rows], snap_m=snap_m)
    met = pd.DataFrame({"line": rows[met["line_a"]], "other": rows[met["line_b"]], "at_m": met["measure_a_m"]})
    here = pd.DataFrame({"line": held.line, "place": np.arange(len(held.line)), "point": held.point})
    both = met.merge(here, on="line")
    place = both["place"].to_numpy()
    near = np.abs(held.measure_m[place] - both["at_m"].to_numpy()) <= JOINT_REACH_M + snap_m
    width = len(lines)
    near &= np.isin(both["point"].to_numpy() * width + both["other"].to_numpy(), held.point * width + held.line)
    ids = lines["line_id"].to_numpy(dtype=object)
    found: defaultdict[str, set[Pair]] = defaultdict(set)
    for k, other in zip(place[near].tolist(), both["other"].to_numpy()[near].tolist(), strict=True):
        a, b = held.line_id[k], ids[other]
        found[held.structure_id[k]].add((min(a, b), max(a, b)))
    return dict(found)


def _bonded(recorded: list[dict[str, Any]], places: gpd.GeoDataFrame, reach_m: float) -> dict[str, set[Pair]]:
    """Return, by structure, the pairs of lines with a recorded bond that names it or stands within reach of it."""
    found: dict[str, set[Pair]] = defaultdict(set)
    for row in recorded:
        if row["structure_id"]:
            found[str(row["structure_id"])].add((row["line_a"], row["line_b"]))
    if recorded:
        points = np.array([row["point"] for row in recorded], dtype=object)
        near = shapely.STRtree(places.geometry.to_numpy()).query(points, predicate="dwithin", distance=reach_m)
        names = places["structure_id"].astype(str).to_numpy(dtype=object)
        for bond, name in zip(near[0].tolist(), names[near[1]], strict=True):
            row = recorded[bond]
            found[name].add((row["line_a"], row["line_b"]))
    return found


def _metal(lines: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Tell which lines are metal themselves: a tracer wire along a plastic pipe is bonded to nothing by rule."""
    plastic = lines["material"].isin(_nonmetals()) & (lines["asset"] != "cable")
    return (~plastic & (lines["asset"] != "tracer_wire")).to_numpy(dtype=bool)


@cache
def _nonmetals() -> frozenset[str]:
    return frozenset(name for name, material in materials().items() if material.metal is None) - {"unknown"}
