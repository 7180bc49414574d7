"""The accounts as a property: whatever geometry and values come, features and lengths are all there afterwards."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString

from corridor import read_site
from corridor.site.findings import FEATURE
from tests.site.records import X, Y, checked, read, write

SNAP_M = 0.1  # site.snap_m: how far an end may move on to a junction
PLACES = st.tuples(st.integers(0, 8), st.integers(0, 8)).map(lambda p: (X + 5.0 * p[0], Y + 5.0 * p[1]))
JITTER = st.sampled_from([0.0, 0.0, 0.03, -0.08, 0.3])
WORDS = st.sampled_from([None, "6 ft", "six feet", -1, 0, 1e9, "0.9 m", float("nan"), "=1+1", "<b>"])


@st.composite
def lines(draw: Any) -> list[dict[str, Any]]:
    """Up to eight lines on a coarse grid, so that ends meet, nearly meet, and lines lie on each other."""
    rows = []
    for _ in range(draw(st.integers(1, 8))):
        points = draw(st.lists(PLACES, min_size=2, max_size=4))
        shift = draw(JITTER)
        shape = LineString([(x + shift, y) for x, y in points])
        name = draw(st.sampled_from([None, "A", "B", "C", "D 1"]))
        depth = draw(WORDS)
        rows.append({"line_id": name, "utility": draw(st.sampled_from(["water", "gas"])), "asset": "pipe",
                     "depth_m": None if depth is None else str(depth), "geometry": shape})  # fmt: skip
    return rows


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=lines())
def test_features_and_lengths_are_all_there(rows: list[dict[str, Any]], tmp_path: Path) -> None:
    agrees(rows, tmp_path)


@pytest.mark.thorough
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=lines())
def test_features_and_lengths_are_all_there_in_many_more(rows: list[dict[str, Any]], tmp_path: Path) -> None:
    agrees(rows, tmp_path)


def agrees(rows: list[dict[str, Any]], tmp_path: Path) -> None:
    """Assert that what is read holds every feature, and every length within the tolerance of junctions."""
    for old in tmp_path.iterdir():
        old.unlink()
    long = [row["geometry"].length for row in rows]
    if not any(length > 0.001 for length in long):
        return
    site = checked(read_site(write(tmp_path, lines=rows)))
    account = site.accounting.iloc[0]
    assert account["features_in"] == len(rows) == account["used"] + account["set_aside"]
    used = site.lines.assign(length_m=site.lines.length).groupby(FEATURE[1])["length_m"].sum()
    aside = site.findings[site.findings["action"].str.startswith("set aside")]
    assert set(range(len(rows))) - set(used.index) == set(aside["feature_row"].dropna().astype(int))
    before = np.array([long[row] for row in used.index])
    # both ends of a line move by no more than the tolerance; the sum over all lines agrees within the sum of that
    assert np.abs(used.to_numpy() - before).max() <= 2 * SNAP_M + 1e-6
    assert used.sum() == pytest.approx(before.sum(), abs=2 * SNAP_M * len(used) + 1e-6)


def test_a_line_set_aside_is_in_no_total(tmp_path: Path) -> None:
    flat = LineString([(X, Y), (X, Y)])
    site = read(tmp_path, lines=[{"line_id": "A", "geometry": LineString([(X, Y), (X + 9, Y)])},
                                 {"line_id": "B", "geometry": flat}])  # fmt: skip
    assert site.lines.length.sum() == pytest.approx(9.0)
    assert site.accounting.loc[0, ["features_in", "used", "set_aside"]].tolist() == [2, 1, 1]
