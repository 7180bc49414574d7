"""Coordinate reference systems: never guessed, always metres in the end."""

from pathlib import Path

import geopandas as gpd
import pytest
from pyproj import CRS
from shapely import LineString, Point

from corridor.errors import CrsError
from corridor.site import FieldMap, read_site
from corridor.site.findings import Findings
from corridor.site.reference import check_in_range, in_metres, layer_crs, reproject, site_crs
from tests.site.records import checked, codes, course, found, line, messages, write

UTM = CRS.from_epsg(32631)
DEGREES = CRS.from_epsg(4326)
FEET = CRS.from_epsg(2263)  # US survey feet
SQUEEZED = CRS.from_epsg(3857)  # metres of the map, not of the ground
WITH_HEIGHT = CRS.from_user_input("EPSG:32631+5773")


def layer(crs: object, *shapes: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=list(shapes), crs=crs)


@pytest.mark.parametrize(
    ("crs", "metres"),
    [(UTM, True), (WITH_HEIGHT, True), (CRS.from_epsg(27700), True), (DEGREES, False), (FEET, False), (SQUEEZED, False),
     (CRS.from_epsg(4978), False)],
)  # fmt: skip
def test_metres_on_the_ground(crs: CRS, metres: bool) -> None:
    assert in_metres(crs) is metres


def test_the_first_metric_layer_sets_the_site() -> None:
    frames = [
        layer(DEGREES, Point(3, 54)),
        layer(WITH_HEIGHT, Point(5e5, 6e6)),
        layer(CRS.from_epsg(32632), Point(5e5, 6e6)),
    ]
    assert site_crs(frames) == UTM


def test_without_a_metric_layer_the_utm_zone_of_the_place_is_taken() -> None:
    assert site_crs([layer(None), layer(DEGREES), layer(DEGREES, Point(3.0, 54.1))]) == UTM


def test_metres_that_are_called_degrees_are_refused(tmp_path: Path) -> None:
    records = write(tmp_path, lines=[line(), line("W-2", (0, 5), (9, 5))])
    plan = FieldMap.model_validate({"layers": {"lines": {"table": "lines", "crs": "EPSG:4326"}}})
    told = (
        r"records.gpkg:lines: expected longitudes and latitudes, as EPSG:4326 has them, got .* 500000, 6000000; state"
    )
    with pytest.raises(CrsError, match=told):
        read_site(records, fieldmap=plan)
    write(tmp_path, name="own.gpkg", crs="EPSG:4326", lines=[line()])
    with pytest.raises(CrsError, match=r"own\.gpkg:lines: expected longitudes"):
        read_site(tmp_path / "own.gpkg")


def test_a_layer_passes_with_one_place_in_range_or_none_at_all() -> None:
    check_in_range(layer(DEGREES, Point(3, 54), Point(5e5, 6e6), None), where="f:a")
    check_in_range(layer(DEGREES, None), where="f:a")
    check_in_range(layer(None, Point(5e5, 6e6)), where="f:a")
    check_in_range(layer(UTM, Point(5e5, 6e6)), where="f:a")


def test_no_place_at_all_is_refused() -> None:
    with pytest.raises(CrsError, match="expected at least one layer with a coordinate reference system and a place"):
        site_crs([layer(None), layer(DEGREES)])


def test_a_layer_without_crs_is_refused_by_file_and_layer() -> None:
    with pytest.raises(CrsError, match=r"f:lines has no coordinate reference system; state one .* it is not guessed"):
        layer_crs(layer(None, Point(0, 0)), mapped=None, stated=None, where="f:lines", findings=Findings())


def test_a_table_without_geometry_needs_no_crs() -> None:
    assert layer_crs(layer(None, None), mapped=None, stated=None, where="f:t", findings=Findings()) is None


def test_a_stated_crs_never_overrides_the_layers_own() -> None:
    findings = Findings()
    own = layer_crs(layer(UTM, Point(0, 0)), mapped=None, stated="EPSG:32632", where="f:lines", findings=findings)
    assert own == UTM
    assert not messages(findings)


@pytest.mark.parametrize("name", ["EPSG:999999", "metres please"])
def test_a_name_that_is_none_is_refused(name: str) -> None:
    with pytest.raises(CrsError, match="expected a coordinate reference system such as EPSG:32631"):
        layer_crs(layer(None, Point(0, 0)), mapped=name, stated=None, where="f:lines", findings=Findings())


@pytest.mark.parametrize("first", ["lines", "bonds"])
def test_a_crs_that_cannot_be_placed_on_the_earth_is_refused(first: str, tmp_path: Path) -> None:
    # one turned bit in a .prj: the text is well formed, and names a projection that nobody knows
    lost = UTM.to_wkt("WKT1_ESRI").replace("Transverse_Mercator", "Trafsverse_Mercator")
    paths = []
    for name in ("lines", "bonds"):
        frame = layer(UTM, LineString([(5e5, 6e6), (5e5 + 50.0, 6e6)]) if name == "lines" else Point(5e5, 6e6))
        paths.append(tmp_path / f"{name}.shp")
        frame.assign(line_id="W-1").to_file(paths[-1])
        if name == first:
            paths[-1].with_suffix(".prj").write_text(lost, encoding="utf-8")
    told = rf"{first}\.shp:{first}: expected .* placed on the Earth, got .* projection 'Trafsverse_Mercator'"
    with pytest.raises(CrsError, match=told):
        read_site(paths)
    plan = FieldMap.model_validate({"layers": {first: {"table": first, "crs": "EPSG:32631"}}})
    assert len(read_site(paths, fieldmap=plan).lines) == 1


def test_reprojecting_is_told_and_leaves_the_layer_alone() -> None:
    findings = Findings()
    rows = layer(DEGREES, Point(3.0, 54.1))
    moved = reproject(rows, UTM, where="f:lines", findings=findings)
    assert rows.crs == DEGREES
    # the central meridian of zone 31 has easting 500 km by definition of UTM
    assert moved.geometry[0].x == pytest.approx(500_000.0, abs=1e-3)
    assert "EPSG:4326 (degree) reprojected to EPSG:32631" in messages(findings)["reprojected"][0]


def test_the_height_part_of_a_crs_is_dropped_without_a_word() -> None:
    findings = Findings()
    assert reproject(layer(WITH_HEIGHT, Point(5e5, 6e6)), UTM, where="f:lines", findings=findings).crs == UTM
    assert not messages(findings)


@pytest.mark.parametrize("crs", [DEGREES, SQUEEZED, CRS.from_epsg(2249)])
def test_lengths_are_metres_of_the_ground(tmp_path: Path, crs: CRS) -> None:
    # open sea for the first two; the third is in feet, its place doesn't matter
    origin = gpd.GeoSeries([course((0, 0), (100, 0))], crs=UTM)
    if crs.to_epsg() == 2249:
        origin = gpd.GeoSeries([LineString([(75e4, 295e4), (75e4 + 100 / 0.3048006096, 295e4)])], crs=crs)
    shape = origin.to_crs(crs)[0]
    site = checked(read_site(write(tmp_path, crs=crs, lines=[line(geometry=shape)])))
    assert "reprojected" in codes(site)
    # UTM's scale factor is 0.9996 at the centre, 1.0004 and a little at the zone's edge
    assert site.lines.length[0] == pytest.approx(100.0, rel=1.2e-3)


def test_layers_of_different_crs_come_together(tmp_path: Path) -> None:
    place = gpd.GeoSeries([Point(500_000, 6_000_000)], crs=UTM).to_crs(DEGREES)[0]
    write(tmp_path, crs=DEGREES, name="s.gpkg", structures=[{"structure_id": "S", "kind": "valve", "geometry": place}])
    write(tmp_path, name="l.gpkg", lines=[line()])
    site = checked(read_site([tmp_path / "s.gpkg", tmp_path / "l.gpkg"]))
    assert site.crs == UTM
    assert found(site, "reprojected")["feature_source"] == "s.gpkg:structures"
    assert site.structures.geometry[0].distance(Point(500_000, 6_000_000)) < 1e-3
    assert site.terminations["at"].tolist() == ["start"]
