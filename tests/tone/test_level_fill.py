"""Entries of level pairs against the pair kernel that gives them one by one, and against closed forms."""

import math
from typing import Any

import numba
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.tone.earth import (
    air_reflection,
    complex_conductivity,
    potential_kernel_f,
    propagation_constant,
    vector_kernel_t,
)
from corridor.tone.integrals import inverse_distance_integrals, wire_sections
from corridor.tone.level_fill import fill_level_pairs, has_row
from corridor.tone.matrices import section_kernel
from corridor.tone.pair_kernel import soil_entries

Array = NDArray[np.float64]

SOILS = [(30.0, 100e3), (80.0, 500.0), (1000.0, 200e3)]
DEPTHS = (0.6, 1.1, 1.8)
SLOPING = 3


def street(seed: int) -> tuple[Array, Array]:
    """Level sections at three depths, enough for rows of their own, and a few that slope."""
    rng = np.random.default_rng(seed)
    count = 45
    depth = np.repeat(DEPTHS, count)
    start = np.column_stack([rng.uniform(0, 120, (len(depth), 2)), depth])
    angle = rng.uniform(0, TWO_PI, len(depth))
    step = rng.uniform(0.8, 2.5, len(depth))[:, None] * np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    step[:SLOPING, 2] = 0.3
    return start, start + step


def parts(start: Array, end: Array, soil: tuple[float, float]) -> tuple[Any, Any, Any]:
    """Sections, soil and integrals as the kernel takes them; the last section is an electrode."""
    n = len(start)
    radius, each = np.full(n, 0.02), np.arange(n)
    kernel = section_kernel(
        start,
        end,
        wires=wire_sections(start, end, radius_m=radius, outer_radius_m=radius, chain=each),
        series_ohm_per_m=np.zeros(n),
        coating_s_per_m=np.full(n, np.inf),
        electrode=each == n - 1,
        electrode_ohm=np.full(n, np.nan),
        frequency_hz=soil[1],
        resistivity_ohm_m=soil[0],
    )
    known = inverse_distance_integrals(start, end, radius_m=radius, outer_radius_m=radius, chain=each)
    return kernel.sections, kernel.ground[0], (known.direct, known.image, known.leakage_diagonal)


def filled(start: Array, end: Array, soil: tuple[float, float]) -> NDArray[np.complex128]:
    out = np.full((2, len(start), len(start)), np.nan + 0j)
    fill_level_pairs(*parts(start, end, soil), out)
    return out


@pytest.mark.parametrize("soil", SOILS)
def test_every_entry_is_the_pair_kernels(soil: tuple[float, float]) -> None:
    start, end = street(1)
    sections, ground, (direct, image, own) = parts(start, end, soil)
    out = filled(start, end, soil)
    rng = np.random.default_rng(2)
    for i, j in [*rng.integers(0, len(start), (300, 2)), (5, 5), (len(start) - 1, 7)]:
        a, b = min(i, j), max(i, j)
        given = (direct[a, b], image[a, b], own[a] if a == b else direct[a, b])
        expected = soil_entries((int(a), int(b)), given, sections, ground)
        if a < SLOPING:
            assert np.isnan(out[:, i, j]).all()
        else:
            np.testing.assert_allclose(out[:, i, j], expected, rtol=1e-12)


@pytest.mark.parametrize("soil", [(80.0, 500.0), (250.0, 1e3)])
def test_a_far_pair_is_the_kernels_times_both_lengths(soil: tuple[float, float]) -> None:
    start, end = street(3)
    start[-2], end[-2] = (0.0, 0.0, DEPTHS[2]), (0.3, 0.0, DEPTHS[2])
    start[-5], end[-5] = (12.0, 4.0, DEPTHS[2]), (12.3, 4.0, DEPTHS[2])
    out = filled(start, end, soil)[:, -2, -5]
    rho, both = math.hypot(12.0, 4.0), 2 * DEPTHS[2]
    gamma, reflection = complex(propagation_constant(*soil)), complex(air_reflection(*soil))
    image = math.hypot(rho, both)
    direct = np.exp(-gamma * rho) / rho - np.exp(-gamma * image) / image
    # g_A and g_K of the half space (Foster 1931; Sunde 1949, Earth Conduction Effects), without the wave in the air,
    # which is 4 % of the potential at 100 kHz
    vector = direct + vector_kernel_t(rho, both, gamma)
    potential = direct + (1 + reflection) * potential_kernel_f(rho, both, gamma)
    series, leakage = 2j * math.pi * soil[1] * MU_0 / (4 * math.pi), 1 / (4 * math.pi * complex_conductivity(*soil))
    # bar: what a table may cost, 5e-4 of the static kernel, and as much for middles in place of lengths
    assert abs(out[0] - series * 0.3**2 * vector) < 1e-3 * abs(series) * 0.3**2 / rho
    assert abs(out[1] - leakage * potential) < 1e-3 * abs(leakage) / rho


def test_matrices_are_symmetric_and_electrodes_carry_nothing() -> None:
    out = filled(*street(4), SOILS[1])[:, SLOPING:, SLOPING:]
    np.testing.assert_array_equal(out, np.swapaxes(out, 1, 2))
    assert not out[0, -1].any()
    assert np.isfinite(out).all()


def test_threads_change_nothing() -> None:
    start, end = street(5)
    before = numba.get_num_threads()
    together = filled(start, end, SOILS[0])
    numba.set_num_threads(1)
    try:
        alone = filled(start, end, SOILS[0])
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(together, alone)


def test_a_row_is_shared_by_level_sections_at_common_depths() -> None:
    depth_of, row_of = np.array([0, 1, -1]), np.array([[0, -1], [-1, 1]])
    shared = [[has_row.py_func(depth_of, row_of, i, j) for j in range(3)] for i in range(3)]
    assert shared == [[True, False, False], [False, True, False], [False, False, False]]
