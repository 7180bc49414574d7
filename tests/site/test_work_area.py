"""A work area from a file of its own: every polygon counts, in the site's CRS, accounted for."""

from pathlib import Path

import geopandas as gpd
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, box

from corridor.errors import CrsError, InputError
from corridor.site.model import Site
from corridor.site.work_area import of_phase, with_work_area
from tests.builders import METRIC, make_site

SHAPES = [box(500_000, 0, 500_010, 10), MultiPolygon([box(500_020, 0, 500_030, 10), box(500_040, 0, 500_050, 10)])]


def _site() -> Site:
    return make_site(lines=[{"line_id": "A", "geometry": [(500_000, 0), (500_050, 0)]}])


def _file(
    path: Path, shapes: list[object], *, crs: object = METRIC, layer: str = "anything", **columns: object
) -> Path:
    gpd.GeoDataFrame(columns, geometry=shapes, crs=crs).to_file(path, layer=layer, driver="GPKG")
    return path


def test_polygons_of_any_layer_become_the_work_area(tmp_path: Path) -> None:
    path = _file(tmp_path / "dig.gpkg", SHAPES, phase=["1", "2"], dig_depth_m=[1.5, None], remark=["a", "b"])
    site = _site()
    result = with_work_area(site, path)
    assert len(site.work_area) == 0
    assert result.work_area.crs == METRIC
    assert list(result.work_area.columns) == ["phase", "dig_depth_m", "geometry"]
    assert result.work_area["phase"].tolist() == ["1", "2"]
    assert result.work_area.area.sum() == pytest.approx(300)
    assert result.sources[-1].path == str(path)
    row = result.accounting.iloc[-1]
    assert (row["features_in"], row["used"], row["set_aside"]) == (2, 2, 0)


def test_it_is_reprojected(tmp_path: Path) -> None:
    degrees = gpd.GeoSeries(SHAPES, crs=METRIC).to_crs(4326)
    result = with_work_area(_site(), _file(tmp_path / "dig.gpkg", list(degrees), crs=4326))
    assert result.work_area.area.sum() == pytest.approx(300, rel=1e-6)


def test_other_shapes_are_set_aside_and_counted(tmp_path: Path) -> None:
    mixed = [*SHAPES, Point(500_000, 0), LineString([(500_000, 0), (500_001, 0)]), None, Polygon()]
    result = with_work_area(_site(), _file(tmp_path / "dig.gpkg", mixed))
    row = result.accounting.iloc[-1]
    assert (row["features_in"], row["used"], row["set_aside"]) == (6, 2, 4)
    told = result.findings[result.findings["action"].str.startswith("set aside")]
    assert sorted(told["feature_row"]) == [2, 3, 4, 5]


def test_a_self_crossing_polygon_is_mended(tmp_path: Path) -> None:
    bow = Polygon([(500_000, 0), (500_010, 10), (500_010, 0), (500_000, 10)])
    result = with_work_area(_site(), _file(tmp_path / "dig.gpkg", [bow]))
    assert result.work_area.geometry.is_valid.all()
    assert result.work_area.area.sum() == pytest.approx(50)


def test_without_polygons_it_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="expected polygons"):
        with_work_area(_site(), _file(tmp_path / "dig.gpkg", [Point(0, 0)]))


def test_a_missing_file_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        with_work_area(_site(), tmp_path / "no.gpkg")


def test_metres_that_are_called_degrees_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CrsError, match="expected longitudes and latitudes"):
        with_work_area(_site(), _file(tmp_path / "dig.gpkg", [SHAPES[0]], crs=4326))


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_the_crs_is_never_guessed(tmp_path: Path) -> None:
    path = _file(tmp_path / "dig.gpkg", SHAPES, crs=None)
    with pytest.raises(CrsError, match="has no coordinate reference system"):
        with_work_area(_site(), path)
    with pytest.raises(CrsError, match="nowhere"):
        with_work_area(_site(), path, crs="EPSG:nowhere")
    assert with_work_area(_site(), path, crs=METRIC.to_string()).work_area.crs == METRIC


def test_one_phase_of_it(tmp_path: Path) -> None:
    site = with_work_area(_site(), _file(tmp_path / "dig.gpkg", SHAPES, phase=["1", "2"]))
    second = of_phase(site, "2")
    assert second.work_area["phase"].tolist() == ["2"]
    assert second.lines is site.lines  # the records stay whole
    assert len(site.work_area) == 2


@pytest.mark.parametrize(("phases", "known"), [(["1", "2"], "(1, 2)"), ([None, None], "(none)")])
def test_an_unknown_phase_names_those_there_are(tmp_path: Path, phases: list[str | None], known: str) -> None:
    site = with_work_area(_site(), _file(tmp_path / "dig.gpkg", SHAPES, phase=phases))
    with pytest.raises(InputError) as told:
        of_phase(site, "3")
    assert str(told.value) == f"expected a phase of the work area {known}, got '3'"
