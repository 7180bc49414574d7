"""Laws that any passive linear network obeys, on random networks with the engine's own matrices.

Symmetry and reciprocity after Lorentz, power after Tellegen, currents after Kirchhoff; the nodal form after Otero,
Cidras and del Alamo 1999.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from corridor.tone.layout import Layout
from corridor.tone.tree import Factored, factorise
from tests.tone.networks import Network, kirchhoff_residual, nodal, power_balance, sources, worst_difference
from tests.validation.lines import Line, Site

# seed, frequency in Hz, resistivity in ohm m: the corners of the range and some between
CASES = [
    (1, 500.0, 10.0), (2, 500.0, 1000.0), (3, 10e3, 100.0), (4, 200e3, 10.0), (5, 200e3, 1000.0),
    (6, 500.0, 100.0), (7, 50e3, 30.0), (8, 200e3, 100.0), (9, 1e3, 300.0), (10, 33e3, 1000.0),
]  # fmt: skip


@cache
def street(seed: int, frequency_hz: float, resistivity_ohm_m: float) -> Network:
    """Return some straight lines in all directions, bare or jacketed, two rods, and elements between random nodes."""
    rng = np.random.default_rng(seed)
    lines = [random_line(rng) for _ in range(int(rng.integers(4, 8)))]
    for _ in range(2):
        x, y = rng.uniform(-30, 30, 2)
        lines.append(Line((x, y, 0.0), (x, y, float(rng.uniform(0.3, 2.0))), 1, radius_m=0.008, rod=True))
    network = Site(tuple(lines), resistivity_ohm_m).network(frequency_hz)
    nodes = network.layout.n_nodes
    pairs = sorted({tuple(sorted(rng.choice(nodes, 2, replace=False))) for _ in range(8)})
    pairs += [(0, nodes - 4), (5, nodes - 2)]  # both rods are connected
    a, b = np.array(pairs, dtype=np.int64).T
    ohms = 10 ** rng.uniform(-3, 3, a.size) + 0j
    ohms[:3] = np.inf, 0, 1 / (1e-6 + 2j * np.pi * frequency_hz * 1e-9)  # open, closed, a joint of 1 Mohm and 1 nF
    return replace(network, layout=Layout(network.layout.chain, a, b), element_ohm=ohms)


def random_line(rng: np.random.Generator) -> Line:
    angle, length, depth = rng.uniform(0, np.pi), rng.uniform(10, 50), float(rng.uniform(0.4, 2.5))
    x, y = rng.uniform(-20, 20, 2)
    start, end = (x, y, depth), (x + length * np.cos(angle), y + length * np.sin(angle), depth)
    pieces = int(np.ceil(length / rng.uniform(1, 3)))
    if rng.random() < 0.4:
        return Line(
            start, end, pieces, radius_m=0.08, outer_radius_m=0.08, metal_ohm_m=1.7e-7, relative_permeability=300
        )
    return Line(start, end, pieces)


def factored(network: Network) -> Factored:
    return factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)


@pytest.mark.parametrize("case", CASES)
class TestInvariants:
    def test_matrices_are_symmetric(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        for matrix in (network.z_ohm, network.p_ohm):
            assert abs(matrix - matrix.T).max() <= 1e-12 * abs(matrix).max()

    def test_matrices_are_passive(self, case: tuple[int, float, float]) -> None:
        # Re Z semidefinite: rounding and the pair integrals' own bars may leave a trace below zero
        network = street(*case)
        along = network.z_ohm.any(axis=1)
        z = network.z_ohm[np.ix_(along, along)]
        assert np.linalg.eigvalsh(z.imag).min() > 0
        assert np.linalg.eigvalsh(network.p_ohm.real).min() > 0
        resistive = np.linalg.eigvalsh(z.real)
        assert resistive.min() >= -1e-9 * resistive.max()

    def test_kirchhoff_holds_at_every_node(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        injection, emf = sources(case[0], network.layout)
        solution = factored(network).solve(injection, emf)
        assert abs(kirchhoff_residual(network.layout, solution, injection)).max() <= 1e-8 * abs(injection).max()

    def test_transfer_impedances_are_reciprocal(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        volts = factored(network).solve(np.eye(network.layout.n_nodes)).node_v
        assert abs(volts - volts.T).max() <= 1e-8 * abs(volts).max()

    def test_power_fed_in_is_power_lost(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        injection, emf = sources(case[0], network.layout)
        fed, taken = power_balance(network, factored(network).solve(injection, emf), injection, emf)
        assert fed == pytest.approx(taken, rel=1e-9)

    def test_every_node_takes_power(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        assert factored(network).solve(np.eye(network.layout.n_nodes)).node_v.diagonal().real.min() > 0

    def test_tree_elimination_agrees_with_the_nodal_form(self, case: tuple[int, float, float]) -> None:
        # the nodal form divides by each impedance, so rods get a centiohm along them and zero and open bonds a value
        network = street(*case)
        z = network.z_ohm + np.diag(np.where(network.z_ohm.any(axis=1), 0, 0.01))
        ohms = np.where((network.element_ohm == 0) | np.isinf(network.element_ohm), 0.01, network.element_ohm)
        network = replace(network, z_ohm=z, element_ohm=ohms)
        injection, emf = sources(case[0], network.layout)
        assert worst_difference(factored(network).solve(injection, emf), nodal(network, injection, emf)) <= 1e-8

    def test_switching_bonds_equals_a_fresh_factorisation(self, case: tuple[int, float, float]) -> None:
        network = street(*case)
        injection, emf = sources(case[0], network.layout)
        ports = factored(network).prepare(np.arange(6))
        for switched in ([0.0, np.inf, 0.1], [np.inf, 0.01, np.inf], [30.0, 1.0, 0.0]):
            ohms = network.element_ohm.copy()
            ohms[[0, 1, 4]] = switched
            fresh = factored(replace(network, element_ohm=ohms)).solve(injection, emf)
            updated = ports.with_elements([0, 1, 4], switched).solve(injection, emf)
            assert worst_difference(updated, fresh) <= 1e-9
