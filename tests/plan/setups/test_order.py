"""The walking order along lines."""

from itertools import pairwise, permutations

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString, Point

from corridor.errors import DomainError
from corridor.plan.setups.order import walking_order

SQUARE = [LineString([(0, 0), (100, 0)]), LineString([(100, 0), (100, 100)]), LineString([(100, 100), (0, 100)]),
          LineString([(0, 100), (0, 0)])]  # fmt: skip


def grid(step_m: float = 80.0, n: int = 5) -> list[LineString]:
    far = step_m * (n - 1)
    return [LineString([(0, k * step_m), (far, k * step_m)]) for k in range(n)] + [
        LineString([(k * step_m, 0), (k * step_m, far)]) for k in range(n)
    ]


def test_round_a_block_not_through_it() -> None:
    route = walking_order([(50, 0), (50, 100), (0, 50), (100, 50)], SQUARE, link_m=0)
    assert route.length_m == pytest.approx(300)
    assert route.legs_m == pytest.approx([100, 100, 100])
    assert not route.bridged


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("start", [None, 0])
def test_on_a_grid_it_equals_brute_force_with_networkx_paths(seed: int, start: int | None) -> None:
    # corners of a street grid; the shortest ways by networkx on the grid itself
    rng = np.random.default_rng(seed)
    corners = [divmod(int(k), 5) for k in rng.choice(25, 7, replace=False)]
    streets = nx.grid_2d_graph(5, 5)
    way = {a: nx.single_source_shortest_path_length(streets, a) for a in corners}
    shortest = min(
        sum(way[a][b] for a, b in pairwise(order))
        for order in permutations(corners)
        if start is None or order[0] == corners[0]
    )
    route = walking_order(np.array(corners) * 80.0, grid(), start=start)
    assert route.length_m == pytest.approx(80 * shortest)
    assert start is None or route.order[0] == 0


def test_legs_run_from_point_to_point_along_the_lines() -> None:
    points = np.random.default_rng(1).uniform(0, 320, (14, 2))
    route = walking_order(points, grid(), start=3)
    assert len(route.legs) == 13
    for leg, length, (a, b) in zip(route.legs, route.legs_m, pairwise(route.order.tolist()), strict=True):
        assert leg.length == pytest.approx(length, abs=1e-5)
        assert leg.coords[0] == tuple(points[a])
        assert leg.coords[-1] == tuple(points[b])
    # all but the ways from a point to its line lies on lines: at most two such ways a leg
    streets = shapely.unary_union(grid()).buffer(0.01)
    off = [leg.difference(streets).length for leg in route.legs]
    reach = np.array([streets.distance(Point(xy)) for xy in points])
    assert max(off) <= 2 * reach.max() + 0.1


def test_people_cross_between_lines_near_each_other_only() -> None:
    ways = [LineString([(0, 0), (100, 0)]), LineString([(0, 15), (100, 15)]), LineString([(100, 0), (100, 15)])]
    points = [(0, 0), (0, 15)]
    assert walking_order(points, ways, link_m=20).length_m == pytest.approx(15)
    assert walking_order(points, ways, link_m=10).length_m == pytest.approx(215)


def test_corners_arent_cut() -> None:
    ways = [LineString([(0, 0), (8, 0), (8, 8)])]
    assert walking_order([(0, 0), (8, 8)], ways, link_m=20).length_m == pytest.approx(16)


def test_a_point_off_the_lines_is_reached_from_the_nearest() -> None:
    route = walking_order([(10, 4), (60, -3)], [LineString([(0, 0), (100, 0)])])
    assert route.length_m == pytest.approx(4 + 50 + 3)
    assert list(route.legs[0].coords)[:2] == [(10, 4), (10, 0)]


def test_parts_that_dont_connect_are_bridged_straight_and_it_is_told() -> None:
    ways = [LineString([(0, 0), (100, 0)]), LineString([(160, 0), (300, 0)])]
    route = walking_order([(0, 0), (300, 0)], ways)
    assert route.bridged
    assert route.length_m == pytest.approx(300)
    none = walking_order([(0, 0), (30, 40), (0, 10)], [])
    assert none.bridged
    assert none.order.tolist() == [0, 2, 1]
    assert none.length_m == pytest.approx(10 + np.hypot(30, 30))


def test_a_part_without_points_bridges_nothing() -> None:
    ways = [LineString([(0, 0), (100, 0)]), LineString([(500, 500), (600, 500)])]
    assert not walking_order([(0, 0), (100, 0)], ways).bridged


def test_crossing_lines_connect_although_neither_has_a_vertex_there() -> None:
    ways = [LineString([(-50, 0), (50, 0)]), LineString([(0, -50), (0, 50)])]
    assert walking_order([(-50, 0), (0, 50)], ways, link_m=0).length_m == pytest.approx(100)


def test_series_multi_parts_heights_and_empty_ones_will_do() -> None:
    series = gpd.GeoSeries(
        [
            MultiLineString([[(0, 0), (50, 0)], [(50, 0), (100, 0)]]),
            LineString(),
            None,
            LineString([(0, 0, 5), (0, 90, 6)]),
        ]
    )
    before = series.copy()
    route = walking_order([(100, 0), (0, 90)], series, link_m=0)
    assert route.length_m == pytest.approx(190)
    assert series.geom_equals(before).tolist() == [True, True, False, True]


def test_the_order_of_the_lines_doesnt_matter() -> None:
    points = np.random.default_rng(2).uniform(0, 320, (12, 2))
    one, other = walking_order(points, grid(), seed=1), walking_order(points, grid()[::-1], seed=1)
    assert one.order.tolist() == other.order.tolist()
    assert one.length_m == pytest.approx(other.length_m)


def test_none_one_and_two_at_one_place() -> None:
    assert walking_order([], grid()).order.tolist() == []
    assert walking_order([], grid()).length_m == 0
    alone = walking_order([(3, 3)], grid(), start=0)
    assert alone.order.tolist() == [0]
    assert alone.legs == ()
    same = walking_order([(3, 0), (3, 0)], grid())
    assert same.length_m == pytest.approx(0, abs=1e-6)
    assert same.legs[0].geom_type == "LineString"


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (([(0.0, 0.0, 0.0)], []), {}, r"points_xy: expected finite pairs \(n, 2\)"),
        (([(0.0, np.nan)], []), {}, "points_xy: expected finite pairs"),
        (([(0.0, 0.0)], []), {"start": 1}, "start: expected one of 1 points, counted from 0, got 1"),
        (([(0.0, 0.0)], []), {"link_m": -1.0}, "link_m: expected a length >= 0, got -1"),
        (([(0.0, 0.0)], [Point(0, 0)]), {}, "ways: expected lines, got Point"),
    ],
)
def test_wrong_input_is_told(arguments: tuple[object, object], options: dict[str, object], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        walking_order(*arguments, **options)  # type: ignore[arg-type]
