"""How the tone got onto each line: the solved currents decomposed by what drives them, and named hop by hop.

Each line, with its own joints and grounds, is solved alone under everything that acts on it from outside: the currents
that bonds and junctions feed into it, the voltage that every other line's current induces along it, the soil potential
that every other line's leaks raise around it, and the transmitter. The problem is linear, so the parts add up to the
solved current, and each part is what one neighbour does by one mechanism.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from corridor.tone.drive import Drive
from corridor.tone.layout import Layout, Solution
from corridor.tone.model import ToneModel
from corridor.tone.tree import factorise

__all__ = ["Entry", "Hop", "Path", "decompose", "trace_paths"]

Complex = NDArray[np.complex128]

SOURCE = ""  # stands for the transmitter and its stake among the lines
STAKE = "ground stake"
MIN_SHARE = 0.05  # smaller parts are summed up in one row


@dataclass(frozen=True)
class Entry:
    """One way tone comes onto a line.

    Attributes
    ----------
    line_id, from_line : str
        Where to and where from; an empty name is the transmitter.
    kind : str
        hook-up, conduction, bond, induced or leakage.
    through : str
        Bond, junction or ground it goes through, where there is one.
    node : int
        Solver node of the bond; -1 where there is none.
    part_a : complex
        Its part of the line's current where that is largest, per ampere of hook-up current.
    share : float
        Of the solved current there, in phase with it; the shares of a line's entries sum to 1.
    """

    line_id: str
    from_line: str
    kind: str
    through: str
    node: int
    part_a: complex
    share: float


@dataclass(frozen=True)
class Hop:
    """One step of a path."""

    entry: Entry
    current_in_a: float
    current_out_a: float


@dataclass(frozen=True)
class Path:
    """The hops from the transmitter to one line, and the share of its current that came this way."""

    line_id: str
    hops: tuple[Hop, ...]
    share: float

    def scaled(self, factor: float) -> "Path":
        """Return the same path with currents per another unit."""
        hops = tuple(Hop(hop.entry, hop.current_in_a * factor, hop.current_out_a * factor) for hop in self.hops)
        return Path(self.line_id, hops, self.share)


def decompose(
    model: ToneModel,
    solution: Solution,
    system: tuple[Complex, Complex, Complex],
    *,
    drive: Drive,
    source: tuple[Complex, Complex],
    threshold_a: float,
) -> dict[str, list[Entry]]:
    """Split the current of every line above a threshold into the parts that other lines and the transmitter drive.

    Parameters
    ----------
    model : ToneModel
        The network.
    solution : Solution
        One column, per unit source.
    system : tuple of three ndarrays
        Z and P, (n, n), and the elements' impedances, (m,), ohm, that gave the solution.
    drive : Drive
        The hook-up.
    source : tuple of two ndarrays
        Injection (nodes, 1) and voltage in series (n, 1) that gave the solution.
    threshold_a : float
        Lines whose largest current is smaller, in the solution's unit, are left out.

    Returns
    -------
    dict
        line_id to its entries, largest share first.
    """
    z, p, _ = system
    owner = np.where(model.line_index >= 0, model.line_index, len(model.line_ids))
    order = np.argsort(owner, kind="stable")
    first = np.searchsorted(owner[order], np.arange(len(model.line_ids) + 1))
    current, leak = solution.current_a[:, 0], solution.leak_a[:, 0]
    present = np.unique(owner)
    induced = np.add.reduceat(z[:, order] * current[order], first[present], axis=1)
    raised = np.add.reduceat(p[:, order] * leak[order], first[present], axis=1)
    entries = {}
    for index, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        if own.size and np.abs(current[own]).max() >= threshold_a:
            part = _LinePart(model, system, index)
            outside = np.flatnonzero(present != index)
            fields = _Outside(-induced[np.ix_(part.sections, outside)], raised[np.ix_(part.sections, outside)])
            names = [model.line_ids[k] if k < len(model.line_ids) else SOURCE for k in present[outside]]
            entries[line_id] = part.entries(solution, drive, source, (fields, names))
    return entries


@dataclass(frozen=True)
class _Outside:
    """Voltage induced and soil potential raised along a line by each other line, (own sections, lines)."""

    emf_v: Complex
    soil_v: Complex


class _LinePart:
    """One line with its own joints and grounds, solved alone."""

    def __init__(self, model: ToneModel, system: tuple[Complex, Complex, Complex], index: int) -> None:
        z, p, ohms = system
        self._model, self._line = model, model.line_ids[index]
        self.sections = np.flatnonzero(model.line_index == index)
        chains = model.layout.chain[self.sections]
        _, local_chain = np.unique(chains, return_inverse=True)
        start = model.layout.start_node[self.sections]
        self.nodes = np.unique(np.concatenate([start, start + 1]))
        a, b = model.layout.node_a, model.layout.node_b
        inside_a, inside_b = np.isin(a, self.nodes), np.isin(b, self.nodes)
        finite = ~np.isinf(ohms)
        self._inner = np.flatnonzero(inside_a & inside_b & finite)
        self._outer = np.flatnonzero((inside_a ^ inside_b) & finite)
        self._sign = np.where(inside_b[self._outer], 1.0, -1.0)
        self._gate = np.where(inside_b[self._outer], b[self._outer], a[self._outer])
        layout = Layout(
            local_chain, np.searchsorted(self.nodes, a[self._inner]), np.searchsorted(self.nodes, b[self._inner])
        )
        grid = np.ix_(self.sections, self.sections)
        self._alone = factorise(layout, z[grid], p[grid], ohms[self._inner])

    def entries(
        self, solution: Solution, drive: Drive, source: tuple[Complex, Complex], outside: tuple[_Outside, list[str]]
    ) -> list[Entry]:
        """Return what drives the line's current at its largest, by part."""
        fields, names = outside
        injected, series = source
        gates, others = len(self._outer), len(names)
        columns = gates + 1 + 2 * others
        injection = np.zeros((len(self.nodes), columns), dtype=np.complex128)
        emf = np.zeros((len(self.sections), columns), dtype=np.complex128)
        soil = np.zeros_like(emf)
        at = np.searchsorted(self.nodes, self._gate)
        injection[at, np.arange(gates)] = self._sign * solution.element_a[self._outer, 0]
        injection[:, gates] = injected[self.nodes, 0]
        emf[:, gates] = series[self.sections, 0]
        emf[:, gates + 1 : gates + 1 + others] = fields.emf_v
        soil[:, gates + 1 + others :] = fields.soil_v
        alone = self._alone.solve(injection, emf, soil)
        conducting = ~self._model.electrode_mask[self.sections]
        whole = solution.current_a[self.sections, 0]
        peak = int(np.where(conducting, np.abs(whole), -1.0).argmax())
        parts, total = alone.current_a[peak], whole[peak]
        labels = [*self._gate_labels(), (SOURCE, "hook-up", drive.hookup.mode, drive.node)]
        labels += [(name, "induced", "", -1) for name in names]
        labels += [(name, "leakage", self._ground_of(solution, name), -1) for name in names]
        found = [
            Entry(self._line, *label, complex(part), float((part * np.conj(total)).real / abs(total) ** 2))
            for label, part in zip(labels, parts, strict=True)
        ]
        return sorted(found, key=lambda e: (-e.share, e.from_line, e.kind, e.through))

    def _gate_labels(self) -> list[tuple[str, str, str, int]]:
        labels = []
        for element_index, node in zip(self._outer, self._gate, strict=True):
            element = self._model.elements[element_index]
            other = element.line_b if element.line_a == self._line else element.line_a
            kind = "bond" if element.kind == "bond" else "conduction"
            labels.append((other, kind, element.source_id, int(node)))
        return labels

    def _ground_of(self, solution: Solution, name: str) -> str:
        """Name the ground that leaks most of a line's current, if that is a ground and not the line's own metal."""
        if name == SOURCE:
            return STAKE
        owner = self._model.line_ids.index(name)
        sections = np.flatnonzero(self._model.line_index == owner)
        most = int(sections[np.abs(solution.leak_a[sections, 0]).argmax()])
        rod = most - self._model.n_conducting
        return self._model.electrodes[rod].name if rod >= 0 else ""


def trace_paths(
    entries: dict[str, list[Entry]], currents_a: dict[str, float], *, min_share: float = MIN_SHARE
) -> list[Path]:
    """Follow each entry back to the transmitter by the line before it that carries most of its tone.

    Parameters
    ----------
    entries : dict
        From ``decompose``.
    currents_a : dict
        Largest current on each line, per ampere of hook-up current.
    min_share : float
        Entries with a smaller share, in magnitude, are summed into one path without hops.

    Returns
    -------
    list of Path
        By line and falling share; the shares of a line sum to 1.
    """
    graph: nx.DiGraph[str] = nx.DiGraph()
    best: dict[tuple[str, str], Entry] = {}
    for line_id, ways in entries.items():
        for entry in ways:
            pair = (entry.from_line, line_id)
            if entry.share > 0 and (pair not in best or entry.share > best[pair].share):
                best[pair] = entry
                graph.add_edge(*pair, cost=-math.log(min(entry.share, 1.0)) + 1e-6)
    paths = []
    found = dict(nx.single_source_dijkstra_path(graph, SOURCE, weight="cost")) if SOURCE in graph else {}
    for line_id in sorted(entries):
        large = [entry for entry in entries[line_id] if abs(entry.share) >= min_share]
        for entry in large:
            before = found.get(entry.from_line, [line_id])
            if line_id in before:  # the best way leads through this line: look for one that doesn't
                before = _way_to(graph, entry.from_line, without=line_id)
            steps = [best[pair] for pair in pairwise(before)]
            paths.append(Path(line_id, _hops([*steps, entry], currents_a), entry.share))
        rest = 1.0 - sum(entry.share for entry in large)
        if len(large) < len(entries[line_id]):
            paths.append(Path(line_id, (), rest))
    return paths


def _way_to(graph: "nx.DiGraph[str]", line_id: str, *, without: str) -> list[str]:
    """Return the lines from the transmitter to a line, avoiding one; the line alone if there is no such way."""
    if line_id == SOURCE:
        return [SOURCE]
    view = nx.restricted_view(graph, [without] if without in graph else [], [])
    try:
        return list(nx.dijkstra_path(view, SOURCE, line_id, weight="cost"))
    except (nx.NetworkXNoPath, nx.NodeNotFound):
        return [line_id]


def _hops(steps: Sequence[Entry], currents_a: dict[str, float]) -> tuple[Hop, ...]:
    return tuple(Hop(step, currents_a.get(step.from_line, 1.0), abs(step.part_a)) for step in steps)
