"""The nearest other line in space."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings import nearest, nearest_conductors
from corridor.errors import CrsError, DomainError, InputError
from tests.builders import METRIC, make_lines
from tests.couplings.plain import segments, street

COLUMNS = ["line_id", "segment", "from_m", "to_m", "nearest_line_id", "nearest_separation_m"]


@given(st.integers(0, 100_000), st.sampled_from([0.5, 2.0, 50.0]))
@settings(max_examples=25, deadline=None)
def test_equals_brute_force(seed: int, reach_m: float) -> None:
    lines = street(seed, count=5, depth=True)
    found = nearest_conductors(lines, reach_m=reach_m)
    assert list(found.columns) == COLUMNS
    shapes = {r.line_id: (r.geometry, r.depth_m) for r in lines.itertuples()}
    for row in found.itertuples():
        shape, depth = shapes[row.line_id]
        part = segments(shape)[row.segment]
        away = {
            name: np.hypot(part.distance(other), depth - deep)
            for name, (other, deep) in shapes.items()
            if name != row.line_id
        }
        best = min(away, key=lambda name: away[name])
        if away[best] > reach_m:
            assert pd.isna(row.nearest_line_id)
            assert np.isnan(row.nearest_separation_m)
        else:
            assert row.nearest_line_id == best
            assert row.nearest_separation_m == pytest.approx(away[best], abs=1e-9)


def test_measures_cover_each_line() -> None:
    lines = street(4)
    found = nearest_conductors(lines)
    for name, part in found.groupby("line_id"):
        length = lines.set_index("line_id").geometry[name].length
        assert part["from_m"].iloc[0] == 0
        assert part["to_m"].iloc[-1] == pytest.approx(length)
        np.testing.assert_allclose(part["from_m"].iloc[1:], part["to_m"].iloc[:-1])


def test_unknown_depth_never_overstates() -> None:
    rows = [
        {"line_id": "a", "geometry": [(0, 0), (10, 0)], "depth_m": 1.0},
        {"line_id": "b", "geometry": [(0, 2), (10, 2)], "depth_m": None},
    ]
    assert nearest_conductors(make_lines(rows))["nearest_separation_m"].tolist() == [2.0, 2.0]


def test_depth_counts() -> None:
    rows = [{"line_id": k, "geometry": [(0, y), (9, y)], "depth_m": d} for k, y, d in (("a", 0, 1), ("b", 3, 5))]
    assert nearest_conductors(make_lines(rows))["nearest_separation_m"].tolist() == [5.0, 5.0]
    assert nearest_conductors(make_lines(rows), reach_m=4.9)["nearest_separation_m"].isna().all()


def test_chunks_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = street(6, count=12, depth=True)
    whole = nearest_conductors(lines)
    monkeypatch.setattr(nearest, "CHUNK", 3)
    pd.testing.assert_frame_equal(nearest_conductors(lines), whole)


@pytest.mark.parametrize("count", [0, 1])
def test_alone_there_is_none(count: int) -> None:
    lines = street(0, count=count).set_crs(METRIC)
    found = nearest_conductors(lines)
    assert list(found.columns) == COLUMNS
    assert found["nearest_line_id"].isna().all()


def test_what_cannot_be_used_is_refused() -> None:
    lines: gpd.GeoDataFrame = street(1)
    with pytest.raises(DomainError, match="reach_m > 0, got 0"):
        nearest_conductors(lines, reach_m=0)
    with pytest.raises(CrsError):
        nearest_conductors(lines.to_crs("EPSG:4326"))
    with pytest.raises(InputError):
        nearest_conductors(lines.drop(columns="line_id"))
