"""Networks solved in blocks, against the dense solution of the same network and against laws of circuits."""

from functools import cache

import numpy as np
import pytest

from corridor.errors import DomainError, SolverError
from corridor.tone.clusters import cluster_sections
from corridor.tone.large import factorise_blocks
from corridor.tone.layout import Layout, Solution
from tests.tone.grids import Grid
from tests.tone.networks import kirchhoff_residual, worst_difference

NAMES = ("current_a", "leak_a", "element_a", "node_v")
CASES = {
    "500 Hz": Grid(frequency_hz=500.0),
    "10 kHz": Grid(),
    "200 kHz": Grid(frequency_hz=200e3, seed=3),
    "two layers": Grid(
        soil={"resistivity_ohm_m": 80.0, "top_thickness_m": 0.9, "lower_resistivity_ohm_m": 400.0}, seed=1
    ),
}
SMALL = Grid(streets=2)  # for what knows no size
# 500 Hz is where compression costs most; 10 kHz is solved by the tests below too
QUICK_FIRST = [pytest.param(c, marks=[] if c in ("500 Hz", "10 kHz") else pytest.mark.thorough) for c in CASES]


@cache
def solutions(case: str) -> tuple[Solution, Solution]:
    grid = CASES[case]
    return grid.large().solve(*grid.sources()), grid.dense.solve(*grid.sources())


def test_the_grid_holds_what_is_hard() -> None:
    grid = CASES["10 kHz"]
    start, end, _, is_rod = grid.ends
    assert grid.layout.n_sections > 700
    assert (grid.element_ohm == 0.0).any()
    assert np.isinf(grid.element_ohm).any()
    assert is_rod.sum() > 5
    assert (np.abs(end - start)[~is_rod, 2] > 0.1).any()
    cut, _, _ = grid.compressed()
    assert len(cut.groups) > 8
    assert cut.n_cuts > 20


@pytest.mark.parametrize("case", QUICK_FIRST)
def test_agrees_with_the_dense_solution(case: str) -> None:
    # the same equations, solved directly; each quantity against its largest value. Bar: what compression to 1e-6 costs
    # where small differences of potentials drive an element, at 500 Hz most.
    one, other = solutions(case)
    assert worst_difference(one, other) < 1e-4
    assert np.abs(one.current_a - other.current_a).max() < 1e-5 * np.abs(other.current_a).max()


@pytest.mark.thorough
def test_a_tighter_compression_comes_nearer() -> None:
    grid = CASES["10 kHz"]
    exact = grid.dense.solve(*grid.sources())
    off = [worst_difference(grid.large(tolerance=t).solve(*grid.sources()), exact) for t in (1e-3, 1e-5, 1e-8)]
    assert off[0] > off[1] > off[2]
    assert off[2] < 1e-6


@pytest.mark.parametrize("case", QUICK_FIRST)
def test_kirchhoff_holds_at_every_node(case: str) -> None:
    # every node's currents follow from sums along chains: they close to the residual, whatever the compression
    injection, _ = CASES[case].sources()
    assert np.abs(kirchhoff_residual(CASES[case].layout, solutions(case)[0], injection)).max() < 1e-6


def test_transfer_impedances_are_reciprocal() -> None:
    # Lorentz's reciprocity, to the residual
    grid = CASES["10 kHz"]
    nodes = np.array([5, 400, 700, grid.layout.n_nodes - 1])
    injection = np.zeros((grid.layout.n_nodes, nodes.size), dtype=complex)
    injection[nodes, np.arange(nodes.size)] = 1.0
    volts = grid.large().solve(injection).node_v[nodes]
    assert np.abs(volts - volts.T).max() < 1e-6 * np.abs(volts).max()


def test_an_imposed_soil_potential_acts_as_in_the_dense_solution() -> None:
    grid = CASES["10 kHz"]
    rng = np.random.default_rng(5)
    soil = rng.normal(size=(grid.layout.n_sections, 2)) + 1j * rng.normal(size=(grid.layout.n_sections, 2))
    none = np.zeros((grid.layout.n_nodes, 2))
    assert worst_difference(grid.large().solve(none, None, soil), grid.dense.solve(none, None, soil)) < 1e-4


def test_elements_keep_their_law() -> None:
    grid = CASES["10 kHz"]
    solution, layout = solutions("10 kHz")[0], grid.layout
    closed = np.flatnonzero(~np.isinf(grid.element_ohm))
    drop = solution.node_v[layout.node_a[closed]] - solution.node_v[layout.node_b[closed]]
    missed = drop - grid.element_ohm[closed, None] * solution.element_a[closed]
    assert np.abs(missed).max() < 1e-6 * np.abs(solution.node_v).max()
    assert not solution.element_a[np.isinf(grid.element_ohm)].any()


def test_potentials_are_given_where_asked() -> None:
    grid = CASES["10 kHz"]
    some = grid.large().solve(*grid.sources(), at_nodes=[3, 300])
    whole, _ = solutions("10 kHz")
    np.testing.assert_allclose(some.node_v[[3, 300]], whole.node_v[[3, 300]], rtol=1e-9)
    assert np.isnan(np.delete(some.node_v, [3, 300], axis=0)).all()


def test_many_sources_are_solved_a_few_at_a_time() -> None:
    grid = SMALL
    network = grid.large()
    injection, emf = grid.sources(70)
    together = network.solve(injection, emf, at_nodes=[0])
    last = network.solve(injection[:, 66:], emf[:, 66:], at_nodes=[0])
    for name in NAMES[:3]:
        one, other = getattr(together, name)[:, 66:], getattr(last, name)
        assert np.abs(one - other).max() < 1e-6 * np.abs(other).max()


def test_no_source_gives_nothing() -> None:
    grid = CASES["10 kHz"]
    solution = grid.large().solve(np.zeros((grid.layout.n_nodes, 1)))
    assert not any(getattr(solution, name).any() for name in NAMES)


def test_a_residual_out_of_reach_is_told() -> None:
    grid = SMALL
    with pytest.raises(SolverError, match=r"sections came down to a residual of .* expected 1\.0e-30; raise"):
        grid.large(residual=1e-30).solve(*grid.sources())


def test_a_loop_of_zero_ohms_is_refused() -> None:
    grid = CASES["10 kHz"]
    clusters, z, p = grid.compressed()
    layout = Layout(grid.layout.chain, np.array([3, 3]), np.array([300, 300]))
    with pytest.raises(SolverError, match="elements 0, 1 close a loop of zero ohms"):
        factorise_blocks(layout, clusters, (z, p), np.zeros(2), residual=1e-8)


def test_elements_that_cannot_be_told_apart_are_named() -> None:
    grid = CASES["10 kHz"]
    clusters, z, p = grid.compressed()
    a, b = (int(grid.layout.first_node[k]) + 8 for k in (0, 2))
    layout = Layout(grid.layout.chain, np.array([a, a]), np.array([b, b]))
    clusters = cluster_sections(layout, grid.places_m, size=100)
    with pytest.raises(SolverError, match="the currents of elements 0, 1 can't be told apart"):
        factorise_blocks(layout, clusters, (z, p), [1e-20, 1e-20], residual=1e-8)


@pytest.mark.parametrize("ohms", [[-1.0], [1.0, 2.0]])
def test_strange_impedances_are_refused(ohms: list[float]) -> None:
    grid = CASES["10 kHz"]
    clusters, z, p = grid.compressed()
    with pytest.raises(DomainError, match="impedance"):
        factorise_blocks(grid.layout, clusters, (z, p), ohms, residual=1e-8)


def test_strange_sources_are_refused() -> None:
    grid = CASES["10 kHz"]
    network = grid.large()
    with pytest.raises(DomainError, match="injection_a"):
        network.solve(np.zeros((3, 1)))
    with pytest.raises(DomainError, match="emf_v"):
        network.solve(np.zeros((grid.layout.n_nodes, 2)), np.zeros((grid.layout.n_sections, 1)))


def test_the_same_input_gives_the_same_bytes() -> None:
    one, two = (Grid(streets=2).large().solve(*Grid(streets=2).sources()) for _ in range(2))
    assert all(getattr(one, name).tobytes() == getattr(two, name).tobytes() for name in NAMES)
