"""Places for the ground stake, chosen from the solution: what the trade says of them comes out of the figures."""

from dataclasses import replace
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from corridor import HookUp, Settings, Site
from corridor.plan.prepare import Prepared, connect, hookup_of, prepare
from corridor.plan.stake_choice import NO_PLACE, choose_stakes, with_stakes
from corridor.settings import Equipment, load_equipment
from corridor.tone.cases import CASES
from corridor.tone.electrodes import rod_resistance
from corridor.tone.solve import solve_tone
from tests.builders import make_site
from tests.plan.conftest import LENGTH_M, SETTINGS, cable, ground, square

EQUIPMENT = load_equipment(None)
SHORT_LEAD = EQUIPMENT.model_copy(update={"stake": EQUIPMENT.stake.model_copy(update={"lead_m": 5.0})})
BARE = {"utility": "water", "asset": "pipe", "material": "steel", "coating": "none", "diameter_mm": 100.0,
        "joints": "welded", "conductor_mm2": None}  # fmt: skip
AT_M = LENGTH_M / 3


def pipe(line_id: str, y_m: float, **more: Any) -> dict[str, Any]:
    """A bare pipe along x, twice as far as the target to either side."""
    return cable(line_id, y_m, **BARE) | {"geometry": [(-LENGTH_M / 2, y_m), (1.5 * LENGTH_M, y_m)]} | more


@cache
def site_of(*pipes_y_m: float, soil_ohm_m: float = 100.0) -> Site:
    """Cable A, grounded at both ends, with pipes beside it, and an access point a third along."""
    soil = square(resistivity_ohm_m=soil_ohm_m, low_ohm_m=soil_ohm_m, high_ohm_m=soil_ohm_m)
    return make_site(
        lines=[cable("A"), *(pipe(f"P{number}", y_m) for number, y_m in enumerate(pipes_y_m))],
        grounds=[ground("A", 0), ground("A", LENGTH_M)],
        soil=[soil],
        structures=[{"structure_id": "H", "kind": "handhole", "access": "footway", "geometry": (AT_M, 0.0)}],
        terminations=[{"structure_id": "H", "line_id": "A", "at": "through", "direct": "yes", "clamp": "yes"}],
    )


def prepared_of(
    site: Site, equipment: Equipment = EQUIPMENT, frequency_hz: float = 1e3
) -> tuple[Prepared, gpd.GeoDataFrame]:
    connected = connect(site, equipment=equipment, settings=SETTINGS, lines=["A"])
    table = connected.hookups
    ready = table[table["mode"].isin(["direct", "clamp"])].reset_index(drop=True)
    hookups = [hookup_of(row) for _, row in ready.iterrows()]
    prepared = prepare(
        connected, hookups, ready["hookup_id"].tolist(), frequencies_hz=[frequency_hz], equipment=equipment,
        settings=SETTINGS,
    )  # fmt: skip
    return prepared, ready


def table_of(
    site: Site,
    *,
    equipment: Equipment = EQUIPMENT,
    level_ma: float = 20.0,
    frequencies_hz: tuple[float, ...] = (1e3,),
    settings: Settings = SETTINGS,
) -> pd.DataFrame:
    prepared, ready = prepared_of(site, equipment, frequencies_hz[0])
    return choose_stakes(
        prepared, ready, site, frequencies_hz=frequencies_hz, level_ma=level_ma, equipment=equipment, settings=settings
    )


@cache
def chosen(*pipes_y_m: float, soil_ohm_m: float = 100.0, **more: Any) -> pd.Series:
    """The choice for the one direct hook-up of a site."""
    table = table_of(site_of(*pipes_y_m, soil_ohm_m=soil_ohm_m), **more)
    assert table["hookup_id"].tolist() == ["direct:A:H"]
    return table.iloc[0]


def off_line_deg(row: pd.Series) -> float:
    """Angle between the lead and the line, which runs east."""
    return abs((float(row["stake_bearing_deg"]) - 90.0 + 90.0) % 180.0 - 90.0)


def test_alone_the_stake_is_square_at_the_wished_distance() -> None:
    row = chosen()
    assert off_line_deg(row) == pytest.approx(90.0)
    assert row["stake_distance_m"] == pytest.approx(SETTINGS.hookups.stake_distance_m)
    assert row["neighbour_ratio"] == 0.0


def test_beside_parallel_neighbours_the_stake_square_to_the_line_wins() -> None:
    # common practice, here from the solution: bare pipes to both sides, a lead of 5 m; every other bearing brings the
    # stake nearer to one of them
    row = chosen(1.5, -1.5, equipment=SHORT_LEAD, frequencies_hz=(1e3,))
    assert off_line_deg(row) == pytest.approx(90.0)
    assert row["stake_distance_m"] == pytest.approx(5.0)
    assert row["runner_up_ratio"] >= row["neighbour_ratio"]


def test_a_neighbour_on_one_side_turns_the_stake_to_the_other() -> None:
    # of equals the left side is tried first
    assert chosen()["stake_y_m"] > 0
    assert chosen(3.0, equipment=SHORT_LEAD)["stake_y_m"] < 0


def test_a_stake_beside_a_neighbour_scores_worse() -> None:
    # the same place, free and with a bare pipe 1.2 m from it
    with_pipe, farther = (chosen(y_m, -y_m, equipment=SHORT_LEAD) for y_m in (6.2, 12.0))
    assert with_pipe["neighbour_ratio"] > 1.5 * farther["neighbour_ratio"]


def test_a_longer_lead_never_scores_worse_than_a_tie() -> None:
    short, long = (chosen(1.5, -1.5, equipment=one, frequencies_hz=(1e3,)) for one in (SHORT_LEAD, EQUIPMENT))
    assert long["neighbour_ratio"] <= short["neighbour_ratio"] * (1 + SETTINGS.hookups.stake_tie_share)
    assert long["places"] > short["places"]


def test_figures_are_those_of_the_stake_as_a_section() -> None:
    # the chosen place, solved the existing way: 1 % (the tables' range differs)
    site = site_of(2.0, -4.0)
    row = chosen(2.0, -4.0)
    connected = connect(site, equipment=EQUIPMENT, settings=SETTINGS, lines=["A"])
    hookup = HookUp("direct", "A", "H", AT_M, (row["stake_x_m"], row["stake_y_m"]))
    again = prepare(connected, [hookup], ["x"], frequencies_hz=[1e3], equipment=EQUIPMENT, settings=SETTINGS)
    result = solve_tone(
        again.model, again.drives, CASES[:1], frequencies_hz=[1e3], soil=again.soil, equipment=EQUIPMENT
    ).results[1e3, "nominal"]
    model, size = again.model, np.abs(result.current_a[:, 0])
    length = np.linalg.norm(model.end_m - model.start_m, axis=1)
    own = model.sections_of("A")
    others = sum(size[model.sections_of(name)].max() for name in ("P0", "P1"))
    assert abs(result.loop_ohm[0]) == pytest.approx(row["loop_ohm"], rel=0.01)
    assert others / np.average(size[own], weights=length[own]) == pytest.approx(row["neighbour_ratio"], rel=0.01)


def test_no_place_lies_near_a_recorded_line() -> None:
    row = chosen(5.0, -5.0, equipment=SHORT_LEAD)
    assert min(abs(row["stake_y_m"] - y) for y in (-5.0, 0.0, 5.0)) >= 1.0


def test_carriageways_and_railways_are_kept_off() -> None:
    site = site_of()
    kinds = {"kind": ["carriageway", "rail"], "closure": [None, None]}
    west = shapely.box(-500.0, -500.0, AT_M - 1.0, -0.5)
    surfaces = gpd.GeoDataFrame(kinds, geometry=[_north_of(0.5), west], crs=site.crs)
    (row,) = table_of(replace(site, surfaces=surfaces)).to_dict("records")
    assert row["stake_y_m"] < 0.5
    assert row["stake_x_m"] > AT_M - 1.0
    assert 0 < row["places"] < chosen()["places"]


def test_a_footway_is_no_obstacle() -> None:
    site = site_of()
    footway = gpd.GeoDataFrame({"kind": ["footway"], "closure": [None]}, geometry=[_north_of(0.5)], crs=site.crs)
    (row,) = table_of(replace(site, surfaces=footway)).to_dict("records")
    assert row["places"] == chosen()["places"]


def _north_of(y_m: float) -> Any:
    return shapely.box(-500.0, y_m, 500.0, 500.0)


@cache
def everywhere_road() -> tuple[Site, pd.DataFrame, gpd.GeoDataFrame]:
    site = site_of()
    road = gpd.GeoDataFrame({"kind": ["carriageway"], "closure": [None]}, geometry=[_north_of(-500.0)], crs=site.crs)
    site = replace(site, surfaces=road)
    _, ready = prepared_of(site)
    table = table_of(site)
    return site, table, ready


def test_without_a_clear_place_the_hookup_is_not_ready() -> None:
    _, table, ready = everywhere_road()
    assert table["stake_x_m"].isna().all()
    assert table["hint"].tolist() == [f"missing: {NO_PLACE}"]
    out = with_stakes(ready, table).set_index("hookup_id")
    assert out.loc["direct:A:H", "ready"] == "not_ready"
    assert out.loc["direct:A:H", "missing"] == NO_PLACE
    assert out.loc["clamp:A:H", "ready"] == ready.set_index("hookup_id").loc["clamp:A:H", "ready"]


def test_the_table_of_hookups_gets_the_stakes_chosen() -> None:
    _, ready = prepared_of(site_of(2.0, -4.0))
    row = chosen(2.0, -4.0)
    out = with_stakes(ready, pd.DataFrame([row])).set_index("hookup_id")
    columns = ["stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m"]
    assert out.loc["direct:A:H", columns].tolist() == row[columns].tolist()
    assert out.loc["clamp:A:H", columns].isna().all()
    assert out["stake_hint"].isna().all()
    turn, reach = np.radians(row["stake_bearing_deg"]), row["stake_distance_m"]
    x, y = AT_M + reach * np.sin(turn), reach * np.cos(turn)
    assert (row["stake_x_m"], row["stake_y_m"]) == pytest.approx((x, y))


def test_the_stakes_resistance_is_its_rods() -> None:
    # Dwight 1936; the loop is that and what the line's grounds add, two of 10 ohm in the soil of 100 ohm m
    row = chosen()
    size = EQUIPMENT.stake
    assert row["stake_ohm"] == pytest.approx(rod_resistance(size.length_m, size.diameter_mm / 2000, 100.0))
    assert row["stake_ohm"] < row["loop_ohm"] < row["stake_ohm"] + 12.0


def test_dry_soil_asks_for_a_second_stake_and_wet_soil_does_not() -> None:
    dry, wet = chosen(soil_ohm_m=1000.0, level_ma=50.0), chosen(soil_ohm_m=50.0, level_ma=50.0)
    assert wet["hint"] == ""
    assert dry["hint"].startswith("second stake or wet the soil: 50 V push ")
    assert dry["available_ma"] == pytest.approx(50e3 / dry["loop_ohm"])
    assert wet["available_ma"] == pytest.approx(50.0)


def test_a_second_stake_gives_more_but_less_than_twice() -> None:
    row = chosen(soil_ohm_m=1000.0, level_ma=50.0)
    assert row["available_ma"] < row["two_stakes_ma"] < 2 * row["available_ma"]


def test_the_hint_turns_with_the_level_wanted_and_names_the_limit() -> None:
    # 50 V limit a loop of 1.4 kohm, 5 W one of 150 ohm
    dry = chosen(soil_ohm_m=1000.0, level_ma=50.0)
    assert chosen(soil_ohm_m=1000.0, level_ma=0.98 * dry["available_ma"])["hint"] == ""
    powerful = chosen(level_ma=300.0)
    assert " 5 W push" in powerful["hint"]
    assert powerful["available_ma"] == pytest.approx(1e3 * (5.0 / powerful["loop_ohm"]) ** 0.5, rel=0.01)


def test_two_frequencies_give_the_worse_of_both() -> None:
    low, both = (chosen(1.5, -1.5, equipment=SHORT_LEAD, frequencies_hz=f) for f in ((1e3,), (1e3, 50e3)))
    assert both["neighbour_ratio"] > low["neighbour_ratio"]
    assert both["loop_ohm"] > low["loop_ohm"]


def test_without_a_direct_hookup_there_is_nothing_to_choose() -> None:
    prepared, ready = prepared_of(site_of())
    clamps = replace(prepared, drives=tuple(d for d in prepared.drives if d.hookup.mode == "clamp"))
    rows = ready[ready["mode"] == "clamp"]
    none = choose_stakes(
        clamps, rows, site_of(), frequencies_hz=[1e3], level_ma=20.0, equipment=EQUIPMENT, settings=SETTINGS
    )
    assert none.empty
    assert "stake_bearing_deg" in none.columns
    assert with_stakes(ready, none)["stake_x_m"].tolist()[-1] == ready["stake_x_m"].tolist()[-1]


def test_the_same_input_gives_the_same_choice() -> None:
    pd.testing.assert_series_equal(
        table_of(site_of(3.0), equipment=SHORT_LEAD).iloc[0], chosen(3.0, equipment=SHORT_LEAD)
    )


def two_places() -> Site:
    """The same line with a second access point."""
    site = site_of(1.5)
    more = make_site(
        lines=[cable("A")],
        structures=[
            {"structure_id": name, "kind": "handhole", "access": "footway", "geometry": (x_m, 0.0)}
            for name, x_m in (("H", AT_M), ("K", 2 * AT_M))
        ],
        terminations=[
            {"structure_id": name, "line_id": "A", "at": "through", "direct": "yes", "clamp": "yes"} for name in "HK"
        ],
    )
    return replace(site, structures=more.structures, terminations=more.terminations)


def test_parts_solved_one_after_another_give_what_one_solution_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = table_of(two_places(), equipment=SHORT_LEAD)
    monkeypatch.setattr("corridor.plan.stake_choice.PLACES_AT_ONCE", 1)
    parts = table_of(two_places(), equipment=SHORT_LEAD)
    assert whole["hookup_id"].tolist() == ["direct:A:H", "direct:A:K"]
    pd.testing.assert_frame_equal(whole, parts, rtol=1e-6)  # the tables' range differs


def test_the_runner_up_is_another_place_and_no_better_than_a_tie() -> None:
    row = chosen(1.5, -1.5, equipment=SHORT_LEAD, frequencies_hz=(1e3,))
    place = (row["stake_bearing_deg"], row["stake_distance_m"])
    assert place != (row["runner_up_bearing_deg"], row["runner_up_distance_m"])
    assert row["runner_up_ratio"] * (1 + SETTINGS.hookups.stake_tie_share) >= row["neighbour_ratio"]


def test_the_table_of_hookups_gets_the_hint() -> None:
    row = chosen(soil_ohm_m=1000.0, level_ma=50.0)
    _, ready = prepared_of(site_of(soil_ohm_m=1000.0))
    out = with_stakes(ready, pd.DataFrame([row])).set_index("hookup_id")
    assert out.loc["direct:A:H", "stake_hint"] == row["hint"]
    assert pd.isna(out.loc["clamp:A:H", "stake_hint"])


def test_refused_hookups_stay_refused_without_a_place() -> None:
    _, table, ready = everywhere_road()
    refused = ready.assign(ready="refused", missing="energized", reason="r")
    out = with_stakes(refused, table)
    assert out["ready"].eq("refused").all()
    assert out["missing"].eq("energized").all()


def test_the_table_given_is_left_as_it_is() -> None:
    _, table, ready = everywhere_road()
    before = ready.copy()
    with_stakes(ready, table)
    pd.testing.assert_frame_equal(pd.DataFrame(ready), pd.DataFrame(before))
