"""Field above ground: closed forms, identities of the field equations, invariances and refusals."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.tone.eddy_fields import eddy_matrices
from corridor.tone.field import field_matrices, left_of, profile_nodes, profile_points, profile_weights

coordinate = st.floats(-20.0, 20.0)
depth = st.floats(0.3, 3.0)
height = st.floats(0.0, 1.0)
end = st.tuples(coordinate, coordinate, depth)


def axis_of(angle_rad: float) -> NDArray[np.float64]:
    return np.array([[math.cos(angle_rad), math.sin(angle_rad)]])


def straight(depth_m: float, half_length_m: float, pieces: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sections along x, centred on the origin."""
    x = np.linspace(-half_length_m, half_length_m, pieces + 1)
    nodes = np.column_stack((x, np.zeros_like(x), np.full_like(x, depth_m)))
    return nodes[:-1], nodes[1:]


def test_left_is_a_quarter_turn_from_the_direction() -> None:
    assert left_of([[2.0, 0.0], [0.0, -3.0]]) == pytest.approx(np.array([[0.0, 1.0], [1.0, 0.0]]))


@pytest.mark.parametrize("direction", [[[0.0, 0.0]], [[1.0, 0.0, 0.0]]])
def test_direction_must_be_two_numbers_and_not_zero(direction: Any) -> None:
    with pytest.raises(DomainError, match="direction must"):
        left_of(direction)


def test_profile_runs_from_right_to_left_station_by_station() -> None:
    points, axis = profile_points([[10.0, 5.0], [0.0, 0.0]], [[1.0, 0.0], [0.0, 2.0]], [-1.0, 0.0, 2.0], height_m=0.1)
    assert points == pytest.approx(
        np.array([[10, 4, 0.1], [10, 5, 0.1], [10, 7, 0.1], [1, 0, 0.1], [0, 0, 0.1], [-2, 0, 0.1]])
    )
    assert axis == pytest.approx(np.array([[0.0, 1.0]] * 3 + [[-1.0, 0.0]] * 3))


def test_weights_carry_a_polynomial_exactly() -> None:
    nodes, offsets = np.linspace(-2.5, 2.5, 5), np.linspace(-2.5, 2.5, 41)
    weights = profile_weights(nodes, offsets)
    assert weights.shape == (41, 5)
    assert weights @ (nodes**4 - 3.0 * nodes) == pytest.approx(offsets**4 - 3.0 * offsets, abs=1e-12)


def test_weights_need_distinct_nodes() -> None:
    with pytest.raises(DomainError, match="distinct"):
        profile_weights([0.0, 1.0, 1.0], [0.5])


@pytest.mark.parametrize("x", [-2.0, -0.4, 0.0, 1.0, 3.0])
def test_long_line_has_the_field_of_amperes_law(x: float) -> None:
    # Ampere's law: B_h = mu_0 I d/(2 pi (x^2 + d^2)), B_v = mu_0 I x/(2 pi (x^2 + d^2)); a line of half length L falls
    # short by d^2/(2 L^2), here 1e-7. Left of a forward current the field rises, above it points to the right.
    start, finish = straight(1.1, 3000.0, 7)
    field = field_matrices([[0.0, x, 0.1]], start, finish, axis=[[0.0, 1.0]])
    scale = MU_0 / (2.0 * math.pi * (x**2 + 1.2**2))
    assert field.h_per_current.sum() == pytest.approx(-scale * 1.2, rel=1e-6)
    assert field.v_per_current.sum() == pytest.approx(scale * x, rel=1e-6, abs=1e-20)


def test_horizontal_field_halves_where_the_offset_equals_the_depth() -> None:
    # identity of the closed form above: d/(x^2 + d^2) at x = d is half of 1/d
    start, finish = straight(1.0, 3000.0, 1)
    field = field_matrices([[0, 0, 0], [0, 1, 0]], start, finish, axis=[[0, 1], [0, 1]]).h_per_current[:, 0]
    assert field[1] / field[0] == pytest.approx(0.5, rel=1e-6)


def test_along_the_line_there_is_no_field_of_its_current() -> None:
    start, finish = straight(1.0, 5.0, 3)
    field = field_matrices([[0.3, 0.4, 0.1]], start, finish, axis=[[1.0, 0.0]])
    assert np.abs(field.h_per_current).max() < 1e-22


@pytest.mark.parametrize(
    ("start", "finish"),
    [
        ([0.0, 0.0, 1.0], [1.0, 0.4, 1.0]),  # horizontal: closed form
        ([0.0, 0.0, 1.0], [0.9, 0.2, 1.3]),  # sloping: Gauss points
        ([0.3, 0.2, 0.2], [0.3, 0.2, 1.7]),  # vertical: a ground rod
        ([40.0, 0.0, 1.0], [41.0, 2.0, 1.0]),  # far: two points
    ],
)
@pytest.mark.parametrize("point", [[0.5, 1.0, 0.1], [2.0, -1.5, 0.6], [-0.5, 0.0, 0.0]])
def test_leak_is_the_average_of_wires_going_down(start: list[float], finish: list[float], point: list[float]) -> None:
    # mu_0 Q/(4 pi rho) (1 - H/R) round the leak, averaged over the section by adaptive quadrature (scipy)
    a, b, p = (np.array(v) for v in (start, finish, point))

    def wire(share: float, component: int) -> float:
        leak = a + share * (b - a)
        x, y, h = p[0] - leak[0], p[1] - leak[1], p[2] + leak[2]
        rho = math.hypot(x, y)
        size = MU_0 / (4.0 * math.pi * rho) * (1.0 - h / math.hypot(rho, h))
        return float(size * (y, -x)[component] / rho)

    for component, axis in ((0, [1.0, 0.0]), (1, [0.0, 1.0])):
        expected = quad(wire, 0.0, 1.0, args=(component,), epsabs=1e-17, epsrel=1e-10)[0]
        got = field_matrices([p], [a], [b], axis=[axis]).h_per_leak[0, 0]
        assert got == pytest.approx(expected, rel=2e-4, abs=1e-12)


def test_straight_above_a_leaking_section_the_closed_form_holds() -> None:
    # the point lies in the vertical plane of the section, where the closed form has 0/0
    above, beside = (
        field_matrices([[0.4, y, 0.1]], [[0.0, 0.0, 1.0]], [[2.0, 0.0, 1.0]], axis=[[0.0, 1.0]]).h_per_leak[0, 0]
        for y in (0.0, 1e-7)
    )
    assert above == pytest.approx(beside, rel=1e-5)


def test_field_of_a_whole_circuit_has_no_source_and_no_curl_in_air() -> None:
    # Maxwell: no charge of magnetism and no current in air. Current enters the soil at one end, leaves at the other,
    # so that Kirchhoff's law holds; central differences of 1 cm.
    start, finish = straight(0.9, 4.0, 8)
    tip = np.array([[1e-6, 0.0, 0.0]])
    start, finish = np.vstack((start, start[:1], finish[-1:] - tip)), np.vstack((finish, start[:1] + tip, finish[-1:]))
    current, leak = np.array([1.0] * 8 + [0.0] * 2), np.array([0.0] * 8 + [-1.0, 1.0])
    step = 0.01
    centre = np.array([-3.1, 0.7, 0.5])
    jacobian = np.empty((3, 3))
    for k in range(3):
        ends = centre + step * np.array([[-1.0], [1.0]]) * np.eye(3)[k]
        components = []
        for axis in ([1.0, 0.0], [0.0, 1.0]):
            field = field_matrices(ends, start, finish, axis=[axis, axis])
            components.append(field.h_per_current @ current + field.h_per_leak @ leak)
        components.append(field.v_per_current @ current)
        jacobian[:, k] = [(c[1] - c[0]) / (2.0 * step) for c in components]
    size = np.abs(jacobian).max()
    assert abs(np.trace(jacobian)) < 1e-3 * size
    assert np.abs(jacobian - jacobian.T).max() < 1e-3 * size


@settings(max_examples=40, deadline=None)
@given(end, end, st.tuples(coordinate, coordinate, height), st.floats(0.0, 6.3))
def test_turning_a_section_round_turns_its_current_but_not_its_leak(a: Any, b: Any, p: Any, angle: float) -> None:
    if math.dist(a, b) < 0.05:
        return
    there = field_matrices([p], [a], [b], axis=axis_of(angle))
    back = field_matrices([p], [b], [a], axis=axis_of(angle))
    tolerance = 1e-13
    assert back.h_per_current == pytest.approx(-there.h_per_current, rel=1e-9, abs=tolerance)
    assert back.v_per_current == pytest.approx(-there.v_per_current, rel=1e-9, abs=tolerance)
    assert back.h_per_leak == pytest.approx(there.h_per_leak, rel=1e-6, abs=tolerance)


@settings(max_examples=40, deadline=None)
@given(end, st.floats(0.0, 6.3), depth, st.tuples(st.floats(-6, 6), st.floats(-6, 6), height), st.floats(0.1, 0.9))
def test_cutting_a_section_changes_nothing(a: Any, course: float, depth_b: float, p: Any, share: float) -> None:
    b = np.array([a[0] + 2.0 * math.cos(course), a[1] + 2.0 * math.sin(course), depth_b])
    p = np.add(p, [a[0], a[1], 0.0])
    length = math.dist(a, b)
    cut = np.array(a) + share * (b - np.array(a))
    whole = field_matrices([p], [a], [b], axis=[[1.0, 0.0]])
    parts = field_matrices([p], [a, cut], [cut, b], axis=[[1.0, 0.0]])
    scale = MU_0 / (4.0 * math.pi)
    assert parts.h_per_current.sum() == pytest.approx(whole.h_per_current[0, 0], rel=1e-6, abs=1e-9 * scale)
    assert parts.v_per_current.sum() == pytest.approx(whole.v_per_current[0, 0], rel=1e-6, abs=1e-9 * scale)
    leak = parts.h_per_leak[0] @ np.array([share, 1.0 - share])
    # far sections have two Gauss points (1e-4), sloping ones twelve
    assert leak == pytest.approx(whole.h_per_leak[0, 0], rel=1e-3, abs=1e-3 * scale / length)


@settings(max_examples=40, deadline=None)
@given(end, end, st.tuples(coordinate, coordinate, height), st.floats(0.0, 6.3), coordinate, st.booleans())
def test_field_moves_with_the_ground(a: Any, b: Any, p: Any, angle: float, shift: float, eddy: bool) -> None:
    if math.dist(a, b) < 0.05:
        return
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    move = np.array([shift, -0.5 * shift, 0.0])

    def fields(points: Any, start: Any, finish: Any, axis: Any) -> Any:
        if eddy:
            return eddy_matrices(points, start, finish, axis=axis, gamma_per_m=0.1 + 0.1j)
        return field_matrices(points, start, finish, axis=axis)

    here = fields([p], [a], [b], axis_of(0.3))
    there = fields([p @ turn + move], [a @ turn + move], [b @ turn + move], axis_of(0.3 + angle))
    for one, other in zip(here, there, strict=True):
        assert other == pytest.approx(one, rel=1e-5, abs=1e-14)


def closed(matrices: Any, leaks: NDArray[np.float64]) -> Any:
    """Field of 1 A along all sections, horizontal and vertical, with what leaves each into the soil."""
    current = np.ones(leaks.size)
    return np.array([matrices.h_per_current @ current + matrices.h_per_leak @ leaks, matrices.v_per_current @ current])


@pytest.mark.parametrize("length_m", [4.0, 100.0])
def test_eddy_field_of_a_section_is_the_sum_of_its_pieces(length_m: float) -> None:
    # the rule along a section against one of fifty pieces; 1e-3 of the line's own field at its peak
    points, axis = profile_points([[0.2, 0.0]], [[1.0, 0.3]], np.linspace(-2, 2, 5), height_m=0.1)
    whole, fine = (
        closed(
            eddy_matrices(points, *straight(1.0, 0.5 * length_m, count), axis=axis, gamma_per_m=0.2 + 0.2j),
            np.full(count, 0.3 / count),
        )
        for count in (1, 50)
    )
    assert np.abs(whole - fine).max() < 1e-3 * MU_0 / (2.0 * math.pi * 1.1)


def test_in_conducting_ground_the_eddies_cancel_the_line() -> None:
    # a good conductor lets hardly anything out: of the order of the depth of penetration (1/|gamma|, 7 mm) over 1 m
    start, finish = straight(1.0, 60.0, 121)
    points, axis = profile_points([[0.0, 0.0]], [[1.0, 0.0]], [-1.0, 0.3, 2.0], height_m=0.1)
    leaks = np.zeros(121)
    leaks[[0, -1]] = -1, 1
    direct = closed(field_matrices(points, start, finish, axis=axis), leaks)
    eddy = closed(eddy_matrices(points, start, finish, axis=axis, gamma_per_m=100.0 + 100.0j), leaks)
    assert np.abs(direct + eddy).max() < 0.01 * np.abs(direct).max()


def test_upright_current_carries_its_leak_down() -> None:
    # what leaves a level line at 0.5 m, or goes down from there by a rod and leaves at 2 m: in the air it's the same
    # but for the level current, by the definition of the upright section's share
    points, axis = np.array([[1.0, 0.7, 0.1], [4.0, -2.0, 0.1]]), np.array([[0.6, 0.8], [1.0, 0.0]])
    level = 1e-3
    start = np.array([[0, 0, 0.5], [0, 0, 0.5], [0, 0, 2.0]])
    finish = start + np.array([[level, 0, 0], [0, 0, 1.5], [level, 0, 0]])
    eddy = eddy_matrices(points, start, finish, axis=axis, gamma_per_m=0.2 + 0.2j)
    above = eddy.h_per_leak[:, 0]
    below = eddy.h_per_current[:, 1] + eddy.h_per_leak[:, 2]
    assert np.abs(above - below).max() < 5e-3 * np.abs(above).max()
    assert not eddy.v_per_current[:, 1].any()


def test_no_points_give_empty_eddies() -> None:
    eddy = eddy_matrices(np.empty((0, 3)), *straight(1.0, 5.0, 4), axis=np.empty((0, 2)), gamma_per_m=0.1 + 0.1j)
    assert [part.shape for part in eddy] == [(0, 4)] * 3


def test_eddy_field_vanishes_in_dry_ground() -> None:
    start, finish = straight(1.0, 10.0, 10)
    fields = [
        np.abs(eddy_matrices([[0, 0, 0]], start, finish, axis=[[0, 1]], gamma_per_m=g * (1 + 1j)).h_per_current.sum())
        for g in (1e-1, 1e-2, 1e-3)
    ]
    assert fields[0] > 10.0 * fields[1] > 100.0 * fields[2]


@pytest.mark.parametrize("across_m", [-2.0, 0.0, 0.4, 1.2])
@pytest.mark.parametrize("depth_m", [0.6, 1.0])
@pytest.mark.parametrize(("gamma_per_m", "bar"), [(0.28 + 0.28j, 1e-2), (0.063 + 0.063j, 5e-4)])
def test_five_nodes_stand_for_the_eddy_field_of_a_profile(
    gamma_per_m: complex, bar: float, depth_m: float, across_m: float
) -> None:
    # 10 ohm m at 200 kHz, the steepest case in use, and 10 ohm m at 10 kHz; close to the line the field turns sharply.
    # Both components, the line at the middle and aside; even nodes missed up to 1.3e-2 and 6.7e-4.
    offsets = np.linspace(-2.5, 2.5, 41)
    nodes = profile_nodes(offsets, 5)
    start, finish = straight(depth_m, 30.0, 30)
    start[:, 1], finish[:, 1] = across_m, across_m

    def field(at: NDArray[np.float64]) -> Any:
        points, axis = profile_points([[1.0, 0.0]], [[1.0, 0.0]], at, height_m=0.1)
        made = eddy_matrices(points, start, finish, axis=axis, gamma_per_m=gamma_per_m)
        return np.array([made.h_per_current.sum(axis=1), made.v_per_current.sum(axis=1)])

    # a share of the line's own field at its peak, mu_0/(2 pi (depth + 0.1 m))
    error = np.abs(field(nodes) @ profile_weights(nodes, offsets).T - field(offsets)).max(axis=1)
    assert np.all(error < np.array([0.8, 1.0]) * bar * MU_0 / (2.0 * math.pi * (depth_m + 0.1)))


@given(low=st.floats(-5.0, 0.0), width=st.floats(0.1, 8.0), count=st.integers(1, 9))
@settings(max_examples=25, deadline=None)
def test_nodes_carry_polynomials_exactly(low: float, width: float, count: int) -> None:
    # identity: interpolation through n nodes reproduces any polynomial of degree n - 1
    offsets = np.linspace(low, low + width, 11)
    nodes = profile_nodes(offsets, count)
    assert np.all((nodes >= low) & (nodes <= low + width))
    assert np.all(np.diff(nodes) > 0.0)
    polynomial = np.polynomial.Polynomial(np.arange(1.0, count + 1.0), domain=[low, low + width])
    carried = profile_weights(nodes, offsets) @ polynomial(nodes)
    assert carried == pytest.approx(polynomial(offsets), rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("eddy", [False, True])
def test_fields_are_the_products_of_matrices_and_amplitudes(eddy: bool) -> None:
    start, finish = straight(0.8, 5.0, 10)
    points, axis = profile_points([[0.3, 0.0]], [[1.0, 0.2]], np.linspace(-2, 2, 5), height_m=0.1)
    rng = np.random.default_rng(2)
    # every other column of a wider array, so that the amplitudes are not contiguous
    current, leak = ((rng.normal(size=(10, 6)) + 1j * rng.normal(size=(10, 6)))[:, ::2] for _ in range(2))
    if eddy:
        field = eddy_matrices(points, start, finish, axis=axis, gamma_per_m=0.1 + 0.1j)
    else:
        field = field_matrices(points, start, finish, axis=axis)
    expected = field.h_per_current @ current + field.h_per_leak @ leak
    assert field.horizontal_t(current, leak) == pytest.approx(expected, rel=1e-12)
    assert field.vertical_t(current) == pytest.approx(field.v_per_current @ current, rel=1e-12)
    own = np.arange(10) < 4
    part = field.of_sections(own)
    assert part.horizontal_t(current[own], leak[own]) == pytest.approx(
        field.horizontal_t(current * own[:, None], leak * own[:, None]), rel=1e-12
    )


GOOD: dict[str, Any] = {
    "points_m": [[0.0, 0.0, 0.1]],
    "start_m": [[0.0, 0.0, 1.0]],
    "end_m": [[1.0, 0.0, 1.0]],
    "axis": [[0.0, 1.0]],
}


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("points_m", [[0.0, 0.0]], "points_m must have shape"),
        ("points_m", [[0.0, 0.0, -0.1]], "points_m must lie at or above ground"),
        ("points_m", [[0.0, 0.0, math.nan]], "points_m must lie at or above ground"),
        ("axis", [[0.0, 1.0], [0.0, 1.0]], "axis must have shape"),
        ("start_m", [[0.0, 0.0, -1.0]], "at or below ground"),
        ("end_m", [[0.0, 0.0, 1.0]], "equal ends in row 0"),
        ("end_m", [[1.0, 0.0, 1.0]] * 2, "end_m must have shape"),
    ],
)
def test_wrong_input_gets_one_sentence(name: str, value: Any, message: str) -> None:
    given_input = GOOD | {name: value}
    with pytest.raises(DomainError, match=message):
        field_matrices(**given_input)
    with pytest.raises(DomainError, match=message):
        eddy_matrices(**given_input, gamma_per_m=0.1 + 0.1j)


def test_soil_without_loss_has_no_eddy_field() -> None:
    with pytest.raises(DomainError, match="gamma_per_m must have a positive real part"):
        eddy_matrices(**GOOD, gamma_per_m=0.1j)


def test_no_sections_give_empty_matrices() -> None:
    empty = np.empty((0, 3))
    field = field_matrices([[0.0, 0.0, 0.1]], empty, empty, axis=[[0.0, 1.0]])
    assert [part.shape for part in field] == [(1, 0)] * 3


def test_sections_out_of_reach_are_left_out_of_both_fields() -> None:
    start, end = np.array([[0.0, 0.0, 1.0], [50.0, 0.0, 1.0]]), np.array([[2.0, 0.0, 1.0], [52.0, 0.0, 1.0]])
    points, axis = np.array([[1.0, 0.5, 0.0]]), np.array([[0.0, 1.0]])
    for near, whole in (
        (
            field_matrices(points, start, end, axis=axis, reach_m=30.0),
            field_matrices(points, start, end, axis=axis),
        ),
        (
            eddy_matrices(points, start, end, axis=axis, gamma_per_m=0.1 + 0.1j, reach_m=[30.0, np.inf]),
            eddy_matrices(points, start, end, axis=axis, gamma_per_m=0.1 + 0.1j),
        ),
    ):
        np.testing.assert_array_equal(near.h_per_current[:, 0], whole.h_per_current[:, 0])
    assert (field_matrices(points, start, end, axis=axis, reach_m=30.0).h_per_leak[:, 1] == 0).all()
