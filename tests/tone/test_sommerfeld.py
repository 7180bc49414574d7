"""Quadrature of Sommerfeld integrals against closed forms, and the limits of the wave in the air."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.constants import EPSILON_0, MU_0
from corridor.tone.earth import air_reflection, potential_kernel_f, propagation_constant
from corridor.tone.sommerfeld import (
    AIR_HEIGHT_M,
    Wavenumbers,
    air_propagation_constant,
    air_wave_rests,
    hankel_columns,
    hankel_points,
)

OFFSETS = np.array([0.0, 0.01, 0.4, 3.0, 40.0, 700.0, 5000.0])


def test_air_propagation_constant_is_that_of_light() -> None:
    # identity: k0 = omega/c, c^2 = 1/(mu_0 epsilon_0)
    assert air_propagation_constant(200e3) == pytest.approx(2j * math.pi * 200e3 * math.sqrt(MU_0 * EPSILON_0))
    assert abs(air_propagation_constant(200e3)) == pytest.approx(2 * math.pi * 200e3 / 299792458.0, rel=1e-6)


def test_no_permittivity_leaves_the_wave_in_the_air_out() -> None:
    assert air_propagation_constant(200e3, relative_permittivity=0.0) == 0.0


@pytest.mark.parametrize("gamma_air", [0j, 1e-5j, 4e-3j])
@pytest.mark.parametrize("height", [0.05, 0.7, 5.0])
def test_static_integral_is_lipschitz(gamma_air: complex, height: float) -> None:
    # Lipschitz's integral: of exp(-l h) J0(l rho) over l is 1/sqrt(rho^2 + h^2)
    def columns(nodes: Wavenumbers) -> NDArray[np.complex128]:
        return np.exp(-nodes.horizontal[:, None] * height).astype(np.complex128)

    got = hankel_columns(OFFSETS, columns, gamma_air=gamma_air, scale_per_m=0.01, height_m=height)
    np.testing.assert_allclose(got[:, 0], 1.0 / np.hypot(OFFSETS, height), rtol=1e-9)


@given(resistivity=st.floats(10.0, 1000.0), frequency=st.floats(500.0, 200e3), height=st.floats(0.2, 5.0))
@settings(max_examples=25, deadline=None)
def test_soil_integral_is_fosters(resistivity: float, frequency: float, height: float) -> None:
    # Foster 1931 (BSTJ 10:408): F in closed form, here through the nodes made for the air's branch point
    gamma, gamma_air = propagation_constant(resistivity, frequency), air_propagation_constant(frequency)

    def columns(nodes: Wavenumbers) -> NDArray[np.complex128]:
        return np.exp(-np.sqrt(nodes.horizontal[:, None] ** 2 + gamma**2) * height)

    got = hankel_columns(OFFSETS, columns, gamma_air=gamma_air, scale_per_m=abs(gamma), height_m=height)
    np.testing.assert_allclose(got[:, 0], potential_kernel_f(OFFSETS, height, gamma), rtol=1e-7, atol=1e-12)


def test_wave_in_the_air_is_sommerfelds_point_source() -> None:
    # Sommerfeld's identity: of l/u0 exp(-u0 h) J0(l rho) over l is exp(-j k0 R)/R; u0 is singular at k0
    gamma_air = air_propagation_constant(200e3)

    def columns(nodes: Wavenumbers) -> NDArray[np.complex128]:
        return (nodes.horizontal / nodes.air * np.exp(-nodes.air * 2.0))[:, None]

    got = hankel_columns(OFFSETS, columns, gamma_air=gamma_air, scale_per_m=0.1, height_m=2.0)
    r = np.hypot(OFFSETS, 2.0)
    np.testing.assert_allclose(got[:, 0], np.exp(-gamma_air * r) / r, rtol=1e-7)


@pytest.mark.parametrize("kinds", [3, 40])
def test_points_pick_their_own_column(kinds: int) -> None:
    rng = np.random.default_rng(5)
    heights = rng.uniform(0.5, 3.0, kinds)
    rho, column = rng.uniform(0.0, 300.0, 200), rng.integers(0, kinds, 200)

    def columns(nodes: Wavenumbers, used: NDArray[np.int64]) -> NDArray[np.complex128]:
        wave = np.exp(-nodes.horizontal[:, None] * heights[used])
        return np.stack([wave, 2.0 * wave]).astype(np.complex128)

    got = hankel_points(rho, column, columns, gamma_air=0j, scale_per_m=0.01, height_m=0.5)
    wanted = 1.0 / np.hypot(rho, heights[column])
    np.testing.assert_allclose(got[0], wanted, rtol=1e-9)
    np.testing.assert_allclose(got[1], 2.0 * wanted, rtol=1e-9)


@given(resistivity=st.floats(10.0, 1000.0), frequency=st.floats(500.0, 200e3), rho=st.floats(0.0, 300.0))
@settings(max_examples=25, deadline=None)
def test_addition_of_the_air_is_of_second_order(resistivity: float, frequency: float, rho: float) -> None:
    # expansion in k0: T gains about k0^2 times an integral over exp(-u H) J0/(u + l)^2, at most 1/|gamma|^2/H;
    # F gains no more than a few k0
    gamma, gamma_air = propagation_constant(resistivity, frequency), air_propagation_constant(frequency)
    spectrum = air_wave_rests(gamma, gamma_air, air_reflection(resistivity, frequency))

    def columns(nodes: Wavenumbers) -> NDArray[np.complex128]:
        u = np.sqrt(nodes.horizontal**2 + gamma**2)
        return (spectrum(nodes) * np.exp(-u * 2.0)).T

    where = np.array([rho])
    vector, potential = hankel_columns(
        where, columns, gamma_air=gamma_air, scale_per_m=abs(gamma), height_m=AIR_HEIGHT_M
    )[0]
    k0 = abs(gamma_air)
    assert abs(vector) <= 2.0 * k0**2 / abs(gamma)
    assert abs(potential) <= 4.0 * k0


def test_addition_vanishes_with_frequency() -> None:
    spectrum = air_wave_rests(
        propagation_constant(100.0, 1e-3), air_propagation_constant(1e-3), air_reflection(100.0, 1e-3)
    )
    flat = np.geomspace(1e-3, 10.0, 30)
    nodes = Wavenumbers(flat, flat.astype(np.complex128), np.ones(30))
    assert np.abs(spectrum(nodes)).max() < 1e-9
