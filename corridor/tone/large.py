"""Networks too large for dense matrices: the system of `corridor.tone.tree` in blocks, factored roughly and refined.

Sections stand in groups by place (`corridor.tone.clusters`), Z and P in blocks of low rank between them
(`corridor.tone.compressed`). Each group is a small network of its own, with its leaks, potentials and inner elements;
the elements between groups, cuts included, come last. Z and P are folded into this system block by block, and its
factor (`corridor.tone.block_ldlt`) starts an iteration for many sources at once, which stops at a residual that is
stated.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import SolverError
from corridor.tone.block_ldlt import BlockFactor, factor_blocks
from corridor.tone.chain_sums import sum_after, sum_before
from corridor.tone.clusters import Clusters
from corridor.tone.compressed import BlockMatrix, LowRank, dense
from corridor.tone.layout import Layout, Solution, as_impedances, finite_array, refuse_shorted_loops
from corridor.tone.updates import SINGULAR

__all__ = ["LargeNetwork", "factorise_blocks"]

Complex = NDArray[np.complex128]
Indices = NDArray[np.int64]

COLUMNS = 64  # sources that are iterated at once (memory)
ROUNDS_MAX = 40
FACTOR_TOLERANCE = 1e-4  # of the values tried the fastest: three rounds a solution


@dataclass(frozen=True)
class _Group:
    """A group's own network, and where its unknowns (leaks, potentials, element currents) stand among all."""

    layout: Layout
    sections: Indices
    elements: Indices
    unknown: Indices

    def fold(self, along: Complex) -> Complex:
        """Return T' x, x per section, for the currents I = T (leaks, potentials, element currents)."""
        layout, start = self.layout, self.layout.start_node
        node = sum_after(np.ascontiguousarray(along), layout.chain, layout.n_nodes)
        none = np.zeros((layout.n_chains, along.shape[1]), dtype=np.complex128)
        return np.concatenate([-(node[start] + node[start + 1]) / 2, none, node[layout.node_b] - node[layout.node_a]])


@dataclass(frozen=True)
class LargeNetwork:
    """A network at one frequency, factored in blocks for any number of sources.

    Attributes
    ----------
    clusters : Clusters
        Groups of sections, and the layout cut at their borders.
    z, p : BlockMatrix
        Z and P, ohm.
    element_ohm : ndarray of complex, shape (m + cuts,), ohm
        Impedances of the elements; infinite for open ones, zero for cuts.
    factor : BlockFactor
        Of the scaled system.
    unknown : tuple of ndarray of int
        Unknowns of each block row of the factor.
    scale : ndarray of float, shape (n + pieces + closed elements,)
        What each unknown was divided by.
    residual : float
        Norm of what a solution may miss the scaled system by, against the norm of its right-hand side.
    """

    clusters: Clusters
    z: BlockMatrix
    p: BlockMatrix
    element_ohm: Complex
    factor: BlockFactor
    unknown: tuple[Indices, ...]
    scale: NDArray[np.float64]
    residual: float

    def solve(
        self,
        injection_a: ArrayLike,
        emf_v: ArrayLike | None = None,
        soil_v: ArrayLike | None = None,
        *,
        at_nodes: ArrayLike | None = None,
    ) -> Solution:
        """Solve for k sources at once; see ``corridor.tone.tree.Factored.solve``.

        Parameters
        ----------
        injection_a : array_like of complex, shape (nodes, k), A
            Current fed into each node from outside.
        emf_v : array_like of complex, shape (n, k), V, optional
            Voltage in series in each section.
        soil_v : array_like of complex, shape (n, k), V, optional
            Potential that leaks outside this network raise in the soil at each section.
        at_nodes : array_like of int, optional
            Nodes whose potentials are wanted; those of the others are NaN then.

        Returns
        -------
        Solution
            Currents in A and potentials in V, a column per source.

        Raises
        ------
        DomainError
            If a shape is wrong or a value isn't finite.
        SolverError
            If the iteration doesn't come down to the residual.
        """
        nodes, n = self.clusters.node_at.size, self.clusters.layout.n_sections
        injection = finite_array(injection_a, "injection_a", (nodes, "k"))
        columns = injection.shape[1]
        emf, soil = (
            finite_array(np.zeros((n, columns)) if values is None else values, name, (n, columns))
            for values, name in ((emf_v, "emf_v"), (soil_v, "soil_v"))
        )
        wanted = np.arange(nodes) if at_nodes is None else np.unique(np.asarray(at_nodes, dtype=np.int64))
        parts = [
            self._respond(*(given[:, k : k + COLUMNS] for given in (injection, emf, soil)), wanted=wanted)
            for k in range(0, injection.shape[1], COLUMNS)
        ]
        names = ("current_a", "leak_a", "element_a", "node_v")
        return Solution(*(np.concatenate([getattr(part, name) for part in parts], axis=1) for name in names))

    def _respond(self, injection: Complex, emf: Complex, soil: Complex, *, wanted: Indices) -> Solution:
        """Solve for a few sources, node potentials at the uncut layout's nodes."""
        layout = self.clusters.layout
        n, start = layout.n_sections, layout.start_node
        fed = np.zeros((layout.n_nodes, injection.shape[1]), dtype=np.complex128)
        fed[self.clusters.node_at] = injection
        bare = sum_after(self.z @ sum_before(fed, layout.chain) - emf, layout.chain, layout.n_nodes)
        finite = self._finite
        right: Complex = np.concatenate(
            [
                (bare[start] + bare[start + 1]) / 2 - soil,
                -np.add.reduceat(fed, layout.first_node, axis=0),
                bare[layout.node_a[finite]] - bare[layout.node_b[finite]],
            ]
        )
        unknown = self._iterated(right * self.scale[:, np.newaxis]) * self.scale[:, np.newaxis]
        leak, last = unknown[:n], unknown[n : layout.n_nodes]
        current = sum_before(self._net(unknown) + fed, layout.chain)
        at = self.clusters.node_at[wanted]
        node = sum_after(self.z @ current - emf, layout.chain, layout.n_nodes)
        node_v = np.full(injection.shape, complex(np.nan, np.nan))
        node_v[wanted] = node[at] + last[layout.node_chain[at]]
        through = np.zeros((self.element_ohm.size, injection.shape[1]), dtype=np.complex128)
        through[finite] = unknown[layout.n_nodes :]
        return Solution(current, leak, through[: self.element_ohm.size - self.clusters.n_cuts], node_v)

    @property
    def _finite(self) -> Indices:
        return np.flatnonzero(~np.isinf(self.element_ohm))

    def _net(self, unknown: Complex) -> Complex:
        """Return what elements and leaks feed into each node."""
        layout, finite = self.clusters.layout, self._finite
        leak, through = unknown[: layout.n_sections], unknown[layout.n_nodes :]
        net = np.zeros((layout.n_nodes, unknown.shape[1]), dtype=np.complex128)
        np.subtract.at(net, layout.node_a[finite], through)
        np.add.at(net, layout.node_b[finite], through)
        net[layout.start_node] -= leak / 2
        net[layout.start_node + 1] -= leak / 2
        return net

    def _product(self, scaled: Complex) -> Complex:
        """Return the scaled system times what is asked for."""
        layout, finite = self.clusters.layout, self._finite
        n, start = layout.n_sections, layout.start_node
        unknown = scaled * self.scale[:, np.newaxis]
        leak, last, through = unknown[:n], unknown[n : layout.n_nodes], unknown[layout.n_nodes :]
        fed = self._net(np.concatenate([np.zeros_like(unknown[: layout.n_nodes]), through]))
        along = self.z @ sum_before(self._net(unknown), layout.chain)
        node = sum_after(along, layout.chain, layout.n_nodes)
        volts = node + last[layout.node_chain]
        rows: list[Complex] = [
            self.p @ leak - (volts[start] + volts[start + 1]) / 2,
            np.add.reduceat(fed, layout.first_node, axis=0) - np.add.reduceat(leak, layout.first_section, axis=0),
            volts[layout.node_b[finite]]
            - volts[layout.node_a[finite]]
            + self.element_ohm[finite][:, np.newaxis] * through,
        ]
        return np.concatenate(rows) * self.scale[:, np.newaxis]

    def _roughly(self, right: Complex) -> Complex:
        """Return the solution by the factor alone."""
        out = np.empty_like(right)
        for rows, values in zip(self.unknown, self.factor.solve([right[rows] for rows in self.unknown]), strict=True):
            out[rows] = values
        return out

    def _iterated(self, right: Complex) -> Complex:
        """Return the solution to the stated residual: generalised conjugate residuals, each source on its own.

        Eisenstat, Elman, Schultz 1983, SIAM Journal on Numerical Analysis 20:345 (from memory).
        """
        norm = np.linalg.norm(right, axis=0)
        norm[norm == 0.0] = 1.0
        solution, rest = np.zeros_like(right), right.copy()
        steps: list[tuple[Complex, Complex]] = []
        missed = 1.0
        for _ in range(ROUNDS_MAX):
            step = self._roughly(rest)
            image = self._product(step)
            for earlier, seen in steps:
                share = np.sum(seen.conj() * image, axis=0)
                image -= share * seen
                step -= share * earlier
            size = np.linalg.norm(image, axis=0)
            size[size == 0.0] = 1.0
            image /= size
            step /= size
            gain = np.sum(image.conj() * rest, axis=0)
            solution += gain * step
            rest -= gain * image
            missed = float(np.max(np.linalg.norm(rest, axis=0) / norm, initial=0.0))
            if missed <= self.residual:
                return solution
            steps.append((step, image))
        message = (
            f"the solution of {self.clusters.layout.n_sections} sections came down to a residual of {missed:.1e} in "
            f"{ROUNDS_MAX} rounds, expected {self.residual:.1e}; raise solver.residual, or lower "
            "solver.compressed_limit to solve a smaller part"
        )
        raise SolverError(message)


def factorise_blocks(
    layout: Layout,
    clusters: Clusters,
    matrices: tuple[BlockMatrix, BlockMatrix],
    element_ohm: ArrayLike,
    *,
    residual: float,
    tolerance: float = FACTOR_TOLERANCE,
) -> LargeNetwork:
    """Factor a network whose matrices are compressed.

    Parameters
    ----------
    layout : Layout
        Sections, nodes and elements.
    clusters : Clusters
        Of that layout.
    matrices : tuple of two BlockMatrix
        Z and P, ohm, in these groups.
    element_ohm : array_like of complex, shape (m,), ohm
        Impedances of the elements; zero is allowed, infinite means open.
    residual : float
        Norm of what a solution may miss the scaled equations by, against the norm of their right-hand side.
    tolerance : float
        Of the factor's blocks; decides how many rounds a solution takes, not how exact it is.

    Returns
    -------
    LargeNetwork

    Raises
    ------
    DomainError
        If an impedance isn't allowed.
    SolverError
        If a loop of elements has no impedance, or too little to tell its current.
    """
    z, p = matrices
    ohms = as_impedances(element_ohm, layout.n_elements)
    refuse_shorted_loops(layout, z.diagonal() == 0.0, ohms)
    ohms = np.concatenate([ohms, np.zeros(clusters.n_cuts)])
    assembly = _Assembly(clusters, z, p, ohms)
    factor = factor_blocks(assembly.block, len(clusters.groups) + 1, tolerance=tolerance)
    for number, pivot in enumerate(factor.pivots):
        if pivot.reciprocal_condition < SINGULAR:
            raise SolverError(assembly.singular_message(number))
    return LargeNetwork(clusters, z, p, ohms, factor, assembly.unknown, assembly.scale, residual)


class _Assembly:
    """The scaled system, block by block: a row per group, and one for the elements between groups."""

    def __init__(self, clusters: Clusters, z: BlockMatrix, p: BlockMatrix, element_ohm: Complex) -> None:
        layout = clusters.layout
        self._layout, self._z, self._p, self._ohms = layout, z, p, element_ohm
        finite = np.flatnonzero(~np.isinf(element_ohm))
        group_of = np.empty(layout.n_chains, dtype=np.int64)
        for number, sections in enumerate(clusters.groups):
            group_of[layout.chain[sections]] = number
        ends = [group_of[layout.node_chain[node[finite]]] for node in (layout.node_a, layout.node_b)]
        inner = np.where(ends[0] == ends[1], ends[0], -1)
        position = np.full(element_ohm.size, -1)
        position[finite] = layout.n_nodes + np.arange(finite.size)
        self._groups = [
            self._own(sections, finite[inner == number], position) for number, sections in enumerate(clusters.groups)
        ]
        self._between = finite[inner < 0]
        self.unknown = (*(group.unknown for group in self._groups), position[self._between])
        self._across = self._drops_between()
        self.scale = np.empty(layout.n_nodes + finite.size)
        self._set_scale(finite)

    def _own(self, sections: Indices, elements: Indices, position: Indices) -> _Group:
        layout = self._layout
        chains, local = np.unique(layout.chain[sections], return_inverse=True)
        nodes = np.concatenate([np.arange(first, last) for first, last in self._node_ranges(chains)])
        own = Layout(
            local, np.searchsorted(nodes, layout.node_a[elements]), np.searchsorted(nodes, layout.node_b[elements])
        )
        unknown = np.concatenate([sections, layout.n_sections + chains, position[elements]])
        return _Group(own, sections, elements, unknown)

    def _node_ranges(self, chains: Indices) -> list[tuple[int, int]]:
        first = np.append(self._layout.first_node, self._layout.n_nodes)
        return [(int(first[chain]), int(first[chain + 1])) for chain in chains]

    def _drops_between(self) -> Complex:
        """Return Z times the currents that a unit through each element between groups makes, (n, elements)."""
        layout = self._layout
        out = np.empty((layout.n_sections, self._between.size), dtype=np.complex128)
        for k in range(0, self._between.size, COLUMNS):
            some = self._between[k : k + COLUMNS]
            fed = np.zeros((layout.n_nodes, some.size), dtype=np.complex128)
            fed[layout.node_a[some], np.arange(some.size)] -= 1.0
            fed[layout.node_b[some], np.arange(some.size)] += 1.0
            out[:, k : k + COLUMNS] = self._z @ sum_before(fed, layout.chain)
        return out

    def _set_scale(self, finite: Indices) -> None:
        layout, n = self._layout, self._layout.n_sections
        diagonal = np.empty(self.scale.size, dtype=np.complex128)
        self.scale[:] = 1.0
        for number, rows in enumerate(self.unknown):
            diagonal[rows] = self.block(number, number).diagonal()
        size = np.abs(diagonal)
        scale = 1.0 / np.sqrt(size[:n])
        # one scale for all pieces, by the best grounded of them, as in `corridor.tone.tree`
        potential = 1.0 / np.sqrt(np.add.reduceat(scale**2, layout.first_section).max())
        joins = layout.node_chain[layout.node_a[finite]] != layout.node_chain[layout.node_b[finite]]
        element = 1.0 / np.maximum(np.sqrt(size[layout.n_nodes :]), np.where(joins, potential, 0.0))
        self.scale = np.concatenate([scale, np.full(layout.n_chains, potential), element])

    def block(self, row: int, column: int) -> Complex:
        """Return a block on or below the diagonal, scaled, as a new array."""
        made = self._border(column) if row == len(self._groups) else self._pair(row, column)
        made *= self.scale[self.unknown[row]][:, np.newaxis]
        made *= self.scale[self.unknown[column]]
        return made

    def _pair(self, row: int, column: int) -> Complex:
        one, other = self._groups[row], self._groups[column]
        along, leak = self._z.block(row, column), self._p.block(row, column)
        if isinstance(along, LowRank):
            made = one.fold(along.left) @ other.fold(along.right).T
        else:
            made = one.fold(other.fold(along.T).T)
        made[: one.sections.size, : other.sections.size] += dense(leak)
        if row == column:
            self._add_own(one, made)
        return made

    def _add_own(self, group: _Group, made: Complex) -> None:
        """Add the rows and columns of the chains' potentials, and the elements' impedances."""
        layout, n = group.layout, group.sections.size
        own, element = np.arange(n), layout.n_nodes + np.arange(group.elements.size)
        made[own, n + layout.chain] -= 1.0
        made[n + layout.chain, own] -= 1.0
        for node, sign in ((layout.node_b, 1.0), (layout.node_a, -1.0)):
            made[element, n + layout.node_chain[node]] += sign
            made[n + layout.node_chain[node], element] += sign
        made[element, element] += self._ohms[group.elements]

    def _border(self, column: int) -> Complex:
        """Return the rows of the elements between groups."""
        layout, between = self._layout, self._between
        a, b = layout.node_a[between], layout.node_b[between]
        if column == len(self._groups):
            volts = sum_after(self._across, layout.chain, layout.n_nodes)
            return volts[b] - volts[a] + np.diag(self._ohms[between])
        group = self._groups[column]
        made = np.ascontiguousarray(group.fold(self._across[group.sections]).T)
        position: Indices = np.full(self._layout.n_chains, -1)
        chains = np.unique(layout.chain[group.sections])
        position[chains] = group.sections.size + np.arange(chains.size)
        for node, sign in ((b, 1.0), (a, -1.0)):
            at = position[layout.node_chain[node]]
            here = np.flatnonzero(at >= 0)
            made[here, at[here]] += sign
        return made

    def singular_message(self, number: int) -> str:
        """Say which elements' currents are undetermined."""
        elements = self._between if number == len(self._groups) else self._groups[number].elements
        named = ", ".join(str(element) for element in elements[elements < self._ohms.size])
        return f"the currents of elements {named} can't be told apart; give one of them more resistance or remove it"
