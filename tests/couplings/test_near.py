"""Segments near each other: the compiled search against every pair looked at."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from corridor.couplings import near
from corridor.couplings.near import beside, meeting
from corridor.couplings.segments import Segments, segments_of, sorted_lines
from tests.couplings.plain import street

TOUCH_M, SINE = 1e-8, 1e-9


def _random(seed: int, *, count: int = 40, spread_m: float = 30.0) -> Segments:
    """Segments of every length and direction, some level, some upright, three a line."""
    rng = np.random.default_rng(seed)
    length = rng.exponential(6.0, count) + 0.01
    angle = rng.choice([0.0, np.pi / 2, np.pi, *rng.uniform(0, 2 * np.pi, 5)], count)
    ux, uy = np.cos(angle), np.sin(angle)
    x, y = rng.uniform(0, spread_m, (2, count))
    return Segments(np.arange(count, dtype=np.int64) // 3, x, y, ux, uy, length, np.zeros(count))


def _shape(segments: Segments, k: int) -> LineString:
    return LineString([(segments.x_m[k], segments.y_m[k]), (segments.end_x_m[k], segments.end_y_m[k])])


def _sorted(found: object, *names: str) -> np.ndarray:
    columns = np.column_stack([getattr(found, name) for name in ("i", "j", *names)])
    return columns[np.lexsort(columns.T[1::-1])]


@given(st.integers(0, 10_000), st.floats(0.0, 8.0))
@settings(max_examples=25, deadline=None)
def test_pieces_lie_beside_and_none_is_missed(seed: int, reach_m: float) -> None:
    # plain definition: points along i whose foot lies inside j at no more than the reach, by geometry objects
    segments = _random(seed)
    found = beside(segments, reach_m=reach_m, angle_deg=90.0)
    pieces = {(i, j): k for k, (i, j) in enumerate(zip(found.i, found.j, strict=True))}
    assert len(pieces) == len(found.i)
    shares = np.linspace(0.0, 1.0, 41)[1:-1]
    for i, j in product(range(len(segments)), repeat=2):
        if segments.line[i] >= segments.line[j]:
            assert (i, j) not in pieces
            continue
        along = shares * segments.length_m[i]
        dx = segments.x_m[i] + segments.ux[i] * along - segments.x_m[j]
        dy = segments.y_m[i] + segments.uy[i] * along - segments.y_m[j]
        foot = dx * segments.ux[j] + dy * segments.uy[j]
        away = np.abs(segments.ux[j] * dy - segments.uy[j] * dx)
        inside = (foot > 1e-9) & (foot < segments.length_m[j] - 1e-9) & (away < reach_m - 1e-9)
        if (i, j) not in pieces:
            assert not inside.any()
            continue
        k = pieces[i, j]
        covered = (along >= found.from_m[k] - 1e-9) & (along <= found.to_m[k] + 1e-9)
        assert covered[inside].all()
        assert found.distance_min[k] >= _shape(segments, i).distance(_shape(segments, j)) - 1e-9
        assert found.distance_sum[k] <= reach_m * (found.to_m[k] - found.from_m[k]) + 1e-9


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_segments_meet_where_geometry_objects_cross(seed: int) -> None:
    segments = _random(seed, spread_m=15.0)
    found = meeting(segments, touch_m=TOUCH_M, least_sine=SINE)
    points = {(i, j): k for k, (i, j) in enumerate(zip(found.i, found.j, strict=True))}
    for i, j in product(range(len(segments)), repeat=2):
        if segments.line[i] < segments.line[j] and _shape(segments, i).crosses(_shape(segments, j)):
            k = points[i, j]
            x = segments.x_m[i] + segments.ux[i] * found.on_i[k]
            y = segments.y_m[i] + segments.uy[i] * found.on_i[k]
            crossing = _shape(segments, i).intersection(_shape(segments, j))
            assert (x, y) == pytest.approx((crossing.x, crossing.y), abs=1e-6)
            assert 0.0 <= found.angle_deg[k] <= 90.0
    for i, j in points:
        assert _shape(segments, i).distance(_shape(segments, j)) <= 1e-6


@pytest.mark.parametrize("rows", [1, 7])
def test_ranges_and_room_change_nothing(rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    segments = segments_of(sorted_lines(street(5, count=20)))
    limits = {"reach_m": 2.0, "angle_deg": 90.0}
    whole = beside(segments, **limits)
    monkeypatch.setattr(near, "ROWS", rows)
    monkeypatch.setattr(near, "_GUESS", 0)  # every range is done again with room
    parts = beside(segments, **limits)
    for name in ("i", "j", "from_m", "to_m", "distance_sum", "distance_min"):
        assert getattr(parts, name).tolist() == getattr(whole, name).tolist()
    assert len(whole.i)


def test_one_record_far_away_costs_nothing() -> None:
    base = _random(3)
    far = Segments(*(np.append(getattr(base, name), getattr(base, name)[-1:]) for name in base.__annotations__))
    far.x_m[-1] += 4e7  # as far as the other side of the earth
    far.line[-1] += 1
    one, two = (_sorted(beside(s, reach_m=3.0, angle_deg=10.0), "from_m", "to_m") for s in (base, far))
    np.testing.assert_array_equal(one, two)


def test_a_long_line_meets_all_it_crosses() -> None:
    count = 500
    x = np.append(0.0, np.linspace(1.0, 2999.0, count))
    y = np.append(0.0, x[1:] - 0.5)
    ux, uy = np.append(np.sqrt(0.5), np.zeros(count)), np.append(np.sqrt(0.5), np.ones(count))
    length = np.append(3000.0 * np.sqrt(2.0), np.ones(count))
    segments = Segments(np.arange(count + 1), x, y, ux, uy, length, np.zeros(count + 1))
    found = meeting(segments, touch_m=TOUCH_M, least_sine=SINE)
    assert sorted(found.j.tolist()) == list(range(1, count + 1))
    np.testing.assert_allclose(found.angle_deg, 45.0)


def test_nothing_in_nothing_out() -> None:
    none = Segments(np.empty(0, np.int64), *np.empty((6, 0)))
    assert len(beside(none, reach_m=3.0, angle_deg=10.0).distance_min) == 0
    assert len(meeting(none, touch_m=TOUCH_M, least_sine=SINE).angle_deg) == 0
