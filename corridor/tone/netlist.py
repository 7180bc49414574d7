"""The tone network as a SPICE netlist, so that any circuit simulator can judge the solution.

SPICE has no complex gains. Section by section a current is sensed in a 0 V source and fed once through an inductor of
1/omega henries, whose voltage is then j times the current. Real and imaginary parts of Z and P become controlled
sources from these two, added up as currents in one ohm; so no matrix needs a sign, as coupled inductors would.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import TWO_PI
from corridor.errors import DomainError
from corridor.tone.layout import Layout, as_impedances, finite_array

__all__ = ["netlist"]

Complex = NDArray[np.complex128]


def netlist(
    layout: Layout,
    z_ohm: ArrayLike,
    p_ohm: ArrayLike,
    element_ohm: ArrayLike,
    *,
    frequency_hz: float,
    injection_a: ArrayLike,
    emf_v: ArrayLike | None = None,
    title: str = "tone network",
) -> str:
    """Write a network with one set of sources as a SPICE netlist for an AC analysis at one frequency.

    Parameters
    ----------
    layout : Layout
        Sections, nodes and elements.
    z_ohm, p_ohm : array_like of complex, shape (n, n), ohm
        As `corridor.tone.tree.factorise` takes them.
    element_ohm : array_like of complex, shape (m,), ohm
        Impedances of the elements at this frequency. Each becomes a resistor with an inductor or a capacitor, one of
        zero a 0 V source (simulators replace 0 ohm resistors by small ones), and an open one is left out.
    frequency_hz : float
        Frequency, > 0. The netlist holds at this one only: its parts don't vary with frequency as the real ones do.
    injection_a : array_like of complex, shape (nodes,), A
        Current fed into each node.
    emf_v : array_like of complex, shape (n,), V, optional
        Voltage in series in each section, driving current from its head to its tail.
    title : str
        First line of the netlist.

    Returns
    -------
    str
        Node k of the layout is node ``n<k>``, against remote earth 0. The current of section i is that of the source
        ``vi<i>``, its leak that of ``vq<i>``, the current of element e that of ``ve<e>``. Elements SPICE itself leaves
        out are named in comments.

    Raises
    ------
    DomainError
        If a shape is wrong, a value isn't finite or the frequency isn't positive.
    """
    if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
        message = f"frequency_hz must be a positive number of hertz, got {frequency_hz}"
        raise DomainError(message)
    n = layout.n_sections
    z, p = finite_array(z_ohm, "z_ohm", (n, n)), finite_array(p_ohm, "p_ohm", (n, n))
    injection = finite_array(injection_a, "injection_a", (layout.n_nodes,))
    emf = np.zeros(n, dtype=np.complex128) if emf_v is None else finite_array(emf_v, "emf_v", (n,))
    element = as_impedances(element_ohm, layout.n_elements)
    lines = [title.replace("\n", " ")]
    lines += _sections(layout, TWO_PI * frequency_hz, emf)
    lines += ["* drops along the sections", *_products("u", "vi", "j", z)]
    lines += ["* potentials of the leaks", *_products("w", "vq", "k", p)]
    lines += ["* elements", *_elements(layout, TWO_PI * frequency_hz, element)]
    lines += ["* currents fed in"]
    lines += [f"if{k} 0 n{k} dc 0 {_phasor(injection[k])}" for k in np.flatnonzero(injection)]
    return "\n".join([*lines, f".ac lin 1 {frequency_hz!r} {frequency_hz!r}", ".end", ""])


def _text(value: float) -> str:
    """Write a number with all its digits."""
    return repr(float(value))


def _phasor(value: complex) -> str:
    return f"ac {_text(abs(value))} {_text(math.degrees(math.atan2(value.imag, value.real)))}"


def _sections(layout: Layout, omega: float, emf: Complex) -> Iterator[str]:
    """Yield the branches of the sections: along, from the mean of both nodes to the soil, and the copies times j."""
    for i, head in enumerate(layout.start_node.tolist()):
        tail = head + 1
        yield f"* section {i}"
        yield f"vi{i} n{head} a{i} dc 0"
        yield f"eu{i} a{i} b{i} u{i} 0 1"
        yield f"vs{i} n{tail} b{i} dc 0 {_phasor(emf[i])}" if emf[i] else f"vs{i} n{tail} b{i} dc 0"
        yield f"em{i} m{i} 0 n{head} 0 0.5"
        yield f"en{i} c{i} m{i} n{tail} 0 0.5"
        yield f"vq{i} c{i} d{i} dc 0"
        yield f"ew{i} d{i} 0 w{i} 0 1"
        yield f"fh{i} n{head} 0 vq{i} 0.5"
        yield f"ft{i} n{tail} 0 vq{i} 0.5"
        for copy, source in (("j", "vi"), ("k", "vq")):
            yield f"f{copy}{i} 0 {copy}{i} {source}{i} 1"
            yield f"l{copy}{i} {copy}{i} 0 {_text(1 / omega)}"


def _products(total: str, source: str, turned: str, matrix: Complex) -> Iterator[str]:
    """Yield one ohm per row, fed with real parts times the currents and imaginary parts times the currents times j."""
    for i, row in enumerate(matrix):
        yield f"r{total}{i} {total}{i} 0 1"
        for j, value in enumerate(row.tolist()):
            if value.real:
                yield f"f{total}{i}_{j} 0 {total}{i} {source}{j} {_text(value.real)}"
            if value.imag:
                yield f"g{total}{i}_{j} 0 {total}{i} {turned}{j} 0 {_text(value.imag)}"


def _elements(layout: Layout, omega: float, element: Complex) -> Iterator[str]:
    for e, value in enumerate(element.tolist()):
        a, b = f"n{layout.node_a[e]}", f"n{layout.node_b[e]}"
        if math.isinf(value.real):
            yield f"* element {e} is open"
            continue
        resistance, reactance = value.real, value.imag
        after = f"e{e}" if resistance or reactance else b
        yield f"ve{e} {a} {after} dc 0"
        if resistance:
            middle = f"h{e}" if reactance else b
            yield f"re{e} {after} {middle} {_text(resistance)}"
            after = middle
        if reactance > 0:
            yield f"le{e} {after} {b} {_text(reactance / omega)}"
        elif reactance < 0:
            yield f"ce{e} {after} {b} {_text(-1 / (omega * reactance))}"
