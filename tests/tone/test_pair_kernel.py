"""One pair's entries: order of the pair, layers that are one soil, what electrodes carry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.tone.integrals import self_integrals, wire_pair_integrals
from corridor.tone.pair_kernel import DEPTH_FLOOR_M, layer_entries, pair_sections, soil_entries
from tests.tone.grids import Grid

ONE = Grid(streets=2)
EQUAL = Grid(streets=2, soil=ONE.soil | {"top_thickness_m": 0.8, "lower_resistivity_ohm_m": 80.0})
LAYERS = Grid(streets=2, soil=ONE.soil | {"top_thickness_m": 0.8, "lower_resistivity_ohm_m": 500.0})
N = ONE.layout.n_sections
pairs = st.tuples(st.integers(0, N - 1), st.integers(0, N - 1)).filter(lambda pair: pair[0] != pair[1])
often = settings(max_examples=80, deadline=None)


def entries(grid: Grid, i: int, j: int) -> tuple[complex, complex]:
    kernel = grid.kernel
    direct, image = wire_pair_integrals(i, j, kernel.wires)
    soil, layers = kernel.ground
    if layers.lower.size:
        return layer_entries((i, j), (direct, image, direct), kernel.sections, kernel.ground)
    return soil_entries((i, j), (direct, image, direct), kernel.sections, soil)


@often
@given(pairs)
@pytest.mark.parametrize("grid", [ONE, LAYERS], ids=["one soil", "two layers"])
def test_the_order_of_a_pair_does_not_matter(grid: Grid, pair: tuple[int, int]) -> None:
    # reciprocity, to rounding: the exact form divides by the square of the angle, which costs small angles digits
    one, other = entries(grid, *pair), entries(grid, *pair[::-1])
    assert one[0] == pytest.approx(other[0], rel=1e-5, abs=1e-9)
    assert one[1] == pytest.approx(other[1], rel=1e-5)


@often
@given(pairs)
def test_equal_layers_are_one_soil(pair: tuple[int, int]) -> None:
    one, two = entries(ONE, *pair), entries(EQUAL, *pair)
    # tolerance: two layers are read from a coarser table, to the bar of tests/tone/test_layer_matrices.py
    scale = abs(ONE.matrices[0][0, 0])
    assert abs(one[0] - two[0]) < 3e-3 * abs(one[0]) + 1e-4 * scale
    assert abs(one[1] - two[1]) < 3e-3 * abs(one[1])


def test_all_kinds_of_pairs_are_there() -> None:
    lower = LAYERS.kernel.ground[1].lower
    assert 0 < lower.sum() < N
    assert LAYERS.ends[3].any()


@pytest.mark.parametrize("grid", [ONE, LAYERS], ids=["one soil", "two layers"])
def test_electrodes_carry_nothing_along(grid: Grid) -> None:
    rod = int(np.flatnonzero(grid.ends[3])[0])
    along, leak = entries(grid, rod, 5)
    assert along == 0.0
    assert leak.real > 0.0


def test_the_leak_of_a_pair_has_its_own_integral() -> None:
    kernel = ONE.kernel
    metal, outer = (values[7] for values in self_integrals(kernel.wires))
    own = soil_entries((7, 7), (metal, 0.1, outer), kernel.sections, kernel.ground[0])
    bare = soil_entries((7, 7), (metal, 0.1, metal), kernel.sections, kernel.ground[0])
    assert own[0] == bare[0]
    length = kernel.sections.length[7]
    assert bare[1] - own[1] == pytest.approx(kernel.ground[0].leakage_factor * (metal - outer) / length**2, rel=1e-6)


def test_sections_are_read_at_their_middle_and_two_gauss_points() -> None:
    start, end = np.array([[0.0, 0.0, 0.0]]), np.array([[2.0, 0.0, 0.0]])
    sections = pair_sections(start, end, np.array([True]))
    # Gauss, two points: the mean of a cubic is exact
    x = sections.points[0, :, 0]
    assert x[0] == 1.0
    assert np.mean(x[1:] ** 3) == pytest.approx(2.0)
    assert np.all(sections.points[0, :, 2] == DEPTH_FLOOR_M)
    assert sections.tangent.tolist() == [[1.0, 0.0, 0.0]]
    assert sections.length.tolist() == [2.0]
