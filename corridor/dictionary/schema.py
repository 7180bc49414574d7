"""How a table is described: columns with type, unit, vocabulary, range, meaning and the source of the term."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Column", "ColumnType", "GeometryType", "Table"]

ColumnType = Literal["text", "real", "integer", "flag"]
GeometryType = Literal["LineString", "Point", "Polygon", "any", "none"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table.

    The unit is the last word of the name. ``vocabulary`` lists the words allowed (empty: free). ``decimals`` is the
    rounding at the public border (None: none). ``mapped`` marks input columns whose origin is kept in a companion
    column ``<name>_src`` (given, mapped, default, inferred). ``testimony`` marks those of them that the hazard gate
    relies on: given is all that the record itself says, in whatever words; mapped is a field map's constant.
    """

    name: str
    kind: ColumnType = "text"
    meaning: str = ""
    unit: str = ""
    vocabulary: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    required: bool = False
    decimals: int | None = None
    mapped: bool = False
    testimony: bool = False
    term: str = ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """A layer or table: its name, what one row is, its geometry and its columns in order."""

    name: str
    row: str
    geometry: GeometryType
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The column names in order, geometry apart."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """The names of the columns that must be there and filled."""
        return tuple(column.name for column in self.columns if column.required)

    def column(self, name: str) -> Column:
        """Return one column's description.

        Raises
        ------
        KeyError
            If the table has no such column.
        """
        for column in self.columns:
            if column.name == name:
                return column
        message = f"table {self.name} has no column {name!r}"
        raise KeyError(message)
