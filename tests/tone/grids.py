"""Grids of streets for the solver of large networks: many lines, bonds, grounds, risers, built without records."""

from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corridor.tone.clusters import Clusters, cluster_sections
from corridor.tone.compressed import BlockMatrix, compress
from corridor.tone.integrals import DistanceIntegrals, inverse_distance_integrals, wire_sections
from corridor.tone.large import LargeNetwork, factorise_blocks
from corridor.tone.layout import Layout
from corridor.tone.matrices import SectionKernel, section_kernel, section_matrices
from corridor.tone.tree import Factored, factorise

Complex = NDArray[np.complex128]
LANES_M = (-2.0, -0.7, 0.6, 2.2)  # of the lines of a street, beside its middle
STEP_M = 3.0
ROD_M = 1.5


@dataclass(frozen=True)
class Grid:
    """``streets`` along and as many across, a block's length apart, with all kinds of elements between the lines."""

    streets: int = 3
    block_m: float = 45.0
    frequency_hz: float = 10e3
    soil: dict[str, float] = field(default_factory=lambda: {"resistivity_ohm_m": 80.0})
    seed: int = 0

    @cached_property
    def ends(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], NDArray[np.bool_]]:
        """Start and end of each section, its chain, and whether it is a ground rod."""
        rng = np.random.default_rng(self.seed)
        length = self.block_m * (self.streets - 1) + 16.0
        steps = np.linspace(-8.0, length - 8.0, int(length / STEP_M) + 1)
        lines = []
        for street in range(self.streets):
            for lane, beside in enumerate(LANES_M):
                for across in (False, True):
                    depth = np.full(steps.size, 0.6 + 0.25 * lane + 0.1 * across) + rng.uniform(0.0, 0.05)
                    depth[-3:] -= [0.05, 0.15, 0.3]  # a slope at the end
                    off = np.full(steps.size, street * self.block_m + beside) + 0.01 * rng.normal(size=steps.size)
                    lines.append(np.column_stack([*((off, steps) if across else (steps, off)), depth]))
        for line in lines[::5]:  # risers
            lines.append(np.array([line[4] + [0.3, 0.3, 0.0], line[4] + [0.3, 0.3, -0.4]]))
        rods = [np.array([[*line[0, :2] - 0.5, 0.0], [*line[0, :2] - 0.5, ROD_M]]) for line in lines[::3]]
        parts = [*lines, *rods]
        chain = np.concatenate([np.full(len(part) - 1, k) for k, part in enumerate(parts)])
        is_rod = chain >= len(lines)
        return np.vstack([p[:-1] for p in parts]), np.vstack([p[1:] for p in parts]), chain, is_rod

    @cached_property
    def elements(self) -> tuple[list[int], list[int], list[complex]]:
        """Nodes and impedances: bonds of zero ohms, of milliohms, open ones, ground leads, joints that block."""
        _, _, chain, is_rod = self.ends
        layout = Layout(chain, np.empty(0), np.empty(0))
        first, last = layout.first_node, np.append(layout.first_node[1:], layout.n_nodes) - 1
        lines = int(chain[~is_rod][-1]) + 1
        full = 2 * len(LANES_M) * self.streets
        a, b, ohms = [], [], []
        for k in range(0, full - 2, 2):
            a.append(int(first[k] + 3)), b.append(int(first[k + 2] + 3))
            ohms.append((0.0, 1e-3, np.inf, 4.0 - 30.0j)[k // 2 % 4])
        for k in range(1, full, 4):  # lines that cross
            a.append(int(first[k] + 5)), b.append(int(first[k - 1] + 5))
            ohms.append((1e-3, 0.0)[k // 4 % 2])
        for riser in range(full, lines):
            a.append(int(first[riser])), b.append(int(first[5 * (riser - full)] + 4))
            ohms.append(1e-4)
        for rod, chain_number in enumerate(range(lines, layout.n_chains)):
            a.append(int(first[3 * rod])), b.append(int(first[chain_number]))
            ohms.append(1e-3)
        assert last[-1] == layout.n_nodes - 1
        return a, b, [complex(value) for value in ohms]

    @cached_property
    def layout(self) -> Layout:
        a, b, _ = self.elements
        return Layout(self.ends[2], np.array(a), np.array(b))

    @property
    def element_ohm(self) -> Complex:
        return np.array(self.elements[2])

    @property
    def places_m(self) -> NDArray[np.float64]:
        return (self.ends[0] + self.ends[1])[:, :2] / 2

    @cached_property
    def geometry(self) -> dict[str, Any]:
        _, _, chain, is_rod = self.ends
        metal = np.where(is_rod, 0.008, 0.05)
        return {"radius_m": metal, "outer_radius_m": np.where(is_rod, metal, 0.053), "chain": chain}

    @cached_property
    def materials(self) -> dict[str, Any]:
        _, _, chain, is_rod = self.ends
        omega = 2 * np.pi * self.frequency_hz
        coated = np.where(chain % 3 == 0, 2e-3, 5e-6) + 1j * omega * 0.7e-9  # every third line hardly coated
        return {
            "series_ohm_per_m": np.where(is_rod, 0, 4e-4 + 4e-4j),
            "coating_s_per_m": np.where(is_rod, np.inf, coated),
            "electrode": is_rod,
            "electrode_ohm": np.where(is_rod & (chain % 2 == 0), 40.0, np.nan),
            "frequency_hz": self.frequency_hz,
            **self.soil,
        }

    @cached_property
    def matrices(self) -> tuple[Complex, Complex]:
        start, end, _, _ = self.ends
        integrals = _integrals(self.streets, self.block_m, self.seed)
        return section_matrices(start, end, integrals=integrals, **self.materials)

    @cached_property
    def kernel(self) -> SectionKernel:
        start, end, _, _ = self.ends
        return section_kernel(start, end, wires=wire_sections(start, end, **self.geometry), **self.materials)

    @cached_property
    def dense(self) -> Factored:
        return factorise(self.layout, *self.matrices, self.element_ohm)

    @cached_property
    def _made(self) -> dict[Any, Any]:
        return {}

    def compressed(self, *, size: int = 100, tolerance: float = 1e-6) -> tuple[Clusters, BlockMatrix, BlockMatrix]:
        if (size, tolerance) not in self._made:
            start, end, _, is_rod = self.ends
            clusters = cluster_sections(self.layout, self.places_m, size=size)
            step = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
            features = np.column_stack([(start + end) / 2, 30.0 * step**2, 30.0 * is_rod])
            made = compress(clusters.groups, features, self.kernel.block, tolerance=tolerance)
            self._made[size, tolerance] = (clusters, *made)
        return self._made[size, tolerance]

    def large(self, *, residual: float = 1e-8, tolerance: float = 1e-6) -> LargeNetwork:
        if ("large", residual, tolerance) not in self._made:
            clusters, z, p = self.compressed(tolerance=tolerance)
            made = factorise_blocks(self.layout, clusters, (z, p), self.element_ohm, residual=residual)
            self._made["large", residual, tolerance] = made
        return self._made["large", residual, tolerance]

    def sources(self, columns: int = 4) -> tuple[Complex, Complex]:
        """Direct feeds between a line and a rod, or a voltage in series in one section; the last has a voltage."""
        rng = np.random.default_rng(self.seed + 1)
        layout, rods = self.layout, np.flatnonzero(self.ends[3])
        injection = np.zeros((layout.n_nodes, columns), dtype=complex)
        emf = np.zeros((layout.n_sections, columns), dtype=complex)
        conducting = int(rods[0])
        for k in range(columns):
            if k % 2 == 0:
                injection[layout.start_node[rng.integers(conducting)], k] += 1.0
                injection[layout.start_node[rng.choice(rods)], k] -= 1.0
            if k % 2 == 1 or k == columns - 1:
                emf[rng.integers(conducting), k] = 1.0
        return injection, emf


@cache
def _integrals(streets: int, block_m: float, seed: int) -> DistanceIntegrals:
    """Those of a grid, which depend neither on frequency nor on soil."""
    grid = Grid(streets=streets, block_m=block_m, seed=seed)
    start, end, _, _ = grid.ends
    return inverse_distance_integrals(start, end, **grid.geometry)
