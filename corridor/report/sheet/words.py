"""Quantities and places as a crew reads them: every number with its unit and its range."""

import math
import re
from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd

from corridor.plan.gate import ENERGIZED_UTILITIES
from corridor.report.text import current_text, plain

__all__ = [
    "UNITS",
    "Names",
    "bearing_text",
    "frequency_text",
    "given",
    "named_lines",
    "number_text",
    "octant",
    "quantity",
    "sentences",
    "setup_number",
    "short",
    "span_text",
    "spoken",
]

UNITS = {"mA": "mA", "V": "V", "ohm": "Ω", "m": "m"}
_TIED = "\u00a0"
_OCTANTS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip
_LONG_WORD = re.compile(r"\S{18}(?=\S{6})")
_GONE = ("none", "nan", "nat", "<na>")
_PROTECTED_UTILITIES = ("gas", "oil")


def given(value: Any) -> str:
    """Return a value as one plain line; empty where there is none."""
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return ""
    text = plain(value).strip()
    return "" if text.lower() in _GONE else text


def short(text: Any, limit: int) -> str:
    """Return one plain line of at most ``limit`` characters, cut between words with an ellipsis.

    Words too long for a narrow column may be broken: a zero-width space stands in them.
    """
    line = " ".join(given(text).split(" "))
    if len(line) > limit:
        cut = line[: limit - 1]
        kept = cut.rsplit(" ", 1)[0] if " " in cut[limit // 2 :] else cut
        line = kept.rstrip(" ,;:") + "…"
    return _LONG_WORD.sub(lambda found: found.group() + "\u200b", line)


def spoken(word: Any) -> str:
    """Return a word of a vocabulary as people say it: ``storm_drain`` as ``storm drain``."""
    return given(word).replace("_", " ")


def frequency_text(frequency_hz: Any) -> str:
    """Return a frequency with its unit, thousands set apart: ``50 000 Hz``; empty where there is none."""
    text = given(frequency_hz)
    if not text:
        return ""
    value = float(frequency_hz)
    return f"{value:,.0f}{_TIED}Hz".replace(",", "\u202f") if value == round(value) else f"{value:g}{_TIED}Hz"


def quantity(value: Any, unit: str) -> str:
    """Return a number to three digits with its unit, which stays in its line."""
    return f"{number_text(value)}{_TIED}{UNITS.get(unit, unit)}"


def number_text(value: Any) -> str:
    """Return a number to three digits, a whole one without decimals; ``?`` where there is none."""
    number = math.nan if pd.isna(value) else float(value)
    return f"{number:.0f}" if math.isfinite(number) and number == round(number) else current_text(number)


def span_text(low: Any, high: Any, unit: str) -> str:
    """Return a range with its unit, ``92.5 to 451 Ω``; one number where both ends read the same; empty without any."""
    if pd.isna(low) or pd.isna(high):
        return ""
    ends = [number_text(low), number_text(high)]
    return f"{' to '.join(dict.fromkeys(ends))}{_TIED}{UNITS.get(unit, unit)}"


def octant(bearing_deg: float) -> str:
    """Return the compass side of a bearing, clockwise from grid north: one of eight."""
    return _OCTANTS[round(bearing_deg / 45.0) % 8]


def bearing_text(from_xy: Sequence[float], to_xy: Sequence[float]) -> tuple[float, str]:
    """Return distance in metres and compass side of one point from another."""
    east, north = to_xy[0] - from_xy[0], to_xy[1] - from_xy[1]
    return math.hypot(east, north), octant(math.degrees(math.atan2(east, north)) % 360.0)


class Names:
    """Puts made-up names into words: hook-ups as set-ups of the plan or by mode, line and place; found bonds by lines.

    Parameters
    ----------
    hookups, setups, bonds : DataFrame
        Tables ``hookups``, ``setups`` and ``bonds_found``.
    """

    def __init__(self, hookups: pd.DataFrame, setups: pd.DataFrame, bonds: pd.DataFrame) -> None:
        keys = zip(setups["hookup_id"], setups["frequency_hz"], setups["setup_id"], strict=True)
        self._setups = {(hookup, float(hz)): name for hookup, hz, name in keys if isinstance(hookup, str)}
        self._words: dict[str, str] = {}
        for row in bonds[bonds["bond_id"].astype(str).str.contains("~", regex=False)].to_dict("records"):
            place = given(row["structure_id"])
            pair = f"{given(row['evidence']) or 'found'} bond of {given(row['line_a'])} and {given(row['line_b'])}"
            self._words[str(row["bond_id"])] = pair + (f" at {place}" if place else "")
        for row in hookups.to_dict("records"):
            place = given(row["structure_id"])
            where = f"at {place}" if place else f"{row['at_m']:.0f} m along it"
            self._words[str(row["hookup_id"])] = f"{given(row['mode'])} on {given(row['line_id'])}, {where}"
        listed = "|".join(re.escape(name) for name in sorted(self._words, key=lambda name: (-len(name), name)))
        self._find = re.compile(rf"(?:bond )?({listed})( at (\d+(?:\.\d+)?) Hz)?") if listed else None

    def worded(self, text: Any) -> str:
        """Return a text in which every hookup_id, and the bond_id of every bond that was found, is put into words."""
        line = given(text)
        return self._find.sub(self._words_of, line) if self._find is not None else line

    def _words_of(self, found: re.Match[str]) -> str:
        name, hz = found.group(1), found.group(3)
        setup = self._setups.get((name, float(hz))) if hz else None
        if setup is not None:
            return f"set-up {setup}"
        return self._words[name] + (f", {frequency_text(float(hz))}" if hz else "")


def setup_number(setup_id: Any) -> int | None:
    """Return the number of a set-up, of ``S12`` 12; None for a sweep or another name."""
    digits = given(setup_id).removeprefix("S")
    return int(digits) if digits.isascii() and digits.isdigit() else None


def named_lines(rows: Iterable[Any], *, limit: int = 4) -> str:
    """Return lines with what makes them dangerous, the worst first: ``E-006 (electricity), T-004``.

    Parameters
    ----------
    rows : iterable of mapping
        Rows of ``lines``.
    limit : int
        So many are named; the others are counted.
    """

    def rank(row: Any) -> tuple[int, str]:
        utility = given(row["utility"])
        live = utility in ENERGIZED_UTILITIES or given(row.get("energized")) == "yes"
        return 0 if live else 1 if utility in _PROTECTED_UTILITIES else 2, str(row["line_id"])

    listed = [f"{given(row['line_id'])} ({spoken(row['utility']) or 'unknown'})" for row in sorted(rows, key=rank)]
    rest = len(listed) - limit
    return ", ".join(listed[:limit]) + (f" and {rest} more lines" if rest > 0 else "")


def sentences(text: Any) -> list[str]:
    """Return the sentences of a caution."""
    return [f"{part.rstrip('.')}." for part in given(text).split(". ") if part.strip(" .")]
