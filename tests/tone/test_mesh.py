"""Cutting lines: nodes kept, lengths held, joints clear of connections."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString

from corridor.settings import SolverSettings
from corridor.tone.mesh import NEAR_LIMIT_M, Spacing, cut_line, joint_measures

LINE = LineString([(0, 0), (40, 0)])
NONE = np.empty(0)
SOLVER = SolverSettings()


def cut(fixed, *, joints=NONE, busy=NONE, gamma=0.0, others=(), line=LINE, ends=None):  # type: ignore[no-untyped-def]
    spacing = Spacing([line, *others], np.full(1 + len(others), 0.8), SOLVER)
    return cut_line(
        0,
        line,
        np.asarray(fixed, dtype=float),
        joints_m=joints,
        busy_m=busy,
        gamma_per_m=gamma,
        spacing=spacing,
        settings=SOLVER,
        line_id="L",
        ends_m=ends,
    )


@given(fixed=st.lists(st.floats(1.0, 39.0), max_size=4))
@settings(max_examples=25, deadline=None)
def test_fixed_measures_are_ends_and_no_section_is_too_long(fixed: list[float]) -> None:
    (piece,) = cut(fixed)
    steps = np.diff(piece.measure_m)
    assert (steps > 0).all()
    assert steps.max() <= SOLVER.section_max_m * (1 + 1e-9)
    for measure in fixed:
        assert np.abs(piece.measure_m - measure).min() < 1e-5


def test_a_neighbour_makes_sections_shorter() -> None:
    near = LineString([(0, 1.2), (40, 1.2)])
    assert np.diff(cut([], others=[near])[0].measure_m).max() == pytest.approx(2.4, rel=0.05)


def test_a_large_propagation_constant_makes_them_shorter() -> None:
    longest = SolverSettings().gamma_step / 0.1
    assert np.diff(cut([], gamma=0.1)[0].measure_m).max() <= longest + 1e-9


def test_joints_part_the_line() -> None:
    pieces = cut([], joints=np.array([10.0, 25.0]))
    assert [(p.measure_m[0], p.measure_m[-1]) for p in pieces] == [(0, 10), (10, 25), (25, 40)]


def test_a_part_of_a_line_can_be_cut() -> None:
    (piece,) = cut([5.0, 15.0], ends=(5.0, 15.0))
    assert (piece.measure_m[0], piece.measure_m[-1]) == (5.0, 15.0)


def test_a_bend_is_the_end_of_a_section() -> None:
    (piece,) = cut([], line=LineString([(0, 0), (10.3, 0), (10.3, 20)]))
    assert np.abs(piece.xy_m - [10.3, 0]).max(axis=1).min() < 1e-6


def test_joints_keep_clear_of_connections_and_ends() -> None:
    got = joint_measures(20.2, 5.0, keep_clear=np.array([5.2]), clear_m=0.5)
    assert got.tolist() == [5.7, 10.0, 15.0]


corners = st.lists(st.tuples(st.floats(-30.0, 30.0), st.floats(-30.0, 30.0)), min_size=2, max_size=6)


@given(corners=corners, shares=st.lists(st.floats(0.02, 0.98), max_size=3))
@settings(max_examples=40, deadline=None)
def test_a_bent_line_is_covered_once_and_its_points_lie_on_it(
    corners: list[tuple[float, float]], shares: list[float]
) -> None:
    line = LineString(corners)
    assume(line.length > 5.0)
    fixed = np.array(shares) * line.length
    (piece,) = cut(fixed, line=line)
    assert (piece.measure_m[0], piece.measure_m[-1]) == pytest.approx((0.0, line.length), abs=1e-6)
    assert (np.diff(piece.measure_m) > 0).all()
    on_line = shapely.get_coordinates(shapely.line_interpolate_point(line, piece.measure_m))
    assert piece.xy_m == pytest.approx(on_line, abs=1e-9)
    # a section is never longer than the line between its ends, and cuts corners by what a bend may leave out at most
    chords = np.linalg.norm(np.diff(piece.xy_m, axis=0), axis=1)
    assert (chords <= np.diff(piece.measure_m) + 1e-9).all()


@given(joints=st.lists(st.floats(2.0, 38.0), min_size=1, max_size=5))
@settings(max_examples=25, deadline=None)
def test_pieces_meet_at_the_joints(joints: list[float]) -> None:
    at = np.unique(np.round(joints, 2))
    pieces = cut([], joints=at)
    assert [p.measure_m[0] for p in pieces[1:]] == pytest.approx(at.tolist())
    for one, following in pairwise(pieces):
        assert one.measure_m[-1] == following.measure_m[0]
        assert one.xy_m[-1].tolist() == following.xy_m[0].tolist()


@given(apart=st.floats(0.05, 3.0))
@settings(max_examples=25, deadline=None)
def test_sections_are_twice_the_gap_to_a_neighbour_within_the_settings(apart: float) -> None:
    near = LineString([(0, apart), (40, apart)])
    longest = np.diff(cut([], others=[near])[0].measure_m).max()
    wanted = SOLVER.section_max_m if apart > NEAR_LIMIT_M else 2 * apart
    # equal parts of a whole number: at most the wanted length
    assert longest <= np.clip(wanted, SOLVER.section_close_m, SOLVER.section_max_m) * (1 + 1e-6)
    assert longest >= 0.8 * np.clip(wanted, SOLVER.section_close_m, SOLVER.section_max_m)


def test_a_line_far_below_does_not_count_as_near() -> None:
    below = LineString([(0, 0), (40, 0)])
    spacing = Spacing([LINE, below], np.array([0.8, 2.0]), SOLVER)
    assert spacing.wanted_m(0, np.array([[20.0, 0.0]])) == pytest.approx([2.4])
    assert spacing.wanted_m(0, np.array([[20.0, 300.0]])) == pytest.approx([SOLVER.section_max_m])


def test_sections_are_close_beside_a_bond_and_long_away_from_it() -> None:
    (piece,) = cut([20.0], busy=np.array([20.0]))
    steps, middle = np.diff(piece.measure_m), (piece.measure_m[1:] + piece.measure_m[:-1]) / 2
    assert steps[np.abs(middle - 20.0) < SOLVER.section_close_m / 2].max() <= 1.1 * SOLVER.section_close_m
    assert steps[np.abs(middle - 20.0) > 2 * SOLVER.section_max_m].min() > 0.8 * SOLVER.section_max_m


@given(
    length=st.floats(1.0, 80.0),
    spacing=st.floats(2.0, 12.0),
    taken=st.lists(st.floats(0.0, 80.0), max_size=4),
)
@settings(max_examples=60, deadline=None)
def test_joints_are_in_order_and_inside(length: float, spacing: float, taken: list[float]) -> None:
    clear = min(0.5, spacing / 4)
    got = joint_measures(length, spacing, keep_clear=np.array(taken), clear_m=clear)
    assert (np.diff(got) > 0).all()
    assert ((got > clear) & (got < length - clear)).all()
    assert len(got) <= length / spacing
