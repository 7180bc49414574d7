"""What locating takes, low, likely and high: set-ups, hours, days by number of crews, closures and test holes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np

from corridor.scope.meets import Meets
from corridor.settings import Estimate, ScopeRates, ScopeSettings

__all__ = ["Work", "effort_rows", "rate_rows", "work_in"]

Row = dict[str, Any]
Triple = tuple[float, float, float]

_SOLVED_SHARE = 0.999  # of the length that must be graded for set-ups to rest on the engine alone
_TIERS = ("low", "likely", "high")
_MIN_PER_H = 60.0


@dataclass(frozen=True)
class Work:
    """What there is to do in one phase.

    Attributes
    ----------
    setups : int
        Different hook-ups and frequencies that the engine chose for its stretches.
    shown_m, not_shown_m, not_shown_worst_m : float
        Length graded readable or pulled in the nominal case, not so graded, and not so in the worst case.
    open_metal_m, open_silent_m : float
        Length that wasn't graded: of lines that may carry tone, and of lines that don't by their records.
    area_m2 : float
    holes : tuple of float
        Test holes, low, likely, high.
    """

    setups: int
    shown_m: float
    not_shown_m: float
    not_shown_worst_m: float
    open_metal_m: float
    open_silent_m: float
    area_m2: float
    holes: Triple

    @property
    def basis(self) -> str:
        """What the set-ups rest on."""
        graded, open_m = self.shown_m + self.not_shown_m, self.open_metal_m + self.open_silent_m
        if graded == 0:
            return "rates"
        return "computed" if graded >= _SOLVED_SHARE * (graded + open_m) else "computed in part, the rest by rates"


def work_in(meets: Meets, holes: gpd.GeoDataFrame, *, area_m2: float) -> Work:
    """Return what there is to do for what an area meets.

    Parameters
    ----------
    meets : Meets
    holes : GeoDataFrame
        Test holes in it.
    area_m2 : float
    """
    stretches, lines = meets.stretches, meets.lines
    length = stretches["length_in_m"]
    chosen = stretches.dropna(subset=["hookup_id"])
    graded = stretches.groupby("line_id")["length_in_m"].sum().reindex(lines["line_id"]).fillna(0.0).to_numpy()
    rest = np.maximum(lines["length_in_m"].to_numpy() - graded, 0.0)
    rest[rest < 0.1] = 0.0  # slivers at the edge have no stretch
    silent = lines["conductive"].eq("no").to_numpy()
    tier = holes["counted_from"].value_counts()
    low, likely, high = (float(tier.get(name, 0)) for name in _TIERS)
    return Work(
        setups=len(chosen[["hookup_id", "frequency_hz"]].drop_duplicates()),
        shown_m=float(length[stretches["shown"]].sum()),
        not_shown_m=float(length[~stretches["shown"]].sum()),
        not_shown_worst_m=float(length[~stretches["shown_worst"]].sum()),
        open_metal_m=float(rest[~silent].sum()),
        open_silent_m=float(rest[silent].sum()),
        area_m2=area_m2,
        holes=(low, low + likely, low + likely + high),
    )


def effort_rows(work: Work, closures: list[Row], *, settings: ScopeSettings) -> list[Row]:
    """Return the rows of ``scope_effort`` for one phase, without its name.

    Parameters
    ----------
    work : Work
    closures : list of dict
        Rows for its closures, which follow.
    settings : ScopeSettings
        Rates, and up to how many crews days are told.

    Returns
    -------
    list of dict
        Set-ups, crew hours, working days for each number of crews, test holes and their hours, closures and theirs.
    """
    rates = settings.rates
    setups = _each(lambda k: float(np.ceil(round(_setups(work, rates, k), 6))))
    hours = _each(lambda k: _crew_hours(work, setups, rates, k))
    hole_hours = _each(lambda k: work.holes[k] * _at(rates.test_hole_hours, k))
    rows = [
        _row("setups", setups, work.basis),
        _row("crew_hours", hours, f"set-ups {work.basis}; hours by rates", unit="h"),
        _row("test_holes", work.holes, "places in the layer test_holes"),
        _row("test_hole_hours", hole_hours, "rates", unit="h"),
    ]
    for crews in range(1, settings.crews_most + 1):
        low, likely, high = (_half_days(one / (rates.day_hours * crews)) for one in hours)
        said = f"crew hours over {rates.day_hours:g} h a day, in half days"
        rows.append(_row("working_days", (low, likely, high), said, unit="days", crews=crews))
    return [*rows, *closures]


def rate_rows(rates: ScopeRates) -> list[Row]:
    """Return the rows of ``scope_rates``: every rate used, and whether it is a default."""
    plain = ScopeRates()
    rows: list[Row] = []
    for name in ScopeRates.model_fields:
        value, default = getattr(rates, name), getattr(plain, name)
        if not isinstance(value, dict):
            rows.append(_rate_row(name, None, value, value == default))
            continue
        rows += [_rate_row(name, kind, one, default.get(kind) == one) for kind, one in sorted(value.items())]
    return rows


def _rate_row(name: str, surface: str | None, value: Estimate | float, own: bool) -> Row:
    three = _each(lambda k: _at(value, k)) if isinstance(value, Estimate) else (value, value, value)
    source = "estimate, no source" if own else "settings"
    return {"rate": name, "surface": surface, **dict(zip(_TIERS, three, strict=True)), "source": source}


def _setups(work: Work, rates: ScopeRates, k: int) -> float:
    """Return the set-ups of one estimate: those computed, and by length where nothing was; some are made again."""
    by_length = work.open_metal_m / 100.0 * _at(rates.setups_per_100m, k)
    return (work.setups + np.ceil(round(by_length, 6))) * (1.0 + _at(rates.repeat_share, k))


def _crew_hours(work: Work, setups: Triple, rates: ScopeRates, k: int) -> float:
    """Return the hours of a locating crew in one estimate: set-ups, tracing, other methods where tone fails, sweeps.

    The high estimate takes the grades of the worst case.
    """
    unseen_m = work.open_metal_m * min(_at(rates.not_shown_share, k), 1.0)
    hidden_m = max(work.not_shown_m, work.not_shown_worst_m) if _TIERS[k] == "high" else work.not_shown_m
    other_m = hidden_m + work.open_silent_m + unseen_m
    traced_m = work.shown_m + work.not_shown_m - hidden_m + work.open_metal_m - unseen_m
    minutes = (
        setups[k] * _at(rates.setup_minutes, k)
        + traced_m / 100.0 * _at(rates.trace_minutes_per_100m, k)
        + other_m / 100.0 * _at(rates.other_minutes_per_100m, k)
        + work.area_m2 / 1000.0 * _at(rates.sweep_minutes_per_1000m2, k)
    )
    return minutes / _MIN_PER_H


def _at(rate: Estimate, k: int) -> float:
    return float((rate.low, rate.likely, rate.high)[k])


def _each(value: Callable[[int], float]) -> Triple:
    return value(0), value(1), value(2)


def _half_days(days: float) -> float:
    return float(np.ceil(round(2.0 * days, 6)) / 2.0)


def _row(what: str, value: Triple, basis: str, *, unit: str | None = None, crews: int | None = None) -> Row:
    return {"what": what, "crews": crews, "unit": unit, "basis": basis, **dict(zip(_TIERS, value, strict=True))}
