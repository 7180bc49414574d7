"""Long coated lines against the telegrapher's equations, on the same parameters per metre.

The judge is right only where infinite-line parameters are: lines much longer than their depth and spacing, coatings
that dominate the soil, and enough leak to damp the line within a wavelength or two. On hardly damped lines the two
phase constants, which differ by about one per cent, drift apart (1.5 km, dry jackets, 10 kHz: 2 % of the drive), and
for bare or short lines the telegrapher is the one who errs.
"""

from collections.abc import Callable

import numpy as np
import pytest

from corridor.tone.tree import factorise
from tests.validation.lines import Line, Site, leak_per_metre, modal_currents, series_per_metre

SOURCE = "telegrapher's equations, modal, with Pollaczek 1926 and Sunde 1949"
LENGTH_M = 1500.0


def pipe(leak_s_per_m: float, pieces: int) -> Line:
    """Return a coated DN150 steel pipe at 1.2 m with this leak through its coating."""
    return Line(
        (0, 0, 1.2),
        (LENGTH_M, 0, 1.2),
        pieces,
        radius_m=0.084,
        outer_radius_m=0.087,
        metal_ohm_m=1.7e-7,
        relative_permeability=300,
        coating_permittivity=3.0,
        coating_s_per_m=leak_s_per_m * np.log(0.087 / 0.084) / (2 * np.pi),
    )


def cable(y_m: float, leak_s_per_m: float, pieces: int) -> Line:
    """Return a copper cable at 1 m with a jacket that leaks this much."""
    conductivity = leak_s_per_m * np.log(0.0065 / 0.005) / (2 * np.pi)
    return Line((0, y_m, 1.0), (LENGTH_M, y_m, 1.0), pieces, coating_s_per_m=conductivity)


def solved(site: Site, frequency_hz: float) -> tuple[np.ndarray, complex]:
    """Return the currents at the sections' middles, (lines, pieces), and the impedance, for 1 A into the first head."""
    network = site.network(frequency_hz)
    injection = np.zeros((network.layout.n_nodes, 1))
    injection[0] = 1
    solution = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm).solve(injection)
    return solution.current_a.reshape(len(site.lines), -1), complex(solution.node_v[0, 0])


def middles(site: Site) -> np.ndarray:
    return (np.arange(site.lines[0].pieces) + 0.5) * LENGTH_M / site.lines[0].pieces


@pytest.mark.parametrize(("frequency_hz", "db_per_km"), [(1e3, 1.06), (1e4, 4.85)])
def test_the_judge_attenuates_as_calculated_elsewhere(
    agrees: Callable[..., None], frequency_hz: float, db_per_km: float
) -> None:
    # An independent calculation for a 12.75 inch pipe at 1.2 m with a coating of 3 mm and 10 uS/m2, the soil's own
    # admittance ignored (here too). Tolerance: its three digits, and its wall of 9.5 mm, which the skin effect hides.
    coating = 2 * np.pi * 0.1619  # m2 per m
    line = Line(
        (0, 0, 1.2),
        (1000, 0, 1.2),
        10,
        radius_m=0.1619,
        outer_radius_m=0.1649,
        metal_ohm_m=1.7e-7,
        relative_permeability=300,
        coating_permittivity=3.0,
        coating_s_per_m=10e-6 * coating * np.log(0.1649 / 0.1619) / (2 * np.pi),
    )
    site = Site((line,), 100.0)
    gamma = np.sqrt(series_per_metre(site, frequency_hz)[0, 0] * line.coating_s_per_metre(frequency_hz))
    loss = gamma.real * 1000 * 20 / np.log(10)
    agrees("loss", loss, db_per_km, within=0.01, source="independent calculation, three digits", unit="dB/km")


@pytest.mark.parametrize(
    ("leak_s_per_m", "resistivity_ohm_m", "frequency_hz"),
    [(1e-3, 30, 500), (1e-3, 30, 2e3), (1e-3, 30, 1e4), (1e-3, 100, 500), (1e-3, 100, 2e3), (1e-4, 30, 500),
     (1e-4, 100, 500), (1e-4, 100, 2e3), (1e-4, 300, 500), (2e-5, 100, 500)],
)  # fmt: skip
def test_one_leaky_line_follows_the_telegrapher(
    agrees: Callable[..., None], leak_s_per_m: float, resistivity_ohm_m: float, frequency_hz: float
) -> None:
    # Telegrapher's solution for an open line, I = sinh Gamma (L - x) / sinh Gamma L. Bars: current 0.5 % of the drive
    # everywhere along the line (measured 0.02 - 0.31 %); Z_in 3 %, an end effect that the telegrapher lacks (measured
    # 0.3 - 2.8 %).
    site = Site((pipe(leak_s_per_m, 500),), resistivity_ohm_m)
    current, impedance = solved(site, frequency_hz)
    modal = modal_currents(site, frequency_hz, middles(site))
    agrees("current", current, modal, of=1.0, within=0.005, source=SOURCE, unit="A")
    z, p = series_per_metre(site, frequency_hz)[0, 0], leak_per_metre(site, frequency_hz)[0, 0]
    open_line = np.sqrt(z * p) / np.tanh(np.sqrt(z / p) * LENGTH_M)
    agrees("impedance", impedance, complex(open_line), within=0.03, source=SOURCE, unit="ohm")


@pytest.mark.parametrize("gap_m", [1.0, 3.0])
@pytest.mark.parametrize(
    ("leak_s_per_m", "frequency_hz"), [(1e-3, 500), (1e-3, 1e4), (1e-4, 500), (1e-4, 2e3), (1e-4, 1e4), (2e-5, 2e3)]
)
def test_two_leaky_lines_follow_the_modal_solution(
    agrees: Callable[..., None], gap_m: float, leak_s_per_m: float, frequency_hz: float
) -> None:
    # Modal solution of the two-line telegrapher's equations, both open at both ends, soil 100 ohm m, the neighbour fed
    # by coupling alone. Bars: target and neighbour 0.5 % of the drive (measured 0.02 - 0.33 %), where the neighbour
    # itself reaches 3 - 13 %.
    site = Site((cable(0.0, leak_s_per_m, 400), cable(gap_m, leak_s_per_m, 400)), 100.0)
    current, _ = solved(site, frequency_hz)
    modal = modal_currents(site, frequency_hz, middles(site))
    agrees("target's current", current[0], modal[0], of=1.0, within=0.005, source=SOURCE, unit="A")
    agrees("neighbour's current", current[1], modal[1], of=1.0, within=0.005, source=SOURCE, unit="A")
    assert abs(modal[1]).max() > 0.03


def test_halving_the_sections_changes_the_neighbour_little() -> None:
    coarse, fine = (
        solved(Site((cable(0.0, 1e-4, pieces), cable(1.0, 1e-4, pieces)), 100.0), 2e3)[0] for pieces in (200, 400)
    )
    in_between = fine.reshape(2, 200, 2).mean(axis=2)
    assert abs(coarse - in_between)[1].max() <= 0.02 * abs(fine[1]).max()
