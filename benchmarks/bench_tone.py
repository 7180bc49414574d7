"""The solver at one frequency: assembly, factorisation beside bare LAPACK, and all hook-ups at once."""

from typing import Any

import numpy as np
import pytest
from scipy.linalg import lapack
from streets import Street, street

from corridor.tone.integrals import DistanceIntegrals, inverse_distance_integrals
from corridor.tone.ldlt import factor_symmetric
from corridor.tone.matrices import section_matrices
from corridor.tone.tree import Factored, factorise

HOOK_UPS = 200


@pytest.fixture(scope="module")
def network(sections: int) -> Street:
    return street(sections)


@pytest.fixture(scope="module")
def integrals(network: Street) -> DistanceIntegrals:
    return inverse_distance_integrals(network.start_m, network.end_m, **network.geometry)


@pytest.fixture(scope="module")
def matrices(network: Street, integrals: DistanceIntegrals) -> tuple[Any, Any]:
    return section_matrices(network.start_m, network.end_m, integrals=integrals, **network.materials)


@pytest.fixture(scope="module")
def factored(network: Street, matrices: tuple[Any, Any]) -> Factored:
    return factorise(network.layout, *matrices, network.element_ohm)


@pytest.mark.benchmark(group="1 pair integrals, once a site")
def bench_integrals(benchmark: Any, network: Street) -> None:
    made = benchmark(inverse_distance_integrals, network.start_m, network.end_m, **network.geometry)
    assert np.isfinite(made.direct).all()


@pytest.mark.benchmark(group="2 matrices, a frequency")
def bench_matrices(benchmark: Any, network: Street, integrals: DistanceIntegrals) -> None:
    z, p = benchmark(section_matrices, network.start_m, network.end_m, integrals=integrals, **network.materials)
    assert np.isfinite(z).all()
    assert np.isfinite(p).all()


@pytest.mark.benchmark(group="3 factorisation")
def bench_factorise(benchmark: Any, network: Street, matrices: tuple[Any, Any]) -> None:
    """The network: tree elimination, scaling, LAPACK and the condition number."""
    made = benchmark(factorise, network.layout, *matrices, network.element_ohm)
    benchmark.extra_info["order"] = made.factor.order.size


@pytest.mark.benchmark(group="3 factorisation")
def bench_factor_symmetric(benchmark: Any, factored: Factored) -> None:
    """A matrix of the same order: LAPACK and the condition number, through our own binding."""
    system = symmetric(factored.factor.order.size)
    made = benchmark.pedantic(
        factor_symmetric, setup=lambda: ((system.copy(order="F"),), {}), rounds=5, warmup_rounds=1
    )  # fmt: skip
    benchmark.extra_info["order"] = made.order.size


@pytest.mark.benchmark(group="3 factorisation")
def bench_lapack_alone(benchmark: Any, factored: Factored) -> None:
    """The same matrix: bare zsytrf through scipy, with the work space that it asks for."""
    order = factored.factor.order.size
    system = symmetric(order)
    lwork = int(lapack.zsytrf_lwork(order, lower=1)[0].real)

    def factor(matrix: Any) -> Any:
        return lapack.zsytrf(matrix, lower=1, lwork=lwork, overwrite_a=1)

    _, _, info = benchmark.pedantic(
        factor, setup=lambda: ((system.copy(order="F"),), {}), rounds=5, warmup_rounds=1
    )  # fmt: skip
    benchmark.extra_info["order"] = order
    assert info == 0


@pytest.mark.benchmark(group=f"4 solution of {HOOK_UPS} hook-ups")
def bench_solve(benchmark: Any, network: Street, factored: Factored) -> None:
    rng = np.random.default_rng(1)
    nodes = network.layout.n_nodes
    injection = np.zeros((nodes, HOOK_UPS), dtype=complex)
    column = np.arange(HOOK_UPS)
    injection[rng.integers(0, nodes, HOOK_UPS), column] += 1.0
    injection[rng.integers(0, nodes, HOOK_UPS), column] -= 1.0
    made = benchmark(factored.solve, injection)
    assert np.isfinite(made.current_a).all()


def symmetric(order: int) -> Any:
    """A complex symmetric matrix that needs no special pivots, as that of a network."""
    rng = np.random.default_rng(2)
    root = rng.normal(size=(order, order)) + 1j * rng.normal(size=(order, order))
    root += root.T
    root[np.arange(order), np.arange(order)] += 2 * order
    return np.asfortranarray(root)
