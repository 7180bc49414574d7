"""How sections, nodes and lumped elements join into a network, and what a solution of it holds."""

from dataclasses import dataclass

import networkx as nx
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError, SolverError

__all__ = ["Layout", "Solution", "as_impedances", "finite_array", "refuse_shorted_loops"]


@dataclass(frozen=True)
class Layout:
    """Chains of sections and the lumped elements between their nodes.

    A chain is a conductor without branches; its sections stand one after the other, head to tail. A chain of m sections
    has m + 1 nodes, so section i of chain c lies between the nodes i + c and i + c + 1, counted over all chains.

    Attributes
    ----------
    chain : ndarray of int, shape (n,)
        Chain of each section: 0, 0, ..., 1, 1, ... without gaps.
    node_a, node_b : ndarray of int, shape (m,)
        Nodes that each element joins; its current counts positive from a to b.

    Raises
    ------
    DomainError
        If the chains aren't numbered in order, or an element's node doesn't exist or is joined to itself.
    """

    chain: NDArray[np.int64]
    node_a: NDArray[np.int64]
    node_b: NDArray[np.int64]

    def __post_init__(self) -> None:
        for name in ("chain", "node_a", "node_b"):
            object.__setattr__(self, name, np.atleast_1d(np.asarray(getattr(self, name), dtype=np.int64)))
        chain, a, b = self.chain, self.node_a, self.node_b
        steps = np.diff(chain)
        if chain.ndim != 1 or chain.size == 0 or chain[0] != 0 or np.any((steps != 0) & (steps != 1)):
            message = f"need chains numbered 0, 0, ..., 1, 1, ... section by section, got {chain}"
            raise DomainError(message)
        if a.ndim != 1 or a.shape != b.shape:
            message = f"need one node_a and one node_b per element, got shapes {a.shape} and {b.shape}"
            raise DomainError(message)
        wrong = np.flatnonzero((a == b) | (np.minimum(a, b) < 0) | (np.maximum(a, b) >= self.n_nodes))
        if wrong.size:
            first = int(wrong[0])
            message = (
                f"need elements between two different nodes of 0 ... {self.n_nodes - 1}, "
                f"got element {first} between {a[first]} and {b[first]}"
            )
            raise DomainError(message)

    @property
    def n_sections(self) -> int:
        """Number of sections, n."""
        return self.chain.size

    @property
    def n_chains(self) -> int:
        """Number of chains."""
        return int(self.chain[-1]) + 1

    @property
    def n_nodes(self) -> int:
        """Number of nodes: one more than sections, per chain."""
        return self.n_sections + self.n_chains

    @property
    def n_elements(self) -> int:
        """Number of lumped elements, m."""
        return self.node_a.size

    @property
    def start_node(self) -> NDArray[np.int64]:
        """Node at the head of each section, shape (n,); the node at its tail is the next one."""
        return np.arange(self.n_sections) + self.chain

    @property
    def first_section(self) -> NDArray[np.int64]:
        """First section of each chain, shape (chains,)."""
        return np.searchsorted(self.chain, np.arange(self.n_chains))

    @property
    def first_node(self) -> NDArray[np.int64]:
        """First node of each chain, shape (chains,)."""
        return self.first_section + np.arange(self.n_chains)

    @property
    def node_chain(self) -> NDArray[np.int64]:
        """Chain of each node, shape (nodes,)."""
        return np.searchsorted(self.first_node, np.arange(self.n_nodes), side="right") - 1


@dataclass(frozen=True)
class Solution:
    """Currents and potentials for k sources, one per column.

    Attributes
    ----------
    current_a : ndarray of complex, shape (n, k), A
        Current along each section, at its middle, positive from head to tail.
    leak_a : ndarray of complex, shape (n, k), A
        Current that leaves each section into the soil.
    element_a : ndarray of complex, shape (m, k), A
        Current through each lumped element, positive from a to b.
    node_v : ndarray of complex, shape (nodes, k), V
        Potential of each node against remote earth.
    """

    current_a: NDArray[np.complex128]
    leak_a: NDArray[np.complex128]
    element_a: NDArray[np.complex128]
    node_v: NDArray[np.complex128]

    def section_ends(self) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Return the currents at the head and at the tail of each section.

        Half of a section's leak leaves it on either side of its middle.

        Returns
        -------
        tuple of two ndarrays of complex, shape (n, k), A
            Head and tail; where two sections of a chain meet, they differ by what is fed in there.
        """
        return self.current_a + self.leak_a / 2, self.current_a - self.leak_a / 2


def finite_array(
    values: ArrayLike, name: str, shape: tuple[int | str, ...], *, hint: str = ""
) -> NDArray[np.complex128]:
    """Return values as complex numbers, checked.

    Parameters
    ----------
    values : array_like of complex
    name : str
        What they are called, for messages.
    shape : tuple
        Lengths of the axes; a letter stands for any length.
    hint : str
        What the message says of the shape.

    Returns
    -------
    ndarray of complex

    Raises
    ------
    DomainError
        If the shape is another, or a value isn't finite.
    """
    array = np.asarray(values, dtype=np.complex128)
    fits = array.ndim == len(shape)
    if not fits or any(isinstance(n, int) and n != got for n, got in zip(shape, array.shape, strict=True)):
        wanted = ", ".join(map(str, shape)) + ("," if len(shape) == 1 else "")
        message = f"need {name} of shape ({wanted}){', ' + hint if hint else ''}, got {array.shape}"
        raise DomainError(message)
    if not np.isfinite(array).all():
        message = f"need finite values in {name}, got some that aren't"
        raise DomainError(message)
    return array


def as_impedances(element_ohm: ArrayLike, count: int) -> NDArray[np.complex128]:
    """Return elements' impedances as complex numbers, open ones as plain infinity.

    Parameters
    ----------
    element_ohm : array_like of complex, shape (count,), ohm
        Zero is allowed; infinite means open.
    count : int
        How many there have to be.

    Returns
    -------
    ndarray of complex, shape (count,), ohm
        With ``inf + 0j`` for every open element.

    Raises
    ------
    DomainError
        If the number is wrong, or a value isn't a number or has a negative resistance.
    """
    values = np.atleast_1d(np.array(element_ohm, dtype=np.complex128))
    if values.shape != (count,):
        message = f"need one impedance for each of {count} elements, got an array of shape {values.shape}"
        raise DomainError(message)
    is_open = np.isinf(values)
    wrong = np.flatnonzero(~is_open & (np.isnan(values) | (values.real < 0)))
    if wrong.size:
        first = int(wrong[0])
        message = f"need impedances with a resistance of 0 ohms or more, got {values[first]} for element {first}"
        raise DomainError(message)
    values[is_open] = np.inf
    return values


def refuse_shorted_loops(
    layout: Layout, shorted_section: NDArray[np.bool_], element_ohm: NDArray[np.complex128]
) -> None:
    """Raise unless every loop of the network has some impedance.

    In a loop of zero-ohm elements, such as two of them side by side, any current may circulate, so none is the answer.

    Parameters
    ----------
    layout : Layout
        The network.
    shorted_section : ndarray of bool, shape (n,)
        Sections without longitudinal impedance, which ground electrodes are.
    element_ohm : ndarray of complex, shape (m,), ohm
        Impedances of the elements.

    Raises
    ------
    SolverError
        If a loop has no impedance; the message names its elements.
    """
    shorts: nx.MultiGraph[int] = nx.MultiGraph()
    for section in np.flatnonzero(shorted_section):
        head = int(layout.start_node[section])
        shorts.add_edge(head, head + 1, key=-1 - int(section))  # keys of sections are negative
    for element in np.flatnonzero(element_ohm == 0):
        shorts.add_edge(int(layout.node_a[element]), int(layout.node_b[element]), key=int(element))
    try:
        loop = nx.find_cycle(shorts)
    except nx.NetworkXNoCycle:
        return
    named = ", ".join(str(key) for key in sorted(edge[2] for edge in loop) if key >= 0)
    message = f"elements {named} close a loop of zero ohms, so its current is undetermined; give one some resistance"
    raise SolverError(message)
