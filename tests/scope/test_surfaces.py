"""Closures by surface: what is known, what isn't, and that nothing unknown becomes none."""

from typing import Any

import pytest
import shapely

from corridor import Settings, scope_area
from corridor.frames import empty_table, table_frame
from corridor.scope.meets import Meets, meets_of
from corridor.scope.surfaces import UNKNOWN, OnSurface, closure_rows, closures_of_all, surfaces_under
from corridor.settings import Estimate, ScopeRates
from tests.builders import METRIC, make_lines
from tests.scope.small import SQUARES, twelve

AREA = shapely.box(0, 0, 100, 20)
ONE = Estimate(low=1, likely=2, high=3)
RATES = ScopeRates(
    closures_per_100m={"carriageway": ONE}, closures_per_hole={"carriageway": Estimate(low=0, likely=0.5, high=1)},
    closure_hours={"carriageway": Estimate(low=1, likely=4, high=8)},
)  # fmt: skip


def _surfaces(*rows: tuple[Any, Any, shapely.Polygon]) -> Any:
    return table_frame("surfaces", [{"kind": k, "closure": c} for k, c, _ in rows], geometry=[s for *_, s in rows],
                       crs=METRIC)  # fmt: skip


def _meets() -> Meets:
    lines = make_lines([{"line_id": "A", "geometry": [(-50, 5), (150, 5)]}])
    nothing = [empty_table(name, METRIC) for name in ("parallel_runs", "crossings", "strategy")]
    return meets_of(lines, *nothing, area=AREA)


def _under(surfaces: Any) -> list[OnSurface]:
    return surfaces_under(_meets(), empty_table("test_holes", METRIC), surfaces, area=AREA)


def test_lengths_go_to_their_surface_and_the_rest_is_not_known() -> None:
    road = ("carriageway", "lane closure", shapely.box(0, 0, 60, 20))
    way = ("footway", None, shapely.box(60, 0, 80, 20))
    found = {one.kind: one for one in _under(_surfaces(road, way))}
    assert {kind: one.traced_m for kind, one in found.items()} == pytest.approx(
        {"carriageway": 60.0, "footway": 20.0, UNKNOWN: 20.0}
    )
    assert found["carriageway"].closure == "lane closure"
    assert found["footway"].closure is None


def test_surfaces_of_one_kind_that_overlap_count_once_and_no_kind_is_not_known() -> None:
    road, again = (("carriageway", "x", shapely.box(0, 0, 60, 20)), ("carriageway", "x", shapely.box(30, 0, 100, 20)))
    assert [one.traced_m for one in _under(_surfaces(road, again))] == pytest.approx([100.0])
    assert [one.kind for one in _under(_surfaces((None, None, AREA)))] == [UNKNOWN]
    assert [one.kind for one in _under(_surfaces())] == [UNKNOWN]


def test_closures_are_worked_out_by_the_rates() -> None:
    # 150 m at 1, 2, 3 a 100 m: 1.5, 3, 4.5, rounded up 2, 3, 5; holes 1, 3, 4 at 0, 0.5, 1: 0, 2, 4; hours at 1, 4, 8
    rows = closure_rows([OnSurface("carriageway", "lane closure", 150.0, (1.0, 3.0, 4.0))], RATES)
    counts = {(row["what"], row.get("surface")): (row["low"], row["likely"], row["high"]) for row in rows}
    assert counts["closures", "carriageway"] == counts["closures", None] == (2.0, 5.0, 9.0)
    assert counts["closure_hours", "carriageway"] == counts["closure_hours", None] == (2.0, 20.0, 72.0)


@pytest.mark.parametrize("kind", [UNKNOWN, "meadow"])
def test_what_has_no_rate_is_null_and_so_is_the_sum(kind: str) -> None:
    road = OnSurface("carriageway", None, 100.0, (0.0, 0.0, 0.0))
    rows = closure_rows([road, OnSurface(kind, None, 10.0, (0.0, 0.0, 0.0))], RATES)
    by_surface = {row.get("surface"): row["likely"] for row in rows if row["what"] == "closures"}
    assert by_surface == {"carriageway": 2.0, kind: None, None: None}
    assert all("not known" in row["basis"] for row in rows if row["low"] is None)


def test_nothing_on_any_surface_is_not_known_either() -> None:
    assert [row["low"] for row in closure_rows([], RATES)] == [None, None]


def test_phases_add_up() -> None:
    one = closure_rows([OnSurface("carriageway", None, 100.0, (0.0, 0.0, 0.0))], RATES)
    two = closure_rows([OnSurface("carriageway", None, 250.0, (0.0, 0.0, 0.0))], RATES)
    added = {(row["what"], row.get("surface")): row["likely"] for row in closures_of_all([one, two])}
    assert added["closures", "carriageway"] == added["closures", None] == 2.0 + 5.0
    broken = closure_rows([OnSurface(UNKNOWN, None, 10.0, (0.0, 0.0, 0.0))], RATES)
    mixed = {(row["what"], row.get("surface")): row["likely"] for row in closures_of_all([one, broken])}
    assert mixed["closures", "carriageway"] == 2.0
    assert mixed["closures", None] is None


def test_a_dig_on_known_surfaces_has_closures_for_each_and_holes_say_where() -> None:
    surfaces = _surfaces(("carriageway", "lane closure", shapely.box(0, 0, 40, 10)),
                         ("private", "consent of the owner", shapely.box(0, 10, 40, 30)))  # fmt: skip
    site = twelve()
    site = type(site)(**(vars(site) | {"surfaces": surfaces}))
    scope = scope_area(site, geometry_only=True, settings=SQUARES)
    whole = scope.scope_effort[scope.scope_effort["phase"].eq("all") & scope.scope_effort["what"].eq("closures")]
    assert whole["surface"].fillna("").tolist() == ["carriageway", "private", ""]
    assert whole["closure"].fillna("").tolist() == ["lane closure", "consent of the owner", ""]
    assert whole[["low", "likely", "high"]].notna().all().all()
    assert whole["likely"].iloc[:2].sum() == whole["likely"].iloc[2]
    assert set(scope.test_holes["surface"]) <= {"carriageway", "private"}


def test_a_line_on_no_surface_at_all_is_told_by_the_default_rates_as_not_known() -> None:
    rows = closure_rows([OnSurface("quay", None, 50.0, (0.0, 0.0, 0.0))], Settings().scope.rates)
    assert rows[0]["basis"] == "not known: no rate for the surface quay"
