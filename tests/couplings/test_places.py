"""Where conductors meet one another and structures, and where a joint parts them."""

import numpy as np
import pytest
import shapely
from shapely import Point

from corridor.couplings.places import conducts, isolating_places, lines_at, meetings
from corridor.couplings.segments import sorted_lines
from tests.builders import make_lines, make_site


@pytest.mark.parametrize(
    ("columns", "carries"),
    [
        ({}, True),
        ({"status": None}, True),
        ({"status": "abandoned"}, True),
        ({"status": "out_of_service"}, True),
        ({"status": "unknown"}, True),
        ({"status": "proposed"}, False),
        ({"status": "removed"}, False),
        ({"conductive": "no"}, False),
        ({"conductive": "unknown"}, False),
        ({"conductive": None}, False),
    ],
)
def test_what_carries_tone(columns: dict[str, object], carries: bool) -> None:
    assert conducts(make_lines([{"line_id": "a", "geometry": [(0, 0), (1, 0)], **columns}])).tolist() == [carries]


def test_a_line_is_at_a_point_with_its_end_where_that_is_within_reach() -> None:
    lines = make_lines(
        [{"line_id": "a", "geometry": [(0, 0), (10, 0)]}, {"line_id": "b", "geometry": [(5, -5), (5, 5)]}]
    )
    points = np.array([Point(0.3, 0.3), Point(5, 0.2), Point(10.4, 0), Point(20, 0)])
    found = lines_at(lines, points, reach_m=0.5)
    rows = [(r.point, r.line, round(r.measure_m, 9), r.end) for r in found.itertuples()]
    assert rows == [(0, 0, 0.0, True), (1, 0, 5.0, False), (1, 1, 5.2, False), (2, 0, 10.0, True)]


def met(*rows: dict[str, object]) -> list[tuple[str, float, str, float]]:
    lines = sorted_lines(make_lines([{"line_id": f"L{k}", **row} for k, row in enumerate(rows)]))
    ids = lines["line_id"]
    return [
        (ids[m.line_a], round(m.measure_a_m, 6), ids[m.line_b], round(m.measure_b_m, 6))
        for m in meetings(lines, snap_m=0.1).itertuples()
    ]


def test_two_ends_meet_once() -> None:
    assert met({"geometry": [(0, 0), (10, 0)]}, {"geometry": [(15, 0), (10.05, 0)]}) == [("L0", 10.0, "L1", 4.95)]


def test_an_end_on_the_inside_of_another_is_a_tee() -> None:
    assert met({"geometry": [(0, 0), (10, 0)]}, {"geometry": [(4, 0.05), (4, 9)]}) == [("L1", 0.0, "L0", 4.0)]
    assert met({"geometry": [(4, 0.05), (4, 9)]}, {"geometry": [(0, 0), (10, 0)]}) == [("L0", 0.0, "L1", 4.0)]


def test_three_ends_at_a_point_meet_in_pairs() -> None:
    found = met({"geometry": [(0, 0), (5, 5)]}, {"geometry": [(0, 0), (5, -5)]}, {"geometry": [(-5, 0), (0, 0)]})
    assert [(a, b) for a, _, b, _ in found] == [("L0", "L1"), ("L0", "L2"), ("L1", "L2")]


def test_a_ring_meets_itself() -> None:
    assert met({"geometry": [(0, 0), (10, 0), (10, 10), (0, 0)]}) == [("L0", 0.0, "L0", round(20 + 200**0.5, 6))]


@pytest.mark.parametrize(
    "other",
    [
        {"utility": "gas"},
        {"conductive": "no"},
        {"status": "proposed"},
        {"asset": "duct"},
        {"geometry": [(10.2, 0), (20, 0)]},
        {"geometry": [(5, -5), (5, 5)]},  # a plan crossing
    ],
)
def test_what_does_not_meet(other: dict[str, object]) -> None:
    assert met({"geometry": [(0, 0), (10, 0)]}, {"geometry": [(10, 0), (20, 0)]} | other) == []


# between networks of two voltages stands a transformer (common practice); 230 and 400 V are one network
@pytest.mark.parametrize(("volts", "other", "pairs"), [(20_000, 400, 0), (400, 230, 1), (20_000, None, 1), (0, 400, 1)])
def test_networks_of_two_voltages_do_not_meet(volts: float, other: float | None, pairs: int) -> None:
    through = {"geometry": [(0, 0), (10, 0)], "nominal_voltage_v": volts}
    assert len(met(through, {"geometry": [(10, 0), (20, 0)], "nominal_voltage_v": other})) == pairs  # end to end
    assert len(met(through, {"geometry": [(5, 0), (5, 20)], "nominal_voltage_v": other})) == pairs  # a tee


def test_containers_meet_containers() -> None:
    duct = {"asset": "duct", "geometry": [(0, 0), (10, 0)]}
    assert len(met(duct, duct | {"geometry": [(10, 0), (20, 0)]})) == 1


def test_no_lines_meet_nowhere() -> None:
    assert meetings(
        make_lines([]).reindex(columns=["line_id", "utility", "asset", "conductive", "status", "geometry"]), snap_m=0.1
    ).empty


TERMINATION = {"structure_id": "V", "line_id": "a", "isolated": "yes"}


@pytest.mark.parametrize(
    ("at", "x", "measure_m", "inside"),
    [
        (None, 4.0, 4.0, True),
        ("through", 4.0, 4.0, True),
        (None, 0.4, 0.0, False),
        (None, 9.6, 10.0, False),
        ("start", 0.8, 0.0, False),
        ("end", 8.5, 10.0, False),
    ],
)
def test_where_an_isolating_joint_stands(at: str | None, x: float, measure_m: float, inside: bool) -> None:
    site = make_site(
        lines=[{"line_id": "a", "geometry": [(0, 0), (10, 0)]}],
        structures=[{"structure_id": "V", "kind": "valve", "geometry": (x, 0.2)}],
        terminations=[TERMINATION | {"at": at}],
    )
    (place,) = isolating_places(site).itertuples(index=False)
    assert (place.structure_id, place.line_id, place.measure_m, place.inside) == ("V", "a", measure_m, inside)


def test_unknown_lines_and_structures_and_other_words_are_passed_over() -> None:
    site = make_site(
        lines=[{"line_id": "a", "geometry": [(0, 0), (10, 0)]}],
        structures=[{"structure_id": "V", "kind": "valve", "geometry": (0, 0)}],
        terminations=[
            TERMINATION | {"structure_id": "W"},
            TERMINATION | {"line_id": "b"},
            TERMINATION | {"isolated": "no"},
            TERMINATION | {"isolated": None},
        ],
    )
    assert isolating_places(site).empty
    assert list(isolating_places(site).columns) == ["structure_id", "line_id", "measure_m", "inside"]


def test_a_joint_stated_twice_stands_once() -> None:
    site = make_site(
        lines=[{"line_id": "a", "geometry": [(0, 0), (10, 0)]}],
        structures=[{"structure_id": "V", "kind": "valve", "geometry": shapely.Point(0, 0)}],
        terminations=[TERMINATION, TERMINATION],
    )
    assert len(isolating_places(site)) == 1
