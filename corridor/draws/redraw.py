"""A network as one draw has it: soil, coatings, depths, positions, grounds, and what conducts."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corridor.draws.sample import Draws
from corridor.tone.assemble import DEPTH_FLOOR_M
from corridor.tone.conductors import Conductor
from corridor.tone.field import left_of
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.stations import Stations

__all__ = ["Redrawn", "redrawn"]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Redrawn:
    """One redrawn network.

    Attributes
    ----------
    model : ToneModel
        Its ``states`` are the draws' (``draw 0``, ...).
    soil : SoilRange
        As drawn; low and high are the same.
    shift_m : ndarray, shape (lines, 2)
        How far each line lies from where the records have it.
    depth_factor : ndarray, shape (lines,)
        Its depth over the recorded one.
    """

    model: ToneModel
    soil: SoilRange
    shift_m: Real
    depth_factor: Real

    def moved(self, stations: Stations) -> Stations:
        """Return the stations over a line where this draw has it."""
        number = self.model.line_ids.index(stations.line_id)
        return replace(
            stations,
            xy_m=stations.xy_m + self.shift_m[number],
            depth_m=max(stations.depth_m * float(self.depth_factor[number]), DEPTH_FLOOR_M),
        )


def redrawn(model: ToneModel, soil: SoilRange, draws: Draws, geometry: int) -> Redrawn:
    """Return the network of some draws.

    Grounds and hook-ups stay where they are: people see them. A line moves as a whole, square to its chord.

    Parameters
    ----------
    model : ToneModel
        As recorded.
    soil : SoilRange
        As recorded.
    draws : Draws
    geometry : int
        Which of the redrawn networks.

    Returns
    -------
    Redrawn
    """
    members = draws.members(geometry)
    first = draws.value[members[0]]
    lines = len(model.line_ids)
    factors = {kind: np.ones(lines) for kind in ("coating", "depth")}
    aside, rods, rho = np.zeros(lines), np.ones(len(model.electrodes)), 1.0
    for unknown, value in zip(draws.unknowns, first, strict=True):
        if unknown.kind in factors:
            factors[unknown.kind][unknown.index] = value
        elif unknown.kind == "position":
            aside[unknown.index] = value
        elif unknown.kind == "ground resistance":
            rods[unknown.index] = value
        elif unknown.kind == "soil":
            rho = float(value)
    shift = aside[:, None] * _square(model)
    start, end = (_moved(points, model, shift, factors["depth"]) for points in (model.start_m, model.end_m))
    changed = replace(
        model,
        start_m=start,
        end_m=end,
        conductors=tuple(_coated(c, f) for c, f in zip(model.conductors, factors["coating"], strict=True)),
        electrodes=tuple(
            replace(rod, resistance_ohm=rod.resistance_ohm * rho * factor)
            for rod, factor in zip(model.electrodes, rods, strict=True)
        ),
        states={f"draw {k}": _state(model, draws, k) for k in members},
    )
    resistivity = soil.nominal_ohm_m * rho
    below = soil.lower_ohm_m * rho
    drawn = replace(soil, nominal_ohm_m=resistivity, low_ohm_m=resistivity, high_ohm_m=resistivity, lower_ohm_m=below)
    return Redrawn(changed, drawn, shift, factors["depth"])


def _square(model: ToneModel) -> Real:
    """Return for each line the unit vector to the left of its chord, (lines, 2); of a loop, of its first piece."""
    left = np.zeros((len(model.line_ids), 2))
    for number, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        if own.size:
            chord = model.end_m[own[-1], :2] - model.start_m[own[0], :2]
            if np.hypot(*chord) < 1.0:
                chord = model.end_m[own[0], :2] - model.start_m[own[0], :2]
            left[number] = left_of((chord / np.hypot(*chord))[None])[0]
    return left


def _moved(points: Real, model: ToneModel, shift: Real, depth_factor: Real) -> Real:
    own = slice(model.n_conducting)
    index = model.line_index[own]
    result = points.copy()
    result[own, :2] += shift[index]
    result[own, 2] = np.maximum(result[own, 2] * depth_factor[index], DEPTH_FLOOR_M)
    return result


def _coated(conductor: Conductor, factor: float) -> Conductor:
    cover = conductor.cover
    if cover is not None:
        cover = replace(cover, conductivity_s_per_m=cover.conductivity_s_per_m * factor)
    return replace(conductor, cover=cover, leakage_s_per_m=conductor.leakage_s_per_m * factor)


def _state(model: ToneModel, draws: Draws, number: int) -> NDArray[np.bool_]:
    closed = np.array([element.closed for element in model.elements], dtype=np.bool_)
    for unknown, value in zip(draws.unknowns, draws.value[number], strict=True):
        if unknown.switches:
            closed[unknown.index] = value > 0
    return closed
