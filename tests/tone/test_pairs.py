"""Mutual impedance of two grounded wires: reciprocity, senses, limits and refusals (against full wave: validation)."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.tone.pairs import mutual_impedance

Wire = NDArray[np.float64]
SOIL: dict[str, Any] = {"resistivity_ohm_m": 100.0, "frequency_hz": 10e3}

points = st.tuples(st.floats(-10.0, 10.0), st.floats(-10.0, 10.0), st.floats(0.3, 3.0))
wires = st.tuples(points, points, points, points)


def _wires(ends: tuple[tuple[float, float, float], ...]) -> tuple[Wire, Wire]:
    a, b = np.array(ends[:2]), np.array(ends[2:])
    assume(min(np.linalg.norm(a[1] - a[0]), np.linalg.norm(b[1] - b[0])) > 0.5)
    assume(np.linalg.norm(a[:, None] - b[None, :], axis=-1).min() > 0.3)
    normal = np.cross(a[1] - a[0], b[1] - b[0])
    sine = np.linalg.norm(normal) / np.linalg.norm(a[1] - a[0]) / np.linalg.norm(b[1] - b[0])
    assume(sine > 1e-2 and abs((b[0] - a[0]) @ normal) / np.linalg.norm(normal) > 0.1)
    return a, b


@given(ends=wires, resistivity=st.floats(10.0, 2000.0), frequency=st.floats(500.0, 200e3))
@settings(max_examples=10, deadline=None)
def test_reciprocity_and_sense(
    ends: tuple[tuple[float, float, float], ...], resistivity: float, frequency: float
) -> None:
    # identity (reciprocity); turning a wire round turns the sign; turning both changes nothing
    a, b = _wires(ends)
    soil = {"resistivity_ohm_m": resistivity, "frequency_hz": frequency}
    z = mutual_impedance(a, b, **soil)
    # terms of several ohms may cancel to a small z, so the tolerance is taken from a neighbourly value too
    bar = {"rel": 1e-5, "abs": 1e-7 * resistivity}
    assert mutual_impedance(b, a, **soil) == pytest.approx(z, **bar)
    assert mutual_impedance(a[::-1], b, **soil) == pytest.approx(-z, **bar)
    assert mutual_impedance(a[::-1], b[::-1], **soil) == pytest.approx(z, **bar)


@given(ends=wires, turn=st.floats(0.0, 6.28), shift=st.floats(-500.0, 500.0))
@settings(max_examples=8, deadline=None)
def test_rigid_motion_over_the_ground_changes_nothing(
    ends: tuple[tuple[float, float, float], ...], turn: float, shift: float
) -> None:
    a, b = _wires(ends)
    spin = np.array([[math.cos(turn), -math.sin(turn), 0.0], [math.sin(turn), math.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    move = np.array([shift, -2.0 * shift, 0.0])
    here = mutual_impedance(a, b, **SOIL)
    assert mutual_impedance(a @ spin.T + move, b @ spin.T + move, **SOIL) == pytest.approx(here, rel=1e-5, abs=1e-6)


@given(ends=wires, share=st.floats(0.1, 0.9))
@settings(max_examples=8, deadline=None)
def test_pieces_sum_to_the_whole(ends: tuple[tuple[float, float, float], ...], share: float) -> None:
    # identity: the ends that meet in the middle cancel, the line integral adds up
    a, b = _wires(ends)
    middle = b[0] + share * (b[1] - b[0])
    whole = mutual_impedance(a, b, **SOIL)
    parts = [mutual_impedance(a, np.array(piece), **SOIL) for piece in ((b[0], middle), (middle, b[1]))]
    assert sum(parts) == pytest.approx(whole, rel=1e-5, abs=1e-5)


def test_direct_current_limit_is_four_point_sounding() -> None:
    # identity: without induction the wires are two pairs of electrodes; at the surface V/I = rho/(2 pi) sum +-1/r
    # (Wenner 1915 spacing: R = rho/(2 pi a)); 1 mm deep stands for the surface
    spacing = 5.0
    outer = np.array([[0.0, 0.0, 0.001], [3.0 * spacing, 0.0, 0.001]])
    inner = np.array([[spacing, 0.05, 0.001], [2.0 * spacing, 0.05, 0.001]])
    z = mutual_impedance(outer, inner, resistivity_ohm_m=100.0, frequency_hz=1e-3)
    # current enters the soil at the outer wire's end, where the inner wire's end is higher: positive
    assert z == pytest.approx(100.0 / (2.0 * math.pi * spacing), rel=1e-3)


def test_square_symmetric_wires_do_not_couple() -> None:
    # identity: each wire lies in the mirror plane of the other
    a = np.array([[-5.0, 0.0, 1.0], [5.0, 0.0, 1.0]])
    b = np.array([[0.0, -4.0, 1.3], [0.0, 4.0, 1.3]])
    for frequency in (500.0, 50e3, 200e3):
        assert abs(mutual_impedance(a, b, resistivity_ohm_m=100.0, frequency_hz=frequency)) < 1e-9


def test_close_parallel_wires_are_coupled_by_neumann() -> None:
    # identity: at 1e5 ohm m and no displacement, to second order in gamma, what differs between two spacings is
    # Neumann's double integral and gamma^2 R1/2 between the ends (exp(-gamma R)/R expanded), both times j omega
    # mu_0/(4 pi); the earth's own terms are the same for both, to the image's change with 20 cm
    soil = {"resistivity_ohm_m": 1e5, "frequency_hz": 10e3, "relative_permittivity": 0.0}
    a = np.array([[0.0, 0.0, 1.0], [10.0, 0.0, 1.0]])

    def neumann(d: float) -> float:
        return 2.0 * (10.0 * math.asinh(10.0 / d) - math.hypot(10.0, d) + d) + d - math.hypot(10.0, d)

    z = [mutual_impedance(a, a + np.array([0.0, d, 0.0]), **soil).imag for d in (0.5, 0.7)]
    wanted = 2 * math.pi * 10e3 * MU_0 / (4 * math.pi) * (neumann(0.5) - neumann(0.7))
    assert z[0] - z[1] == pytest.approx(wanted, rel=3e-3)


def test_permittivity_zero_leaves_displacement_out() -> None:
    a = np.array([[0.0, 0.0, 1.0], [20.0, 0.0, 1.0]])
    b = a + np.array([0.0, 1.0, 0.0])
    soil = {"resistivity_ohm_m": 1000.0, "frequency_hz": 200e3}
    without = mutual_impedance(a, b, relative_permittivity=0.0, **soil)
    assert abs(mutual_impedance(a, b, relative_permittivity=1e-9, **soil) - without) < 0.03 * abs(without)
    assert abs(mutual_impedance(a, b, **soil) - without) > 0.02 * abs(without)


def test_long_wires_converge() -> None:
    # in wet soil at 200 kHz (skin depth 3.6 m) the far pieces add nothing but their ends, whose potential runs along
    # the surface as rho/(2 pi r): at most 10/(2 pi) x 2 x 10 m/(70 m)^2 over the short wire
    soil = {"resistivity_ohm_m": 10.0, "frequency_hz": 200e3}
    b = np.array([[0.0, 1.0, 1.0], [10.0, 1.0, 1.0]])
    medium = mutual_impedance(np.array([[-75.0, 0.0, 1.0], [75.0, 0.0, 1.0]]), b, **soil)
    long = mutual_impedance(np.array([[-150.0, 0.0, 1.0], [150.0, 0.0, 1.0]]), b, **soil)
    assert abs(long - medium) < 10.0 / (2 * math.pi) * 2 * 10.0 / 70.0**2


def test_crossing_wires_in_contact_are_still_finite() -> None:
    # thin wires through one point away from their ends: the logarithm can be integrated
    a = np.array([[-5.0, 0.0, 1.0], [5.0, 0.0, 1.0]])
    b = np.array([[-3.0, -4.0, 1.0], [3.0, 4.0, 1.0]])
    touching = mutual_impedance(a, b, **SOIL)
    assert mutual_impedance(a, b + np.array([0.0, 0.0, 1e-5]), **SOIL) == pytest.approx(touching, rel=1e-4)


def test_wires_in_line_do_not_trip_the_parallel_form() -> None:
    a = np.array([[0.0, 0.0, 1.0], [5.0, 0.0, 1.0]])
    b = np.array([[6.0, 0.0, 1.0], [9.0, 0.0, 1.0]])
    in_line = mutual_impedance(a, b, **SOIL)
    aside = mutual_impedance(a, b + np.array([0.0, 1e-4, 0.0]), **SOIL)
    assert in_line == pytest.approx(aside, rel=1e-6)


def test_vertical_wires_couple() -> None:
    rod = np.array([[0.0, 0.0, 0.2], [0.0, 0.0, 2.0]])
    other = rod + np.array([1.0, 0.0, 0.0])
    z = mutual_impedance(rod, other, **SOIL)
    assert math.isfinite(z.real)
    assert mutual_impedance(other, rod, **SOIL) == pytest.approx(z, rel=1e-9)


GOOD = [[0.0, 0.0, 1.0], [5.0, 0.0, 1.0]]
ASIDE = [[0.0, 2.0, 1.0], [5.0, 2.0, 1.0]]


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        ([[0.0, 0.0], [1.0, 0.0]], GOOD, r"wire_a must be two finite points.*shape \(2, 3\)"),
        (GOOD, [[0.0, 0.0, math.nan], [1.0, 0.0, 1.0]], "wire_b must be two finite points"),
        (GOOD, [[0.0, 0.0, 0.0], [1.0, 0.0, 1.0]], "wire_b must lie below ground"),
        ([[0.0, 0.0, -1.0], [1.0, 0.0, 1.0]], GOOD, "wire_a must lie below ground"),
        (GOOD, [[3.0, 3.0, 1.0], [3.0, 3.0, 1.0]], "wire_b has no length"),
        (GOOD, GOOD, "share an end"),
        (GOOD, GOOD[::-1], "share an end"),
        (GOOD, [[1.0, 0.0, 1.0], [9.0, 0.0, 1.0]], "on top of each other"),
    ],
)
def test_bad_wires_are_refused(a: list[list[float]], b: list[list[float]], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        mutual_impedance(a, b, **SOIL)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"frequency_hz": 0.0}, "frequency_hz"),
        ({"frequency_hz": -1.0}, "frequency_hz"),
        ({"frequency_hz": math.nan}, "frequency_hz"),
        ({"frequency_hz": math.inf}, "frequency_hz"),
        ({"resistivity_ohm_m": 0.0}, "resistivity_ohm_m"),
        ({"relative_permittivity": -1.0}, "relative_permittivity"),
    ],
)
def test_bad_soil_is_refused(change: dict[str, float], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        mutual_impedance(GOOD, ASIDE, **{**SOIL, **change})
