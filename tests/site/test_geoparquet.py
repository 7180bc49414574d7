"""GeoParquet records: the same site as from a GeoPackage, one file a layer or many."""

import warnings
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from corridor.errors import InputError
from corridor.site import read_site
from corridor.site.geoparquet import read_geoparquet

LINES = gpd.GeoDataFrame(
    {
        "line_id": [f"W{k}" for k in range(6)], "utility": "water", "asset": "pipe", "material": "steel",
        "depth_m": [1.0, None, 1.2, 1.3, None, 1.5], "installed": [1990, 1991, 1992, 1993, 1994, 1995],
    },
    geometry=[shapely.LineString([(5e5, 5e6 + k), (5e5 + 30, 5e6 + k)]) for k in range(6)], crs="EPSG:32633",
)  # fmt: skip
BONDS = pd.DataFrame({"bond_id": ["b"], "line_a": ["W0"], "line_b": ["W1"], "state": ["closed"]})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "records.parquet"
    (made / "lines").mkdir(parents=True)
    for k in (0, 3):
        LINES.iloc[k : k + 3].to_parquet(made / "lines" / f"{k}.parquet", write_covering_bbox=True, index=False)
    BONDS.to_parquet(made / "bonds.parquet", index=False)
    (made / "receipt.json").write_text("{}")
    return made


def test_a_site_from_it_is_that_from_a_geopackage(folder: Path, tmp_path: Path) -> None:
    pyogrio.write_dataframe(LINES, tmp_path / "records.gpkg", layer="lines")
    pyogrio.write_dataframe(BONDS, tmp_path / "records.gpkg", layer="bonds", append=True)
    one, other = read_site(tmp_path / "records.gpkg"), read_site(folder)
    for name in ("lines", "bonds"):
        said, read = (getattr(site, name).drop(columns=["geometry", "src_feature_source"]) for site in (one, other))
        pd.testing.assert_frame_equal(pd.DataFrame(said), pd.DataFrame(read))
        assert getattr(one, name).geom_equals(getattr(other, name)).all() or name == "bonds"
    assert one.findings["code"].tolist() == other.findings["code"].tolist()
    assert other.sources[0].layers == ("bonds", "lines")


def test_a_file_is_a_layer_of_its_name(tmp_path: Path) -> None:
    LINES.to_parquet(tmp_path / "lines.parquet")
    layers = read_geoparquet(tmp_path / "lines.parquet")
    assert list(layers) == ["lines"]
    assert layers["lines"].crs == LINES.crs
    assert read_site(tmp_path / "lines.parquet").lines["line_id"].tolist() == LINES["line_id"].tolist()


def test_boxes_of_features_are_no_attribute(folder: Path) -> None:
    layers = read_geoparquet(folder)
    assert set(layers) == {"lines", "bonds"}
    assert list(layers["lines"].columns) == list(LINES.columns)
    assert not isinstance(layers["bonds"], gpd.GeoDataFrame)


def test_parts_in_two_references_are_refused(folder: Path) -> None:
    LINES.to_crs("EPSG:32634").to_parquet(folder / "lines" / "9.parquet")
    with pytest.raises(InputError, match="expected one CRS in all parts of layer 'lines'"):
        read_geoparquet(folder)


@pytest.mark.parametrize("content", [b"", b"PAR1 torn", b"PAR1" + bytes(100) + b"PAR1"])
def test_a_torn_file_is_named(folder: Path, content: bytes) -> None:
    (folder / "lines" / "3.parquet").write_bytes(content)
    with pytest.raises(InputError, match=r"expected GeoParquet, .*3\.parquet can't be read"):
        read_site(folder)


def test_an_empty_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "no.parquet").mkdir()
    with pytest.raises(InputError, match=r"expected GeoParquet files in .*no\.parquet"):
        read_geoparquet(tmp_path / "no.parquet")


def test_coordinates_that_are_no_numbers_are_read_without_a_remark(tmp_path: Path) -> None:
    # warnings are errors in these tests: libraries remark on such coordinates on stderr
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        nan = float("nan")
        shapes = [shapely.LineString([(0, 0, nan), (1, 1, nan)]), shapely.LineString([(0, nan), (1, 1)])]
        gpd.GeoDataFrame({"line_id": ["A", "B"]}, geometry=shapes, crs=32633).to_parquet(tmp_path / "lines.parquet")
    assert len(read_geoparquet(tmp_path / "lines.parquet")["lines"]) == 2
