"""Internal impedance against its limits and mpmath's Bessel functions."""

import math

import mpmath
import pytest

from corridor.constants import MU_0
from corridor.tone.internal import internal_impedance

METALS = {"copper": (1.7241e-8, 1.0), "iron": (7e-7, 200.0), "steel": (1.7e-7, 300.0)}


def _schelkunoff(radius: float, wall: float, metal: tuple[float, float], frequency: float) -> complex:
    """Schelkunoff 1934 (BSTJ 13:532), tube with external return, with mpmath's functions and 40 digits."""
    rho, mu_r = metal
    with mpmath.workdps(40):
        gamma = mpmath.sqrt(2j * mpmath.pi * frequency * MU_0 * mu_r / mpmath.mpf(rho))
        a, q = gamma * radius, gamma * (mpmath.mpf(radius) - mpmath.mpf(wall))
        i0, i1 = mpmath.besseli(0, a), mpmath.besseli(1, a)
        if q == 0:
            ratio = i0 / i1
        else:
            k0, k1 = mpmath.besselk(0, a), mpmath.besselk(1, a)
            iq, kq = mpmath.besseli(1, q), mpmath.besselk(1, q)
            ratio = (i0 * kq + k0 * iq) / (i1 * kq - iq * k1)
        return complex(gamma * rho / (2 * mpmath.pi * radius) * ratio)


@pytest.mark.parametrize("metal", METALS)
@pytest.mark.parametrize("frequency", [50.0, 500.0, 10e3, 200e3])
@pytest.mark.parametrize(
    ("radius", "wall"), [(0.162, 0.0095), (0.085, 0.006), (0.005, 0.001), (0.25, 0.2), (0.004, 0.004)]
)
def test_tube_against_arbitrary_precision(metal: str, frequency: float, radius: float, wall: float) -> None:
    # source: mpmath's Bessel functions in Schelkunoff's formula (1934); bar 1e-9
    rho, mu_r = METALS[metal]
    value = internal_impedance(
        radius, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency, wall_m=wall
    )
    assert value == pytest.approx(_schelkunoff(radius, wall, METALS[metal], frequency), rel=1e-9)


@pytest.mark.parametrize("metal", METALS)
def test_direct_current(metal: str) -> None:
    # identity: resistivity over the area of metal
    rho, mu_r = METALS[metal]
    solid = internal_impedance(0.005, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=0.0)
    assert solid == pytest.approx(rho / (math.pi * 0.005**2), rel=1e-14)
    tube = internal_impedance(0.05, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=0.0, wall_m=0.004)
    assert tube == pytest.approx(rho / (math.pi * (0.05**2 - 0.046**2)), rel=1e-12)


@pytest.mark.parametrize("metal", METALS)
def test_low_frequency_inductance_of_a_solid_wire(metal: str) -> None:
    # textbook: uniform current gives mu/(8 pi) per metre inside, whatever the radius
    rho, mu_r = METALS[metal]
    frequency = 1e-3
    value = internal_impedance(0.005, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency)
    assert value.imag / (2 * math.pi * frequency) == pytest.approx(MU_0 * mu_r / (8 * math.pi), rel=1e-4)


@pytest.mark.parametrize("wall", [None, 0.02])
@pytest.mark.parametrize("frequency", [10e3, 200e3])
def test_skin_effect_limit(wall: float | None, frequency: float) -> None:
    # textbook: skin depth delta << wall: (1 + j) rho/(2 pi a delta) (1 + O(delta/a)); curvature adds delta/(4 a)
    rho, mu_r = METALS["steel"]
    delta = math.sqrt(2 * rho / (2 * math.pi * frequency * MU_0 * mu_r))
    radius = 0.1
    value = internal_impedance(
        radius, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency, wall_m=wall
    )
    plane = (1 + 1j) * rho / (2 * math.pi * radius * delta)
    assert abs(value / plane - 1.0) < 2.0 * delta / (2 * radius)


def test_frequency_for_steel_pipes_is_in_the_range_of_the_handbook() -> None:
    # a pipe of the size in facts of the trade: 12.75 in outside, 9.5 mm wall, rho 1.7e-7, mu_r 300: at 60 Hz the wall
    # holds several skin depths (delta = 1.5 mm), so the impedance is far above the resistance; the direct-current
    # limit isn't
    rho, mu_r = 1.7e-7, 300.0
    values = {
        f: internal_impedance(0.162, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=f, wall_m=0.0095)
        for f in (0.0, 60.0)
    }
    delta = math.sqrt(2 * rho / (2 * math.pi * 60.0 * MU_0 * mu_r))
    # identity (plane wall, coth of many skin depths is 1): |Z|/R = sqrt(2) wall/delta, less the curvature of the wall
    assert abs(values[60.0]) / values[0.0].real == pytest.approx(math.sqrt(2) * 0.0095 / delta, rel=0.05)
