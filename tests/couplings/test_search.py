"""The search as arrays: against every pair looked at, and what may not change it."""

import math
from itertools import combinations, product
from typing import Any

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from corridor.couplings import search as module
from corridor.couplings.search import Crossings, Limits, Runs, search
from corridor.couplings.segments import Segments, segments_and_ends, sorted_lines
from tests.couplings.plain import street

JOIN_M, CLEAR_M, SAME_M = 1.0, 0.05, 0.001


def _random(seed: int, *, count: int = 45, spread_m: float = 30.0) -> tuple[Segments, np.ndarray]:
    """Three segments a line, not connected, of every length and direction, some level, some upright; ends far away."""
    rng = np.random.default_rng(seed)
    length = rng.exponential(6.0, count) + 0.01
    angle = rng.choice([0.0, np.pi / 2, np.pi, *rng.uniform(0, 2 * np.pi, 5)], count)
    x, y = rng.uniform(0, spread_m, (2, count))
    line = np.arange(count, dtype=np.int64) // 3
    start = np.where(np.arange(count) % 3 == 0, 0.0, 0.0)
    for k in range(count):
        start[k] = 0.0 if k % 3 == 0 else start[k - 1] + length[k - 1]
    ends = np.arange(4.0 * (line[-1] + 1)).reshape(-1, 4) + 1e6
    return Segments(line, x, y, np.cos(angle), np.sin(angle), length, start), ends


def _shape(segments: Segments, k: int) -> LineString:
    return LineString([(segments.x_m[k], segments.y_m[k]), (segments.end_x_m[k], segments.end_y_m[k])])


def _pieces(segments: Segments, reach_m: float, angle_deg: float) -> dict[tuple[int, int], list[tuple[float, float]]]:
    """Pieces by pair of lines: a segment cut by the flat-ended strip round another, by geometry objects."""
    found: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for i, j in product(range(len(segments)), repeat=2):
        a, b = int(segments.line[i]), int(segments.line[j])
        along = segments.ux[i] * segments.ux[j] + segments.uy[i] * segments.uy[j]
        if a >= b or math.degrees(math.acos(min(1.0, abs(along)))) > angle_deg:
            continue
        cut = _shape(segments, i).intersection(_shape(segments, j).buffer(reach_m, cap_style="flat"))
        if cut.length > 1e-7:
            ends = sorted(_shape(segments, i).project(Point(p)) for p in (cut.coords[0], cut.coords[-1]))
            found.setdefault((a, b), []).append(tuple(segments.start_m[i] + e for e in ends))
    return found


def _columns(found: Runs | Crossings) -> np.ndarray:
    return np.column_stack([getattr(found, name) for name in type(found).__dataclass_fields__])


@given(st.integers(0, 10_000), st.floats(0.5, 8.0), st.sampled_from([10.0, 35.0]))
@settings(max_examples=10, deadline=None)
def test_runs_are_those_of_the_plain_definition(seed: int, reach_m: float, angle_deg: float) -> None:
    segments, _ = _random(seed)
    runs, crossings = search(
        segments, limits=Limits(max_separation_m=reach_m, max_angle_deg=angle_deg, min_length_m=0.3)
    )
    assert len(crossings) == 0
    plain = []
    for (a, b), pieces in sorted(_pieces(segments, reach_m, angle_deg).items()):
        run: list[float] = []
        for low, high in [*sorted(pieces), (math.inf, math.inf)]:
            if run and low - run[1] > JOIN_M:
                plain.append((a, b, *run))
                run = []
            run = [run[0], max(run[1], high), run[2] + high - low] if run else [low, high, high - low]
    sure = [p for p in plain if p[3] - p[2] >= 0.3 + 1e-5]
    own = np.column_stack((runs.line_a, runs.line_b, runs.from_m, runs.to_m, runs.covered_m))
    own = own[runs.to_m - runs.from_m >= 0.3 + 1e-5]
    np.testing.assert_allclose(own, np.array(sure).reshape(-1, 5), atol=1e-5)
    assert (runs.distance_min_m <= runs.distance_sum_m2 / runs.covered_m + 1e-9).all()
    assert (runs.distance_sum_m2 / runs.covered_m <= reach_m + 1e-9).all()


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_segments_cross_where_geometry_objects_do(seed: int) -> None:
    segments, ends = _random(seed, spread_m=15.0)
    _, found = search(segments, ends)
    own = set(zip(found.line_a.tolist(), found.line_b.tolist(), found.x_m.round(5), found.y_m.round(5), strict=True))
    for i, j in combinations(range(len(segments)), 2):
        if segments.line[i] != segments.line[j] and _shape(segments, i).crosses(_shape(segments, j)):
            a, b = sorted((int(segments.line[i]), int(segments.line[j])))
            point = _shape(segments, i).intersection(_shape(segments, j))
            assert any((a, b) == p[:2] and math.hypot(p[2] - point.x, p[3] - point.y) < 1e-4 for p in own)
    shapes = {a: [_shape(segments, k) for k in np.flatnonzero(segments.line == a)] for a in set(segments.line)}
    for a, b, x, y in own:
        assert min(s.distance(Point(x, y)) for s in shapes[a]) < 1e-4
        assert min(s.distance(Point(x, y)) for s in shapes[b]) < 1e-4
    assert ((found.angle_deg >= 0) & (found.angle_deg <= 90)).all()


def test_a_crowd_in_one_cell_is_searched_as_a_few_are() -> None:
    segments, _ = _random(4, count=180, spread_m=12.0)  # a list so long is sorted by line
    runs, _ = search(segments, limits=Limits(max_separation_m=2.0, max_angle_deg=10.0, min_length_m=0.0))
    pairs = {pair for pair, pieces in _pieces(segments, 2.0, 10.0).items() if sum(b - a for a, b in pieces) > 1e-4}
    assert len(pairs) > 100
    assert {*zip(runs.line_a.tolist(), runs.line_b.tolist(), strict=True)} >= pairs
    covered = sum(b - a for pieces in _pieces(segments, 2.0, 10.0).values() for a, b in pieces)
    assert runs.covered_m.sum() == pytest.approx(covered, abs=1e-3)


@pytest.mark.parametrize("chunk_segments", [1, 7, 40])
@pytest.mark.parametrize("threads", [1, 2])
def test_chunks_threads_and_room_change_nothing(
    chunk_segments: int, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = sorted_lines(street(5, count=25))
    given_ = segments_and_ends(lines)
    whole = search(*given_, limits=Limits())
    assert len(whole[0])
    assert len(whole[1])
    monkeypatch.setattr(module, "_GUESS", 0)  # every chunk is done again with room
    before = numba.get_num_threads()
    numba.set_num_threads(min(threads, numba.config.NUMBA_NUM_THREADS))
    try:
        parts = search(*given_, limits=Limits(), chunk_segments=chunk_segments)
    finally:
        numba.set_num_threads(before)
    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_array_equal(_columns(one), _columns(other))


def test_each_alone_is_as_both_together() -> None:
    lines = sorted_lines(street(6, count=20))
    segments, ends = segments_and_ends(lines)
    runs, crossings = search(segments, ends, limits=Limits())
    np.testing.assert_array_equal(_columns(search(segments, limits=Limits())[0]), _columns(runs))
    np.testing.assert_array_equal(_columns(search(segments, ends)[1]), _columns(crossings))
    assert [len(part) for part in search(segments)] == [0, 0]


@pytest.mark.parametrize("away_m", [4e7, -4e7])
def test_one_record_far_away_changes_nothing(away_m: float) -> None:
    base, ends = _random(3)
    far = Segments(*(np.append(getattr(base, name), getattr(base, name)[-1:]) for name in base.__annotations__))
    far.x_m[-1] += away_m  # as far as the other side of the earth
    far.line[-1] += 1
    more = np.vstack((ends, ends[-1:] + 9.0))
    for one, other in zip(search(base, ends, limits=Limits()), search(far, more, limits=Limits()), strict=True):
        np.testing.assert_array_equal(_columns(one), _columns(other))


def test_a_long_line_meets_all_it_crosses() -> None:
    count = 500
    x = np.append(0.0, np.linspace(1.0, 2999.0, count))
    y = np.append(0.0, x[1:] - 0.5)
    ux, uy = np.append(np.sqrt(0.5), np.zeros(count)), np.append(np.sqrt(0.5), np.ones(count))
    length = np.append(3000.0 * np.sqrt(2.0), np.ones(count))
    segments = Segments(np.arange(count + 1), x, y, ux, uy, length, np.zeros(count + 1))
    ends = np.column_stack((x, y, segments.end_x_m, segments.end_y_m))
    _, found = search(segments, ends)
    assert found.line_b.tolist() == list(range(1, count + 1))
    assert not found.line_a.any()
    np.testing.assert_allclose(found.angle_deg, 45.0)


def _cross(offset_m: float, shift_m: float = 0.0) -> tuple[Segments, np.ndarray]:
    """A level line from 0 to 10 m, and an upright one through it, so far from its start, that begins so far below."""
    line = np.array([0, 1])
    x, y = np.array([0.0, offset_m]), np.array([0.0, -shift_m])
    ux, uy, length = np.array([1.0, 0.0]), np.array([0.0, 1.0]), np.array([10.0, 10.0])
    ends = np.column_stack((x, y, x + ux * length, y + uy * length))
    return Segments(line, x, y, ux, uy, length, np.zeros(2)), ends


@pytest.mark.parametrize(
    ("offset_m", "shift_m", "count"),
    [(5.0, 5.0, 1), (0.04, 5.0, 0), (0.06, 5.0, 1), (9.96, 5.0, 0), (5.0, 0.04, 0), (5.0, 0.06, 1), (5.0, 9.96, 0)],
)
def test_a_point_at_an_end_is_no_crossing(offset_m: float, shift_m: float, count: int) -> None:
    # CLEAR_M is the definition's
    assert len(search(*_cross(offset_m, shift_m))[1]) == count


def test_lines_that_share_an_end_do_not_cross() -> None:
    segments, ends = _cross(5.0, 5.0)
    ends[1, 2:] = ends[0, :2] + [SAME_M / 2, 0.0]
    assert len(search(segments, ends)[1]) == 0
    ends[1, 2:] = ends[0, :2] + [2 * SAME_M, 0.0]
    assert len(search(segments, ends)[1]) == 1


def test_a_point_counts_once_with_its_least_angle() -> None:
    # the second line bends within half a millimetre of the first: two of its segments meet it there
    line = np.array([0, 1, 1])
    x, y = np.array([0.0, 5.0, 5.0]), np.array([0.0, -3.0, 0.0])
    ux, uy = np.array([1.0, 0.0, 0.6]), np.array([0.0, 1.0, 0.8])
    segments = Segments(line, x, y, ux, uy, np.array([10.0, 3.0, 5.0]), np.array([0.0, 0.0, 3.0]))
    ends = np.array([[0.0, 0.0, 10.0, 0.0], [5.0, -3.0, 8.0, 4.0]])
    _, found = search(segments, ends)
    assert len(found) == 1
    assert found.angle_deg[0] == pytest.approx(math.degrees(math.atan2(0.8, 0.6)))


def test_many_findings_of_one_line_are_sorted() -> None:
    count = 200  # more than are sorted by insertion
    rng = np.random.default_rng(1)
    x = np.append(0.0, rng.permutation(np.linspace(1.0, 99.0, count)))
    line = np.append(0, 1 + np.arange(count) // 100)
    ux, uy = np.append(1.0, np.zeros(count)), np.append(0.0, np.ones(count))
    segments = Segments(
        line, x, np.append(0.0, np.full(count, -1.0)), ux, uy, np.append(100.0, np.full(count, 2.0)), 0.0 * x
    )
    _, found = search(segments, np.arange(12.0).reshape(3, 4) + 1e6)
    assert len(found) == count
    assert found.line_b.tolist() == sorted(found.line_b.tolist())
    for b in (1, 2):
        assert (np.diff(found.measure_m[found.line_b == b]) > 0).all()


def test_nothing_in_nothing_out() -> None:
    none = Segments(np.empty(0, np.int64), *np.empty((6, 0)))
    found: Any = search(none, np.empty((0, 4)), limits=Limits())
    assert [len(part) for part in found] == [0, 0]
    assert [getattr(found[0], name).shape for name in ("line_a", "from_m")] == [(0,), (0,)]
