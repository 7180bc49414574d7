"""What one soil for all costs where two soils meet: a vertical contact, direct current, by images.

A leak at depth h on one side of a vertical contact raises the potential rho1/(4 pi) (1/R + K/R') on its own side, R' to
its mirror image in the contact and K = (rho2 - rho1)/(rho2 + rho1), and rho1 (1 + K)/(4 pi R) on the other; the ground
surface mirrors all of it without loss (Tagg, Earth Resistances, 1964, from memory). The engine replaces both soils by
their geometric mean here, since half of the line lies in each.

The judge has its own matrices and its own nodal equations. The bars are what docs/method.md says this costs.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.tone.tree import factorise
from tests.validation.lines import Line, Site

SOURCE = "images in a vertical contact, Tagg 1964"
Real = NDArray[np.float64]
HALF_M, PIECES = 60.0, 60
DEPTH_M, GAP_M = 1.0, 1.5
RADIUS_M, OUTER_M = 0.084, 0.087
METAL_OHM_M = 1.7e-7
COATING_OHM_M = 300.0
# so slow that nothing is induced, and the skin far deeper than the metal
DIRECT_HZ = 1e-3


@dataclass(frozen=True)
class Found:
    """Currents per ampere fed into the first line's end, shape (2, pieces), and the loop's resistance."""

    current_a: Real
    loop_ohm: float


def line(y_m: float) -> Line:
    return Line(
        (-HALF_M, y_m, DEPTH_M),
        (HALF_M, y_m, DEPTH_M),
        PIECES,
        radius_m=RADIUS_M,
        outer_radius_m=OUTER_M,
        metal_ohm_m=METAL_OHM_M,
        coating_s_per_m=np.log(OUTER_M / RADIUS_M) / (2 * np.pi * COATING_OHM_M),
    )


@cache
def ours(resistivity_ohm_m: float) -> Found:
    """One soil: the target fed at its end, return at remote earth; the neighbour open at both ends."""
    network = Site((line(0.0), line(GAP_M)), resistivity_ohm_m).network(DIRECT_HZ)
    injection = np.zeros((network.layout.n_nodes, 1))
    injection[0] = 1.0
    solution = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm).solve(injection)
    return Found(solution.current_a.real.reshape(2, PIECES), float(solution.node_v[0, 0].real))


@cache
def images(left_ohm_m: float, right_ohm_m: float) -> Found:
    """Both soils: leaks by images, nodes by Kirchhoff's laws, Y V = J with each section's leak taken at its middle."""
    edges = np.linspace(-HALF_M, HALF_M, PIECES + 1)
    low, high = np.tile(edges[:-1], 2), np.tile(edges[1:], 2)
    y = np.repeat([0.0, GAP_M], PIECES)
    rho = np.where(low + high < 0, left_ohm_m, right_ohm_m)
    aside = np.abs(y[:, None] - y[None, :])
    own = np.where(aside == 0, OUTER_M, aside)
    image = np.hypot(aside, 2 * DEPTH_M)
    direct = inverse_distances((low, high), (low, high), own) + inverse_distances((low, high), (low, high), image)
    mirror = inverse_distances((low, high), (-high, -low), own) + inverse_distances((low, high), (-high, -low), image)
    same = rho[:, None] == rho[None, :]
    contrast = (left_ohm_m + right_ohm_m - 2 * rho) / (left_ohm_m + right_ohm_m)
    through = 2 * left_ohm_m * right_ohm_m / (left_ohm_m + right_ohm_m)
    area = (high - low)[:, None] * (high - low)[None, :]
    leak = np.where(same, rho * (direct + contrast * mirror), through * direct) / (4 * np.pi * area)
    leak += np.diag(COATING_OHM_M / (high - low))
    # head and tail of every section, and the mean of both
    step, mean = np.zeros((2 * PIECES, 2 * (PIECES + 1))), np.zeros((2 * PIECES, 2 * (PIECES + 1)))
    section = np.arange(2 * PIECES)
    head = section + section // PIECES
    step[section, head], step[section, head + 1] = 1.0, -1.0
    mean[section, head], mean[section, head + 1] = 0.5, 0.5
    along = np.pi * RADIUS_M**2 / (METAL_OHM_M * (high - low))
    fed = np.zeros(2 * (PIECES + 1))
    fed[0] = 1.0
    potential = np.linalg.solve(step.T @ (along[:, None] * step) + mean.T @ np.linalg.solve(leak, mean), fed)
    return Found((along * (step @ potential)).reshape(2, PIECES), float(potential[0]))


def inverse_distances(one: tuple[Real, Real], other: tuple[Real, Real], apart: Real) -> Real:
    """Integrate 1/R over all pairs of level sections along x, ``apart`` from each other: four terms of one function."""

    def term(u: Real) -> Real:
        return u * np.arcsinh(u / apart) - np.hypot(u, apart)

    (a, b), (c, d) = ((ends[0][:, None], ends[1][:, None]) for ends in (one, other))
    c, d = c.T, d.T
    return term(d - a) - term(c - a) - term(d - b) + term(c - b)


def mean_soil(left_ohm_m: float, right_ohm_m: float) -> float:
    return float(np.sqrt(left_ohm_m * right_ohm_m))


@pytest.mark.parametrize("resistivity_ohm_m", [30.0, 100.0, 300.0])
def test_without_a_contact_both_agree(agrees: Callable[..., None], resistivity_ohm_m: float) -> None:
    # One soil on both sides: the same problem by two solvers. Bars: 0.1 % of the drive, 0.1 % in resistance
    one, other = ours(resistivity_ohm_m), images(resistivity_ohm_m, resistivity_ohm_m)
    agrees("currents", one.current_a, other.current_a, of=1.0, within=1e-3, source=SOURCE, unit="A")
    agrees("loop", one.loop_ohm, other.loop_ohm, within=1e-3, source=SOURCE, unit="ohm")


def test_images_meet_at_the_contact() -> None:
    # identity: the potential is steady across the contact, and what flows through it is, E/rho on both sides
    left, right, x = 30.0, 300.0, np.array([-1e-6, 1e-6])
    contrast = (right - left) / (right + left)
    source = -2.0

    def potential(at: Real) -> Real:
        own = left * (1 / np.abs(at - source) + contrast / np.abs(at + source))
        return np.where(at < 0, own, left * (1 + contrast) / np.abs(at - source))

    field = (potential(x + 1e-7) - potential(x - 1e-7)) / 2e-7 / np.array([left, right])
    assert np.diff(potential(x))[0] == pytest.approx(0.0, abs=1e-3)
    assert field[0] == pytest.approx(field[1], rel=1e-4)


@pytest.mark.parametrize(
    ("left_ohm_m", "right_ohm_m", "current_share", "loop_share"),
    [(100.0, 200.0, 0.06, 0.005), (200.0, 100.0, 0.06, 0.005), (30.0, 300.0, 0.15, 0.012), (300.0, 30.0, 0.15, 0.012)],
)
def test_one_soil_for_two_costs_what_the_method_says(
    agrees: Callable[..., None], left_ohm_m: float, right_ohm_m: float, current_share: float, loop_share: float
) -> None:
    # docs/method.md, soil polygons: 6 % of the drive and 0.5 % of the resistance, 15 % and 1 %; no less either
    one, both = ours(mean_soil(left_ohm_m, right_ohm_m)), images(left_ohm_m, right_ohm_m)
    agrees("target", one.current_a[0], both.current_a[0], of=1.0, within=current_share, source=SOURCE, unit="A")
    agrees("loop", one.loop_ohm, both.loop_ohm, within=loop_share, source=SOURCE, unit="ohm")
    assert np.abs(one.current_a[0] - both.current_a[0]).max() > 0.9 * current_share


def test_low_and_high_soil_do_not_bound_the_neighbour() -> None:
    # docs/method.md: the contact of 30 and 300 ohm m drives 0.06 A per ampere along the neighbour, where one soil, be
    # it the mean, the low or the high one, gives less than 0.01 A
    left, right = 30.0, 300.0
    both = np.abs(images(left, right).current_a[1]).max()
    assert both == pytest.approx(0.064, abs=1e-3)
    for resistivity in (left, mean_soil(left, right), right):
        assert np.abs(ours(resistivity).current_a[1]).max() < 0.01
    assert np.abs(ours(mean_soil(left, right)).current_a[1]).max() < 0.005
