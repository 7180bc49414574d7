"""A dig of twelve cells counted by hand: the whole job on it, geometry only."""

import numpy as np
import pytest
import shapely

from corridor import scope_area
from corridor.dictionary import RESULT_TABLES
from corridor.errors import InputError
from corridor.scope import Scope
from tests.builders import make_site
from tests.scope.small import DIG, LINES, SQUARES, twelve


@pytest.fixture(scope="module")
def counted() -> Scope:
    return scope_area(twelve(), geometry_only=True, settings=SQUARES)


# Counted by hand from tests/scope/small.py, row by row of the picture:
#   row 0 (y 0 to 10): A and B run through all four columns, C crosses both in column 1 (x 10 to 20)
#   row 1 (y 10 to 20): C in column 1; the proposed line isn't there
#   row 2 (y 20 to 30): C in column 1; D from x 25 to 35: five metres each in columns 2 and 3
BY_HAND = {  # cell: lines, utilities, length, parallel, crossings
    "0_0": (2, 2, 20.0, 10.0, 0), "1_0": (3, 2, 30.0, 10.0, 2), "2_0": (2, 2, 20.0, 10.0, 0),
    "3_0": (2, 2, 20.0, 10.0, 0),
    "0_1": (0, 0, 0.0, 0.0, 0), "1_1": (1, 1, 10.0, 0.0, 0), "2_1": (0, 0, 0.0, 0.0, 0), "3_1": (0, 0, 0.0, 0.0, 0),
    "0_2": (0, 0, 0.0, 0.0, 0), "1_2": (1, 1, 10.0, 0.0, 0), "2_2": (1, 1, 5.0, 0.0, 0), "3_2": (1, 1, 5.0, 0.0, 0),
}  # fmt: skip


def test_every_cell_holds_what_was_counted_by_hand(counted: Scope) -> None:
    cells = counted.cells.set_index("cell_id")
    assert sorted(cells.index) == sorted(BY_HAND)
    for name, (lines, utilities, length_m, parallel_m, crossings) in BY_HAND.items():
        row = cells.loc[name]
        assert (row["lines"], row["utilities"], row["crossings"]) == (lines, utilities, crossings), name
        assert (row["length_m"], row["parallel_m"]) == pytest.approx((length_m, parallel_m)), name
        assert row["area_m2"] == 100.0
        assert row["length_per_100m2_m"] == pytest.approx(length_m)


def test_totals_are_those_of_the_cells(counted: Scope) -> None:
    whole = counted.scope_phases.iloc[0]
    assert whole["phase"] == "all"
    assert (whole["lines"], whole["utilities"], whole["crossings"]) == (4, 3, 2)
    assert whole["length_m"] == pytest.approx(120.0) == counted.cells["length_m"].sum()
    assert whole["parallel_m"] == pytest.approx(40.0) == counted.cells["parallel_m"].sum()
    assert whole["area_m2"] == counted.cells["area_m2"].sum() == 1200.0


def test_phases_are_told_with_what_lies_in_their_dig(counted: Scope) -> None:
    # phase 1 digs 1.2 m, with 0.3 m tolerance 1.5 m: A (0.8) and no other. B's top lies at 1.585, C's at 2.585
    # phase 2 digs 2.0 m, so 2.3: A, B and D. C lies in phase 1 only
    phases = counted.scope_phases.set_index("phase")
    assert phases.index.tolist() == ["all", "1", "2"]
    one, two, whole = (phases.loc[name] for name in ("1", "2", "all"))
    assert (one["lines"], one["lines_in_dig"], two["lines"], two["lines_in_dig"]) == (3, 1, 3, 3)
    assert (one["in_dig_m"], one["below_dig_m"], one["depth_unsure_m"]) == (20.0, 50.0, 0.0)
    assert (two["in_dig_m"], two["below_dig_m"], two["depth_unsure_m"]) == (50.0, 0.0, 0.0)
    assert (whole["in_dig_m"], whole["below_dig_m"], whole["lines_in_dig"]) == (70.0, 50.0, 3)
    assert np.isnan(whole["dig_depth_m"])  # it differs


def test_what_was_not_computed_is_null_and_never_nothing(counted: Scope) -> None:
    cells, phases = counted.cells, counted.scope_phases
    shares = [name for name in RESULT_TABLES["cells"].names if name.endswith("_share")]
    assert len(shares) == 6
    assert cells[shares].isna().all().all()
    assert phases[shares].isna().all().all()
    assert set(cells["state"]) == {"geometry_only", "no_records"}
    assert cells.set_index("cell_id").loc["2_1", "state"] == "no_records"
    assert phases["basis"].eq("rates").all()


def test_without_surfaces_closures_are_not_known_and_never_nothing(counted: Scope) -> None:
    closures = counted.scope_effort[counted.scope_effort["what"].isin(["closures", "closure_hours"])]
    assert len(closures)
    assert closures[["low", "likely", "high"]].isna().all().all()
    assert closures["basis"].str.startswith("not known").all()
    assert counted.scope_phases[["closures_low", "closures_likely", "closures_high"]].isna().all().all()


def test_words_are_few_never_free(counted: Scope) -> None:
    words = counted.cells.set_index("cell_id")["congestion"]
    assert words["1_0"] == "several recorded lines"
    assert words["1_1"] == "few recorded lines"
    assert words["0_1"] == "no recorded lines"
    said = " ".join(str(value) for frame in (counted.cells, counted.scope_phases, counted.scope_effort)
                    for name in frame.columns.drop("geometry") for value in frame[name])  # fmt: skip
    assert not {"safe", "free", "clear", "ok"} & set(said.lower().split())


def test_phases_named_on_the_cells(counted: Scope) -> None:
    phases = counted.cells.set_index("cell_id")["phase"]
    assert phases["0_0"] == phases["1_2"] == "1"
    assert phases["2_0"] == phases["3_2"] == "2"


def test_hexagons_hold_the_same_totals(counted: Scope) -> None:
    hexagons = SQUARES.model_copy(update={"scope": SQUARES.scope.model_copy(update={"shape": "hexagon"})})
    other = scope_area(twelve(), geometry_only=True, settings=hexagons)
    assert other.cells["length_m"].sum() == pytest.approx(120.0)
    assert other.cells["crossings"].sum() == 2
    columns = counted.scope_phases.columns.drop("geometry")
    assert other.scope_phases[columns].equals(counted.scope_phases[columns])


def test_the_same_again_and_records_untouched(counted: Scope) -> None:
    site = twelve()
    before = [frame.copy() for frame in (site.lines, site.work_area, site.surfaces)]
    again = scope_area(site, geometry_only=True, settings=SQUARES)
    for name in ("cells", "scope_phases", "scope_effort", "test_holes", "scope_rates"):
        assert getattr(again, name).to_csv() == getattr(counted, name).to_csv()
    for frame, was in zip((site.lines, site.work_area, site.surfaces), before, strict=True):
        assert frame.equals(was)


def test_without_a_work_area_it_stops_or_takes_everything() -> None:
    site = make_site(lines=LINES)
    with pytest.raises(InputError, match="no work area in the records: give --work-area FILE, or --everything"):
        scope_area(site, geometry_only=True)
    whole = scope_area(site, everything=True, geometry_only=True, settings=SQUARES)
    # the rectangle from (-5, -5) to (45, 35) with a metre round it: 52 by 42 m, and all of the four lines
    assert whole.scope_phases["area_m2"].tolist() == [52.0 * 42.0]
    assert whole.scope_phases["length_m"].tolist() == pytest.approx([50.0 + 50.0 + 40.0 + 10.0])
    with pytest.raises(InputError, match="all are proposed or removed"):
        scope_area(make_site(lines=[LINES[-1]]), everything=True, geometry_only=True)


def test_an_area_that_meets_nothing_has_cells_without_records() -> None:
    far = scope_area(twelve(work_area=[{"geometry": shapely.box(500, 500, 520, 520)}]), geometry_only=True,
                     settings=SQUARES)  # fmt: skip
    assert far.cells["state"].eq("no_records").all()
    assert len(far.cells) == 4
    assert far.scope_phases["length_m"].tolist() == [0.0]
    assert far.test_holes.empty


def test_a_phase_in_several_polygons_is_one_and_its_deepest_dig_counts() -> None:
    same = [{**row, "phase": "x"} for row in DIG]
    phases = scope_area(twelve(work_area=same), geometry_only=True, settings=SQUARES).scope_phases
    assert phases["phase"].tolist() == ["all", "x"]
    assert phases["dig_depth_m"].tolist() == [2.0, 2.0]
    unnamed = scope_area(twelve(work_area=[{"geometry": row["geometry"]} for row in DIG]), geometry_only=True,
                         settings=SQUARES).scope_phases  # fmt: skip
    assert unnamed["phase"].tolist() == ["all"]
    assert unnamed["depth_unsure_m"].tolist() == pytest.approx([120.0])  # no depth stated: nothing can be told
    assert unnamed["lines_in_dig"].tolist() == [4]
