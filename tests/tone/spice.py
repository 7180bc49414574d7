"""A netlist read and solved by modified nodal analysis (textbook), for where no simulator is installed."""

from collections.abc import Iterator

import numpy as np

from corridor.tone.layout import Layout, Solution

NODES = {"r": 2, "l": 2, "c": 2, "v": 2, "i": 2, "e": 2, "f": 2, "g": 2}


def parts(text: str) -> Iterator[tuple[str, list[str], list[str]]]:
    """Yield each part of a netlist: its name, its two nodes and the rest of its line."""
    for line in text.splitlines()[1:]:
        if line and line[0] not in "*.":
            name, *words = line.split()
            assert name[0] in NODES
            yield name, words[:2], words[2:]


def phasor(words: list[str]) -> complex:
    """Return what follows ``ac`` as a complex number."""
    if "ac" not in words:
        return 0j
    size, degrees = map(float, words[words.index("ac") + 1 :][:2])
    return size * np.exp(1j * np.radians(degrees))


def run(text: str) -> dict[str, complex]:
    """Return node voltages and the currents of sources, named as ngspice names them."""
    omega = 2 * np.pi * float(next(line for line in text.splitlines() if line.startswith(".ac")).split()[-1])
    network = list(parts(text))
    node = {name: at for at, name in enumerate(dict.fromkeys(n for _, pair, _ in network for n in pair if n != "0"))}
    branch = {name: len(node) + at for at, name in enumerate(n for n, _, _ in network if n[0] in "vel")}
    ground = len(node) + len(branch)
    system = np.zeros((ground + 1, ground + 1), dtype=complex)
    right = np.zeros(ground + 1, dtype=complex)

    def place(name: str) -> int:
        return ground if name == "0" else node[name]

    for name, pair, rest in network:
        a, b = map(place, pair)
        kind, own = name[0], branch.get(name)
        if own is not None:
            system[[a, b], own] += 1, -1
            system[own, [a, b]] += 1, -1
        if kind in "rc":
            value = float(rest[0])
            admittance = 1 / value if kind == "r" else 1j * omega * value
            system[[a, a, b, b], [a, b, a, b]] += admittance * np.array([1, -1, -1, 1])
        elif kind == "l":
            system[own, own] -= 1j * omega * float(rest[0])
        elif kind == "v":
            right[own] = phasor(rest)
        elif kind == "i":
            right[[a, b]] += np.array([-1, 1]) * phasor(rest)
        elif kind == "f":
            system[[a, b], branch[rest[0]]] += np.array([1, -1]) * float(rest[1])
        else:
            plus, minus, gain = place(rest[0]), place(rest[1]), float(rest[2])
            if kind == "e":
                system[own, [plus, minus]] -= np.array([1, -1]) * gain
            else:
                system[[a, a, b, b], [plus, minus, plus, minus]] += gain * np.array([1, -1, -1, 1])
    values = np.linalg.solve(system[:ground, :ground], right[:ground])
    found = {f"v({name})": values[at] for name, at in node.items()}
    return found | {f"i({name})": values[at] for name, at in branch.items()}


def as_solution(layout: Layout, found: dict[str, complex]) -> Solution:
    """Return what a simulator found in the engine's own form; a source's current runs from + to -, as ours do."""

    def column(stem: str, count: int, *, absent: complex | None = None) -> np.ndarray:
        names = [f"{stem}{i})" for i in range(count)]
        return np.array([found[name] if absent is None else found.get(name, absent) for name in names])[:, np.newaxis]

    return Solution(
        column("i(vi", layout.n_sections),
        column("i(vq", layout.n_sections),
        column("i(ve", layout.n_elements, absent=0j),  # open elements are left out
        column("v(n", layout.n_nodes),
    )
