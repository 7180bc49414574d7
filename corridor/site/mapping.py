"""Mapping: a layer's own columns, words and units turned into those of a table, as its field map says."""

import re
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.dictionary import Table
from corridor.errors import FieldMapError
from corridor.site.depth_kind import read_depths
from corridor.site.fieldmap import LayerMap, nearest
from corridor.site.findings import FEATURE, Findings
from corridor.site.quoting import first_names, quoted
from corridor.site.tables import word_key
from corridor.site.units import unit_factor
from corridor.site.values import as_text, numbers, without_bytes

__all__ = ["fit_map", "map_layer"]

_SHORT_NAME = 10  # a shapefile cuts its column names to this many characters


def fit_map(layer: LayerMap, frame: gpd.GeoDataFrame, *, where: str, profile: bool, findings: Findings) -> LayerMap:
    """Return a layer's map with the source columns as the layer spells them.

    A name that the file cut at 10 characters is found again and told. A profile's names go in any case, and its
    columns that aren't there are left out; a column of our own name beside the standard's wins where it states
    something, since a standard's words may say less than ours (``corridor export`` writes such columns).

    Parameters
    ----------
    layer : LayerMap
        Its map.
    frame : GeoDataFrame
        The layer as read.
    where : str
        File and layer, for messages.
    profile : bool
        Whether the map is that of a standard.
    findings : Findings
        Collector.

    Raises
    ------
    FieldMapError
        If the map names a source column that the layer doesn't have.
    """
    own = [str(name) for name in frame.columns if name != "geometry" and name not in FEATURE]
    columns = {}
    for name, rule in layer.columns.items():
        source = _found(rule.source, own, profile=profile)
        if source is None and profile:
            continue
        if source is None:
            raise FieldMapError(_no_column(where, name, rule.source, own))
        if len(source) < len(rule.source) and not profile:
            told = f"{where}: column {rule.source!r} is there as {source!r}, its name cut at {_SHORT_NAME} characters"
            findings.add("cut_name", told, action="used: check that it is the same column", source=where)
        beside = _found(name, own, profile=True) if profile else None
        columns[name] = rule.model_copy(update={"source": source, "own": beside if beside != source else None})
    changed: dict[str, Any] = {"columns": columns}
    for part, key in (("split", "source"), ("depth", "ground")):
        block = getattr(layer, part)
        wanted = getattr(block, key) if block else None
        if isinstance(wanted, str):
            source = _found(wanted, own, profile=profile)
            if source is None:
                raise FieldMapError(_no_column(where, f"{part}.{key}", wanted, own))
            changed[part] = block.model_copy(update={key: source})
    return layer.model_copy(update=changed)


def _found(source: str, own: list[str], *, profile: bool) -> str | None:
    if source in own:
        return source
    if profile:
        by_key = {word_key(name): name for name in reversed(own)}
        return by_key.get(word_key(source))
    cut = [name for name in own if len(name) == _SHORT_NAME and name.casefold() == source[:_SHORT_NAME].casefold()]
    return cut[0] if len(cut) == 1 and len(source) > _SHORT_NAME else None


def map_layer(frame: gpd.GeoDataFrame, table: Table, layer: LayerMap, *, where: str) -> gpd.GeoDataFrame:
    """Turn a layer's columns into a table's, by its map and else by their own names.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer as read, with its ``FEATURE`` columns.
    table : Table
        What it is read into.
    layer : LayerMap
        Its map; one without columns takes all by name.
    where : str
        File and layer, for messages.

    Returns
    -------
    GeoDataFrame
        The table's columns found, their ``<column>_src`` (given or mapped, None where no value; in ``testimony``
        columns only constants are mapped), ``depth_kind`` where the map says or should say what the depth goes to,
        every column not used as ``src_<name>``, and the geometry.

    Raises
    ------
    FieldMapError
        If the map names a source column that the layer doesn't have.
    """
    own = [name for name in frame.columns if name != "geometry" and name not in FEATURE]
    by_key = {word_key(str(name)): name for name in reversed(own)}
    taken: set[Any] = {rule.source for rule in layer.columns.values()}  # used only as the map says
    taken |= {rule.own for rule in layer.columns.values() if rule.own}
    by_name = {key: name for key, name in by_key.items() if name not in taken}
    data: dict[str, Any] = {}
    for column in table.columns:
        name = column.name
        mapped = layer.columns.get(name)
        if mapped is not None and mapped.source not in own:
            raise FieldMapError(_no_column(where, name, mapped.source, own))
        source = mapped.source if mapped else by_name.get(name, by_name.get(name[:_SHORT_NAME]))
        if source is None and name not in layer.constants:
            continue
        taken.add(source)
        raw = pd.Series(None, index=frame.index, dtype=object) if source is None else frame[source]
        data[name], by_map, constant = _mapped(raw, layer, table=table, name=name)
        if mapped is not None and mapped.own:
            stated = as_text(frame[mapped.own]).notna().to_numpy()
            data[name] = data[name].astype(object).mask(stated, frame[mapped.own])
            by_map, constant = by_map & ~stated, constant & ~stated
        if column.mapped:
            by_map = constant if column.testimony else by_map
            told = by_key.get(f"{name}_src")
            if told is not None:  # a layer that was read before says itself which values weren't the record's own
                by_map = by_map | _not_given(frame[told])
                taken.add(told)
            origin = np.where(by_map, "mapped", "given").astype(object)
            origin[data[name].isna().to_numpy()] = None
            data[f"{name}_src"] = pd.Series(origin, index=frame.index, dtype=object)
    if table.name == "lines":
        data |= read_depths(data.get("depth_m"), frame, layer, column=table.column("depth_m"))
    data |= {_source_name(str(name)): without_bytes(frame[name]) for name in own if name not in taken}
    data |= {name: frame[name] for name in FEATURE}
    return gpd.GeoDataFrame(pd.DataFrame(data | {"geometry": frame.geometry}, index=frame.index), copy=False)


def _no_column(where: str, name: str, source: str, own: list[Any]) -> str:
    return (
        f"{where}: the field map takes {name} from column {quoted(source)}, which isn't there{nearest(source, own)}; "
        f"the layer has: {first_names(own) or 'no columns'}"
    )


def _source_name(name: str) -> str:
    kept = name if name.startswith("src_") else f"src_{name}"
    return f"{kept}_" if kept in FEATURE else kept


def _matched(text: pd.Series, pattern: str) -> pd.Series:
    """Return the first group of a regular expression, or all it matches where it has none; None where it doesn't."""
    expression = re.compile(pattern)
    found = {word: expression.search(word) for word in text.dropna().unique()}
    group = 1 if expression.groups else 0
    return text.map({word: match[group] if match else None for word, match in found.items()}).astype(object)


def _not_given(told: pd.Series) -> Any:
    """Tell rows whose layer says that this value wasn't the record's own."""
    return (as_text(told) != "given").to_numpy(dtype=bool)


def _mapped(raw: pd.Series, layer: LayerMap, *, table: Table, name: str) -> tuple[pd.Series, Any, Any]:
    """Return values after pattern, value map, unit and constant, which the map made, and which are the constant."""
    rule = layer.columns.get(name)
    values, by_map = raw, np.zeros(len(raw), dtype=bool)
    if rule and rule.pattern is not None:
        text = as_text(values)
        values = _matched(text, rule.pattern)
        by_map |= values.notna().to_numpy() & values.ne(text).to_numpy()  # all of a text is the record's own word
    listed = {**layer.values.get(name, {}), **(rule.values if rule else {})}
    words = {key.strip().casefold(): meant for key, meant in listed.items()}
    if words:
        text = as_text(values)
        found = text.map({word: words.get(word.casefold()) for word in text.dropna().unique()})
        hit = found.notna().to_numpy()
        values, by_map = values.astype(object).mask(hit, found), by_map | hit
    unit = layer.unit_of(name)
    column = table.column(name)
    if unit is not None:
        numeric, strange = numbers(values, column)
        bare = pd.to_numeric(as_text(values), errors="coerce").notna()  # a unit written beside the number wins
        factor = unit_factor(unit, column) or 1.0
        values = numeric.where(~bare, numeric * factor).astype(object).mask(strange, values)
    constant = np.zeros(len(raw), dtype=bool)
    if name in layer.constants:
        constant = values.isna().to_numpy()
        values = values.astype(object).where(~constant, layer.constants[name])
    return values, by_map | constant, constant
