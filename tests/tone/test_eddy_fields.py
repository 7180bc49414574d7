"""Eddy fields of several soils and heights in one pass; against single ones, and what they refuse."""

import math

import numpy as np
import pytest

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.tone.eddy_fields import eddy_fields, eddy_matrices

GAMMAS = (0.01 + 0.01j, 0.1 + 0.1j, 0.28 * (1 + 1j))
HEIGHTS = (0.1, 0.5)
# level, sloping and upright sections, near and far
START = np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0], [4.0, 0.1, 1.6], [30.0, 5.0, 0.7]])
END = np.array([[2.0, 0.0, 1.0], [4.0, 0.1, 1.6], [4.0, 0.1, 2.6], [60.0, 9.0, 0.7]])
XY = np.array([[1.0, 0.4], [3.1, -2.0], [20.0, 7.0]])
AXIS = np.array([[0.0, 1.0], [0.6, 0.8], [1.0, 0.0]])


def test_one_pass_gives_what_single_soils_and_heights_give() -> None:
    # the steepest field sets the points along a section for all: they differ by a share of the wire's own field at most
    own_t = MU_0 / (2 * math.pi * (1.0 + min(HEIGHTS)))
    together = eddy_fields(XY, START, END, axis=AXIS, heights_m=HEIGHTS, gammas_per_m=GAMMAS)
    assert together.shape == (2, 3, 3, 3, 4)
    for h, height in enumerate(HEIGHTS):
        for g, gamma in enumerate(GAMMAS):
            points = np.column_stack((XY, np.full(len(XY), height)))
            alone = np.array(eddy_matrices(points, START, END, axis=AXIS, gamma_per_m=gamma))
            assert np.abs(together[h, g] - alone).max() < 1e-4 * own_t


def test_points_of_different_heights_keep_their_order() -> None:
    heights = np.array([0.5, 0.1, 0.5])
    mixed = eddy_matrices(np.column_stack((XY, heights)), START, END, axis=AXIS, gamma_per_m=0.1 + 0.1j)
    for p, height in enumerate(heights):
        alone = eddy_matrices([[*XY[p], height]], START, END, axis=AXIS[[p]], gamma_per_m=0.1 + 0.1j)
        for all_rows, row in zip(mixed, alone, strict=True):
            np.testing.assert_array_equal(all_rows[p], row[0])


def test_a_section_out_of_reach_adds_nothing() -> None:
    field = eddy_fields(XY, START, END, axis=AXIS, heights_m=[0.1], gammas_per_m=[0.1 + 0.1j], reach_m=10.0)
    assert not field[0, 0, :, 0, 3].any()
    assert field[0, 0, :, 0, 0].any()


def test_every_soil_needs_a_loss() -> None:
    with pytest.raises(DomainError, match="gamma_per_m must have a positive real part"):
        eddy_fields(XY, START, END, axis=AXIS, heights_m=[0.1], gammas_per_m=[0.1 + 0.1j, 0.1j])


@pytest.mark.parametrize("height_m", [-0.1, math.nan])
def test_coils_stand_above_ground(height_m: float) -> None:
    with pytest.raises(DomainError, match="at or above ground"):
        eddy_fields(XY, START, END, axis=AXIS, heights_m=[height_m], gammas_per_m=[0.1 + 0.1j])
