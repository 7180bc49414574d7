"""Two long lines side by side: the table of readings, recomputed by optimisation, and its sign rule.

Target 1 A at offset 0 and 1 m deep, neighbour k A at offset s and as deep; coils at 0 and 0.5 m above ground; no soil
currents. Source of the printed rows: own computation from B = mu_0 I/(2 pi r) (Ampere's law), none published.
"""

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

from corridor.constants import MU_0
from corridor.tone.field import field_matrices, profile_points
from corridor.tone.receiver import station_readings

OFFSETS_M = np.linspace(-2.5, 2.5, 41)
SPACING_M = 0.5
ROWS = [(s, k) for s in (0.5, 1.0, 2.0) for k in (0.1, 0.3, 0.5, -0.1, -0.3, -0.5)]

# separation m, share: peak m, null m, gap m, depth m, current A
PRINTED = {
    (0.5, 0.5): (0.146, 0.157, 0.011, 1.091, 1.553),
    (0.5, -0.5): (-0.169, -0.256, 0.088, 0.771, 0.483),
    (1.0, 0.1): (0.026, 0.050, 0.024, 1.058, 1.111),
    (1.0, 0.3): (0.082, 0.151, 0.069, 1.171, 1.354),
    (1.0, 0.5): (0.150, 0.255, 0.105, 1.282, 1.626),
    (1.0, -0.3): (-0.070, -0.152, 0.082, 0.826, 0.706),
    (1.0, -0.5): (-0.114, -0.260, 0.146, 0.709, 0.542),
    (2.0, 0.5): (0.042, 0.225, 0.183, 1.264, 1.393),
    (2.0, -0.5): (-0.038, -0.196, 0.157, 0.779, 0.702),
}


def horizontal(x: float, height: float, s: float, k: float) -> float:
    """Field along the profile in units of mu_0/(2 pi) T."""
    d = 1.0 + height
    return d / (x**2 + d**2) + k * d / ((x - s) ** 2 + d**2)


def vertical(x: float, s: float, k: float) -> float:
    return x / (x**2 + 1.0) + k * (x - s) / ((x - s) ** 2 + 1.0)


def optimised(s: float, k: float) -> tuple[float, float, float, float, float]:
    """Return the row by scipy's optimiser and root finder, without any of the receiver's code."""
    peak = float(minimize_scalar(lambda x: -horizontal(x, 0.0, s, k), bounds=(-0.4, 0.4), options={"xatol": 1e-10}).x)
    null = float(brentq(vertical, -0.45, 0.45, args=(s, k), xtol=1e-12))
    lower, upper = horizontal(peak, 0.0, s, k), horizontal(peak, SPACING_M, s, k)
    depth = SPACING_M * upper / (lower - upper)
    return peak, null, abs(peak - null), depth, depth * lower


@cache
def predicted(s: float, k: float) -> NDArray[np.float64]:
    """Return the row by sections of 6 km and the receiver."""
    start = np.array([[-3000.0, 0.0, 1.0], [-3000.0, s, 1.0]])
    current = np.array([1.0, k])
    rows = []
    for height in (0.0, SPACING_M):
        points, axis = profile_points([[0.0, 0.0]], [[1.0, 0.0]], OFFSETS_M, height_m=height)
        rows.append(field_matrices(points, start, np.add(start, [6000.0, 0.0, 0.0]), axis=axis))
    lower, upper = ((row.h_per_current @ current)[None, :, None] for row in rows)
    upward = (rows[0].v_per_current @ current)[None, :, None]
    reading = station_readings(lower, upper, upward, OFFSETS_M, coil_spacing_m=SPACING_M)
    names = ("peak_offset_m", "null_offset_m", "disagreement_m", "depth_m", "signed_current_a")
    return np.array([getattr(reading, name)[0, 0] for name in names])


def compare_rows(agrees: Callable[..., None], got: Any, expected: tuple[float, ...], source: str) -> None:
    # 2 mm on the ground, 0.5 % of depth and current: a tenth of what a crew can read off
    places = {"absolute": True, "within": 2e-3, "source": source, "unit": "m"}
    agrees("peak, null, gap", got[:3], expected[:3], **places)
    agrees("depth", got[3], expected[3], within=5e-3, source=source, unit="m")
    agrees("current", got[4], expected[4], within=5e-3, source=source, unit="A")


@pytest.mark.parametrize(("s", "k"), ROWS)
def test_readings_agree_with_the_optimised_row(agrees: Callable[..., None], s: float, k: float) -> None:
    # Ampere's law and scipy.optimize, all 18 rows
    compare_rows(agrees, predicted(s, k), optimised(s, k), "Ampere's law, scipy.optimize")


@pytest.mark.parametrize(("s", "k"), list(PRINTED))
def test_readings_and_optimiser_agree_with_the_printed_row(agrees: Callable[..., None], s: float, k: float) -> None:
    compare_rows(agrees, predicted(s, k), PRINTED[s, k], "own computation with Ampere's law, printed")
    assert optimised(s, k)[:3] == pytest.approx(PRINTED[s, k][:3], abs=2e-3)
    assert optimised(s, k)[3:] == pytest.approx(PRINTED[s, k][3:], rel=5e-3)


@pytest.mark.parametrize(("s", "k"), ROWS)
def test_same_sense_pulls_and_deepens_opposite_pushes_and_lifts(s: float, k: float) -> None:
    # sign rule of the trade (common practice), here for both sides
    for side in (1.0, -1.0):
        peak, null, _, depth, current = predicted(side * s, k)
        assert np.sign(side * peak) == np.sign(k)
        assert np.sign(side * null) == np.sign(k)
        assert np.sign(depth - 1.0) == np.sign(k)
        assert np.sign(current - 1.0) == np.sign(k)
        assert abs(null) > abs(peak)  # the null is pulled farther than the peak, which is why they disagree


@pytest.mark.parametrize("s", [0.5, 1.0, 2.0])
def test_more_bleed_pulls_more(s: float) -> None:
    pulls = [predicted(s, k)[0] for k in (-0.5, -0.3, -0.1, 0.1, 0.3, 0.5)]
    assert pulls == sorted(pulls)


def test_two_equal_currents_read_as_one_line_midway_and_half_deeper(agrees: Callable[..., None]) -> None:
    # s = 1 m, k = 1: by symmetry the merged peak stands midway; B_l = 2/1.25, B_u = 3/2.5, hence depth 1.5 m
    peak, _, _, depth, _ = predicted(1.0, 1.0)
    agrees("peak", peak, 0.5, absolute=True, within=2e-3, source="symmetry", unit="m")
    agrees("depth", depth, 1.5, within=5e-3, source="Ampere's law", unit="m")


def test_two_equal_peaks_part_at_two_depths_over_root_three() -> None:
    # second derivative of 1/(x^2 + 1) vanishes at x = 1/sqrt 3, so that the middle turns into a dip at s = 2/sqrt 3
    limit = 2.0 / math.sqrt(3.0)
    for s, parted in ((limit - 0.1, False), (limit + 0.1, True)):
        peak = predicted(s, 1.0)[0]
        assert bool(abs(peak - 0.5 * s) > 0.05) is parted


def test_single_line_is_exact() -> None:
    peak, null, gap, depth, current = predicted(1.0, 0.0)
    assert (peak, null, gap) == pytest.approx((0.0, 0.0, 0.0), abs=1e-4)
    assert (depth, current) == pytest.approx((1.0, 1.0), rel=1e-3)
    assert horizontal(1.0, 0.0, 1.0, 0.0) == pytest.approx(0.5)
    assert predicted(0.0, 1.0)[4] * MU_0 == pytest.approx(2.0 * MU_0, rel=1e-3)
