"""Recorded bonds: the owners' own words, completed and placed on their lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.dictionary import INPUT_TABLES
from corridor.site.model import Site

__all__ = ["EARTH", "PROBABILITY", "RESISTANCE_OHM", "Recorded", "recorded_bonds"]

Objects = NDArray[Any]
Ints = NDArray[np.int64]

EARTH = "earth"
RESISTANCE_OHM = 0.01  # of a bond whose resistance nobody stated (engineering estimate)
# chance that a bond of unknown state conducts, where its record gives none (engineering estimates)
PROBABILITY = {"recorded": 0.9, "observed": 0.9, "measured": 0.9, "inferred": 0.5, "suspected": 0.3}


@dataclass(frozen=True)
class Recorded:
    """Recorded bonds of a site, ordered by id; shape (k,) all.

    Attributes
    ----------
    columns : dict of str to ndarray
        As the records have them, completed, with the place as ``point``; empty where there are none.
    line_a, line_b : ndarray of int
        Rows of the lines, -1 for earth.
    """

    columns: dict[str, Objects]
    line_a: Ints
    line_b: Ints

    def __len__(self) -> int:
        return len(self.line_a)


def recorded_bonds(site: Site, lines: gpd.GeoDataFrame) -> Recorded:
    """Return the recorded bonds of a site whose lines are there; ``lines`` as ``sorted_lines`` gives them."""
    none = np.empty(0, np.int64)
    if not len(site.bonds):
        return Recorded({}, none, none)
    given = {name: _values(site.bonds, name) for name in site.bonds.columns if name != "geometry"}
    columns: dict[str, Objects] = {str(name): _known(values) for name, values in given.items()}
    ids = lines["line_id"].to_numpy(dtype=object)
    stated = (np.array([str(name) for name in given[side]], dtype=object) for side in ("line_a", "line_b"))
    columns["line_a"], columns["line_b"] = _ascending(*stated)
    row_a, row_b = (pd.Index(ids).get_indexer(columns[side]) for side in ("line_a", "line_b"))
    to_earth = columns["line_b"] == EARTH
    row_b[to_earth] = -1
    keep = np.flatnonzero((row_a >= 0) & ((row_b >= 0) | to_earth))
    if not len(keep):
        return Recorded({}, none, none)
    names = np.array([str(name) for name in columns["bond_id"][keep]], dtype=object)
    keep = keep[np.argsort(names, kind="stable")]
    shapes = _places(site, np.array(given["structure_id"], dtype=object))
    columns = _completed({name: values[keep] for name, values in columns.items()})
    columns |= _placed(lines.geometry.to_numpy(), row_a[keep], row_b[keep], shapes[keep])
    return Recorded(columns, row_a[keep], row_b[keep])


def _values(bonds: gpd.GeoDataFrame, name: str) -> list[Any]:
    """Return a column as Python's own values; owners' columns may hold numpy's among others."""
    own = name not in INPUT_TABLES["bonds"].names
    values: list[Any] = bonds[[name]].to_dict("list")[name] if own else bonds[name].tolist()
    return values


def _known(values: list[Any]) -> Objects:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    out[pd.isna(out)] = None
    return out


def _ascending(one: Objects, other: Objects) -> tuple[Objects, Objects]:
    """Return both sides so that the first is the lesser, and earth comes last."""
    swap = (one == EARTH) | ((one > other) & (other != EARTH))
    return np.where(swap, other, one), np.where(swap, one, other)


def _places(site: Site, structure_id: Objects) -> Objects:
    """Return each bond's own place, else that of its structure, else none."""
    shapes = site.bonds.geometry.to_numpy().copy()
    lost = np.flatnonzero(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    if len(lost):
        names = site.structures["structure_id"].astype(str).to_numpy(dtype=object)
        place = dict(zip(names, site.structures.geometry.to_numpy(), strict=True))
        shapes[lost] = [place.get(str(name)) for name in structure_id[lost]]
    return np.asarray(shapes, dtype=object)


def _completed(columns: dict[str, Objects]) -> dict[str, Objects]:
    """Give owners' records the words they leave out."""
    count = len(columns["line_a"])
    evidence = [str(value or "recorded") for value in columns["evidence"]]
    state = [str(value or "unknown") for value in columns["state"]]
    resistance, probability = columns["resistance_ohm"], columns["probability"]
    for k in range(count):
        if resistance[k] is None and columns["line_b"][k] != EARTH:
            resistance[k] = RESISTANCE_OHM
        if state[k] == "open":
            probability[k] = 0.0  # that the path conducts, not that the record is right
        elif probability[k] is None:
            probability[k] = 1.0 if state[k] == "closed" else PROBABILITY.get(evidence[k], 0.5)
    words = {"evidence": evidence, "state": state, "rule": ["recorded"] * count, "source": ["owner's record"] * count}
    return columns | {name: np.array(values, dtype=object) for name, values in words.items()}


def _placed(shapes: Objects, row_a: Ints, row_b: Ints, places: Objects) -> dict[str, Objects]:
    """Measures on the two lines, and the point: at the place, without one where the lines are nearest."""
    places = places.copy()
    line_a, line_b, between = shapes[row_a], shapes[row_b], row_b >= 0
    lost = shapely.is_missing(places)
    alone, both = np.flatnonzero(lost & ~between), np.flatnonzero(lost & between)
    places[alone] = shapely.get_point(line_a[alone], 0)
    places[both] = shapely.shortest_line(line_a[both], line_b[both])
    measure_b_m = np.full(len(row_a), None, dtype=object)
    measure_b_m[between] = _measure_m(line_b[between], places[between])
    aside = np.flatnonzero(shapely.get_type_id(places) != shapely.GeometryType.POINT)
    points = places.copy()
    points[aside] = shapely.centroid(places[aside])
    return {"measure_a_m": _measure_m(line_a, places).astype(object), "measure_b_m": measure_b_m, "point": points}


def _measure_m(lines: Objects, places: Objects) -> NDArray[np.float64]:
    nearest = shapely.get_point(shapely.shortest_line(lines, places), 0)
    return np.asarray(shapely.line_locate_point(lines, nearest), dtype=float)
