"""Where to stand and where to drive the stake."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from corridor.plan.places import STAKE_CLEARANCE_M, induction_spots, stake_places
from tests.builders import make_lines


def lines_of(**shapes: list[tuple[float, float]]) -> gpd.GeoDataFrame:
    return make_lines([{"line_id": name, "geometry": shape} for name, shape in shapes.items()])


def test_one_spot_a_piece_in_the_middle_when_alone() -> None:
    lines = lines_of(A=[(0, 0), (120, 0)])
    assert induction_spots(lines, lines, spacing_m=40) == [("A", 19.0), ("A", 59.0), ("A", 99.0)]


def test_spots_flee_the_neighbours() -> None:
    lines = lines_of(A=[(0, 0), (40, 0)], B=[(0, 0.5), (20, 0.5), (40, 6.0)])
    ((_, at_m),) = [spot for spot in induction_spots(lines, lines, spacing_m=40) if spot[0] == "A"]
    assert at_m == 39.0


@pytest.mark.parametrize(("length", "spots"), [(0.5, [0.25]), (3.0, [1.0]), (10.0, [5.0])])
def test_short_lines_have_one_spot(length: float, spots: list[float]) -> None:
    lines = lines_of(A=[(0, 0), (length, 0)])
    assert [at for _, at in induction_spots(lines, lines, spacing_m=40)] == spots


def test_no_targets_no_spots() -> None:
    lines = lines_of(A=[(0, 0), (10, 0)])
    assert induction_spots(lines.iloc[:0], lines, spacing_m=40) == []


def test_samples_looked_at_in_turn_give_the_same_spots(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = lines_of(A=[(0, 0), (90, 0)], B=[(0, 0.5), (20, 0.5), (90, 6.0)], C=[(50, -3), (50, 40)])
    whole = induction_spots(lines, lines, spacing_m=40)
    monkeypatch.setattr("corridor.plan.places._CHUNK", 7)
    assert induction_spots(lines, lines, spacing_m=40) == whole


def stakes(lines: list[LineString], others: list[LineString], **given: float) -> tuple[np.ndarray, np.ndarray]:
    shapes = np.array(lines, dtype=object)
    at = np.array([given.get("at_m", line.length / 2) for line in lines])
    return stake_places(
        shapes, at, np.array([*lines, *others], dtype=object),
        distance_m=given.get("distance_m", 5.0), lead_m=given.get("lead_m", 20.0),
    )  # fmt: skip


def test_alone_the_stake_stands_square_at_the_wished_distance() -> None:
    xy, clear = stakes([LineString([(0, 0), (50, 0)])], [])
    assert xy.tolist() == [[pytest.approx(25), pytest.approx(5)]]
    assert clear.tolist() == [5.0]


def test_a_neighbour_turns_the_stake_to_the_other_side() -> None:
    xy, clear = stakes([LineString([(0, 0), (50, 0)])], [LineString([(0, 4), (50, 4)])])
    assert xy[0].tolist() == [pytest.approx(25), pytest.approx(-5)]
    assert clear[0] == 5.0


def test_the_lead_is_never_too_short() -> None:
    line = LineString([(0, 0), (50, 0)])
    near = [LineString([(0, y), (50, y)]) for y in (3, -3, 5, -5)]
    xy, _ = stakes([line], near, lead_m=4.0)
    assert shapely.distance(shapely.points(xy[0]), line.interpolate(25)) <= 4.0 + 1e-9


def test_a_crowded_street_says_how_little_room_there_is() -> None:
    line = LineString([(0, 0), (50, 0)])
    _, clear = stakes([line], [LineString([(0, y), (50, y)]) for y in np.arange(-11, 11, 0.5) if y])
    assert clear[0] < STAKE_CLEARANCE_M


def test_no_hook_ups_no_stakes() -> None:
    xy, clear = stake_places(
        np.empty(0, dtype=object), np.empty(0), np.empty(0, dtype=object), distance_m=5.0, lead_m=20.0
    )
    assert xy.shape == (0, 2)
    assert clear.shape == (0,)


@given(st.floats(0, 6.28), st.floats(-1000, 1000), st.floats(-1000, 1000), st.floats(0, 50))
def test_clearance_is_the_distance_to_the_nearest_line(turn: float, x: float, y: float, at_m: float) -> None:
    def place(points: list[tuple[float, float]]) -> LineString:
        line = shapely.affinity.rotate(LineString(points), turn, origin=(0, 0), use_radians=True)
        return shapely.affinity.translate(line, x, y)

    line, other = place([(0, 0), (50, 0)]), place([(0, 3), (50, 1)])
    (xy,), (clear,) = stakes([line], [other], at_m=at_m)
    stake = shapely.Point(xy)
    assert clear == pytest.approx(min(stake.distance(line), stake.distance(other), 5.0), abs=0.0051)
    assert stake.distance(line.interpolate(at_m)) <= 20.0
    assert clear >= STAKE_CLEARANCE_M
