"""Rods: formula, inverse and refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.electrodes import LENGTH_MAX_M, RADII_MIN, equivalent_rod_length_m, rod_resistance

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
