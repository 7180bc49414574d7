"""Passive tone: a radio wave on long lines, and mains current round a loop of two grounds.

The current on a wire in a field E exp(-j k x) along it, far from its ends, is E/(z + k^2 p), with its impedance per
metre z and its leak's p, here from their exact spectra; with k = 0 the textbook's E/(z_internal + z_external).
"""

from collections.abc import Callable
from functools import cache

import empymod
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.tone.cases import CASES
from corridor.tone.model import SoilRange
from corridor.tone.passive import Feed, MainsCurrent, solve_passive
from corridor.tone.tree import Factored, factorise
from corridor.tone.wave import RadioWave, horizontal_share, wave_emf
from tests.tone.wires import SOIL as KNOWN_SOIL
from tests.tone.wires import wires
from tests.validation.infinite_wires import EPSILON_0, MU_0, InfiniteWire, propagation, spectra
from tests.validation.lines import Line, Site, leak_per_metre, series_per_metre
from tests.validation.test_infinite_wires import cut

LINE_THEORY = "transmission line with a distributed source (Vance 1978, from memory), Pollaczek 1926 and Sunde 1949"
SPECTRAL = "E/(z + k^2 p), spectra after Pollaczek 1926, Sunde 1949"
LIGHT_M_PER_S = 299_792_458.0
STEEL = (1.7e-7, 300.0)
BARE = InfiniteWire(0.0, 1.2, 0.084, 0.084, *STEEL)
COATED = InfiniteWire(0.0, 1.2, 0.084, 0.087, *STEEL, leak_s_per_m=0.02)


def soil(rho: float, thickness_m: float = np.nan, lower_ohm_m: float = np.nan) -> SoilRange:
    return SoilRange(rho, rho, rho, 10.0, "test", thickness_m, lower_ohm_m)


@cache
def factored(site: Site, frequency_hz: float) -> Factored:
    """A line's network, which doesn't know from where the wave comes."""
    network = site.network(frequency_hz)
    return factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)


def driven(site: Site, frequency_hz: float, emf_v: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return the currents that voltages in the sections drive."""
    network = factored(site, frequency_hz)
    still = np.zeros((network.layout.n_nodes, 1))
    solution = network.solve(still, emf_v[:, None])
    return solution.current_a[:, 0]


def ends_of(line: Line) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    knots = np.linspace(line.start_m, line.end_m, line.pieces + 1)
    return knots[:-1], knots[1:]


@pytest.mark.parametrize("arrival_deg", [270.0, 225.0, 300.0])
@pytest.mark.parametrize(
    ("wire", "rho", "frequency_hz", "bar"),
    [(BARE, 100.0, 200e3, 0.005), (BARE, 100.0, 50e3, 0.005), (BARE, 1000.0, 200e3, 0.01),
     (COATED, 100.0, 100e3, 0.005), (COATED, 30.0, 50e3, 0.005)],
    ids=["bare-100-200k", "bare-100-50k", "bare-1000-200k", "coated-100-100k", "coated-30-50k"],
)  # fmt: skip
def test_long_wire_in_a_wave_carries_field_over_impedance(
    agrees: Callable[..., None], wire: InfiniteWire, rho: float, frequency_hz: float, bar: float, arrival_deg: float
) -> None:
    # Bar 0.5 %: sections of a tenth of the propagation length, ends 7 nepers off the middle half. 1 % in 1000 ohm m at
    # 200 kHz: what the ends send back through the air falls off slowly where the wave runs along the wire (0.71 %, the
    # same with half the sections, 0.59 % with twice the length).
    omega = 2 * np.pi * frequency_hz
    sigma = 1 / rho + 1j * omega * EPSILON_0 * 10.0
    rate = propagation(wire, omega, sigma)
    half = 14.0 / rate.real
    line = cut(wire, half, int(np.ceil(2 * half * abs(rate) / 0.1)))
    wave = RadioWave(frequency_hz=frequency_hz, field_v_per_m=0.01, arrival_deg=arrival_deg)
    start, end = ends_of(line)
    current = driven(
        Site((line,), rho), frequency_hz, wave_emf(start, end, wave=wave, soil=soil(rho), resistivity_ohm_m=rho)
    )
    cosine = float(np.sin(np.radians(arrival_deg - 180.0)))  # of the way against the x axis
    k = omega / LIGHT_M_PER_S * cosine
    z, p = (values[0, 0, 0] for values in spectra((wire,), np.array([abs(k)]), omega, sigma))
    x = (start + end)[:, 0] / 2
    share = complex(horizontal_share(wire.depth_m, frequency_hz=frequency_hz, soil=soil(rho)))
    expected = 0.01 * share * cosine * np.exp(-1j * k * x) / (z + k**2 * p)
    inner = np.abs(x) < half / 2
    agrees("current", current[inner] * 1e3, expected[inner] * 1e3, within=bar, source=SPECTRAL, unit="mA")


@pytest.mark.parametrize(("length", "frequency_hz"), [(6000.0, 500.0), (1500.0, 2e3), (1500.0, 1e4)])
def test_open_line_in_a_wave_follows_the_telegrapher(
    agrees: Callable[..., None], length: float, frequency_hz: float
) -> None:
    # d2I/dx2 = Gamma^2 I - y E exp(-j k x) with I = 0 at both ends, on lines many skin depths of the soil long (225 m
    # at 500 Hz). Bar 1 % of the largest current: within a skin depth of an end the judge's infinite-line parameters are
    # off (0.75, 0.66 and 0.90 % there; in the middle of 1.5, 3 and 6 km at 500 Hz 1.7, 0.5 and 0.13 %).
    leak_s_per_m, rho = 1e-3, 100.0
    shape, pieces = np.log(0.087 / 0.084) / (2 * np.pi), int(length / 3)
    line = Line((0, 0, 1.2), (length, 0, 1.2), pieces, radius_m=0.084, outer_radius_m=0.087, metal_ohm_m=1.7e-7,
                relative_permeability=300, coating_permittivity=3.0, coating_s_per_m=leak_s_per_m * shape)  # fmt: skip
    site = Site((line,), rho)
    wave = RadioWave(frequency_hz=frequency_hz, field_v_per_m=0.01, arrival_deg=270.0)
    start, end = ends_of(line)
    current = driven(site, frequency_hz, wave_emf(start, end, wave=wave, soil=soil(rho), resistivity_ohm_m=rho))
    z, p = series_per_metre(site, frequency_hz)[0, 0], leak_per_metre(site, frequency_hz)[0, 0]
    k = 2 * np.pi * frequency_hz / LIGHT_M_PER_S
    gamma = np.sqrt(z / p)
    field = 0.01 * complex(horizontal_share(1.2, frequency_hz=frequency_hz, soil=soil(rho)))
    forced = field / (z + k**2 * p)
    x = (start + end)[:, 0] / 2
    far = np.exp(-1j * k * length)
    free = (np.sinh(gamma * (length - x)) + far * np.sinh(gamma * x)) / np.sinh(gamma * length)
    expected = forced * (np.exp(-1j * k * x) - free)
    agrees(
        "current",
        current * 1e3,
        expected * 1e3,
        of=np.abs(expected).max() * 1e3,
        within=0.01,
        source=LINE_THEORY,
        unit="mA",
    )


@pytest.mark.parametrize("frequency_hz", [1e4, 1e5, 2e5])
@pytest.mark.parametrize(
    ("ground", "depth_m"),
    [(soil(30.0), 1.0), (soil(1000.0), 1.0), (soil(100.0, 1.5, 20.0), 1.0), (soil(100.0, 1.5, 500.0), 3.0)],
    ids=["30", "1000", "100 over 20", "100 over 500"],
)
def test_field_in_the_soil_is_empymods_far_from_an_antenna(
    agrees: Callable[..., None], ground: SoilRange, depth_m: float, frequency_hz: float
) -> None:
    # An upright electric dipole on the ground, twenty radians of wave away: the level field at the depth over the
    # magnetic field above ground times the air's 376.73 ohm, which is the wave's vertical field. Bar 0.1 %: what is
    # left of the near field.
    away = 20.0 * LIGHT_M_PER_S / (2 * np.pi * frequency_hz)
    two = not np.isnan(ground.top_thickness_m)
    layers = {
        "depth": [0.0, ground.top_thickness_m] if two else [0.0],
        "res": [2e14, ground.nominal_ohm_m, ground.lower_ohm_m] if two else [2e14, ground.nominal_ohm_m],
        "epermH": [1.0, 10.0, 10.0] if two else [1.0, 10.0],
        "freqtime": frequency_hz,
        "verb": 0,
    }
    level = empymod.dipole([0, 0, -0.01], [away, 0, depth_m], ab=13, **layers)
    magnetic = empymod.dipole([0, 0, -0.01], [away, 0, -0.005], ab=53, **layers)
    theirs = complex(level / (magnetic * np.sqrt(MU_0 / EPSILON_0)))
    ours = complex(horizontal_share(depth_m, frequency_hz=frequency_hz, soil=ground))
    agrees("E_h over E_v", ours, theirs, within=1e-3, source="empymod (Werthmueller 2017)")


@pytest.mark.parametrize(("sigma_s_per_m", "permittivity", "frequency_hz"), [(0.01, 15.0, 2e5), (0.001, 10.0, 1e5)])
def test_tilt_is_the_textbooks(
    agrees: Callable[..., None], sigma_s_per_m: float, permittivity: float, frequency_hz: float
) -> None:
    # Jordan and Balmain 1968, ch. 16 (from memory): E_h/E_v = 1/sqrt(eps_r - j x), x = sigma/(omega eps0), where the
    # ground is dense; with x of 900 and 180 the factor sqrt(1 - 1/n^2) that it leaves out is 0.3 % at most
    x = sigma_s_per_m / (2 * np.pi * frequency_hz * EPSILON_0)
    ground = SoilRange(1 / sigma_s_per_m, 1.0, 1e4, permittivity, "test")
    ours = complex(horizontal_share(0.0, frequency_hz=frequency_hz, soil=ground))
    agrees("E_h over E_v", ours, 1 / np.sqrt(permittivity - 1j * x), within=0.003, source="Jordan and Balmain 1968")


def grounded(ohm: tuple[float, float]) -> tuple[object, ...]:
    return tuple(
        {"ground_id": f"g{n}", "line_id": "A", "geometry": (x, 0), "evidence": "measured", "resistance_ohm": r}
        for n, (x, r) in enumerate(zip((0.0, 600.0), ohm, strict=True))
    )


@pytest.mark.parametrize(("ohm", "net_a"), [((5.0, 10.0), 10.0), ((2.0, 3.0), 10.0), ((5.0, 10.0), 0.05)])
def test_mains_current_is_that_of_its_loop(agrees: Callable[..., None], ohm: tuple[float, float], net_a: float) -> None:
    # One insulated line with a ground at either end: I = min(net, V/(R1 + R2 - rho/(pi l) + z l)): the grounds share
    # soil, rho/(2 pi l) each way (Sunde 1949, two distant electrodes). z of 20 mm2 of copper (17.24 ohm mm2/km at
    # 20 degrees, IEC 60028) with Carson's earth return (1926), mu0 omega/8 + j omega mu0/(2 pi) ln(658 sqrt(rho/f)/r')
    # per metre. Bar 0.5 %: z stands for an infinite line.
    length, area_mm2 = 600.0, 20.0
    line = {"line_id": "A", "geometry": [(0, 0), (length, 0)], "conductor_mm2": area_mm2, "diameter_mm": 12.0,
            "coating": "polyethylene"}  # fmt: skip
    model = wires(placement=None, lines=[line], bonds=(), grounds=grounded(ohm))
    feed = Feed("A", model.section_at("A", 5.0), 1)
    source = MainsCurrent(frequency_hz=50.0, net_a=net_a, driving_v=5.0, feeds=(feed,))
    result = solve_passive(model, source, CASES[:1], soil=KNOWN_SOIL).results[50.0, "nominal"]
    omega = 2 * np.pi * 50.0
    radius = np.sqrt(area_mm2 * 1e-6 / np.pi) * np.exp(-0.25)
    reach = 658.0 * np.sqrt(KNOWN_SOIL.nominal_ohm_m / 50.0)
    z = 17.24e-3 / area_mm2 + MU_0 * omega / 8 + 1j * omega * MU_0 / (2 * np.pi) * np.log(reach / radius)
    expected = min(net_a, 5.0 / abs(sum(ohm) - KNOWN_SOIL.nominal_ohm_m / (np.pi * length) + z * length))
    got = np.abs(result.current_a[model.sections_of("A"), 0])
    agrees("current", got, expected, within=0.005, source="Ohm's law, Sunde 1949, Carson 1926", unit="A")
