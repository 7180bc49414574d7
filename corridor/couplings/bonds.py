"""Bonds: the recorded ones, and those that shared structures and code practice suggest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.couplings.inferred import KINDS, UTILITIES, Held, suggested_bonds, within_utility, word_numbers
from corridor.couplings.places import JOINT_REACH_M, conducts, isolating_places, lines_at, meetings
from corridor.couplings.recorded import EARTH, PROBABILITY, RESISTANCE_OHM, Recorded, recorded_bonds
from corridor.couplings.rules import RULES
from corridor.couplings.segments import sorted_with
from corridor.couplings.twins import twin_ties
from corridor.dictionary import RESULT_TABLES
from corridor.frames import empty_table, stamp, table_frame
from corridor.settings import Settings
from corridor.site.materials import materials
from corridor.site.model import Site

__all__ = ["BOND_COLUMNS", "EARTH", "PROBABILITY", "bonds_among", "find_bonds"]

Ints = NDArray[np.int64]
Columns = dict[str, NDArray[Any]]

BOND_COLUMNS = ("line_id", "utility", "asset", "material", "status", "conductive", "nominal_voltage_v")


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
    return bonds_among(site, sorted_with(site.lines, BOND_COLUMNS), settings or Settings())


def bonds_among(site: Site, lines: gpd.GeoDataFrame, settings: Settings) -> gpd.GeoDataFrame:
    """Return what ``find_bonds`` does; lines as ``sorted_with`` gives them, with ``BOND_COLUMNS``."""
    recorded = recorded_bonds(site, lines)
    inferred = _inferred(site, lines, recorded, settings)
    columns = _stacked([recorded.columns, inferred, _columns(twin_ties(site, settings=settings.site))])
    if not len(columns.get("point", ())):
        return stamp(empty_table("bonds_found", site.crs), find_bonds)
    points = columns.pop("point")
    frame = table_frame("bonds_found", columns, geometry=points, crs=site.crs)
    return stamp(frame, find_bonds, structure_reach_m=settings.site.structure_reach_m)


def _columns(rows: list[dict[str, Any]]) -> Columns:
    """Return rows that have the same names as columns."""
    names = rows[0] if rows else ()
    return {name: np.array([row[name] for row in rows] + [None], dtype=object)[:-1] for name in names}


def _stacked(parts: list[Columns]) -> Columns:
    """Return parts of one table, one after the other; what a part doesn't have is NaN there."""
    parts = [part for part in parts if part]
    if len(parts) == 1 and parts[0].keys() <= {"point", *RESULT_TABLES["bonds_found"].names}:
        return dict(parts[0])
    out: Columns = {}
    for name in dict.fromkeys(name for part in parts for name in part):
        whole = np.concatenate(
            [part.get(name, np.full(len(part["point"]), np.nan)).astype(object) for part in parts]
        )  # fmt: skip
        known = name == "point" or name in RESULT_TABLES["bonds_found"].names
        out[name] = whole if known else pd.Series(whole.tolist()).to_numpy()  # owners' columns: their types
    return out


@dataclass(frozen=True)
class _Structures:
    """Structures where a rule may apply, ordered by id; shape (k,) all, ``number`` the same for the same id."""

    ids: NDArray[Any]
    number: Ints
    kind: Ints
    points: NDArray[Any]

    @classmethod
    def of(cls, site: Site) -> _Structures:
        kinds = word_numbers(site.structures["kind"], KINDS)
        rows = np.flatnonzero(kinds >= 0)
        ids = site.structures["structure_id"].astype(str).to_numpy(dtype=object)[rows]
        order = np.argsort(ids, kind="stable")
        rows, ids = rows[order], ids[order]
        number = np.cumsum(np.r_[False, ids[1:] != ids[:-1]][: len(ids)])
        return cls(ids, number, kinds[rows], site.structures.geometry.to_numpy()[rows])

    def numbers_of(self, ids: NDArray[Any]) -> Ints:
        """Return the numbers of ids, -1 where there is none; shape (k,)."""
        first = np.flatnonzero(np.diff(self.number, prepend=-1))
        return np.asarray(pd.Index(self.ids[first], dtype=object).get_indexer(ids), dtype=np.int64)


def _inferred(site: Site, lines: gpd.GeoDataFrame, recorded: Recorded, settings: Settings) -> Columns:
    """Return columns of the rows that the rules suggest, and their points; none where there are none."""
    reach_m = settings.site.structure_reach_m
    places = _Structures.of(site)
    rows = np.flatnonzero(conducts(lines) & _metal(lines))
    if not len(places.ids) or not len(rows):
        return {}
    held = _held(site, lines, rows, places, reach_m=reach_m)
    bonded = _bonded(recorded, places, reach_m)
    joined = _joined(lines, held, settings.site.snap_m, bonded=bonded)
    found = suggested_bonds(held, joined=joined, bonded=bonded, reach_m=reach_m)
    order = np.lexsort((found.b, found.a, found.rule))  # nearly that of the ids
    rule, a, b = found.rule[order], found.a[order], found.b[order]
    line_a, line_b, point = held.line[a], held.line[b], held.point[a]
    bond_id = _bond_ids(lines, places, (rule, point, line_a, line_b))
    order = np.argsort(bond_id, kind="stable")
    rule, line_a, line_b, point = rule[order], line_a[order], line_b[order], point[order]
    ids = lines["line_id"].to_numpy(dtype=object)
    named = {name: np.array([getattr(rule, name) for rule in RULES], dtype=object)[rule]
             for name in ("name", "kind", "evidence", "source")}  # fmt: skip
    return {
        "bond_id": bond_id[order],
        "line_a": ids[line_a],
        "line_b": ids[line_b],
        "structure_id": places.ids[point],
        "kind": named["kind"],
        "state": np.full(len(rule), "unknown", dtype=object),
        "resistance_ohm": np.full(len(rule), RESISTANCE_OHM),
        "evidence": named["evidence"],
        "probability": np.array([rule.probability for rule in RULES])[rule],
        "measure_a_m": held.measure_m[a[order]],
        "measure_b_m": held.measure_m[b[order]],
        "rule": named["name"],
        "source": named["source"],
        "point": places.points[point],
    }


def _bond_ids(lines: gpd.GeoDataFrame, places: _Structures, rows: tuple[Ints, Ints, Ints, Ints]) -> NDArray[Any]:
    """Name bonds by rule, structure and both lines, parted by tildes."""
    rule, point, line_a, line_b = rows
    ids = lines["line_id"].to_numpy(dtype=object)
    ruled = np.array([f"{rule.name}~" for rule in RULES], dtype=object)
    first, number = np.unique(point, return_inverse=True)
    placed = places.ids[first] + "~"
    return np.asarray(ruled[rule] + placed[number] + (ids[line_a] + "~") + ids[line_b])


def _held(site: Site, lines: gpd.GeoDataFrame, rows: Ints, places: _Structures, *, reach_m: float) -> Held:
    """Return which metal lines are at which structures, two or more at each; without those isolated there."""
    at = lines_at(lines[[lines.geometry.name]].iloc[rows], places.points, reach_m=reach_m)
    point, line = at["point"].to_numpy(), rows[at["line"].to_numpy()]
    keep = np.ones(len(point), dtype=bool)
    isolating = isolating_places(site)
    if len(isolating):
        barred = places.numbers_of(isolating["structure_id"].astype(str).to_numpy(dtype=object))
        row_of = pd.Index(lines["line_id"].to_numpy(dtype=object))
        lone = row_of.get_indexer(isolating["line_id"].to_numpy(dtype=object))
        keep = ~np.isin(places.number[point] * len(lines) + line, barred * len(lines) + lone)
    keep &= np.bincount(point[keep], minlength=len(places.ids))[point] > 1
    point, line = point[keep], line[keep]
    return Held(
        structure=places.number[point],
        kind=places.kind[point],
        point=point,
        line=line,
        utility=word_numbers(lines["utility"], UTILITIES)[line],
        cable=(lines["asset"] == "cable").to_numpy(dtype=bool)[line],
        measure_m=at["measure_m"].to_numpy()[keep],
        end=at["end"].to_numpy()[keep],
    )


def _joined(lines: gpd.GeoDataFrame, held: Held, snap_m: float, *, bonded: Ints) -> Ints:
    """Return the lines that meet at a structure, where that makes a difference: its number and both; shape (m, 3)."""
    held = held.only(within_utility(held) | np.isin(held.structure, bonded[:, 0]))
    if not len(held.line):
        return np.empty((0, 3), np.int64)
    rows = np.unique(held.line)
    met = meetings(lines.iloc[rows], snap_m=snap_m)
    line, other = rows[met["line_a"]], rows[met["line_b"]]
    order = np.argsort(held.line, kind="stable")
    begins = np.searchsorted(held.line[order], line)
    count = np.searchsorted(held.line[order], line, side="right") - begins
    meeting = np.repeat(np.arange(len(line)), count)
    place = order[np.arange(count.sum()) - np.repeat(np.cumsum(count) - count - begins, count)]
    near = np.abs(held.measure_m[place] - met["measure_a_m"].to_numpy()[meeting]) <= JOINT_REACH_M + snap_m
    place, one, two = place[near], line[meeting[near]], other[meeting[near]]
    here = np.isin(held.point[place] * len(lines) + two, held.point * len(lines) + held.line)
    return np.column_stack((held.structure[place], np.minimum(one, two), np.maximum(one, two)))[here]


def _bonded(recorded: Recorded, places: _Structures, reach_m: float) -> Ints:
    """Return the lines with a recorded bond that names a structure or stands within reach of it; as ``_joined``."""
    if not len(recorded):
        return np.empty((0, 3), np.int64)
    stated = np.array([str(name or "") for name in recorded.columns["structure_id"]], dtype=object)
    number = places.numbers_of(stated)
    number[stated == ""] = -1
    bond, point = shapely.STRtree(places.points).query(recorded.columns["point"], predicate="dwithin", distance=reach_m)
    bond, number = np.r_[np.arange(len(recorded)), bond], np.r_[number, places.number[point]]
    pairs = np.column_stack((number, recorded.line_a[bond], recorded.line_b[bond]))
    return pairs[(pairs >= 0).all(axis=1)]


def _metal(lines: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Tell which lines are metal themselves: a tracer wire along a plastic pipe is bonded to nothing by rule."""
    plastic = lines["material"].isin(_nonmetals()) & (lines["asset"] != "cable")
    return (~plastic & (lines["asset"] != "tracer_wire")).to_numpy(dtype=bool)


@cache
def _nonmetals() -> frozenset[str]:
    return frozenset(name for name, material in materials().items() if material.metal is None) - {"unknown"}
