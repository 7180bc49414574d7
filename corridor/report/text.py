"""Words and numbers as people read them, safe for a terminal."""

import math
import textwrap
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Any

__all__ = [
    "LINE_MAX",
    "clipped",
    "current_text",
    "joined",
    "percent",
    "plain",
    "range_text",
    "share_text",
    "source_names",
    "wrapped",
]

LINE_MAX = 118  # characters of a line that neither a terminal nor a page should break
_MANY = 10.0  # beyond ten times nobody reads percentages
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


def wrapped(
    text: str, *, width: int = LINE_MAX, indent: str = "", hanging: str = "    ", lines_max: int | None = None
) -> list[str]:
    """Return plain text as lines of at most ``width`` characters, broken between words; at least one line.

    Parameters
    ----------
    text : str
        Control characters are taken out.
    width : int
        Longest line, indentation included.
    indent : str
        Before the first line.
    hanging : str
        Before the others, after ``indent``.
    lines_max : int, optional
        More lines end in an ellipsis.
    """
    lines = textwrap.wrap(
        plain(text), width=width, initial_indent=indent, subsequent_indent=indent + hanging, break_on_hyphens=False
    )
    if lines_max is not None and len(lines) > lines_max:
        lines = [*lines[: lines_max - 1], lines[lines_max - 1][: width - 1].rstrip() + "…"]
    return lines or [indent.rstrip()]


def joined(names: Iterable[str], *, limit: int = 70, separator: str = "; ", see: str = "") -> str:
    """Join names up to about ``limit`` characters, and count the rest; ``see`` says where it stands."""
    listed = list(names)
    shown: list[str] = []
    for name in listed:
        if shown and len(separator.join([*shown, name])) > limit:
            break
        shown.append(name)
    rest = len(listed) - len(shown)
    more = f"{separator}and {rest} more" + (f": see {see}" if see else "")
    return separator.join(shown) + (more if rest else "")


def percent(share: float) -> str:
    """Return a share as a whole percentage; a trace of something is never shown as nothing."""
    value = 100.0 * share
    if 0.0 < value < 1.0:
        return "<1 %"
    return f"{value:.0f} %"


def share_text(share: float) -> str:
    """Return a share as a percentage; one above 1000 % as so many times."""
    return percent(share) if share <= _MANY else f"{share:.0f} times"


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


def source_names(site: Any, *, most: int | None = None) -> str:
    """Return the names of the files that a site was read from, as its title; beyond ``most`` they are counted."""
    names = sorted({Path(source.path).stem for source in site.sources})
    more = "" if most is None or len(names) <= most else f" and {len(names) - most} more"
    return ", ".join(names[:most]) + more or "site"
