"""Two cables side by side, one hooked up: the smallest site that readings are tested on."""

from functools import cache
from typing import Any

import geopandas as gpd
import pandas as pd

from corridor import Settings, Site, load_equipment
from corridor.frames import table_frame
from corridor.plan.prepare import Connected, Prepared
from corridor.readings import PlanTables
from corridor.readings.plan import set_ups_of
from corridor.readings.table import check_readings
from corridor.readings.work import connected_of, prepared_of
from corridor.settings import ReadingSettings, SolverSettings
from tests.builders import METRIC, make_site
from tests.plan.conftest import KNOWN_SOIL, access, cable, ground

EQUIPMENT = load_equipment(None)
SOLVER = SolverSettings(section_max_m=6.0, section_close_m=3.0, growth_step_m=1000.0, workers=1)
SETTINGS = Settings(solver=SOLVER, readings=ReadingSettings(geometries=4, soil_points=3, pairs_of=2))
FREQUENCY_HZ = 1000.0
COLUMNS = ["setup_id", "line_id", "station_m", "x_m", "y_m", "frequency_hz", "kind", "value", "time", "note"]


@cache
def small_site(**tables: Any) -> Site:
    """Cables A and B, 1.8 m apart, A grounded at its far end, B at both; a suspected bond between their far ends."""
    places = [access("A"), access("B", 1.8)]
    rows: dict[str, Any] = {
        "lines": [cable("A"), cable("B", 1.8)],
        "bonds": [{"bond_id": "X", "line_a": "A", "line_b": "B", "geometry": (60.0, 0.9), "state": "unknown",
                   "evidence": "suspected", "probability": 0.2, "resistance_ohm": 0.01}],
        "grounds": [ground("A", 60.0), ground("B", 0.0, 1.8), ground("B", 60.0, 1.8)],
        "soil": [KNOWN_SOIL],
    }  # fmt: skip
    merged = {name: [row for place in places for row in place[name]] for name in ("structures", "terminations")}
    return make_site(**(rows | merged | tables))


@cache
def small_plan(mode: str = "direct", settings: Settings = SETTINGS) -> PlanTables:
    """One set-up on cable A, and a sweep."""
    hookup = {"hookup_id": "h", "structure_id": "A-S", "line_id": "A", "mode": mode, "at_m": 0.0, "ready": "ready",
              "stake_x_m": -2.0, "stake_y_m": -4.0}  # fmt: skip
    setups = pd.DataFrame({
        "setup_id": ["S0", "S1"], "kind": ["sweep", "setup"], "hookup_id": [None, "h"],
        "frequency_hz": [float("nan"), FREQUENCY_HZ], "level_ma": [float("nan"), 50.0],
    })  # fmt: skip
    return PlanTables(
        gpd.GeoDataFrame(setups, geometry=[None, None], crs=METRIC),
        table_frame("hookups", [hookup], geometry=gpd.points_from_xy([0.0], [0.0]), crs=METRIC),
        settings,
        EQUIPMENT,
    )


def rows(*values: float | None) -> pd.DataFrame:
    """Readings of set-up S1: source, then the receiver along A and B; values in this order, left out: not taken."""
    listed: list[dict[str, Any]] = [{"kind": "source_ma"}, {"kind": "source_ohm"}]
    listed += [
        {"line_id": line, "station_m": at, "kind": "receiver_ma"} for line in ("A", "B") for at in (9.0, 30.0, 51.0)
    ]
    filled = [row | {"setup_id": "S1"} for row in listed]
    for row, value in zip(filled, values, strict=False):
        row["value"] = value
    return pd.DataFrame(filled).reindex(columns=COLUMNS)


@cache
def small_connected() -> Connected:
    """What connects the small site."""
    plan = small_plan()
    return connected_of(small_site(), plan, plan.settings)


@cache
def small_prepared() -> Prepared:
    """The small site's network with its hook-up."""
    plan = small_plan()
    setups = {name: one for name, one in set_ups_of(plan).items() if one is not None}
    table = check_readings(rows(), small_site(), set_ups_of(plan), settings=plan.settings.readings)
    return prepared_of(small_connected(), setups, table, equipment=EQUIPMENT, settings=plan.settings)[0]
