"""The chosen set-ups in words and figures: what each covers, what it should read, and what to do if it doesn't."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from corridor.constants import MA_PER_A
from corridor.draws import Draws, Unknown
from corridor.errors import DomainError
from corridor.plan.ensemble import LineDraws
from corridor.plan.setups.causes import Cause, rank_causes
from corridor.plan.setups.choice import Choice
from corridor.plan.setups.expected import battery_hours, interval, power_drawn, source_readings
from corridor.plan.setups.fallback import fallbacks
from corridor.plan.setups.telling import told_apart_by
from corridor.settings import Equipment, Settings

__all__ = ["SetUpKey", "SetUpRows", "describe_setups", "key_of"]

SetUpKey = tuple[str, float]
Row = dict[str, Any]
Real = NDArray[np.float64]

CAUSES_SHOWN = 3
CHANCE = 3.0  # standard deviations of a rank correlation: among hundreds of unknowns without effect one goes so far
_STAKE = ("stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m")
READ_AT_SOURCE = {
    "direct": ("source_ma", "source_v", "source_ohm"),
    "clamp": ("clamp_ma",),  # the transmitter shows its own winding, not the line
    "induction": ("clamp_ma",),
}
_SAYS_NOTHING = "the range is wider than ten-fold: this reading tells nothing here"
_HELD = "the source holds it at this output; less means that it can't"
_ONE_IN_FIVE = "one in five good hook-ups lies outside"


@dataclass
class SetUpRows:
    """Rows of ``setups``, ``expected_readings``, ``reading_causes`` and ``field_checks``; setup_id comes later.

    ``key`` in each row names its set-up: hook-up and frequency.
    """

    setups: list[Row] = field(default_factory=list)
    readings: list[Row] = field(default_factory=list)
    causes: list[Row] = field(default_factory=list)
    checks: list[Row] = field(default_factory=list)


def key_of(hookup_id: Any, frequency_hz: Any) -> SetUpKey:
    """Return the key of a set-up."""
    return str(hookup_id), float(frequency_hz)


def describe_setups(
    choice: Choice,
    strategy: gpd.GeoDataFrame,
    ready: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
) -> SetUpRows:
    """Describe the set-ups that a strategy uses.

    Parameters
    ----------
    choice : Choice
    strategy : GeoDataFrame
        Table ``strategy`` of the same window, made from the chosen set-ups.
    ready : GeoDataFrame
        Hook-ups, in the order of the ensemble.
    equipment, settings
        Limits of the source; battery.

    Returns
    -------
    SetUpRows
        In the order of the options.
    """
    options, names = choice.options, ready["hookup_id"].to_numpy(object)
    used: dict[SetUpKey, list[Row]] = {}
    for stretch in pd.DataFrame(strategy.drop(columns="geometry")).to_dict("records"):
        if isinstance(stretch["hookup_id"], str):
            used.setdefault(key_of(stretch["hookup_id"], stretch["frequency_hz"]), []).append(stretch)
    instead = fallbacks(
        options.worth,
        choice.cover.assigned,
        choice.cover.chosen,
        names[options.hookup].tolist(),
        length_m=options.pieces.length_m,
        preference=options.preference,
    )
    rows = SetUpRows()
    for column in choice.columns.tolist():
        hookup = ready.iloc[int(options.hookup[column])]
        key = key_of(hookup["hookup_id"], choice.ensemble.frequencies_hz[options.frequency[column]])
        if key not in used:
            continue
        stretches = used[key]
        second: list[str | None] = [
            _named(choice, names, other.candidate, other.part) for other in instead.get(column, ())
        ]
        second += [None] * (2 - len(second))
        source = _source_rows(choice, column, hookup, equipment=equipment)
        rows.readings += [row | {"key": key} for row in [*source, *_receiver_rows(choice, column, stretches)]]
        rows.causes += [row | {"key": key} for row in _causes(choice, column, ready, source)]
        rows.setups.append(
            {
                "key": key,
                "kind": "setup",
                **{name: hookup[name] for name in ("hookup_id", "mode", "structure_id", "line_id", "ready", "missing")},
                "frequency_hz": key[1],
                "level_ma": float(options.level_a[column] * MA_PER_A),
                "stretches": len(stretches),
                "covers": " ".join(sorted({stretch["line_id"] for stretch in stretches})),
                "length_m": math.fsum(stretch["length_m"] for stretch in stretches),
                "readable_m": math.fsum(
                    stretch["readable_share"] * stretch["length_m"]
                    for stretch in stretches
                    if not math.isnan(stretch["readable_share"])
                ),
                **{name: hookup.get(name) for name in _STAKE},
                "fallback_b": second[0],
                "fallback_c": second[1],
                "go_to_fallback": _trigger(source),
                "caution": hookup["caution"],
                "geometry": hookup.geometry,
                **_power(choice, column, equipment=equipment, settings=settings),
            }
        )
    return rows


def _named(choice: Choice, names: NDArray[np.object_], column: int, part: float) -> str:
    options = choice.options
    frequency = choice.ensemble.frequencies_hz[options.frequency[column]]
    how = f"{frequency:g} Hz, {options.level_a[column] * MA_PER_A:g} mA"
    return f"{names[options.hookup[column]]} at {how} ({min(part, 1.0):.0%} of what this one shows)"


def _source(choice: Choice, column: int) -> tuple[int, int]:
    return int(choice.options.hookup[column]), int(choice.options.frequency[column])


def _hookup_a(choice: Choice, column: int) -> Real:
    return choice.ensemble.sources.hookup_a(*_source(choice, column), float(choice.options.level_a[column]))


def _source_rows(choice: Choice, column: int, hookup: Any, *, equipment: Equipment) -> list[Row]:
    """Return what is read at the source: of a direct connection mA, V and ohm, else the current on the line there."""
    at, level_a = _source(choice, column), choice.options.level_a[column]
    current = _hookup_a(choice, column)
    where: Row = {"line_id": hookup["line_id"], "station_m": float(hookup["at_m"])}
    loop = choice.ensemble.sources.loop_ohm[at]
    if "source_ohm" not in READ_AT_SOURCE[hookup["mode"]] or not np.isfinite(loop).all():
        return [_reading("clamp_ma", "mA", current * MA_PER_A, where)]
    shown = source_readings(loop, choice.ensemble.sources.available_a[at], float(level_a))
    return [
        _reading("source_ma", "mA", shown.current_a * MA_PER_A, where, cap=equipment.transmitter.max_current_ma),
        _reading("source_v", "V", shown.voltage_v, where, cap=equipment.transmitter.max_voltage_v),
        _reading("source_ohm", "ohm", shown.loop_ohm, where),
    ]


def _receiver_rows(choice: Choice, column: int, stretches: list[Row]) -> list[Row]:
    """Return what the receiver should show in the middle of each stretch."""
    rows = []
    for stretch in stretches:
        line = choice.ensemble.lines.get(str(stretch["line_id"]))
        if line is None or choice.options.hookup[column] not in line.drives:
            continue
        middle = int(np.abs(line.stations.measure_m - (stretch["from_m"] + stretch["to_m"]) / 2).argmin())
        where: Row = {"line_id": stretch["line_id"], "station_m": float(line.stations.measure_m[middle])}
        where["geometry"] = _point(line, middle)
        at = (middle, line.drives.index(int(choice.options.hookup[column])), choice.options.frequency[column])
        rows.append(_reading("receiver_ma", "mA", line.inferred[at] * _hookup_a(choice, column) * MA_PER_A, where))
        depth = line.stations.depth_m + line.depth_error_m[at]
        rows.append(_reading("depth_reading_m", "m", depth, where))
    return rows


def _point(line: LineDraws, station: int) -> Any:
    x, y = line.stations.xy_m[station]
    return gpd.points_from_xy([x], [y])[0]


def _reading(kind: str, unit: str, values: Real, where: Mapping[str, Any], *, cap: float | None = None) -> Row:
    sound = np.asarray(values, dtype=np.float64)
    sound = sound[np.isfinite(sound) & (sound >= 0)]  # a depth above ground is none
    row: Row = {"kind": kind, "unit": unit, "values": np.asarray(values, dtype=np.float64), **where}
    if not sound.size:
        return row | {"tells": False, "note": "the receiver would show none in any draw"}
    span = interval(sound, cap=cap)
    note = _HELD if span.low == span.high > 0 else _ONE_IN_FIVE if span.tells else _SAYS_NOTHING
    return row | {
        "expected_low": span.low,
        "expected_high": span.high,
        "stop_below": span.stop_low,
        "stop_above": span.stop_high,
        "tells": span.tells,
        "note": note,
    }


def _trigger(source: list[Row]) -> str | None:
    """Return in one line when to go to the fallback."""
    first = next((row for row in source if row["kind"] in ("source_ohm", "clamp_ma") and row.get("tells")), None)
    if first is None:
        return "go to B if the tone can't be followed along the line; the source's reading tells nothing here"
    if first["stop_below"] == first["stop_above"]:
        return f"go to B if the source can't hold {first['stop_above']:.3g} {first['unit']} on the line"
    what = {"source_ohm": "the loop", "clamp_ma": "the current on the line"}[first["kind"]]
    return (
        f"go to B if {what} reads under {first['stop_below']:.3g} or over {first['stop_above']:.3g} {first['unit']}"
        " and the first causes don't explain it"
    )


def _causes(choice: Choice, column: int, ready: gpd.GeoDataFrame, source: list[Row]) -> list[Row]:
    """Rank what would make the source read lower or higher than its range.

    Of depths, positions and coatings only the hooked-up line's own are looked at: they are redrawn too seldom to tell
    those of a hundred other lines from chance.
    """
    rows: list[Row] = []
    told = next((row for row in source if row["kind"] in ("source_ohm", "clamp_ma")), None)
    draws = choice.ensemble.draws
    if told is None or draws is None or not np.isfinite(told["values"]).all():
        return rows
    names, kinds = [u.name for u in draws.unknowns], [u.kind for u in draws.unknowns]
    own = str(ready["line_id"].iloc[int(choice.options.hookup[column])])
    kept = [k for k, u in enumerate(draws.unknowns) if not u.redraws or not u.line_ids or own in u.line_ids]
    names, kinds = [names[k] for k in kept], [kinds[k] for k in kept]
    states = draws.value[:, kept]
    ranked = rank_causes(told["values"], states, names, kinds)
    about = {u.name: u for u in draws.unknowns}
    loop = np.abs(choice.ensemble.sources.loop_ohm[choice.options.hookup[column]])
    for side, causes in (("lower", ranked.low), ("higher", ranked.high)):
        leading = [cause for cause in causes if cause.stands_out and _goes_with(cause, about[cause.name], draws)]
        leading = leading[:CAUSES_SHOWN]
        apart = None
        if told["kind"] == "source_ohm":
            apart = told_apart_by(loop, states, leading, names, frequencies_hz=choice.ensemble.frequencies_hz)
        for number, cause in enumerate(leading, start=1):
            unknown = about[cause.name]
            rows.append(
                {
                    "kind": told["kind"],
                    "side": side,
                    "rank": number,
                    "cause": _cause_text(cause.name, unknown.switches, upper=cause.upper),
                    "cause_kind": cause.kind,
                    "line_ids": " ".join(unknown.line_ids) or None,
                    "prior": cause.prior,
                    "posterior": cause.posterior,
                    "told_apart_by": apart if number == 1 else None,
                }
            )
    return rows + _wrong_lines(choice, column, ready, told)


def _goes_with(cause: Cause, unknown: Unknown, draws: Draws) -> bool:
    """Tell whether a reading goes with an unknown more than chance gives: what is redrawn seldom has few values."""
    values = draws.n_geometries if unknown.redraws else len(draws.value)
    return abs(cause.correlation) * math.sqrt(max(values - 1, 0)) >= CHANCE


def _cause_text(name: str, switches: bool, *, upper: bool) -> str:
    if switches:
        return f"{name} {'conducts' if upper else 'is open'}"
    return f"{name} is {'higher' if upper else 'lower'} than recorded"


def _wrong_lines(choice: Choice, column: int, ready: gpd.GeoDataFrame, told: Row) -> list[Row]:
    """Name other lines at the same structure that would read outside the range: perhaps the wrong one is hooked up."""
    if "expected_low" not in told:
        return []
    options, sources = choice.options, choice.ensemble.sources
    own = ready.iloc[int(options.hookup[column])]
    same = (ready["structure_id"] == own["structure_id"]) & (ready["mode"] == own["mode"])
    rows: list[Row] = []
    for other in np.flatnonzero((same & (ready["line_id"] != own["line_id"])).to_numpy()).tolist():
        at = (other, int(options.frequency[column]))
        if told["kind"] == "source_ohm":
            reads = float(np.median(np.abs(sources.loop_ohm[at])))
        else:
            reads = float(np.median(sources.hookup_a(*at, float(options.level_a[column])))) * MA_PER_A
        side = "lower" if reads < told["expected_low"] else "higher" if reads > told["expected_high"] else None
        if side is not None:
            line_id = str(ready["line_id"].iloc[other])
            text = f"the wrong line: {line_id} would read about {reads:.3g} {told['unit']}"
            about = {"cause": text, "cause_kind": "wrong line", "line_ids": line_id}
            rows.append({"kind": told["kind"], "side": side, **about})
    return rows


def _power(choice: Choice, column: int, *, equipment: Equipment, settings: Settings) -> Row:
    """Return the power that the source takes, and how long its battery lasts, in the middle of the draws."""
    loop = choice.ensemble.sources.loop_ohm[_source(choice, column)]
    if not np.isfinite(loop).all():
        return {"power_w": None, "battery_h": None}
    try:
        drawn = power_drawn(
            _hookup_a(choice, column), loop, efficiency=settings.plan.efficiency, idle_w=settings.plan.idle_w
        )
    except DomainError:  # a clamp's loop can look active to the line where others feed it
        return {"power_w": None, "battery_h": None}
    power = float(np.median(drawn))
    hours = battery_hours(power, equipment.transmitter.battery_wh)
    return {"power_w": power, "battery_h": None if hours is None else float(hours[0])}
