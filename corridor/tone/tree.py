"""The tone network solved by tree elimination: one symmetric system for leaks, chain potentials and element currents.

Along a chain the currents follow from what is fed in and what leaks out, I = S J - K Q: S sums the nodes before a
section, K the leaks before its middle. With U = Z I - E, the drop along each section, and v, the potential of each
chain's last node, all node potentials are V = v + S^T U, and a section's own is the mean of its two nodes',
P Q = v + K^T U. A lumped element draws J_e from node a and feeds it to node b, J = J_fed + D J_e, with
D^T V + z J_e = 0. Only Q, v and J_e remain. This eliminates the currents of the nodal form (Otero, Cidras, del Alamo
1999) along the tree that each chain is: it needs one factorisation instead of three, keeps its digits at low
frequency, and allows elements of zero ohms.
"""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError, SolverError
from corridor.tone.chain_sums import sum_after, sum_before
from corridor.tone.layout import Layout, Solution, as_impedances, finite_array, refuse_shorted_loops
from corridor.tone.ldlt import GrowthError, SymmetricFactor, factor_symmetric
from corridor.tone.updates import SINGULAR, Ports, Switched

__all__ = ["Factored", "as_sources", "factorise"]


@dataclass(frozen=True)
class Factored:
    """A network at one frequency, factored once for any number of sources.

    Attributes
    ----------
    layout : Layout
        Sections, nodes and elements.
    element_ohm : ndarray of complex, shape (m,), ohm
        Impedances of the elements; infinite for open ones.
    shorted_section : ndarray of bool, shape (n,)
        Sections without longitudinal impedance (ground electrodes).
    node_ohm : ndarray of complex, shape (nodes, nodes), ohm
        S^T Z S: potentials of the nodes, each against its chain's last, per ampere fed into nodes, without leaks and
        elements.
    factor : SymmetricFactor
        Of the scaled system.
    scale : ndarray of float, shape (n + chains + m,)
        What each unknown was divided by.
    """

    layout: Layout
    element_ohm: NDArray[np.complex128]
    shorted_section: NDArray[np.bool_]
    node_ohm: NDArray[np.complex128]
    factor: SymmetricFactor
    scale: NDArray[np.float64]

    def solve(
        self,
        injection_a: ArrayLike,
        emf_v: ArrayLike | None = None,
        soil_v: ArrayLike | None = None,
        *,
        at_nodes: ArrayLike | None = None,
    ) -> Solution:
        """Solve for k sources at once.

        Parameters
        ----------
        injection_a : array_like of complex, shape (nodes, k), or sparse array of scipy, A
            Current fed into each node from outside.
        emf_v : array_like of complex, shape (n, k), or sparse array of scipy, V, optional
            Voltage in series in each section, driving current from its head to its tail.
        soil_v : array_like of complex, shape (n, k), V, optional
            Potential that leaks outside this network raise in the soil at each section.
        at_nodes : array_like of int, optional
            Nodes whose potentials are wanted; those of the others are NaN then. All of them cost as much as the
            solution itself.

        Returns
        -------
        Solution
            Currents in A and potentials in V, a column per source.

        Raises
        ------
        DomainError
            If a shape is wrong or a value isn't finite.
        """
        injection = as_sources(injection_a, "injection_a", self.layout.n_nodes)
        emf = self._along(emf_v, "emf_v", injection.shape[1])
        soil = self._along(soil_v, "soil_v", injection.shape[1])
        return self._respond(injection, emf, soil=soil, at_nodes=at_nodes)

    def _along(self, values: ArrayLike | None, name: str, columns: int) -> NDArray[np.complex128] | None:
        """Return a source given per section, or None where there is none."""
        if values is None:
            return None
        array = as_sources(values, name, self.layout.n_sections)
        if array.shape[1] != columns:
            message = f"need as many columns in {name} as in injection_a ({columns}), got {array.shape[1]}"
            raise DomainError(message)
        return array

    def prepare(self, index: ArrayLike, *, at_nodes: ArrayLike | None = None) -> Ports:
        """Make some elements switchable, at the cost of one solution each, shared by all their cases.

        Parameters
        ----------
        index : array_like of int, shape (p,)
            Elements whose impedances will change.
        at_nodes : array_like of int, optional
            As in ``solve``; the nodes of these elements are always among them.

        Returns
        -------
        Ports
            Its ``with_elements`` gives the network with other impedances.

        Raises
        ------
        DomainError
            If an element doesn't exist.
        """
        layout = self.layout
        chosen = np.unique(np.atleast_1d(np.asarray(index, dtype=np.int64)))
        if chosen.size and not 0 <= chosen[0] <= chosen[-1] < layout.n_elements:
            message = f"need elements of 0 ... {layout.n_elements - 1}, got {chosen[[0, -1]]}"
            raise DomainError(message)
        column, is_open = np.arange(chosen.size), np.isinf(self.element_ohm[chosen])
        injection = np.zeros((layout.n_nodes, chosen.size), dtype=np.complex128)
        element_emf = np.zeros((layout.n_elements, chosen.size), dtype=np.complex128)
        injection[layout.node_a[chosen[is_open]], column[is_open]] = -1
        injection[layout.node_b[chosen[is_open]], column[is_open]] = 1
        element_emf[chosen[~is_open], column[~is_open]] = 1
        ends = np.concatenate((layout.node_a[chosen], layout.node_b[chosen]))
        wanted = None if at_nodes is None else np.union1d(ends, np.asarray(at_nodes, dtype=np.int64))
        response = self._respond(injection, None, element_emf=element_emf, at_nodes=wanted)
        response.element_a[chosen[is_open], column[is_open]] = 1
        return Ports(layout, self.element_ohm, self.shorted_section, chosen, response, self)

    def with_elements(self, index: ArrayLike, element_ohm: ArrayLike) -> Switched:
        """Return the network with other impedances of some elements, without a new factorisation.

        Parameters
        ----------
        index : array_like of int, shape (p,)
            Elements that change.
        element_ohm : array_like of complex, shape (p,), ohm
            Their new impedances; zero closes, infinite opens.

        Returns
        -------
        Switched
            Solves as this network does.

        Raises
        ------
        DomainError
            If an element doesn't exist or an impedance is not allowed.
        SolverError
            If the change leaves a loop without impedance.
        """
        return self.prepare(index).with_elements(index, element_ohm)

    def _respond(
        self,
        injection: NDArray[np.complex128],
        emf: NDArray[np.complex128] | None,
        *,
        element_emf: NDArray[np.complex128] | None = None,
        soil: NDArray[np.complex128] | None = None,
        at_nodes: ArrayLike | None = None,
    ) -> Solution:
        """Solve with voltages in series in the elements too."""
        layout, n = self.layout, self.layout.n_sections
        fed = np.flatnonzero(injection.any(axis=1))
        # potentials that the fed currents would leave without leaks and elements, against each chain's last node
        bare = self.node_ohm[:, fed] @ injection[fed]
        if emf is not None:
            bare -= sum_after(emf, layout.chain, layout.n_nodes)
        start = layout.start_node
        right = np.empty((self.scale.size, injection.shape[1]), dtype=np.complex128)
        right[:n] = (bare[start] + bare[start + 1]) / 2
        if soil is not None:
            right[:n] -= soil
        right[n : layout.n_nodes] = -np.add.reduceat(injection, layout.first_node, axis=0)
        right[layout.n_nodes :] = bare[layout.node_a] - bare[layout.node_b]
        if element_emf is not None:
            right[layout.n_nodes :] += element_emf
        right[layout.n_nodes :][np.isinf(self.element_ohm)] = 0
        unknown = self.factor.solve(right * self.scale[:, np.newaxis])
        unknown *= self.scale[:, np.newaxis]
        leak, last, through = unknown[:n], unknown[n : layout.n_nodes], unknown[layout.n_nodes :]
        net = np.zeros_like(injection)
        np.subtract.at(net, layout.node_a, through)
        np.add.at(net, layout.node_b, through)
        net[start] -= leak / 2
        net[start + 1] -= leak / 2
        rows = slice(None) if at_nodes is None else np.unique(np.asarray(at_nodes, dtype=np.int64))
        node_v = np.full(bare.shape, complex(np.nan, np.nan))
        node_v[rows] = bare[rows] + last[layout.node_chain[rows]] + self.node_ohm[rows] @ net
        return Solution(sum_before(net + injection, layout.chain), leak, through, node_v)


def factorise(layout: Layout, z_ohm: ArrayLike, p_ohm: ArrayLike, element_ohm: ArrayLike) -> Factored:
    """Factor a network of sections and lumped elements at one frequency.

    Parameters
    ----------
    layout : Layout
        Sections, nodes and elements.
    z_ohm : array_like of complex, shape (n, n), ohm
        Longitudinal impedances Z, symmetric: drop along section i per ampere in section j. Zero in the rows of ground
        electrodes.
    p_ohm : array_like of complex, shape (n, n), ohm
        Leak impedances P, symmetric: potential of section i per ampere that leaks from section j.
    element_ohm : array_like of complex, shape (m,), ohm
        Impedances of the elements; zero is allowed, infinite means open.

    Returns
    -------
    Factored
        Solves for any number of sources; its elements can be switched later.

    Raises
    ------
    DomainError
        If a shape is wrong or a value isn't finite.
    SolverError
        If a loop of elements has no impedance, or too little to tell its current; the message names them.
    """
    size, hint = (layout.n_sections,) * 2, "one row per section"
    z, p = (
        np.ascontiguousarray(finite_array(values, name, size, hint=hint))
        for values, name in ((z_ohm, "z_ohm"), (p_ohm, "p_ohm"))
    )
    element = as_impedances(element_ohm, layout.n_elements)
    shorted = np.asarray(~z.any(axis=1))
    refuse_shorted_loops(layout, shorted, element)
    node_ohm = np.zeros((layout.n_nodes, layout.n_nodes), dtype=np.complex128)
    _sum_blocks(z, layout.chain, node_ohm)
    factor, scale = _factor_system(layout, p, node_ohm, element)
    if factor.reciprocal_condition < SINGULAR:
        raise SolverError(_singular_message(layout, factor, scale))
    return Factored(layout, element, shorted, node_ohm, factor, scale)


def _factor_system(
    layout: Layout, p: NDArray[np.complex128], node_ohm: NDArray[np.complex128], element: NDArray[np.complex128]
) -> tuple[SymmetricFactor, NDArray[np.float64]]:
    """Return the factor of the scaled system and the scale.

    Leaks come first and in their order: P and K^T Z K take power from any current, so that their real part is positive
    definite. Where rounding or sections laid twice forbid that, the whole is made again and pivoted.
    """
    for leading in (layout.n_sections, 0):
        system = np.zeros((layout.n_nodes + layout.n_elements,) * 2, dtype=np.complex128, order="F")
        _fill_leaks(p.T, node_ohm, layout.start_node, system)  # the transpose runs along the columns of the system
        _fill_borders(layout, node_ohm, element, system)
        scale = _scale(layout, system)
        _apply_scale(system, scale)
        try:
            return factor_symmetric(system, leading=leading), scale
        except GrowthError:
            continue
    raise AssertionError  # without leading rows nothing grows


def _fill_borders(
    layout: Layout, node_ohm: NDArray[np.complex128], element: NDArray[np.complex128], system: NDArray[np.complex128]
) -> None:
    """Write the rows of the chains' potentials and of the elements."""
    n, nodes, start = layout.n_sections, layout.n_nodes, layout.start_node
    system[n + layout.chain, np.arange(n)] = -1
    row = np.flatnonzero(~np.isinf(element))
    a, b = layout.node_a[row], layout.node_b[row]
    drop = node_ohm[b] - node_ohm[a]  # D^T S^T Z S, shape (elements, nodes)
    system[nodes + row, :n] = -(drop[:, start] + drop[:, start + 1]) / 2
    np.add.at(system, (nodes + row, n + layout.node_chain[b]), 1)
    np.add.at(system, (nodes + row, n + layout.node_chain[a]), -1)
    system[np.ix_(nodes + row, nodes + row)] = drop[:, b] - drop[:, a] + np.diag(element[row])
    is_open = nodes + np.flatnonzero(np.isinf(element))
    system[is_open, is_open] = 1  # J_e = 0


def _scale(layout: Layout, system: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Return divisors of the unknowns that give rows of about one size, so that a condition number means something."""
    n, nodes = layout.n_sections, layout.n_nodes
    scale = np.empty(system.shape[0])
    diagonal = np.abs(system.diagonal())
    scale[:n] = 1 / np.sqrt(diagonal[:n])
    # One scale for all chains, by the best grounded of them: a chain that hardly leaks gets its potential from its
    # elements, and a scale of its own would drown their impedances in rounding.
    scale[n:nodes] = 1 / np.sqrt(np.add.reduceat(scale[:n] ** 2, layout.first_section).max())
    beside = np.max(np.abs(system[nodes:, n:nodes]) * scale[n:nodes], axis=1, initial=0.0)
    scale[nodes:] = 1 / np.maximum(np.sqrt(diagonal[nodes:]), beside)
    return scale


def _singular_message(layout: Layout, factor: SymmetricFactor, scale: NDArray[np.float64]) -> str:
    """Say which elements' currents are undetermined, from the direction that the factor blows up most."""
    direction = np.ones((scale.size, 1), dtype=np.complex128)
    for _ in range(2):  # inverse iteration, with a start that no symmetry makes blind
        direction = factor.solve(direction * np.linspace(1, 2, scale.size)[:, np.newaxis])
        direction /= np.abs(direction).max()
    share = np.abs(direction[layout.n_nodes :, 0] * scale[layout.n_nodes :])
    if not share.size:
        return "the network has no unique solution: its leak impedances are singular; look for sections laid twice"
    named = ", ".join(str(element) for element in np.flatnonzero(share > share.max() / 10))
    return f"the currents of elements {named} can't be told apart; give one of them more resistance or remove it"


def as_sources(values: ArrayLike, name: str, rows: int) -> NDArray[np.complex128]:
    """Return sources as a finite dense array of the right number of rows."""
    plain = values.toarray() if hasattr(values, "toarray") else values
    return finite_array(plain, name, (rows, "k"))


@numba.njit(cache=True, nogil=True)
def _sum_blocks(z: NDArray[np.complex128], chain: NDArray[np.int64], out: NDArray[np.complex128]) -> None:
    """Write S^T Z S: out[k, l] sums Z over the sections from node k on and from node l on, chain by chain."""
    n = chain.size
    for i in range(n - 1, -1, -1):
        row = i + chain[i]
        total = 0j
        for j in range(n - 1, -1, -1):
            if j == n - 1 or chain[j + 1] != chain[j]:
                total = 0j
            total += z[i, j]
            out[row, j + chain[j]] = out[row + 1, j + chain[j]] + total


@numba.njit(cache=True, nogil=True)
def _fill_leaks(
    p: NDArray[np.complex128], node_ohm: NDArray[np.complex128], start: NDArray[np.int64], out: NDArray[np.complex128]
) -> None:
    """Write the lower triangle of P + K^T Z K; K is the mean of S at a section's two nodes."""
    n = start.size
    for j in range(n):
        c = start[j]
        for i in range(j, n):
            r = start[i]
            four = node_ohm[c, r] + node_ohm[c + 1, r] + node_ohm[c, r + 1] + node_ohm[c + 1, r + 1]
            out[i, j] = p[i, j] + four / 4


@numba.njit(cache=True, nogil=True)
def _apply_scale(system: NDArray[np.complex128], scale: NDArray[np.float64]) -> None:
    """Multiply the lower triangle by the scale from both sides, in place."""
    for j in range(scale.size):
        for i in range(j, scale.size):
            system[i, j] *= scale[i] * scale[j]
