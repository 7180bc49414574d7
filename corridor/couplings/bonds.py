"""Bonds: the recorded ones, and those that shared structures and code practice suggest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from itertools import combinations, groupby
from operator import attrgetter
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from networkx.utils import UnionFind
from numpy.typing import NDArray

from corridor.couplings.places import JOINT_REACH_M, conducts, isolating_places, lines_at, meetings
from corridor.couplings.rules import RULES, BondRule
from corridor.couplings.segments import sorted_lines
from corridor.couplings.twins import twin_ties
from corridor.frames import empty_table, stamp, table_frame
from corridor.settings import Settings
from corridor.site.materials import materials
from corridor.site.model import Site

__all__ = ["EARTH", "find_bonds"]

Pair = tuple[str, str]  # line_ids, ascending

EARTH = "earth"
RESISTANCE_OHM = 0.01  # of a bond whose resistance nobody stated (engineering estimate)
ALL_PAIRS_UP_TO = 6  # lines at one structure; with more, as many bonds as hold the same lines together
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
    columns = [*recorded, *inferred, *twin_ties(site, settings=used.site)]
    if not columns:
        return stamp(empty_table("bonds_found", site.crs), find_bonds)
    points = [row.pop("point") for row in columns]
    frame = table_frame("bonds_found", columns, geometry=points, crs=site.crs)
    return stamp(frame, find_bonds, structure_reach_m=used.site.structure_reach_m)


def _recorded(site: Site, lines: gpd.GeoDataFrame) -> list[dict[str, Any]]:
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
) -> list[dict[str, Any]]:
    reach_m = settings.site.structure_reach_m
    kinds = {kind for rule in RULES for kind in rule.kinds}
    places = site.structures[site.structures["kind"].isin(kinds)]
    places = places.iloc[np.argsort(places["structure_id"].astype(str).to_numpy(dtype=object), kind="stable")]
    metal = lines[conducts(lines) & _metal(lines)]
    if not len(places) or not len(metal):
        return []
    at = lines_at(metal, places.geometry.to_numpy(), reach_m=reach_m)
    ids, utility, asset = (metal[c].to_numpy(dtype=object) for c in ("line_id", "utility", "asset"))
    at["line_id"], at["utility"], at["asset"] = ids[at["line"]], utility[at["line"]], asset[at["line"]]
    at["structure_id"] = places["structure_id"].astype(str).to_numpy(dtype=object)[at["point"]]
    at["kind"] = places["kind"].to_numpy(dtype=object)[at["point"]]
    isolating = isolating_places(site)
    barred = set(zip(isolating["structure_id"].astype(str), isolating["line_id"], strict=True))
    kept = [pair not in barred for pair in zip(at["structure_id"], at["line_id"], strict=True)]
    at = at[np.array(kept, dtype=bool)]  # an empty list would select columns
    joined = _joined(lines, at, settings.site.snap_m)
    bonded = _bonded(recorded, places, reach_m)
    rows = []
    made: defaultdict[tuple[str, str, str], list[float]] = defaultdict(list)
    points = places.geometry.to_numpy()
    # rows of one structure stand together; as tuples, since a town has thousands of structures
    for structure, group in groupby(at.itertuples(index=False), key=attrgetter("structure_id")):
        here = sorted(group, key=attrgetter("line_id"))
        if len(here) < 2:
            continue
        point = points[here[0].point]
        measure = {row.line_id: row.measure_m for row in here}
        settled = _settled(measure, joined.get(structure, set()), bonded.get(structure, set()))
        for rule in RULES:
            for a, b in _pairs(rule, here, settled):
                # several owners may record one building: its bond is one all the same
                known = made[rule.name, a, b]
                if not any(abs(measure[a] - at_m) <= reach_m for at_m in known):
                    known.append(measure[a])
                    rows.append(_row(rule, structure, (a, b), (measure[a], measure[b])) | {"point": point})
    return sorted(rows, key=lambda row: str(row["bond_id"]))


def _row(rule: BondRule, structure_id: str, pair: tuple[str, str], measures: tuple[float, float]) -> dict[str, Any]:
    return {
        "bond_id": f"{rule.name}~{structure_id}~{pair[0]}~{pair[1]}",
        "line_a": pair[0],
        "line_b": pair[1],
        "structure_id": structure_id,
        "kind": rule.kind,
        "state": "unknown",
        "resistance_ohm": RESISTANCE_OHM,
        "evidence": rule.evidence,
        "probability": rule.probability,
        "measure_a_m": measures[0],
        "measure_b_m": measures[1],
        "rule": rule.name,
        "source": rule.source,
    }


def _settled(names: Iterable[str], joined: set[Pair], bonded: set[Pair]) -> set[Pair]:
    """Return the pairs at a structure that need no rule: those that meet, and those whose bond is on record.

    Lines that meet are one conductor there: a bond that is recorded for one of them settles all of them.
    """
    here = sorted(names)
    one: Any = UnionFind(here)
    for a, b in joined:
        if a in here and b in here:
            one.union(a, b)
    known = {(one[a], one[b]) for a, b in bonded if a in here and b in here}
    known |= {(b, a) for a, b in known}
    return {(a, b) for a, b in combinations(here, 2) if one[a] == one[b] or (one[a], one[b]) in known}


def _pairs(rule: BondRule, here: Sequence[Any], settled: set[Pair]) -> Iterator[Pair]:
    """Yield the pairs of lines at one structure, sorted by line_id, that a rule bonds, in the order of their ids."""
    if here[0].kind not in rule.kinds:
        return
    wanted = {*rule.first, *rule.second}
    utility = {
        row.line_id: row.utility
        for row in here
        if row.utility in wanted and (row.end or rule.passing) and (row.asset == "cable" or not rule.cables)
    }
    held: Any = UnionFind(utility)
    for a, b in combinations(utility, 2):
        one_way = utility[a] in rule.first and utility[b] in rule.second
        other_way = utility[b] in rule.first and utility[a] in rule.second
        if not (one_way or other_way) or (a, b) in settled:
            continue
        if len(utility) > ALL_PAIRS_UP_TO and held[a] == held[b]:
            continue
        held.union(a, b)
        yield a, b


def _joined(lines: gpd.GeoDataFrame, at: pd.DataFrame, snap_m: float) -> dict[str, set[Pair]]:
    """Return, by structure, the pairs of lines that meet at it."""
    ids = lines["line_id"].to_numpy(dtype=object)
    places: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for structure_id, line_id, measure_m in at[["structure_id", "line_id", "measure_m"]].itertuples(index=False):
        places[line_id].append((structure_id, measure_m))
    found: dict[str, set[Pair]] = defaultdict(set)
    for row in meetings(lines, snap_m=snap_m).itertuples(index=False):
        a, b = ids[row.line_a], ids[row.line_b]
        for structure_id, measure_m in places.get(a, ()):
            if abs(measure_m - row.measure_a_m) <= JOINT_REACH_M + snap_m:
                found[structure_id].add((min(a, b), max(a, b)))
    return found


def _bonded(recorded: list[dict[str, Any]], places: gpd.GeoDataFrame, reach_m: float) -> dict[str, set[Pair]]:
    """Return, by structure, the pairs of lines with a recorded bond that names it or stands within reach of it."""
    found: dict[str, set[Pair]] = defaultdict(set)
    for row in recorded:
        if row["structure_id"]:
            found[str(row["structure_id"])].add((row["line_a"], row["line_b"]))
    if recorded:
        points = np.array([row["point"] for row in recorded], dtype=object)
        near = shapely.STRtree(places.geometry.to_numpy()).query(points, predicate="dwithin", distance=reach_m)
        for bond, place in near.T:
            row = recorded[bond]
            found[str(places["structure_id"].iloc[place])].add((row["line_a"], row["line_b"]))
    return found


def _metal(lines: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Tell which lines are metal themselves: a tracer wire along a plastic pipe is bonded to nothing by rule."""
    plastic = lines["material"].isin(_nonmetals()) & (lines["asset"] != "cable")
    return (~plastic & (lines["asset"] != "tracer_wire")).to_numpy(dtype=bool)


@cache
def _nonmetals() -> frozenset[str]:
    return frozenset(name for name, material in materials().items() if material.metal is None) - {"unknown"}
