"""Depth differences and what the records leave of them."""

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from corridor.couplings.depths import depths_of
from tests.builders import METRIC, make_lines

A, B = np.array([0]), np.array([1])


def lines_of(**columns: object) -> gpd.GeoDataFrame:
    shapes = [LineString([(0, k), (1, k)]) for k in range(2)]
    return gpd.GeoDataFrame({"line_id": ["a", "b"], **columns}, geometry=shapes, crs=METRIC)


def test_without_a_depth_column_nothing_is_known() -> None:
    assert np.isnan(depths_of(lines_of()).difference_m(A, B)).all()


def test_without_ranges_the_depth_is_its_own_range() -> None:
    assert [float(v[0]) for v in depths_of(lines_of(depth_m=[1.0, 1.5])).difference_m(A, B)] == [0.5, 0.5, 0.5]


@pytest.mark.parametrize(
    ("origin", "known"), [("given", True), ("mapped", True), ("default", False), ("inferred", False)]
)
def test_a_filled_depth_is_not_recorded(origin: str, known: bool) -> None:
    found = depths_of(lines_of(depth_m=[1.0, 1.5], depth_m_src=["given", origin])).difference_m(A, B)
    assert np.isnan(found[0][0]) != known
    assert found[1][0] == found[2][0] == 0.5


def test_assumed_decides_where_no_origin_is_told() -> None:
    assert np.isnan(depths_of(lines_of(depth_m=[1.0, 1.5], assumed=[False, True])).difference_m(A, B)[0][0])
    full = make_lines([{"line_id": k, "geometry": [(0, 0), (1, 0)], "assumed": True} for k in "ab"])
    assert depths_of(full).difference_m(A, B)[0][0] == 0.0  # the depth's own origin says given


@given(st.lists(st.tuples(st.floats(0.1, 5), st.floats(0, 1)), min_size=2, max_size=2))
def test_the_range_holds_every_difference(depths: list[tuple[float, float]]) -> None:
    low, high = ([d - s * w * 0.1 for d, w in depths] for s in (1, -1))
    found = depths_of(lines_of(depth_m=[d for d, _ in depths], depth_m_low=low, depth_m_high=high))
    nominal, least, most = (float(v[0]) for v in found.difference_m(A, B))
    assert least - 1e-12 <= nominal <= most + 1e-12
    for one in np.linspace(low[0], high[0], 5):
        for two in np.linspace(low[1], high[1], 5):
            assert least - 1e-9 <= abs(one - two) <= most + 1e-9
