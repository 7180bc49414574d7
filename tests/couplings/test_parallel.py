"""Parallel runs, against the plain definition and by what may not change them."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString
from shapely.affinity import rotate, translate

from corridor.couplings import find_parallel_runs
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CrsError, DomainError, InputError
from corridor.frames import provenance
from tests.builders import METRIC, make_lines
from tests.couplings.plain import plain_runs, street

SEEDS = st.integers(0, 100_000)


def lines_of(*shapes: list[tuple[float, float]], **columns: object) -> gpd.GeoDataFrame:
    frame = gpd.GeoDataFrame(geometry=[LineString(s) for s in shapes], crs=METRIC)
    return frame.assign(line_id=[f"L{k}" for k in range(len(shapes))], **columns)


def check(result: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> None:
    assert isinstance(result, gpd.GeoDataFrame)
    assert list(result.columns) == [*RESULT_TABLES["parallel_runs"].names, "geometry"]
    assert result.crs == lines.crs
    assert provenance(result)[-1]["function"] == "find_parallel_runs"
    assert (result["line_a"].astype(str) < result["line_b"].astype(str)).all()
    assert result["run_id"].is_unique
    np.testing.assert_allclose(result.geometry.length, result["length_m"], atol=6e-4)


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_equals_the_plain_definition(seed: int) -> None:
    lines = street(seed)
    result = find_parallel_runs(lines)
    check(result, lines)
    plain = plain_runs(lines)
    assert list(zip(result["line_a"], result["line_b"], strict=True)) == [(r.line_a, r.line_b) for r in plain]
    np.testing.assert_allclose(result["length_m"], [r.length_m for r in plain], atol=1e-3)
    np.testing.assert_allclose(result["separation_mean_m"], [r.mean_m for r in plain], atol=2e-3)
    np.testing.assert_allclose(result["separation_min_m"], [r.min_m for r in plain], atol=1.1e-2)


@given(SEEDS, st.sampled_from([(0.5, 10.0, 1.0), (6.0, 45.0, 2.0), (1.0, 90.0, 0.5)]))
@settings(max_examples=8, deadline=None)
def test_limits_are_the_plain_definitions(seed: int, limits: tuple[float, float, float]) -> None:
    lines = street(seed, count=4)
    reach_m, angle_deg, least_m = limits
    result = find_parallel_runs(lines, max_separation_m=reach_m, max_angle_deg=angle_deg, min_length_m=least_m)
    plain = plain_runs(lines, reach_m=reach_m, angle_deg=angle_deg, least_m=least_m)
    np.testing.assert_allclose(result["length_m"], [r.length_m for r in plain], atol=1e-3)


@given(SEEDS, st.floats(0, 360), st.floats(-1e5, 1e6))
@settings(max_examples=8, deadline=None)
def test_rigid_motion_changes_no_figure(seed: int, turn_deg: float, shift_m: float) -> None:
    lines = street(seed)
    moved = lines.set_geometry(
        [translate(rotate(s, turn_deg, origin=(0, 0)), shift_m, -shift_m) for s in lines.geometry]
    )
    before, after = find_parallel_runs(lines), find_parallel_runs(moved.set_crs(METRIC))
    figures = ["length_m", "separation_mean_m", "separation_min_m"]
    np.testing.assert_allclose(before[figures], after[figures], atol=2e-3)
    assert list(before["run_id"]) == list(after["run_id"])


@given(SEEDS)
@settings(max_examples=8, deadline=None)
def test_the_order_of_the_rows_changes_nothing(seed: int) -> None:
    lines = street(seed, depth=True)
    pd.testing.assert_frame_equal(find_parallel_runs(lines), find_parallel_runs(lines.iloc[::-1]))


@given(SEEDS, st.floats(0.1, 0.9))
@settings(max_examples=8, deadline=None)
def test_a_vertex_inside_a_segment_changes_no_length(seed: int, where: float) -> None:
    lines = street(seed)
    split = []
    for shape in lines.geometry:
        xy = np.array(shape.coords)
        split.append(LineString(np.insert(xy, 1, xy[0] + where * (xy[1] - xy[0]), axis=0)))
    before, after = find_parallel_runs(lines), find_parallel_runs(lines.set_geometry(split).set_crs(METRIC))
    np.testing.assert_allclose(before["length_m"], after["length_m"], atol=2e-3)
    np.testing.assert_allclose(before["separation_mean_m"], after["separation_mean_m"], atol=2e-3)


@given(SEEDS)
@settings(max_examples=6, deadline=None)
def test_the_direction_of_a_line_changes_no_figure(seed: int) -> None:
    lines = street(seed)
    turned = lines.set_geometry([shape.reverse() for shape in lines.geometry]).set_crs(METRIC)
    figures = ["line_a", "line_b", "length_m"]
    before = find_parallel_runs(lines)[figures].sort_values(figures, ignore_index=True)
    after = find_parallel_runs(turned)[figures].sort_values(figures, ignore_index=True)
    assert list(before["line_a"]) == list(after["line_a"])
    np.testing.assert_allclose(before["length_m"], after["length_m"], atol=2e-3)


def test_the_run_lies_on_the_first_line() -> None:
    lines = lines_of([(0, 0), (10, 0), (10, 30)], [(4, 1), (11, 1), (11, 30)])
    (run,) = find_parallel_runs(lines).itertuples()
    # from the foot of L1's start to the end; at the bend no foot for less than 1 m on either side
    assert run.geometry.equals_exact(LineString([(4, 0), (10, 0), (10, 30)]), 1e-9)
    assert run.length_m == 36.0
    assert run.separation_mean_m == 1.0


def test_mean_distance_is_exact_where_lines_cross() -> None:
    # |y| from -0.5 to +1.5 over 20 m: two triangles, (0.5 * 0.25 + 1.5 * 0.75) / 2 = 0.625
    (run,) = find_parallel_runs(lines_of([(0, -0.5), (20, 1.5)], [(-5, 0), (25, 0)])).itertuples()
    slope = np.hypot(20, 2) / 20
    assert run.separation_mean_m == pytest.approx(0.625, abs=1e-3)
    assert run.separation_min_m == 0.0
    assert run.length_m == pytest.approx(20 * slope, abs=1e-3)


def test_a_limit_is_within() -> None:
    assert len(find_parallel_runs(lines_of([(0, 0), (5, 0)], [(0, 3), (5, 3)]))) == 1
    assert find_parallel_runs(lines_of([(0, 0), (5, 0)], [(0, 3.001), (5, 3.001)])).empty
    assert find_parallel_runs(lines_of([(0, 0), (4.999, 0)], [(0, 3), (5, 3)])).empty


@pytest.mark.parametrize(("gap_m", "runs"), [(0.9, 1), (1.0, 1), (1.1, 2)])
def test_gaps_of_a_metre_join(gap_m: float, runs: int) -> None:
    far = 20.0 + gap_m
    lines = lines_of([(0, 0), (60, 0)], [(0, 1), (20, 1), (20, 40), (far, 40), (far, 1), (60, 1)])
    result = find_parallel_runs(lines)
    assert len(result) == runs
    assert list(result["run_id"]) == [f"L0~L1~{k + 1}" for k in range(runs)]


def test_one_pair_of_lines_may_run_side_by_side_twice() -> None:
    lines = lines_of([(0, 0), (60, 0)], [(0, 1), (20, 1), (20, 9), (40, 9), (40, 1), (60, 1)])
    assert list(find_parallel_runs(lines)["length_m"]) == [20.0, 20.0]


def test_a_line_does_not_run_beside_itself() -> None:
    assert find_parallel_runs(lines_of([(0, 0), (20, 0), (20, 1), (0, 1)])).empty


def test_depths_give_difference_and_range() -> None:
    rows = [
        {"line_id": "a", "geometry": [(0, 0), (20, 0)], "depth_m": 1.0, "depth_m_low": 0.9, "depth_m_high": 1.1},
        {"line_id": "b", "geometry": [(0, 1), (20, 1)], "depth_m": 1.5, "depth_m_low": 1.2, "depth_m_high": 1.8},
        {"line_id": "c", "geometry": [(0, 2), (20, 2)], "depth_m": 1.5, "depth_m_src": "default"},
    ]
    result = find_parallel_runs(make_lines(rows)).set_index("run_id")
    assert result.loc["a~b~1", "depth_difference_m"] == 0.5
    assert result.loc["a~b~1", "depth_difference_low_m"] == 0.1
    assert result.loc["a~b~1", "depth_difference_high_m"] == 0.9
    assert pd.isna(result.loc["a~c~1", "depth_difference_m"])
    assert result.loc["a~c~1", "depth_difference_high_m"] == pytest.approx(0.6)


def test_needs_no_more_than_ids_depths_and_geometry() -> None:
    lines = lines_of([(0, 0), (20, 0)], [(0, 1), (20, 1)], depth_m=[0.8, None])
    assert pd.isna(find_parallel_runs(lines)["depth_difference_m"].iloc[0])
    assert len(find_parallel_runs(lines.drop(columns="depth_m"))) == 1


def test_inputs_are_left_alone() -> None:
    lines = street(1, depth=True)
    copy = lines.copy(deep=True)
    find_parallel_runs(lines)
    pd.testing.assert_frame_equal(lines, copy)


@pytest.mark.parametrize("lines", [street(0, count=0), street(0, count=1)])
def test_empty_in_empty_out(lines: gpd.GeoDataFrame) -> None:
    result = find_parallel_runs(lines.set_crs(METRIC))
    assert result.empty
    check(result, lines)


def test_chunks_change_nothing() -> None:
    lines = street(8, count=25, depth=True)
    whole = find_parallel_runs(lines)
    pd.testing.assert_frame_equal(find_parallel_runs(lines, chunk_segments=5), whole)
    with pytest.raises(DomainError, match="expected chunk_segments >= 1, got 0"):
        find_parallel_runs(lines, chunk_segments=0)


def test_wrong_crs_and_rows_are_refused() -> None:
    with pytest.raises(CrsError):
        find_parallel_runs(street(1).to_crs("EPSG:4326"))
    with pytest.raises(InputError, match="comes twice"):
        find_parallel_runs(street(1).assign(line_id="x"))


@pytest.mark.parametrize(
    "limits", [{"max_separation_m": -1.0}, {"max_angle_deg": 91.0}, {"min_length_m": float("nan")}]
)
def test_limits_out_of_range_are_refused(limits: dict[str, float]) -> None:
    with pytest.raises(DomainError, match="expected max_separation_m >= 0"):
        find_parallel_runs(street(1), **limits)
