"""Lines within reach of points: as shapely's distances say, wherever the points and whatever the lines."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.couplings import near
from corridor.couplings.near import lines_near

Case = tuple[NDArray[np.object_], NDArray[np.float64], float]


def _case(seed: int) -> Case:
    """Return lines, points and a reach, on whole half metres in every other case, far from the origin or round it."""
    rng = np.random.default_rng(seed)
    unit_m, origin_m = rng.choice([0.5, 1e-9]), rng.choice([[0.0, 0.0], [4e5, 5e6]])
    places = [np.round(rng.uniform(-25, 25, (k, 2)) / unit_m) * unit_m + origin_m for k in rng.integers(2, 6, 20)]
    places[0] = np.repeat(places[0][:1], 2, axis=0)  # a line of no length
    places[1] = places[1] + [[-900.0, 0.0], *[[900.0, 1.0]] * (len(places[1]) - 1)]  # and a long one
    points = np.round(rng.uniform(-30, 30, (30, 2)) / unit_m) * unit_m + origin_m
    return np.array([shapely.linestrings(xy) for xy in places]), points, float(rng.choice([0.0, 0.5, 2.5, 40.0]))


def _rows(lines: NDArray[np.object_], points: NDArray[np.float64], reach_m: float) -> list[tuple[int, int]]:
    xy, line = shapely.get_coordinates(lines, return_index=True)
    return list(zip(*(rows.tolist() for rows in lines_near(xy, line, points, reach_m=reach_m)), strict=True))


@given(st.integers(0, 10_000), st.booleans())
@settings(max_examples=100, deadline=None)
def test_as_distances_say(seed: int, at_the_limit: bool) -> None:
    lines, points, reach_m = _case(seed)
    apart_m = shapely.distance(shapely.points(points)[:, None], lines)
    if at_the_limit:  # a line just as far away as the reach is within it
        reach_m = float(np.random.default_rng(seed).choice(apart_m.ravel()))
    assert _rows(lines, points, reach_m) == list(zip(*np.nonzero(apart_m <= reach_m), strict=True))


@pytest.mark.parametrize("chunk", [1, 7])
def test_chunks_and_room_change_nothing(chunk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    lines, points, _ = _case(3)
    whole = _rows(lines, points, 4.0)
    monkeypatch.setattr(near, "_CHUNK", chunk)
    assert _rows(lines, points, 4.0) == whole
    assert len(whole) > 7


def test_what_is_not_finite_or_not_there_is_near_nothing() -> None:
    xy, line = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, np.nan], [0.0, 1.0]]), np.array([0, 0, 1, 1])
    points = np.array([[np.nan, 0.0], [0.0, 0.0], [0.0, np.inf]])
    assert [rows.tolist() for rows in lines_near(xy, line, points, reach_m=1.0)] == [[1], [0]]
    for some, own, asked in ((xy, line, points[:1]), (xy[:0], line[:0], points)):
        assert [rows.tolist() for rows in lines_near(some, own, asked, reach_m=1.0)] == [[], []]
