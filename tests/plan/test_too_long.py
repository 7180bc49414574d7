"""A line too long to be solved is refused before its hook-ups are found, and stops nothing that doesn't solve it."""

from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely import box

from corridor import Settings, Site, plan_setups, review_site, trace_tone
from corridor.errors import DomainError, HookUpError
from corridor.plan import prepare
from corridor.plan.prepare import connect
from corridor.plan.too_long import named_lines, refuse_too_long, too_long
from corridor.scope.solved import solve_windows
from corridor.settings import ScopeSettings, SolverSettings
from corridor.tone.hookup import HookUp
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import CABLE, KNOWN_SOIL, LENGTH_M, access, cable

FAR_M = 12_000e3  # one bad coordinate
EQUIPMENT = at_frequencies(10_000.0)
SETTINGS = Settings(solver=SolverSettings(memory_limit_mb=100.0))
AREA = box(-50.0, -50.0, 100.0, 50.0)
TOLD = r"line L: expected a length whose solution fits in 100 MB .* got 12000 km, 3000000 sections at least"


def site_of(*more: dict[str, Any]) -> Site:
    """A short cable, one far too long beside it, and more."""
    long = CABLE | {"line_id": "L", "geometry": [(0, 5), (FAR_M, 5)]}
    return make_site(lines=[cable("A"), long, *more], soil=[KNOWN_SOIL], **access("A"))


@pytest.fixture
def searched(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """For what lines hook-ups were looked for."""
    asked: list[Any] = []

    def seen(*args: Any, **options: Any) -> gpd.GeoDataFrame:
        asked.append(options["lines"])
        return find(*args, **options)

    find = prepare.find_hookups
    monkeypatch.setattr(prepare, "find_hookups", seen)
    return asked


@pytest.mark.parametrize("made", [review_site, plan_setups])
def test_it_is_refused_before_its_hookups_are_found(made: Any, searched: list[Any]) -> None:
    with pytest.raises(DomainError, match=TOLD):
        made(site_of(), everything=True, equipment=EQUIPMENT, settings=SETTINGS)
    assert searched == []


@pytest.mark.parametrize("hookup", ["induction:L:20m", HookUp("induction", "L", at_m=20.0)])
def test_a_trace_on_it_is_refused_likewise(hookup: str | HookUp, searched: list[Any]) -> None:
    with pytest.raises(DomainError, match=TOLD):
        trace_tone(site_of(), hookup, frequency_hz=10e3, level_ma=10.0, equipment=EQUIPMENT, settings=SETTINGS)
    assert searched == []


def test_a_scope_of_all_windows_is_refused_likewise(searched: list[Any]) -> None:
    with pytest.raises(DomainError, match=r"line L: expected a length .* 1500000 sections at least"):  # longer ones
        solve_windows(site_of(), area=AREA, equipment=EQUIPMENT, settings=SETTINGS)
    assert searched == []


def test_a_scope_that_solves_no_window_solves_none_of_it() -> None:
    few = Settings(solver=SETTINGS.solver, scope=ScopeSettings(windows_most=0))
    site = make_site(lines=[cable("A"), cable("B", 2.0)], soil=[KNOWN_SOIL], **access("A"))
    assert solve_windows(site, area=AREA, equipment=EQUIPMENT, settings=few).windows >= 1


def test_a_review_of_other_lines_goes_on(searched: list[Any]) -> None:
    with pytest.raises(DomainError, match="fits in 100 MB"):  # it lies beside the target: growth reaches it
        review_site(site_of(), everything=True, targets=["A"], equipment=EQUIPMENT, settings=SETTINGS)
    assert searched == [["A"]]
    away = make_site(
        lines=[cable("A"), CABLE | {"line_id": "L", "geometry": [(0, 500), (FAR_M, 500)]}],
        soil=[KNOWN_SOIL],
        **access("A"),
    )
    result = review_site(away, everything=True, targets=["A"], equipment=EQUIPMENT, settings=SETTINGS)
    assert set(result.strategy["line_id"]) == {"A"}
    traced = trace_tone(away, "direct:A:A-S", frequency_hz=10e3, level_ma=10.0, equipment=EQUIPMENT, settings=SETTINGS)
    assert set(traced.sections["line_id"]) == {"A"}
    assert searched[1:] == [["A"], ["A"]]
    with pytest.raises(HookUpError, match="the nearest are"):
        trace_tone(away, "direct:A:B", frequency_hz=10e3, level_ma=10.0, equipment=EQUIPMENT, settings=SETTINGS)


def test_joined_to_a_target_it_lends_it_no_hookups() -> None:
    on = CABLE | {"line_id": "L", "geometry": [(LENGTH_M, 0.0), (FAR_M, 0.0)]}
    site = make_site(lines=[cable("A"), on], soil=[KNOWN_SOIL], **access("A"))
    found = connect(site, equipment=EQUIPMENT, settings=SETTINGS, lines=["A"])
    assert found.joined["A"] == {"L"}
    assert set(found.hookups["line_id"]) == {"A"}


def test_what_may_have_no_hookup_is_not_refused_here() -> None:
    asked: dict[str, Any] = {"equipment": EQUIPMENT, "settings": SETTINGS}
    lines = site_of().lines
    refuse_too_long(lines, ["A"], **asked)
    with pytest.raises(DomainError, match=TOLD):
        refuse_too_long(lines, ["A", "L"], area=AREA, **asked)
    refuse_too_long(lines, ["L"], area=box(-100.0, 0.0, 10.0, 10.0), **asked)  # 40 m of it within 30 m of the area
    refuse_too_long(lines, ["L"], equipment=EQUIPMENT.model_copy(update={"loop": None}), settings=SETTINGS)
    clay = site_of({**cable("S"), "material": "clay", "conductive": "no", "geometry": [(0, 9), (FAR_M, 9)]}).lines
    assert too_long(clay, SETTINGS.solver).tolist() == [False, True, False]


def test_what_could_be_solved_densely_is_tried() -> None:
    # 6000 sections of 4 m; one more is solved in blocks, which needs less: only beyond is more length more memory
    lengths = np.array([23e3, 24.5e3, 60e3])
    lines = make_site(
        lines=[CABLE | {"line_id": f"L{k}", "geometry": [(0, 9 * k), (x, 9 * k)]} for k, x in enumerate(lengths)]
    ).lines
    assert too_long(lines, SolverSettings(memory_limit_mb=1000.0)).tolist() == [False, False, True]
    assert too_long(lines, SolverSettings(memory_limit_mb=5000.0)).tolist() == [False, False, False]


def test_the_lines_that_a_hookup_may_stand_on() -> None:
    named = [cable("A:B", 1.0), cable("B", 2.0)]
    lines = make_site(lines=[cable("A"), *named]).lines
    assert named_lines(lines, "direct:A:A-S") == ["A"]
    assert sorted(named_lines(lines, "direct:A:B:A-S")) == ["A", "A:B"]  # a structure B:A-S of A, or A-S of A:B
    assert named_lines(lines, HookUp("clamp", "B", structure_id="X")) == ["B"]
    assert named_lines(lines, "nonsense") == []
