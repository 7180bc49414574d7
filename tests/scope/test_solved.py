"""The engine in windows: what it grades, what a sample leaves open, and windows against one solve of all."""

from typing import Any

import pandas as pd
import pytest

from corridor import Settings, Site, load_equipment, scope_area
from corridor.dictionary.shared import GRADES
from corridor.errors import EquipmentError
from corridor.scope import Scope
from corridor.scope.solved import only_geometry, scope_equipment, scope_solver, solve_windows
from corridor.settings import ScopeSettings
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, access, cable, ground, square

SHARES = [f"{grade}_share" for grade in GRADES]
STREETS = 4
ONE_AT_A_TIME = {"near_hz": (10_000.0,), "cell_m": 15.0, "shape": "square"}


def _settings(**scope: Any) -> Settings:
    return Settings(scope=ScopeSettings.model_validate(ONE_AT_A_TIME | scope))


def _streets() -> Site:
    """Streets 60 m apart, each with a cable that has an access, a neighbour beside it, and a plastic pipe."""
    rows: list[dict[str, Any]] = []
    structures, terminations, grounds = [], [], []
    for number in range(STREETS):
        y, own = 60.0 * number, f"A{number}"
        rows += [cable(own, y), cable(f"B{number}", y + 1.0),
                 {"line_id": f"P{number}", "geometry": [(0, y + 4), (60, y + 4)], "conductive": "no", "asset": "pipe",
                  "utility": "water", "material": "polyethylene"}]  # fmt: skip
        where = access(own, y)
        structures += where["structures"]
        terminations += where["terminations"]
        grounds += [ground(own, 60, y), ground(f"B{number}", 0, y + 1.0)]
    return make_site(
        lines=rows, structures=structures, terminations=terminations, grounds=grounds, soil=[KNOWN_SOIL],
        work_area=[{"geometry": [(-5, -10), (65, -10), (65, 200), (-5, 200)], "phase": "1", "dig_depth_m": 2.0}],
    )  # fmt: skip


@pytest.fixture(scope="module")
def whole() -> Scope:
    return scope_area(_streets(), settings=_settings())


@pytest.fixture(scope="module")
def windows() -> Scope:
    return scope_area(_streets(), settings=_settings(section_limit=100))


def test_every_line_is_graded_over_its_length(whole: Scope) -> None:
    total = whole.scope_phases.iloc[0]
    assert total["graded_m"] == pytest.approx(total["length_m"]) == pytest.approx(STREETS * 180.0)
    assert total[SHARES].sum() == pytest.approx(1.0, abs=1e-3)  # each is rounded to four decimals
    assert total["untraceable_share"] >= 0.3333  # the plastic pipes at least
    assert total["basis"] == "computed"
    assert whole.summary["windows"] == whole.summary["windows_solved"] == 1


def test_cells_say_computed_and_their_shares_add_up(whole: Scope) -> None:
    cells = whole.cells
    computed = cells[cells["state"].eq("computed")]
    assert len(computed) and computed["length_m"].gt(0).all()
    assert computed[SHARES].sum(axis=1).to_numpy() == pytest.approx(1.0, abs=1e-3)
    bare = cells[cells["state"].eq("no_records")]
    assert bare[SHARES].isna().all().all()
    assert set(cells["state"]) == {"computed", "no_records"}


def test_windows_grade_as_one_solve_of_all_does(whole: Scope, windows: Scope) -> None:
    # what a window leaves out lies beyond its growth; within three points, which is what we ask of a scope
    assert windows.summary["windows"] > 1
    assert windows.scope_phases[SHARES].to_numpy() == pytest.approx(whole.scope_phases[SHARES].to_numpy(), abs=0.03)
    assert windows.scope_phases["graded_m"].tolist() == pytest.approx(whole.scope_phases["graded_m"].tolist())


def test_windows_one_by_one_give_the_same(windows: Scope) -> None:
    one = _settings(section_limit=100)
    one = one.model_copy(update={"solver": one.solver.model_copy(update={"workers": 1})})
    apart = scope_area(_streets(), settings=one)
    pd.testing.assert_frame_equal(pd.DataFrame(apart.strategy), pd.DataFrame(windows.strategy))
    assert apart.summary == windows.summary


def test_set_ups_are_those_of_the_strategy(whole: Scope) -> None:
    used = whole.strategy[["hookup_id", "frequency_hz"]].dropna().drop_duplicates()
    assert len(used) >= STREETS
    assert whole.scope_phases["setups_low"].tolist() == [len(used)] * 2
    assert (whole.scope_phases["setups_high"] >= whole.scope_phases["setups_likely"]).all()


def test_a_sample_of_windows_leaves_the_rest_counted_only(windows: Scope) -> None:
    some = scope_area(_streets(), settings=_settings(section_limit=100, windows_most=1))
    assert some.summary["windows_solved"] == 1 < some.summary["windows"] == windows.summary["windows"]
    states = set(some.cells["state"])
    assert {"computed", "geometry_only"} <= states
    total = some.scope_phases.iloc[0]
    assert total[SHARES].isna().all()  # of a part no share of the whole is told
    assert total["basis"] == "computed in part, the rest by rates"
    open_cells = some.cells[some.cells["state"].eq("geometry_only")]
    assert open_cells[SHARES].isna().all().all()


def test_the_frequencies_are_the_shared_ones_nearest_by_ratio() -> None:
    equipment = load_equipment(None)
    assert scope_equipment(equipment, ScopeSettings()).frequencies_hz == (1e3, 1e4, 1e5)
    few = equipment.model_copy(update={"frequencies_hz": (800.0, 9000.0, 33_000.0, 82_000.0)})
    assert scope_equipment(few, ScopeSettings()).frequencies_hz == (800.0, 9000.0, 82_000.0)
    assert scope_equipment(few, ScopeSettings(near_hz=())).frequencies_hz == few.frequencies_hz
    assert scope_equipment(few, ScopeSettings(near_hz=(700.0, 900.0))).frequencies_hz == (800.0,)
    deaf = equipment.model_copy(update={"receiver_frequencies_hz": (12.0,)})
    with pytest.raises(EquipmentError, match="expected a frequency that transmitter and receiver share"):
        scope_equipment(deaf, ScopeSettings())


def test_only_the_solver_s_lengths_and_limits_are_replaced() -> None:
    settings = _settings(growth_m=25.0)
    solver = scope_solver(settings).solver
    assert (solver.section_max_m, solver.section_close_m, solver.gamma_step) == (8.0, 4.0, 0.5)
    assert (solver.growth_step_m, solver.growth_max_m, solver.compressed_limit) == (25.0, 25.0, 0)
    assert solver.leaving_share == settings.solver.leaving_share
    assert scope_solver(settings).grades == settings.grades


def test_lines_that_are_not_in_the_ground_are_neither_counted_nor_graded() -> None:
    gone = {"line_id": "Z", "geometry": [(0, 8), (60, 8)], "status": "proposed"}
    plastic = {"line_id": "A", "geometry": [(0, 0), (60, 0)], "conductive": "no", "material": "polyethylene"}
    site = make_site(lines=[gone, plastic], work_area=[square()], soil=[KNOWN_SOIL])
    solved = solve_windows(site, area=site.work_area.union_all(), equipment=load_equipment(None), settings=_settings())
    assert solved.strategy["line_id"].tolist() == ["A"]
    assert solved.strategy["grade"].tolist() == ["untraceable"]  # nothing to hook up to
    assert solved.frequencies_hz == ()


def test_geometry_only_finds_what_the_couplings_find() -> None:
    site = _streets()
    found = only_geometry(site, area=site.work_area.union_all(), settings=Settings())
    assert sorted(found.parallel_runs["run_id"]) == sorted(
        name for name in found.parallel_runs["run_id"] if name.startswith(("A", "B"))
    )
    assert len(found.parallel_runs) >= STREETS
    assert found.strategy.empty


def test_progress_is_told_window_by_window() -> None:
    told: list[tuple[str, int, int]] = []
    plastic = {"line_id": "A", "geometry": [(0, 0), (60, 0)], "conductive": "no", "material": "polyethylene"}
    site = make_site(lines=[plastic], work_area=[square()], soil=[KNOWN_SOIL])
    scope_area(site, settings=_settings(), progress=lambda *step: told.append(step))
    assert told == [("windows", 0, 1), ("windows", 1, 1)]
