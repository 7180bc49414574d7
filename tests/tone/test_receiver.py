"""Receiver readings from profiles whose answers are known."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.tone.receiver import Reading, current_from_field, station_readings, two_coil_depth_m

OFFSETS = np.linspace(-2.5, 2.5, 41)
SPACING = 0.5


def profiles(lines: list[tuple[float, float, complex]], *, lower_m: float = 0.0, offsets: Any = OFFSETS) -> Any:
    """Return lower, upper and vertical fields of long lines (offset, depth, current), each (1, offsets, 1)."""
    lower, upper, vertical = (np.zeros(len(offsets), dtype=complex) for _ in range(3))
    for position, depth, current in lines:
        x, scale = offsets - position, MU_0 * current / (2.0 * math.pi)
        near, far = depth + lower_m, depth + lower_m + SPACING
        lower -= scale * near / (x**2 + near**2)
        upper -= scale * far / (x**2 + far**2)
        vertical += scale * x / (x**2 + near**2)
    return tuple(field[None, :, None] for field in (lower, upper, vertical))


def read(lines: list[tuple[float, float, complex]], *, lower_m: float = 0.0, **keywords: Any) -> Reading:
    return station_readings(
        *profiles(lines, lower_m=lower_m), OFFSETS, coil_spacing_m=SPACING, lower_coil_height_m=lower_m, **keywords
    )


def test_two_coil_depth_is_exact_over_one_long_line() -> None:
    # B falls as 1/d (Ampere's law), so that c B_u/(B_l - B_u) = d
    depth = np.array([0.4, 1.0, 2.5])
    assert two_coil_depth_m(1.0 / depth, 1.0 / (depth + 0.5), coil_spacing_m=0.5) == pytest.approx(depth, rel=1e-14)


def test_field_that_grows_upward_has_no_depth() -> None:
    depth = two_coil_depth_m([1.0, 1.0, 2.0], [1.0, 1.5, 1.0], coil_spacing_m=0.5)
    assert np.isnan(depth[:2]).all()
    assert depth[2] == pytest.approx(0.5)


def test_current_from_field_obeys_amperes_law() -> None:
    # SI Brochure, 8th ed. (2006), 2.1.1.4 (from memory): 1 A at 1 m makes 2e-7 T; CODATA's mu_0 within 1e-9 of that
    assert current_from_field(2e-7, 1.0) == pytest.approx(1.0, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.floats(-1.5, 1.5), st.floats(0.5, 2.5), st.floats(0.001, 1.0), st.floats(0.0, 0.2), st.floats(-179.0, 179.0))
def test_one_line_reads_true(position: float, depth: float, current: float, lower: float, phase: float) -> None:
    reading = read([(position, depth, current * np.exp(1j * math.radians(phase)))], lower_m=lower)
    # depth >= 4 grid spacings: the polynomial between the offsets is good to 1e-3 m
    assert reading.peak_offset_m[0, 0] == pytest.approx(position, abs=1e-3)
    assert reading.null_offset_m[0, 0] == pytest.approx(position, abs=1e-3)
    assert reading.disagreement_m[0, 0] < 2e-3
    assert reading.depth_m[0, 0] == pytest.approx(depth, abs=2e-3)
    assert reading.current_a[0, 0] == pytest.approx(current, rel=2e-3)
    assert reading.phase_deg[0, 0] == pytest.approx(phase, abs=1e-6)
    assert np.sign(reading.signed_current_a[0, 0]) == (1.0 if abs(phase) <= 90.0 else -1.0)
    assert not reading.masked[0, 0]
    assert not reading.at_edge[0, 0]


@settings(max_examples=30, deadline=None)
@given(st.floats(0.4, 2.0), st.floats(-0.6, 0.6), st.floats(0.6, 1.5), st.floats(0.6, 1.5), st.floats(-3.1, 3.1))
def test_profile_in_a_mirror_reads_mirrored(s: float, k: float, d1: float, d2: float, phase: float) -> None:
    neighbour = k * np.exp(1j * phase)
    here = read([(0.0, d1, 1.0), (s, d2, neighbour)])
    there = read([(0.0, d1, 1.0), (-s, d2, neighbour)])
    assert there.peak_offset_m == pytest.approx(-here.peak_offset_m, abs=1e-6)
    assert there.depth_m == pytest.approx(here.depth_m, rel=1e-6, nan_ok=True)
    assert there.field_t == pytest.approx(here.field_t, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.floats(-179.0, 179.0), st.floats(1e-6, 10.0))
def test_turning_or_scaling_all_currents_moves_nothing(phase: float, size: float) -> None:
    factor = size * np.exp(1j * math.radians(phase))
    lines = [(0.0, 1.0, 1.0 + 0j), (0.8, 0.7, 0.4 - 0.2j)]
    here = read(lines)
    there = read([(x, d, i * factor) for x, d, i in lines], reference_a=factor)
    for name in ("peak_offset_m", "null_offset_m", "depth_m", "phase_deg"):
        assert getattr(there, name) == pytest.approx(getattr(here, name), abs=1e-7)
    assert there.current_a == pytest.approx(size * here.current_a, rel=1e-7)


def test_phasors_are_added_before_the_magnitude() -> None:
    # in quadrature the neighbour pulls less than in phase; a sum of magnitudes would not know the difference
    same, square, opposite = (read([(0, 1, 1.0), (1, 1, k)]).peak_offset_m[0, 0] for k in (0.5, 0.5j, -0.5))
    assert opposite < 0.0 < square < same


def test_null_nearest_the_peak_counts() -> None:
    # two separate lines have a null over each and one between them
    reading = read([(-1.6, 0.5, 1.0), (1.6, 0.5, 0.8)])
    assert reading.peak_offset_m[0, 0] == pytest.approx(-1.6, abs=0.03)
    assert reading.null_offset_m[0, 0] == pytest.approx(-1.6, abs=0.15)


def test_profile_without_null_says_so() -> None:
    lower, upper, _ = profiles([(0.0, 1.0, 1.0)])
    reading = station_readings(lower, upper, 1e-8 * (OFFSETS + 9.0)[None, :, None], OFFSETS, coil_spacing_m=SPACING)
    assert math.isnan(reading.null_offset_m[0, 0])
    assert math.isnan(reading.disagreement_m[0, 0])
    assert reading.peak_offset_m[0, 0] == pytest.approx(0.0, abs=1e-4)


def test_higher_peak_of_another_line_masks_the_target() -> None:
    reading = read([(0.0, 0.6, 1.0), (2.0, 0.6, 1.5)])
    assert reading.masked[0, 0]
    assert reading.peak_offset_m[0, 0] == pytest.approx(2.0, abs=0.05)
    assert reading.own_peak_offset_m[0, 0] == pytest.approx(0.0, abs=0.1)


def test_narrow_search_stays_with_the_target() -> None:
    reading = read([(0.0, 0.6, 1.0), (2.0, 0.6, 1.5)], search_half_width_m=1.0)
    assert not reading.masked[0, 0]
    assert reading.peak_offset_m[0, 0] == pytest.approx(0.0, abs=0.1)


def test_deep_neighbour_with_more_current_masks_though_one_peak_shows() -> None:
    target, neighbour = (0.0, 1.0, 0.1), (0.6, 1.2, 1.0)
    lower, upper, vertical = profiles([target, neighbour])
    alone = profiles([target])[0]
    seen = station_readings(lower, upper, vertical, OFFSETS, coil_spacing_m=SPACING, b_target_h=alone)
    blind = station_readings(lower, upper, vertical, OFFSETS, coil_spacing_m=SPACING)
    assert seen.masked[0, 0]
    assert not blind.masked[0, 0]
    assert seen.own_peak_offset_m[0, 0] == seen.peak_offset_m[0, 0]


def test_target_that_is_the_stronger_is_not_masked_by_its_part() -> None:
    lower, upper, vertical = profiles([(0.0, 1.0, 1.0), (0.6, 1.2, 0.1)])
    alone = profiles([(0.0, 1.0, 1.0)])[0]
    reading = station_readings(lower, upper, vertical, OFFSETS, coil_spacing_m=SPACING, b_target_h=alone)
    assert not reading.masked[0, 0]


def test_peak_beyond_the_search_is_flagged() -> None:
    reading = read([(4.0, 1.0, 1.0)])
    assert reading.at_edge[0, 0]
    assert reading.peak_offset_m[0, 0] == OFFSETS[-1]
    assert math.isnan(reading.null_offset_m[0, 0])


def test_equal_peaks_keep_the_one_nearer_to_the_target() -> None:
    reading = read([(-2.0, 0.5, 1.0), (0.5, 0.5, 0.0), (2.0, 0.5, 1.0)])
    assert abs(reading.peak_offset_m[0, 0]) == pytest.approx(2.0, abs=0.05)
    assert not reading.masked[0, 0]


def test_no_field_reads_nothing() -> None:
    reading = read([(0.0, 1.0, 0.0)])
    assert reading.field_t[0, 0] == 0.0
    for name in ("depth_m", "current_a", "phase_deg", "signed_current_a", "null_offset_m"):
        assert math.isnan(getattr(reading, name)[0, 0])


def test_stations_and_solutions_are_independent() -> None:
    rng = np.random.default_rng(3)
    cases = [[(0.0, d, 1.0), (s, 1.0, k)] for d, s, k in rng.uniform([0.5, 0.4, -0.5], [1.5, 2.0, 0.5], (6, 3))]
    many: list[NDArray[Any]] = [
        np.concatenate(parts, axis=2).reshape(41, 2, 3).transpose(1, 0, 2)
        for parts in zip(*(profiles(case) for case in cases), strict=True)
    ]
    together = station_readings(*many, OFFSETS, coil_spacing_m=SPACING)
    assert together.depth_m.shape == (2, 3)
    for i, case in enumerate(cases):
        one = read(case)
        for name in Reading.__dataclass_fields__:
            assert getattr(together, name).ravel()[i] == getattr(one, name)[0, 0]


def test_reference_may_differ_by_solution() -> None:
    fields = [np.repeat(field, 2, axis=2) for field in profiles([(0.0, 1.0, 1j)])]
    reading = station_readings(*fields, OFFSETS, coil_spacing_m=SPACING, reference_a=[1.0, -1j])
    assert reading.phase_deg[0] % 360.0 == pytest.approx([90.0, 180.0])
    assert reading.signed_current_a[0] == pytest.approx([1.0, -1.0], rel=1e-3)


GOOD = profiles([(0.0, 1.0, 1.0)])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"offsets_m": [0.0, 1.0]}, "at least 9 evenly spaced"),
        ({"offsets_m": OFFSETS[::-1]}, "rising"),
        ({"offsets_m": OFFSETS**3}, "evenly spaced"),
        ({"b_upper_h": GOOD[1][:, :-1]}, "b_upper_h must have shape"),
        ({"b_lower_v": GOOD[2][0]}, "b_lower_v must have shape"),
        ({"b_lower_h": GOOD[0] * math.nan}, "b_lower_h must be finite; 41 values"),
        ({"b_target_h": GOOD[0][:, :5]}, "b_target_h must have shape"),
        ({"coil_spacing_m": 0.0}, "coil_spacing_m must be > 0"),
        ({"lower_coil_height_m": -0.1}, "lower_coil_height_m must be >= 0"),
        ({"search_half_width_m": 0.2}, "search_half_width_m must leave"),
    ],
)
def test_wrong_input_gets_one_sentence(change: dict[str, Any], message: str) -> None:
    arguments = {
        "b_lower_h": GOOD[0],
        "b_upper_h": GOOD[1],
        "b_lower_v": GOOD[2],
        "offsets_m": OFFSETS,
        "coil_spacing_m": SPACING,
    } | change
    with pytest.raises(DomainError, match=message):
        station_readings(**arguments)
