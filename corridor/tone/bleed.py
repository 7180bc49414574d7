"""How the tone got onto each line: the solved currents decomposed by what drives them, and named hop by hop.

Each line, with its own joints and grounds, is solved alone under everything that acts on it from outside: the currents
that bonds and junctions feed into it, the voltage that every other line's current induces along it, the soil potential
that every other line's leaks raise around it, and the transmitter. The problem is linear, so the parts add up to the
solved current, and each part is what one neighbour does by one mechanism.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from corridor.tone.drive import Drive
from corridor.tone.layout import Layout
from corridor.tone.model import ToneModel
from corridor.tone.tree import factorise

__all__ = ["MIN_SHARE", "STAKE", "Entry", "Hop", "Path", "decompose", "trace_paths"]

Complex = NDArray[np.complex128]
Label = tuple[str, str, str, int]  # from_line, kind, through, node

SOURCE = ""  # stands for the transmitter and its stake among the lines
STAKE = "ground stake"
MIN_SHARE = 0.05  # smaller parts are summed up in one row
HOP_COST = 1e-6  # of two ways alike the one with fewer hops
LEAST_SHARE = 0.001  # smaller parts aren't followed; a line has few hundred, so its largest is always above


class Entry(NamedTuple):
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
    feed_a : float
        Current through the bond or junction, where there is one; NaN where the other line's own current drives it.
    """

    line_id: str
    from_line: str
    kind: str
    through: str
    node: int
    part_a: complex
    share: float
    feed_a: float = math.nan


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


@dataclass(frozen=True)
class Currents:
    """What is split, k columns: currents along and out of the sections, (n, k), and through the elements, (m, k)."""

    current_a: NDArray[Any]
    leak_a: NDArray[Any]
    element_a: NDArray[Any]

    def of_hookups(self, columns: NDArray[np.int64]) -> "Currents":
        """Return some of the columns."""
        return Currents(*(part[:, columns].astype(np.complex128) for part in vars(self).values()))


def decompose(
    model: ToneModel,
    solution: Currents,
    system: tuple[Complex, Complex, Complex],
    *,
    drives: Sequence[Drive],
    source: tuple[Complex, Complex],
    threshold_a: float,
    min_share: float = LEAST_SHARE,
) -> list[dict[str, list[Entry]]]:
    """Split the current of every line above a threshold into the parts that other lines and the transmitter drive.

    Parameters
    ----------
    model : ToneModel
        The network.
    solution : Currents
        A column per hook-up, per ampere of hook-up current or any other unit.
    system : tuple of three ndarrays
        Z and P, (n, n), and the elements' impedances, (m,), ohm, that gave the solution.
    drives : sequence of Drive
        The hook-ups, k of them.
    source : tuple of two ndarrays
        Injection (nodes, k) and voltage in series (n, k) that gave the solution.
    threshold_a : float
        Lines whose largest current is smaller, in the solution's unit, are left out.
    min_share : float
        Entries with a smaller share, in magnitude, are left out; with 0 the shares of a line sum to 1.

    Returns
    -------
    list of dict
        Per hook-up line_id to its entries, largest share first.
    """
    z, p, _ = system
    owners = _Owners(model)
    grounds = owners.grounds(solution.leak_a)
    found: list[dict[str, list[Entry]]] = [{} for _ in drives]
    for index, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        if not own.size:
            continue
        columns = np.flatnonzero(np.abs(solution.current_a[own]).max(axis=0) >= threshold_a)
        if not columns.size:
            continue
        part = _LinePart(model, system, index)
        chosen = solution.of_hookups(columns)
        split = part.split(chosen, (source[0][:, columns], source[1][:, columns]), (z, p), owners)
        for k, column in enumerate(columns):
            hop = (SOURCE, "hook-up", drives[int(column)].hookup.mode, drives[int(column)].node)
            shares = split.of_hookup(k)
            found[int(column)][line_id] = part.entries(shares, grounds[:, column], hop, owners, min_share=min_share)
    return found


class _Owners:
    """Whose each section is; the transmitter's stakes come last."""

    def __init__(self, model: ToneModel) -> None:
        self.of_section = np.where(model.line_index >= 0, model.line_index, len(model.line_ids))
        self.order = np.argsort(self.of_section, kind="stable")
        self.present, self._first = np.unique(self.of_section[self.order], return_index=True)
        self.names = [model.line_ids[k] if k < len(model.line_ids) else SOURCE for k in self.present]
        self.sections = np.split(self.order, self._first[1:])
        self._electrodes, self._n_conducting = model.electrodes, model.n_conducting

    def grounds(self, leak: NDArray[Any]) -> NDArray[np.object_]:
        """Return the names of the grounds that leak most of each owner's current, (owners, k), from leaks (n, k).

        Empty where the owner's own metal leaks most; the transmitter's is the stake.
        """
        names = np.array(["", *(electrode.name for electrode in self._electrodes)], dtype=object)
        size = np.abs(leak.astype(np.complex128))
        most = np.array([sections[size[sections].argmax(axis=0)] for sections in self.sections])
        found = names[np.maximum(most - self._n_conducting, -1) + 1]
        found[[name == SOURCE for name in self.names]] = STAKE
        return np.asarray(found)

    def sums(self, values: Complex) -> Complex:
        """Return what each owner's sections add up to, (owners, k), from values (n, k)."""
        return np.asarray(np.add.reduceat(values[self.order], self._first, axis=0))


@dataclass(frozen=True)
class _Split:
    """The parts of a line's current where it is largest, a column per hook-up; ``whole_a`` is their sum, solved."""

    whole_a: Complex  # (k,)
    gates_a: Complex  # (bonds and junctions, k)
    hookup_a: Complex  # (k,)
    induced_a: Complex  # (owners, k)
    leaked_a: Complex  # (owners, k)
    through_a: Complex  # (bonds and junctions, k): what flows through them

    def of_hookup(self, k: int) -> "_Split":
        """Return the column of one hook-up."""
        return _Split(*(part[..., [k]] for part in vars(self).values()))


class _LinePart:
    """One line with its own joints and grounds, solved alone."""

    def __init__(self, model: ToneModel, system: tuple[Complex, Complex, Complex], index: int) -> None:
        z, p, ohms = system
        self._model, self._line, self._index = model, model.line_ids[index], index
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
        self._gate_labels = self._labels_of_gates()

    def split(
        self, solution: Currents, source: tuple[Complex, Complex], fields: tuple[Complex, Complex], owners: _Owners
    ) -> _Split:
        """Return what drives the line's current at its largest, for every hook-up.

        By reciprocity one solution with a volt in series where the current is largest gives the weight there of every
        voltage along the line (its current), of every current fed in (minus its potential) and of every soil potential
        (minus its leak).
        """
        (injected, series), (z, p) = source, fields
        sections, count = self.sections, solution.current_a.shape[1]
        whole = solution.current_a[sections]
        conducting = ~self._model.electrode_mask[sections]
        peak = np.where(conducting[:, None], np.abs(whole), -1.0).argmax(axis=0)
        places, which = np.unique(peak, return_inverse=True)
        volt = np.zeros((sections.size, places.size), dtype=np.complex128)
        volt[places, np.arange(places.size)] = 1.0
        weight = self._alone.solve(np.zeros((self.nodes.size, places.size)), volt)
        current, node = weight.current_a[:, which], weight.node_v[:, which]
        along, around = weight.current_a.T @ z[sections], weight.leak_a.T @ p[sections]
        gate = node[np.searchsorted(self.nodes, self._gate)]
        return _Split(
            whole[peak, np.arange(count)],
            gates_a=-gate * self._sign[:, None] * solution.element_a[self._outer],
            hookup_a=(current * series[sections]).sum(axis=0) - (node * injected[self.nodes]).sum(axis=0),
            induced_a=-owners.sums(along[which].T * solution.current_a),
            leaked_a=-owners.sums(around[which].T * solution.leak_a),
            through_a=solution.element_a[self._outer],
        )

    def entries(
        self, split: _Split, grounds: NDArray[np.object_], hookup: Label, owners: _Owners, *, min_share: float
    ) -> list[Entry]:
        """Return the parts of one hook-up's split as entries, largest share first; a ground's name for each owner."""
        outside = np.flatnonzero(owners.present != self._index)
        parts = np.concatenate(
            [split.gates_a[:, 0], split.hookup_a, split.induced_a[outside, 0], split.leaked_a[outside, 0]]
        )
        whole = split.whole_a[0]
        shares = (parts * np.conj(whole)).real / abs(whole) ** 2
        gates, others = self._outer.size, outside.size
        found = []
        through = np.abs(split.through_a[:, 0]).tolist()
        for at in np.flatnonzero(np.abs(shares) >= min_share).tolist():
            if at < gates:
                label = self._gate_labels[at]
            elif at == gates:
                label = hookup
            else:
                owner = outside[(at - gates - 1) % others]
                if at <= gates + others:
                    label = (owners.names[owner], "induced", "", -1)
                else:
                    label = (owners.names[owner], "leakage", str(grounds[owner]), -1)
            feed = through[at] if at < gates else math.nan
            found.append(Entry(self._line, *label, complex(parts[at]), float(shares[at]), feed))
        return sorted(found, key=lambda e: (-e.share, e.from_line, e.kind, e.through))

    def _labels_of_gates(self) -> list[Label]:
        labels = []
        for element_index, node in zip(self._outer, self._gate, strict=True):
            element = self._model.elements[element_index]
            other = element.line_b if element.line_a == self._line else element.line_a
            kind = "bond" if element.kind == "bond" else "conduction"
            labels.append((other, kind, element.source_id, int(node)))
        return labels


def trace_paths(
    entries: dict[str, list[Entry]], currents_a: dict[str, float], *, target: str, min_share: float = MIN_SHARE
) -> list[Path]:
    """Follow each entry back to the transmitter by the way that carries most of its tone.

    Parameters
    ----------
    entries : dict
        From ``decompose``.
    currents_a : dict
        Largest current on each line of the model, per ampere of hook-up current.
    target : str
        The hook-up's line: there the tone begins, however much of it needs other lines to flow.
    min_share : float
        Entries with a smaller share, in magnitude, are summed into one path without hops.

    Returns
    -------
    list of Path
        By line and falling share; the shares of a line sum to 1.
    """
    ways = _Ways(entries, currents_a, target)
    paths = []
    for line_id in sorted(entries):
        large = [entry for entry in entries[line_id] if abs(entry.share) >= min_share]
        for entry in large:
            steps = ways.to(entry.from_line, without=line_id)
            paths.append(Path(line_id, _hops([*steps, entry], currents_a), entry.share))
        rest = 1.0 - sum(entry.share for entry in large)
        if len(large) < len(entries[line_id]) or abs(rest) > LEAST_SHARE:
            paths.append(Path(line_id, (), rest))
    return paths


class _Ways:
    """The best ways from the transmitter to each line: the largest product of shares, hop by hop."""

    def __init__(self, entries: dict[str, list[Entry]], currents_a: dict[str, float], target: str) -> None:
        self._best: dict[tuple[str, str], Entry] = {}
        for line_id, ways in entries.items():
            for entry in ways:
                pair = (entry.from_line, line_id)
                if entry.share > 0 and (pair not in self._best or entry.share > self._best[pair].share):
                    self._best[pair] = entry
        if target in entries:
            fed = [entry for entry in entries[target] if (entry.from_line, entry.kind) == (SOURCE, "hook-up")]
            first = fed[0] if fed else Entry(target, SOURCE, "hook-up", "", -1, 0j, 0.0)
            self._best[SOURCE, target] = first._replace(part_a=complex(currents_a.get(target, 0.0)), share=1.0)
        self._names = sorted({SOURCE, *entries, *(name for pair in self._best for name in pair)})
        index = {name: k for k, name in enumerate(self._names)}
        self._from = np.array([index[a] for a, _ in self._best], dtype=np.int64)
        self._to = np.array([index[b] for _, b in self._best], dtype=np.int64)
        self._cost = np.array([HOP_COST - math.log(min(e.share, 1.0)) for e in self._best.values()])
        self._index = index
        self._before: dict[str, NDArray[np.int32]] = {}

    def to(self, line_id: str, *, without: str) -> list[Entry]:
        """Return the hops from the transmitter to a line, past another one; empty if there is no such way."""
        if line_id == SOURCE or line_id not in self._index:
            return []
        steps = self._steps("", line_id)
        if any(step.line_id == without for step in steps):
            steps = self._steps(without, line_id)
        return steps

    def _steps(self, without: str, line_id: str) -> list[Entry]:
        before, steps, at = self._search(without), [], self._index[line_id]
        while before[at] >= 0:
            steps.append(self._best[self._names[before[at]], self._names[at]])
            at = before[at]
        return steps[::-1]

    def _search(self, without: str) -> NDArray[np.int32]:
        """Return the name before each on the best ways, negative where there is none; none leads through one line."""
        if without not in self._before:
            barred = self._index[without] if without else -1
            kept = (self._from != barred) & (self._to != barred)
            count = len(self._names)
            graph = csr_array((self._cost[kept], (self._from[kept], self._to[kept])), shape=(count, count))
            _, before = dijkstra(graph, indices=np.array([self._index[SOURCE]]), return_predecessors=True)
            self._before[without] = before[0]
        return self._before[without]


def _hops(steps: Sequence[Entry], currents_a: dict[str, float]) -> tuple[Hop, ...]:
    """Return hops with what goes in, through the bond or junction, else the driving line's largest current.

    What comes out is the part of the line's own largest current that the hop explains, in phase with it.
    """
    return tuple(
        Hop(
            step,
            currents_a.get(step.from_line, 1.0) if math.isnan(step.feed_a) else step.feed_a,
            abs(step.share) * currents_a.get(step.line_id, abs(step.part_a)),
        )
        for step in steps
    )
