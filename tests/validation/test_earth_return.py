"""The half-space kernels against mpmath's quadrature, and their infinite-line limit against Pollaczek's integral."""

import math
from collections.abc import Callable
from functools import cache
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from scipy import integrate, special

from corridor.constants import MU_0
from corridor.tone.earth import air_reflection, g_a, potential_kernel_f, propagation_constant, vector_kernel_t
from corridor.tone.kernel_table import EarthTable

SOMMERFELD, POLLACZEK = "defining integrals, by mpmath", "Pollaczek 1926, by quadrature"
SAAD = "Saad, Gaba, Giroux 1996"
# Frequency and soil from the mildest to the most attenuating case, offset and depth sum in metres.
SOILS = [(500.0, 1000.0), (10e3, 100.0), (200e3, 10.0)]
PLACES = [(0.0, 2.0), (1.0, 2.0), (10.0, 2.0), (3.0, 0.8)]
# each soil and each place; off the axis a quadrature takes a second
QUICK_FIRST = [
    pytest.param(*place, *soil, marks=[] if i in (0, 1) or i - 2 == j else pytest.mark.thorough)
    for i, place in enumerate(PLACES)
    for j, soil in enumerate(SOILS)
]


@cache
def _quadrature(frequency: float, resistivity: float, rho: float, h_sum: float) -> tuple[complex, complex]:
    """T and F as integrals over the wave number, piece by piece over the half waves of J0."""
    gamma = mpmath.mpc(propagation_constant(resistivity, frequency))
    last = 36.0 / h_sum
    pieces = {0.0, last, *(abs(complex(gamma)) * k for k in (0.5, 1.0, 2.0, 4.0)), *np.linspace(0.0, last, 5)[1:-1]}
    if rho > 0.0:
        pieces.update(np.arange(math.pi / rho, last, 2.0 * math.pi / rho))
    knots = sorted(piece for piece in pieces if piece <= last)

    def kernel(wave_number: mpmath.mpf) -> mpmath.mpc:
        u = mpmath.sqrt(wave_number**2 + gamma**2)
        return mpmath.exp(-u * h_sum) * mpmath.besselj(0, wave_number * rho)

    def vector(wave_number: mpmath.mpf) -> mpmath.mpc:
        u = mpmath.sqrt(wave_number**2 + gamma**2)
        return 2 * wave_number / (u + wave_number) * kernel(wave_number)

    return complex(mpmath.quad(vector, knots, maxdegree=5)), complex(mpmath.quad(kernel, knots, maxdegree=5))


@pytest.mark.parametrize(("rho", "h_sum", "frequency", "resistivity"), QUICK_FIRST)
def test_closed_forms_against_quadrature(
    agrees: Callable[..., None], rho: float, h_sum: float, frequency: float, resistivity: float
) -> None:
    # source: the defining integrals, by mpmath; bar 1e-6
    vector, potential = _quadrature(frequency, resistivity, rho, h_sum)
    gamma = propagation_constant(resistivity, frequency)
    agrees("T", vector_kernel_t(rho, h_sum, gamma), vector, within=1e-6, source=SOMMERFELD, unit="1/m")
    agrees("F", potential_kernel_f(rho, h_sum, gamma), potential, within=1e-6, source=SOMMERFELD, unit="1/m")


@pytest.mark.parametrize(("frequency", "resistivity"), SOILS)
def test_table_against_quadrature(agrees: Callable[..., None], frequency: float, resistivity: float) -> None:
    # source: the defining integrals, by mpmath; bar 5e-4
    table = EarthTable(
        propagation_constant(resistivity, frequency),
        air_reflection(resistivity, frequency),
        rho_max_m=500.0,
        depth_sum_min_m=0.5,
        depth_sum_max_m=6.0,
    )
    read = np.array([np.ravel(table.kernels(*place)) for place in PLACES]).T
    wanted = np.array([_quadrature(frequency, resistivity, *place) for place in PLACES]).T
    for name, one, other in zip("TF", read, wanted, strict=True):
        agrees(name, one, other, within=5e-4, source=SOMMERFELD, unit="1/m")


def _pollaczek_ohm_per_m(gamma: complex, frequency: float, offset: float, depths: tuple[float, float]) -> complex:
    """Pollaczek 1926: j omega mu_0/(2 pi) [K0(gamma d) - K0(gamma D) + integral], the integral by quadrature."""
    d, image, h_sum = math.hypot(offset, depths[0] - depths[1]), math.hypot(offset, sum(depths)), sum(depths)

    def integrand(wave_number: float) -> complex:
        u = np.sqrt(wave_number**2 + gamma**2)
        return np.exp(-h_sum * u) / (wave_number + u) * math.cos(offset * wave_number)

    knots = [0.0, abs(gamma), *(abs(gamma) + 45.0 / h_sum * np.array([0.02, 0.1, 0.25, 0.5, 1.0]))]
    total = 0j
    for low, high in pairwise(knots):
        value, _ = integrate.quad(integrand, low, high, complex_func=True, epsabs=0.0, epsrel=1e-9, limit=400)
        total += value
    return 1j * frequency * MU_0 * (special.kv(0, gamma * d) - special.kv(0, gamma * image) + 2.0 * total)


def _line_ohm_per_m(gamma: complex, frequency: float, offset: float, depths: tuple[float, float]) -> complex:
    """j omega mu_0/(4 pi) times the integral of g_A along an infinite line, on x = d sinh(t)."""
    scale = math.hypot(offset, depths[0] - depths[1])
    edges = np.linspace(0.0, math.asinh(3e4 / abs(gamma) / scale), 61)
    node, weight = np.polynomial.legendre.leggauss(10)
    t = (edges[:-1, None] + np.diff(edges)[:, None] * 0.5 * (node + 1.0)).ravel()
    w = (np.diff(edges)[:, None] * 0.5 * weight).ravel() * scale * np.cosh(t)
    values = g_a(np.hypot(offset, scale * np.sinh(t)), *depths, gamma=gamma)
    return 1j * frequency * MU_0 / 2.0 * complex(2.0 * (w @ values))


# Own quadrature of Pollaczek's integral, kept as the project's table: 100 ohm m, both conductors 1 m deep, milliohm
# per metre.
TABLE = {
    (1e3, 0.05): 0.99715 + 10.46354j,
    (1e3, 0.5): 0.99712 + 7.57003j,
    (1e3, 1.0): 0.99704 + 6.69900j,
    (1e3, 2.0): 0.99680 + 5.82800j,
    (1e3, 5.0): 0.99549 + 4.67676j,
    (10e3, 0.05): 10.17408 + 89.94382j,
    (10e3, 0.5): 10.17149 + 61.00894j,
    (10e3, 1.0): 10.16530 + 52.29936j,
    (10e3, 2.0): 10.14548 + 43.59209j,
    (10e3, 5.0): 10.04530 + 32.09904j,
    (100e3, 0.05): 106.9733 + 747.9413j,
    (100e3, 0.5): 106.7526 + 458.6178j,
    (100e3, 1.0): 106.2494 + 371.5987j,
    (100e3, 2.0): 104.7288 + 284.8301j,
    (100e3, 5.0): 97.9265 + 171.9526j,
}


@pytest.mark.parametrize(("frequency", "offset"), TABLE)
def test_table_of_earth_return(agrees: Callable[..., None], frequency: float, offset: float) -> None:
    # source: Pollaczek 1926, table computed apart from this code; its five decimals give 1e-6 and 5e-6 of the reactance
    gamma = propagation_constant(100.0, frequency, relative_permittivity=0.0)
    wanted = TABLE[frequency, offset] * 1e-3
    assert _pollaczek_ohm_per_m(gamma, frequency, offset, (1.0, 1.0)) == pytest.approx(wanted, rel=1e-5)
    line = _line_ohm_per_m(gamma, frequency, offset, (1.0, 1.0))
    agrees("mutual impedance", line, wanted, within=1e-5, source=POLLACZEK, unit="ohm/m")


@pytest.mark.parametrize(("resistivity", "wanted"), [(20.0, 10.4539 + 41.7964j), (1000.0, 9.9704 + 66.9900j)])
def test_table_of_earth_return_in_other_soils(agrees: Callable[..., None], resistivity: float, wanted: complex) -> None:
    # source: Pollaczek 1926, same table: 10 kHz, 1 m apart, milliohm per metre, four decimals
    gamma = propagation_constant(resistivity, 10e3, relative_permittivity=0.0)
    line = _line_ohm_per_m(gamma, 10e3, 1.0, (1.0, 1.0))
    agrees("mutual impedance", line, wanted * 1e-3, within=1e-5, source=POLLACZEK, unit="ohm/m")


@pytest.mark.parametrize("resistivity", [10.0, 30.0, 100.0, 300.0, 1000.0])
@pytest.mark.parametrize("frequency", [500.0, 10e3, 200e3])
def test_infinite_line_limit(agrees: Callable[..., None], frequency: float, resistivity: float) -> None:
    # source: Pollaczek 1926 by quadrature; 135 cases with the soil's displacement current kept; bar 1e-5
    gamma = propagation_constant(resistivity, frequency)
    places = [(offset, depths) for offset in (0.05, 1.0, 5.0) for depths in ((0.6, 0.6), (1.0, 1.3), (2.0, 0.8))]
    lines, wanted = (
        [method(gamma, frequency, *place) for place in places] for method in (_line_ohm_per_m, _pollaczek_ohm_per_m)
    )
    agrees("mutual impedance", lines, wanted, within=1e-5, source=POLLACZEK, unit="ohm/m")


def test_saads_closed_form(agrees: Callable[..., None]) -> None:
    # source: Saad, Gaba, Giroux 1996 (IEEE Transactions on Power Delivery), rho m^2/(2 pi) [K0(m d) + 2/(4 + m^2 x^2)
    # exp(-(h1 + h2) m)]; a fit, 0.03 to 0.09 % at 1 kHz and 0.1 to 0.4 % at 10 kHz off the integral in the cases above
    for frequency, bar in ((1e3, 1e-3), (10e3, 4.5e-3)):
        m = propagation_constant(100.0, frequency, relative_permittivity=0.0)
        offset = np.array([0.05, 0.5, 1.0, 2.0, 5.0])
        bracket = special.kv(0, m * offset) + 2.0 / (4.0 + (m * offset) ** 2) * np.exp(-2.0 * m)
        lines = [_line_ohm_per_m(m, frequency, float(x), (1.0, 1.0)) for x in offset]
        fit = 100.0 * m**2 / (2 * math.pi) * bracket
        agrees(f"mutual impedance, {frequency:g} Hz", lines, fit, within=bar, source=SAAD, unit="ohm/m")


def test_earth_return_resistance_of_carson(agrees: Callable[..., None]) -> None:
    # source: Carson 1926 (from memory): at low frequency R = omega mu_0/8 per metre, pi^2 f 1e-7; 0.987 ohm/km at 1
    # kHz, the integral lies 1.0 % above it there
    gamma = propagation_constant(100.0, 1e3, relative_permittivity=0.0)
    at_1_khz = _line_ohm_per_m(gamma, 1e3, 1.0, (1.0, 1.0)).real
    agrees("resistance, 1 kHz", at_1_khz, math.pi**2 * 1e3 * 1e-7, within=0.012, source="Carson 1926", unit="ohm/m")
    gamma = propagation_constant(100.0, 50.0, relative_permittivity=0.0)
    at_50_hz = _line_ohm_per_m(gamma, 50.0, 1.0, (1.0, 1.0)).real
    agrees("resistance, 50 Hz", at_50_hz, 0.0493e-3, within=5e-3, source="Carson 1926", unit="ohm/m")
