"""The table of the eddy field against its own integrals by adaptive quadrature, and its limits."""

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import jv

from corridor.constants import MU_0
from corridor.tone.eddies import RHO_MAX_M, EddyTable, read_eddies, read_level_eddies

HEIGHT_M = 0.1
GAMMAS = [1e-3 * (1 + 1j), 0.02 * (1 + 1j), 0.28 * (1 + 1j), 0.05 + 0.02j]


def table(gamma: complex) -> EddyTable:
    return EddyTable([gamma], heights_m=[HEIGHT_M], depth_min_m=0.4, depth_max_m=2.5)


def at(one: EddyTable, rho_m: float, depth_m: float) -> np.ndarray:
    found = np.empty((4, 2))
    read_eddies(one.parts, one.scale, (rho_m, depth_m), found)
    return found.view(np.complex128)[:, 0]


def by_quadrature(gamma: complex, rho: float, depth: float) -> np.ndarray:
    """Return the four parts from the definition: d/d rho of J0 is -lambda J1, its Laplacian -lambda^2 J0."""

    def difference(x: float) -> complex:
        u = cmath.sqrt(x * x + gamma * gamma)
        return (cmath.exp(-u * depth) / (u + x) - math.exp(-x * depth) / (2 * x)) * math.exp(-x * HEIGHT_M)

    def along_depth(x: float) -> complex:
        u = cmath.sqrt(x * x + gamma * gamma)
        return (-u * cmath.exp(-u * depth) / (u + x) + math.exp(-x * depth) / 2) * math.exp(-x * HEIGHT_M)

    integrands = (
        lambda x: -x * x * jv(0, x * rho) * difference(x),
        lambda x: -x * jv(1, x * rho) * difference(x),
        lambda x: x * x * jv(1, x * rho) * difference(x),
        lambda x: -x * jv(1, x * rho) * along_depth(x),
    )
    edges = np.concatenate([[1e-9], np.geomspace(1e-4, 1.0, 12), np.arange(2, 2 + math.ceil(30 / depth), 1.0)])
    return np.array(
        [
            MU_0 / (2 * math.pi) * sum(
                quad(f, a, b, complex_func=True, epsabs=1e-13, epsrel=1e-9, limit=200)[0] for a, b in pairwise(edges)
            )
            for f in integrands
        ]
    )  # fmt: skip


@pytest.mark.parametrize("gamma", GAMMAS)
def test_table_gives_the_integrals(gamma: complex) -> None:
    # adaptive quadrature (QUADPACK) at places off the grid, in all three bands; bar 2e-4 of each part,
    # and right above the wire, where all but the first vanish, 1e-5 of that per metre
    one = table(gamma)
    for rho, depth in [(0.037, 0.5), (0.61, 1.03), (2.7, 1.9), (7.6, 0.9), (8.4, 0.9), (21.0, 1.1), (70.0, 0.6)]:
        expected = by_quadrature(gamma, rho, depth)
        bar = 2e-4 * np.abs(expected) + 1e-5 * abs(expected[0])
        assert np.all(np.abs(at(one, rho, depth) - expected) < bar), (rho, depth)


def test_right_above_a_wire_only_the_level_current_has_a_field() -> None:
    laplace, *others = at(table(0.1 + 0.1j), 0.0, 1.0)
    assert np.abs(others).max() < 1e-6 * abs(laplace)


def test_far_away_nothing_of_the_static_field_is_left() -> None:
    # static: Phi' = -mu_0/(4 pi) rho/(R (R + H)), of a leak; good soil cancels it beyond the depth of penetration. The
    # rest is of the order of 1/(gamma rho)
    one = table(0.5 + 0.5j)
    for rho in (40.0, 200.0, 500.0):
        r, below = math.hypot(rho, 1.0 + HEIGHT_M), 1.0 + HEIGHT_M
        static = -MU_0 / (4 * math.pi) * rho / (r * (r + below))
        assert at(one, rho, 1.0)[1] == pytest.approx(-static, rel=1.5 / (abs(0.5 + 0.5j) * rho), abs=0)


def test_dry_soil_has_none() -> None:
    # compared with the static field of a leak 10 m away, which is 1e-7/10 m
    slopes = [abs(at(table(gamma * (1 + 1j)), 10.0, 1.0)[1]) for gamma in (1e-2, 1e-3, 1e-4)]
    assert slopes[0] > 5 * slopes[1] > 25 * slopes[2]
    assert slopes[2] < 1e-3 * 1e-8


def test_one_depth_is_enough() -> None:
    # all lines at one depth: the table has some width all the same, and gives what a wide one gives
    narrow = EddyTable([0.1 + 0.1j], heights_m=[HEIGHT_M], depth_min_m=1.0, depth_max_m=1.0)
    assert at(narrow, 1.3, 1.0) == pytest.approx(at(table(0.1 + 0.1j), 1.3, 1.0), rel=1e-4, abs=0)


def test_table_is_the_same_every_time() -> None:
    np.testing.assert_array_equal(table(0.1 + 0.1j).parts, table(0.1 + 0.1j).parts)


def test_table_reaches_as_far_as_it_says() -> None:
    one = table(0.1 + 0.1j)
    assert np.sinh((one.parts.shape[0] - 1) / one.scale[0]) == pytest.approx(RHO_MAX_M)


def test_several_soils_and_heights_stand_side_by_side() -> None:
    heights = [0.1, 0.5]
    together = EddyTable(GAMMAS, heights_m=heights, depth_min_m=0.4, depth_max_m=2.5)
    found = np.empty((4, 2 * len(heights) * len(GAMMAS)))
    read_eddies(together.parts, together.scale, (1.7, 0.93), found)
    alone = [
        at(EddyTable([gamma], heights_m=[height], depth_min_m=0.4, depth_max_m=2.5), 1.7, 0.93)
        for height in heights
        for gamma in GAMMAS
    ]
    np.testing.assert_allclose(found.view(np.complex128), np.array(alone).T, rtol=1e-12)


def test_level_sections_read_the_same() -> None:
    one, depth_m = table(0.1 + 0.1j), np.array([0.4, 0.93, 2.5])
    flat = one.at_depths(depth_m)
    for depth, rows in zip(depth_m, flat, strict=True):
        for rho in (0.0, 0.2, 9.0, RHO_MAX_M):
            level, full = np.zeros((4, 2)), np.empty((4, 2))
            read_level_eddies(rows, one.scale[0], rho, level)
            read_eddies(one.parts, one.scale, (rho, float(depth)), full)
            np.testing.assert_allclose(level[:3], full[:3], rtol=1e-10, atol=1e-24)
