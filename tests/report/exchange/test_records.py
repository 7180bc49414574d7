"""Exchange: out in the terms of a standard and in again, nothing lost, nothing claimed that no record says."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from corridor.dictionary import ASSETS, INPUT_TABLES, STRUCTURE_KINDS, UTILITIES, Column
from corridor.errors import InputError
from corridor.frames import CAUTION
from corridor.report.exchange import STANDARDS, export_records
from corridor.report.exchange.terms import CODES, line_class, structure_class
from corridor.report.results import write_results
from corridor.site import Site, read_site
from corridor.site.fieldmap import load_fieldmap
from tests.block import sample
from tests.site.records import course, line, write

TABLES = ("lines", "structures", "terminations", "bonds", "grounds", "soil", "work_area", "surfaces")
KEYS = {"lines": "line_id", "structures": "structure_id", "bonds": "bond_id", "grounds": "ground_id"}
SAMPLES = ("bonded_district", "downtown_block", "excavation_zone")
# INSPIRE code lists as read in copies (see corridor/report/exchange/terms.py); MUDDI leaves codes to its profiles
NETWORKS = {"electricity", "oilGasChemical", "sewer", "water", "thermal", "telecommunications"}
STATUS = {"functional", "projected", "underConstruction", "disused", "decommissioned"}
SEWER = {"combined", "reclaimed", "sanitary", "storm"}
APPURTENANCES = {"hydrant", "fireHydrant", "meter", "pump", "systemValve", "airRelieveValve", "checkValve",
                 "pressureController", "deliveryPoint", "streetLight", "connectionBox", "spliceClosure"}  # fmt: skip


def again(site: Site, terms: str, folder: Path) -> Site:
    """The site written in a standard's terms and read with its field map."""
    path = folder / f"{terms}.gpkg"
    write_results(path, export_records(site, terms), metadata={"caution": CAUTION})
    return read_site(path, fieldmap=terms)


def differences(before: Site, after: Site) -> list[str]:
    """Every column of every table that isn't the same, whatever the order of the rows."""
    found = []
    for name in TABLES:
        one, other = getattr(before, name), getattr(after, name)
        keys = [KEYS[name]] if name in KEYS else [c for c in ("structure_id", "line_id") if c in one]
        if len(one) != len(other):
            found.append(f"{name}: {len(one)} rows, then {len(other)}")
            continue
        one, other = (frame.sort_values(keys).reset_index(drop=True) if keys else frame for frame in (one, other))
        for column in [c for c in one if c != "geometry" and c not in ("src_feature_source", "src_feature_row")]:
            a, b = one[column], other.get(column, pd.Series([None] * len(one)))
            same = (a.isna() & b.isna()) | (
                a.astype(object).where(a.notna(), "") == b.astype(object).where(b.notna(), "")
            )
            if not same.all():
                found.append(f"{name}.{column}: {a[~same].iloc[0]!r}, then {b[~same].iloc[0]!r}")
        if "geometry" in one and not (one.geometry.isna() | one.geometry.geom_equals_exact(other.geometry, 0.0)).all():
            found.append(f"{name}: geometry")
    return found


QUICK = {("bonded_district", "inspire"), ("downtown_block", "muddi")}
SAMPLES_BY_STANDARD = [
    pytest.param(name, terms, marks=[] if (name, terms) in QUICK else pytest.mark.thorough)
    for name in SAMPLES
    for terms in sorted(STANDARDS)
]


@cache
def exported(name: str, terms: str) -> dict[str, gpd.GeoDataFrame]:
    return export_records(sample(name), terms)


@pytest.mark.parametrize(("name", "terms"), SAMPLES_BY_STANDARD)
def test_a_sample_comes_back_as_it_was(name: str, terms: str, tmp_path: Path) -> None:
    before = sample(name)
    after = again(before, terms, tmp_path)
    assert differences(before, after) == []
    assert after.crs == before.crs
    assert not set(after.findings["code"]) & {"unknown_layer", "unknown_word", "not_a_number", "out_of_range"}


@pytest.mark.thorough
def test_a_second_way_out_and_in_changes_nothing(tmp_path: Path) -> None:
    once = again(sample("bonded_district"), "inspire", tmp_path)
    assert differences(once, again(once, "muddi", tmp_path)) == []


@pytest.mark.parametrize(("name", "terms"), SAMPLES_BY_STANDARD)
def test_every_record_stands_in_one_layer_of_the_standard(name: str, terms: str) -> None:
    site, layers, plans = sample(name), exported(name, terms), load_fieldmap(terms).layers
    for table in ("lines", "structures"):
        own = [layer for layer in layers if layer in plans and plans[layer].table == table]
        ids = [plans[layer].columns[KEYS[table]].source for layer in own]
        names = sorted(str(n) for layer, key in zip(own, ids, strict=True) for n in layers[layer][key])
        assert names == sorted(getattr(site, table)[KEYS[table]].astype(str))
    assert set(layers) - set(plans) <= set(TABLES)


@pytest.mark.parametrize("name", SAMPLES)
def test_codes_are_those_of_the_code_lists(name: str) -> None:
    allowed = {"currentStatus": STATUS, "sewerWaterType": SEWER, "appurtenanceType": APPURTENANCES,
               "utilityNetworkType": NETWORKS,
               "verticalPosition": {"underground", "onGroundSurface", "suspendedOrElevated"}}  # fmt: skip
    for layer in exported(name, "inspire").values():
        for attribute, words in allowed.items():
            if attribute in layer:
                assert set(layer[attribute].dropna()) <= words


def test_no_code_says_more_than_the_record() -> None:
    # potable water, natural gas and a sanitary sewer are claims that "water", "gas" and "sewer" don't make
    assert CODES["waterType"] == CODES["oilGasChemicalsProductType"] == {}
    assert "sewer" not in CODES["sewerWaterType"]
    water = exported("downtown_block", "inspire")["WaterPipe"]
    assert water["waterType"].isna().all()


@pytest.mark.parametrize(
    ("utility", "asset", "inspire", "muddi"),
    [
        ("electricity", "cable", "ElectricityCable", "NetworkLink"),
        ("lighting", "cable", "ElectricityCable", "NetworkLink"),
        ("traffic_signal", "cable", "TelecommunicationsCable", "NetworkLink"),
        ("gas", "pipe", "OilGasChemicalsPipe", "NetworkLink"),
        ("reclaimed_water", "pipe", "WaterPipe", "NetworkLink"),
        ("storm_drain", "pipe", "SewerPipe", "NetworkLink"),
        ("cooling", "pipe", "ThermalPipe", "NetworkLink"),
        ("water", "tracer_wire", "UtilityLink", "NetworkLink"),
        ("unknown", "pipe", "UtilityLink", "NetworkLink"),
        ("traction", "rail", "UtilityLink", "NetworkLink"),
        ("telecommunications", "duct", "Duct", "Container"),
        ("gas", "casing", "Duct", "Container"),
    ],
)
def test_a_line_belongs_to_the_class_that_its_kind_says(utility: str, asset: str, inspire: str, muddi: str) -> None:
    row = pd.Series([utility]), pd.Series([asset])
    assert line_class("inspire", *row).tolist() == [inspire]
    assert line_class("muddi", *row).tolist() == [muddi]


@pytest.mark.parametrize("terms", sorted(STANDARDS))
def test_every_word_has_a_class_that_the_profile_reads(terms: str) -> None:
    plans = load_fieldmap(terms).layers
    for utility in UTILITIES:
        for asset in ASSETS:
            (name,) = line_class(terms, pd.Series([utility]), pd.Series([asset]))
            assert plans[name].table == "lines"
    for kind in structure_class(terms, pd.Series(STRUCTURE_KINDS)):
        assert plans[kind].table == "structures"


def _site(tmp_path: Path, **layers: Any) -> Site:
    return read_site(write(tmp_path, name="before.gpkg", **layers))


def test_defaults_are_not_passed_on_as_records(tmp_path: Path) -> None:
    site = _site(tmp_path, lines=[line(depth_m=None, diameter_mm=None, coating=None)])
    assert site.lines["depth_m_src"].tolist() == ["default"]
    (layer,) = (frame for name, frame in export_records(site, "inspire").items() if name == "WaterPipe")
    assert "depth_m" not in layer
    assert layer["pipeDiameter"].isna().all()
    back = again(site, "inspire", tmp_path)
    assert back.lines["depth_m_src"].tolist() == ["default"]
    assert back.lines["assumed"].tolist() == [True]
    assert differences(site, back) == []


def test_what_a_field_map_says_stays_a_claim_of_the_field_map(tmp_path: Path) -> None:
    # a constant "not energized" clears no line for direct connection, and must not after an exchange either
    fieldmap = tmp_path / "map.toml"
    fieldmap.write_text(
        '[layers.lines]\ntable = "lines"\n[layers.lines.constants]\nenergized = "no"\n', encoding="utf-8"
    )
    path = write(tmp_path, lines=[line(utility="electricity", asset="cable", material="copper")])
    site = read_site(path, fieldmap=fieldmap)
    assert site.lines["energized_src"].tolist() == ["mapped"]
    for terms in STANDARDS:
        back = again(site, terms, tmp_path)
        assert back.lines["energized"].tolist() == ["no"]
        assert back.lines["energized_src"].tolist() == ["mapped"]


def test_an_edit_of_the_standards_attribute_is_read_where_it_alone_gave_the_value(tmp_path: Path) -> None:
    layers = export_records(_site(tmp_path, lines=[line(diameter_mm=200.0)]), "inspire")
    layers["WaterPipe"]["pipeDiameter"] = 250.0
    write_results(tmp_path / "edited.gpkg", layers, metadata={"caution": CAUTION})
    assert read_site(tmp_path / "edited.gpkg", fieldmap="inspire").lines["diameter_mm"].tolist() == [250.0]


def test_grounds_by_rule_and_derived_terminations_are_left_to_the_reader(tmp_path: Path) -> None:
    layers = exported("downtown_block", "inspire")
    assert not layers["grounds"]["ground_id"].str.startswith("by_rule:").any()
    assert len(layers["terminations"]) < len(sample("downtown_block").terminations)


def test_the_owners_own_columns_and_where_a_record_came_from_stay(tmp_path: Path) -> None:
    site = _site(tmp_path, lines=[line(remark="=near the oak", WORKS="x")])
    back = again(site, "muddi", tmp_path)
    assert back.lines["src_remark"].tolist() == ["=near the oak"]
    assert back.lines["src_WORKS"].tolist() == ["x"]
    assert back.lines["src_read_from"].tolist() == ["before.gpkg:lines, row 0"]


def test_an_empty_table_makes_no_layer_and_inputs_stay(tmp_path: Path) -> None:
    site = _site(tmp_path, lines=[line()])
    before = {name: getattr(site, name).copy() for name in TABLES}
    layers = export_records(site, "inspire")
    assert set(layers) == {"WaterPipe"}
    assert layers["WaterPipe"].crs == site.crs
    for name, frame in before.items():
        assert frame.equals(getattr(site, name))


def test_an_unknown_standard_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"expected the terms of a standard \(inspire, muddi\), got 'csv'"):
        export_records(replace(sample("bonded_district")), "csv")


WORDS = st.text(alphabet="abcäß =+@/#'\"12", min_size=1, max_size=12)


def _value(column: Column) -> st.SearchStrategy[Any]:
    if column.vocabulary:
        return st.sampled_from((*column.vocabulary, None))
    if column.kind in ("real", "integer"):
        low = column.minimum if column.minimum is not None else 0.0
        high = min(column.maximum or 1e6, 1e6)
        if column.kind == "integer":
            return st.one_of(st.none(), st.integers(int(low), int(high)))
        return st.one_of(st.none(), st.floats(low, high).map(lambda v: round(v, column.decimals or 4)))
    fixed = {"material": ("cast_iron", "copper", "polyethylene", None), "sheath": ("none", "lead", "copper", None),
             "coating": ("none", "bitumen", None), "source_date": ("2021-03-04", None),
             "contained_in": (None,)}  # fmt: skip
    return st.sampled_from(fixed[column.name]) if column.name in fixed else st.one_of(st.none(), WORDS)


def _row(table: str, skip: tuple[str, ...]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({c.name: _value(c) for c in INPUT_TABLES[table].columns if c.name not in skip})


LINES = st.lists(_row("lines", ("line_id",)), min_size=1, max_size=10)
STRUCTURES = st.lists(_row("structures", ("structure_id",)), max_size=4)
BONDS = st.lists(_row("bonds", ("bond_id", "line_a", "line_b", "structure_id")), max_size=3)
GROUNDS = st.lists(_row("grounds", ("ground_id", "line_id")), max_size=3)


@pytest.mark.thorough
@settings(
    max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(lines=LINES, structures=STRUCTURES, bonds=BONDS, grounds=GROUNDS, terms=st.sampled_from(sorted(STANDARDS)))
def test_whatever_the_records_say_comes_back(
    tmp_path_factory: pytest.TempPathFactory, lines: Any, structures: Any, bonds: Any, grounds: Any, terms: str
) -> None:
    folder = tmp_path_factory.mktemp("exchange")
    # apart from each other, so that nothing is snapped, joined or taken for the same
    full = [row | {"line_id": f"L-{n}", "utility": row["utility"] or "water", "asset": row["asset"] or "pipe",
                   "geometry": course((0, 20 * n), (50, 20 * n + 3))} for n, row in enumerate(lines)]  # fmt: skip
    places = [row | {"structure_id": f"S-{n}", "kind": row["kind"] or "valve",
                     "geometry": Point(500_200 + 9 * n, 6_000_000)}
              for n, row in enumerate(structures)]  # fmt: skip
    ties = [row | {"bond_id": f"B-{n}", "line_a": "L-0", "line_b": "earth", "geometry": Point(500_000 + n, 6_000_000)}
            for n, row in enumerate(bonds)]  # fmt: skip
    rods = [row | {"ground_id": f"G-{n}", "line_id": "L-0", "geometry": Point(500_000 + n, 6_000_000)}
            for n, row in enumerate(grounds)]  # fmt: skip
    layers = {"lines": full, "structures": places, "bonds": ties, "grounds": rods}
    before = read_site(write(folder, name="before.gpkg", **{name: rows for name, rows in layers.items() if rows}))
    assert differences(before, again(before, terms, folder)) == []


def test_the_way_there_and_back_keeps_geometry_to_the_bit(tmp_path: Path) -> None:
    shape = LineString([(500_000.1 + 1 / 3, 6_000_000.0), (500_050.0, 6_000_000.0 + 1 / 7)])
    site = _site(tmp_path, lines=[line(geometry=shape)])
    assert again(site, "inspire", tmp_path).lines.geometry[0].equals_exact(site.lines.geometry[0], 0.0)
