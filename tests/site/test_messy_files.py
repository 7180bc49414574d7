"""A file of each messy kind that owners send, and the finding it must give."""

import json
import re
import shutil
import warnings
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from shapely import GeometryCollection, LineString, MultiPoint, Point, Polygon

from corridor.errors import CrsError, FieldMapError, InputError
from corridor.site import FieldMap, Site, load_fieldmap, read_site
from tests.site.records import CRS, X, Y, checked, codes, course, found, frame, line, read, write

DEGREES = "EPSG:4326"


def mapped(**layers: dict[str, Any]) -> FieldMap:
    return FieldMap.model_validate({"layers": {name: {"table": "lines", **block} for name, block in layers.items()}})


def told(site: Site, code: str) -> list[str]:
    return list(site.findings.loc[site.findings["code"] == code, "message"])


def shapefile(rows: list[dict[str, Any]], path: Path, **options: Any) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that names are cut is what is tried here
        frame(rows).to_file(path, **options)


# --- coordinates


def test_no_crs_stops_with_one_sentence_or_is_told(tmp_path: Path) -> None:
    shapefile([line()], tmp_path / "lines.shp")
    (tmp_path / "lines.prj").unlink()
    with pytest.raises(CrsError, match="has no coordinate reference system; state one"):
        read_site(tmp_path / "lines.shp")
    site = checked(read_site(tmp_path / "lines.shp", crs=CRS))
    assert "was stated for it" in found(site, "crs_stated")["message"]
    assert ".prj (the CRS)" in found(site, "missing_sidecar")["message"]


def turned(data: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    swapped = shapely.transform(data.geometry.to_numpy(), lambda c: c[:, ::-1])
    return data.set_geometry(gpd.GeoSeries(swapped, index=data.index, crs=data.crs))


def test_north_before_east_is_read_as_the_map_says(tmp_path: Path) -> None:
    # EPSG:31467 has its axes in the order north, east (EPSG registry); files follow it or not
    true = frame([line("W-1"), line("W-2", (0, 5), (9, 5))]).to_crs("EPSG:31467")
    turned(true).to_file(tmp_path / "mains.gpkg", layer="mains")
    true.to_file(tmp_path / "plain.gpkg", layer="plain")
    plan = mapped(mains={"axes": "north_east", "constants": {"owner": "a"}}, plain={"columns": {"line_id": "line_id"}})
    site = checked(read_site([tmp_path / "mains.gpkg", tmp_path / "plain.gpkg"], fieldmap=plan))
    assert "read as north, east" in found(site, "axes_swapped")["message"]
    assert len(told(site, "duplicate")) == 2  # the same lines, in the same place


def test_latitude_before_longitude_is_suspected_and_never_applied(tmp_path: Path) -> None:
    near = [line("W-1"), line("W-2", (0, 5), (9, 5))]
    write(tmp_path, name="a.gpkg", lines=near)
    write(tmp_path, name="b.gpkg", structures=[{"structure_id": "S", "kind": "valve", "geometry": Point(X, Y)}])
    heat = turned(frame([line("H-1", (0, 9), (50, 9), utility="heat")]).to_crs(DEGREES))
    heat.to_file(tmp_path / "heat.gpkg", layer="heat")
    files = [tmp_path / name for name in ("heat.gpkg", "a.gpkg", "b.gpkg")]
    site = checked(read_site(files, fieldmap=mapped(heat={})))
    suspect = found(site, "axes_suspected")
    assert suspect["severity"] == "severe"
    assert suspect["feature_source"] == "heat.gpkg:heat"
    assert 'axes = "north_east"' in suspect["action"]
    away = found(site, "far_away")
    assert away["source_id"] == "H-1"
    assert away["action"].startswith("set aside")
    assert site.crs == CRS
    site = checked(read_site(files, fieldmap=mapped(heat={"axes": "north_east"})))
    assert "axes_suspected" not in codes(site)
    placed = site.lines.set_index("line_id").geometry["H-1"]
    assert placed.hausdorff_distance(course((0, 9), (50, 9))) < 0.01


@pytest.mark.parametrize(
    ("unit", "foot_m"),
    # international foot 0.3048 m (1959 agreement), US survey foot 1200/3937 m (both exact; from memory)
    [("ft", 0.3048), ("us-ft", 1200.0 / 3937.0)],
)
def test_a_crs_in_feet_is_turned_into_metres(tmp_path: Path, unit: str, foot_m: float) -> None:
    crs = pyproj.CRS.from_user_input(f"+proj=utm +zone=31 +datum=WGS84 +units={unit} +type=crs")
    shape = LineString([(X / foot_m, Y / foot_m), (X / foot_m + 328.0, Y / foot_m)])
    site = checked(read_site(write(tmp_path, crs=crs, lines=[line(geometry=shape)])))
    assert "foot" in found(site, "reprojected")["message"]
    # the scale factor cancels: both are UTM zone 31
    assert site.lines.length[0] == pytest.approx(328.0 * foot_m, abs=0.002)


def test_a_compound_crs_is_read_in_plan(tmp_path: Path) -> None:
    deep = shapely.force_3d(course((0, 0), (50, 0)), z=12.0)
    site = checked(read_site(write(tmp_path, crs="EPSG:32631+5773", lines=[line(geometry=deep)])))
    assert site.crs == CRS
    assert "elevation, never a depth" in found(site, "z_dropped")["message"]
    assert site.lines["src_z_min_m"][0] == 12.0


@pytest.mark.parametrize("z", [-9999.0, -21474.836, -999.0, 1e20])
def test_z_that_stands_for_nothing(tmp_path: Path, z: float) -> None:
    deep = shapely.linestrings([(X, Y, 3.0), (X + 50, Y, z)])
    site = checked(read_site(write(tmp_path, lines=[line(geometry=deep)])))
    assert f"{z:.9g} at 1 of 2 vertices" in found(site, "z_sentinel")["message"]
    assert site.lines["src_z_min_m"][0] == site.lines["src_z_max_m"][0] == 3.0


def test_a_feature_far_away_is_set_aside(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("W-1"), line("W-2", (0, 5), (9, 5)), line("W-9", (-X, -Y), (-X + 5, -Y))])
    away = found(site, "far_away")
    assert away["line_id"] == "W-9"
    # two places of zone 31: 6021 km apart on the grid
    assert "6021 km" in away["message"]
    assert site.accounting["set_aside"].tolist() == [1]


# --- geometry


def test_a_multipoint_becomes_points(tmp_path: Path) -> None:
    posts = [{"structure_id": "P", "kind": "pole", "geometry": MultiPoint([(X, Y), (X + 9, Y)])}]
    site = read(tmp_path, lines=[line()], structures=posts)
    assert site.structures["structure_id"].tolist() == ["P", "P/2"]
    assert found(site, "multipart")["message"] == "multipart: 2 parts"


def test_a_collection_gives_the_parts_expected(tmp_path: Path) -> None:
    inner = GeometryCollection([course((0, 0), (5, 0)), Point(X, Y)])
    mixed = GeometryCollection([inner, course((20, 0), (30, 0)), Polygon([(X, Y), (X + 1, Y), (X, Y + 1)])])
    site = read(tmp_path, lines=[line("W-1", geometry=mixed), line("W-2", (0, 5), (9, 5))])
    assert found(site, "collection")["message"] == "a collection of 4: 2 of the kind expected, others left out"
    assert sorted(site.lines["line_id"]) == ["W-1", "W-1/2", "W-2"]


def test_a_duct_drawn_as_an_area_gets_its_middle(tmp_path: Path) -> None:
    middle = course((0, 0), (30, 0), (50, 20))
    area = middle.buffer(0.4, cap_style="flat", join_style="mitre")
    chamber = Polygon([(X, Y + 9), (X + 2, Y + 9), (X + 2, Y + 11), (X, Y + 11)])
    rows = [line("D-1", geometry=area), line("D-2", geometry=chamber), line("W-2", (0, 5), (9, 5))]
    site = read(tmp_path, lines=rows)
    assert "0.80 m wide" in found(site, "area_as_line")["message"]
    drawn = site.lines.set_index("line_id").geometry["D-1"]
    assert drawn.hausdorff_distance(middle) < 0.1
    assert found(site, "wrong_geometry")["line_id"] == "D-2"


def test_a_geometry_type_that_cannot_be_decoded_is_told_by_row(tmp_path: Path) -> None:
    solid = f"TIN Z ((({X} {Y} 0,{X} {Y} 1,{X} {Y + 1} 0,{X} {Y} 0)))"
    (tmp_path / "lines.csv").write_text(
        f'line_id,utility,WKT\nW-1,water,"LINESTRING ({X} {Y},{X + 50} {Y})"\nW-2,water,"{solid}"\n', encoding="utf-8"
    )
    site = checked(read_site(tmp_path / "lines.csv", crs=CRS))
    row = found(site, "undecoded_geometry")
    assert (row["feature_source"], row["feature_row"]) == ("lines.csv:lines", 1)
    assert "WKB type" in row["message"]
    assert site.lines["line_id"].tolist() == ["W-1"]
    assert site.accounting["set_aside"].tolist() == [1]


def test_a_layer_that_cannot_be_read_is_named_and_the_others_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:

    path = write(tmp_path, lines=[line()], trenches=[line()])
    whole = pyogrio.read_dataframe

    def failing(file: Any, **options: Any) -> Any:
        if options.get("layer") == "trenches":
            raise pyogrio.errors.DataLayerError("the page is torn")
        return whole(file, **options)

    monkeypatch.setattr("corridor.site.sources.pyogrio.read_dataframe", failing)
    site = checked(read_site(path))
    assert found(site, "unreadable_layer")["message"] == "the layer 'trenches' can't be read: the page is torn"
    monkeypatch.setattr("corridor.site.sources.pyogrio.list_layers", lambda _: [("trenches", "LineString")])
    with pytest.raises(InputError, match="is none, or is damaged"):
        read_site(path)


# --- files


@pytest.mark.parametrize(("end", "what"), [(".shx", "the index"), (".dbf", "the attributes")])
def test_a_shapefile_without_one_of_its_files(tmp_path: Path, end: str, what: str) -> None:
    shapefile([line("W-1"), line("W-2", (0, 5), (9, 5))], tmp_path / "lines.shp")
    (tmp_path / f"lines{end}").unlink()
    before = sorted(tmp_path.iterdir())
    site = checked(read_site(tmp_path / "lines.shp"))
    assert f"without {end} ({what})" in found(site, "missing_sidecar")["message"]
    assert len(site.lines) == 2
    assert sorted(tmp_path.iterdir()) == before  # nobody's folder is written to
    if end == ".dbf":
        assert site.lines["line_id"].tolist() == ["lines:0", "lines:1"]
        assert len(told(site, "missing_id")) == 2


def test_a_lone_shp_is_read(tmp_path: Path) -> None:
    shapefile([line("W-1")], tmp_path / "a.shp")
    shutil.copy(tmp_path / "a.shp", tmp_path / "lines.shp")
    site = checked(read_site(tmp_path / "lines.shp", crs=CRS))
    message = found(site, "missing_sidecar")["message"]
    assert [end in message for end in (".shx", ".dbf", ".prj", ".cpg")] == [True, True, True, False]


def test_names_cut_at_ten_characters_are_found_again(tmp_path: Path) -> None:
    rows = [{"ASSET_NUMBER": "W-1", "horizontal_accuracy_m": 0.3, "geometry": course((0, 0), (9, 0))}]
    short = {"ASSET_NUMBER": "ASSET_NUMB", "horizontal_accuracy_m": "horizontal"}
    frame(rows).rename(columns=short).to_file(tmp_path / "mains.shp")
    site = checked(read_site(tmp_path / "mains.shp", fieldmap=mapped(mains={"columns": {"line_id": "ASSET_NUMBER"}})))
    assert "'ASSET_NUMBER' is there as 'ASSET_NUMB'" in found(site, "cut_name")["message"]
    assert site.lines["line_id"].tolist() == ["W-1"]
    assert site.lines["horizontal_accuracy_m"].tolist() == [0.3]
    with pytest.raises(FieldMapError, match="column 'ASSET', which isn't there"):
        read_site(tmp_path / "mains.shp", fieldmap=mapped(mains={"columns": {"line_id": "ASSET"}}))


def test_text_in_another_script_is_kept_and_a_word_of_it_can_be_mapped(tmp_path: Path) -> None:
    rows = [line("Т-1", owner="Водоканал", material="чугун"), line("T-2", (0, 5), (9, 5), material="ＰＥ")]
    path = write(tmp_path, lines=rows)
    site = checked(read_site(path, fieldmap=mapped(lines={"values": {"material": {"ЧУГУН": "cast_iron"}}})))
    assert site.lines["owner"][0] == "Водоканал"
    assert site.lines["line_id"][0] == "Т-1"
    assert site.lines["material"].tolist() == ["cast_iron", "polyethylene"]
    assert "got 'чугун'" in found(read_site(path), "unknown_word")["message"]


def test_a_stated_encoding_is_used(tmp_path: Path) -> None:
    shapefile([line("W-1", owner="Водоканал")], tmp_path / "lines.shp", encoding="cp1251")
    (tmp_path / "lines.cpg").unlink()
    site = checked(read_site(tmp_path / "lines.shp", fieldmap=mapped(lines={"encoding": "cp1251"})))
    assert site.lines["owner"].tolist() == ["Водоканал"]
    assert ".cpg (the encoding of the text)" in told(read_site(tmp_path / "lines.shp"), "missing_sidecar")[0]
    for name in ("klingon", "utf\0"):
        with pytest.raises(InputError, match=re.escape(f"in the encoding {name!r}")):
            read_site(tmp_path / "lines.shp", fieldmap=mapped(lines={"encoding": name}))


# --- values


def test_words_for_nothing(tmp_path: Path) -> None:
    words = ["UNKNOWN", "Unknown", "UN", "unk", "n/a", "?", "TBD", "0"]
    rows = [line(f"W-{n}", (0, 5 * n), (9, 5 * n), material=word, status=word, diameter_mm=word, install_year=word)
            for n, word in enumerate(words)]  # fmt: skip
    site = read(tmp_path, lines=[*rows, line("W-9", (0, 50), (9, 50))])
    assert "unknown_word" not in codes(site)
    for n, word in enumerate(words):
        one = site.lines.set_index("line_id").loc[f"W-{n}"]
        assert one["material_src"] in ("given", "default"), word
        assert one["status"] == "unknown", word
        assert one["diameter_mm_src"] == "default", word
        own = site.findings[site.findings["line_id"] == f"W-{n}"]
        assert set(own["code"]) & {"no_value", "out_of_range"}, word


def test_an_id_for_nothing_is_made_up_again(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("UNKNOWN"), line("Unknown", (0, 5), (9, 5)), line("A", (0, 9), (9, 9))])
    assert site.lines["line_id"].tolist() == ["lines:0", "lines:1", "A"]
    assert told(site, "no_value") == ["line_id: 'UNKNOWN' stands for nothing", "line_id: 'Unknown' stands for nothing"]


def test_an_accuracy_or_voltage_of_zero_is_none(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("W-1", vertical_accuracy_m=0.0, nominal_voltage_v=0.0)])
    assert len(told(site, "no_value")) == 2
    assert site.lines["depth_m_low"][0] < site.lines["depth_m"][0]


def test_sizes_with_their_unit(tmp_path: Path) -> None:
    # inch 25.4 mm, foot 304.8 mm (1959 agreement, exact; from memory)
    sizes = {'6"': 152.4, "150mm": 150.0, "3 ft": 914.4, "1 1/2 in": 38.1, '3/4"': 19.05, "2' 6\"": 762.0, "150": 150.0}
    rows = [line(f"W-{n}", (0, 5 * n), (9, 5 * n), diameter_mm=text) for n, text in enumerate(sizes)]
    site = read(tmp_path, lines=rows)
    assert site.lines["diameter_mm"].tolist() == pytest.approx(list(sizes.values()), abs=0.051)  # shown to 0.1 mm


def test_the_utility_may_stand_in_the_name_only(tmp_path: Path) -> None:
    row = {k: v for k, v in line("W-1").items() if k != "utility"}
    path = write(tmp_path, name="GasMains_2021.gpkg", export=[row])
    site = checked(read_site(path, fieldmap=mapped(export={})))
    assert site.lines["utility"].tolist() == ["gas"]
    assert "utility is not stated; gas" in found(site, "utility_from_name")["message"]


def test_ids_of_two_files_that_clash_get_their_layers_name(tmp_path: Path) -> None:
    write(tmp_path, name="gas.gpkg", gas=[line("1", utility="gas"), line("2", (0, 5), (9, 5), utility="gas")],
          bonds=[{"bond_id": "B", "line_a": "1", "line_b": "2"}])  # fmt: skip
    write(tmp_path, name="heat.gpkg", heat=[line("1", (0, 9), (9, 9), utility="heat")])
    files = [tmp_path / "gas.gpkg", tmp_path / "heat.gpkg"]
    site = checked(read_site(files, fieldmap=mapped(gas={}, heat={})))
    assert site.lines["line_id"].tolist() == ["gas:1", "2", "heat:1"]
    assert told(site, "prefixed_id")[0] == "line_id '1' is used in several layers; called gas:1"
    assert site.bonds[["line_a", "line_b"]].to_numpy().tolist() == [["gas:1", "2"]]  # of its own file


def test_layers_of_one_name_get_their_files_name(tmp_path: Path) -> None:
    for name, y in (("north", 0.0), ("south", 9.0)):
        write(tmp_path, name=f"{name}.gpkg", lines=[line("1", (0, y), (9, y))])
    site = checked(read_site([tmp_path / "north.gpkg", tmp_path / "south.gpkg"]))
    assert site.lines["line_id"].tolist() == ["north:lines:1", "south:lines:1"]


# --- one record, several conductors


def test_a_count_is_split_where_the_map_says_so(tmp_path: Path) -> None:
    cable = line("E-1", utility="electricity", asset="cable", count=3)
    bank = line("E-2", (0, 5), (50, 5), utility="electricity", asset="duct_bank", count=6)
    path = write(tmp_path, lines=[cable, bank])
    plain = checked(read_site(path))
    assert found(plain, "several_conductors")["line_id"] == "E-1"
    assert len(plain.lines) == 2
    site = checked(read_site(path, fieldmap=mapped(lines={"split": "count"})))
    assert site.lines["line_id"].tolist() == ["E-1", "E-1/2", "E-1/3", "E-2"]
    assert found(site, "split")["message"] == "one record for 3 conductors"
    assert site.lines["count"].tolist() == [1, 1, 1, 6]
    apart = [shape.distance(site.lines.geometry[1]) for shape in site.lines.geometry[:3]]
    assert apart == pytest.approx([0.15, 0.0, 0.15], abs=1e-9)
    assert site.lines.geometry[1].equals(course((0, 0), (50, 0)))
    assert site.accounting["used"].tolist() == [2]


def test_a_text_is_split_by_its_pattern(tmp_path: Path) -> None:
    rows = [line("E-1", utility="electricity", asset="cable", material=None, text="2x Cu 95, 1x Al 150"),
            line("E-2", (0, 5), (9, 5), utility="electricity", asset="cable", text="see sheet 4"),
            line("E-3", (0, 9), (9, 9), utility="electricity", asset="cable", text="900x Cu 1")]  # fmt: skip
    pattern = r"(?P<count>\d+)x (?P<material>\w+) (?P<conductor_mm2>\d+)"
    plan = mapped(lines={"split": {"source": "text", "pattern": pattern}})
    site = checked(read_site(write(tmp_path, lines=rows), fieldmap=plan))
    split = site.lines[site.lines["line_id"].str.startswith("E-1")]
    assert split["material"].tolist() == ["copper", "copper", "aluminium"]
    assert split["conductor_mm2"].tolist() == [95.0, 95.0, 150.0]
    assert set(split["material_src"]) == {"mapped"}
    assert told(site, "not_split") == ["no conductor found in 'see sheet 4'",
                                       "stands for 900 conductors, more than 60"]  # fmt: skip


# --- depths


def depth_of(folder: Path, plan: dict[str, Any], **values: Any) -> Site:
    row = {**line("W-1"), "depth_m": None, **values}
    row = {k: v for k, v in row.items() if k != "depth_m"}
    return checked(read_site(write(folder, lines=[row]), fieldmap=mapped(lines=plan)))


@pytest.mark.parametrize(
    ("kind", "depth_m", "word"),
    # outer diameter 170 mm, wall 8 mm: half is 0.085 m, half the bore 0.077 m
    [("cover", 1.085, "half the diameter added"), ("axis", 1.0, None), ("invert", 0.923, "half the inner diameter")],
)
def test_a_depth_goes_where_the_map_says(tmp_path: Path, kind: str, depth_m: float, word: str | None) -> None:
    site = depth_of(tmp_path, {"depth": kind, "columns": {"depth_m": "DEEP"}}, DEEP=1.0)
    assert site.lines["depth_m"].tolist() == [pytest.approx(depth_m)]
    assert "depth_kind_unstated" not in codes(site)
    if word:
        assert word in found(site, "depth_to_axis")["message"]
        assert site.lines["depth_m_src"].tolist() == ["mapped"]


def test_a_depth_of_no_stated_kind_gets_half_a_diameter_of_range(tmp_path: Path) -> None:
    plan = {"columns": {"depth_m": "DEEP"}}
    stated = depth_of(tmp_path, plan | {"depth": "axis"}, DEEP=1.0).lines.iloc[0]
    (tmp_path / "records.gpkg").unlink()
    site = depth_of(tmp_path, plan, DEEP=1.0)
    first = site.lines.iloc[0]
    assert "top, the axis or the bottom" in found(site, "depth_kind_unstated")["message"]
    assert first["depth_m"] == 1.0
    assert stated["depth_m_low"] - first["depth_m_low"] == pytest.approx(0.085)
    assert first["depth_m_high"] - stated["depth_m_high"] == pytest.approx(0.085)


def test_the_dictionarys_own_depth_goes_to_the_axis(tmp_path: Path) -> None:
    assert not {"depth_kind_unstated", "depth_to_axis"} & set(codes(read(tmp_path, lines=[line()])))


def test_an_elevation_is_taken_from_the_ground(tmp_path: Path) -> None:
    plan = {"depth": {"kind": "elevation", "of": "invert", "ground": "GL"},
            "columns": {"depth_m": {"source": "IL", "unit": "ft"}}}  # fmt: skip
    site = depth_of(tmp_path, plan, IL=96.0, GL=100.0)
    assert site.lines["depth_m"].tolist() == [pytest.approx(4 * 0.3048 - 0.077, abs=0.0006)]


def test_an_elevation_may_be_z(tmp_path: Path) -> None:
    deep = shapely.linestrings([(X, Y, 3.0), (X + 50, Y, 3.4), (X + 60, Y, -9999.0)])
    site = depth_of(tmp_path, {"depth": {"kind": "elevation", "ground": 5.0}}, geometry=deep)
    assert site.lines["depth_m"].tolist() == [pytest.approx(1.8)]


@pytest.mark.parametrize(
    ("block", "words"),
    [({"depth": "deep"}, "depth.kind"), ({"depth": "elevation"}, "needs ground"),
     ({"split": {"source": "a"}}, "expected source and pattern"), ({"axes": "up"}, "axes"),
     ({"split": {"source": "a", "pattern": "("}}, "regular expression")],
)  # fmt: skip
def test_a_block_that_says_half_is_refused(tmp_path: Path, block: dict[str, Any], words: str) -> None:
    ((key, value),) = block.items()
    written = json.dumps(value) if isinstance(value, str) else _inline(value)
    path = tmp_path / "map.toml"
    path.write_text(f"[layers.a]\ntable = 'lines'\n{key} = {written}\n", encoding="utf-8")
    with pytest.raises(FieldMapError, match=words):
        load_fieldmap(path)


def _inline(value: dict[str, str]) -> str:
    return "{" + ", ".join(f"{k} = '{v}'" for k, v in value.items()) + "}"


def test_a_column_named_by_split_or_depth_must_be_there(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line()])
    for block in ({"split": {"source": "txt", "pattern": "x"}}, {"depth": {"kind": "elevation", "ground": "GL"}}):
        with pytest.raises(FieldMapError, match="isn't there"):
            read_site(path, fieldmap=mapped(lines=block))


def test_nothing_read_is_lost_of_all_kinds_together(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    shapes = [GeometryCollection([Point(X, Y)]), MultiPoint([(X, Y)]), course((0, 0), (5, 0)),
              course((0, 3), (40, 3)).buffer(0.3), GeometryCollection([course((0, 7), (9, 7))]), None]  # fmt: skip
    rows = [line(rng.choice(["A", "B", "0", "UN"]), geometry=shapes[k % 6], depth_m=str(k), count=k) for k in range(18)]
    plan = mapped(lines={"split": "count", "columns": {"depth_m": "deep"}})
    for row in rows:
        row["deep"] = row.pop("depth_m")
    site = checked(read_site(write(tmp_path, lines=rows), fieldmap=plan))
    assert site.accounting["features_in"].tolist() == [18]
