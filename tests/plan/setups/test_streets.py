"""Ways along lines, against networkx on the same lines; more stands in test_order."""

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString

from corridor.plan.setups.streets import find_streets, ways_near


def test_shortest_ways_equal_networkx_on_a_noded_network() -> None:
    rng = np.random.default_rng(6)
    lines = [LineString(rng.uniform(0, 500, (2, 2))) for _ in range(14)]
    graph = nx.Graph()
    for part in shapely.get_parts(shapely.unary_union(lines)):
        a, b = (tuple(np.round(xy, 6)) for xy in (part.coords[0], part.coords[-1]))
        graph.add_edge(a, b, weight=part.length)
    largest = sorted(max(nx.connected_components(graph), key=len))
    points = np.array([largest[k] for k in rng.choice(len(largest), 6, replace=False)])
    streets = find_streets(points, lines, link_m=0.0)
    for a in range(6):
        way = nx.single_source_dijkstra_path_length(graph, tuple(points[a]))
        assert streets.between_m[a] == pytest.approx([way[tuple(xy)] for xy in points], abs=1e-4)
        for b in range(6):
            assert streets.way(a, b).length == pytest.approx(streets.between_m[a, b], abs=1e-4)
    assert not streets.bridged


def test_distances_are_a_metric_and_never_shorter_than_straight() -> None:
    rng = np.random.default_rng(7)
    lines = [LineString(rng.uniform(0, 200, (3, 2))) for _ in range(6)]
    points = rng.uniform(0, 200, (8, 2))
    between = find_streets(points, lines, link_m=20.0).between_m
    straight = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    assert (between >= straight - 1e-6).all()
    assert between == pytest.approx(between.T)
    assert (between[:, :, None] <= between[:, None, :] + between[None].transpose(0, 2, 1) + 1e-6).all()


def test_links_only_shorten() -> None:
    rng = np.random.default_rng(8)
    lines = [LineString([(0, 15 * k), (300, 15 * k)]) for k in range(4)] + [LineString([(0, 0), (0, 45)])]
    points = rng.uniform(0, 300, (6, 2)) * [1, 0.15]
    near, far = find_streets(points, lines, link_m=0.0).between_m, find_streets(points, lines, link_m=20.0).between_m
    assert (far <= near + 1e-6).all()
    assert (far < near - 1).any()


def test_many_nodes_are_linked_in_chunks_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [LineString([(0, 12 * k), (200, 12 * k)]) for k in range(3)] + [LineString([(0, 0), (0, 24)])]
    points = np.array([(200.0, 0.0), (200.0, 24.0), (90.0, 12.0)])
    whole = find_streets(points, lines, link_m=15.0).between_m
    monkeypatch.setattr("corridor.plan.setups.streets._CHUNK", 5)
    assert find_streets(points, lines, link_m=15.0).between_m == pytest.approx(whole)


def test_no_points_no_ways() -> None:
    streets = find_streets(np.zeros((0, 2)), [LineString([(0, 0), (9, 0)])], link_m=5.0)
    assert streets.between_m.shape == (0, 0)
    assert not streets.bridged


def test_ways_that_lead_far_away_are_cut_and_those_near_left_alone() -> None:
    points = np.array([[0.0, 0.0], [100.0, 0.0]])
    near, far = shapely.LineString([(0, 5), (1100, 5)]), shapely.LineString([(0, 9), (1e7, 9)])
    gone = shapely.LineString([(5e3, 0), (6e3, 0)])
    kept, cut = ways_near(points, [near, far, gone])
    assert kept is near
    assert cut.equals(shapely.LineString([(0, 9), (1100, 9)]))
    assert ways_near(points[:0], [near]) == []
