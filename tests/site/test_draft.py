"""A field map drafted from the records: guesses with counts, CRS by where a layer lands, nothing applied."""

import importlib
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
import shapely
from shapely import Point

from corridor.dictionary import INPUT_TABLES
from corridor.errors import InputError
from corridor.site import load_fieldmap, read_site
from corridor.site.crs_candidates import crs_candidates
from corridor.site.draft import draft_fieldmap
from corridor.site.guesses import Guess, guess_columns
from tests.block import downtown
from tests.site.records import X, Y, checked, codes, course, frame, line, write

RAW = Path(__file__).parents[2] / "sample_gis" / "downtown_raw"
FILES = [RAW / name for name in ("water_mains.shp", "water_points.shp", "ninefold_gas.geojson", "oxbow_power.gpkg",
                                 "telephone.geojson", "lamps.gpkg", "drains.gpkg")]  # fmt: skip
# what a reviewer changes in the draft, as in docs/messy_records.md: (in the draft, corrected)
EDITS = (
    ('# crs = "EPSG:32631"', 'crs = "EPSG:32631"'),
    ('# axes = "north_east"', 'axes = "north_east"'),
    ('# depth = "cover"   # or', 'depth = "axis"   # or'),
    ('# split = "count"', 'split = "count"'),
    ('# "live?" = "in_service"', '"live?" = "in_service"'),
    ('# "SL" = "unknown"', '"SL" = "lighting"'),
    ('# "TS" = "unknown"', '"TS" = "traffic_signal"'),
)


def guesses(table: str = "lines", **columns: list[object]) -> dict[str, Guess]:
    return {guess.column: guess for guess in guess_columns(pd.DataFrame(columns), INPUT_TABLES[table])}


def test_columns_are_guessed_by_name_and_values() -> None:
    found = guesses(
        ASSET_NO=["W-1", "W-2", "W-3", "W-4"],
        PIPE_MAT=["DI", "CI", "DI", "tin foil"],
        DIA_IN=[4.0, 6.0, 8.0, None],
        COVER_FT=["3.5", "4 ft", None, "deep"],
        REMARKS=["a", "b", "c", "d"],
    )
    assert {name: guess.source for name, guess in found.items()} == {
        "line_id": "ASSET_NO", "material": "PIPE_MAT", "diameter_mm": "DIA_IN", "depth_m": "COVER_FT",
    }  # fmt: skip
    assert (found["material"].understood, found["material"].stated) == (3, 4)
    assert found["material"].strange == (("tin foil", 1),)
    assert (found["diameter_mm"].unit, found["depth_m"].unit) == ("in", "ft")
    assert (found["depth_m"].understood, found["depth_m"].strange) == (2, (("deep", 1),))


def test_words_tell_a_column_whatever_its_name() -> None:
    assert guesses(F7=["DI", "HDPE", "CI", "steel"])["material"].source == "F7"
    assert guesses(F7=["Y", "N", "Y"]) == {}  # yes and no may be anything


@pytest.mark.parametrize(
    ("name", "values", "unit", "told"),
    [("DIA", [4.0, 6.0], "in", False), ("DIA", [100.0, 150.0], None, False), ("DIA_MM", [4.0, 6.0], None, True),
     ("SIZE", ['6"', "4 in"], None, True)],
)  # fmt: skip
def test_a_unit_is_told_by_the_name_or_marked_as_a_guess(
    name: str, values: list[object], unit: str | None, told: bool
) -> None:
    guess = guesses(**{name: values})["diameter_mm"]
    assert (guess.unit, guess.unit_told) == (unit, told)


@pytest.mark.parametrize(("deep", "unit"), [(1.1, None), (8.0, "ft"), (90.0, "cm"), (900.0, "mm")])
def test_the_size_of_depths_suggests_their_unit(deep: float, unit: str | None) -> None:
    assert guesses(DEPTH=[deep, deep * 1.1, deep * 0.9])["depth_m"].unit == unit


def test_an_id_is_different_in_every_row() -> None:
    assert "line_id" not in guesses(ID=["1", "1", "2", "2"])
    assert guesses("structures", MH_NO=["1", "2"], TYPE=["MH", "valve"]).keys() == {"structure_id", "kind"}


@pytest.mark.parametrize("code", [32631, 23031, 4326, 3043])
@pytest.mark.parametrize("swapped", [False, True])
def test_the_true_crs_is_among_the_candidates(code: int, swapped: bool) -> None:
    # open sea; EPSG:23031 differs from 32631 by its datum, some 100 m (EPSG registry)
    rows = frame([line("W-1"), line("W-2", (0, 5), (9, 5))]).to_crs(code)
    shapes = rows.geometry.to_numpy()
    if swapped:
        shapes = shapely.transform(shapes, lambda c: c[:, ::-1])
    here = gpd.GeoSeries([Point(X + 20, Y + 20)], crs=32631).to_crs(4326)[0]
    found = crs_candidates(gpd.GeoDataFrame(geometry=shapes), (here.x, here.y), used=(pyproj.CRS.from_epsg(code),))
    assert (found[0].crs, found[0].swapped) == (f"EPSG:{code}", swapped)
    assert found[0].away_m < 50.0


def test_without_other_layers_only_degrees_can_be_told() -> None:
    assert [c.crs for c in crs_candidates(gpd.GeoDataFrame(geometry=[Point(3, 54)]), None)] == ["EPSG:4326"]
    assert crs_candidates(gpd.GeoDataFrame(geometry=[Point(X, Y)]), None) == []
    assert crs_candidates(gpd.GeoDataFrame(geometry=[None]), (3.0, 54.0)) == []


def test_a_draft_of_our_own_terms_reads_like_the_records_themselves(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1"), line("W-2", (0, 5), (9, 5))])
    target = tmp_path / "map.toml"
    target.write_text(draft_fieldmap(path).text, encoding="utf-8")
    assert codes(checked(read_site(path, fieldmap=target))) == codes(read_site(path))


def test_names_of_any_kind_make_a_map_that_can_be_read(tmp_path: Path) -> None:
    row = {'a "b" \\ c': "DI", "Номер": "1", "geometry": course((0, 0), (9, 0))}
    for name in ("one", "two"):
        write(tmp_path, name=f"{name}.gpkg", **{"труба [1]": [row]})
    area = [{"name": "dig", "geometry": course((0, 0), (9, 0)).buffer(5)}]
    write(tmp_path, name="area.gpkg", **{"dig area": area, "parcels": area})
    made = draft_fieldmap([tmp_path / f"{name}.gpkg" for name in ("one", "two", "area")])
    (tmp_path / "map.toml").write_text(made.text, encoding="utf-8")
    plan = load_fieldmap(tmp_path / "map.toml")
    assert list(plan.layers) == ["one.gpkg:труба [1]", "two.gpkg:труба [1]", "dig area"]
    assert plan.block("two.gpkg", "труба [1]") is plan.layers["two.gpkg:труба [1]"]
    assert "# [layers.parcels]" in made.text
    assert made.layers.set_index("layer").loc["area.gpkg:parcels", "decide"] == "table"


def test_no_file_is_refused() -> None:
    with pytest.raises(InputError, match="expected at least one file"):
        draft_fieldmap([])


def test_the_raw_files_are_read_after_the_edits_of_the_guide(tmp_path: Path) -> None:
    made = draft_fieldmap(FILES)
    assert made.text == draft_fieldmap(FILES).text
    assert len(EDITS) <= 10
    text = made.text
    for before, after in EDITS:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    target = tmp_path / "map.toml"
    target.write_text(text, encoding="utf-8")
    site = checked(read_site(FILES, fieldmap=target))
    assert site.accounting["set_aside"].sum() == 0
    assert not {"axes_suspected", "far_away", "utility_from_name", "depth_kind_unstated"} & set(codes(site))
    clean = downtown().lines.set_index("line_id")
    own = site.lines.set_index("line_id")
    both = sorted(set(clean.index) & set(own.index))
    assert len(both) >= 55  # gas and telephone have numbers of their own
    away = [own.geometry[i].hausdorff_distance(clean.geometry[i]) for i in both if f"{i}/2" not in own.index]
    # the tolerance of snapping: beside a record split in two an end moves by half the distance of the two
    assert max(away) < 0.1
    assert (own.loc[both, "utility"] == clean.loc[both, "utility"]).all()
    stated = clean.loc[both, ["depth_m_src", "diameter_mm_src"]].eq("given").all(axis=1)
    known = [i for i in both if stated[i] and own.at[i, "depth_m_src"] == "mapped"]
    assert len(known) >= 20
    assert (own.loc[known, "depth_m"] - clean.loc[known, "depth_m"]).abs().max() < 0.01


def test_the_guide_names_the_edits() -> None:
    guide = (RAW.parents[1] / "docs" / "messy_records.md").read_text(encoding="utf-8")
    for _, after in EDITS:
        assert after.partition("   #")[0] in guide
    for file in FILES:
        assert file.name in guide


def test_the_raw_sample_is_what_the_script_makes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(RAW.parent))
    importlib.import_module("sitegen.sites").make_site("downtown_raw", tmp_path, seed=1)
    for path in sorted(RAW.iterdir()):
        assert (tmp_path / "downtown_raw" / path.name).read_bytes() == path.read_bytes(), path.name
