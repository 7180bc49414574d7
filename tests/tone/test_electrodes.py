"""Rods: formula, inverse and refusals."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.electrodes import (
    LENGTH_MAX_M,
    RADII_MIN,
    equivalent_rod_length_m,
    layered_rod_resistance,
    rod_resistance,
)

radii = st.floats(0.003, 0.05)
soils = st.floats(5.0, 5000.0)


@given(length=st.floats(0.6, 900.0), radius=radii, soil=soils)
def test_inverse_gives_the_length_back(length: float, radius: float, soil: float) -> None:
    resistance = rod_resistance(length, radius, soil)
    assert equivalent_rod_length_m(resistance, radius, soil) == pytest.approx(length, rel=1e-9)


@given(length=st.floats(0.6, 90.0), radius=radii, soil=soils)
def test_longer_is_better_and_soil_scales(length: float, radius: float, soil: float) -> None:
    resistance = rod_resistance(length, radius, soil)
    assert rod_resistance(1.1 * length, radius, soil) < resistance
    assert rod_resistance(length, radius, 2.0 * soil) == pytest.approx(2.0 * resistance)
    # similar rods: the resistance goes with one over the size
    assert rod_resistance(3.0 * length, 3.0 * radius, soil) == pytest.approx(resistance / 3.0)


@given(resistance=st.floats(1e-3, 1e6), radius=radii, soil=soils)
def test_any_resistance_gives_a_rod_that_couples_no_more_than_itself(
    resistance: float, radius: float, soil: float
) -> None:
    length = equivalent_rod_length_m(resistance, radius, soil)
    assert RADII_MIN * radius <= length <= LENGTH_MAX_M
    if length < LENGTH_MAX_M:
        assert rod_resistance(length, radius, soil) <= resistance * (1.0 + 1e-9)


@given(length=st.floats(0.6, 20.0), thickness=st.floats(0.3, 30.0), soil=soils)
def test_two_layers_of_one_soil_are_one(length: float, thickness: float, soil: float) -> None:
    # Dwight 1936 drops a/(2 L) in the bracket, 0.2 % here; two leaks instead of an even one take up to 2 % off
    layered = layered_rod_resistance(length, 0.008, soil, top_thickness_m=thickness, lower_ohm_m=soil)
    one = rod_resistance(length, 0.008, soil)
    assert 0.98 * one <= layered <= 1.003 * one
    if thickness >= length:
        assert layered == pytest.approx(one, rel=3e-3)


@given(length=st.floats(0.6, 20.0), thickness=st.floats(0.3, 10.0), top=soils, lower=soils)
@settings(max_examples=50, deadline=None)
def test_a_second_layer_draws_the_resistance_its_way(length: float, thickness: float, top: float, lower: float) -> None:
    # Rayleigh: resistance rises and falls with the resistivity anywhere; both soils bound it, and it scales with them
    got = layered_rod_resistance(length, 0.008, top, top_thickness_m=thickness, lower_ohm_m=lower)
    low, high = sorted((top, lower))
    assert 0.98 * rod_resistance(length, 0.008, low) <= got <= 1.003 * rod_resistance(length, 0.008, high)
    twice = layered_rod_resistance(length, 0.008, 2 * top, top_thickness_m=thickness, lower_ohm_m=2 * lower)
    assert twice == pytest.approx(2 * got, rel=1e-9)


@given(length=st.floats(0.6, 40.0), thickness=st.floats(0.3, 10.0), top=soils, lower=soils)
@settings(max_examples=50, deadline=None)
def test_length_in_two_layers_inverts_the_resistance(length: float, thickness: float, top: float, lower: float) -> None:
    layers = {"top_thickness_m": thickness, "lower_ohm_m": lower}
    resistance = layered_rod_resistance(length, 0.008, top, **layers)
    found = equivalent_rod_length_m(resistance, 0.008, top, **layers)
    if thickness <= found <= thickness + RADII_MIN * 0.008:  # the resistance is the same all along the step
        assert thickness <= length <= thickness + RADII_MIN * 0.008
    else:
        assert found == pytest.approx(length, rel=1e-6)


@pytest.mark.parametrize("name", ["top_thickness_m", "lower_ohm_m"])
def test_impossible_layers_are_refused(name: str) -> None:
    layers = {"top_thickness_m": 1.0, "lower_ohm_m": 50.0} | {name: -1.0}
    with pytest.raises(DomainError, match=name):
        layered_rod_resistance(2.0, 0.01, 100.0, **layers)


def test_bounds() -> None:
    assert equivalent_rod_length_m(1e9, 0.01, 100.0) == pytest.approx(0.1)
    assert equivalent_rod_length_m(1e-6, 0.01, 100.0) == LENGTH_MAX_M


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_impossible_values_are_refused(place: int, value: float) -> None:
    for function, names in [
        (rod_resistance, ("length_m", "radius_m", "resistivity_ohm_m")),
        (equivalent_rod_length_m, ("resistance_ohm", "radius_m", "resistivity_ohm_m")),
    ]:
        arguments = [2.0, 0.01, 100.0]
        arguments[place] = value
        with pytest.raises(DomainError, match=names[place]):
            function(*arguments)


def test_a_rod_is_thin() -> None:
    with pytest.raises(DomainError, match="radii long"):
        rod_resistance(0.05, 0.01, 100.0)
    with pytest.raises(DomainError, match="radius_m must be below"):
        equivalent_rod_length_m(10.0, 150.0, 100.0)
