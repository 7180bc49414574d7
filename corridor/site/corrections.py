"""Corrections: values that replace the owners' own without touching their files, each with its source and date."""

from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import pandas as pd

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import InputError
from corridor.site.csv_rows import csv_rows
from corridor.site.depth_kind import DEPTH_KIND
from corridor.site.findings import FEATURE, Findings
from corridor.site.quoting import quoted
from corridor.site.values import as_text

__all__ = ["COLUMNS", "Correction", "Corrections", "load_corrections"]

COLUMNS = ("layer", "id", "column", "value", "source", "date")


@dataclass(frozen=True)
class Correction:
    """One row of the file: layer (or file:layer), the record's own id, our column, its value, who says so and when."""

    row: int
    layer: str
    id: str
    column: str
    value: str
    source: str
    date: str


@dataclass
class Corrections:
    """The corrections of a file, and which of them were used."""

    rows: tuple[Correction, ...] = ()
    path: Path | None = None
    _used: set[int] = field(default_factory=set)

    def applied(
        self, frame: gpd.GeoDataFrame, table: Table, *, file: str, layer: str, findings: Findings
    ) -> gpd.GeoDataFrame:
        """Return a mapped layer with its corrections in place; each is told, with what stood there before.

        A value corrected counts as mapped, never as given: a correction clears no line for direct connection.

        Parameters
        ----------
        frame : GeoDataFrame
            The layer in the table's columns, with its ``FEATURE`` columns.
        table : Table
            What it is read into.
        file, layer : str
            Names that a correction may use.
        findings : Findings
            ``corrected`` for each feature and column.
        """
        mine = [c for c in self.rows if c.layer in (layer, f"{file}:{layer}") and c.column in table.names]
        if not mine or frame.empty:
            return frame
        frame = frame.copy()
        ids = as_text(frame[FEATURE[2]])
        for correction in mine:
            hit = (ids == correction.id).to_numpy(dtype=bool)
            if not hit.any():
                continue
            self._used.add(correction.row)
            name, value = correction.column, correction.value or None
            before = frame[name].astype(object) if name in frame else pd.Series(None, index=frame.index, dtype=object)
            told = [
                f"{name}: {'nothing' if pd.isna(was) else quoted(was)} corrected to "
                f"{quoted(value) if value else 'nothing'}, by {correction.source}, {correction.date}"
                for was in before[hit]
            ]
            findings.add_rows("corrected", frame, told, action="repaired: the owner's file is as it was", at=hit)
            frame[name] = before.mask(hit, value)
            if name == "depth_m" and DEPTH_KIND in frame:  # a correction is in our terms: to the axis
                frame[DEPTH_KIND] = frame[DEPTH_KIND].where(~hit, None)
            if table.column(name).mapped:
                origin = frame.get(f"{name}_src", pd.Series(None, index=frame.index, dtype=object)).astype(object)
                frame[f"{name}_src"] = origin.mask(hit, "mapped" if value is not None else None)
        return frame

    def tell_unused(self, findings: Findings) -> None:
        """Tell the corrections that no feature took."""
        for correction in self.rows:
            if correction.row not in self._used:
                told = (
                    f"correction in row {correction.row}: no feature {quoted(correction.id)} in a layer "
                    f"{quoted(correction.layer)} that is read with column {quoted(correction.column)}"
                )
                findings.add("correction_unused", told, action="not used: check layer, id and column")


def load_corrections(path: str | Path | None) -> Corrections:
    """Read a file of corrections (CSV in UTF-8, columns layer, id, column, value, source, date); None gives none.

    Raises
    ------
    InputError
        If it can't be read, a column is missing, or a row has no layer, id, source or date, or an unknown column.
    """
    if path is None:
        return Corrections()
    file = Path(path)
    rows = csv_rows(file, COLUMNS, what="corrections")
    return Corrections(tuple(_correction(number, row, file) for number, row in enumerate(rows, start=2)), file)


def _correction(number: int, row: dict[str, str | None], file: Path) -> Correction:
    cells = {name: (row.get(name) or "").strip() for name in COLUMNS}
    for name in ("layer", "id", "column", "source", "date"):
        if not cells[name]:
            message = f"{file}, row {number}: expected {name}, got nothing; a correction says what, by whom and when"
            raise InputError(message)
    known = {name for table in INPUT_TABLES.values() for name in table.names}
    if cells["column"] not in known:
        got = cells["column"]
        message = f"{file}, row {number}: expected a column of the data dictionary, got {quoted(got)}; correct it there"
        raise InputError(message)
    return Correction(row=number, **cells)
