"""Draws of everything unknown at once, spread evenly over each unknown's range (Latin hypercube)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from corridor.draws.unknowns import Unknown
from corridor.errors import DomainError

__all__ = ["Draws", "draw"]


@dataclass(frozen=True)
class Draws:
    """Values of u unknowns in n draws.

    Attributes
    ----------
    unknowns : tuple of Unknown
    value : ndarray, shape (n, u)
        Factors, metres, or 1 and 0.
    geometry : ndarray of int, shape (n,)
        Which of the redrawn networks each draw belongs to: what needs new matrices is drawn once for each of these.
    """

    unknowns: tuple[Unknown, ...]
    value: NDArray[np.float64]
    geometry: NDArray[np.int64]

    @property
    def n_geometries(self) -> int:
        """Number of redrawn networks."""
        return int(self.geometry.max()) + 1

    def members(self, geometry: int) -> NDArray[np.int64]:
        """Return the draws of one redrawn network."""
        return np.flatnonzero(self.geometry == geometry)


def draw(unknowns: Sequence[Unknown], *, count: int, geometries: int, seed: int) -> Draws:
    """Draw all unknowns by Latin hypercube (McKay, Beckman and Conover, Technometrics 21, 1979).

    What needs new matrices is a hypercube of ``geometries`` points, the rest one of ``count``.

    Parameters
    ----------
    unknowns : sequence of Unknown
    count : int
        Draws.
    geometries : int
        Redrawn networks, at most; the draws are dealt out to them in turn.
    seed : int
        The same seed gives the same draws.

    Returns
    -------
    Draws

    Raises
    ------
    DomainError
        If there is less than one draw or network.
    """
    if count < 1 or geometries < 1:
        message = f"expected 1 or more draws and networks, got {count} and {geometries}"
        raise DomainError(message)
    number = min(geometries, count)
    geometry = np.arange(count, dtype=np.int64) % number
    rng = np.random.default_rng(seed)
    once = _quantiles(number, len(unknowns), rng)[geometry]
    always = _quantiles(count, len(unknowns), rng)
    columns = [u.values((once if u.redraws else always)[:, k]) for k, u in enumerate(unknowns)]
    value = np.column_stack(columns) if columns else np.empty((count, 0))
    return Draws(tuple(unknowns), value, geometry)


def _quantiles(count: int, dimensions: int, rng: np.random.Generator) -> NDArray[np.float64]:
    if not dimensions:
        return np.empty((count, 0))
    points = qmc.LatinHypercube(dimensions, rng=rng).random(count)
    return np.clip(points, 1e-9, 1 - 1e-9)
