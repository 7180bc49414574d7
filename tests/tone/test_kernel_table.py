"""Table of the kernels against the closed forms it was made from, and its limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.earth import air_reflection, potential_kernel_f, propagation_constant, vector_kernel_t
from corridor.tone.ground import HalfSpace
from corridor.tone.kernel_table import DEPTH_NODES, RHO_NODES, EarthTable, cubic_weights, rests_at
from corridor.tone.sommerfeld import air_propagation_constant


def _table(frequency_hz: float, resistivity_ohm_m: float, **limits: float) -> EarthTable:
    wanted = {"rho_max_m": 300.0, "depth_sum_min_m": 0.8, "depth_sum_max_m": 5.0, **limits}
    return EarthTable(
        propagation_constant(resistivity_ohm_m, frequency_hz), air_reflection(resistivity_ohm_m, frequency_hz), **wanted
    )


def _sample(table: EarthTable, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    rho = np.concatenate([rng.uniform(0.0, 2.0, 500), rng.uniform(0.0, table.rho_max_m, 500), [0.0, table.rho_max_m]])
    return rho, rng.uniform(table.depth_sum_min_m, table.depth_sum_max_m, len(rho))


def test_the_same_table_is_made_once_and_another_range_is_another() -> None:
    first, again, wider = _table(20e3, 100.0), _table(20e3, 100.0), _table(20e3, 100.0, rho_max_m=301.0)
    assert again.rests is first.rests
    assert wider.rests is not first.rests
    assert not np.array_equal(wider.scale, first.scale)


@pytest.mark.parametrize(
    ("frequency_hz", "resistivity_ohm_m", "bar"),
    [(500.0, 1000.0, 1e-7), (20e3, 100.0, 1e-5), (200e3, 1000.0, 1e-5), (200e3, 10.0, 2e-5)],
)
def test_table_follows_the_closed_forms(frequency_hz: float, resistivity_ohm_m: float, bar: float) -> None:
    # error of the table against the closed form (which the validation tests hold against mpmath), relative to 1/R2
    table = _table(frequency_hz, resistivity_ohm_m)
    rho, h_sum = _sample(table, 3)
    r2 = np.hypot(rho, h_sum)
    vector, potential = table.kernels(rho, h_sum)
    assert np.max(np.abs(vector - vector_kernel_t(rho, h_sum, table.gamma)) * r2) < bar
    assert np.max(np.abs(potential - potential_kernel_f(rho, h_sum, table.gamma)) * r2) < bar


def test_table_stays_within_the_bar_on_a_wide_shallow_site() -> None:
    # bar: 5e-4 of 1/R2; depths from 5 cm to 4 m, 1.5 km, the most attenuating soil
    table = _table(200e3, 10.0, rho_max_m=1500.0, depth_sum_min_m=0.1, depth_sum_max_m=8.0)
    rho, h_sum = _sample(table, 4)
    r2 = np.hypot(rho, h_sum)
    vector, potential = table.kernels(rho, h_sum)
    assert np.max(np.abs(vector - vector_kernel_t(rho, h_sum, table.gamma)) * r2) < 5e-4
    assert np.max(np.abs(potential - potential_kernel_f(rho, h_sum, table.gamma)) * r2) < 5e-4


def test_one_depth_and_no_offset_still_make_a_table() -> None:
    table = _table(10e3, 100.0, rho_max_m=0.0, depth_sum_min_m=2.0, depth_sum_max_m=2.0)
    vector, potential = table.kernels(0.0, 2.0)
    assert vector == pytest.approx(complex(vector_kernel_t(0.0, 2.0, table.gamma)), rel=1e-7)
    assert potential == pytest.approx(complex(potential_kernel_f(0.0, 2.0, table.gamma)), rel=1e-7)


def test_nodes_are_met_exactly() -> None:
    table = _table(50e3, 100.0)
    start_rho, step_rho, start_h, step_h = table.scale
    for i, k in [(0, 0), (1, 1), (100, 20), (RHO_NODES - 1, DEPTH_NODES - 1)]:
        read = rests_at(table.rests, table.scale, np.sinh(start_rho + i / step_rho), np.exp(start_h + k / step_h))
        np.testing.assert_allclose(read, table.rests[i, k], rtol=1e-9)


def test_rests_vanish_with_frequency() -> None:
    # identity: without frequency T R2 = F R2 = W = 1, both rests are zero; with little, they are of first order in
    # gamma R2
    table = _table(1e-6, 100.0)
    assert np.max(np.abs(table.rests)) < 2.0 * abs(table.gamma) * 300.0


def test_answers_keep_the_shape() -> None:
    table = _table(10e3, 100.0)
    vector, potential = table.kernels(np.zeros((3, 1)), np.array([1.0, 2.0]))
    assert vector.shape == potential.shape == (3, 2)


@given(t=st.floats(-1.0, 2.0), roots=st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3)))
@settings(max_examples=50, deadline=None)
def test_weights_reproduce_cubics(t: float, roots: tuple[float, float, float]) -> None:
    nodes = np.array([-1.0, 0.0, 1.0, 2.0])
    weights = np.array(cubic_weights(t))
    assert weights.sum() == pytest.approx(1.0)
    assert weights @ np.polyval(np.poly(roots), nodes) == pytest.approx(np.polyval(np.poly(roots), t), abs=1e-10)


@pytest.mark.parametrize(("rho", "h_sum"), [(301.0, 1.0), (-0.1, 1.0), (1.0, 0.79), (1.0, 5.01), (np.nan, 1.0)])
def test_points_outside_are_refused(rho: float, h_sum: float) -> None:
    with pytest.raises(DomainError, match="outside the kernel table"):
        _table(10e3, 100.0).kernels(rho, h_sum)


@pytest.mark.parametrize(
    "limits",
    [
        {"depth_sum_min_m": 0.0},
        {"depth_sum_min_m": 6.0},
        {"depth_sum_max_m": np.inf},
        {"rho_max_m": -1.0},
        {"rho_max_m": np.nan},
    ],
)
def test_empty_ranges_are_refused(limits: dict[str, float]) -> None:
    with pytest.raises(DomainError, match="kernel table needs"):
        _table(10e3, 100.0, **limits)


@pytest.mark.parametrize(("resistivity", "frequency"), [(1000.0, 500.0), (100.0, 50e3), (10.0, 200e3), (1000.0, 200e3)])
def test_wave_in_the_air_is_read_as_it_is_integrated(resistivity: float, frequency: float) -> None:
    gamma, gamma_air = propagation_constant(resistivity, frequency), air_propagation_constant(frequency)
    reflection = air_reflection(resistivity, frequency)
    limits = {"rho_max_m": 300.0, "depth_sum_min_m": 0.8, "depth_sum_max_m": 5.0}
    table = EarthTable(gamma, reflection, gamma_air=gamma_air, **limits)
    rho, h_sum = _sample(table, 3)
    ground = HalfSpace(gamma, gamma_air, reflection, 1.0)
    vector, potential = table.kernels(rho, h_sum)
    r2 = np.hypot(rho, h_sum)
    wanted = vector_kernel_t(rho, h_sum, gamma) + ground.spectral(rho, h_sum, np.zeros_like(h_sum))
    assert np.max(np.abs(vector - wanted) * r2) < 5e-4
    whole = 4.0 * np.pi * ground.potential(rho, h_sum, np.zeros_like(h_sum))
    assert np.max(np.abs((1.0 + reflection) * potential - whole) * r2) < 5e-4
