"""Five coated lines side by side: the modal solution of the telegrapher's equations, and the exact one.

The modal judge and its limits are those of test_coated_lines.py: long, coated, well damped lines.
"""

from collections.abc import Callable

import numpy as np
import pytest

from corridor.tone.tree import factorise
from tests.validation.infinite_wires import InfiniteWire
from tests.validation.lines import Line, Site, modal_currents
from tests.validation.test_infinite_wires import solved

MODAL = "telegrapher's equations, modal, with Pollaczek 1926 and Sunde 1949"
EXACT = "spectral solution after Pollaczek 1926, Sunde 1949"
LENGTH_M, PIECES = 1500.0, 200
# offset and depth in m, radius in m, coating in m, leak in S/m: two cables and three pipes of a street
LINES = (
    (0.0, 1.0, 0.005, 0.0015, 1.0),
    (1.0, 1.2, 0.084, 0.003, 1.0),
    (2.2, 0.8, 0.006, 0.002, 0.3),
    (3.5, 1.5, 0.11, 0.003, 2.0),
    (-1.5, 1.1, 0.057, 0.002, 0.5),
)


def street(leak_s_per_m: float) -> Site:
    def line(y: float, depth: float, radius: float, coating: float, share: float) -> Line:
        steel = radius > 0.02
        return Line(
            (0, y, depth),
            (LENGTH_M, y, depth),
            PIECES,
            radius_m=radius,
            outer_radius_m=radius + coating,
            metal_ohm_m=1.7e-7 if steel else 1.7e-8,
            relative_permeability=300.0 if steel else 1.0,
            coating_s_per_m=share * leak_s_per_m * np.log(1 + coating / radius) / (2 * np.pi),
        )

    return Site(tuple(line(*values) for values in LINES), 100.0)


@pytest.mark.parametrize(("leak_s_per_m", "frequency_hz"), [(3e-4, 500.0), (1e-4, 4e3)])
def test_five_lines_follow_the_modal_solution(
    agrees: Callable[..., None], leak_s_per_m: float, frequency_hz: float
) -> None:
    # 1 A into the first line, all ends open, the others fed by coupling alone: 2 to 18 % of the drive. Bar: 0.5 % of
    # the drive on every line. Leakier coatings leave too much to the soil for parameters per metre (1 mS/m: 0.6 %);
    # there the exact solution below is the judge.
    site = street(leak_s_per_m)
    network = site.network(frequency_hz)
    injection = np.zeros((network.layout.n_nodes, 1))
    injection[0] = 1
    solution = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm).solve(injection)
    current = solution.current_a.reshape(len(LINES), PIECES)
    modal = modal_currents(site, frequency_hz, (np.arange(PIECES) + 0.5) * LENGTH_M / PIECES)
    assert abs(modal[1:]).max() > 0.03
    agrees("target's current", current[0], modal[0], of=1.0, within=5e-3, source=MODAL, unit="A")
    agrees("neighbours' currents", current[1:], modal[1:], of=1.0, within=5e-3, source=MODAL, unit="A")


def test_five_leaky_lines_follow_the_exact_solution(agrees: Callable[..., None]) -> None:
    # 20 mS/m, 30 ohm m, 50 kHz, the first line fed in its middle. Bars as for two wires: 0.3 % of the half ampere that
    # goes each way, neighbours 1 % of their own peaks
    frequency_hz, leak_s_per_m = 50e3, 0.02
    wires = tuple(endless(line, leak_s_per_m * values[-1])
                  for line, values in zip(street(leak_s_per_m).lines, LINES, strict=True))  # fmt: skip
    case = solved(wires, 30.0, frequency_hz, gamma_step=0.15, decays=6)
    ours, theirs = case.current_a, case.exact.current_a
    agrees("target's current", ours[0], theirs[0], of=0.5, within=3e-3, source=EXACT, unit="A")
    peaks = abs(theirs[1:]).max(axis=1, keepdims=True)
    agrees("neighbours' currents", ours[1:], theirs[1:], of=peaks, within=0.01, source=EXACT, unit="A")


def endless(line: Line, leak_s_per_m: float) -> InfiniteWire:
    """Return the infinite wire that a line is a piece of."""
    return InfiniteWire(
        line.start_m[1],
        line.start_m[2],
        line.radius_m,
        line.outer_radius_m,
        line.metal_ohm_m,
        line.relative_permeability,
        leak_s_per_m,
        line.coating_permittivity,
    )
