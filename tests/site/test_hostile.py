"""What the fuzz found in the reading room, each kept by a small case."""

import json
import sqlite3
import tomllib
import warnings
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from shapely import LineString, Point

from corridor import read_site
from corridor.city.tiles import is_tiles
from corridor.errors import CrsError, FieldMapError, InputError, SettingsError
from corridor.settings import load_settings
from corridor.site.draft import draft_fieldmap
from corridor.site.findings import Findings
from corridor.site.sources import file_labels
from corridor.site.values import as_text, read_values
from tests.site.records import X, Y, codes, course, found, frame, labelled, line, read, write

LONG = "L" * 1_000_000


@pytest.mark.parametrize("far", [1e9, 1e20, -1e308])
@pytest.mark.filterwarnings("error")
def test_a_coordinate_off_the_earth_is_set_aside_without_a_warning(far: float, tmp_path: Path) -> None:
    off = LineString([(X, Y), (far, Y)])
    site = read(tmp_path, lines=[line("W-1"), line("W-2", geometry=off), line("W-3", (0.0, 9.0), (50.0, 9.0))])
    assert sorted(site.lines["line_id"]) == ["W-1", "W-2", "W-3"] or "far_away" in codes(site)
    assert site.lines.total_bounds[2] < 1e8


@pytest.mark.parametrize("far", [1e300, 0.9e308])
@pytest.mark.filterwarnings("error")
def test_records_that_all_lie_off_the_earth_say_so(far: float, tmp_path: Path) -> None:
    off = LineString([(far, far), (1.9 * far, far)])
    with pytest.raises(InputError, match=r"records\.gpkg"):
        read_site(write(tmp_path, lines=[line("W-1", geometry=off)]))


def test_a_place_that_is_none_is_asked_for_by_name(tmp_path: Path) -> None:
    (tmp_path / "lines.geojson").write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"LineString",'
        '"coordinates":[["x",1],[null,54]]}}]}',
        encoding="utf-8",
    )
    with pytest.raises(InputError, match=r"lines\.geojson"):
        read_site(tmp_path / "lines.geojson")


def test_an_id_of_a_million_characters_is_cut_and_told_in_a_few(tmp_path: Path) -> None:
    bond = {"bond_id": "B-1", "line_a": LONG, "line_b": "W-2", "geometry": Point(X, Y)}
    site = read(tmp_path, lines=[line(LONG), line("W-2", (0.0, 5.0), (50.0, 5.0))], bonds=[bond])
    assert sorted(site.lines["line_id"].str.len()) == [3, 200]
    assert site.bonds["line_a"].tolist() == ["L" * 200]  # what refers to it is cut alike
    assert site.findings["message"].str.len().max() < 500
    assert "changed_id" in codes(site)


def test_ids_that_agree_in_what_is_left_stay_apart(tmp_path: Path) -> None:
    rows = [line("x" * 300 + end, (0.0, y), (50.0, y)) for end, y in (("a", 0.0), ("b", 9.0))]
    site = read(tmp_path, lines=rows)
    assert site.lines["line_id"].is_unique
    assert "duplicate_id" in codes(site)


@pytest.mark.parametrize("column", ["material", "depth_m", "status"])
def test_a_value_of_many_characters_is_quoted_in_a_few(column: str) -> None:
    from corridor.dictionary import INPUT_TABLES  # noqa: PLC0415

    findings = Findings()
    read_values(labelled([line("W-1", **{column: "z" * 5000})]), INPUT_TABLES["lines"], findings)
    told = findings.frame(None)["message"]
    assert told.str.contains("zzz").any()
    assert told.str.len().max() < 1500


def test_a_file_named_twice_is_read_once_under_its_short_name(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1")])
    assert file_labels([path, path]) == {path: path.name}
    assert read_site([path, path]).accounting["layer"].tolist() == ["records.gpkg:lines"]


@pytest.mark.filterwarnings("error")
def test_a_geometry_type_that_lies_is_no_warning(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1")])
    with sqlite3.connect(path) as base:
        base.execute("UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT'")
    base.close()
    assert len(read_site(path).lines) == 1


@pytest.mark.filterwarnings("error")
def test_a_hundred_columns_of_the_owner_are_no_warning(tmp_path: Path) -> None:
    more: dict[str, Any] = {f"c{k}": k for k in range(110)}
    site = read(tmp_path, lines=[line("W-1", **more)])
    assert site.lines["src_c109"].tolist() == [109]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = " + "[" * 5000, "nests too deep"),
        ("seed = " + "9" * 5000, "number too long"),
        ("\x00", "is not TOML"),
        ("".join(f"k{n} = {n}\n" for n in range(5000)), r" more"),
        (f"{'k' * 5000} = 1", "this is none of them"),
    ],
    ids=["deep", "long number", "null", "many keys", "long key"],
)
def test_a_settings_file_that_is_a_bomb_gets_one_sentence(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        load_settings(path)
    assert words in str(told.value)
    assert "settings.toml" in str(told.value)
    assert len(str(told.value)) < 2000


def test_a_map_for_a_layer_of_many_columns_names_the_first(tmp_path: Path) -> None:
    more: dict[str, Any] = {f"column_{k}": "x" for k in range(200)}
    fieldmap = tmp_path / "map.toml"
    fieldmap.write_text('[layers.lines]\ntable = "lines"\ncolumns.owner = "OWNR"\n', encoding="utf-8")
    with pytest.raises(FieldMapError) as told:
        read_site(write(tmp_path, lines=[line("W-1", **more)]), fieldmap=fieldmap)
    assert "and 1" in str(told.value)
    assert len(str(told.value)) < 2000


def test_a_pattern_that_may_take_for_ever_is_refused_where_it_stands(tmp_path: Path) -> None:
    fieldmap = tmp_path / "map.toml"
    text = "[layers.lines]\ntable = 'lines'\ncolumns.subtype = { source = 'material', pattern = '(a+)+$' }\n"
    fieldmap.write_text(text, encoding="utf-8")
    with pytest.raises(FieldMapError, match=r"map\.toml.*pattern.*repeated group"):
        read_site(write(tmp_path, lines=[line("W-1", material="a" * 40 + "!")]), fieldmap=fieldmap)


def test_a_far_feature_is_found_beside_one_without_a_place(tmp_path: Path) -> None:
    away = course((1e6, 0.0), (1e6 + 50.0, 0.0))
    site = read(tmp_path, lines=[line("W-1"), line("W-2", geometry=away), line("W-3", geometry=None),
                                 line("W-4", (0.0, 9.0), (50.0, 9.0))])  # fmt: skip
    assert found(site, "far_away")["source_id"] == "W-2"
    assert found(site, "no_geometry")["source_id"] == "W-3"


def test_records_half_here_and_half_elsewhere_say_why_none_is_used(tmp_path: Path) -> None:
    away = course((1e6, 0.0), (1e6 + 50.0, 0.0))
    with pytest.raises(InputError, match=r"all 2 records are without a usable course \(lies 500 km from where most"):
        read(tmp_path, lines=[line("W-1"), line("W-2", geometry=away)])


def test_parquet_with_text_that_is_none_gets_one_sentence(tmp_path: Path) -> None:
    frame([line("W-1", owner="Ninefold")]).to_parquet(tmp_path / "lines.parquet", compression=None)
    data = (tmp_path / "lines.parquet").read_bytes()
    (tmp_path / "lines.parquet").write_bytes(data.replace(b"Ninefold", b"Nine\xfc\xfc\xfcd"))
    with pytest.raises(InputError, match=r"expected GeoParquet, .*lines\.parquet can't be read"):
        read_site(tmp_path / "lines.parquet")


def test_a_crs_of_many_characters_is_quoted_in_a_few(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text('WKT,line_id\n"LINESTRING (0 0, 9 9)",A\n', encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_site(tmp_path / "lines.csv", crs="PROJCS[" * 2000)
    assert len(str(told.value)) < 400


def test_a_draft_for_a_crs_that_is_none_gets_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "lines.csv").write_text('WKT,line_id\n"LINESTRING (0 0, 9 9)",A\n', encoding="utf-8")
    with pytest.raises(CrsError, match=r"lines\.csv:lines: expected a coordinate reference system such as") as told:
        draft_fieldmap(tmp_path / "lines.csv", crs="PROJCS[" * 2000)
    assert len(str(told.value)) < 400


def test_an_encoding_of_many_characters_is_quoted_in_a_few(tmp_path: Path) -> None:
    fieldmap = tmp_path / "map.toml"
    fieldmap.write_text(f"[layers.lines]\ntable = 'lines'\nencoding = '{'x' * 5000}'\n", encoding="utf-8")
    with pytest.raises(InputError, match="in the encoding 'xxx") as told:
        read_site(write(tmp_path, lines=[line("W-1")]), fieldmap=fieldmap)
    assert len(str(told.value)) < 500


@pytest.mark.parametrize("more", ["units.depth_m = '{}'", "constants.{} = 1"])
def test_a_unit_or_column_of_many_characters_is_quoted_in_a_few(more: str, tmp_path: Path) -> None:
    fieldmap = tmp_path / "map.toml"
    fieldmap.write_text("[layers.lines]\ntable = 'lines'\n" + more.format("x" * 5000), encoding="utf-8")
    with pytest.raises(FieldMapError, match="'xxx") as told:
        read_site(write(tmp_path, lines=[line("W-1")]), fieldmap=fieldmap)
    assert len(str(told.value)) < 1000


@pytest.mark.filterwarnings("error")
def test_a_list_of_layers_gives_no_warning_of_measures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def listed(_: Path) -> list[tuple[str, str]]:
        warnings.warn("Measured (M) geometry types are not supported", UserWarning, stacklevel=1)
        return [("lines", "LineString")]

    path = write(tmp_path, lines=[line("W-1")])
    monkeypatch.setattr("corridor.site.sources.pyogrio.list_layers", listed)
    assert len(read_site(path).lines) == 1


def test_a_name_with_a_null_byte_gets_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_site(tmp_path / "a\x00b.gpkg")


def _collection(path: Path, *kinds: str) -> Path:
    made = [
        {"type": kind, "properties": {"line_id": f"W-{k}", "utility": "water", "asset": "pipe"},
         "geometry": {"type": "LineString", "coordinates": [[9.0, 50.0 + k / 1e3], [9.001, 50.0 + k / 1e3]]}}
        for k, kind in enumerate(kinds)
    ]  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "name": "lines", "features": made}), encoding="utf-8")
    return path


def test_a_member_of_a_collection_that_is_no_feature_is_counted_and_told(tmp_path: Path) -> None:
    # one flipped bit makes it such
    site = read_site(_collection(tmp_path / "lines.geojson", "Feature", "Featuru", "Feature"))
    assert site.accounting["features_in"].tolist() == [3]
    assert site.accounting["set_aside"].tolist() == [1]
    assert "features_lost" in set(site.findings["code"])


def test_a_letter_that_is_none_hides_no_feature(tmp_path: Path) -> None:
    path = _collection(tmp_path / "lines.geojson", "Feature", "Feature", "Feature")
    path.write_bytes(path.read_bytes().replace(b'"type": "Feature", "prop', b'"ty\xe9e": "Feature", "prop', 1))
    site = read_site(path)
    assert site.accounting["features_in"].tolist() == [3]


def test_a_control_character_in_a_text_hides_no_feature(tmp_path: Path) -> None:
    path = _collection(tmp_path / "lines.geojson", "Feature", "Featuru")
    path.write_bytes(path.read_bytes().replace(b'"W-0"', b'"W\x070"', 1))
    site = read_site(path)
    assert site.accounting["features_in"].tolist() == [2]
    assert "features_lost" in set(site.findings["code"])


def test_a_layer_s_name_ends_at_a_null(tmp_path: Path) -> None:
    path = _collection(tmp_path / "lines.geojson", "Feature", "Featuru")
    path.write_text(path.read_text().replace('"name": "lines"', '"name": "lines\\u0000more"'))
    site = read_site(path)
    assert site.accounting["layer"].tolist() == ["lines.geojson:lines"]
    assert site.accounting["features_in"].tolist() == [2]


def test_a_layer_s_name_of_many_characters_fills_no_message(tmp_path: Path) -> None:
    _collection(tmp_path / "lines.geojson", "Feature", "Feature")
    other = tmp_path / "other.geojson"
    other.write_text((tmp_path / "lines.geojson").read_text().replace('"name": "lines"', f'"name": "{"x" * 5000}"'))
    told = read_site([tmp_path / "lines.geojson", other]).findings
    assert "unknown_layer" in set(told["code"])
    assert told["message"].str.len().max() <= 1000


def test_a_field_map_that_names_a_layer_of_no_file_says_which_were_read(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text("[layers.nowhere]\ntable = 'lines'\n", encoding="utf-8")
    with pytest.raises(FieldMapError, match=r"layer 'nowhere'.*they have: lines \(read: lines.geojson\)"):
        read_site(_collection(tmp_path / "lines.geojson", "Feature"), fieldmap=tmp_path / "map.toml")


def test_a_name_too_long_is_no_folder_of_tiles(tmp_path: Path) -> None:
    assert not is_tiles(tmp_path / ("n" * 300))


def test_a_column_of_bytes_is_read_as_text() -> None:
    raw = pd.Series([b"caf\xe9", b"main", None], dtype=object)
    assert as_text(raw).tolist() == ["caf\ufffd", "main", None]


def test_a_draft_keeps_control_characters_out_of_its_comments(tmp_path: Path) -> None:
    path = _collection(tmp_path / "lines.geojson", "Feature")
    path.write_text(path.read_text().replace('"asset": "pipe"', '"asset": "pipe", "x\\u001b[31m": 1, "d\\u007f": 2'))
    text = draft_fieldmap(path).text
    assert "x?[31m" in text
    tomllib.loads(text)
