"""Networks solved in blocks of low rank, against the nodal form with the whole matrices.

The judge is another formulation (Otero, Cidras, del Alamo 1999, IEEE Transactions on Power Delivery) and another solver
(LAPACK's inverse and solution, through numpy). It has no bond of zero ohms and no open one: these are a milliohm and a
gigaohm for both. Ground rods get a microohm along them, by which it must divide.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from corridor.tone.large import factorise_blocks
from corridor.tone.layout import Solution
from tests.tone.grids import Complex, Grid
from tests.tone.networks import Network, nodal

SOURCE = "nodal form of Otero, Cidras, del Alamo 1999, whole matrices, by LAPACK through numpy"
ROD_OHM = 1e-6
# of the largest; compression is to 1e-6 of the norm of a block, and the blocks between groups are the smaller ones
BARS = {"current_a": 1e-6, "leak_a": 3e-6, "element_a": 1e-6, "node_v": 1e-6}
WORDS = {
    "current_a": "currents along the sections",
    "leak_a": "leaks",
    "element_a": "currents through bonds",
    "node_v": "potentials",
}


def element_ohm(grid: Grid) -> Complex:
    ohms = np.where(np.isinf(grid.element_ohm), 1e9, grid.element_ohm)
    return np.where(ohms == 0.0, 1e-3, ohms)


@cache
def both(streets: int, frequency_hz: float) -> tuple[Grid, Solution, Solution]:
    grid = Grid(streets=streets, frequency_hz=frequency_hz)
    clusters, z, p = grid.compressed(size=200)
    in_blocks = factorise_blocks(grid.layout, clusters, (z, p), element_ohm(grid), residual=1e-8)
    rods = np.flatnonzero(grid.ends[3])
    whole_z, whole_p = grid.matrices[0].copy(), grid.matrices[1]
    whole_z[rods, rods] = ROD_OHM
    sources = grid.sources()
    return grid, in_blocks.solve(*sources), nodal(Network(grid.layout, whole_z, whole_p, element_ohm(grid)), *sources)


THOROUGH = [pytest.param(4, frequency_hz, marks=pytest.mark.thorough) for frequency_hz in (1e3, 10e3, 100e3)]


@pytest.mark.parametrize(("streets", "frequency_hz"), [(3, 10e3), *THOROUGH])
@pytest.mark.parametrize("name", BARS)
def test_a_grid_of_streets(agrees: Callable[..., None], name: str, streets: int, frequency_hz: float) -> None:
    grid, ours, reference = both(streets, frequency_hz)
    one, other = getattr(ours, name), getattr(reference, name)
    unit = "V" if name == "node_v" else "A"
    agrees(
        f"{grid.layout.n_sections} sections, {frequency_hz:g} Hz: {WORDS[name]}, of the largest",
        one,
        other,
        within=BARS[name],
        of=np.abs(other).max(axis=0),
        unit=unit,
        source=SOURCE,
    )
