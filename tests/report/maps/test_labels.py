"""Labels: no two overlap, none leaves the map, the same every time."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as MplPath
from matplotlib.textpath import TextPath

from corridor.report.maps.labels import Label, path_size, place_labels

FRAME = shapely.box(0, 0, 400, 300)
XY = st.tuples(st.floats(5, 395), st.floats(5, 295))


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(XY, XY), min_size=1, max_size=12))
def test_boxes_are_disjoint_and_inside(ends: list[tuple[tuple[float, float], tuple[float, float]]]) -> None:
    lines = [shapely.LineString(pair) for pair in ends if pair[0] != pair[1]]
    labels = [Label(text=f"W-{i:03d}", shape=line) for i, line in enumerate(lines)]
    placed = place_labels(labels, lines=lines, frame=FRAME)
    assert all(shapely.contains(FRAME, p.box) for p in placed)
    assert not any(a.box.intersects(b.box) for a, b in itertools.combinations(placed, 2))
    again = place_labels(labels, lines=lines, frame=FRAME)
    assert [(p.x_pt, p.y_pt) for p in placed] == [(p.x_pt, p.y_pt) for p in again]


def test_a_lone_line_is_labelled_beside_itself() -> None:
    line = shapely.LineString([(50, 150), (350, 150)])
    (placed,) = place_labels([Label("G-001", line)], lines=[line], frame=FRAME)
    assert not placed.box.intersects(line)
    assert placed.has_leader
    assert line.distance(shapely.Point(placed.anchor_x_pt, placed.anchor_y_pt)) < 1e-9


def test_a_taken_area_stays_free() -> None:
    line = shapely.LineString([(150, 150), (250, 150)])
    taken = line.buffer(25)
    (placed,) = place_labels([Label("G-001", line)], lines=[line], frame=FRAME, taken=[taken])
    assert not placed.box.intersects(shapely.envelope(taken))


def test_without_room_a_label_is_left_out() -> None:
    line = shapely.LineString([(1, 1), (9, 9)])
    assert place_labels([Label("G-001", line)], lines=[line], frame=shapely.box(0, 0, 10, 10)) == []


def test_a_point_keeps_its_symbol_visible() -> None:
    point = shapely.Point(200, 150)
    (placed,) = place_labels([Label("7", point)], lines=[], frame=FRAME)
    assert not placed.box.contains(point)


def test_a_boxed_text_stands_off_all_the_points_that_share_it() -> None:
    points = shapely.MultiPoint([(200, 150), (208, 150), (216, 152)])
    symbols = [point.buffer(5) for point in points.geoms]
    (placed,) = place_labels([Label("4, 7–9", points, boxed=True)], lines=[], frame=FRAME, taken=symbols)
    assert not any(placed.box.intersects(symbol) for symbol in symbols)
    assert (placed.anchor_x_pt, placed.anchor_y_pt) in [(p.x, p.y) for p in points.geoms]
    (plain,) = place_labels([Label("4, 7–9", points)], lines=[], frame=FRAME, taken=symbols)
    assert placed.box.area > plain.box.area


def test_a_leader_rather_goes_round_a_symbol() -> None:
    line = shapely.LineString([(150, 150), (250, 150)])
    fence = [shapely.box(140, 130 + 2 * dy, 260, 135 + 2 * dy) for dy in (0, 15)]  # symbols above and below
    (placed,) = place_labels([Label("G-001", line)], lines=[line], frame=FRAME, taken=fence)
    leader = shapely.LineString([(placed.x_pt, placed.y_pt), (placed.anchor_x_pt, placed.anchor_y_pt)])
    assert not any(leader.intersects(symbol) for symbol in fence)


@pytest.mark.parametrize("text", ["GAS-001", "äß@&fi 12", "3/4 (old), °", "l", "."])
@pytest.mark.parametrize("weight", ["normal", "bold"])
def test_size_of_a_text_is_the_one_that_matplotlib_finds_piece_by_piece(text: str, weight: str) -> None:
    path = TextPath((0, 0), text, size=6.5, prop=FontProperties(family="DejaVu Sans", weight=weight))
    extents = path.get_extents()
    np.testing.assert_allclose(path_size(path), (extents.width, extents.height), rtol=1e-12)


def test_size_of_a_bow_counts_its_turning_point_and_not_its_control_point() -> None:
    # the parabola through (0, 0) and (2, 0) with the control point (1, 1) rises to half of it
    bow = MplPath([(0, 0), (1, 1), (2, 0)], [MplPath.MOVETO, MplPath.CURVE3, MplPath.CURVE3])
    assert path_size(bow) == pytest.approx((2.0, 0.5))


def test_size_of_other_paths_is_matplotlibs() -> None:
    cubic = MplPath([(0, 0), (0, 1), (3, 1), (3, 0)], [MplPath.MOVETO, *[MplPath.CURVE4] * 3])
    assert path_size(cubic) == pytest.approx((3.0, 0.75))
    assert path_size(MplPath([(0, 0), (2, 5)])) == (2.0, 5.0)
    assert path_size(MplPath(np.empty((0, 2)), [])) == (0.0, 0.0)
