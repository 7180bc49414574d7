"""Default styles of the result layers: Styled Layer Descriptor 1.0 (OGC 02-070) and the XML of a common desktop GIS.

A GeoPackage keeps both in its table ``layer_styles``, from which desktop GIS take a layer's first look. Colours are
apart from those of utilities, none is green, and what rests on assumed values is dashed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import pandas as pd

from corridor.dictionary import EVIDENCE, GRADES
from corridor.report.symbols import GRADE_SYMBOLS, INK, TONE_STEPS

__all__ = ["STYLES", "STYLE_TABLE", "Condition", "Look", "Rule", "Style", "qml", "sld", "style_table"]

STYLE_TABLE = "layer_styles"
_MM_PER_POINT = 25.4 / 72.0
_NAMESPACES = {"xmlns": "http://www.opengis.net/sld", "xmlns:ogc": "http://www.opengis.net/ogc"}
_DESKTOP_SHAPES = {"x": "cross2"}  # by the well-known name of SLD, where the desktop's own differs
_OPERATORS = {"=": "PropertyIsEqualTo", ">=": "PropertyIsGreaterThanOrEqualTo", "<": "PropertyIsLessThan"}


@dataclass(frozen=True)
class Condition:
    """One comparison of a column: ``=``, ``>=`` or ``<``; a flag is compared with True."""

    column: str
    operator: str
    value: str | float | bool

    @property
    def literal(self) -> str:
        """The value as SLD writes it."""
        if isinstance(self.value, bool):
            return str(self.value).lower()
        return self.value if isinstance(self.value, str) else f"{self.value:g}"

    @property
    def expression(self) -> str:
        """The comparison as the desktop's expressions write it."""
        literal = f"'{self.literal}'" if isinstance(self.value, str) else self.literal
        return f'"{self.column}" {self.operator} {literal}'


@dataclass(frozen=True)
class Look:
    """How a row is drawn: a line of a width, or, with a ``shape``, a marker of a size; both in points."""

    colour: str
    width_pt: float
    dash_pt: tuple[float, ...] = ()
    shape: str = ""
    size_pt: float = 0.0
    fill: str = ""
    rotation_deg: float = 0.0


@dataclass(frozen=True)
class Rule:
    """A look, what the legend calls it, and the rows it is for: those that meet all conditions."""

    label: str
    look: Look
    conditions: tuple[Condition, ...] = ()


@dataclass(frozen=True)
class Style:
    """The rules of a layer, and those drawn over them."""

    title: str
    rules: tuple[Rule, ...]
    overlay: tuple[Rule, ...] = ()


_GRADE_LINES = {
    "readable": Look("#4f5d6d", 2.0),
    "pulled": Look("#a6611a", 2.6),
    "masked": Look("#7b1e5a", 3.4),
    "faint": Look("#a9a9a9", 2.0),
    "untraceable": Look("#000000", 3.4),
}
_GRADE_MARKERS = {
    "readable": Look("#4f5d6d", 0.6, shape="circle", size_pt=6.0, fill="#4f5d6d"),
    "pulled": Look("#a6611a", 0.6, shape="triangle", size_pt=7.0, fill="#a6611a"),
    "masked": Look("#7b1e5a", 1.6, shape="x", size_pt=7.0, fill="#7b1e5a"),
    "faint": Look("#8c8c8c", 0.6, shape="square", size_pt=5.0, fill="#a9a9a9", rotation_deg=45.0),
    "untraceable": Look("#000000", 0.6, shape="star", size_pt=10.0, fill="#000000"),
}
_READY = {
    "ready": ("READY", Look(INK, 1.2, shape="circle", size_pt=8.0, fill="#ffffff")),
    "not_ready": ("NOT READY: see column missing", Look(INK, 1.2, shape="triangle", size_pt=8.0, fill="#ffffff")),
    "refused": ("REFUSED by the hazard gate", Look("#8a0000", 1.6, shape="x", size_pt=8.0, fill="#8a0000")),
}
_SEEN = ("recorded", "observed", "measured")


def _by_word(column: str, looks: Mapping[str, Look], labels: Mapping[str, str]) -> tuple[Rule, ...]:
    return tuple(Rule(labels[word], look, (Condition(column, "=", word),)) for word, look in looks.items())


def _tone_rules() -> tuple[Rule, ...]:
    """Return a rule for each step of the current; a section without a current meets none and isn't drawn."""
    starts = [start for start, _ in TONE_STEPS]
    rules = []
    for (start, width), end in zip(TONE_STEPS, [*starts[1:], None], strict=True):
        above = Condition("current_ma", ">=", start)
        if end is None:
            rules.append(Rule(f"{start:g} mA and more", Look(INK, width), (above,)))
        else:
            rules.append(Rule(f"{start:g} to {end:g} mA", Look(INK, width), (above, Condition("current_ma", "<", end))))
    return tuple(rules)


_GRADE_LABELS = {grade: " ".join(GRADE_SYMBOLS[grade].text.split()) for grade in GRADES}
_DASHES = Rule(
    "dashed: rests on assumed values",
    Look("#ffffff", 3.6, dash_pt=(4.0, 9.0)),  # white gaps over the line, whatever its grade
    (Condition("assumed", "=", True),),
)


def _hidden(looks: Mapping[str, Look]) -> tuple[Rule, ...]:
    """Return rules for rows whose nominal case shows a wrong mark and whose worst case only too little tone."""
    return tuple(
        Rule(
            f"{grade} in the nominal case, faint in another",
            looks[grade],
            (Condition("grade", "=", grade), Condition("grade_worst", "=", "faint")),
        )
        for grade in ("pulled", "masked")
    )


_BONDS = {
    word: Look(INK, 1.0, shape="cross", size_pt=9.0, fill=INK if word in _SEEN else "#ffffff") for word in EVIDENCE
}
STYLES = {
    "strategy": Style(
        "Grade, worst case", _by_word("grade_worst", _GRADE_LINES, _GRADE_LABELS), (*_hidden(_GRADE_LINES), _DASHES)
    ),
    "sections": Style("Tone current, mA", _tone_rules(), (_DASHES,)),
    "stations": Style(
        "Grade, worst case", _by_word("grade_worst", _GRADE_MARKERS, _GRADE_LABELS), _hidden(_GRADE_MARKERS)
    ),
    "hookups": Style(
        "Hook-ups by readiness",
        tuple(Rule(label, look, (Condition("ready", "=", word),)) for word, (label, look) in _READY.items()),
    ),
    "bonds_found": Style(
        "Bonds by evidence (hollow: nobody has seen it)",
        _by_word("evidence", _BONDS, {word: f"bond, {word}" for word in EVIDENCE}),
    ),
    "crossings": Style("Crossings in plan", (Rule("crossing", Look("#6b6b6b", 1.0, shape="x", size_pt=5.0)),)),
    "parallel_runs": Style("Parallel runs", (Rule("parallel run", Look("#6b5b4b", 3.0, dash_pt=(2.0, 3.0))),)),
}
"""Style by layer of the data dictionary."""


def style_table(layers: Iterable[str], *, date: str) -> pd.DataFrame:
    """Return the rows of ``layer_styles`` for those layers that have a style.

    Parameters
    ----------
    layers : iterable of str
        Names of the layers in the file.
    date : str
        ISO 8601, UTC; stands for the time of change, so that the clock leaves no trace.

    Returns
    -------
    DataFrame
        Columns in the order and spelling that desktop GIS expect.
    """
    names = [name for name in layers if name in STYLES]
    return pd.DataFrame(
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": names,
            "f_geometry_column": "geom",
            "styleName": "corridor",
            "styleQML": [qml(STYLES[name]) for name in names],
            "styleSLD": [sld(name, STYLES[name]) for name in names],
            "useAsDefault": True,
            "description": [STYLES[name].title for name in names],
            "owner": "corridor",
            "ui": None,
            "update_time": pd.Timestamp(date),
        }
    )


def sld(layer: str, style: Style) -> str:
    """Return a style as a Styled Layer Descriptor 1.0: one FeatureTypeStyle for the rules, one for those over them."""
    root = ET.Element("StyledLayerDescriptor", {"version": "1.0.0", **_NAMESPACES})
    named = ET.SubElement(root, "NamedLayer")
    _text(named, "Name", layer)
    user = ET.SubElement(named, "UserStyle")
    _text(user, "Name", "corridor")
    _text(user, "Title", style.title)
    for rules in (style.rules, style.overlay):
        if rules:
            kind = ET.SubElement(user, "FeatureTypeStyle")
            for rule in rules:
                _sld_rule(kind, rule)
    return ET.tostring(root, encoding="unicode")


def _sld_rule(parent: ET.Element, rule: Rule) -> None:
    node = ET.SubElement(parent, "Rule")
    _text(node, "Name", rule.label)
    _text(node, "Title", rule.label)
    if rule.conditions:
        where = ET.SubElement(node, "ogc:Filter")
        if len(rule.conditions) > 1:
            where = ET.SubElement(where, "ogc:And")
        for condition in rule.conditions:
            comparison = ET.SubElement(where, f"ogc:{_OPERATORS[condition.operator]}")
            _text(comparison, "ogc:PropertyName", condition.column)
            _text(comparison, "ogc:Literal", condition.literal)
    look = rule.look
    if not look.shape:
        _stroke(ET.SubElement(node, "LineSymbolizer"), look)
        return
    graphic = ET.SubElement(ET.SubElement(node, "PointSymbolizer"), "Graphic")
    mark = ET.SubElement(graphic, "Mark")
    _text(mark, "WellKnownName", look.shape)
    if look.fill:
        _css(ET.SubElement(mark, "Fill"), "fill", look.fill)
    _stroke(mark, look)
    _text(graphic, "Size", f"{look.size_pt:g}")
    if look.rotation_deg:
        _text(graphic, "Rotation", f"{look.rotation_deg:g}")


def _stroke(parent: ET.Element, look: Look) -> None:
    stroke = ET.SubElement(parent, "Stroke")
    _css(stroke, "stroke", look.colour)
    _css(stroke, "stroke-width", f"{look.width_pt:g}")
    if look.dash_pt:
        _css(stroke, "stroke-dasharray", " ".join(f"{part:g}" for part in look.dash_pt))


def _css(parent: ET.Element, name: str, value: str) -> None:
    ET.SubElement(parent, "CssParameter", {"name": name}).text = value


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = text


def qml(style: Style) -> str:
    """Return a style as the desktop's XML: a rule-based renderer with a symbol a rule (format from memory)."""
    root = ET.Element("qgis", {"version": "3.28", "styleCategories": "Symbology"})
    renderer = ET.SubElement(root, "renderer-v2", {"type": "RuleRenderer", "symbollevels": "0", "enableorderby": "0"})
    rules = ET.SubElement(renderer, "rules", {"key": "corridor"})
    symbols = ET.SubElement(renderer, "symbols")
    for number, rule in enumerate((*style.rules, *style.overlay)):
        attributes = {"key": f"corridor{number}", "symbol": str(number), "label": rule.label}
        if rule.conditions:
            attributes["filter"] = " AND ".join(condition.expression for condition in rule.conditions)
        ET.SubElement(rules, "rule", attributes)
        _qml_symbol(symbols, str(number), rule.look)
    _text(root, "layerGeometryType", "0" if style.rules[0].look.shape else "1")
    return ET.tostring(root, encoding="unicode")


def _qml_symbol(parent: ET.Element, name: str, look: Look) -> None:
    kind, drawn = ("marker", "SimpleMarker") if look.shape else ("line", "SimpleLine")
    symbol = ET.SubElement(parent, "symbol", {"type": kind, "name": name, "alpha": "1", "clip_to_extent": "1"})
    layer = ET.SubElement(symbol, "layer", {"class": drawn, "enabled": "1", "locked": "0", "pass": "0"})
    options = ET.SubElement(layer, "Option", {"type": "Map"})
    for key, value in (_marker_options(look) if look.shape else _line_options(look)).items():
        ET.SubElement(options, "Option", {"name": key, "type": "QString", "value": value})


def _line_options(look: Look) -> dict[str, str]:
    options = {"line_color": _rgba(look.colour), "line_width": _mm(look.width_pt), "line_width_unit": "MM"}
    if look.dash_pt:
        dashes = ";".join(_mm(part) for part in look.dash_pt)
        options |= {"use_custom_dash": "1", "customdash": dashes, "customdash_unit": "MM", "capstyle": "flat"}
    return options


def _marker_options(look: Look) -> dict[str, str]:
    return {
        "name": _DESKTOP_SHAPES.get(look.shape, look.shape),
        "color": _rgba(look.fill or look.colour),
        "outline_color": _rgba(look.colour),
        "outline_width": _mm(look.width_pt),
        "outline_width_unit": "MM",
        "size": _mm(look.size_pt),
        "size_unit": "MM",
        "angle": f"{look.rotation_deg:g}",
    }


def _mm(points: float) -> str:
    return f"{points * _MM_PER_POINT:.3g}"


def _rgba(colour: str) -> str:
    return ",".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"
