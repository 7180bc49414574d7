"""Write docs/data_dictionary.md from the data dictionary."""

from pathlib import Path

from corridor.dictionary import INPUT_TABLES, RESULT_TABLES, Column, Table

__all__ = ["TARGET", "dictionary_text"]

TARGET = Path(__file__).with_name("data_dictionary.md")
_HEAD = """# Data dictionary

Made by docs/make_dictionary.py from corridor/dictionary; edit there. Metres, ohms, hertz; the unit is the last word of
a name. Empty (NULL) is not stated; `unknown` is stated as unknown. `*` marks required columns. Coordinates are in a
projected CRS in metres. For columns marked *src* a companion `<column>_src` says given, mapped, default or inferred
(energized, source, source_date: given in the record's own words, or mapped, a field map's constant).
Columns of the source that nothing maps stay, prefixed `src_`.
"""


def dictionary_text() -> str:
    """Return the whole document."""
    parts = [_HEAD, "\n# Input tables\n", *map(_table, INPUT_TABLES.values())]
    return "\n".join([*parts, "\n# Result tables\n", *map(_table, RESULT_TABLES.values())])


def _table(table: Table) -> str:
    rows = "\n".join(_row(column) for column in table.columns)
    return (
        f"## {table.name}\n\nOne row is {table.row}. Geometry: {table.geometry}.\n\n"
        f"| column | type | unit | values | meaning | term |\n|---|---|---|---|---|---|\n{rows}\n"
    )


def _row(column: Column) -> str:
    name = f"`{column.name}`{' *' if column.required else ''}{' *src*' if column.mapped else ''}"
    cells = (name, column.kind, column.unit, _values(column), column.meaning, column.term)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _values(column: Column) -> str:
    if column.vocabulary:
        return ", ".join(column.vocabulary)
    low, high = column.minimum, column.maximum
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    return f"from {low:g}" if low is not None else ""


if __name__ == "__main__":
    TARGET.write_text(dictionary_text(), encoding="utf-8", newline="\n")
