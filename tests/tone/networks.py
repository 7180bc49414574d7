"""Random networks for the solver's tests, and the nodal form that judges it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, diags_array

from corridor.tone.layout import Layout, Solution

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Network:
    """A layout with its matrices and element impedances."""

    layout: Layout
    z_ohm: Complex
    p_ohm: Complex
    element_ohm: Complex


def random_network(
    seed: int, *, chains: int = 4, longest: int = 8, elements: int = 5, electrodes: int = 2, rod_ohm: float = 0.0
) -> Network:
    """Return chains of random length, ground electrodes, and elements between random nodes.

    Im Z and Re P are positive definite and Re Z semidefinite, as fields make them; the sizes are those of metres of
    cable. Electrodes have ``rod_ohm`` along them: zero in the engine, something for judges that must divide by it.
    """
    rng = np.random.default_rng(seed)
    sizes = np.concatenate([rng.integers(1, longest + 1, chains), np.ones(electrodes, dtype=np.int64)])
    layout = Layout(np.repeat(np.arange(sizes.size), sizes), np.empty(0), np.empty(0))
    n = layout.n_sections
    z = definite(rng, n) * 1j + definite(rng, n, rank=max(1, n // 2)) * 0.1
    p = definite(rng, n) * 200 + 1j * symmetric(rng, n)
    rods = np.arange(n) >= n - electrodes
    z[rods] = z[:, rods] = 0
    z[rods, rods] = rod_ohm
    pairs = {tuple(sorted(rng.choice(layout.n_nodes, 2, replace=False))) for _ in range(elements)}
    a, b = np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2).T
    impedance = 10 ** rng.uniform(-3, 3, a.size) + 1j * rng.normal(size=a.size)
    return Network(Layout(layout.chain, a, b), z, p, impedance)


def definite(rng: np.random.Generator, n: int, *, rank: int | None = None) -> NDArray[np.float64]:
    """Return a random symmetric matrix with positive eigenvalues, or with ``rank`` of them."""
    root = rng.normal(size=(n, n if rank is None else rank))
    return root @ root.T / n + (0.1 * np.eye(n) if rank is None else 0)


def symmetric(rng: np.random.Generator, n: int) -> NDArray[np.float64]:
    """Return a random symmetric matrix."""
    root = rng.normal(size=(n, n))
    return root + root.T


def sources(seed: int, layout: Layout, columns: int = 3) -> tuple[Complex, Complex]:
    """Return random currents into nodes and voltages in sections."""
    rng = np.random.default_rng(seed)
    shape = (layout.n_nodes, columns), (layout.n_sections, columns)
    injection, emf = (rng.normal(size=s) + 1j * rng.normal(size=s) for s in shape)
    return injection, emf


def nodal(network: Network, injection_a: Complex, emf_v: Complex) -> Solution:
    """Solve by nodal analysis (Otero, Cidras, del Alamo 1999, IEEE Trans. Power Delivery, the form with A, B and Y).

    A V + E = Z I and B V = P Q with B half of |A|, so Y = A^T Z^-1 A + B^T P^-1 B + elements, Y V = J - A^T Z^-1 E.
    """
    layout = network.layout
    start, own = layout.start_node, np.arange(layout.n_sections)
    ends = _signed(own, (start, start + 1), (layout.n_sections, layout.n_nodes))
    joins = _signed(np.arange(layout.n_elements), (layout.node_a, layout.node_b), (layout.n_elements, layout.n_nodes))
    along, leak = np.linalg.inv(network.z_ohm), np.linalg.inv(network.p_ohm)
    element_s = 1 / network.element_ohm
    admittance = ends.T @ along @ ends + abs(ends).T @ leak @ abs(ends) / 4
    admittance += (joins.T @ diags_array(element_s) @ joins).toarray()
    volts = np.linalg.solve(admittance, injection_a - ends.T @ along @ emf_v)
    return Solution(
        along @ (ends @ volts + emf_v), leak @ abs(ends) @ volts / 2, element_s[:, None] * (joins @ volts), volts
    )


def _signed(rows: Any, columns: tuple[Any, Any], shape: tuple[int, int]) -> csr_array:
    """Return a matrix with 1 at the first and -1 at the second column of each row."""
    signs = np.repeat([1.0, -1.0], rows.size)
    return csr_array((signs, (np.concatenate([rows, rows]), np.concatenate(columns))), shape=shape)


def kirchhoff_residual(layout: Layout, solution: Solution, injection_a: Complex) -> Complex:
    """Return what flows into each node and doesn't leave it; half of a section's leak belongs to each of its nodes."""
    residual = injection_a.copy()
    start = layout.start_node
    head, tail = solution.section_ends()
    np.subtract.at(residual, start, head)
    np.add.at(residual, start + 1, tail)
    np.subtract.at(residual, layout.node_a, solution.element_a)
    np.add.at(residual, layout.node_b, solution.element_a)
    return residual


def power_balance(network: Network, solution: Solution, injection_a: Complex, emf_v: Complex) -> tuple[float, float]:
    """Return the power that all sources feed in and the power that all resistances take, W, over all columns."""
    fed = np.sum(solution.node_v * injection_a.conj()) + np.sum(emf_v * solution.current_a.conj())
    current, leak, element = solution.current_a, solution.leak_a, solution.element_a
    closed = np.where(np.isinf(network.element_ohm), 0, network.element_ohm)[:, None]
    taken = np.sum(current.conj() * (network.z_ohm.real @ current)) + np.sum(leak.conj() * (network.p_ohm.real @ leak))
    return float(fed.real), float((taken + np.sum(closed.real * abs(element) ** 2)).real)


def worst_difference(one: Solution, other: Solution) -> float:
    """Return the largest difference between two solutions, each kind of quantity relative to its largest value."""
    names = ("current_a", "leak_a", "element_a", "node_v")
    pairs = [(getattr(one, name), getattr(other, name)) for name in names]
    return max(abs(a - b).max() / abs(b).max() for a, b in pairs if b.size and abs(b).max() > 0)
