"""Words and numbers as people read them, safe for a terminal."""

import math
import unicodedata
from collections.abc import Iterable
from typing import Any

__all__ = ["LINE_MAX", "clipped", "current_text", "joined", "percent", "plain", "range_text"]

LINE_MAX = 118  # characters of a line that neither a terminal nor a page should break
_REMOVED = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})  # control, format, surrogate, private use, line separators

_BREAKS = frozenset("\t\n\v\f\r\x85\u2028\u2029")


def plain(value: Any) -> str:
    """Return one line without control or format characters, so that data can't steer a terminal.

    Each becomes ``?``; line breaks and tabs become spaces.
    """
    text = "" if value is None else str(value)
    return "".join(" " if c in _BREAKS else "?" if unicodedata.category(c) in _REMOVED else c for c in text)


def clipped(text: str, *, limit: int = LINE_MAX) -> str:
    """Return one line of plain text; a longer one ends with an ellipsis."""
    line = plain(text)
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def joined(names: Iterable[str], *, limit: int = 70) -> str:
    """Join names with semicolons up to about ``limit`` characters, and count the rest."""
    listed = list(names)
    shown: list[str] = []
    for name in listed:
        if shown and len("; ".join([*shown, name])) > limit:
            break
        shown.append(name)
    rest = len(listed) - len(shown)
    return "; ".join(shown) + (f"; and {rest} more" if rest else "")


def percent(share: float) -> str:
    """Return a share as a whole percentage; a trace of something is never shown as nothing."""
    value = 100.0 * share
    if 0.0 < value < 1.0:
        return "<1 %"
    return f"{value:.0f} %"


def current_text(value: float | None) -> str:
    """Return a number to three digits without an exponent; ``?`` where there is none."""
    if value is None or not math.isfinite(value):
        return "?"
    if value == 0.0:
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(decimals, 4)}f}"


def range_text(value: float | None, low: float | None, high: float | None, *, unit: str) -> str:
    """Return a value with its range and unit, such as ``12.0 mA (8.10 to 15.2)``."""
    return f"{current_text(value)} {unit} ({current_text(low)} to {current_text(high)})"
