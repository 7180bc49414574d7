"""Default styles: well-formed, a rule for every word of the vocabulary, no green, and columns that the layers have."""

import re
from xml.etree import ElementTree as ET

import pytest
from matplotlib.colors import to_rgb

from corridor.dictionary import EVIDENCE, GRADES, INPUT_TABLES, RESULT_TABLES, UTILITIES, Table
from corridor.report.layers.style_model import Condition, Rule, Style
from corridor.report.layers.style_rules import layer_styles, quality_style
from corridor.report.layers.styles import qml, sld, style_table
from corridor.report.look.colours import colour_table
from corridor.report.look.conventions import Conventions, conventions, quality_table
from corridor.settings import ReportSettings

# OGC 02-070 (Styled Layer Descriptor 1.0.0): namespaces and the marks every renderer knows
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
WELL_KNOWN = {"square", "circle", "triangle", "star", "cross", "x"}
STYLES = layer_styles(Conventions())
WORDS = {
    "strategy": ("grade_worst", GRADES),
    "setups": ("kind", ("setup", "sweep")),
    "isolations": ("joint", ("isolating_joint", "insulated_joints")),
    "group_splits": ("what", ("bond", "visit")),
    "bonded_groups": ("level", ("recorded", "likely", "possible")),
    "stations": ("grade_worst", GRADES),
    "hookups": ("ready", ("ready", "not_ready", "refused")),
    "bonds_found": ("evidence", EVIDENCE),
}


def _rules(layer: str) -> list[list[ET.Element]]:
    """The rules of each FeatureTypeStyle of a layer's descriptor."""
    root = ET.fromstring(sld(layer, STYLES[layer]))
    assert root.tag == f"{SLD}StyledLayerDescriptor"
    assert root.attrib["version"] == "1.0.0"
    assert root.findtext(f"{SLD}NamedLayer/{SLD}Name") == layer
    return [kind.findall(f"{SLD}Rule") for kind in root.iter(f"{SLD}FeatureTypeStyle")]


def _table(layer: str) -> Table:
    return RESULT_TABLES.get(layer) or INPUT_TABLES[layer]


def _every_rule(style: Style) -> tuple[Rule, ...]:
    return (*style.rules, *style.overlay)


def _tests(rule: ET.Element) -> list[tuple[str, str]]:
    names = [node.text or "" for node in rule.iter(f"{OGC}PropertyName")]
    return list(zip(names, [node.text or "" for node in rule.iter(f"{OGC}Literal")], strict=True))


@pytest.mark.parametrize("layer", sorted(WORDS))
def test_there_is_one_rule_for_each_word(layer: str) -> None:
    column, words = WORDS[layer]
    assert set(RESULT_TABLES[layer].column(column).vocabulary) == set(words)
    assert [_tests(rule) for rule in _rules(layer)[0]] == [[(column, word)] for word in words]


@pytest.mark.parametrize("layer", ["strategy", "sections"])
def test_what_rests_on_assumed_values_is_dashed(layer: str) -> None:
    dashes = _rules(layer)[1][-1]
    assert _tests(dashes) == [("assumed", "true")]
    assert any(node.get("name") == "stroke-dasharray" for node in dashes.iter(f"{SLD}CssParameter"))


def test_a_wrong_mark_in_the_nominal_case_is_not_hidden_by_a_faint_worst_case() -> None:
    hidden = [_tests(rule) for rule in _rules("strategy")[1][:-1]]
    assert hidden == [[("grade", grade), ("grade_worst", "faint")] for grade in ("pulled", "masked")]


def test_sections_grow_with_the_current_without_gap_or_overlap() -> None:
    rules = STYLES["sections"].rules
    widths = [rule.look.width_pt for rule in rules]
    assert widths == sorted(set(widths))
    ends = [rule.conditions[1].value for rule in rules[:-1]]
    assert ends == [rule.conditions[0].value for rule in rules[1:]]
    assert len(rules[-1].conditions) == 1


def test_every_spatial_layer_has_a_style() -> None:
    spatial = {name for name, table in RESULT_TABLES.items() if table.geometry != "none"}
    assert spatial <= set(STYLES)
    assert set(STYLES) - spatial == {"lines", "bonds", "grounds"}


@pytest.mark.parametrize("layer", sorted(STYLES))
def test_rules_ask_for_columns_that_are_there_and_marks_are_for_points(layer: str) -> None:
    table = _table(layer)
    for rule in _every_rule(STYLES[layer]):
        for condition in rule.conditions:
            if (layer, condition.column) == ("lines", "assumed"):
                continue  # a column that lines get when they are read
            words = table.column(condition.column).vocabulary or UTILITIES
            assert not isinstance(condition.value, str) or condition.value in words
        assert rule.look.shape in WELL_KNOWN | {""}
        assert bool(rule.look.shape) == ((rule.only or table.geometry) == "Point")


@pytest.mark.parametrize("layer", sorted(set(STYLES) - {"lines", "line_groups"}))
def test_none_is_green(layer: str) -> None:
    for rule in _every_rule(STYLES[layer]):
        red, green, blue = to_rgb(rule.look.colour)
        assert not (green > red and green > blue)


@pytest.mark.parametrize("layer", sorted(name for name in STYLES if _table(name).geometry == "any"))
def test_a_layer_of_any_geometry_has_a_look_for_points_lines_and_areas(layer: str) -> None:
    style = STYLES[layer]
    if layer == "bonded_groups":  # always lines
        assert not style.mixed
        return
    assert {rule.only for rule in style.rules} == {"Point", "Line", "Polygon"}
    root = ET.fromstring(qml(style))
    kinds = [symbol.get("type") for symbol in root.iter("symbol")]
    assert {kinds.count(kind) for kind in ("marker", "line", "fill")} == {len(kinds) / 3}
    assert root.find("layerGeometryType") is None
    filters = [rule.get("filter") or "" for rule in root.iter("rule")]
    assert all("geometry_type($geometry) = '" in text for text in filters)
    drawn = _rules(layer)[0]
    assert len(drawn) == sum(rule.only != "Polygon" for rule in style.rules)
    assert {rule.find(f"{SLD}PointSymbolizer") is not None for rule in drawn} == {True, False}


@pytest.mark.parametrize("layer", sorted(name for name in STYLES if not STYLES[name].mixed))
def test_the_desktop_style_has_a_symbol_a_rule(layer: str) -> None:
    style = STYLES[layer]
    root = ET.fromstring(qml(style))
    rules = root.findall("renderer-v2/rules/rule")
    assert [rule.get("label") for rule in rules] == [rule.label for rule in _every_rule(style)]
    assert [rule.get("symbol") for rule in rules] == [s.get("name") for s in root.findall("renderer-v2/symbols/symbol")]
    kind = "marker" if _table(layer).geometry == "Point" else "line"
    assert {symbol.get("type") for symbol in root.iter("symbol")} == {kind}
    for option in root.iter("Option"):
        if "color" in (option.get("name") or ""):
            assert re.fullmatch(r"(\d{1,3},){3}255", option.get("value") or "")


@pytest.mark.parametrize("name", ["apwa", "as_5488", "street_works_uk"])
def test_lines_as_read_wear_the_colours_of_the_convention(name: str) -> None:
    chosen = conventions(ReportSettings.model_validate({"colours": name}))
    table = colour_table(name)
    for layer in ("lines", "line_groups"):
        style = layer_styles(chosen)[layer]
        assert style.title == f"Utility ({table.title})"
        worn = {rule.conditions[0].value: rule.look.colour for rule in style.rules if rule.conditions}
        assert worn == table.by_utility
        assert style.rules[0].look.width_pt > style.rules[1].look.width_pt  # a dark edge below keeps yellow visible


@pytest.mark.parametrize("name", ["asce_38_22", "pas_128_2022", "as_5488_2022"])
def test_quality_levels_are_called_as_the_vocabulary_calls_them_and_none_is_left_out(name: str) -> None:
    style = quality_style(conventions(ReportSettings.model_validate({"quality_levels": name})))
    words = quality_table(name)
    assert words.edition in style.title
    assert [rule.label for rule in style.rules] == [words.of(level) for level in ("none", "a", "b", "c", "d")]
    assert style.rules[0].conditions == ()  # a line without a level, or with NULL, is drawn


@pytest.mark.parametrize(
    ("condition", "literal", "expression"),
    [
        (Condition("a", "=", "x"), "x", "\"a\" = 'x'"),
        (Condition("a", ">=", 0.1), "0.1", '"a" >= 0.1'),
        (Condition("a", "=", True), "true", '"a" = true'),
    ],
)
def test_a_condition_in_both_languages(condition: Condition, literal: str, expression: str) -> None:
    assert condition.literal == literal
    assert condition.expression == expression


def test_a_row_for_each_layer_with_a_style_and_a_second_look_for_lines() -> None:
    table = style_table(["completeness", "hookups", "strategy", "lines"], date="2024-05-06T07:08:09.000Z")
    assert table["f_table_name"].tolist() == ["hookups", "strategy", "lines", "lines"]
    assert table["useAsDefault"].tolist() == [True, True, True, False]
    assert table["styleName"].tolist() == ["corridor", "corridor", "corridor", "quality level"]
    assert style_table(["completeness"], date="2024-05-06").empty
