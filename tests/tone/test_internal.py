"""Metal, coating and joint: identities, trends and refusals (limits against other sources: tests/validation)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.constants import EPSILON_0
from corridor.errors import DomainError
from corridor.tone.internal import coating_admittance, internal_impedance, joint_impedance

COPPER = {"resistivity_ohm_m": 1.7241e-8, "relative_permeability": 1.0}
IRON = {"resistivity_ohm_m": 1.7e-7, "relative_permeability": 300.0}


@given(radius=st.floats(1e-3, 0.5), share=st.floats(0.01, 0.99), frequency=st.floats(1.0, 200e3))
def test_a_tube_resists_more_than_the_solid_wire(radius: float, share: float, frequency: float) -> None:
    # not strictly: the resistance of a tube dips a few percent below the solid one where the wall is about 1.5 skin
    # depths
    solid = internal_impedance(radius, frequency_hz=frequency, **IRON)
    tube = internal_impedance(radius, frequency_hz=frequency, wall_m=share * radius, **IRON)
    assert tube.real > 0.9 * solid.real
    assert tube.imag > 0.0


@given(radius=st.floats(1e-3, 0.5), wall=st.floats(0.01, 1.0), frequency=st.floats(1.0, 100e3))
def test_resistance_rises_with_frequency_for_a_solid_wire(radius: float, wall: float, frequency: float) -> None:
    low = internal_impedance(radius, frequency_hz=frequency, **COPPER)
    high = internal_impedance(radius, frequency_hz=2.0 * frequency, **COPPER)
    assert high.real >= low.real * (1.0 - 1e-12)
    # size and frequency only enter as a sqrt(f): a wire s times thicker at f/s^2 has 1/s^2 of the impedance
    thick = internal_impedance(2.0 * radius, frequency_hz=frequency / 4.0, wall_m=2.0 * radius * wall, **COPPER)
    thin = internal_impedance(radius, frequency_hz=frequency, wall_m=radius * wall, **COPPER)
    assert thick == pytest.approx(thin / 4.0, rel=1e-9)


def test_wall_of_the_radius_is_a_solid_wire() -> None:
    solid = internal_impedance(0.01, frequency_hz=1e4, **COPPER)
    assert internal_impedance(0.01, frequency_hz=1e4, wall_m=0.01, **COPPER) == solid
    nearly = internal_impedance(0.01, frequency_hz=1e4, wall_m=0.01 * (1 - 1e-7), **COPPER)
    assert nearly == pytest.approx(solid, rel=1e-6)


def test_zero_frequency_is_continuous() -> None:
    for wall in (None, 0.002):
        still = internal_impedance(0.05, frequency_hz=0.0, wall_m=wall, **IRON)
        slow = internal_impedance(0.05, frequency_hz=1e-6, wall_m=wall, **IRON)
        assert still.imag == 0.0
        assert slow == pytest.approx(still, rel=1e-5)


def test_thick_iron_wall_does_not_overflow() -> None:
    value = internal_impedance(
        0.5, frequency_hz=200e3, wall_m=0.2, resistivity_ohm_m=1e-7, relative_permeability=2000.0
    )
    assert math.isfinite(value.real)
    assert value.real > 0.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"radius_m": 0.0}, "radius_m"),
        ({"radius_m": math.inf}, "radius_m"),
        ({"resistivity_ohm_m": -1.0}, "resistivity_ohm_m"),
        ({"relative_permeability": 0.0}, "relative_permeability"),
        ({"frequency_hz": -1.0}, "frequency_hz"),
        ({"frequency_hz": math.nan}, "frequency_hz"),
        ({"wall_m": 0.0}, "wall_m"),
        ({"wall_m": 0.02}, "wall_m"),
    ],
)
def test_impossible_metal_is_refused(change: dict[str, float], said: str) -> None:
    values = {"radius_m": 0.01, "frequency_hz": 1e3, **COPPER, **change}
    with pytest.raises(DomainError, match=said):
        internal_impedance(values.pop("radius_m"), **values)


def test_coating_is_a_coaxial_capacitor_beside_a_conductance() -> None:
    # textbook coaxial line: C = 2 pi eps/ln(b/a), G = 2 pi sigma/ln(b/a)
    y = coating_admittance(0.1, 0.1 * math.e, relative_permittivity=2.3, conductivity_s_per_m=1e-9, frequency_hz=1e4)
    assert y.real == pytest.approx(2 * math.pi * 1e-9)
    assert y.imag == pytest.approx((2 * math.pi) ** 2 * 1e4 * EPSILON_0 * 2.3)


def test_two_layers_in_series_make_one() -> None:
    layer = {"relative_permittivity": 2.3, "conductivity_s_per_m": 1e-8, "frequency_hz": 5e3}
    inner, outer = coating_admittance(0.01, 0.012, **layer), coating_admittance(0.012, 0.02, **layer)
    assert 1 / (1 / inner + 1 / outer) == pytest.approx(coating_admittance(0.01, 0.02, **layer))


@pytest.mark.parametrize(
    ("inner", "outer", "change", "said"),
    [
        (0.0, 0.1, {}, "inner_radius_m"),
        (0.1, 0.1, {}, "outer_radius_m"),
        (0.1, math.inf, {}, "outer_radius_m"),
        (0.1, 0.2, {"relative_permittivity": -1.0}, "relative_permittivity"),
        (0.1, 0.2, {"conductivity_s_per_m": math.nan}, "conductivity_s_per_m"),
        (0.1, 0.2, {"frequency_hz": -5.0}, "frequency_hz"),
    ],
)
def test_impossible_coating_is_refused(inner: float, outer: float, change: dict[str, float], said: str) -> None:
    values = {"relative_permittivity": 2.3, "conductivity_s_per_m": 0.0, "frequency_hz": 1e3, **change}
    with pytest.raises(DomainError, match=said):
        coating_admittance(inner, outer, **values)


def test_joint_limits() -> None:
    # R beside C: R at direct current, 1/(j omega C) where R is infinite, nothing in the way where R is zero
    assert joint_impedance(1e6, 1e-7, 0.0) == 1e6
    assert joint_impedance(0.0, 1e-7, 1e4) == 0.0
    assert joint_impedance(math.inf, 1e-7, 1e4) == pytest.approx(-1j / (2 * math.pi * 1e4 * 1e-7))
    assert joint_impedance(math.inf, 0.0, 1e4).real == math.inf
    assert joint_impedance(math.inf, 1e-9, 0.0).real == math.inf


@given(resistance=st.floats(1.0, 1e7), capacitance=st.floats(1e-12, 1e-6), frequency=st.floats(10.0, 1e5))
def test_a_joint_passes_high_frequency_better(resistance: float, capacitance: float, frequency: float) -> None:
    low = joint_impedance(resistance, capacitance, frequency)
    high = joint_impedance(resistance, capacitance, 2 * frequency)
    assert abs(high) <= abs(low) <= resistance * (1.0 + 1e-12)
    assert low == pytest.approx(resistance / (1 + 2j * math.pi * frequency * resistance * capacitance))


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((-1.0, 0.0, 1e3), "resistance_ohm"),
        ((math.nan, 0.0, 1e3), "resistance_ohm"),
        ((1.0, -1e-9, 1e3), "capacitance_f"),
        ((1.0, 1e-9, -1.0), "frequency_hz"),
    ],
)
def test_impossible_joint_is_refused(values: tuple[float, float, float], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        joint_impedance(*values)
