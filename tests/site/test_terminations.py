"""Where a line can be reached: as recorded, completed and derived."""

from typing import Any

import pandas as pd
import pytest
from shapely import Point

from corridor.site.terminations import derive_terminations
from tests.site.records import X, Y, frame, line

COLUMNS = ["structure_id", "line_id", "at", "direct", "clamp", "isolated"]
CABLE = {"utility": "electricity", "asset": "cable"}


def structure(
    kind: str, x: float = 0.0, y: float = 0.0, *, utility: str | None = "water", name: str = "S-1"
) -> dict[str, Any]:
    return {"structure_id": name, "kind": kind, "utility": utility, "geometry": Point(X + x, Y + y)}


def given(*rows: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame([dict.fromkeys(COLUMNS) | row for row in rows], columns=COLUMNS, dtype=object)


def derive(
    lines: list[dict[str, Any]], structures: list[dict[str, Any]], recorded: pd.DataFrame | None = None
) -> pd.DataFrame:
    table = frame([{"conductive": "yes"} | row for row in lines])
    places = frame(structures)
    places["utility"] = places["utility"].astype(object).where(places["utility"].notna(), None)
    result = derive_terminations(table, places, given() if recorded is None else recorded, reach_m=0.5)
    assert set(COLUMNS) | {"derived"} <= set(result.columns)
    return result


@pytest.mark.parametrize(("x", "y", "at"), [(0.4, 0, "start"), (49.8, 0.3, "end"), (25, 0.49, "through")])
def test_how_a_line_meets_a_structure(x: float, y: float, at: str) -> None:
    (row,) = derive([line()], [structure("valve", x, y)]).to_dict("records")
    assert (row["structure_id"], row["line_id"], row["at"], row["derived"]) == ("S-1", "W-1", at, True)


@pytest.mark.parametrize(("x", "y"), [(-0.6, 0), (25, 0.6)])
def test_what_is_out_of_reach_is_not_met(x: float, y: float) -> None:
    assert derive([line()], [structure("valve", x, y)]).empty


@pytest.mark.parametrize(
    ("kind", "row", "access"),
    [
        ("valve", {}, ("yes", "unknown")),
        ("hydrant", {}, ("yes", "unknown")),
        ("curb_stop", {"conductive": "no", "material": "polyethylene"}, ("no", "no")),
        ("test_station", {"utility": "gas"}, ("yes", "unknown")),
        ("meter", {"utility": "gas"}, ("unknown", "unknown")),
        ("manhole", CABLE, ("unknown", "yes")),
        ("cabinet", CABLE, ("unknown", "yes")),
        ("manhole", {}, ("unknown", "unknown")),
        ("pole", CABLE, ("unknown", "unknown")),
        ("transformer", CABLE, ("unknown", "unknown")),
    ],
)
def test_access_is_yes_only_where_the_kind_makes_it_obvious(
    kind: str, row: dict[str, Any], access: tuple[str, str]
) -> None:
    utility = row.get("utility", "water")
    (met,) = derive([line(**row)], [structure(kind, utility=utility)]).to_dict("records")
    assert (met["direct"], met["clamp"]) == access


@pytest.mark.parametrize(
    ("kind", "utility", "meets"),
    [("valve", "gas", False), ("manhole", "sewer", False), ("valve", None, True), ("valve", "unknown", True),
     ("building_entry", "electricity", True), ("pole", "electricity", True)],
)  # fmt: skip
def test_a_structure_of_another_utility_is_none_of_this_lines(kind: str, utility: str | None, meets: bool) -> None:
    assert len(derive([line()], [structure(kind, utility=utility)])) == meets


def test_what_is_recorded_is_never_changed_only_completed() -> None:
    recorded = given({"structure_id": "S-1", "line_id": "W-1", "at": "tap", "direct": "no", "isolated": "yes"})
    (row,) = derive([line()], [structure("valve")], recorded).to_dict("records")
    assert (row["at"], row["direct"], row["isolated"]) == ("tap", "no", "yes")
    assert row["clamp"] == "unknown"
    assert row["derived"] is False


def test_a_record_beyond_reach_stands_with_access_unknown() -> None:
    recorded = given({"structure_id": "S-1", "line_id": "W-1"})
    (row,) = derive([line()], [structure("valve", 30, 40)], recorded).to_dict("records")
    assert (row["at"], row["direct"], row["clamp"]) == (None, "unknown", "unknown")


def test_recorded_rows_come_first_then_the_derived_by_id() -> None:
    lines = [line("W-2", (0, 0), (0, 20)), line("W-1")]
    recorded = given({"structure_id": "S-1", "line_id": "W-2", "direct": "yes"})
    result = derive(lines, [structure("valve"), structure("hydrant", 50, 0, name="A-1")], recorded)
    assert result[["structure_id", "line_id"]].to_numpy().tolist() == [["S-1", "W-2"], ["A-1", "W-1"], ["S-1", "W-1"]]
    assert result["derived"].tolist() == [False, True, True]


def test_no_structures_no_terminations() -> None:
    table = frame([line(conductive="yes")])
    places = frame([structure("valve")]).iloc[:0]
    assert derive_terminations(table, places, given(), reach_m=0.5).empty
