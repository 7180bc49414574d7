"""Field maps: how an owner's columns, words and units become those of the data dictionary (TOML)."""

import difflib
from importlib import resources
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from corridor.dictionary import INPUT_TABLES
from corridor.errors import FieldMapError
from corridor.site.model import MapUsed
from corridor.site.patterns import check_pattern
from corridor.site.quoting import quoted
from corridor.site.sources import file_hash
from corridor.site.units import unit_factor
from corridor.tomlfile import mistakes, read_toml

__all__ = ["DepthMap", "FieldMap", "LayerMap", "SplitMap", "load_fieldmap", "map_used", "nearest", "profiles"]

_STRICT = ConfigDict(frozen=True, extra="forbid")


class ColumnMap(BaseModel):
    """Where one column comes from: a source column, a part of its text, other words, another unit."""

    model_config = _STRICT

    source: str
    unit: str | None = None
    values: dict[str, str | float | bool] = Field(default_factory=dict)
    pattern: str | None = None  # regular expression; its first group, or all it matches
    # a column of our own name beside the standard's, which wins row by row: set for profiles, never by a file
    own: str | None = Field(default=None, exclude=True, validation_alias="(set for profiles)")

    @field_validator("pattern")
    @classmethod
    def _compiles(cls, pattern: str | None) -> str | None:
        if pattern is not None:
            check_pattern(pattern)
        return pattern


class DepthMap(BaseModel):
    """What the recorded depth is: down to the top (cover), the axis or the inside bottom (invert), or an elevation."""

    model_config = _STRICT

    kind: Literal["cover", "axis", "invert", "elevation"]
    of: Literal["cover", "axis", "invert"] = "axis"  # elevation: of the top, the axis or the inside bottom
    ground: str | float | None = None  # elevation of the ground: a source column, or one number for all

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.kind == "elevation" and self.ground is None:
            message = "an elevation needs ground, the ground's own elevation: a column's name or a number"
            raise ValueError(message)
        return self


class SplitMap(BaseModel):
    """How one record becomes several conductors: by ``count``, or one for each match of a pattern in a text."""

    model_config = _STRICT

    source: str | None = None
    pattern: str | None = None  # groups named as our columns give them; the group count repeats

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.source is None) != (self.pattern is None):
            message = 'expected source and pattern, or split = "count"'
            raise ValueError(message)
        ColumnMap._compiles(self.pattern)
        return self


class LayerMap(BaseModel):
    """One layer: its table, its CRS, and the columns mapped, named or made constant."""

    model_config = _STRICT

    table: str
    crs: str | None = None
    axes: Literal["east_north", "north_east"] = "east_north"
    encoding: str | None = None
    depth: DepthMap | None = None
    split: SplitMap | None = None
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

    @field_validator("depth", mode="before")
    @classmethod
    def _depth_word(cls, depth: Any) -> Any:
        return {"kind": depth} if isinstance(depth, str) else depth

    @field_validator("split", mode="before")
    @classmethod
    def _split_word(cls, split: Any) -> Any:
        return {} if split == "count" else split

    @model_validator(mode="after")
    def _known_columns(self) -> Self:
        if (self.depth or self.split) and self.table != "lines":
            message = f"depth and split are for lines, not for {self.table}"
            raise ValueError(message)
        table = INPUT_TABLES[self.table]
        for name in [*self.columns, *self.values, *self.units, *self.constants]:
            if name not in table.names:
                message = f"table {self.table} has no column {quoted(name)}{nearest(name, table.names)}"
                raise ValueError(message)
        for name, unit in self._units():
            if unit_factor(unit, table.column(name)) is None:
                wanted = table.column(name).unit or "its words"
                message = f"unit {quoted(unit)} of {name} can't be turned into {wanted}"
                raise ValueError(message)
        return self

    def _units(self) -> list[tuple[str, str]]:
        return [*self.units.items(), *((name, c.unit) for name, c in self.columns.items() if c.unit)]

    def unit_of(self, name: str) -> str | None:
        """Return the unit a column's source values are in; None: the dictionary's."""
        column = self.columns.get(name)
        return (column.unit if column else None) or self.units.get(name)


class FieldMap(BaseModel):
    """A block a layer, by the layer's name in its file, or by ``file:layer``.

    A ``profile`` may name layers and columns that the records don't have, as a standard does.
    """

    model_config = _STRICT

    layers: dict[str, LayerMap]
    profile: bool = False

    def block(self, file: str, layer: str) -> LayerMap | None:
        """Return the block of a layer; None where there is none."""
        return self.layers.get(f"{file}:{layer}") or self.layers.get(layer)


def profiles() -> dict[str, Path]:
    """Return the shipped field maps of open standards, by name."""
    folder = Path(str(resources.files("corridor.data")))
    return {path.stem.removeprefix("profile_"): path for path in sorted(folder.glob("profile_*.toml"))}


def load_fieldmap(fieldmap: str | Path | FieldMap | None) -> FieldMap:
    """Read a field map from a TOML file; None gives an empty one, a FieldMap is returned as it is.

    The name of a profile (``inspire``, ``muddi``) stands for the map shipped with it, if there is no such file.

    Raises
    ------
    FieldMapError
        If the file can't be read or names what isn't there; every mistake is listed.
    """
    if isinstance(fieldmap, FieldMap):
        return fieldmap
    if fieldmap is None:
        return FieldMap(layers={})
    path = _file(fieldmap)
    data = read_toml(path, "field map", error=FieldMapError)
    try:
        return FieldMap.model_validate(data)
    except ValidationError as error:
        message = f"field map {path}: {mistakes(error, FieldMap, data=data)}; correct it there"
        raise FieldMapError(message) from None


def _file(fieldmap: str | Path) -> Path:
    path = Path(fieldmap)
    return path if path.exists() else profiles().get(str(fieldmap), path)


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
    return MapUsed(path=str(fieldmap), sha256=file_hash(_file(fieldmap)), content=content)


def nearest(name: str, names: Any) -> str:
    """Return the nearest of some names, in brackets and words, for a message; empty where none is near."""
    near = difflib.get_close_matches(str(name), [str(n) for n in names], n=1)
    return f" (nearest: {near[0]})" if near else ""
