"""What stands in where a record is silent: sourced, ranged, told; and whether a line conducts."""

from typing import Any

import geopandas as gpd
import pytest

from corridor.dictionary import ASSETS, INPUT_TABLES, UTILITIES
from corridor.site.defaults import ASSUMABLE, fill_defaults
from corridor.site.findings import Findings
from corridor.site.tables import default_rules, read_table
from corridor.site.values import read_values
from tests.site.records import labelled, line, messages

LINES = INPUT_TABLES["lines"]
BARE = dict.fromkeys(ASSUMABLE)  # a line of which only utility and asset are known


def fill(*rows: dict[str, Any]) -> tuple[gpd.GeoDataFrame, dict[str, list[str]]]:
    findings = Findings()
    lines = read_values(labelled(rows), LINES, findings)
    for column in LINES.columns:
        if column.mapped:
            stated = lines[column.name].notna()
            lines[f"{column.name}_src"] = stated.map({True: "given", False: None}).astype(object)
    before = lines.copy(deep=True)
    result = fill_defaults(lines, findings)
    assert lines.equals(before)
    return result, messages(findings)


def one(**values: Any) -> Any:
    return fill(line(**values))[0].iloc[0]


def test_what_is_stated_stays() -> None:
    lines, told = fill(line())
    assert lines.loc[0, ["material", "joints", "depth_m", "diameter_mm"]].tolist() == [
        "ductile_iron",
        "gasketed",
        1.2,
        170.0,
    ]
    assert not lines.loc[0, "assumed"]
    assert lines.loc[0, "assumed_columns"] == ""
    assert list(told) == ["continuity_unknown"]


@pytest.mark.parametrize("column", [c for c in ASSUMABLE if c not in ("sheath", "sheath_bonding", "conductor_mm2")])
def test_each_fill_is_told_marked_and_ranged(column: str) -> None:
    lines, told = fill(line(**{column: None}))
    row = lines.iloc[0]
    assert row[f"{column}_src"] == "default"
    assert row["assumed_columns"] == column
    code = "filled_" + {"depth_m": "depth", "diameter_mm": "diameter", "wall_mm": "wall",
                        "joint_spacing_m": "joint_spacing"}.get(column, column)  # fmt: skip
    (message,) = told[code]
    assert message.startswith(f"{column} is not stated; ")
    if f"{column}_low" in lines:
        assert row[f"{column}_low"] < row[column] < row[f"{column}_high"]
        assert "range" in message


@pytest.mark.parametrize("column", ["sheath", "sheath_bonding", "conductor_mm2"])
def test_cables_get_sheath_and_section(column: str) -> None:
    cable = {"utility": "electricity", "asset": "cable", "material": "copper", "sheath": "copper", "joints": None,
             "sheath_bonding": "one_end", "conductor_mm2": 50.0, "joint_spacing_m": None, "wall_mm": None}  # fmt: skip
    assert one(**(cable | {column: None}))["assumed_columns"] == column


def test_assumed_columns_come_in_the_dictionarys_order() -> None:
    listed = one(**BARE)["assumed_columns"].split()
    assert listed == [name for name in LINES.names if name in listed]
    assert {"material", "diameter_mm", "depth_m", "joints"} <= set(listed)


def test_stated_depth_keeps_its_stated_accuracy() -> None:
    row = one(depth_m=1.0, vertical_accuracy_m=0.3)
    assert (row["depth_m_low"], row["depth_m_high"]) == (0.7, 1.3)
    row = one(depth_m=1.0)
    assert (row["depth_m_low"], row["depth_m_high"]) == pytest.approx((0.85, 1.15))


def test_a_range_stays_in_the_ground() -> None:
    assert one(depth_m=0.2, vertical_accuracy_m=0.5)["depth_m_low"] == 0.01


def test_depth_is_cover_and_half_the_diameter() -> None:
    # the default for gas is a cover of 0.9 m, 0.6 to 1.5 m (49 CFR 192.327(b), from memory, and 0.6 m more)
    row = one(utility="gas", material="steel", depth_m=None, diameter_mm=200.0)
    assert row[["depth_m", "depth_m_low", "depth_m_high"]].tolist() == [1.0, 0.7, 1.6]


@pytest.mark.parametrize(
    ("values", "conducts"),
    [
        ({"material": "cast_iron"}, "yes"),
        ({"material": "polyethylene"}, "no"),
        ({"material": "clay"}, "no"),
        ({"material": "reinforced_concrete"}, "no"),
        ({"material": "polyethylene", "tracer_wire": "yes"}, "yes"),
        ({"material": "polyethylene", "tracer_wire": "unknown"}, "no"),
        ({"material": "unknown"}, "unknown"),
        ({"material": "unknown", "tracer_wire": "yes"}, "yes"),
        ({"material": "fibre", "asset": "cable"}, "no"),
        ({"material": "fibre", "asset": "cable", "sheath": "steel"}, "yes"),
        ({"material": "fibre", "asset": "cable", "sheath": "none"}, "no"),
        ({"material": None, "asset": "cable"}, "yes"),
        ({"material": "unknown", "asset": "cable"}, "yes"),
        ({"material": None, "asset": "duct"}, "no"),
        ({"material": "steel", "asset": "duct"}, "yes"),
        ({"material": None, "asset": "rail"}, "yes"),
        ({"material": None, "asset": "unknown", "utility": "unknown"}, "unknown"),
        ({"material": "clay", "conductive": "yes"}, "yes"),
        ({"material": "steel", "conductive": "no"}, "no"),
    ],
)
def test_whether_a_line_conducts(values: dict[str, Any], conducts: str) -> None:
    row = one(**values)
    assert row["conductive"] == conducts
    assert row["conductive_src"] == ("given" if "conductive" in values else "inferred")


def test_a_line_nobody_knows_to_conduct_is_told() -> None:
    assert list(fill(line(material="unknown"))[1]) == ["conductivity_unknown"]


@pytest.mark.parametrize("material", ["cast_iron", "ductile_iron"])
@pytest.mark.parametrize("joints", [None, "gasketed", "unknown"])
def test_iron_without_a_bond_record_is_never_continuous(material: str, joints: str | None) -> None:
    # UFC 3-570-06 (2003) 3-2.1: ductile iron is continuous only where its joints are bonded
    lines, told = fill(line(material=material, joints=joints))
    assert lines.loc[0, "joints"] in ("gasketed", "unknown")
    assert lines.loc[0, "conductive"] == "yes"
    assert "continuity_unknown" in told


def test_bonded_iron_is_not_told() -> None:
    assert "continuity_unknown" not in fill(line(joints="bonded"))[1]


def test_no_metal_figures_are_made_up_for_what_carries_no_tone() -> None:
    row = one(**(BARE | {"material": "polyethylene"}))
    assert row[["joints", "coating", "wall_mm", "joint_spacing_m"]].isna().all()
    assert row["assumed_columns"] == "diameter_mm depth_m"


def test_every_kind_of_line_gets_depth_size_and_material() -> None:
    kinds = [{"utility": utility, "asset": asset} for utility in UTILITIES for asset in ASSETS]
    lines, _ = fill(*[line(**(BARE | kind)) for kind in kinds])
    for name in ("depth_m", "diameter_mm"):
        assert (lines[f"{name}_low"] < lines[name]).all()
        assert (lines[name] < lines[f"{name}_high"]).all()
    assert lines["material"].notna().all()
    assert lines["conductive"].isin(["yes", "no", "unknown"]).all()


def test_every_rule_has_a_source_a_range_and_known_words() -> None:
    for column, rules in read_table("defaults").items():
        for rule in rules:
            assert rule["source"], column
            if isinstance(rule["value"], float):
                assert rule["low"] <= rule["value"] <= rule["high"], rule
                assert rule["low"] < rule["high"], rule
            assert set(rule) <= {"value", "low", "high", "utility", "asset", "material", "sheath", "source"}
            assert set(rule.get("utility", [])) <= set(UTILITIES)
            assert set(rule.get("asset", [])) <= set(ASSETS)
            if column in LINES.names and LINES.column(column).vocabulary:
                assert rule["value"] in LINES.column(column).vocabulary


def test_there_are_no_defaults_of_other_columns() -> None:
    with pytest.raises(KeyError):
        default_rules("owner")


def test_empty_in_empty_out() -> None:
    lines, told = fill(line())
    empty, told = lines.iloc[:0], {}
    result = fill_defaults(empty, Findings())
    assert list(result.columns) == list(lines.columns)
    assert not told
