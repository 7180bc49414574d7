"""What the source should show before the crew goes on, and where it stops."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from corridor.report.sheet.words import number_text, quantity, span_text

__all__ = ["Limits", "outside", "source_limits", "source_rows"]

_NOTHING = "this set-up's source reading tells nothing (range wider than ten-fold)"
_SHOWN = {
    "source_ohm": ("loop", "loop impedance"),
    "source_v": ("source", "voltage at the source"),
    "source_ma": ("output", "output current"),
    "clamp_ma": ("on the line", "current on the line at the hook-up"),
}


@dataclass(frozen=True)
class Limits:
    """When to go on, and when to stop, each in one line with units and ranges."""

    go: str
    stop: str


def source_rows(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of ``expected_readings`` that are read at the source, in the order of the table."""
    return readings[readings["kind"].isin(_SHOWN)]


def source_limits(readings: pd.DataFrame, level_ma: Any) -> Limits:
    """Return the limits of one set-up.

    Parameters
    ----------
    readings : DataFrame
        Its rows of ``expected_readings``.
    level_ma : float
        Output to set, mA.
    """
    rows = {str(row["kind"]): row for row in source_rows(readings).to_dict("records")}
    held = f"the source can't hold {quantity(level_ma, 'mA')}"
    loop, line = rows.get("source_ohm"), rows.get("clamp_ma")
    if loop is not None and _tells(loop):
        volts = rows.get("source_v")
        shown = span_text(volts["expected_low"], volts["expected_high"], "V") if volts is not None else ""
        go = f"loop {span_text(loop['expected_low'], loop['expected_high'], 'ohm')}" + (f" ({shown})" if shown else "")
        return Limits(go, f"loop {outside(loop)}, or {held}")
    if line is not None and _tells(line):
        if _held(line):
            at = quantity(line["expected_high"], "mA")
            return Limits(f"the source holds {at} on the line", f"the source can't hold {at} on the line")
        go = f"{span_text(line['expected_low'], line['expected_high'], 'mA')} on the line here"
        return Limits(go, f"line reads {outside(line)}")
    return Limits(_NOTHING, f"the tone can't be followed from here, or {held}")


def outside(row: Any) -> str:
    """Return where a reading stops the work: ``under 50.3 or over 893 Ω``; empty without limits."""
    if pd.isna(row["stop_below"]) or pd.isna(row["stop_above"]):
        return ""
    unit = str(row["unit"])
    if _held(row):
        return f"under {quantity(row['stop_below'], unit)}: the source can't hold it"
    return f"under {number_text(row['stop_below'])} or over {quantity(row['stop_above'], unit)}"


def _tells(row: Any) -> bool:
    tells = row["tells"]
    return not pd.isna(tells) and bool(tells) and not pd.isna(row["expected_low"])


def _held(row: Any) -> bool:
    """Whether the source holds a current at its output in every draw."""
    return str(row["unit"]) == "mA" and bool(row["stop_below"] == row["stop_above"])
