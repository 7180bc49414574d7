"""Sections in groups by place, with the chains cut where they pass from one group into another.

Groups that lie apart act on each other smoothly, so that few numbers describe it. A chain in pieces joined by elements
of zero ohms is the same network, and each piece then belongs to one group only.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.layout import Layout

__all__ = ["Clusters", "cluster_sections"]

Indices = NDArray[np.int64]

RUN_SECTIONS = 12  # sections of a chain that stay together: else a line along a border would be cut at each of them


@dataclass(frozen=True)
class Clusters:
    """A layout cut into groups of sections.

    Attributes
    ----------
    layout : Layout
        The same sections in pieces of chains; the elements in their order, then one of zero ohms per cut.
    groups : tuple of ndarray of int
        Sections of each group, rising.
    node_at : ndarray of int, shape (nodes of the uncut layout,)
        Where each node stands in ``layout``; at a cut, the head of the later piece.
    n_cuts : int
        Number of cuts.
    """

    layout: Layout
    groups: tuple[Indices, ...]
    node_at: Indices
    n_cuts: int


def cluster_sections(layout: Layout, place_m: ArrayLike, *, size: int) -> Clusters:
    """Group sections by place, parting the longer side again and again.

    Parameters
    ----------
    layout : Layout
        Chains and elements.
    place_m : array_like of float, shape (n, 2)
        Middle of each section in plan, m.
    size : int
        Most sections a group, > 0; one run of up to 12 sections of a chain stays whole even so.

    Returns
    -------
    Clusters

    Raises
    ------
    DomainError
        If there isn't one place per section, or the size isn't positive.
    """
    place = np.asarray(place_m, dtype=np.float64)
    if place.shape != (layout.n_sections, 2) or size < 1:
        message = (
            f"need one place (x, y) for each of {layout.n_sections} sections and a size > 0, got {place.shape}, {size}"
        )
        raise DomainError(message)
    run = _runs(layout)
    weight = np.bincount(run)
    middle = np.column_stack([np.bincount(run, place[:, axis]) / weight for axis in (0, 1)])
    group_of_run = np.empty(weight.size, dtype=np.int64)
    for number, members in enumerate(_halves(np.arange(weight.size), middle, weight, size=size)):
        group_of_run[members] = number
    group = group_of_run[run]
    cut = np.flatnonzero((np.diff(group) != 0) & (np.diff(layout.chain) == 0))
    steps = np.diff(layout.chain)
    steps[cut] = 1
    piece = np.concatenate([[0], np.cumsum(steps)])
    head = np.arange(layout.n_sections) + piece
    node_at = np.empty(layout.n_nodes, dtype=np.int64)
    node_at[layout.start_node + 1] = head + 1
    node_at[layout.start_node] = head
    parted = Layout(
        piece,
        np.concatenate([node_at[layout.node_a], head[cut] + 1]),
        np.concatenate([node_at[layout.node_b], head[cut + 1]]),
    )
    order = np.argsort(group, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(group))[:-1])
    return Clusters(parted, tuple(groups), node_at, cut.size)


def _runs(layout: Layout) -> Indices:
    """Return the number of each section's run: chains in equal parts of at most ``RUN_SECTIONS``."""
    first = layout.first_section
    count = np.diff(np.append(first, layout.n_sections))
    parts = -(-count // RUN_SECTIONS)
    within = np.arange(layout.n_sections) - first[layout.chain]
    before = np.cumsum(parts) - parts
    return before[layout.chain] + within * parts[layout.chain] // count[layout.chain]


def _halves(members: Indices, middle: NDArray[np.float64], weight: Indices, *, size: int) -> list[Indices]:
    """Return groups of runs, none heavier than ``size`` if it has more than one run, most not much lighter."""
    total = int(weight[members].sum())
    if total <= size or members.size < 2:
        return [members]
    parts = -(-total // size)
    axis = int(np.ptp(middle[members], axis=0).argmax())
    order = members[np.argsort(middle[members, axis], kind="stable")]
    # as many whole groups on either side, a little lighter than allowed: runs don't fit exactly
    share = (parts // 2) / parts
    half = int(np.searchsorted(np.cumsum(weight[order]), share * total, side="right"))
    half = min(max(half, 1), order.size - 1)
    first, second = order[:half], order[half:]
    return _halves(first, middle, weight, size=size) + _halves(second, middle, weight, size=size)
