"""Cells of CSV files that people open in a spreadsheet: text stays text, whatever it begins with."""

import re
from typing import Any

__all__ = ["own_cell", "safe_cell"]

# OWASP, "CSV Injection": cells that begin with = + - @, tab, carriage return or line feed; OWASP ASVS 5.0, 1.2.10, adds
# the null character. Full-width forms and blanks before the sign from memory: some spreadsheets read past them.
_FORMULA = re.compile(r"'*(?:[\t\r\n\0]|\s*[=+\-@＝＋－＠])")


def safe_cell(value: Any) -> Any:
    """Return a value as it may stand in a CSV: text that a spreadsheet would calculate gets an apostrophe before it.

    Numbers, and all other text, are returned as they are. ``own_cell`` takes the apostrophe off again.
    """
    return f"'{value}" if isinstance(value, str) and _FORMULA.match(value) else value


def own_cell(text: str) -> str:
    """Return a cell's own text, without the apostrophe that ``safe_cell`` or a spreadsheet put before it."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text
