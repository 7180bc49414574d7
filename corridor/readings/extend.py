"""A network with room for what no record shows: open bonds, spare ground rods and places where a line may part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corridor.tone.assemble import CONTACT_OHM, JUNCTION_OHM, ROD_RADIUS_M
from corridor.tone.drive import Drive
from corridor.tone.layout import Layout
from corridor.tone.model import Electrode, Element, SoilRange, ToneModel

__all__ = ["SPARE", "Contact", "Extended", "Parting", "Rod", "extended"]

SPARE = "spare"  # evidence of the elements that are put in: nobody has recorded them
SPARE_ROD_M = 1.5  # length of an electrode that no record shows (engineering estimate)
WITHIN_LAYER = 0.9  # of the top layer that such a rod may reach into


@dataclass(frozen=True)
class Contact:
    """Two places that metal may join: line and distance along it, m."""

    line_a: str
    at_a_m: float
    line_b: str
    at_b_m: float


@dataclass(frozen=True)
class Rod:
    """A place of a line that may be grounded: line, distance along it (m), and where the rod stands, site's CRS, m."""

    line_id: str
    at_m: float
    xy_m: tuple[float, float]


@dataclass(frozen=True)
class Parting:
    """A place where a line may be parted: the head of one of its sections."""

    section: int


@dataclass(frozen=True)
class Extended:
    """The network with what was put in, all of it without effect as it stands.

    Attributes
    ----------
    model : ToneModel
        The elements that were there keep their places in ``elements``.
    drives : tuple of Drive
        The hook-ups, on this model's nodes.
    index : tuple of int
        Element of each thing put in, in the order in which they were given.
    """

    model: ToneModel
    drives: tuple[Drive, ...]
    index: tuple[int, ...]


def extended(
    model: ToneModel, drives: Sequence[Drive], things: Sequence[Contact | Rod | Parting], *, soil: SoilRange
) -> Extended:
    """Put open bonds, unconnected rods and closed joints into a network.

    A rod that nothing is connected to leaks nothing, and a joint of a ten-thousandth of an ohm parts nothing: the
    solution stays what it was, until an element is switched.

    Parameters
    ----------
    model : ToneModel
        The network.
    drives : sequence of Drive
        Hook-ups on it.
    things : sequence of Contact, Rod or Parting
        What to make room for.
    soil : SoilRange
        Rods stay in its top layer.

    Returns
    -------
    Extended

    Raises
    ------
    DomainError
        If a line isn't in the model.
    """
    cuts = sorted({thing.section for thing in things if isinstance(thing, Parting)})
    wider, new_node = _parted(model, np.array(cuts, dtype=np.int64))
    rods = [thing for thing in things if isinstance(thing, Rod)]
    wider = _with_rods(wider, rods, soil)
    first_rod = wider.layout.n_nodes - 2 * len(rods)
    elements = list(wider.elements)
    index, rod = [], 0
    for thing in things:
        index.append(len(elements))
        if isinstance(thing, Contact):
            ends = (wider.node_at(thing.line_a, thing.at_a_m), wider.node_at(thing.line_b, thing.at_b_m))
            elements.append(_open("hidden_bond", (thing.line_a, thing.line_b), ends))
        elif isinstance(thing, Rod):
            ends = (wider.node_at(thing.line_id, thing.at_m), first_rod + 2 * rod)
            elements.append(_open("hidden_ground", (thing.line_id, thing.line_id), ends))
            rod += 1
        else:
            elements.append(_joint(wider, thing.section))
    moved = [
        replace(drive, node=_moved(drive.node, new_node), return_node=_moved(drive.return_node, new_node))
        for drive in drives
    ]
    return Extended(wider.with_elements(tuple(elements)), tuple(moved), tuple(index))


def _moved(node: int, new_node: NDArray[np.int64]) -> int:
    return int(new_node[node]) if node >= 0 else node


def _open(kind: str, lines: tuple[str, str], ends: tuple[int, int]) -> Element:
    return Element(
        kind=kind,
        source_id="",
        line_a=lines[0],
        line_b=lines[1],
        node_a=ends[0],
        node_b=ends[1],
        closed=False,
        switchable=False,
        closed_ohm=CONTACT_OHM,
        evidence=SPARE,
    )


def _joint(model: ToneModel, section: int) -> Element:
    """Return the closed joint at the head of a section, whose chain begins there."""
    line = model.line_ids[model.line_index[section]]
    head = int(model.layout.start_node[section])
    return replace(_open("joint_open", (line, line), (head - 1, head)), closed=True, closed_ohm=JUNCTION_OHM)


def _parted(model: ToneModel, cuts: NDArray[np.int64]) -> tuple[ToneModel, NDArray[np.int64]]:
    """Part chains at the heads of sections; return also the new number of each old node.

    What was connected at a parted node stays with the section before it.
    """
    layout = model.layout
    old = layout.start_node[cuts]
    new_node = np.arange(layout.n_nodes) + np.searchsorted(old, np.arange(layout.n_nodes), side="left")
    if not cuts.size:
        return model, new_node
    chain = layout.chain + np.searchsorted(cuts, np.arange(layout.n_sections), side="right")
    elements = tuple(replace(e, node_a=int(new_node[e.node_a]), node_b=int(new_node[e.node_b])) for e in model.elements)
    parted = replace(
        model,
        layout=Layout(chain, new_node[layout.node_a], new_node[layout.node_b]),
        elements=elements,
        node_of={name: int(new_node[node]) for name, node in model.node_of.items()},
    )
    return parted, new_node


def _with_rods(model: ToneModel, rods: Sequence[Rod], soil: SoilRange) -> ToneModel:
    """Add electrodes of one section each, after all others."""
    if not rods:
        return model
    top = soil.top_thickness_m
    length = SPARE_ROD_M if math.isnan(top) else min(SPARE_ROD_M, WITHIN_LAYER * top)
    xy = np.array([rod.xy_m for rod in rods]) - model.origin_m
    zero = np.zeros((len(rods), 1))
    last = int(model.layout.chain[-1])
    layout = Layout(
        np.concatenate((model.layout.chain, last + 1 + np.arange(len(rods)))), model.layout.node_a, model.layout.node_b
    )
    electrodes = tuple(
        Electrode(f"{SPARE}|{number}", rod.line_id, rod.xy_m, length, ROD_RADIUS_M) for number, rod in enumerate(rods)
    )
    owner = np.array([model.line_ids.index(rod.line_id) for rod in rods], dtype=np.int64)
    return replace(
        model,
        layout=layout,
        start_m=np.concatenate((model.start_m, np.hstack((xy, zero)))),
        end_m=np.concatenate((model.end_m, np.hstack((xy, zero + length)))),
        line_index=np.concatenate((model.line_index, owner)),
        electrodes=(*model.electrodes, *electrodes),
        measure_m=np.concatenate((model.measure_m, np.full((len(rods), 2), np.nan))),
    )
