"""Elements of a factored network switched, closed or changed, by small updates instead of new factorisations."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError, SolverError
from corridor.tone.layout import Layout, Solution, as_impedances, refuse_shorted_loops

__all__ = ["SINGULAR", "Ports", "Switched"]

SINGULAR = 1e-14
"""Reciprocal condition, after scaling, under which the split of current between elements has no digits left: fifty
times the rounding of complex128 (engineering estimate)."""


class _Base(Protocol):
    """The network before the change."""

    def solve(self, injection_a: ArrayLike, emf_v: ArrayLike | None = None) -> Solution:
        """Solve for k sources at once."""


@dataclass(frozen=True)
class Ports:
    """Elements of a factored network that can be given other impedances.

    A changed element acts on the rest as one more source: a voltage in series with an element that the base keeps
    closed, a current fed from node a to node b for one that it keeps open. What a unit of each does is known from here
    on (Woodbury's identity, in the form of Thevenin's theorem), so a case costs a system of as many unknowns as
    elements change.

    Attributes
    ----------
    layout : Layout
        Sections, nodes and elements.
    base_ohm : ndarray of complex, shape (m,), ohm
        Impedances of all elements in the base.
    shorted_section : ndarray of bool, shape (n,)
        Sections without longitudinal impedance.
    index : ndarray of int, shape (p,)
        The elements that can change, in order.
    response : Solution
        What a unit source at each of them does, a column each.
    base : object with ``solve``
        The network before the change.
    """

    layout: Layout
    base_ohm: NDArray[np.complex128]
    shorted_section: NDArray[np.bool_]
    index: NDArray[np.int64]
    response: Solution
    base: _Base

    def with_elements(self, index: ArrayLike, element_ohm: ArrayLike) -> "Switched":
        """Return the network with other impedances of some of the elements.

        Parameters
        ----------
        index : array_like of int, shape (q,)
            Elements that change, among those prepared.
        element_ohm : array_like of complex, shape (q,), ohm
            Their new impedances; zero closes, infinite opens.

        Returns
        -------
        Switched
            Solves as the base does.

        Raises
        ------
        DomainError
            If an element wasn't prepared or stands twice, or an impedance is not allowed.
        SolverError
            If the change leaves a loop without impedance.
        """
        chosen = np.atleast_1d(np.asarray(index, dtype=np.int64))
        value = as_impedances(element_ohm, chosen.size)
        strange = np.setdiff1d(chosen, self.index)
        if strange.size or np.unique(chosen).size != chosen.size:
            message = f"need each element once, of those prepared ({self.index}), got {chosen}"
            raise DomainError(message)
        full = self.base_ohm.copy()
        full[chosen] = value
        refuse_shorted_loops(self.layout, self.shorted_section, full)
        changed = chosen[value != self.base_ohm[chosen]]
        return Switched(self, full, changed)


@dataclass(frozen=True)
class Switched:
    """A factored network with some elements changed.

    Attributes
    ----------
    ports : Ports
        The prepared elements and the base.
    element_ohm : ndarray of complex, shape (m,), ohm
        Impedances of all elements after the change.
    changed : ndarray of int, shape (q,)
        Elements that differ from the base.
    """

    ports: Ports
    element_ohm: NDArray[np.complex128]
    changed: NDArray[np.int64]

    def solve(self, injection_a: ArrayLike, emf_v: ArrayLike | None = None) -> Solution:
        """Solve for k sources at once; parameters, result and errors are those of ``Factored.solve``.

        Parameters
        ----------
        injection_a : array_like of complex, shape (nodes, k), A
            Current fed into each node.
        emf_v : array_like of complex, shape (n, k), V, optional
            Voltage in series in each section.

        Returns
        -------
        Solution
            Currents in A and potentials in V, a column per source.
        """
        return self.apply(self.ports.base.solve(injection_a, emf_v))

    def apply(self, solution: Solution) -> Solution:
        """Turn the base's solution for some sources into this network's; far cheaper than ``solve``.

        Parameters
        ----------
        solution : Solution
            Of the base, k columns; left as it is.

        Returns
        -------
        Solution
            Of this network for the same sources.

        Raises
        ------
        SolverError
            If the changed elements' currents can't be told apart.
        """
        if not self.changed.size:
            return solution
        column = np.searchsorted(self.ports.index, self.changed)
        response = self.ports.response
        matrix = self._mismatch(response)[:, column]
        size = np.abs(matrix).max(axis=1, keepdims=True)
        matrix /= size
        if not np.linalg.cond(matrix) < 1 / SINGULAR:
            named = ", ".join(str(element) for element in self.changed)
            message = f"the currents of elements {named} can't be told apart; give one of them more resistance"
            raise SolverError(message)
        source = -np.linalg.solve(matrix, self._mismatch(solution) / size)
        return Solution(
            *(
                getattr(solution, name) + getattr(response, name)[:, column] @ source
                for name in ("current_a", "leak_a", "element_a", "node_v")
            )
        )

    def _mismatch(self, solution: Solution) -> NDArray[np.complex128]:
        """Return by how much a solution misses the changed elements' laws, D^T V + z J_e, or J_e where open; (q, k)."""
        layout, ohm = self.ports.layout, self.element_ohm[self.changed][:, np.newaxis]
        current = solution.element_a[self.changed]
        is_open = np.isinf(ohm)
        drop = solution.node_v[layout.node_b[self.changed]] - solution.node_v[layout.node_a[self.changed]]
        return np.where(is_open, current, drop + np.where(is_open, 0, ohm) * current)
