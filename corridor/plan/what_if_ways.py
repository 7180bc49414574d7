"""The way over metal by which most tone could have come to each line: the widest one, by the current in its links."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corridor.tone.model import ToneModel
from corridor.tone.solve import ToneSolution

__all__ = ["Links", "links_of", "widest_ways"]

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Links:
    """What joins two lines by metal: m bonds and junctions of a network, in its order.

    Attributes
    ----------
    element : ndarray of int, shape (m,)
        Position in the model's elements.
    from_line, to_line : ndarray of int, shape (m,)
        Positions in the window's ``line_ids``.
    kind, name : tuple of str
        bond or junction, and its id.
    """

    element: Ints
    from_line: Ints
    to_line: Ints
    kind: tuple[str, ...]
    name: tuple[str, ...]


def links_of(model: ToneModel, line_ids: tuple[str, ...]) -> Links:
    """Return the links between different lines of a network.

    Parameters
    ----------
    model : ToneModel
    line_ids : tuple of str
        Lines of the window.
    """
    at = {line_id: k for k, line_id in enumerate(line_ids)}
    joining = [
        (k, at[element.line_a], at[element.line_b], element.kind, element.source_id)
        for k, element in enumerate(model.elements)
        if element.line_a != element.line_b and element.line_a in at and element.line_b in at
    ]
    element, from_line, to_line = (np.array([row[k] for row in joining], dtype=np.int64) for k in range(3))
    return Links(element, from_line, to_line, tuple(row[3] for row in joining), tuple(row[4] for row in joining))


def widest_ways(
    solution: ToneSolution, links: Links, line_ids: tuple[str, ...], some: Ints
) -> tuple[NDArray[np.int16], NDArray[Any]]:
    """Return how the widest way over metal enters each line, in the nominal case.

    Of all ways over links from the hook-up's line, the one whose weakest link carries most; found by relaxing the links
    until nothing changes (Bellman-Ford with the smaller of two widths in place of their sum).

    Parameters
    ----------
    solution : ToneSolution
    links : Links
    line_ids : tuple of str
        Of the window, l of them.
    some : ndarray of int, shape (h,)
        Hook-ups.

    Returns
    -------
    entered : ndarray of int, shape (h, f, l)
        The link; -1 for the hook-up's own line and where no metal leads.
    through_a : ndarray, shape (h, f, l)
        Current in it, per ampere of hook-up current; 0 without one.
    """
    nominal, frequencies = solution.cases[0].name, solution.frequencies_hz
    found = [np.abs(solution.results[f, nominal].element_a[np.ix_(links.element, some)]) for f in frequencies]
    count = len(some) * len(frequencies)
    size = np.stack(found, axis=-1).astype(float).reshape(len(links.element), count)
    at = {line_id: k for k, line_id in enumerate(line_ids)}
    columns = np.arange(count)
    begin = np.repeat([at[solution.drives[k].hookup.line_id] for k in some], len(frequencies))
    width = np.zeros((len(line_ids), count))
    width[begin, columns] = np.inf
    entered = np.full(width.shape, -1, dtype=np.int16)
    changed = True
    while changed:
        changed = False
        for link, (a, b) in enumerate(zip(links.from_line.tolist(), links.to_line.tolist(), strict=True)):
            for one, other in ((a, b), (b, a)):
                reach = np.minimum(width[one], size[link])
                wider = reach > width[other]
                if wider.any():
                    width[other, wider], entered[other, wider], changed = reach[wider], link, True
    through = np.where(entered >= 0, size[np.maximum(entered, 0), columns] if len(size) else 0.0, 0.0)
    shape = (len(line_ids), len(some), len(frequencies))
    return np.moveaxis(entered.reshape(shape), 0, 2), np.moveaxis(through.reshape(shape), 0, 2)
