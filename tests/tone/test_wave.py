"""The wave's field in the soil and what it drives along sections."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad_vec

from corridor.errors import DomainError
from corridor.tone.earth import propagation_constant
from corridor.tone.model import SoilRange
from corridor.tone.wave import RadioWave, horizontal_share, wave_emf, wave_field_t

SOIL = SoilRange(100.0, 20.0, 1000.0, 10.0, "records")
LAYERED = replace(SOIL, top_thickness_m=1.5, lower_ohm_m=20.0)
WAVE = RadioWave(frequency_hz=1e5, field_v_per_m=0.01, arrival_deg=270.0)  # from the west: it runs along x


def emf(start: Any, end: Any, *, wave: RadioWave = WAVE, soil: SoilRange = SOIL) -> complex:
    return complex(wave_emf([start], [end], wave=wave, soil=soil, resistivity_ohm_m=soil.nominal_ohm_m)[0])


@pytest.mark.parametrize(
    ("arrival_deg", "heading"), [(0, (0, -1)), (90, (-1, 0)), (180, (0, 1)), (270, (1, 0)), (225, (0.70711, 0.70711))]
)
def test_a_wave_from_a_bearing_runs_the_other_way(arrival_deg: float, heading: tuple[float, float]) -> None:
    # compass bearings count clockwise from north (common practice)
    wave = RadioWave(frequency_hz=1e5, field_v_per_m=1.0, arrival_deg=arrival_deg)
    assert wave.heading == pytest.approx(heading, abs=1e-5)


def test_the_wavelength_is_that_of_long_wave() -> None:
    # 299 792 458 m/s, SI: 100 kHz is 2997.92458 m
    assert 2 * math.pi / WAVE.k0_per_m == pytest.approx(2997.92458, rel=1e-9)


def test_the_field_of_the_wave_itself() -> None:
    # plane wave, B = E/c: 1 V/m is 3.33564 nT
    assert wave_field_t(1.0) == pytest.approx(3.33564e-9, rel=1e-5)


def test_the_tilt_has_the_phase_of_a_good_conductor() -> None:
    # Zs = sqrt(j omega mu0 rho): 45 degrees ahead (textbook)
    angle = np.degrees(np.angle(horizontal_share(0.0, frequency_hz=1e3, soil=SOIL)))
    assert angle == pytest.approx(45.0, abs=0.1)


def test_it_dies_away_by_a_neper_in_a_skin_depth() -> None:
    # skin depth 503.3 sqrt(rho/f) (textbook): 50.33 m at 10 kHz; displacement currents change it by 0.3 %
    at = horizontal_share(np.array([0.0, 503.3 * math.sqrt(100.0 / 1e4)]), frequency_hz=1e4, soil=SOIL)
    assert abs(at[1] / at[0]) == pytest.approx(math.exp(-1.0), rel=5e-3)


def test_two_like_layers_are_one_soil() -> None:
    depth = np.array([0.0, 0.7, 1.5, 4.0])
    alike = replace(SOIL, top_thickness_m=1.5, lower_ohm_m=100.0)
    assert horizontal_share(depth, frequency_hz=5e4, soil=alike) == pytest.approx(
        horizontal_share(depth, frequency_hz=5e4, soil=SOIL), rel=1e-12
    )


def test_a_thick_top_hides_what_is_below() -> None:
    thick = replace(SOIL, top_thickness_m=500.0, lower_ohm_m=5.0)
    assert horizontal_share(1.0, frequency_hz=1e5, soil=thick) == pytest.approx(
        horizontal_share(1.0, frequency_hz=1e5, soil=SOIL), rel=1e-6
    )


def test_a_perfect_conductor_below_shorts_the_field_at_its_surface() -> None:
    short = replace(SOIL, top_thickness_m=2.0, lower_ohm_m=1e-9)
    top, low = horizontal_share(np.array([0.0, 2.0 - 1e-9]), frequency_hz=1e5, soil=short)
    assert abs(low / top) < 1e-4
    # E_x(0)/H = K tanh(u d) (textbook), here jomega mu0 d to 1 %
    assert top == pytest.approx(1j * 2e5 * math.pi * 4e-7 * math.pi * 2.0 / 376.73, rel=0.02)


def test_the_field_goes_on_through_the_interface() -> None:
    above, below = horizontal_share(np.array([1.5 - 1e-9, 1.5]), frequency_hz=1e5, soil=LAYERED)
    assert above == pytest.approx(below, rel=1e-8)


def test_a_level_section_along_the_way_gets_field_times_length() -> None:
    # short against the wavelength: E L
    expected = 0.01 * 2.0 * complex(horizontal_share(0.8, frequency_hz=1e5, soil=SOIL))
    assert emf((0, 0, 0.8), (2, 0, 0.8)) == pytest.approx(expected, rel=3e-3)


def test_a_section_square_to_the_way_gets_none() -> None:
    assert abs(emf((0, 0, 0.8), (0, 5, 0.8))) < 1e-15 * abs(emf((0, 0, 0.8), (5, 0, 0.8)))


def test_an_upright_section_gets_none() -> None:
    assert emf((3, 1, 0.5), (3, 1, 2.5)) == 0.0


def test_the_other_direction_of_a_section_turns_the_sign() -> None:
    assert emf((1, 2, 0.5), (7, 3, 1.1)) == pytest.approx(-emf((7, 3, 1.1), (1, 2, 0.5)), rel=1e-12)


def test_the_emf_goes_with_the_cosine_of_the_angle() -> None:
    sizes = [
        abs(emf((0, 0, 1), (1, 0, 1), wave=replace(WAVE, arrival_deg=270.0 + angle))) for angle in (0.0, 30.0, 60.0)
    ]
    assert np.array(sizes) / sizes[0] == pytest.approx([1.0, math.cos(math.pi / 6), 0.5], rel=1e-4)


@pytest.mark.parametrize("factor", [2.0, 0.1])
def test_twice_the_field_is_twice_the_emf(factor: float) -> None:
    other = replace(WAVE, field_v_per_m=factor * WAVE.field_v_per_m)
    assert emf((0, 0, 1), (9, 4, 1), wave=other) == pytest.approx(factor * emf((0, 0, 1), (9, 4, 1)), rel=1e-12)


COORDINATE, DEPTH = st.floats(-400.0, 400.0), st.floats(0.1, 1.4)


@given(COORDINATE, COORDINATE, DEPTH, st.tuples(st.floats(-60, 60), st.floats(-60, 60)), DEPTH, st.floats(0, 360))
def test_it_is_the_integral_of_the_field_along_the_section(
    x: float, y: float, depth: float, course: tuple[float, float], other_depth: float, arrival_deg: float
) -> None:
    # scipy's adaptive quadrature of the field itself, over one soil and in the top of two layers
    wave = replace(WAVE, arrival_deg=arrival_deg)
    start, end = np.array([x, y, depth]), np.array([x + course[0], y + course[1], other_depth])
    run = (end - start)[:2] @ wave.heading
    for soil in (SOIL, LAYERED):

        def field(t: float, soil: SoilRange = soil) -> complex:
            at = start + t * (end - start)
            phase = np.exp(-1j * wave.k0_per_m * (at[:2] @ wave.heading))
            return complex(0.01 * run * phase * horizontal_share(at[2], frequency_hz=1e5, soil=soil))

        expected = quad_vec(field, 0.0, 1.0, epsrel=1e-10)[0]
        assert emf(start, end, wave=wave, soil=soil) == pytest.approx(expected, rel=1e-7, abs=1e-15)


def test_pieces_add_up_to_the_whole() -> None:
    knots = np.linspace([0.0, 0.0, 0.6], [300.0, 80.0, 1.3], 8)
    parts = wave_emf(knots[:-1], knots[1:], wave=WAVE, soil=SOIL, resistivity_ohm_m=100.0)
    assert parts.sum() == pytest.approx(emf(knots[0], knots[-1]), rel=1e-10)


def test_a_section_below_the_interface_is_in_the_lower_layer() -> None:
    expected = 0.01 * complex(horizontal_share(3.0, frequency_hz=1e5, soil=LAYERED))
    assert emf((0, 0, 3), (1, 0, 3), soil=LAYERED) == pytest.approx(expected, rel=2e-3)


def test_the_phase_runs_with_the_wave() -> None:
    near, far = emf((0, 0, 1), (1, 0, 1)), emf((100, 0, 1), (101, 0, 1))
    assert np.angle(far / near) == pytest.approx(-100.0 * WAVE.k0_per_m, rel=1e-9)


def test_the_decay_is_the_soils_propagation_constant() -> None:
    # the air's wavenumber adds k0^2/gamma^2, 1e-3 at most here
    near, far = emf((0, 0, 1), (1, 0, 1)), emf((0, 0, 2), (1, 0, 2))
    assert np.log(near / far) == pytest.approx(propagation_constant(100.0, 1e5), rel=1e-3)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"frequency_hz": 0.0}, "frequency_hz of a radio wave must be a positive number, got 0"),
        ({"field_v_per_m": -1.0}, "field_v_per_m of a radio wave must be a positive number"),
        ({"field_v_per_m": math.inf}, "field_v_per_m"),
        ({"arrival_deg": math.nan}, "arrival_deg of a radio wave must be a finite number"),
    ],
)
def test_a_wave_that_is_none_is_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        replace(WAVE, **change)


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        ([[0, 0, -1]], [[1, 0, 1]], "start_m must lie at or below ground, got a depth of -1"),
        ([[0, 0, 1]], [[1, 0, -1]], "end_m must lie at or below ground"),
        ([[0, 0, 1]], [[1, 0]], "end_m must have shape"),
    ],
)
def test_sections_that_are_none_are_refused(start: Any, end: Any, message: str) -> None:
    with pytest.raises(DomainError, match=message):
        wave_emf(start, end, wave=WAVE, soil=SOIL, resistivity_ohm_m=100.0)


def test_a_depth_above_ground_is_refused() -> None:
    with pytest.raises(DomainError, match="depth_m must be >= 0"):
        horizontal_share([1.0, -0.1], frequency_hz=1e5, soil=SOIL)
