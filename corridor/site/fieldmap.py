"""Field maps: how an owner's columns, words and units become those of the data dictionary (TOML)."""

import difflib
import re
from pathlib import Path
from typing import Any, Self

import geopandas as gpd
import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import FieldMapError
from corridor.site.findings import FEATURE
from corridor.site.model import MapUsed
from corridor.site.sources import file_hash
from corridor.site.tables import word_key
from corridor.site.units import unit_factor
from corridor.site.values import as_text, numbers
from corridor.tomlfile import mistakes, read_toml

__all__ = ["FieldMap", "LayerMap", "load_fieldmap", "map_layer", "map_used"]

_SHORT_NAME = 10  # a shapefile cuts its column names to this many characters
_STRICT = ConfigDict(frozen=True, extra="forbid")


class ColumnMap(BaseModel):
    """Where one column comes from: a source column, a part of its text, other words, another unit."""

    model_config = _STRICT

    source: str
    unit: str | None = None
    values: dict[str, str | float | bool] = Field(default_factory=dict)
    pattern: str | None = None  # regular expression; its first group, or all it matches

    @field_validator("pattern")
    @classmethod
    def _compiles(cls, pattern: str | None) -> str | None:
        if pattern is not None:
            try:
                re.compile(pattern)
            except re.error:
                message = "expected a regular expression: check its brackets and backslashes"
                raise ValueError(message) from None
        return pattern


class LayerMap(BaseModel):
    """One layer: its table, its CRS, and the columns mapped, named or made constant."""

    model_config = _STRICT

    table: str
    crs: str | None = None
    columns: dict[str, ColumnMap] = Field(default_factory=dict)
    values: dict[str, dict[str, str | float | bool]] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    constants: dict[str, str | float | bool] = Field(default_factory=dict)

    @field_validator("table")
    @classmethod
    def _known_table(cls, table: str) -> str:
        if table not in INPUT_TABLES:
            message = f"expected one of {', '.join(INPUT_TABLES)}"
            raise ValueError(message)
        return table

    @field_validator("columns", mode="before")
    @classmethod
    def _short_form(cls, columns: Any) -> Any:
        if not isinstance(columns, dict):
            return columns
        return {name: {"source": what} if isinstance(what, str) else what for name, what in columns.items()}

    @model_validator(mode="after")
    def _known_columns(self) -> Self:
        table = INPUT_TABLES[self.table]
        for name in [*self.columns, *self.values, *self.units, *self.constants]:
            if name not in table.names:
                message = f"table {self.table} has no column {name!r}{_nearest(name, table.names)}"
                raise ValueError(message)
        for name, unit in self._units():
            if unit_factor(unit, table.column(name)) is None:
                message = f"unit {unit!r} of {name} can't be turned into {table.column(name).unit or 'its words'}"
                raise ValueError(message)
        return self

    def _units(self) -> list[tuple[str, str]]:
        return [*self.units.items(), *((name, c.unit) for name, c in self.columns.items() if c.unit)]

    def unit_of(self, name: str) -> str | None:
        """Return the unit a column's source values are in; None: the dictionary's."""
        column = self.columns.get(name)
        return (column.unit if column else None) or self.units.get(name)


class FieldMap(BaseModel):
    """A block a layer, by the layer's name in its file."""

    model_config = _STRICT

    layers: dict[str, LayerMap]


def load_fieldmap(fieldmap: str | Path | FieldMap | None) -> FieldMap:
    """Read a field map from a TOML file; None gives an empty one, a FieldMap is returned as it is.

    Raises
    ------
    FieldMapError
        If the file can't be read or names what isn't there; every mistake is listed.
    """
    if isinstance(fieldmap, FieldMap):
        return fieldmap
    if fieldmap is None:
        return FieldMap(layers={})
    path = Path(fieldmap)
    data = read_toml(path, "field map", error=FieldMapError)
    try:
        return FieldMap.model_validate(data)
    except ValidationError as error:
        message = f"field map {path}: {mistakes(error, FieldMap, data=data)}; correct it there"
        raise FieldMapError(message) from None


def map_used(fieldmap: str | Path | FieldMap | None, plan: FieldMap) -> MapUsed | None:
    """Describe a field map as given, and as read from there; None where none was given.

    Raises
    ------
    OSError
        If its file can't be opened.
    """
    if fieldmap is None:
        return None
    content = plan.model_dump(mode="json", exclude_defaults=True)
    if isinstance(fieldmap, FieldMap):
        return MapUsed(path=None, sha256=None, content=content)
    return MapUsed(path=str(fieldmap), sha256=file_hash(Path(fieldmap)), content=content)


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
        columns only constants are mapped), every column not used as ``src_<name>``, and the geometry.

    Raises
    ------
    FieldMapError
        If the map names a source column that the layer doesn't have.
    """
    own = [name for name in frame.columns if name != "geometry" and name not in FEATURE]
    by_key = {word_key(str(name)): name for name in reversed(own)}
    taken: set[Any] = {rule.source for rule in layer.columns.values()}  # used only as the map says
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
        if column.mapped:
            if column.testimony:
                by_map = constant | _not_given(frame, by_key, name)
            origin = np.where(by_map, "mapped", "given").astype(object)
            data[f"{name}_src"] = pd.Series(origin, index=frame.index).where(data[name].notna(), None)
    data |= {_source_name(str(name)): frame[name] for name in own if name not in taken}
    data |= {name: frame[name] for name in FEATURE}
    return gpd.GeoDataFrame(data, index=frame.index, geometry=frame.geometry)


def _no_column(where: str, name: str, source: str, own: list[Any]) -> str:
    return (
        f"{where}: the field map takes {name} from column {source!r}, which isn't there{_nearest(source, own)}; "
        f"the layer has: {', '.join(map(str, own)) or 'no columns'}"
    )


def _source_name(name: str) -> str:
    kept = name if name.startswith("src_") else f"src_{name}"
    return f"{kept}_" if kept in FEATURE else kept


def _not_given(frame: gpd.GeoDataFrame, by_key: dict[str, Any], name: str) -> Any:
    """Tell rows of a layer that was read before, and says itself that this value wasn't the record's own."""
    told = by_key.get(f"{name}_src")
    return np.zeros(len(frame), dtype=bool) if told is None else (as_text(frame[told]) != "given").to_numpy(dtype=bool)


def _mapped(raw: pd.Series, layer: LayerMap, *, table: Table, name: str) -> tuple[pd.Series, Any, Any]:
    """Return values after pattern, value map, unit and constant, which the map made, and which are the constant."""
    rule = layer.columns.get(name)
    values, by_map = raw, np.zeros(len(raw), dtype=bool)
    if rule and rule.pattern is not None:
        grouped = rule.pattern if re.compile(rule.pattern).groups else f"({rule.pattern})"
        values = as_text(values).str.extract(grouped, expand=True)[0].astype(object)
        by_map |= values.notna().to_numpy()
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


def _nearest(name: str, names: Any) -> str:
    near = difflib.get_close_matches(str(name), [str(n) for n in names], n=1)
    return f" (nearest: {near[0]})" if near else ""
