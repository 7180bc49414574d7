"""Crossings, against the plain definition and by what may not change them."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point
from shapely.affinity import rotate, translate

from corridor.couplings import find_crossings
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CrsError, DomainError, InputError
from corridor.frames import provenance
from tests.builders import METRIC, make_lines
from tests.couplings.plain import plain_crossings, street

SEEDS = st.integers(0, 100_000)


def lines_of(*shapes: list[tuple[float, float]]) -> gpd.GeoDataFrame:
    frame = gpd.GeoDataFrame(geometry=[LineString(s) for s in shapes], crs=METRIC)
    return frame.assign(line_id=[f"L{k}" for k in range(len(shapes))])


def check(result: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> None:
    assert list(result.columns) == [*RESULT_TABLES["crossings"].names, "geometry"]
    assert result.crs == lines.crs
    assert provenance(result)[-1]["function"] == "find_crossings"
    assert (result["line_a"].astype(str) < result["line_b"].astype(str)).all()
    assert result["crossing_id"].is_unique
    assert result["angle_deg"].between(0, 90).all()


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_equals_the_plain_definition(seed: int) -> None:
    lines = street(seed, count=8)
    result = find_crossings(lines)
    check(result, lines)
    plain = plain_crossings(lines)
    assert [(c.line_a, c.line_b) for c in result.itertuples()] == [(a, b) for a, b, _ in plain]
    assert all(c.distance(p[2]) < 1e-6 for c, p in zip(result.geometry, plain, strict=True))


@given(SEEDS, st.floats(0, 360), st.floats(-1e5, 1e6))
@settings(max_examples=8, deadline=None)
def test_rigid_motion_changes_no_crossing(seed: int, turn_deg: float, shift_m: float) -> None:
    lines = street(seed)
    moved = lines.set_geometry(
        [translate(rotate(s, turn_deg, origin=(0, 0)), shift_m, -shift_m) for s in lines.geometry]
    )
    before, after = find_crossings(lines), find_crossings(moved.set_crs(METRIC))
    assert list(before["crossing_id"]) == list(after["crossing_id"])
    np.testing.assert_allclose(before["angle_deg"], after["angle_deg"], atol=0.011)


@given(SEEDS)
@settings(max_examples=8, deadline=None)
def test_the_order_of_the_rows_changes_nothing(seed: int) -> None:
    lines = street(seed, depth=True)
    pd.testing.assert_frame_equal(find_crossings(lines), find_crossings(lines.iloc[::-1]))


@given(SEEDS)
@settings(max_examples=8, deadline=None)
def test_vertices_at_the_crossings_change_no_crossing(seed: int) -> None:
    lines = street(seed)
    found = find_crossings(lines)
    shapes = dict(zip(lines["line_id"], lines.geometry, strict=True))
    for crossing in found.itertuples():
        for name in (crossing.line_a, crossing.line_b):
            shape = shapes[name]
            measures = sorted({*(shape.project(Point(xy)) for xy in shape.coords), shape.project(crossing.geometry)})
            shapes[name] = LineString([shape.interpolate(m) for m in measures])
    split = lines.set_geometry([shapes[name] for name in lines["line_id"]]).set_crs(METRIC)
    assert list(find_crossings(split)["crossing_id"]) == list(found["crossing_id"])


def test_place_angle_and_name() -> None:
    (crossing,) = find_crossings(lines_of([(0, 0), (10, 0)], [(4, -5), (4, 5)])).itertuples()
    assert crossing.crossing_id == "L0~L1~1"
    assert crossing.geometry.equals(Point(4, 0))
    assert crossing.angle_deg == 90.0


@pytest.mark.parametrize("turn_deg", [5.0, 30.0, 60.0, 120.0, 175.0])
def test_angle_is_of_lines_without_direction(turn_deg: float) -> None:
    across = rotate(LineString([(-5, 0), (5, 0)]), turn_deg)
    found = find_crossings(lines_of([(-10, 0), (10, 0)], list(across.coords)))
    assert found["angle_deg"].iloc[0] == pytest.approx(min(turn_deg, 180 - turn_deg), abs=0.01)


def test_a_point_at_a_vertex_of_both_lines_counts_once_with_its_smallest_angle() -> None:
    found = find_crossings(lines_of([(-5, 0), (0, 0), (5, 0)], [(-3, -3), (0, 0), (1, 3)]))
    assert list(found["angle_deg"]) == [45.0]


def test_three_meetings_of_a_pair_are_numbered_along_the_first() -> None:
    found = find_crossings(lines_of([(10, 0), (0, 0)], [(1, -1), (2, 1), (5, -1), (8, 1)]))
    assert list(found["crossing_id"]) == ["L0~L1~1", "L0~L1~2", "L0~L1~3"]
    assert found.geometry.x.is_monotonic_decreasing


def test_a_point_passed_twice_by_one_line_counts_once() -> None:
    loop = [(0, 0), (10, 0), (10, 5), (5, 5), (5, -5)]  # crosses itself at (5, 0)
    found = find_crossings(lines_of(loop, [(4, -1), (6, 1)]))
    assert len(found) == 1


@pytest.mark.parametrize(("past_end_m", "count"), [(0.0, 0), (0.05, 0), (0.06, 1), (1.0, 1)])
def test_near_an_end_is_a_connection_not_a_crossing(past_end_m: float, count: int) -> None:
    assert len(find_crossings(lines_of([(0, 0), (10, 0)], [(5, -5), (5, past_end_m)]))) == count


@pytest.mark.parametrize(("gap_m", "count"), [(0.0, 0), (0.0009, 0), (0.002, 1)])
def test_lines_that_share_an_end_node_do_not_cross(gap_m: float, count: int) -> None:
    other = [(gap_m, 0), (5, 5), (10, -5)]
    assert len(find_crossings(lines_of([(0, 0), (20, 0)], other))) == count


def test_overlap_is_no_point() -> None:
    assert find_crossings(lines_of([(0, 0), (10, 0)], [(2, 0), (8, 0)])).empty
    turned = [rotate(LineString(s), 33.3, origin=(0, 0)) for s in ([(0, 0), (10, 0)], [(2, 0), (8, 0)])]
    assert find_crossings(lines_of(*[list(s.coords) for s in turned])).empty


def test_a_line_does_not_cross_itself() -> None:
    assert find_crossings(lines_of([(0, 0), (10, 0), (10, 5), (5, 5), (5, -5)])).empty


def test_clearance_is_the_distance_of_the_axes_or_null() -> None:
    rows = [
        {"line_id": "a", "geometry": [(0, 0), (20, 0)], "depth_m": 1.0, "depth_m_low": 0.8, "depth_m_high": 1.2},
        {"line_id": "b", "geometry": [(5, -5), (5, 5)], "depth_m": 1.6},
        {"line_id": "c", "geometry": [(9, -5), (9, 5)], "depth_m": None},
        {"line_id": "d", "geometry": [(13, -5), (13, 5)], "depth_m": 1.1, "depth_m_src": "default"},
    ]
    found = find_crossings(make_lines(rows)).set_index("crossing_id")
    assert found.loc["a~b~1", "clearance_m"] == 0.6
    assert found.loc["a~b~1", "clearance_low_m"] == 0.4
    assert found.loc["a~b~1", "clearance_high_m"] == 0.8
    assert found.loc["a~c~1", ["clearance_m", "clearance_low_m", "clearance_high_m"]].isna().all()
    assert pd.isna(found.loc["a~d~1", "clearance_m"])
    assert found.loc["a~d~1", "clearance_low_m"] == 0.0


def test_inputs_are_left_alone() -> None:
    lines = street(1, depth=True)
    copy = lines.copy(deep=True)
    find_crossings(lines)
    pd.testing.assert_frame_equal(lines, copy)


@pytest.mark.parametrize(
    "lines", [street(0, count=0), street(0, count=1), lines_of([(0, 0), (1, 0)], [(0, 9), (1, 9)])]
)
def test_empty_in_empty_out(lines: gpd.GeoDataFrame) -> None:
    result = find_crossings(lines.set_crs(METRIC))
    assert result.empty
    check(result, lines)


def test_chunks_change_nothing() -> None:
    lines = street(9, count=25, depth=True)
    whole = find_crossings(lines)
    pd.testing.assert_frame_equal(find_crossings(lines, chunk_segments=5), whole)
    with pytest.raises(DomainError, match="expected chunk_segments >= 1, got 0"):
        find_crossings(lines, chunk_segments=0)


def test_wrong_crs_and_rows_are_refused() -> None:
    with pytest.raises(CrsError):
        find_crossings(street(1).to_crs("EPSG:4326"))
    with pytest.raises(InputError, match="comes twice"):
        find_crossings(street(1).assign(line_id="x"))
