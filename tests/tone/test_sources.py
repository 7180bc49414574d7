"""Sources: limits of a direct output, a clamp's EMF, a loop's moment and what it induces."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import dblquad

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.sources import (
    LIMITS,
    ClampSource,
    LoopSource,
    clamp_emf_v,
    clamp_series_ohm,
    direct_output,
    induction_emf,
    loop_moment_am2,
)

# engineering estimates of a generic clamp and loop
CLAMP = ClampSource(
    core_area_m2=4e-4, saturation_t=0.3, turns=10.0, turn_inductance_h=2.9e-6, max_voltage_v=30.0, source_ohm=50.0
)
LOOP = LoopSource(area_m2=0.05, turn_inductance_h=0.7e-6, quality_factor=50.0, power_w=1.0)
WIDE: dict[str, float] = {"level_a": 0.5, "max_voltage_v": 30.0, "max_current_a": 1.0, "max_power_w": 5.0}


@pytest.mark.parametrize(
    ("z_ohm", "change", "current_a", "limit"),
    [
        (10.0, {}, 0.5, "level"),
        (196.0, {}, 30.0 / 196.0, "voltage"),
        (10.0, {"max_current_a": 0.2}, 0.2, "current"),
        (38.0, {}, math.sqrt(5.0 / 38.0), "power"),
        (100j, {}, 0.3, "voltage"),
        (0.0, {}, 0.5, "level"),
        (1e-310, {}, 0.5, "level"),
        (0.0, {"max_current_a": 0.5}, 0.5, "level"),
    ],
)
def test_the_tightest_limit_sets_the_current(z_ohm: complex, change: Any, current_a: float, limit: str) -> None:
    output = direct_output(z_ohm, **(WIDE | change))
    assert output.current_a == pytest.approx(current_a)
    assert LIMITS[int(output.limited_by)] == limit
    assert output.voltage_v == pytest.approx(current_a * abs(z_ohm))
    assert output.power_w == pytest.approx(current_a**2 * complex(z_ohm).real)


def test_open_circuit_takes_the_voltage_and_no_current() -> None:
    output = direct_output([math.inf, complex(math.inf, 5.0)], **WIDE)
    assert output.current_a.tolist() == [0.0, 0.0]
    assert output.voltage_v.tolist() == [30.0, 30.0]
    assert output.power_w.tolist() == [0.0, 0.0]


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1e5), st.floats(-1e5, 1e5), st.floats(0.001, 2.0), st.floats(1.0, 200.0), st.floats(0.1, 20.0))
def test_no_limit_is_exceeded_and_one_is_reached(
    r: float, x: float, level: float, voltage: float, power: float
) -> None:
    output = direct_output(complex(r, x), level_a=level, max_voltage_v=voltage, max_current_a=1.0, max_power_w=power)
    used = np.array(
        [output.current_a / level, output.voltage_v / voltage, output.current_a / 1.0, output.power_w / power]
    )
    assert used.max() == pytest.approx(1.0, rel=1e-9)
    assert used[output.limited_by] == pytest.approx(1.0, rel=1e-9)


def test_impedances_keep_their_shape() -> None:
    output = direct_output(np.full((2, 3), 50.0 + 1j), **WIDE)
    assert output.current_a.shape == output.voltage_v.shape == output.limited_by.shape == (2, 3)


@pytest.mark.parametrize("name", list(WIDE))
def test_a_limit_must_be_positive(name: str) -> None:
    with pytest.raises(DomainError, match=f"{name} must be > 0, got 0"):
        direct_output(10.0, **(WIDE | {name: 0.0}))


@pytest.mark.parametrize("z_ohm", [-1.0, math.nan])
def test_an_impedance_that_gives_power_is_refused(z_ohm: float) -> None:
    with pytest.raises(DomainError, match="z_in_ohm must have a real part >= 0, got"):
        direct_output([1.0, z_ohm], **WIDE)


def test_clamp_saturates_below_some_kilohertz_and_is_limited_by_voltage_above() -> None:
    # own arithmetic on the estimate above: omega A B/sqrt 2 with 4 cm^2 and 0.3 T, and 30 V over 10 turns
    emf = clamp_emf_v([500.0, 1000.0, 5500.0, 5700.0, 100e3], CLAMP)
    assert emf == pytest.approx([0.2666, 0.5331, 2.932, 3.0, 3.0], rel=1e-3)


def test_more_turns_lower_the_voltage_limit() -> None:
    assert clamp_emf_v(50e3, replace(CLAMP, turns=20.0)) == pytest.approx(1.5)


def test_clamp_impedance_is_inductive_first_and_resistive_last() -> None:
    low, high = clamp_series_ohm([10.0, 1e8], CLAMP)
    assert np.degrees(np.angle(low)) == pytest.approx(90.0, abs=0.1)
    assert high == pytest.approx(0.5, rel=1e-3)  # 50 ohm over 10^2
    inductance = low.imag / (TWO_PI * 10.0)
    assert inductance == pytest.approx(2.9e-6, rel=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.floats(50.0, 200e3))
def test_clamp_impedance_is_passive(frequency_hz: float) -> None:
    z = clamp_series_ohm(frequency_hz, CLAMP)
    assert z.real > 0.0
    assert z.imag > 0.0


def test_loop_moment_falls_with_the_root_of_frequency() -> None:
    # own arithmetic on the estimate above: 0.05 m^2, 0.7 uH, Q 50, 1 W
    assert loop_moment_am2([8e3, 33e3, 80e3], LOOP) == pytest.approx([1.88, 0.928, 0.596], rel=5e-3)
    assert loop_moment_am2(4e3, LOOP) == pytest.approx(math.sqrt(2.0) * loop_moment_am2(8e3, LOOP))


def test_loop_loses_the_power_it_was_given() -> None:
    # P = omega l (N I)^2/Q with N I = m/A
    loop = LoopSource(area_m2=0.1, turn_inductance_h=1e-6, quality_factor=30.0, power_w=2.0)
    omega = TWO_PI * 20e3
    ampere_turns = float(loop_moment_am2(20e3, loop)) / 0.1
    assert omega * 1e-6 * ampere_turns**2 / 30.0 == pytest.approx(2.0)


@pytest.mark.parametrize("source", [LOOP, CLAMP])
def test_sources_refuse_what_is_not_positive(source: Any) -> None:
    for name in source.__dataclass_fields__:
        with pytest.raises(DomainError, match=f"{name} must be > 0"):
            replace(source, **{name: 0.0})


@pytest.mark.parametrize(
    ("function", "source"), [(loop_moment_am2, LOOP), (clamp_emf_v, CLAMP), (clamp_series_ohm, CLAMP)]
)
def test_frequency_must_be_positive(function: Any, source: Any) -> None:
    with pytest.raises(DomainError, match="frequency_hz must be > 0"):
        function([1e3, 0.0], source)


def ring(corners: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sections of 0.05 m round a closed polygon."""
    nodes = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(1, round(float(np.linalg.norm(b - a)) / 0.05))
        nodes.append(a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a))
    path = np.vstack(nodes)
    return path, np.roll(path, -1, axis=0)


@pytest.mark.parametrize("moment", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
def test_emf_round_a_level_ring_is_faradays(moment: list[float]) -> None:
    # Faraday's law: EMF = -j omega flux; B_z = mu_0/4 pi (3 z (m.r)/r^5 - m_z/r^3) integrated by scipy
    corners = np.array([[0.4, 0.3, 1.0], [1.6, 0.3, 1.0], [1.6, 1.0, 1.0], [0.4, 1.0, 1.0]])
    start, finish = ring(corners)
    emf = induction_emf(start, finish, moment_am2=moment, position_m=[0.0, 0.0, 0.4], frequency_hz=1e3).sum()

    def b_z(y: float, x: float) -> float:
        r = np.array([x, y, -1.4])
        size = float(np.linalg.norm(r))
        return float(MU_0 / (4 * math.pi) * (3 * r[2] * np.dot(moment, r) / size**5 - moment[2] / size**3))

    flux = dblquad(b_z, 0.4, 1.6, 0.3, 1.0)[0]
    assert emf == pytest.approx(-1j * TWO_PI * 1e3 * flux, rel=1e-6)


def test_horizontal_axis_square_to_the_line_has_faradays_sign() -> None:
    # m along y above a line along x sends its flux back along -y beneath itself; Lenz's law on the loop line - far
    # below - line gives +j omega mu_0 m/(2 pi z)
    emf = induction_emf(
        [[-0.1, 0.0, 1.0]], [[0.1, 0.0, 1.0]], moment_am2=[0, 1, 0], position_m=[0, 0, 0.4], frequency_hz=1e3
    )
    assert emf[0].real == 0.0
    assert emf[0].imag > 0.0


def test_turning_a_section_round_turns_its_emf() -> None:
    a, b = [[0.3, 0.4, 1.0]], [[1.3, 0.9, 1.2]]
    keywords: dict[str, Any] = {
        "moment_am2": [0.2, 0.7, 1.0],
        "position_m": [0.0, 0.0, 0.1],
        "frequency_hz": 8e3,
        "gamma_per_m": 0.02 + 0.02j,
    }
    assert induction_emf(b, a, **keywords) == pytest.approx(-induction_emf(a, b, **keywords))


@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 6.3), st.floats(-5.0, 5.0), st.floats(-5.0, 5.0), st.floats(-1.0, 1.0))
def test_emf_moves_with_the_ground(angle: float, x: float, y: float, m_z: float) -> None:
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    a, b = np.array([[x, y, 0.8]]), np.array([[x + 1.0, y - 0.5, 1.1]])
    moment, position, move = np.array([0.6, -0.4, m_z]), np.array([0.5, 0.2, 0.3]), np.array([7.0, -3.0, 0.0])
    keywords: dict[str, Any] = {"frequency_hz": 8e3, "gamma_per_m": 0.02 + 0.02j}
    here = induction_emf(a, b, moment_am2=moment, position_m=position, **keywords)
    there = induction_emf(
        a @ turn + move, b @ turn + move, moment_am2=moment @ turn, position_m=position @ turn + move, **keywords
    )
    assert there == pytest.approx(here, rel=1e-9, abs=1e-12)


def test_vertical_section_has_no_emf() -> None:
    emf = induction_emf([[1, 0, 0.2]], [[1, 0, 1.7]], moment_am2=[1, 1, 1], position_m=[0, 0, 0.4], frequency_hz=1e4)
    assert emf[0] == 0.0


def test_eddy_currents_take_emf_away_more_at_higher_frequency() -> None:
    def total(frequency_hz: float, gamma: complex | None) -> float:
        x = np.arange(-200.0, 200.0, 2.0)
        start = np.column_stack((x, np.zeros_like(x), np.ones_like(x)))
        emf = induction_emf(
            start,
            np.add(start, [2.0, 0.0, 0.0]),
            moment_am2=[0, 1, 0],
            position_m=[0, 0, 0.4],
            frequency_hz=frequency_hz,
            gamma_per_m=gamma,
        )
        return float(np.abs(emf.sum()))

    shares = [total(f, g * (1 + 1j)) / total(f, None) for f, g in ((1e3, 0.0063), (1e4, 0.02), (1e5, 0.063))]
    assert 1.0 > shares[0] > shares[1] > shares[2] > 0.8


GOOD: dict[str, Any] = {
    "start_m": [[0.0, 0.0, 1.0]],
    "end_m": [[1.0, 0.0, 1.0]],
    "moment_am2": [0.0, 1.0, 0.0],
    "position_m": [0.0, 0.0, 0.4],
    "frequency_hz": 1e4,
}


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("start_m", [[0.0, 0.0]], "start_m must have shape"),
        ("end_m", [[1.0, 0.0, 1.0]] * 2, "end_m must have shape"),
        ("moment_am2", [1.0], "moment_am2 must have shape"),
        ("position_m", [0.0, 0.0], "position_m must have shape"),
        ("position_m", [0.0, 0.0, -0.4], "loop must lie at or above ground"),
        ("start_m", [[0.0, 0.0, -1.0]], "loop must lie at or above ground"),
        ("frequency_hz", 0.0, "frequency_hz must be > 0"),
        ("gamma_per_m", 1j, "gamma_per_m must have a positive real part"),
    ],
)
def test_wrong_input_gets_one_sentence(name: str, value: Any, message: str) -> None:
    with pytest.raises(DomainError, match=message):
        induction_emf(**(GOOD | {name: value}))


def test_loop_may_not_lie_in_the_line() -> None:
    surface = {"start_m": [[0.0, 0.0, 0.0]], "end_m": [[1.0, 0.0, 0.0]], "position_m": [0.0, 0.0, 0.0]}
    with pytest.raises(DomainError, match="not both at the surface"):
        induction_emf(**(GOOD | surface))


def test_no_sections_have_no_emf() -> None:
    assert induction_emf(**(GOOD | {"start_m": np.empty((0, 3)), "end_m": np.empty((0, 3))})).shape == (0,)
