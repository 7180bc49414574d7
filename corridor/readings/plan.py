"""What the readings need to know of the plan: its set-ups and hook-ups, whoever made them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import geopandas as gpd
import pandas as pd

from corridor.errors import InputError
from corridor.plan.prepare import hookup_of
from corridor.settings import Equipment, Settings
from corridor.tone.hookup import HookUp

__all__ = ["PlanLike", "PlanTables", "SetUp", "set_ups_of"]

NEEDED = ("setup_id", "hookup_id", "frequency_hz", "level_ma")


class PlanLike(Protocol):
    """A plan: the tables ``setups`` and ``hookups``, and what they were made with."""

    @property
    def setups(self) -> gpd.GeoDataFrame:
        """A row a set-up: setup_id, kind, hookup_id, frequency_hz, level_ma."""

    @property
    def hookups(self) -> gpd.GeoDataFrame:
        """Table ``hookups``."""

    @property
    def settings(self) -> Settings:
        """Settings of the plan."""

    @property
    def equipment(self) -> Equipment:
        """Its equipment."""


@dataclass(frozen=True)
class PlanTables:
    """A plan as read back from its files."""

    setups: gpd.GeoDataFrame
    hookups: gpd.GeoDataFrame
    settings: Settings
    equipment: Equipment


@dataclass(frozen=True)
class SetUp:
    """One set-up that puts tone on a line: where, how, and with what."""

    setup_id: str
    hookup: HookUp
    frequency_hz: float
    level_ma: float


def set_ups_of(plan: PlanLike) -> dict[str, SetUp | None]:
    """Return the plan's set-ups by id; None for a sweep, which has no tone of its own.

    Raises
    ------
    InputError
        If a column is missing, or a set-up names a hook-up that the plan doesn't have.
    """
    setups, hookups = plan.setups, plan.hookups
    if lost := [name for name in NEEDED if name not in setups]:
        message = f"expected the columns {', '.join(NEEDED)} in the plan's set-ups, {lost[0]!r} is missing"
        raise InputError(message)
    known = {str(row["hookup_id"]): row for row in hookups.to_dict("records")}
    found: dict[str, SetUp | None] = {}
    for row in setups.to_dict("records"):
        name = str(row["setup_id"])
        if row.get("kind") == "sweep" or _empty(row["hookup_id"]):
            found[name] = None
            continue
        hookup = known.get(str(row["hookup_id"]))
        if hookup is None:
            message = f"set-up {name}: the plan's hook-ups have no {row['hookup_id']!r}; make the plan again"
            raise InputError(message)
        row_of_hookup = pd.Series({"stake_x_m": None, "stake_y_m": None, **hookup, **_stated(row)})
        found[name] = SetUp(name, hookup_of(row_of_hookup), float(row["frequency_hz"]), float(row["level_ma"]))
    return found


def _stated(row: dict[str, Any]) -> dict[str, Any]:
    """Return what the set-up's own row says of the stake, which goes before the hook-up's."""
    return {name: row[name] for name in ("stake_x_m", "stake_y_m") if name in row and not _empty(row[name])}


def _empty(value: Any) -> bool:
    return value is None or bool(pd.isna(value))
