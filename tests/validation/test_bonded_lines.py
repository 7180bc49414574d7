"""Equal lines bonded at both ends: what direct connection and clamp share out (laws of parallel circuits)."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from corridor.tone.layout import Solution
from corridor.tone.tree import factorise
from tests.validation.lines import Line, Site

SOURCE = "laws of parallel circuits"
PIECES, LENGTH_M, GAP_M = 40, 100.0, 0.2


def ring(count: int) -> list[tuple[float, float]]:
    """Return places (across, depth) at the corners of a regular polygon: every line has the same neighbours."""
    radius = GAP_M / (2 * math.sin(math.pi / count))
    angles = [2 * math.pi * k / count for k in range(count)]
    return [(radius * math.sin(angle), 1.0 + radius * math.cos(angle)) for angle in angles]


def bonded(places: list[tuple[float, float]]) -> Site:
    """Return jacketed cables at these places, each bonded to the first at both ends by zero ohms."""
    lines = tuple(Line((0, y, depth), (LENGTH_M, y, depth), PIECES) for y, depth in places)
    far = [k * (PIECES + 1) for k in range(1, len(lines))]
    elements = tuple((0, node) for node in far) + tuple((PIECES, PIECES + node) for node in far)
    return Site(lines, 100.0, elements, (0j,) * len(elements))


def direct(site: Site, frequency_hz: float) -> np.ndarray:
    """Return each line's middle current for 1 A from the bond at one end to the bond at the other."""
    network = site.network(frequency_hz)
    injection = np.zeros((network.layout.n_nodes, 1))
    injection[0], injection[PIECES] = 1, -1
    system = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)
    return middle(system.solve(injection), len(site.lines))


def clamped(site: Site, frequency_hz: float) -> np.ndarray:
    """Return each line's middle current relative to the first's, with a clamp round the first."""
    network = site.network(frequency_hz)
    emf = np.zeros((network.layout.n_sections, 1))
    emf[PIECES // 2] = 1
    system = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)
    current = middle(system.solve(np.zeros((network.layout.n_nodes, 1)), emf), len(site.lines))
    return current / current[0]


def middle(solution: Solution, lines: int) -> np.ndarray:
    return solution.current_a.reshape(lines, PIECES)[:, PIECES // 2]


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
@pytest.mark.parametrize("gap_m", [0.1, 1.0, 5.0])
def test_two_lines_share_a_direct_connection_by_halves(
    agrees: Callable[..., None], gap_m: float, frequency_hz: float
) -> None:
    # side by side at one depth the two are mirror images, so the halves are exact
    current = direct(bonded([(0, 1.0), (gap_m, 1.0)]), frequency_hz)
    agrees("currents", current, [0.5, 0.5], within=1e-3, source=SOURCE, unit="A")


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
@pytest.mark.parametrize("gap_m", [0.1, 1.0, 5.0])
def test_the_clamped_line_and_its_partner_carry_opposite_currents(
    agrees: Callable[..., None], gap_m: float, frequency_hz: float
) -> None:
    # 1 and -1: the loop has no other way. Tolerance: what the jackets let through at the ends.
    current = clamped(bonded([(0, 1.0), (gap_m, 1.0)]), frequency_hz)
    agrees("currents over the first", current, [1.0, -1.0], within=2e-3, source=SOURCE)


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
@pytest.mark.parametrize("count", [3, 4])
def test_lines_at_the_corners_of_a_polygon_share_equally(
    agrees: Callable[..., None], count: int, frequency_hz: float
) -> None:
    # I / N each. Tolerance: depth breaks the symmetry by a little of the earth return.
    current = direct(bonded(ring(count)), frequency_hz)
    agrees("currents", current, 1 / count, within=2e-3, source=SOURCE, unit="A")


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
@pytest.mark.parametrize(
    "places", [ring(3), [(0, 1.0), (-1, 1.0), (1, 1.0)]], ids=["triangle", "clamped one between two"]
)
def test_clamp_on_one_of_three_gives_half_back_on_each_partner(
    agrees: Callable[..., None], places: list[tuple[float, float]], frequency_hz: float
) -> None:
    # 1 and -1 / (N - 1); the partners lie alike to the clamped line and to each other
    current = clamped(bonded(places), frequency_hz)
    agrees("currents over the first", current, [1.0, -0.5, -0.5], within=3e-3, source=SOURCE)


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
def test_all_partners_together_bring_back_what_the_clamp_drives(
    agrees: Callable[..., None], frequency_hz: float
) -> None:
    current = clamped(bonded(ring(4)), frequency_hz)
    agrees("partners over the first", current[1:].sum(), -1.0, within=3e-3, source=SOURCE)
    # the two beside the clamped line lie alike to it
    assert current[1] == pytest.approx(current[3], rel=1e-9)
