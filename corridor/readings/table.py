"""The file of readings: its template, and the table made from what a crew wrote into it."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import geopandas as gpd
import pandas as pd
import shapely

from corridor.dictionary.readings import READING_KINDS, READINGS
from corridor.errors import InputError, OutputError
from corridor.frames import stamp, table_frame
from corridor.plan.hookups import nearest_ids
from corridor.readings.plan import SetUp
from corridor.settings import ReadingSettings
from corridor.site.csv_cells import safe_cell
from corridor.site.csv_rows import csv_rows
from corridor.site.model import Site
from corridor.tone.solve import check_frequency

__all__ = ["ABOUT_SOURCE", "COLUMNS", "check_readings", "read_readings", "write_template"]

COLUMNS = READINGS.names
ABOUT_SOURCE = ("source_ma", "source_v", "source_ohm")
MAY_BE_ZERO = ("clamp_ma", "receiver_ma", "foreign_tone")  # nothing heard is a reading too
FARTHEST_PEAK_M = 10.0
DEEPEST_M = 30.0
Row = Mapping[str, Any]


def read_readings(path: str | Path) -> pd.DataFrame:
    """Read a file of readings (CSV in UTF-8, first row names the columns) as text, as it was written.

    Parameters
    ----------
    path : str or Path
        The file; columns setup_id, kind and value must be there, the others may.

    Returns
    -------
    DataFrame
        A row a reading; its index is the row of the file.

    Raises
    ------
    InputError
        If it can't be read, or one of these columns is missing.
    """
    rows = csv_rows(Path(path), ("setup_id", "kind", "value"), what="readings")
    cells = [{name: (row.get(name) or "").strip() for name in COLUMNS} for row in rows]
    return pd.DataFrame(cells, columns=list(COLUMNS), index=range(2, len(rows) + 2), dtype=object)


def write_template(path: str | Path, rows: Iterable[Row]) -> None:
    """Write an empty file of readings: a row for each reading that a crew is asked for, ``value`` left out.

    Parameters
    ----------
    path : str or Path
        The file; an earlier one is replaced.
    rows : iterable of mapping
        What is known of each: setup_id, line_id, station_m, x_m, y_m, frequency_hz, kind; the rest stays empty.

    Raises
    ------
    InputError
        If a row has a kind that isn't one.
    OutputError
        If the file can't be written.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        if row.get("kind") not in READING_KINDS:
            message = f"expected a kind of reading ({', '.join(READING_KINDS)}), got {row.get('kind')!r}"
            raise InputError(message)
        writer.writerow([_cell(row.get(name)) for name in COLUMNS])
    try:
        Path(path).write_text(text.getvalue(), encoding="utf-8", newline="")
    except OSError as error:
        message = f"can't write {path}: {error.strerror or error}; name a file in a folder that is there"
        raise OutputError(message) from error


def check_readings(
    readings: pd.DataFrame,
    site: Site,
    setups: Mapping[str, SetUp | None],
    *,
    settings: ReadingSettings,
    source: str = "readings",
) -> gpd.GeoDataFrame:
    """Return the table ``readings``: typed, placed on its lines, whole or not at all.

    Parameters
    ----------
    readings : DataFrame
        Columns of the dictionary, as text or typed; its index names the rows in messages.
    site : Site
        The records.
    setups : mapping
        Set-ups of the plan by id, None for a sweep.
    settings : ReadingSettings
        How far from its line a reading may have been taken.
    source : str
        Name of the file, for messages.

    Returns
    -------
    GeoDataFrame
        Points on the lines; readings of the source have no place and no geometry. A reading without a value is one to
        be predicted.

    Raises
    ------
    InputError
        If a row names a set-up, line, kind or place that isn't there, or its value can't be one of that kind.
    """
    lines = site.lines.set_index("line_id").geometry
    rows, points = [], []
    for number, record in readings.iterrows():
        row = {name: _plain(record.get(name)) for name in COLUMNS}
        checker = _Checker(f"{source}, row {number}", row, lines, setups)
        rows.append(checker.checked(reach_m=settings.place_reach_m))
        points.append(checker.point)
    frame = table_frame("readings", rows, geometry=points, crs=site.crs)
    return stamp(frame, check_readings, source=Path(source).name)


@dataclass
class _Checker:
    """One row, and the sentence that says where it stands."""

    where: str
    row: dict[str, Any]
    lines: gpd.GeoSeries
    setups: Mapping[str, SetUp | None]
    point: Any = None

    def checked(self, *, reach_m: float) -> dict[str, Any]:
        setup, kind = self._setup(), self._kind()
        if setup is None and kind != "foreign_tone":
            self._refuse(
                "a set-up with a transmitter", f"{self.row['setup_id']!r}, a sweep", "a sweep has foreign_tone only"
            )
        line = self._line(setup, kind)
        frequency = self._number("frequency_hz")
        if frequency is None and setup is not None:
            frequency = setup.frequency_hz
        if frequency is not None:
            try:
                check_frequency(frequency)
            except ValueError as error:
                message = f"{self.where}: {error}; correct frequency_hz there"
                raise InputError(message) from None
        station = None if kind in ABOUT_SOURCE else self._station(line, reach_m)
        known = {"setup_id": str(self.row["setup_id"]), "line_id": line, "station_m": station, "kind": kind}
        if self.point is not None:
            known |= {"x_m": self.point.x, "y_m": self.point.y}
        return known | {
            "frequency_hz": frequency, "value": self._value(kind), "time": self.row["time"], "note": self.row["note"],
        }  # fmt: skip

    def _setup(self) -> SetUp | None:
        name = self.row["setup_id"]
        if name is None or str(name) not in self.setups:
            near = ", ".join(nearest_ids(str(name or ""), self.setups)) or "none: the plan has no set-ups"
            self._refuse("the setup_id of a set-up of the plan", repr(name or "nothing"), f"the nearest are {near}")
        return self.setups[str(name)]

    def _kind(self) -> str:
        kind = self.row["kind"]
        if kind not in READING_KINDS:
            near = nearest_ids(str(kind or ""), READING_KINDS, n=1)[0]
            self._refuse(f"a kind of {', '.join(READING_KINDS)}", repr(kind or "nothing"), f"perhaps {near}")
        return str(kind)

    def _line(self, setup: SetUp | None, kind: str) -> str:
        name = self.row["line_id"]
        if name is None and setup is not None and kind in ABOUT_SOURCE:
            return setup.hookup.line_id
        if name is None or str(name) not in self.lines.index:
            near = ", ".join(nearest_ids(str(name or ""), self.lines.index))
            self._refuse("the line_id of a recorded line", repr(name or "nothing"), f"the nearest are {near}")
        return str(name)

    def _station(self, line: str, reach_m: float) -> float:
        shape = self.lines.loc[line]
        station, x, y = (self._number(name) for name in ("station_m", "x_m", "y_m"))
        if station is not None:
            if not 0.0 <= station <= shape.length + 0.01:
                self._refuse(
                    f"a station of 0 to {shape.length:.1f} m along {line}", f"{station:g} m", "correct it there"
                )
            station = min(station, shape.length)
        elif x is not None and y is not None:
            taken = shapely.Point(x, y)
            if (off := shape.distance(taken)) > reach_m:
                self._refuse(
                    f"a place within {reach_m:g} m of {line}",
                    f"one {off:.1f} m away",
                    "correct x_m and y_m, or the line",
                )
            station = float(shape.project(taken))
        else:
            station = self._refuse("station_m, or x_m and y_m", "neither", "say where it was read")
        self.point = shape.interpolate(station)
        return float(station)

    def _value(self, kind: str) -> float | None:
        value = self._number("value")
        if value is None:
            return None
        if kind == "peak_offset_m":
            if abs(value) > FARTHEST_PEAK_M:
                self._refuse(f"an offset of {FARTHEST_PEAK_M:g} m at most", f"{value:g} m", "give it in metres")
        elif value < 0.0 or (value == 0.0 and kind not in MAY_BE_ZERO):
            least = "0 or more" if kind in MAY_BE_ZERO else "above 0"
            self._refuse(f"a {kind} {least}", f"{value:g}", "a reading has no sign")
        elif kind == "depth_reading_m" and value > DEEPEST_M:
            self._refuse(f"a depth of {DEEPEST_M:g} m at most", f"{value:g} m", "give it in metres")
        return value

    def _number(self, column: str) -> float | None:
        cell = self.row[column]
        if cell is None:
            return None
        try:
            number = float(cell)
        except (TypeError, ValueError):
            number = math.nan
        if not math.isfinite(number):
            self._refuse(f"a number as {column}", repr(cell), "write it with a point and without its unit")
        return number

    def _refuse(self, expected: str, came: str, what: str) -> NoReturn:
        message = f"{self.where}: expected {expected}, got {came}; {what}"
        raise InputError(message)


def _plain(value: Any) -> Any:
    """Return a cell, None where nothing stands in it."""
    if value is None or (not isinstance(value, Sequence) and pd.isna(value)):
        return None
    text = value.strip() if isinstance(value, str) else value
    return None if text == "" else text


def _cell(value: Any) -> str:
    plain = _plain(value)
    if plain is None:
        return ""
    return f"{plain:.10g}" if isinstance(plain, float) else str(safe_cell(plain))
