"""Cutting lines: nodes kept, lengths held, joints clear of connections."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from corridor.settings import SolverSettings
from corridor.tone.mesh import Spacing, cut_line, joint_measures

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
