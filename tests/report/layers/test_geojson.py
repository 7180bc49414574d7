"""GeoJSON of what has no longitude and latitude, or no finite number: null, and never a file that isn't JSON."""

import json
import math
from pathlib import Path

import geopandas as gpd
import pandas as pd
from shapely import Point

from corridor.report.layers.geojson import write_geojson


def test_what_json_does_not_know_becomes_null(tmp_path: Path) -> None:
    table = gpd.GeoDataFrame(
        {"a": [1.5, math.inf, math.nan]},
        geometry=[Point(500_000, 6_000_000), Point(1e9, 6_000_000), None],
        crs="EPSG:32631",
    )
    write_geojson(tmp_path / "a.geojson", {"findings": table}, metadata={})
    features = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"), parse_constant=_refused)["features"]
    assert [feature["properties"]["a"] for feature in features] == [1.5, None, None]
    assert [feature["geometry"] is None for feature in features] == [False, True, True]


def _refused(name: str) -> None:
    raise AssertionError(name)


def test_times_are_written_as_iso_8601(tmp_path: Path) -> None:
    seen = pd.to_datetime(["2020-01-02T03:04:05Z", None])
    table = gpd.GeoDataFrame({"seen": seen}, geometry=[Point(500_000, 6_000_000)] * 2, crs="EPSG:32631")
    write_geojson(tmp_path / "a.geojson", {"lines": table}, metadata={})
    features = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))["features"]
    assert [feature["properties"]["seen"] for feature in features] == ["2020-01-02T03:04:05+00:00", None]
