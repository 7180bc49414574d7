"""A network far beyond dense matrices, in a process of its own: time, peak of memory, error of sampled rows."""

import json
import os
import resource
import subprocess
import sys
import time
from typing import Any

import numpy as np
import pytest
from streets import Street, grid
from threadpoolctl import threadpool_limits

from corridor.settings import SolverSettings
from corridor.tone.clusters import cluster_sections
from corridor.tone.compressed import BlockMatrix, compress
from corridor.tone.integrals import wire_sections
from corridor.tone.large import factorise_blocks
from corridor.tone.matrices import SectionKernel, section_kernel

STREETS = 6  # 19,200 sections
GROUP_SECTIONS = 400
HOOK_UPS = 200
SAMPLED_ROWS = 40
KB_PER_MB = 1024.0


@pytest.mark.benchmark(group="7 a network of 19,200 sections")
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of a process's memory is read as Linux gives it")
def bench_large_network(benchmark: Any, request: pytest.FixtureRequest) -> None:
    if not request.config.getoption("--large"):
        pytest.skip("minutes: with --large only")

    def run() -> dict[str, float]:
        done = subprocess.run([sys.executable, __file__], capture_output=True, text=True, check=True, env=os.environ)
        return dict(json.loads(done.stdout))

    found = benchmark.pedantic(run, rounds=1)
    benchmark.extra_info.update(found)
    print(json.dumps(found, indent=2))
    assert found["peak_memory_mb"] < 8000.0


def main() -> None:
    """Solve it once and print what it took."""
    settings, network, seconds = SolverSettings(), grid(STREETS), {}
    wires = wire_sections(network.start_m, network.end_m, **network.geometry)
    kernel = section_kernel(network.start_m, network.end_m, wires=wires, **network.materials)
    kernel.block(np.arange(3), np.arange(3))  # compiled before the clock starts
    with threadpool_limits(1, user_api="blas"):
        start = time.perf_counter()
        middle = (network.start_m + network.end_m) / 2
        clusters = cluster_sections(network.layout, middle[:, :2], size=GROUP_SECTIONS)
        step = network.end_m - network.start_m
        features = np.column_stack([middle, 15.0 * np.abs(step[:, :2])])
        z, p = compress(clusters.groups, features, kernel.block, tolerance=settings.compression)
        seconds["matrices_s"] = time.perf_counter() - start
        start = time.perf_counter()
        factored = factorise_blocks(network.layout, clusters, (z, p), network.element_ohm, residual=settings.residual)
        seconds["factorisation_s"] = time.perf_counter() - start
        start = time.perf_counter()
        solution = factored.solve(hook_ups(network), at_nodes=network.layout.node_a)
        seconds["hook_ups_s"] = time.perf_counter() - start
    found = {
        "sections": len(network.start_m),
        **{name: round(value, 1) for name, value in seconds.items()},
        "matrices_mb": round((z.nbytes + p.nbytes) / KB_PER_MB**2),
        "factor_mb": round(factored.factor.nbytes / KB_PER_MB**2),
        "row_error": row_error(kernel, z, p),
        "leaks_of_fed": float(np.abs(solution.leak_a.sum(axis=0)).max()),
        "peak_memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KB_PER_MB),
    }
    print(json.dumps(found))


def hook_ups(network: Street) -> Any:
    """One ampere into a node and out of another, a column each."""
    rng, nodes = np.random.default_rng(1), network.layout.n_nodes
    injection = np.zeros((nodes, HOOK_UPS), dtype=complex)
    column = np.arange(HOOK_UPS)
    injection[rng.integers(0, nodes, HOOK_UPS), column] += 1.0
    injection[rng.integers(0, nodes, HOOK_UPS), column] -= 1.0
    return injection


def row_error(kernel: SectionKernel, z: BlockMatrix, p: BlockMatrix) -> float:
    """The worst relative error of some rows of the compressed matrices, against the same rows worked out in full."""
    n = len(kernel.sections.length)
    rows = np.sort(np.random.default_rng(2).choice(n, SAMPLED_ROWS, replace=False))
    unit = np.zeros((n, SAMPLED_ROWS))
    unit[rows, np.arange(SAMPLED_ROWS)] = 1.0
    worst = 0.0
    for made, exact in zip((z, p), kernel.block(rows, np.arange(n)), strict=True):
        off = np.linalg.norm((made @ unit).T - exact, axis=1) / np.linalg.norm(exact, axis=1)
        worst = max(worst, float(off.max()))
    return worst


if __name__ == "__main__":
    main()
