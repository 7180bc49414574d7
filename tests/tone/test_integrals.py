"""Double integrals of 1/R: quadrature, the bars of the method, invariants and refusals."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate

from corridor.errors import DomainError
from corridor.tone.integrals import (
    FAR_LENGTHS,
    PARALLEL_SINE,
    DistanceIntegrals,
    inverse_distance_integrals,
    straight_pair_integral,
)

Array = NDArray[np.float64]
coordinates = st.floats(-5.0, 5.0)
points = st.tuples(coordinates, coordinates, st.floats(0.1, 3.0))


def _quadrature(wire_a: Array, wire_b: Array) -> float:
    """Inner integral by its logarithm, outer one adaptively: independent of the closed form for an angle."""
    step, other = wire_a[1] - wire_a[0], wire_b[1] - wire_b[0]
    length = float(np.linalg.norm(other))

    def inner(share: float) -> float:
        place = wire_a[0] + share * step - wire_b[0]
        along = float(place @ other) / length
        across = math.sqrt(max(float(place @ place) - along**2, 1e-300))
        return math.asinh((length - along) / across) + math.asinh(along / across)

    value, _ = integrate.quad(inner, 0.0, 1.0, limit=400, epsabs=0.0, epsrel=1e-9)
    return float(np.linalg.norm(step)) * value


def _integrals(start: Array, end: Array, **change: Array) -> DistanceIntegrals:
    n = len(start)
    given_values = {
        "radius_m": np.full(n, 0.02),
        "outer_radius_m": np.full(n, 0.02),
        "chain": np.arange(n),
        **change,
    }
    return inverse_distance_integrals(start, end, **given_values)


def _scatter(n: int, seed: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(0.0, 40.0, (n, 2)), rng.uniform(0.4, 2.5, n)])
    angle = rng.choice([0.0, 0.5, math.pi / 2], n)
    step = np.column_stack([np.cos(angle), np.sin(angle), rng.choice([0.0, 0.2], n)]) * rng.uniform(0.5, 3.0, (n, 1))
    return start, start + step


@pytest.mark.parametrize("distance", [0.01, 0.3, 1.0, 20.0])
@pytest.mark.parametrize("shift", [0.0, 0.5, 2.0, -7.0])
def test_parallel_pairs(distance: float, shift: float) -> None:
    # quadrature, whose own error is 1e-9 at most: the bar of the method for parallel pairs
    wire_a = np.array([[0.0, 0.0, 1.0], [3.0, 0.0, 1.0]])
    wire_b = np.array([[shift, distance, 1.0], [shift + 2.0, distance, 1.0]])
    assert straight_pair_integral(wire_a, wire_b, 1e-6) == pytest.approx(_quadrature(wire_a, wire_b), rel=1e-9)
    turned = wire_b[::-1].copy()
    assert straight_pair_integral(wire_a, turned, 1e-6) == pytest.approx(
        straight_pair_integral(wire_a, wire_b, 1e-6), rel=1e-12
    )


@given(ends=st.tuples(points, points, points, points))
@settings(max_examples=60, deadline=None)
def test_skew_pairs(ends: tuple[tuple[float, float, float], ...]) -> None:
    # the method's bar is 2e-3; the closed form does far better wherever the quadrature is sure of itself
    wires = np.array(ends).reshape(2, 2, 3)
    steps = wires[:, 1] - wires[:, 0]
    lengths = np.linalg.norm(steps, axis=1)
    assume(lengths.min() > 0.1)
    normal = np.cross(steps[0] / lengths[0], steps[1] / lengths[1])
    sine = float(np.linalg.norm(normal))
    assume(sine > 0.05)
    assume(abs((wires[1, 0] - wires[0, 0]) @ normal) / sine > 1e-2)
    assert straight_pair_integral(wires[0], wires[1], 0.0) == pytest.approx(_quadrature(*wires), rel=1e-7)


@pytest.mark.parametrize("angle", [math.pi / 2, 1.0, 0.1, 1e-2, 1e-3, 1.01 * PARALLEL_SINE, 0.99 * PARALLEL_SINE, 1e-6])
def test_small_angles_join_the_parallel_form(angle: float) -> None:
    # bar: skew 2e-3. Below the switch the angle is left out, which costs 2e-5 here.
    wire_a = np.array([[0.0, 0.0, 1.0], [3.0, 0.0, 1.0]])
    start = np.array([0.5, 0.4, 1.3])
    wire_b = np.array([start, start + 3.0 * np.array([math.cos(angle), math.sin(angle), 0.0])])
    assert straight_pair_integral(wire_a, wire_b, 0.0) == pytest.approx(_quadrature(wire_a, wire_b), rel=5e-5)


@pytest.mark.parametrize("angle", [0.0, 0.01, 0.3, math.pi / 2, 2.8])
def test_touching_corners(angle: float) -> None:
    # Thin wires: the axis of one, the surface of the other, 5 mm aside. Bar: touching corner 1e-2.
    corner = np.array([3.0, 0.0, 1.0])
    wire_a = np.array([[0.0, 0.0, 1.0], corner])
    wire_b = np.array([corner, corner + 2.0 * np.array([math.cos(angle), math.sin(angle), 0.0])])
    aside = wire_b + np.array([0.0, 0.0, 0.005])
    assert straight_pair_integral(wire_a, wire_b, 0.005) == pytest.approx(_quadrature(wire_a, aside), rel=1e-6)


def test_right_angle_corner_has_a_known_value() -> None:
    # identity: two unit wires from one point at a right angle, integral over the unit square of 1/sqrt(x^2 + y^2)
    # = 2 ln(1 + sqrt 2)
    origin = np.array([0.0, 0.0, 1.0])
    wire_a, wire_b = (
        np.array([origin, origin + np.array([1.0, 0.0, 0.0])]),
        np.array([origin, origin + np.array([0.0, 1.0, 0.0])]),
    )
    assert straight_pair_integral(wire_a, wire_b, 0.0) == pytest.approx(2.0 * math.log(1.0 + math.sqrt(2.0)), rel=1e-12)


def test_self_terms_are_the_closed_form() -> None:
    # identity: parallel pair at the radius, 2 [l asinh(l/a) - sqrt(l^2 + a^2) + a]
    start, end = np.array([[0.0, 0.0, 1.5]]), np.array([[2.0, 0.0, 1.5]])
    result = _integrals(start, end, radius_m=np.array([0.05]), outer_radius_m=np.array([0.08]))
    for value, radius in [(result.direct[0, 0], 0.05), (result.leakage_diagonal[0], 0.08)]:
        assert value == pytest.approx(2 * (2 * math.asinh(2 / radius) - math.hypot(2, radius) + radius), rel=1e-12)
        aside = np.array([[0.0, radius, 1.5], [2.0, radius, 1.5]])
        assert value == pytest.approx(straight_pair_integral(np.array([start[0], end[0]]), aside, 0.0), rel=1e-9)
    mirrored = np.array([[0.0, 0.0, -1.5], [2.0, 0.0, -1.5]])
    assert result.image[0, 0] == pytest.approx(straight_pair_integral(np.array([start[0], end[0]]), mirrored, 0.0))


def test_far_pairs_are_expanded_well() -> None:
    # two short wires just beyond the switch, against the exact form
    rng = np.random.default_rng(8)
    worst = 0.0
    for _ in range(200):
        directions = rng.normal(size=(3, 3))
        directions /= np.linalg.norm(directions, axis=1)[:, None]
        lengths = rng.uniform(0.3, 3.0, 2)
        offset = directions[2] * 1.001 * FAR_LENGTHS * lengths.max() + np.array([0.0, 0.0, 100.0])
        start = np.array([-0.5 * lengths[0] * directions[0], offset - 0.5 * lengths[1] * directions[1]])
        start[0, 2] += 100.0
        end = start + lengths[:, None] * directions[:2]
        exact = straight_pair_integral(np.array([start[0], end[0]]), np.array([start[1], end[1]]), 0.0)
        worst = max(worst, abs(_integrals(start, end).direct[0, 1] / exact - 1.0))
    assert worst < 3e-5


def test_matrices_hold_the_pairs() -> None:
    start, end = _scatter(20, 5)
    result = _integrals(start, end)
    mirror = np.array([1.0, 1.0, -1.0])
    for i, j in [(0, 1), (3, 17), (19, 2), (9, 10)]:
        wire_a, wire_b = np.array([start[i], end[i]]), np.array([start[j], end[j]])
        assert result.direct[i, j] == pytest.approx(straight_pair_integral(wire_a, wire_b, 0.04), rel=3e-5)
        assert result.image[i, j] == pytest.approx(straight_pair_integral(wire_a, wire_b * mirror, 0.04), rel=3e-5)


def test_symmetry_is_exact_and_repeats_are_identical() -> None:
    start, end = _scatter(41, 6)
    first, second = _integrals(start, end), _integrals(start, end)
    for name in ("direct", "image"):
        matrix = getattr(first, name)
        assert np.array_equal(matrix, matrix.T)
        assert matrix.tobytes() == getattr(second, name).tobytes()
        assert np.all(np.isfinite(matrix))
        assert np.all(matrix > 0.0)


@given(turn=st.floats(0.0, 6.28), shift_x=st.floats(-1e3, 1e3), shift_y=st.floats(-1e3, 1e3))
@settings(max_examples=15, deadline=None)
def test_rigid_motion_over_the_ground_changes_nothing(turn: float, shift_x: float, shift_y: float) -> None:
    start, end = _scatter(12, 7)
    spin = np.array([[math.cos(turn), -math.sin(turn), 0.0], [math.sin(turn), math.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    move = np.array([shift_x, shift_y, 0.0])
    here, there = _integrals(start, end), _integrals(start @ spin.T + move, end @ spin.T + move)
    # where a pair lies at the switch between two forms it may change sides: 3e-5
    np.testing.assert_allclose(there.direct, here.direct, rtol=3e-5)
    np.testing.assert_allclose(there.image, here.image, rtol=3e-5)


@given(size=st.floats(0.1, 50.0))
@settings(max_examples=15, deadline=None)
def test_integrals_are_a_length(size: float) -> None:
    start, end = _scatter(8, 9)
    radius = np.full(8, 0.02)
    here = _integrals(start, end)
    there = _integrals(size * start, size * end, radius_m=size * radius, outer_radius_m=size * radius)
    np.testing.assert_allclose(there.direct, size * here.direct, rtol=3e-5)
    np.testing.assert_allclose(there.leakage_diagonal, size * here.leakage_diagonal, rtol=1e-12)


@given(ends=st.tuples(points, points, points, points), share=st.floats(0.1, 0.9))
@settings(max_examples=40, deadline=None)
def test_parts_sum_to_the_whole(ends: tuple[tuple[float, float, float], ...], share: float) -> None:
    # identity: the integral over a wire is the sum over its two pieces
    a, b = np.array(ends[:2]), np.array(ends[2:])
    assume(np.linalg.norm(a[1] - a[0]) > 0.2 and np.linalg.norm(b[1] - b[0]) > 0.2)
    middle = a[0] + share * (a[1] - a[0])
    whole = straight_pair_integral(a, b, 0.01)
    parts = [straight_pair_integral(np.array(piece), b, 0.01) for piece in ((a[0], middle), (middle, a[1]))]
    assert sum(parts) == pytest.approx(whole, rel=2e-3 if _nearly_parallel(a, b) else 1e-7)


def _nearly_parallel(a: Array, b: Array) -> bool:
    sine = np.linalg.norm(np.cross(a[1] - a[0], b[1] - b[0]))
    return bool(sine < 1e-3 * np.linalg.norm(a[1] - a[0]) * np.linalg.norm(b[1] - b[0]))


def test_a_rod_from_the_surface_and_its_image_are_one_rod() -> None:
    # identity: rod and image in line, so 1/R1 + 1/R2 over the half is half of 1/R over the double rod (to the radius)
    start, end = np.array([[0.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 2.0]])
    result = _integrals(start, end, radius_m=np.array([0.01]), outer_radius_m=np.array([0.01]))
    double = 2 * (4 * math.asinh(4 / 0.01) - math.hypot(4, 0.01) + 0.01)
    assert result.direct[0, 0] + result.image[0, 0] == pytest.approx(double / 2, rel=1e-9)


def test_conductors_cannot_overlap() -> None:
    # two records on one axis: held at the sum of the outer radii, below the self term
    start = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0]])
    end = np.array([[2.0, 0.0, 1.0], [2.0, 0.0, 1.0]])
    result = _integrals(start, end)
    aside = np.array([[0.0, 0.04, 1.0], [2.0, 0.04, 1.0]])
    assert result.direct[0, 1] == pytest.approx(straight_pair_integral(np.array([start[0], end[0]]), aside, 0.0))
    assert np.linalg.eigvalsh(result.direct)[0] > 0.0


def test_touching_sections_of_a_chain_are_held_at_the_radius() -> None:
    start = np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0]])
    end = np.array([[2.0, 0.0, 1.0], [4.0, 0.0, 1.0]])
    joined = _integrals(start, end, chain=np.array([7, 7])).direct[0, 1]
    apart = _integrals(start, end).direct[0, 1]
    assert joined == pytest.approx(
        straight_pair_integral(np.array([start[0], end[0]]), np.array([start[1], end[1]]), 0.02)
    )
    assert apart < joined


@given(cuts=st.lists(st.floats(0.01, 0.99), max_size=9), coating=st.floats(0.0, 0.03), slope=st.floats(-0.4, 0.4))
@settings(max_examples=40, deadline=None)
def test_a_coated_wire_is_one_however_it_is_cut(cuts: list[float], coating: float, slope: float) -> None:
    # identity: the integrals of a straight wire's pieces sum to the whole wire's own, at the metal's radius for
    # induction, at the outer one for leakage. Tolerance: far pairs are expanded (3e-5)
    share = np.unique(np.round([0.0, *cuts, 1.0], 2))
    line = np.array([0.0, 0.0, 2.0]) + share[:, None] * np.array([4.0, 1.0, slope])
    n, metal = len(share) - 1, 0.05
    radii = {"radius_m": np.full(n, metal), "outer_radius_m": np.full(n, metal + coating)}
    cut = _integrals(line[:-1], line[1:], chain=np.zeros(n), **radii)
    whole = _integrals(line[:1], line[-1:], radius_m=np.array([metal]), outer_radius_m=np.array([metal + coating]))
    leak = cut.direct.sum() - np.trace(cut.direct) + cut.leakage_diagonal.sum() + 2 * cut.coated.change_m.sum()
    assert cut.direct.sum() == pytest.approx(whole.direct[0, 0], rel=3e-5)
    assert leak == pytest.approx(whole.leakage_diagonal[0], rel=3e-5)


def test_coated_pairs_are_those_of_one_coated_conductor() -> None:
    # a coated chain of three, a bare one of two, and a coated section of its own, all in line
    start = np.column_stack([np.arange(6) * 2.0, np.zeros(6), np.ones(6)])
    outer = np.array([0.03, 0.03, 0.03, 0.02, 0.02, 0.03])
    end = start + np.array([2.0, 0.0, 0.0])
    made = _integrals(start, end, chain=np.array([0, 0, 0, 1, 1, 2]), outer_radius_m=outer)
    assert list(zip(made.coated.first.tolist(), made.coated.second.tolist(), strict=True)) == [(0, 1), (0, 2), (1, 2)]
    assert np.all(made.coated.change_m < 0.0)
    apart = _integrals(start, end, outer_radius_m=outer)
    assert apart.coated.first.size == 0


def test_no_sections_give_empty_matrices() -> None:
    result = _integrals(np.empty((0, 3)), np.empty((0, 3)))
    assert result.direct.shape == result.image.shape == (0, 0)


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        ([[0.0, 0.0, 1.0]], [[0.0, 0.0, 1.0]], "section 0"),
        ([[0.0, 0.0, 1.0]], [[1.0, 0.0, -0.1]], "section 0"),
        ([[0.0, 0.0, 1.0], [0.0, math.nan, 1.0]], [[1.0, 0.0, 1.0], [1.0, 0.0, 1.0]], "section 1"),
        ([[0.0, 0.0]], [[1.0, 0.0]], "shape"),
        ([[0.0, 0.0, 1.0]], [[1.0, 0.0, 1.0], [2.0, 0.0, 1.0]], "shape"),
    ],
)
def test_bad_sections_are_refused(start: list[list[float]], end: list[list[float]], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        _integrals(np.array(start), np.array(end))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"radius_m": np.array([0.0])}, "section 0"),
        ({"radius_m": np.array([0.03])}, "radius_m <= outer_radius_m"),
        ({"outer_radius_m": np.array([0.02, 0.02])}, "one value"),
        ({"chain": np.array([1, 2])}, "one value"),
    ],
)
def test_bad_radii_are_refused(change: dict[str, Array], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        _integrals(np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 1.0]]), **change)
