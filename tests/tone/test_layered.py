"""Kernels of two layers: limits, identities, images and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.ground import HalfSpace, TwoLayers, ground_of
from corridor.tone.layered import Layers, layer_grid, layer_rests, layers_of, static_images

SOIL = {"resistivity_ohm_m": 100.0, "frequency_hz": 50e3}
PLACES = [(0.4, 0.9), (0.4, 2.0), (1.6, 2.4)]  # both above, across, both below 1.2 m


def _layers(**change: float) -> Layers:
    made = layers_of(**{**SOIL, "top_thickness_m": 1.2, "lower_resistivity_ohm_m": 30.0, **change})
    assert made is not None
    return made


def _potential(ground, rho: float, a: float, b: float) -> complex:  # type: ignore[no-untyped-def]
    return complex(ground.potential(np.array([rho]), np.array([a]), np.array([b]))[0])


def _kernel(ground, rho: float, a: float, b: float) -> complex:  # type: ignore[no-untyped-def]
    where = (np.array([rho]), np.array([a]), np.array([b]))
    return complex(ground.closed(*where)[0] + ground.spectral(*where)[0])


@pytest.mark.parametrize("missing", [None, math.nan])
def test_one_soil_is_a_half_space(missing: float | None) -> None:
    assert layers_of(**SOIL, top_thickness_m=missing, lower_resistivity_ohm_m=missing) is None
    assert isinstance(ground_of(**SOIL), HalfSpace)
    assert isinstance(ground_of(**SOIL, top_thickness_m=1.0, lower_resistivity_ohm_m=10.0), TwoLayers)


@pytest.mark.parametrize(
    ("thickness", "lower"),
    [(None, 30.0), (1.0, None), (math.nan, 30.0), (0.0, 30.0), (-1.0, 30.0), (1.0, 0.0), (math.inf, 30.0), (1.0, -3.0)],
)
def test_half_a_second_layer_is_refused(thickness: float | None, lower: float | None) -> None:
    with pytest.raises(DomainError, match="two layers need top_thickness_m and lower_resistivity_ohm_m"):
        layers_of(**SOIL, top_thickness_m=thickness, lower_resistivity_ohm_m=lower)


def test_bad_soil_is_refused() -> None:
    with pytest.raises(DomainError, match="resistivity_ohm_m"):
        _layers(resistivity_ohm_m=-1.0)
    with pytest.raises(DomainError, match="frequency_hz"):
        _layers(frequency_hz=-1.0)


@given(
    resistivity=st.floats(10.0, 1000.0),
    frequency=st.floats(500.0, 200e3),
    thickness=st.floats(0.3, 3.0),
    depths=st.tuples(st.floats(0.2, 3.0), st.floats(0.2, 3.0)),
    rho=st.floats(0.3, 150.0),
)
@settings(max_examples=40, deadline=None)
def test_equal_layers_are_a_half_space(
    resistivity: float, frequency: float, thickness: float, depths: tuple[float, float], rho: float
) -> None:
    # identity; the closed forms of the half space judge the quadrature, relative to the direct term
    one = ground_of(resistivity, frequency)
    two = ground_of(resistivity, frequency, top_thickness_m=thickness, lower_resistivity_ohm_m=resistivity)
    scale = 1.0 / math.hypot(rho, depths[1] - depths[0])
    assert _potential(two, rho, *depths) == pytest.approx(_potential(one, rho, *depths), rel=1e-6)
    assert abs(_kernel(two, rho, *depths) - _kernel(one, rho, *depths)) < 1e-6 * scale


@pytest.mark.parametrize("lower", [5.0, 2000.0])
def test_a_thick_top_layer_is_a_half_space(lower: float) -> None:
    # identity: the interface is 40 skin depths away
    soil = {"resistivity_ohm_m": 10.0, "frequency_hz": 200e3}
    one, two = ground_of(**soil), ground_of(**soil, top_thickness_m=150.0, lower_resistivity_ohm_m=lower)
    for rho in (0.5, 4.0, 12.0):
        assert _potential(two, rho, 0.7, 1.4) == pytest.approx(_potential(one, rho, 0.7, 1.4), rel=1e-6)
        assert _kernel(two, rho, 0.7, 1.4) == pytest.approx(_kernel(one, rho, 0.7, 1.4), abs=1e-9)


def test_a_thin_top_layer_is_the_lower_half_space() -> None:
    # identity: a skin of 1 mm over wires 1 m deep changes the potential by its share of the depth
    one, two = ground_of(30.0, 10e3), ground_of(100.0, 10e3, top_thickness_m=1e-3, lower_resistivity_ohm_m=30.0)
    assert _potential(two, 2.0, 1.0, 1.3) == pytest.approx(_potential(one, 2.0, 1.0, 1.3), rel=1e-3)


@pytest.mark.parametrize(("a", "b"), PLACES)
@pytest.mark.parametrize("contrast", [(100.0, 20.0), (50.0, 400.0)])
def test_direct_current_is_the_series_of_images(a: float, b: float, contrast: tuple[float, float]) -> None:
    # Maxwell's images (Tagg 1964, Earth Resistances, from memory): in the top layer, K = (rho2 - rho1)/(rho2 + rho1),
    # V = rho1/(4 pi) sum over n of K^|n| [1/r(2 n d + a - b) + 1/r(2 n d + a + b)]; the others follow from continuity
    top, lower = contrast
    d, rho, k = 1.2, 1.7, (lower - top) / (lower + top)
    ground = ground_of(top, 1e-3, relative_permittivity=0.0, top_thickness_m=d, lower_resistivity_ohm_m=lower)

    def r(z: float) -> float:
        return 1.0 / math.hypot(rho, z)

    n = np.arange(0, 400)
    if b < d:
        terms = [k ** abs(m) * (r(2 * m * d + a - b) + r(2 * m * d + a + b)) for m in range(-400, 401)]
        wanted = top / (4 * math.pi) * sum(terms)
    elif a < d:
        terms = [(1 + k) * k**m * (r(b - a + 2 * m * d) + r(b + a + 2 * m * d)) for m in n]
        wanted = top / (4 * math.pi) * sum(terms)
    else:
        terms = [(1 - k * k) * k**m * r(a + b + 2 * m * d) for m in n]
        wanted = lower / (4 * math.pi) * (r(b - a) - k * r(a + b - 2 * d) + sum(terms))
    assert _potential(ground, rho, a, b) == pytest.approx(wanted, rel=2e-5)


@given(
    soils=st.tuples(st.floats(10.0, 1000.0), st.floats(10.0, 1000.0)),
    frequency=st.floats(500.0, 200e3),
    depths=st.tuples(st.floats(0.2, 3.0), st.floats(0.2, 3.0)),
    rho=st.floats(0.3, 150.0),
)
@settings(max_examples=40, deadline=None)
def test_kernels_are_reciprocal(
    soils: tuple[float, float], frequency: float, depths: tuple[float, float], rho: float
) -> None:
    ground = ground_of(soils[0], frequency, top_thickness_m=1.2, lower_resistivity_ohm_m=soils[1])
    for kernel in (_potential, _kernel):
        there, back = kernel(ground, rho, *depths), kernel(ground, rho, *depths[::-1])
        assert there == pytest.approx(back, rel=1e-12, abs=1e-15)


@given(soils=st.tuples(st.floats(10.0, 1000.0), st.floats(10.0, 1000.0)), rho=st.floats(0.5, 100.0))
@settings(max_examples=25, deadline=None)
def test_both_kernels_run_through_the_interface(soils: tuple[float, float], rho: float) -> None:
    # boundary conditions: tangential E is continuous, so both kernels are in the depth of the field point
    ground = ground_of(soils[0], 100e3, top_thickness_m=1.2, lower_resistivity_ohm_m=soils[1])
    for kernel in (_potential, _kernel):
        for source in (0.5, 2.0):
            above, below = kernel(ground, rho, source, 1.2 - 1e-7), kernel(ground, rho, source, 1.2 + 1e-7)
            shift = 1.0 / math.hypot(rho, source - 1.2 + 1e-7) - 1.0 / math.hypot(rho, source - 1.2 - 1e-7)
            direct = shift if kernel is _kernel else 0.0
            assert above == pytest.approx(below + direct, rel=2e-4, abs=2e-5)


def test_static_images_of_equal_layers_are_those_of_one_soil() -> None:
    layers = _layers(lower_resistivity_ohm_m=100.0)
    for a, b in ((False, False), (False, True), (True, True)):
        image = static_images(layers, lower_a=a, lower_b=b)
        assert (image.direct, image.interface, image.sigma) == (1.0, 0.0, layers.sigma_top)
        assert image.surface == layers.surface


def test_static_images_across_count_the_same_from_both_sides() -> None:
    # identity: (1 + K)/sigma1 = 2/(sigma1 + sigma2)
    layers = _layers()
    image = static_images(layers, lower_a=False, lower_b=True)
    assert image == static_images(layers, lower_a=True, lower_b=False)
    assert image.direct / image.sigma == pytest.approx(2.0 / (layers.sigma_top + layers.sigma_lower))


@pytest.mark.parametrize(("a", "b"), PLACES)
def test_grid_and_points_agree(a: float, b: float) -> None:
    layers = _layers(frequency_hz=200e3)
    rho, depths_a, depths_b = np.array([0.0, 2.0, 90.0]), np.array([a, a + 0.1]), np.array([b - 0.1, b])
    grid = layer_grid(layers, rho, depths_a, depths_b)
    assert grid.shape == (3, 2, 2, 2)
    points = layer_rests(layers, rho, np.full(3, a), np.full(3, b))
    np.testing.assert_allclose(grid[:, 0, 1, :].T, points, rtol=1e-8, atol=1e-12)


def test_wires_are_cut_at_the_interface_only() -> None:
    ground = ground_of(**SOIL, top_thickness_m=1.2, lower_resistivity_ohm_m=10.0)
    steep = np.array([[0.0, 0.0, 0.7], [4.0, 0.0, 2.7]])
    first, second = ground.pieces(steep)
    np.testing.assert_allclose(first[1], [1.0, 0.0, 1.2])
    assert np.array_equal(first[1], second[0])
    assert np.array_equal(second[1], steep[1])
    assert len(ground.pieces(steep + np.array([0.0, 0.0, 0.5]))) == 1
    assert len(ground_of(**SOIL).pieces(steep)) == 1
    assert ground.rate_per_m > ground_of(**SOIL).rate_per_m
