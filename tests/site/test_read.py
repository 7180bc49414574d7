"""Reading a site as a whole."""

import shutil
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, Point, Polygon

from corridor.errors import CrsError, FieldMapError, InputError
from corridor.frames import provenance
from corridor.settings import Settings, SoilSettings
from corridor.site import read_site
from tests.site.records import (
    BROKEN,
    CRS,
    FILE,
    X,
    Y,
    assert_accounts,
    checked,
    codes,
    course,
    found,
    frame,
    line,
    read,
    write,
)

POLYGON = Polygon([(X, Y), (X + 40, Y), (X + 40, Y + 30), (X, Y + 30)])
BAD = {"no_geometry", "not_finite", "wrong_geometry", "zero_length"}


def without_crs(path: Path) -> None:
    frame([{"line_id": "W-1", "geometry": course((0, 0), (9, 0))}]).to_file(path)
    path.with_suffix(".prj").unlink()


def whole() -> dict[str, list[dict[str, object]]]:
    return {
        "lines": [
            line("W-1"),
            line("E-1", (0, 2), (50, 2), utility="electricity", asset="cable", material="copper", sheath="copper",
                 sheath_bonding="both_ends", coating="pvc", conductor_mm2=95.0, joints=None, joint_spacing_m=None,
                 wall_mm=None),
        ],
        "structures": [
            {"structure_id": "V-1", "kind": "valve", "utility": "water", "geometry": Point(X, Y)},
            {"structure_id": "V-2", "kind": "valve", "utility": "water", "geometry": Point(X + 50, Y)},
            {"structure_id": "M-1", "kind": "manhole", "utility": "electricity", "geometry": Point(X + 50, Y + 2)},
            {"structure_id": "M-2", "kind": "manhole", "utility": "electricity", "geometry": Point(X, Y + 2)},
        ],
        "terminations": [{"structure_id": "V-1", "line_id": "W-1", "at": "start", "direct": "no", "clamp": None}],
        "bonds": [{"bond_id": "B-1", "line_a": "W-1", "line_b": "E-1", "structure_id": "V-1", "state": "closed"}],
        "grounds": [{"ground_id": "G-1", "line_id": "E-1", "resistance_ohm": 12.0, "geometry": Point(X + 50, Y + 2)}],
        "soil": [{"resistivity_ohm_m": 60.0, "geometry": POLYGON}],
        "work_area": [{"phase": "1", "dig_depth_m": 1.5, "geometry": POLYGON}],
        "surfaces": [{"kind": "verge", "geometry": POLYGON}],
    }  # fmt: skip


def test_a_clean_site_needs_no_word(tmp_path: Path) -> None:
    site = read(tmp_path, **whole())
    assert codes(site) == ["continuity_unknown"]
    assert site.accounting["features_in"].sum() == site.accounting["used"].sum() == 12
    assert site.accounting["set_aside"].sum() == site.accounting["repaired"].sum() == 0
    assert site.crs == CRS
    assert list(site.lines["conductive"]) == ["yes", "yes"]
    assert not site.lines["assumed"].any()
    assert provenance(site.lines)[0]["function"] == "read_site"


def test_sources_are_hashed_and_dated(tmp_path: Path) -> None:
    site = read(tmp_path, **whole())
    (source,) = site.sources
    assert source.path == str(tmp_path / FILE)
    assert len(source.sha256) == 64
    assert sorted(source.layers) == sorted(whole())
    assert source.modified[4] == "-"


def test_the_same_records_give_the_same_site(tmp_path: Path) -> None:
    path = write(tmp_path, **whole())
    first, second = read_site(path), read_site([path])
    for name in ("lines", "structures", "terminations", "bonds", "grounds", "findings", "accounting"):
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))


def test_the_order_of_the_records_changes_no_line(tmp_path: Path) -> None:
    rows = [line("W-1"), line("W-2", (50.05, 0), (80, 0)), line("W-3", (20, 0.06), (20, 30))]
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first = read(tmp_path / "a", lines=rows).lines.set_index("line_id").sort_index()
    second = read(tmp_path / "b", lines=rows[::-1]).lines.set_index("line_id").sort_index()
    assert first.geometry.geom_equals_exact(second.geometry, 0.0).all()


def test_several_files_are_one_site(tmp_path: Path) -> None:
    write(tmp_path, name="a.gpkg", lines=[line("W-1")])
    write(tmp_path, name="b.gpkg", lines=[line("W-2", (0, 5), (50, 5))], structures=whole()["structures"])
    site = checked(read_site([tmp_path / "a.gpkg", tmp_path / "b.gpkg"]))
    assert list(site.lines["line_id"]) == ["W-1", "W-2"]
    assert list(site.accounting["layer"]) == ["a.gpkg:lines", "b.gpkg:lines", "b.gpkg:structures"]
    assert len(site.sources) == 2


def test_other_vector_formats_are_read(tmp_path: Path) -> None:
    rows = gpd.GeoDataFrame([line("W-1")], geometry="geometry", crs=CRS)
    rows.to_file(tmp_path / "lines.geojson", driver="GeoJSON")
    # a shapefile cuts names to ten characters; they are known all the same
    rows.rename(columns=lambda name: name[:10]).to_file(tmp_path / "lines.shp")
    for name in ("lines.geojson", "lines.shp"):
        site = checked(read_site(tmp_path / name))
        assert list(site.lines["line_id"]) == ["W-1"]
        assert not site.lines["assumed"].any()


def test_an_unknown_layer_is_set_aside_whole(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line()], trees=[{"name": "oak", "geometry": Point(X, Y)}] * 3)
    assert "3 features" in found(site, "unknown_layer")["message"]
    row = site.accounting.set_index("layer").loc[f"{FILE}:trees"]
    assert (row["features_in"], row["used"], row["set_aside"]) == (3, 0, 3)


def test_source_columns_that_are_not_mapped_stay(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line(remark="by the kerb", feature_row=7)])
    assert list(site.lines["src_remark"]) == ["by the kerb"]
    assert list(site.lines["src_feature_row_"]) == [7]
    assert list(site.lines["src_feature_row"]) == [0]
    assert list(site.lines["src_source_id"]) == ["W-1"]


def test_findings_name_file_layer_and_row(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        lines=[line("W-1", owner="Slate Water"), line("W-2", (0, 9), (9, 9), utility="plasma", owner="Slate Water")],
    )
    row = found(site, "unknown_word")
    assert row["feature_source"] == f"{FILE}:lines"
    assert (row["feature_row"], row["source_id"], row["line_id"], row["owner"]) == (1, "W-2", "W-2", "Slate Water")
    assert row.geometry.equals(course((0, 9), (9, 9)))
    assert site.lines["utility"].tolist() == ["water", "unknown"]


def test_missing_required_words_are_unknown(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line(asset=None), line("W-2", (0, 5), (9, 5))],
                structures=[{"structure_id": "S-1", "kind": None, "geometry": Point(X, Y)}])  # fmt: skip
    assert site.lines["asset"].tolist() == ["unknown", "pipe"]
    assert site.structures["kind"].tolist() == ["unknown"]
    assert codes(site).count("missing_value") == 2


def test_soil_without_a_resistivity_is_set_aside(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line()], soil=[{"resistivity_ohm_m": None, "low_ohm_m": 20.0, "geometry": POLYGON}])
    assert site.soil.empty
    assert found(site, "missing_value")["action"].startswith("set aside")


def test_a_multipart_line_counts_once_and_is_repaired(tmp_path: Path) -> None:
    apart = MultiLineString([course((0, 0), (10, 0)), course((20, 0), (30, 0))])
    site = read(tmp_path, lines=[line(geometry=apart)])
    assert list(site.lines["line_id"]) == ["W-1", "W-1/2"]
    row = site.accounting.iloc[0]
    assert (row["features_in"], row["used"], row["repaired"], row["set_aside"]) == (1, 1, 1, 0)


def test_a_multipart_type_with_one_part_is_used_as_it_is(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line(geometry=MultiLineString([course((0, 0), (10, 0))]))])
    row = site.accounting.iloc[0]
    assert (row["features_in"], row["used"], row["repaired"], row["set_aside"]) == (1, 1, 0, 0)


def test_references_follow_to_the_part_they_mean(tmp_path: Path) -> None:
    apart = MultiLineString([course((0, 0), (10, 0)), course((20, 0), (30, 0))])
    records = whole() | {
        "lines": [line(geometry=apart), *whole()["lines"][1:]],
        "structures": [{"structure_id": "V-1", "kind": "valve", "utility": "water", "geometry": Point(X + 30, Y)}],
        "terminations": [{"structure_id": "V-1", "line_id": "W-1", "at": None, "direct": "yes", "clamp": "no"}],
    }
    site = read(tmp_path, **records)
    assert site.terminations[["line_id", "at"]].to_numpy().tolist() == [["W-1/2", "end"]]
    assert site.bonds["line_a"].tolist() == ["W-1/2"]


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("terminations", {"structure_id": "V-1", "line_id": "W-9"}),
        ("terminations", {"structure_id": "V-9", "line_id": "W-1"}),
        ("bonds", {"bond_id": "B-9", "line_a": "W-1", "line_b": "E-9"}),
        ("bonds", {"bond_id": "B-9", "line_a": None, "line_b": "E-1"}),
        ("grounds", {"ground_id": "G-9", "line_id": "W-9", "geometry": Point(X, Y)}),
    ],
)
def test_what_refers_to_nothing_is_set_aside(tmp_path: Path, table: str, row: dict[str, object]) -> None:
    records = whole()
    records[table] = [*records[table], row]
    site = read(tmp_path, **records)
    assert found(site, "unknown_reference")["action"].startswith("set aside")
    assert site.accounting.set_index("layer").loc[f"{FILE}:{table}", "set_aside"] == 1


def test_a_bond_to_earth_and_one_at_no_known_structure_are_used(tmp_path: Path) -> None:
    bonds = [{"bond_id": "B-1", "line_a": "E-1", "line_b": "earth"},
             {"bond_id": "B-2", "line_a": "E-1", "line_b": "W-1", "structure_id": "nowhere"}]  # fmt: skip
    site = read(tmp_path, **(whole() | {"bonds": bonds}))
    assert list(site.bonds["bond_id"]) == ["B-1", "B-2"]
    assert site.bonds["structure_id"].isna().all()
    assert found(site, "unknown_reference")["action"].startswith("repaired")


def test_an_unknown_container_is_left_out(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("W-1", contained_in="D-1"), line("W-2", (0, 5), (9, 5), contained_in="W-1")])
    assert site.lines["contained_in"].tolist() == [None, "W-1"]
    assert found(site, "unknown_reference")["line_id"] == "W-1"


def test_soil_settings_are_told(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line()])
    chosen = Settings(soil=SoilSettings(resistivity_ohm_m=70.0, low_ohm_m=35.0, high_ohm_m=140.0))
    assert "70 ohm m, range 35 to 140" in found(read_site(path, settings=chosen), "no_soil")["message"]


def test_inputs_are_left_alone(tmp_path: Path) -> None:
    path = write(tmp_path, **whole())
    before = path.read_bytes()
    read_site(path)
    assert path.read_bytes() == before


# --- bad input: one clear sentence each


def test_no_file_is_refused() -> None:
    with pytest.raises(InputError, match="expected at least one file"):
        read_site([])


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nothing\.gpkg does not exist; check the name"):
        read_site(tmp_path / "nothing.gpkg")


def test_a_file_that_is_no_vector_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("dear sir")
    with pytest.raises(InputError, match=r"expected a vector file .*letter\.txt"):
        read_site(path)


def test_a_layer_without_crs_is_refused(tmp_path: Path) -> None:
    without_crs(tmp_path / "lines.shp")
    with pytest.raises(CrsError, match=r"lines\.shp:lines has no coordinate reference system; state one"):
        read_site(tmp_path / "lines.shp")
    site = checked(read_site(tmp_path / "lines.shp", crs=CRS))
    assert "was stated" in found(site, "crs_stated")["message"]


def test_a_name_that_is_no_crs_is_refused(tmp_path: Path) -> None:
    without_crs(tmp_path / "lines.shp")
    with pytest.raises(CrsError, match="got 'the usual one'"):
        read_site(tmp_path / "lines.shp", crs="the usual one")


def test_no_lines_layer_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, structures=whole()["structures"])
    with pytest.raises(InputError, match=rf"expected a layer named lines .*{FILE}:structures"):
        read_site(path)


def test_an_empty_lines_layer_is_refused(tmp_path: Path) -> None:
    gpd.GeoDataFrame({"line_id": []}, geometry=[], crs=CRS).to_file(tmp_path / FILE, layer="lines")
    with pytest.raises((InputError, CrsError), match="expected at least one"):
        read_site(tmp_path / FILE)


def test_lines_without_any_course_are_refused(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1", (0, 0), (0, 0)), line("W-2", (5, 0), (5, 0))])
    with pytest.raises(InputError, match="all 2 records are without a usable course"):
        read_site(path)


def test_a_field_map_naming_a_missing_column_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line(cover=1.0)])
    plan = tmp_path / "map.toml"
    plan.write_text('[layers.lines]\ntable = "lines"\n[layers.lines.columns]\ndepth_m = "covr"\n')
    with pytest.raises(FieldMapError, match=rf"{FILE}:lines: .*column 'covr', which isn't there \(nearest: cover\)"):
        read_site(path, fieldmap=plan)


def test_a_field_map_naming_a_missing_layer_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line()])
    plan = tmp_path / "map.toml"
    plan.write_text('[layers.mains]\ntable = "lines"\n')
    with pytest.raises(FieldMapError, match="names layer 'mains', which is in none of the files"):
        read_site(path, fieldmap=plan)


# --- property: whatever the records look like, every feature is accounted for

shapes = st.one_of(
    st.none(),
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=2, max_size=4).map(lambda p: course(*p)),
    st.just(Point(X, Y)),
    st.just(LineString()),
    st.just(BROKEN),
    st.just(MultiLineString([course((0, 0), (5, 0)), course((9, 9), (9, 9))])),
)
words = st.sampled_from([None, "water", "gas", "Sanitary", "plasma", "unknown", ""])
rows = st.fixed_dictionaries({
    "line_id": st.sampled_from([None, "A", "B", "A 1", "~"]),
    "utility": words,
    "asset": st.sampled_from(["pipe", "cable", "duct", None, "tube"]),
    "material": st.sampled_from([None, "DI", "PE", "gold", "unknown", "fibre"]),
    "depth_m": st.sampled_from([None, "1.2", "six feet", "-4", "900", "4 ft"]),
    "geometry": shapes,
})  # fmt: skip


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(messy=st.lists(rows, max_size=7))
def test_every_feature_is_accounted_for(tmp_path: Path, messy: list[dict[str, object]]) -> None:
    folder = tmp_path / "messy"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    site = checked(read_site(write(folder, lines=[*messy, line("SURE", (100, 100), (120, 100))])))
    assert_accounts(site)
    lost = set(site.findings.loc[site.findings["code"].isin(BAD | {"duplicate"}), "feature_row"])
    kept = set(site.lines["src_feature_row"])
    assert kept | lost == set(range(len(messy) + 1))
