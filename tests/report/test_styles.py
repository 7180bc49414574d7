"""Default styles: well-formed, a rule for every word of the vocabulary, no green, and columns that the layers have."""

import re
from xml.etree import ElementTree as ET

import pytest
from matplotlib.colors import to_rgb

from corridor.dictionary import EVIDENCE, GRADES, RESULT_TABLES
from corridor.report.styles import STYLES, Condition, qml, sld, style_table

# OGC 02-070 (Styled Layer Descriptor 1.0.0): namespaces and the marks every renderer knows
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
WELL_KNOWN = {"square", "circle", "triangle", "star", "cross", "x"}
WORDS = {
    "strategy": ("grade_worst", GRADES),
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


def _tests(rule: ET.Element) -> list[tuple[str, str]]:
    names = [node.text or "" for node in rule.iter(f"{OGC}PropertyName")]
    return list(zip(names, [node.text or "" for node in rule.iter(f"{OGC}Literal")], strict=True))


@pytest.mark.parametrize("layer", sorted(WORDS))
def test_there_is_one_rule_for_each_word(layer: str) -> None:
    column, words = WORDS[layer]
    assert RESULT_TABLES[layer].column(column).vocabulary == words
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


@pytest.mark.parametrize("layer", sorted(STYLES))
def test_rules_ask_for_columns_that_are_there_and_none_is_green(layer: str) -> None:
    style = STYLES[layer]
    for rule in (*style.rules, *style.overlay):
        for condition in rule.conditions:
            assert RESULT_TABLES[layer].column(condition.column)
        red, green, blue = to_rgb(rule.look.colour)
        assert not (green > red and green > blue)
        assert rule.look.shape in WELL_KNOWN | {""}
        assert bool(rule.look.shape) == (RESULT_TABLES[layer].geometry == "Point")


@pytest.mark.parametrize("layer", sorted(STYLES))
def test_the_desktop_style_has_a_symbol_a_rule(layer: str) -> None:
    style = STYLES[layer]
    root = ET.fromstring(qml(style))
    rules = root.findall("renderer-v2/rules/rule")
    assert [rule.get("label") for rule in rules] == [rule.label for rule in (*style.rules, *style.overlay)]
    assert [rule.get("symbol") for rule in rules] == [s.get("name") for s in root.findall("renderer-v2/symbols/symbol")]
    kind = "marker" if RESULT_TABLES[layer].geometry == "Point" else "line"
    assert {symbol.get("type") for symbol in root.iter("symbol")} == {kind}
    for option in root.iter("Option"):
        if "color" in (option.get("name") or ""):
            assert re.fullmatch(r"(\d{1,3},){3}255", option.get("value") or "")


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


def test_only_layers_with_a_style_get_a_row() -> None:
    table = style_table(["findings", "hookups", "strategy"], date="2024-05-06T07:08:09.000Z")
    assert table["f_table_name"].tolist() == ["hookups", "strategy"]
    assert table["useAsDefault"].all()
    assert style_table(["findings"], date="2024-05-06").empty
