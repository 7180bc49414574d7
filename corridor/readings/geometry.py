"""Depths and places of lines as they may be instead: a two-level design, so that few networks tell every effect.

Each line's depth and its place across its direction go up or down by one standard deviation, in the columns of a
Hadamard matrix (Plackett and Burman 1946, The design of optimum multifactorial experiments, Biometrika 33:305, from
memory). As its columns are orthogonal, the mean product of the deviations of two readings is exactly the covariance
that all depths and places together give them, as far as readings change in proportion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import hadamard

from corridor.settings import ReadingSettings
from corridor.tone.assemble import DEPTH_FLOOR_M
from corridor.tone.field import left_of
from corridor.tone.model import ToneModel

__all__ = ["design", "moved", "redrawn_models"]

Real = NDArray[np.float64]


def design(lines: int, *, most: int) -> Real:
    """Return levels of -1 and 1, shape (runs, 2, lines): depth and place of each line in each run.

    Parameters
    ----------
    lines : int
        How many may lie elsewhere.
    most : int
        Runs at most: with fewer than 2 lines + 1 the last lines stay where they are, level 0.

    Returns
    -------
    ndarray, shape (runs, 2, lines)
        ``runs`` is a power of two; every column that isn't zero sums to zero and is orthogonal to the others.
    """
    runs = 1
    while runs <= 2 * lines and 2 * runs <= most:
        runs *= 2
    levels = np.zeros((runs, 2 * lines))
    columns = min(runs - 1, 2 * lines) // 2 * 2
    levels[:, :columns] = hadamard(runs)[:, 1 : columns + 1]
    return levels.reshape(runs, lines, 2).transpose(0, 2, 1)


def moved(model: ToneModel, depth_factor: Real, aside_m: Real) -> ToneModel:
    """Return a network whose lines lie elsewhere; electrodes stay, people see where they stand.

    Parameters
    ----------
    model : ToneModel
        As recorded.
    depth_factor : ndarray, shape (lines,)
        What each line's depth is multiplied by.
    aside_m : ndarray, shape (lines,) or (lines, 2)
        How far each line lies to the left of where the records have it, square to its chord; or its shift in plan.

    Returns
    -------
    ToneModel
    """
    shift = aside_m[:, None] * _left(model) if aside_m.ndim == 1 else aside_m
    own = slice(model.n_conducting)
    index = model.line_index[own]
    places = []
    for points in (model.start_m, model.end_m):
        changed = points.copy()
        changed[own, :2] += shift[index]
        changed[own, 2] = np.maximum(changed[own, 2] * depth_factor[index], DEPTH_FLOOR_M)
        places.append(changed)
    return replace(model, start_m=places[0], end_m=places[1])


def redrawn_models(model: ToneModel, order: Sequence[int], settings: ReadingSettings) -> list[ToneModel]:
    """Return the networks of the design.

    Parameters
    ----------
    model : ToneModel
        As recorded.
    order : sequence of int
        Lines by what hangs on them, the most first: where the runs don't suffice for all, the last ones stay.
    settings : ReadingSettings
        Spreads, and how many networks at most.

    Returns
    -------
    list of ToneModel
    """
    levels = design(len(order), most=settings.geometries)
    models = []
    for depth, aside in levels:
        spread = np.zeros((2, len(model.line_ids)))
        spread[:, list(order)] = depth * settings.depth_spread, aside * settings.position_m
        models.append(moved(model, np.exp(spread[0]), spread[1]))
    return models


def _left(model: ToneModel) -> Real:
    """Return the unit vector to the left of each line's chord, (lines, 2); of a closed line, of its first section."""
    left = np.zeros((len(model.line_ids), 2))
    for number, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        if own.size:
            chord = model.end_m[own[-1], :2] - model.start_m[own[0], :2]
            if np.hypot(*chord) < 1.0:
                chord = model.end_m[own[0], :2] - model.start_m[own[0], :2]
            left[number] = left_of(chord[None])[0]
    return left
