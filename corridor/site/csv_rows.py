"""Small files that people keep beside the records, as CSV: read whole, or refused in one sentence."""

import csv
from collections.abc import Sequence
from pathlib import Path

from corridor.errors import InputError
from corridor.site.csv_cells import own_cell

__all__ = ["csv_rows"]


def csv_rows(file: Path, columns: Sequence[str], *, what: str) -> list[dict[str, str | None]]:
    """Read a CSV in UTF-8 whose first row names its columns, in any case and order.

    An apostrophe that keeps a spreadsheet from calculating a cell is taken off.

    Parameters
    ----------
    file : Path
        The file.
    columns : sequence of str
        Columns that must be there.
    what : str
        What the file holds, for the message.

    Returns
    -------
    list of dict
        Cells by column, None where a row is short.

    Raises
    ------
    InputError
        If it can't be read or a column is missing.
    """
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream)
            head = [name.strip().casefold() for name in reader.fieldnames or []]
            reader.fieldnames = head
            rows = [{name: own_cell(cell) if isinstance(cell, str) else cell for name, cell in row.items()}
                    for row in reader]  # fmt: skip
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        why = "does not exist" if isinstance(error, FileNotFoundError) else "can't be read as CSV in UTF-8"
        message = f"expected a readable file of {what}, {file} {why}; check the name and how it was saved"
        raise InputError(message) from None
    if lost := [name for name in columns if name not in head]:
        message = f"expected the columns {', '.join(columns)} in {file}, {lost[0]!r} is missing; add it to row 1"
        raise InputError(message)
    return rows
