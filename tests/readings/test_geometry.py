"""The two-level design, and networks whose lines lie elsewhere."""

import numpy as np
import pytest

from corridor.readings.geometry import design, moved, redrawn_models
from corridor.settings import ReadingSettings
from tests.readings.small import small_prepared

MODEL = small_prepared().model


@pytest.mark.parametrize(("lines", "most", "runs"), [(1, 16, 4), (3, 16, 8), (7, 16, 16), (8, 16, 16), (8, 64, 32)])
def test_columns_are_orthogonal(lines: int, most: int, runs: int) -> None:
    # Plackett and Burman 1946 (from memory): effects are told apart where columns are orthogonal
    levels = design(lines, most=most)
    assert levels.shape == (runs, 2, lines)
    columns = levels.reshape(runs, -1)
    product = columns.T @ columns
    used = np.diag(product) > 0
    assert np.array_equal(product, np.diag(np.where(used, runs, 0)))
    assert columns.sum(axis=0).tolist() == [0.0] * (2 * lines)
    assert used.sum() == min(2 * lines, (runs - 1) // 2 * 2)


def test_a_linear_answer_has_exactly_its_covariance() -> None:
    # mean product of deviations against J Lambda J^T, the covariance of a linear function of independent variables
    rng = np.random.default_rng(2)
    slope, spread = rng.normal(size=(5, 6)), rng.uniform(0.1, 0.4, 6)
    levels = design(3, most=16).reshape(8, -1)
    answers = (levels * spread) @ slope.T
    by = (answers - answers.mean(axis=0)) / np.sqrt(len(levels))
    assert by.T @ by == pytest.approx(slope @ np.diag(spread**2) @ slope.T)


def test_lines_move_and_electrodes_stay() -> None:
    lines = len(MODEL.line_ids)
    other = moved(MODEL, np.full(lines, 1.5), np.full(lines, 0.2))
    own = slice(MODEL.n_conducting)
    assert other.start_m[own, 2] == pytest.approx(MODEL.start_m[own, 2] * 1.5)
    assert other.start_m[own, 1] == pytest.approx(MODEL.start_m[own, 1] + 0.2)  # lines along x: left is +y
    assert other.start_m[own, 0] == pytest.approx(MODEL.start_m[own, 0])
    assert np.array_equal(other.start_m[MODEL.n_conducting :], MODEL.start_m[MODEL.n_conducting :])
    given = moved(MODEL, np.ones(lines), np.tile([0.3, -0.1], (lines, 1)))
    assert given.start_m[own, :2] == pytest.approx(MODEL.start_m[own, :2] + [0.3, -0.1])


def test_depths_stay_below_ground() -> None:
    lines = len(MODEL.line_ids)
    assert moved(MODEL, np.full(lines, 1e-6), np.zeros(lines)).start_m[: MODEL.n_conducting, 2].min() > 0.0


def test_the_first_lines_go_first_where_runs_are_few() -> None:
    settings = ReadingSettings(geometries=4)
    order = [1, 0]
    models = redrawn_models(MODEL, order, settings)
    assert len(models) == 4
    index = MODEL.line_index[: MODEL.n_conducting]
    depths = {k: {round(float(m.start_m[: m.n_conducting][index == k][0, 2]), 6) for m in models} for k in order}
    assert len(depths[1]) == 2
    assert len(depths[0]) == 1
