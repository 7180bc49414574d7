"""Field maps: an owner's columns, words and units."""

from pathlib import Path

import pytest

from corridor.dictionary import INPUT_TABLES
from corridor.errors import FieldMapError
from corridor.site import FieldMap, load_fieldmap, read_site
from corridor.site.fieldmap import LayerMap
from corridor.site.findings import FEATURE
from corridor.site.mapping import map_layer
from tests.site.records import CRS, checked, course, found, frame, labelled, write

LINES = INPUT_TABLES["lines"]
MAP = """
[layers.mains]
table = "lines"

[layers.mains.columns]
line_id = "ASSET"
material = { source = "MAT", values = { "C.I. pipe" = "cast_iron" } }
diameter_mm = { source = "SIZE", pattern = '(\\d+)in', unit = "in" }
depth_m = { source = "COVER", unit = "ft" }
status = "STATE"

[layers.mains.values.status]
A = "in_service"

[layers.mains.constants]
utility = "water"
asset = "pipe"
coating = "none"
"""


def mains() -> list[dict[str, object]]:
    return [
        {"ASSET": "W-1", "MAT": "C.I. pipe", "SIZE": "12in CI", "COVER": 4.0, "STATE": "A",
         "geometry": course((0, 0), (9, 0))},
        {"ASSET": "W-2", "MAT": "DI", "SIZE": "6in", "COVER": None, "STATE": "abandoned",
         "geometry": course((0, 5), (9, 5))},
    ]  # fmt: skip


def toml(folder: Path, text: str) -> Path:
    path = folder / "map.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_map_names_words_units_parts_and_constants(tmp_path: Path) -> None:
    site = checked(read_site(write(tmp_path, mains=mains()), fieldmap=toml(tmp_path, MAP)))
    lines = site.lines.set_index("line_id")
    assert lines["material"].tolist() == ["cast_iron", "ductile_iron"]
    assert lines["material_src"].tolist() == ["mapped", "given"]  # DI is the owner's own word for it
    assert lines["diameter_mm"].tolist() == [304.8, 152.4]
    assert lines["diameter_mm_src"].tolist() == ["mapped", "mapped"]
    assert lines.loc["W-1", "depth_m"] == 1.219  # 4 ft, to the dictionary's millimetre
    assert lines["depth_m_src"].tolist() == ["given", "default"]
    assert lines["status"].tolist() == ["in_service", "abandoned"]
    assert lines["status_src"].tolist() == ["mapped", "given"]
    assert lines["coating_src"].tolist() == ["mapped", "mapped"]
    assert not any(name.startswith("src_STATE") for name in lines)


def test_a_constant_stands_in_only_where_the_record_is_silent() -> None:
    rows = labelled([{"material": None, "geometry": None}, {"material": "PE", "geometry": None}])
    mapped = map_layer(rows, LINES, LayerMap(table="lines", constants={"material": "steel"}), where="f:lines")
    assert mapped["material"].tolist() == ["steel", "PE"]
    assert mapped["material_src"].tolist() == ["mapped", "given"]


def test_what_clears_a_line_is_given_only_in_the_records_own_words() -> None:
    rows = labelled([
        {"LIVE": "dead", "source": "log", "SEEN": "as of 2024-05-06", "geometry": None},
        {"LIVE": None, "source": None, "SEEN": None, "geometry": None},
    ])  # fmt: skip
    plan = LayerMap.model_validate({
        "table": "lines",
        "columns": {"energized": {"source": "LIVE", "values": {"dead": "no"}},
                    "source_date": {"source": "SEEN", "pattern": r"as of (\S+)"}},
        "constants": {"energized": "no", "source": "memo", "source_date": "2020"},
    })  # fmt: skip
    mapped = map_layer(rows, LINES, plan, where="f:lines")
    assert mapped["energized"].tolist() == ["no", "no"]
    for column in ("energized", "source", "source_date"):
        assert mapped[f"{column}_src"].tolist() == ["given", "mapped"], column


def test_lines_read_before_keep_what_they_say_of_their_origin() -> None:
    row = {"energized": "no", "source": "memo", "geometry": None}
    rows = labelled([row | {"energized_src": "mapped", "source_src": "given"}, row | {"energized_src": "given"}])
    mapped = map_layer(rows, LINES, LayerMap(table="lines"), where="f:lines")
    assert mapped["energized_src"].tolist() == ["mapped", "given"]
    assert mapped["source_src"].tolist() == ["given", "mapped"]


def test_columns_go_by_their_own_names_in_any_case() -> None:
    rows = labelled([{"Line ID": "A", "DEPTH-M": 1.0, "other": 1, "geometry": None}])
    mapped = map_layer(rows, LINES, LayerMap(table="lines"), where="f:lines")
    assert list(mapped.columns) == ["line_id", "depth_m", "depth_m_src", "src_other", *FEATURE, "geometry"]


def test_a_column_that_the_map_names_is_used_only_as_the_map_says() -> None:
    rows = labelled([{"ASSET": "W-1", "Material": "PE", "geometry": None}])
    plan = LayerMap.model_validate({"table": "lines", "columns": {"line_id": "ASSET", "coating": "Material"}})
    mapped = map_layer(rows, LINES, plan, where="f:lines")
    assert list(mapped.columns) == ["line_id", "coating", "coating_src", *FEATURE, "geometry"]


def test_one_column_may_serve_two_when_the_map_says_so() -> None:
    rows = labelled([{"material": "PE 110", "geometry": None}])
    columns = {"material": {"source": "material", "pattern": "[A-Z]+"},
               "diameter_mm": {"source": "material", "pattern": "[0-9]+"}}  # fmt: skip
    mapped = map_layer(rows, LINES, LayerMap.model_validate({"table": "lines", "columns": columns}), where="f:lines")
    assert mapped[["material", "diameter_mm"]].to_numpy().tolist() == [["PE", "110"]]


def test_the_group_of_a_pattern_may_have_a_name() -> None:
    rows = labelled([{"text": "DN 110", "geometry": None}])
    columns = {"diameter_mm": {"source": "text", "pattern": "DN (?P<size>[0-9]+)"}}
    mapped = map_layer(rows, LINES, LayerMap.model_validate({"table": "lines", "columns": columns}), where="f:lines")
    assert mapped["diameter_mm"].tolist() == ["110"]


def test_a_pattern_without_a_group_may_begin_with_a_flag() -> None:
    rows = labelled([{"text": word, "geometry": None} for word in ("Old CAST IRON main", "PE", None)])
    columns = {"material": {"source": "text", "pattern": "(?i)cast iron", "values": {"CAST IRON": "cast_iron"}}}
    mapped = map_layer(rows, LINES, LayerMap.model_validate({"table": "lines", "columns": columns}), where="f:lines")
    assert mapped["material"][0] == "cast_iron"
    assert mapped["material"].isna().tolist() == [False, True, True]


def test_bytes_that_nobody_asks_for_are_kept_as_text() -> None:
    rows = labelled([{"note": note, "geometry": None} for note in (b"caf\xe9", "main", None)])
    mapped = map_layer(rows, LINES, LayerMap.model_validate({"table": "lines"}), where="f:lines")
    assert mapped["src_note"].dropna().tolist() == ["caf\ufffd", "main"]


def test_a_unit_written_beside_the_number_wins() -> None:
    rows = labelled(
        [{"depth": "4", "geometry": None}, {"depth": "1.1 m", "geometry": None}, {"depth": "deep", "geometry": None}]
    )
    plan = LayerMap.model_validate({"table": "lines", "columns": {"depth_m": "depth"}, "units": {"depth_m": "ft"}})
    mapped = map_layer(rows, LINES, plan, where="f:lines")
    assert mapped["depth_m"].tolist() == [pytest.approx(1.2192), 1.1, "deep"]


def test_the_rows_read_are_left_alone() -> None:
    rows = labelled(mains())
    before = rows.copy(deep=True)
    map_layer(rows, LINES, load_fieldmap(None).layers.get("x", LayerMap(table="lines")), where="f:lines")
    assert rows.equals(before)


def test_each_block_may_state_its_own_crs(tmp_path: Path) -> None:
    frame(mains()).to_file(tmp_path / "mains.shp")
    (tmp_path / "mains.prj").unlink()
    text = MAP.replace('table = "lines"\n', f'table = "lines"\ncrs = "{CRS}"\n')
    assert checked(read_site(tmp_path / "mains.shp", fieldmap=toml(tmp_path, text))).crs == CRS


def test_a_map_that_contradicts_the_layers_crs_is_told(tmp_path: Path) -> None:
    text = MAP.replace('table = "lines"\n', 'table = "lines"\ncrs = "EPSG:32632"\n')
    site = checked(read_site(write(tmp_path, mains=mains()), fieldmap=toml(tmp_path, text)))
    assert site.crs == "EPSG:32632"
    assert "EPSG:32631, the field map EPSG:32632" in found(site, "crs_replaced")["message"]


def test_a_map_is_returned_as_it_is_and_none_is_empty() -> None:
    empty = load_fieldmap(None)
    assert empty.layers == {}
    assert load_fieldmap(empty) is empty


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("layers = [", "expected a readable TOML field map file, .* is not TOML at "),
        ("[other]\n", "layers: expected, and not there; other: expected one of the keys layers, profile, this is none"),
        ('[layers.a]\ntable = "mains"\n', "expected one of lines, structures"),
        ('[layers.a]\ntabel = "lines"\n', r"layers\.a\.tabel: expected one of the keys .* \(nearest: table\)"),
        ('[layers.a]\ntable = "lines"\ncolumns = { dept_m = "D" }\n', r"no column 'dept_m' \(nearest: depth_m\)"),
        ('[layers.a]\ntable = "lines"\nunits = { depth_m = "mile" }\n', "unit 'mile' of depth_m can't be turned"),
        ('[layers.a]\ntable = "lines"\nunits = { material = "m" }\n', "unit 'm' of material can't"),
        ('[layers.a]\ntable = "lines"\ncolumns.depth_m = { source = "D", pattern = "(" }\n', "regular expression"),
        ('[layers.a]\ntable = "lines"\ncolumns = 3\n', r"layers\.a\.columns: expected a table of keys, got 3"),
    ],
)  # fmt: skip
def test_a_malformed_map_is_refused(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(FieldMapError, match=told):
        load_fieldmap(toml(tmp_path, text))


def test_a_map_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FieldMapError, match="expected a readable TOML field map"):
        load_fieldmap(tmp_path / "none.toml")


def test_every_mistake_of_a_map_is_told(tmp_path: Path) -> None:
    text = '[layers.a]\ntable = "x"\n[layers.b]\ntable = "y"\n'
    with pytest.raises(FieldMapError, match=r"layers\.a\.table.*layers\.b\.table"):
        load_fieldmap(toml(tmp_path, text))


def test_a_missing_column_is_refused() -> None:
    plan = LayerMap.model_validate({"table": "lines", "columns": {"line_id": "ID"}})
    with pytest.raises(FieldMapError, match=r"f:lines: the field map takes line_id from column 'ID'.* has: NAME"):
        map_layer(labelled([{"NAME": "A", "geometry": None}]), LINES, plan, where="f:lines")


def test_a_field_map_built_in_code_serves_too(tmp_path: Path) -> None:
    plan = FieldMap.model_validate({"layers": {"mains": {"table": "lines", "constants": {"utility": "gas"}}}})
    site = checked(read_site(write(tmp_path, mains=mains()), fieldmap=plan))
    assert set(site.lines["utility"]) == {"gas"}
