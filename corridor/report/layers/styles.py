"""Default styles of the result layers: Styled Layer Descriptor 1.0 (OGC 02-070) and the XML of a common desktop GIS.

A GeoPackage keeps both in its table ``layer_styles``, from which desktop GIS take a layer's first look. In a layer that
holds points and lines a descriptor draws a line's mark at its middle too, since version 1.0 can't ask for geometry.
"""

from collections.abc import Iterable
from xml.etree import ElementTree as ET

import pandas as pd

from corridor.report.layers.style_model import Look, Rule, Style
from corridor.report.layers.style_rules import layer_styles, quality_style
from corridor.report.look.conventions import Conventions

__all__ = ["STYLE_TABLE", "qml", "sld", "style_table"]

STYLE_TABLE = "layer_styles"
_MM_PER_POINT = 25.4 / 72.0
_NAMESPACES = {"xmlns": "http://www.opengis.net/sld", "xmlns:ogc": "http://www.opengis.net/ogc"}
_DESKTOP_SHAPES = {"x": "cross2"}  # by the well-known name of SLD, where the desktop's own differs
_OPERATORS = {"=": "PropertyIsEqualTo", ">=": "PropertyIsGreaterThanOrEqualTo", "<": "PropertyIsLessThan"}


def style_table(layers: Iterable[str], *, date: str, chosen: Conventions | None = None) -> pd.DataFrame:
    """Return the rows of ``layer_styles``: a default for each layer that has one; lines as read get a second.

    Parameters
    ----------
    layers : iterable of str
        Names of the layers in the file.
    date : str
        ISO 8601, UTC; stands for the time of change, so that the clock leaves no trace.
    chosen : Conventions, optional
        Colours of utilities and names of quality levels; None: the defaults.

    Returns
    -------
    DataFrame
        Columns in the order and spelling that desktop GIS expect.
    """
    used = chosen or Conventions()
    known = layer_styles(used)
    rows = [(name, "corridor", known[name], True) for name in layers if name in known]
    rows += [(name, "quality level", quality_style(used), False) for name, *_ in rows if name == "lines"]
    return pd.DataFrame(
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": [name for name, *_ in rows],
            "f_geometry_column": "geom",
            "styleName": [called for _, called, _, _ in rows],
            "styleQML": [qml(style) for _, _, style, _ in rows],
            "styleSLD": [sld(name, style) for name, _, style, _ in rows],
            "useAsDefault": [default for *_, default in rows],
            "description": [style.title for _, _, style, _ in rows],
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
                if rule.only != "Polygon":  # the stroke of a line is that of an area's edge too
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
        only = [f"geometry_type($geometry) = '{rule.only}'"] if rule.only else []
        if rule.conditions or only:
            attributes["filter"] = " AND ".join([*(condition.expression for condition in rule.conditions), *only])
        ET.SubElement(rules, "rule", attributes)
        _qml_symbol(symbols, str(number), rule)
    if not style.mixed:
        _text(root, "layerGeometryType", "0" if style.rules[0].look.shape else "1")
    return ET.tostring(root, encoding="unicode")


def _qml_symbol(parent: ET.Element, name: str, rule: Rule) -> None:
    look = rule.look
    kind, drawn = ("marker", "SimpleMarker") if look.shape else ("line", "SimpleLine")
    kind = "fill" if rule.only == "Polygon" else kind
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
