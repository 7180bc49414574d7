"""The set-ups of all windows as one plan: numbered in walking order, shared out to crews, between two sweeps."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.frames import table_frame
from corridor.plan.setups.cover import trade_off
from corridor.plan.setups.crews import share_out
from corridor.plan.setups.describe import SetUpKey, key_of
from corridor.plan.setups.frequencies import colour_frequencies
from corridor.plan.setups.order import Route, walking_order
from corridor.plan.setups.streets import ways_near
from corridor.plan.setups.window import WindowPlan
from corridor.settings import Settings
from corridor.site import Site

__all__ = ["Arranged", "arrange"]

Row = dict[str, Any]

SECONDS_PER_MIN = 60.0
VERIFY_TOLD = 5
MOST_TRADED = 40  # set-ups: beyond, the curve is flat and each point takes seconds
NEIGHBOURS_M = 100.0  # set-ups of different windows this near are taken to reach each other
_SWEEP = (
    "sweep the whole work area for lines that no record shows: passively, and with an induced tone along lines in two"
    " directions; whatever is heard and not on record is marked as unknown and told to the planner"
)
_ONCE_MORE = "the same once more, with the tone of each set-up switched off"
_OUTPUT = {
    "direct": "output {level_ma:g} mA",
    "clamp": "output for {level_ma:g} mA on the line",
    "induction": "output for up to {level_ma:g} mA on the line",
}
_CAUTION = "a sweep finds only what carries tone: silence doesn't mean free ground"


@dataclass(frozen=True)
class Arranged:
    """The tables of a plan, and its facts in plain data."""

    strategy: gpd.GeoDataFrame
    setups: gpd.GeoDataFrame
    expected_readings: gpd.GeoDataFrame
    reading_causes: gpd.GeoDataFrame
    field_checks: gpd.GeoDataFrame
    verify_first: gpd.GeoDataFrame
    trade_off: gpd.GeoDataFrame
    facts: dict[str, Any]


def arrange(
    site: Site,
    strategy: gpd.GeoDataFrame,
    plans: Sequence[WindowPlan],
    *,
    area: Polygon | MultiPolygon | None,
    settings: Settings,
) -> Arranged:
    """Put the set-ups of all windows in order.

    Parameters
    ----------
    site : Site
        Its lines stand for the streets.
    strategy : GeoDataFrame
        Table ``strategy`` of all windows.
    plans : sequence of WindowPlan
        One a window.
    area : Polygon or MultiPolygon, optional
        The work area, to be swept.
    settings : Settings
        Crews, walking, seed.

    Returns
    -------
    Arranged
    """
    rows = _merged(plans)
    keys = list(rows)
    where = np.array([shapely.get_coordinates(rows[key]["geometry"])[0] for key in keys]).reshape(-1, 2)
    ways = site.lines.geometry if area is None else site.lines.geometry[site.lines.intersects(area)]
    route = walking_order(where, ways_near(where, ways), seed=settings.seed)
    plan = settings.plan
    shares = share_out(
        route.order,
        route.legs_m,
        np.full(len(keys), plan.setup_minutes),
        plan.crews,
        walk_m_per_min=plan.walking_m_per_s * SECONDS_PER_MIN,
    )
    names = {keys[k]: f"S{n}" for n, k in enumerate(route.order, start=1)}
    _walk(rows, keys, route, shares.parts)
    conflicts = _conflicts(keys, shares.crew, where, plans=plans, reach_nt=plan.interference_nt)
    _colour(rows, names, plans, conflicts=conflicts, crews=plan.crews)
    hints = {
        hookup_id: str(hint)
        for part in plans
        if len(part.stakes)
        for hookup_id, hint in zip(part.stakes["hookup_id"], part.stakes["hint"], strict=True)
    }
    setups = _setup_table(site, rows, names, area=area, crews=plan.crews, hints=hints)
    filled = strategy.copy()
    pairs = zip(strategy["hookup_id"], strategy["frequency_hz"], strict=True)
    filled["setup_id"] = [names.get(key_of(*pair)) if isinstance(pair[0], str) else None for pair in pairs]
    verify = _verify(plans)
    traded = _traded(plans, settings) if any(row.choice and row.choice.ensemble.draws for row in plans) else []
    facts = _facts(plans) | {
        "setups": len(keys),
        "hookups": len({hookup_id for hookup_id, _ in keys}),
        "targets_m": round(float(strategy["length_m"].sum()), 1),
        "readable_m": round(sum(row["readable_m"] for row in rows.values()), 1),
        "verify_first": [[row["unknown"], round(row["gain_m"], 1)] for row in verify if row["stands_out"]][
            :VERIFY_TOLD
        ],
        "walk_m": round(float(route.legs_m.sum()), 1),
        "minutes": [round(float(m), 1) for m in shares.minutes],
        "crews_note": shares.note,
    }
    return Arranged(
        filled,
        setups,
        _table("expected_readings", (row for plan in plans for row in plan.rows.readings), names, site),
        _table("reading_causes", (row for plan in plans for row in plan.rows.causes), names, site),
        _table("field_checks", (row for plan in plans for row in plan.rows.checks), names, site),
        table_frame("verify_first", verify, crs=site.crs),
        table_frame("trade_off", traded, crs=site.crs),
        facts,
    )


def _merged(plans: Sequence[WindowPlan]) -> dict[SetUpKey, Row]:
    """Return one row for each hook-up and frequency: windows that overlap may both use it."""
    rows: dict[SetUpKey, Row] = {}
    for row in (row for plan in plans for row in plan.rows.setups):
        before = rows.get(row["key"])
        if before is None:
            rows[row["key"]] = dict(row)
            continue
        both = set(before["covers"].split()) | set(row["covers"].split())
        before["covers"] = " ".join(sorted(both))
        before["level_ma"] = max(before["level_ma"], row["level_ma"])
        for name in ("stretches", "length_m", "readable_m"):
            before[name] += row[name]
    return rows


def _walk(rows: Mapping[SetUpKey, Row], keys: Sequence[SetUpKey], route: Route, parts: Sequence[NDArray[Any]]) -> None:
    """Enter crew, step and the way from the step before."""
    leg_before = dict(zip(route.order[1:].tolist(), route.legs_m.tolist(), strict=True))
    for crew, part in enumerate(parts, start=1):
        for step, number in enumerate(part.tolist(), start=1):
            row = rows[keys[number]]
            row["crew"], row["step"] = crew, step + 1  # the first step is the sweep
            row["walk_m"] = leg_before.get(number) if step > 1 else None


def _conflicts(
    keys: Sequence[SetUpKey],
    crew: NDArray[np.int64],
    where: NDArray[np.float64],
    *,
    plans: Sequence[WindowPlan],
    reach_nt: float,
) -> set[tuple[int, int, float]]:
    """Return the pairs of different crews, and the frequencies at which one's tone reaches the other's receiver."""
    found: set[tuple[int, int, float]] = set()
    for a, b in combinations(range(len(keys)), 2):
        if crew[a] != crew[b]:
            apart_m = float(np.hypot(*(where[a] - where[b])))
            found |= {(a, b, f) for f in _reached((keys[a], keys[b]), plans, apart_m=apart_m, reach_nt=reach_nt)}
    return found


def _reached(
    pair: tuple[SetUpKey, SetUpKey], plans: Sequence[WindowPlan], *, apart_m: float, reach_nt: float
) -> set[float]:
    """Return the frequencies at which the tone of one set-up reaches the receiver of the other, either way."""
    crowds = [plan.crowd for plan in plans if plan.crowd is not None]
    for crowd in crowds:
        if pair[0] in crowd.keys and pair[1] in crowd.keys:
            i, j = (crowd.keys.index(key) for key in pair)
            heard = np.maximum(crowd.reach_nt[i, j], crowd.reach_nt[j, i]) >= reach_nt
            return {crowd.frequencies_hz[f] for f in np.flatnonzero(heard)}
    if apart_m > NEIGHBOURS_M:
        return set()
    return {f for crowd in crowds for f in crowd.frequencies_hz}


def _colour(
    rows: Mapping[SetUpKey, Row],
    names: Mapping[SetUpKey, str],
    plans: Sequence[WindowPlan],
    *,
    conflicts: set[tuple[int, int, float]],
    crews: int,
) -> None:
    """Choose frequencies for crews that work at the same time, and enter the others that would do."""
    keys = list(rows)
    allowed = {key: [key[1]] for key in keys}
    for crowd in (plan.crowd for plan in plans if plan.crowd is not None):
        for own, choices in zip(crowd.keys, crowd.allowed, strict=True):
            allowed[own] = [crowd.frequencies_hz[f] for f in choices]
    for key in keys:
        rows[key]["also_frequencies"] = " ".join(f"{f:g}" for f in allowed[key][1:]) or None
    if crews > 1:
        known = {(a, b, f) for a, b, f in conflicts if f in allowed[keys[a]] and f in allowed[keys[b]]}
        coloured = colour_frequencies([allowed[key] for key in keys], sorted(known))
        for k, key in enumerate(keys):
            rows[key]["crew_frequency_hz"] = float(coloured.frequency_hz[k])
            rows[key]["not_with"] = " ".join(sorted(names[keys[other]] for other in coloured.not_with[k])) or None


def _setup_table(
    site: Site,
    rows: Mapping[SetUpKey, Row],
    names: Mapping[SetUpKey, str],
    *,
    area: Polygon | MultiPolygon | None,
    crews: int,
    hints: Mapping[str, str],
) -> gpd.GeoDataFrame:
    made = [{"setup_id": names[key], **row} for key, row in rows.items()]
    made.sort(key=lambda row: (row["crew"], row["step"]))
    for row in made:
        row["note"] = "; ".join(text for text in (_what_to_do(row), hints.get(row["hookup_id"], "")) if text)
    last = max((row["step"] for row in made), default=1) + 1
    shape = site.lines.geometry.union_all() if area is None else area
    sweep: Row = {"kind": "sweep", "caution": _CAUTION, "geometry": shape.representative_point()}
    sweep["crew"] = None if crews > 1 else 1
    first = sweep | {"setup_id": "sweep-first", "step": 1, "note": _SWEEP}
    end = sweep | {"setup_id": "sweep-last", "step": last, "note": _ONCE_MORE}
    together = [first, *made, end]
    shapes = [row.pop("geometry") for row in together]
    plain = [{name: value for name, value in row.items() if name != "key"} for row in together]
    return table_frame("setups", plain, geometry=shapes, crs=site.crs)


def _what_to_do(row: Row) -> str:
    at = f"at {row['structure_id']}" if isinstance(row["structure_id"], str) else "from the surface"
    how = f"{row['mode']} {at} on {row['line_id']}, {row['frequency_hz']:g} Hz"
    output = _OUTPUT[row["mode"]].format(level_ma=row["level_ma"])
    stake = ""
    if row["stake_distance_m"] is not None and np.isfinite(row["stake_distance_m"]):
        stake = f", ground stake {row['stake_distance_m']:.0f} m away at {row['stake_bearing_deg']:.0f} deg"
    return f"{how}, {output}{stake}; trace {row['covers'].replace(' ', ', ')}"


def _table(name: str, rows: Iterable[Row], names: Mapping[SetUpKey, str], site: Site) -> gpd.GeoDataFrame:
    """Return a table whose rows name their set-up, by set-up in walking order."""
    made = []
    for row in rows:
        if row["key"] in names:
            plain = {column: value for column, value in row.items() if column not in ("key", "values", "geometry")}
            made.append(plain | {"setup_id": names[row["key"]], "geometry": row.get("geometry")})
            if name == "expected_readings":
                made[-1]["frequency_hz"] = row["key"][1]
    made.sort(key=lambda row: int(row["setup_id"][1:]))
    shapes = [row.pop("geometry") for row in made]
    return table_frame(name, made, geometry=shapes, crs=site.crs)


def _verify(plans: Sequence[WindowPlan]) -> list[Row]:
    """Add the gains of the windows up, and rank what is open; what can't be told from chance comes after."""
    found: dict[str, Row] = {}
    for row in (row for plan in plans for row in plan.verify):
        before = found.setdefault(row["unknown"], row | {"gain_m": 0.0, "chance_m": 0.0, "stands_out": False})
        before["gain_m"] += row["gain_m"]
        before["chance_m"] += row["chance_m"]
        before["stands_out"] |= row["stands_out"]
    ranked = sorted(found.values(), key=lambda row: (not row["stands_out"], -round(row["gain_m"], 2), row["unknown"]))
    return [row | {"rank": rank} for rank, row in enumerate(ranked, start=1)]


def _traded(plans: Sequence[WindowPlan], settings: Settings) -> list[Row]:
    """Return the best that each number of set-ups can do, over all windows (their curves joined by the best split)."""
    curve = np.zeros(1)
    utmost = 0.0
    for plan in plans:
        if plan.choice is None:
            continue
        options = plan.choice.options
        best = np.nan_to_num(options.worth, nan=0.0).max(axis=1, initial=0.0)
        utmost += float(options.pieces.length_m @ best)
        most = min(max(len(plan.rows.setups), 1), MOST_TRADED)
        steps = trade_off(
            options.pieces.length_m,
            options.worth,
            preference=options.preference,
            most=most,
            time_limit_s=settings.plan.solver_seconds,
        )
        own = np.array([0.0, *(length for _, length in steps)])
        sums = np.full(len(curve) + len(own) - 1, -np.inf)
        for number, length in enumerate(own):
            part = slice(number, number + len(curve))
            sums[part] = np.maximum(sums[part], curve + length)
        curve = sums
    return [
        {"setups": number, "readable_m": float(length), "share_of_best": float(length / utmost) if utmost else None}
        for number, length in enumerate(curve[1:], start=1)
    ]


def _facts(plans: Sequence[WindowPlan]) -> Row:
    """Return the sums of the windows' facts."""
    told = [plan.facts for plan in plans if plan.facts]
    sums: Row = {
        name: sum(facts[name] for facts in told)
        for name in ("options", "chosen", "used", "greedy", "worth_m", "greedy_worth_m")
    }
    gaps = [facts["gap"] for facts in told if facts["gap"] is not None]
    return sums | {
        "gap": max(gaps, default=None),
        "proven": all(facts["proven"] for facts in told),
        "draws": max((facts["draws"] for facts in told), default=0),
        "drawn": any(plan.choice is not None and plan.choice.ensemble.draws is not None for plan in plans),
    }
