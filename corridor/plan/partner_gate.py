"""The gate on bleed partners: what the solution predicts on others' plant, and on metal that people can touch.

It comes after the hazard gate, which looks at records only and stays first: it can take readiness away, never give it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.constants import MA_PER_A
from corridor.plan.gate import CLOSED_ACCESS
from corridor.settings import SafetySettings
from corridor.site.model import Site
from corridor.tone.model import ToneModel
from corridor.tone.solve import ToneSolution
from corridor.tone.touch import TouchRows, touch_rows

__all__ = ["gate_partners", "partner_limits", "with_partner_gate"]

Array = NDArray[np.float64]

NAMED = 3  # lines and structures told of one hook-up; the others are counted
_PROTECTED = "cathodic_protection"
_COLUMNS = ["hookup_id", "frequency_hz", "level_ma", "ready", "missing", "excess"]


class _Limit(NamedTuple):
    value: float
    why: str


@dataclass(frozen=True)
class _Place:
    """Metal of one line at one structure."""

    name: str
    line_id: str
    at_m: float
    beside: tuple[tuple[float, float], ...]
    limit: _Limit


@dataclass(frozen=True)
class _Found:
    """Worst predictions of one kind: value over (things, hook-ups, frequencies, levels), with limits of the things."""

    names: tuple[str, ...]
    limits: tuple[_Limit, ...]
    value: Array

    @cached_property
    def excess(self) -> Array:
        """Value over limit."""
        return self.value / np.array([limit.value for limit in self.limits]).reshape(-1, 1, 1, 1)


def gate_partners(
    solutions: ToneSolution | Sequence[ToneSolution],
    ready: pd.DataFrame,
    site: Site,
    *,
    levels_ma: Sequence[float],
    safety: SafetySettings,
) -> pd.DataFrame:
    """Find the hook-ups whose tone would be too much for others' plant, or for people at accessible metal.

    Parameters
    ----------
    solutions : ToneSolution or sequence of ToneSolution
        Of the same hook-ups at the same frequencies; the worst case of all of them counts.
    ready : DataFrame
        Rows of the table ``hookups`` in the order of the solutions' drives.
    site : Site
        Its lines tell the utilities, its structures and terminations where metal can be touched.
    levels_ma : sequence of float
        Outputs that can be set, mA.
    safety : SafetySettings
        The limits.

    Returns
    -------
    DataFrame
        A row a hook-up, frequency and level, in this order: hookup_id, frequency_hz, level_ma, ready, missing (a
        sentence for each of the worst three, the worst first), excess (the largest of predicted over limit; at most 1
        where ready). A source that can't push a level is judged at what it can push.
    """
    every = [solutions] if isinstance(solutions, ToneSolution) else list(solutions)
    levels = np.array(sorted(levels_ma), dtype=float)
    if not every or not len(ready) or not levels.size:
        return pd.DataFrame(columns=_COLUMNS)
    limits: dict[str, Any] = {"levels": levels, "safety": safety}
    found = [_currents(every, ready, site, **limits), _voltages(every, site, **limits)]
    frequencies = every[0].frequencies_hz
    excess = np.concatenate([part.excess for part in found])
    worst = excess.max(axis=0, initial=0.0)
    hookups = ready["hookup_id"].to_numpy(object)
    index = np.indices(worst.shape).reshape(3, -1)
    said = [_missing(found, tuple(place)) if worst[tuple(place)] > 1.0 else "" for place in index.T]
    return pd.DataFrame(
        {
            "hookup_id": hookups[index[0]],
            "frequency_hz": np.array(frequencies)[index[1]],
            "level_ma": levels[index[2]],
            "ready": worst.ravel() <= 1.0,
            "missing": said,
            "excess": worst.ravel(),
        },
        columns=_COLUMNS,
    )


def with_partner_gate(hookups: gpd.GeoDataFrame, verdicts: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the table ``hookups``, not ready where no level at any frequency is.

    Parameters
    ----------
    hookups : GeoDataFrame
        Left as it is.
    verdicts : DataFrame
        Of `gate_partners`, of one network or of several, one after another; where they differ, the worst counts.

    Returns
    -------
    GeoDataFrame
        The same rows; ``missing`` is that of the frequency and level nearest to the limits, ``reason`` names the rule.
    """
    out = hookups.copy()
    if verdicts.empty:
        return out
    setting = ["hookup_id", "frequency_hz", "level_ma"]
    worst = verdicts.sort_values([*setting, "excess"], kind="stable").drop_duplicates(setting, keep="last")
    caught = worst[~worst.groupby("hookup_id")["ready"].transform("any").to_numpy(bool)]
    if caught.empty:
        return out
    least = caught.sort_values(["hookup_id", "excess", "frequency_hz", "level_ma"], kind="stable")
    said = least.drop_duplicates("hookup_id").set_index("hookup_id")["missing"]
    hit = out["hookup_id"].isin(said.index) & (out["ready"] == "ready")
    out.loc[hit, "missing"] = out.loc[hit, "hookup_id"].map(said)
    out.loc[hit, "reason"] = "bleed_partner: predicted beyond the limits of safety at every frequency and output"
    out.loc[hit, "ready"] = "not_ready"
    return out


def partner_limits(lines: pd.DataFrame, safety: SafetySettings) -> dict[str, tuple[float, str]]:
    """Return for each line that has one its limit in mA, the strictest of those that fit, and what it is, in words.

    Parameters
    ----------
    lines : DataFrame
        Table ``lines``.
    safety : SafetySettings
        Limits by utility, and for cathodic protection.
    """
    limits = safety.partner_limit_ma.model_dump()
    protected = limits.pop(_PROTECTED)
    found: dict[str, tuple[float, str]] = {}
    for row in lines[["line_id", "utility", _PROTECTED]].to_dict("records"):
        fitting = []
        if row["utility"] in limits:
            fitting.append((limits[row["utility"]], f"{str(row['utility']).replace('_', ' ')} plant"))
        if row[_PROTECTED] == "yes":
            fitting.append((protected, "plant under cathodic protection"))
        if fitting:
            found[str(row["line_id"])] = min(fitting)
    return found


def _currents(
    solutions: Sequence[ToneSolution], ready: pd.DataFrame, site: Site, *, levels: Array, safety: SafetySettings
) -> _Found:
    """Largest current on each line that has a limit; the target's own isn't looked at."""
    limits = partner_limits(site.lines, safety)
    names = sorted(set(limits) & {name for solution in solutions for name in solution.model.line_ids})
    value = np.zeros((len(names), len(ready), len(solutions[0].frequencies_hz), levels.size))
    for solution in solutions:
        for number, name in enumerate(names):
            own = solution.model.sections_of(name)
            if own.size:
                peaks = (np.abs(solution.results[key].current_a[own]).max(axis=0) for key in _keys(solution))
                _raise_to(value[number], solution, peaks, levels)
    value *= MA_PER_A
    value[np.array(names, dtype=object)[:, None] == ready["line_id"].to_numpy(object)] = 0.0
    return _Found(tuple(names), tuple(_Limit(*limits[name]) for name in names), value)


def _voltages(solutions: Sequence[ToneSolution], site: Site, *, levels: Array, safety: SafetySettings) -> _Found:
    """Largest voltage between metal at each structure and the soil beside it."""
    known = {name for solution in solutions for name in solution.model.line_ids}
    places = [place for place in _places(site, safety) if place.line_id in known]
    shape = (len(solutions[0].drives), len(solutions[0].frequencies_hz), levels.size)
    value = np.zeros((len(places), *shape))
    for solution in solutions:
        inside = [k for k, place in enumerate(places) if place.line_id in solution.model.line_ids]
        if not inside:
            continue
        sides = np.repeat(inside, [len(places[k].beside) for k in inside])
        worst = np.zeros((sides.size, *shape))
        rows = _rows(solution, [places[k] for k in inside])
        volts = [
            np.abs(rows[case.resistivity_ohm_m(solution.soil)].volts(solution.results[f, case.name].leak_a, f))
            for f in solution.frequencies_hz
            for case in solution.cases
        ]
        for side in range(sides.size):
            _raise_to(worst[side], solution, (part[side] for part in volts), levels)
        np.maximum.at(value, sides, worst)
    names = tuple(f"{place.line_id} at {place.name}" for place in places)
    return _Found(names, tuple(place.limit for place in places), value)


def _keys(solution: ToneSolution) -> Iterator[tuple[float, str]]:
    return ((f, case.name) for f in solution.frequencies_hz for case in solution.cases)


def _raise_to(out: Array, solution: ToneSolution, per_ampere: Iterator[Array], levels: Array) -> None:
    """Raise ``out`` (hook-ups, frequencies, levels) to what each case gives, per ampere of hook-up current."""
    column = {f: number for number, f in enumerate(solution.frequencies_hz)}
    for key, amount in zip(_keys(solution), per_ampere, strict=True):
        output = np.minimum(levels[None, :] / MA_PER_A, solution.results[key].available_a[:, None])
        np.maximum(out[:, column[key[0]]], amount[:, None] * output, out=out[:, column[key[0]]])


def _places(site: Site, safety: SafetySettings) -> list[_Place]:
    """Return where metal can be touched: terminations, but for those that the record says can't be connected to."""
    structures = site.structures.drop_duplicates("structure_id").set_index("structure_id", drop=False)
    lines = site.lines.drop_duplicates("line_id").set_index("line_id").geometry
    met = site.terminations
    met = met[met["structure_id"].isin(structures.index) & met["line_id"].isin(lines.index) & (met["direct"] != "no")]
    places = []
    for row in met.drop_duplicates(["structure_id", "line_id"]).sort_values(["structure_id", "line_id"]).itertuples():
        structure, shape = structures.loc[row.structure_id], lines.loc[row.line_id]
        closed = structure["access"] in CLOSED_ACCESS
        limit = _Limit(
            safety.touch_v if closed else safety.touch_public_v,
            "behind a door or fence" if closed else "where the public can reach",
        )
        at_m = float(shape.project(structure.geometry))
        beside = _beside(shape, at_m, structure.geometry, safety.touch_distance_m)
        places.append(_Place(str(row.structure_id), str(row.line_id), at_m, beside, limit))
    return places


def _beside(
    line: shapely.LineString, at_m: float, point: shapely.Point, distance_m: float
) -> tuple[tuple[float, float], ...]:
    """Return the places to both sides of a point, square to the line."""
    here, there = line.interpolate(max(at_m - 0.5, 0.0)), line.interpolate(min(at_m + 0.5, line.length))
    x, y = there.x - here.x, there.y - here.y
    size = math.hypot(x, y)
    return tuple((point.x - side * y / size, point.y + side * x / size) for side in (distance_m, -distance_m))


def _rows(solution: ToneSolution, places: Sequence[_Place]) -> dict[float, TouchRows]:
    """Prepare the voltages for every soil among the cases, at the middle of the run's frequencies."""
    model: ToneModel = solution.model
    sections = [model.section_at(place.line_id, place.at_m) for place in places for _ in place.beside]
    surface = [xy for place in places for xy in place.beside]
    middle = math.sqrt(min(solution.frequencies_hz) * max(solution.frequencies_hz))
    soils = sorted({case.resistivity_ohm_m(solution.soil) for case in solution.cases})
    return {
        rho: touch_rows(model, sections, surface, frequency_hz=middle, resistivity_ohm_m=rho, soil=solution.soil)
        for rho in soils
    }


def _missing(found: Sequence[_Found], place: tuple[Any, ...]) -> str:
    """Say what is missing at one hook-up, frequency and level, worst first."""
    hits = []
    for part, sentence in zip(found, (_partner_text, _touch_text), strict=True):
        excess = part.excess[(slice(None), *place)]
        hits += [
            (-excess[k], part.names[k], sentence(part.names[k], part.value[(k, *place)], part.limits[k]))
            for k in np.flatnonzero(excess > 1.0)
        ]
    hits.sort()
    texts = [text for _, _, text in hits[:NAMED]]
    if len(hits) > NAMED:
        texts.append(f"{len(hits) - NAMED} more beyond their limits")
    return "; ".join(texts)


def _partner_text(name: str, value: float, limit: _Limit) -> str:
    return f"ask the owner of {name}: {value:.3g} mA predicted on {limit.why}, limit {limit.value:g} mA"


def _touch_text(name: str, value: float, limit: _Limit) -> str:
    return (
        f"ask the owner of {name}: {value:.3g} V predicted between its metal and the soil beside it, "
        f"limit {limit.value:g} V {limit.why}"
    )
