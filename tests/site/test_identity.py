"""Ids made complete and unique, duplicates set aside, references checked."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point

from corridor.errors import InputError
from corridor.site.findings import FEATURE, Findings
from corridor.site.identity import check_references, drop_duplicates, nearest_part, unique_ids
from tests.site.records import X, Y, course, labelled, line, messages


def named(*ids: str | None, **columns: list[object]) -> tuple[list[str], dict[str, list[str]]]:
    rows = labelled([{"line_id": i, "geometry": course((0, k), (9, k))} for k, i in enumerate(ids)]).assign(**columns)
    findings = Findings()
    result = unique_ids(rows, "line_id", findings)
    assert rows["line_id"].tolist() == list(ids)
    assert "part" not in result
    return result["line_id"].tolist(), messages(findings)


def test_a_missing_id_is_made_from_layer_and_row() -> None:
    ids, told = named("A", None)
    assert ids == ["A", "lines:1"]
    assert list(told) == ["missing_id"]


def test_an_id_used_twice_gets_a_suffix() -> None:
    ids, told = named("A", "A", "A~2", "A")
    assert ids == ["A", "A~3", "A~2", "A~4"]
    assert told["duplicate_id"][0] == "line_id 'A' is used before; called A~3"


def test_the_first_part_keeps_the_id() -> None:
    assert named("A", "A", "B", part=[0, 1, 0])[0] == ["A", "A/2", "B"]


@given(st.lists(st.sampled_from([None, "A", "B", "A~2", "A~3", "lines:1"]), min_size=1, max_size=8))
def test_ids_are_complete_unique_and_kept_where_they_can_be(ids: list[str | None]) -> None:
    result, _ = named(*ids)
    assert len(set(result)) == len(ids)
    for value in set(ids) - {None}:
        assert value in result


def dropped(*rows: dict[str, object]) -> tuple[list[object], dict[str, list[str]]]:
    lines = labelled(rows)
    findings = Findings()
    return drop_duplicates(lines, findings, most=500)["line_id"].tolist(), messages(findings)


def test_hundreds_of_cables_on_one_course_are_refused() -> None:
    stack = [line(f"C{k}", asset="cable") for k in range(30)]
    lines = labelled([*stack, line("B", (0, 5), (9, 5))])
    assert len(drop_duplicates(lines, Findings(), most=30)) == 31
    with pytest.raises(InputError, match=r"at most 29 lines .*records.gpkg:lines has 30 on that of row 0; remove"):
        drop_duplicates(lines, Findings(), most=29)


def test_the_same_line_twice_is_used_once() -> None:
    kept, told = dropped(line("A"), line("A"), line("B", (0, 5), (9, 5)))
    assert kept == ["A", "B"]
    assert told == {"duplicate": ["recorded before, as A, records.gpkg:lines row 0"]}


def test_drawn_the_other_way_round_it_is_the_same_line() -> None:
    assert dropped(line("A", (0, 0), (9, 0)), line("A", (9, 0), (0, 0)))[0] == ["A"]


def test_without_ids_the_same_course_is_the_same_line() -> None:
    assert dropped(line(None), line(None))[0] == [None]


def test_two_pipes_cant_lie_in_one_place() -> None:
    kept, told = dropped(line("A"), line("B"))
    assert kept == ["A"]
    assert list(told) == ["duplicate"]


@pytest.mark.parametrize("other", [{"material": "steel"}, {"asset": "cable"}, {"utility": "gas"}, {"depth_m": 2.0}])
def test_what_differs_is_not_set_aside(other: dict[str, object]) -> None:
    assert dropped(line("A"), line("B", **other))[0] == ["A", "B"]


def test_cables_drawn_on_one_course_are_told_and_used() -> None:
    cable = {"utility": "electricity", "asset": "cable"}
    kept, told = dropped(line("A", **cable), line("B", **cable))
    assert kept == ["A", "B"]
    assert told == {"same_place": ["same course as A, records.gpkg:lines row 0, another id"]}


def test_the_same_id_elsewhere_is_another_line() -> None:
    assert dropped(line("A"), line("A", (0, 5), (9, 5)))[0] == ["A", "A"]


def test_references_are_checked_column_by_column() -> None:
    rows = labelled([{"a": "x", "b": "y", "geometry": None}, {"a": "q", "b": "y", "geometry": None},
                     {"a": None, "b": "y", "geometry": None}, {"a": "x", "b": "q", "geometry": None}])  # fmt: skip
    findings = Findings()
    kept = check_references(rows, {"a": {"x"}, "b": {"y"}}, findings, optional=("b",))
    assert kept["a"].tolist() == ["x", "x"]
    assert kept["b"].tolist() == ["y", None]
    assert messages(findings)["unknown_reference"] == [
        "a 'q' is in no layer",
        "a is not stated",
        "b 'q' is in no layer",
    ]
    assert len(rows) == 4


def test_a_reference_goes_to_the_nearest_part() -> None:
    lines = labelled([line("A", (0, 0), (9, 0)), line("A/2", (20, 0), (30, 0)), line("B", (0, 5), (9, 5))])
    lines[FEATURE[1]] = [0, 0, 1]
    places = np.array([Point(X + 29, Y), None, Point(X, Y), Point(X + 29, Y)], dtype=object)
    moved = nearest_part(pd.Series(["A", "A", "A", "B"]), places, lines)
    assert moved.tolist() == ["A/2", "A", "A", "B"]


def test_without_parts_references_stay() -> None:
    lines: gpd.GeoDataFrame = labelled([line("A")])
    ids = pd.Series(["A"])
    assert nearest_part(ids, np.array([Point(X, Y)], dtype=object), lines).equals(ids)
