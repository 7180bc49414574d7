"""Internal impedance against its limits and mpmath's Bessel functions."""

import math
from collections.abc import Callable

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
def test_tube_against_arbitrary_precision(
    agrees: Callable[..., None], metal: str, frequency: float, radius: float, wall: float
) -> None:
    # source: mpmath's Bessel functions in Schelkunoff's formula (1934); bar 1e-9
    rho, mu_r = METALS[metal]
    value = internal_impedance(
        radius, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency, wall_m=wall
    )
    wanted = _schelkunoff(radius, wall, METALS[metal], frequency)
    agrees("impedance", value, wanted, within=1e-9, source="Schelkunoff 1934, by mpmath", unit="ohm/m")


@pytest.mark.parametrize("metal", METALS)
def test_direct_current(agrees: Callable[..., None], metal: str) -> None:
    # identity: resistivity over the area of metal
    rho, mu_r = METALS[metal]
    solid = internal_impedance(0.005, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=0.0)
    agrees("solid", solid.real, rho / (math.pi * 0.005**2), within=1e-14, source="rho over area", unit="ohm/m")
    assert solid.imag == 0.0
    tube = internal_impedance(0.05, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=0.0, wall_m=0.004)
    area = math.pi * (0.05**2 - 0.046**2)
    agrees("tube", tube.real, rho / area, within=1e-12, source="rho over area", unit="ohm/m")
    assert tube.imag == 0.0


@pytest.mark.parametrize("metal", METALS)
def test_low_frequency_inductance_of_a_solid_wire(agrees: Callable[..., None], metal: str) -> None:
    # textbook: uniform current gives mu/(8 pi) per metre inside, whatever the radius
    rho, mu_r = METALS[metal]
    frequency = 1e-3
    value = internal_impedance(0.005, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency)
    inside = value.imag / (2 * math.pi * frequency)
    agrees("inductance", inside, MU_0 * mu_r / (8 * math.pi), within=1e-4, source="mu/(8 pi) (textbook)", unit="H/m")


@pytest.mark.parametrize("wall", [None, 0.02])
@pytest.mark.parametrize("frequency", [10e3, 200e3])
def test_skin_effect_limit(agrees: Callable[..., None], wall: float | None, frequency: float) -> None:
    # textbook: skin depth delta << wall: (1 + j) rho/(2 pi a delta) (1 + O(delta/a)); curvature adds delta/(4 a)
    rho, mu_r = METALS["steel"]
    delta = math.sqrt(2 * rho / (2 * math.pi * frequency * MU_0 * mu_r))
    radius = 0.1
    value = internal_impedance(
        radius, resistivity_ohm_m=rho, relative_permeability=mu_r, frequency_hz=frequency, wall_m=wall
    )
    plane = (1 + 1j) * rho / (2 * math.pi * radius * delta)
    agrees("impedance", value, plane, within=delta / radius, source="plane skin effect (textbook)", unit="ohm/m")


def test_frequency_for_steel_pipes_is_in_the_range_of_the_handbook(agrees: Callable[..., None]) -> None:
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
    ratio = abs(values[60.0]) / values[0.0].real
    agrees("|Z|/R", ratio, math.sqrt(2) * 0.0095 / delta, within=0.05, source="plane wall (identity)")
