"""Half heights and lifting against closed forms of Ampere's law, root finders and symmetry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.check_readings import asymmetry, half_heights_m, rise_after_lifting_m
from tests.tone.two_lines import GRID, OFFSETS_M, SPACING_M, Line, fields, horizontal, lean_of, peak_of, rise_of


def halves(cases: list[tuple[Line, ...]], *, height: float = 0.0) -> np.ndarray:
    """Half heights from sampled profiles, about the exact peaks."""
    peaks = np.array([peak_of(lines, height) for lines in cases])
    tops = [horizontal(lines, x, height) * 2e-7 for lines, x in zip(cases, peaks, strict=True)]
    return half_heights_m(fields(cases, height=height)[0], OFFSETS_M, peak_offset_m=peaks, field_t=tops)


def rises(cases: list[tuple[Line, ...]], *, height: float = 0.0, lift: float = 0.5) -> np.ndarray:
    peaks = [peak_of(lines, height) for lines in cases]
    at = np.array(
        [
            [horizontal(lines, x, height + up) for up in (0.0, SPACING_M, lift, lift + SPACING_M)]
            for lines, x in zip(cases, peaks, strict=True)
        ]
    ).T
    depth = SPACING_M * at[1] / (at[0] - at[1])
    return rise_after_lifting_m(depth, at[2], at[3], coil_spacing_m=SPACING_M)


# --- one line ---------------------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 2.0), st.floats(0.0, 0.2), st.floats(0.0, 360.0))
def test_over_one_line_half_height_is_as_far_as_the_coil_is_above_it(depth: float, height: float, turn: float) -> None:
    # d/(x^2 + d^2) is half of 1/d at x = d (Ampere's law). Tolerance: straight lines between offsets 0.1 m apart
    found = halves([((0.0, depth, np.exp(1j * np.radians(turn))),)], height=height)
    assert found == pytest.approx(depth + height, rel=0.006)
    assert asymmetry(found) == pytest.approx(0.0, abs=0.003)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 3.0), st.floats(0.0, 0.2), st.floats(0.1, 1.0))
def test_over_one_line_the_depth_grows_by_the_lift(depth: float, height: float, lift: float) -> None:
    # two coils over one long line read its distance exactly, at any height (Ampere's law)
    assert rises([((0.0, depth, 1.0),)], height=height, lift=lift) == pytest.approx(lift, rel=1e-6)


# --- two lines --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lines", GRID, ids=lambda lines: f"{lines[1][0]:g} m, {lines[1][2]:g} A")
def test_two_lines_agree_with_the_root_finder(lines: tuple[Line, Line]) -> None:
    # Ampere's law, scipy.optimize; tolerance: a tenth of what a crew can tell (docs/planning.md)
    peak = peak_of(lines)
    assert asymmetry(halves([lines]))[0] == pytest.approx(lean_of(lines, peak), abs=0.01)
    assert rises([lines])[0] == pytest.approx(rise_of(lines, peak), abs=1e-6)


def test_a_neighbour_of_the_same_sense_widens_its_own_side() -> None:
    # a hump on the flank moves the half height out; a current the other way pulls it in
    lean = asymmetry(halves([((0.0, 1.0, 1.0), (1.0, 1.0, k)) for k in (0.4, -0.4)]))
    assert lean[0] > 0.1
    assert lean[1] < -0.1


def test_in_a_mirror_the_lean_turns_over() -> None:
    here = halves([((0.0, 1.0, 1.0), (0.8, 0.7, 0.3))])
    there = halves([((0.0, 1.0, 1.0), (-0.8, 0.7, 0.3))])
    assert there[::-1] == pytest.approx(here, abs=1e-6)
    assert asymmetry(there) == pytest.approx(-asymmetry(here), abs=1e-6)


# --- what isn't there -------------------------------------------------------------------------------------------------


def test_half_height_beyond_the_profile_is_told_as_none() -> None:
    found = halves([((0.0, 3.0, 1.0),)])  # half height at 3 m, profile to 2.5 m
    assert np.isnan(found).all()
    assert np.isnan(asymmetry(found)).all()


def test_half_height_without_field_is_none() -> None:
    nothing = np.zeros((OFFSETS_M.size, 1), dtype=complex)
    assert np.isnan(half_heights_m(nothing, OFFSETS_M, peak_offset_m=[0.0], field_t=[0.0])).all()


def test_no_depth_no_rise() -> None:
    assert np.isnan(rise_after_lifting_m(1.0, 1.0, 1.0, coil_spacing_m=0.5))
    assert np.isnan(rise_after_lifting_m(np.nan, 1.0, 0.6, coil_spacing_m=0.5))


@pytest.mark.parametrize(("shape", "peaks"), [((51, 2), [0.0]), ((50, 1), [0.0]), ((51,), [0.0])])
def test_shapes_that_dont_fit_are_refused(shape: tuple[int, ...], peaks: list[float]) -> None:
    with pytest.raises(DomainError, match="b_lower_h must have shape"):
        half_heights_m(np.ones(shape), OFFSETS_M, peak_offset_m=peaks, field_t=peaks)
