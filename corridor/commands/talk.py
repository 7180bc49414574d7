"""What the commands say: lines, tables and progress; never a control character from the data."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from corridor.report.text import current_text, plain

__all__ = ["Progress", "progress", "say", "table_lines"]

Progress = Callable[[str, int, int], None]
_CELL_MAX = 44
_LAST_MAX = 120  # the last column holds sentences


def say(lines: str | Iterable[str], *, quiet: bool = False) -> None:
    """Write lines to stdout, without control characters; nothing if quiet."""
    if quiet:
        return
    for line in [lines] if isinstance(lines, str) else lines:
        click.echo(plain(line))


def table_lines(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> list[str]:
    """Return a table as lines: numbers to the right, text to the left; cells are clipped, the last column's least."""
    last = len(head) - 1
    body = [[_cell(value, limit=_LAST_MAX if i == last else _CELL_MAX) for i, value in enumerate(row)] for row in rows]
    if not body:
        return []
    numeric = [all(_is_number(row[i]) for row in body) for i in range(len(head))]
    widths = [max(len(row[i]) for row in [list(head), *body]) for i in range(len(head))]
    lines = []
    for row in [list(head), *body]:
        cells = [c.rjust(w) if n else c.ljust(w) for c, w, n in zip(row, widths, numeric, strict=True)]
        lines.append("  ".join(cells).rstrip())
    return lines


@contextmanager
def progress(how: str, *, quiet: bool) -> Iterator[Progress | None]:
    """Yield a function of (step, done, total) that shows progress, or None where nothing shall be shown."""
    if how == "json":
        yield _json_line
    elif how == "auto" and not quiet and sys.stderr.isatty():
        from rich.console import Console  # noqa: PLC0415 - only a terminal needs it
        from rich.progress import Progress as Bars  # noqa: PLC0415

        with Bars(console=Console(stderr=True), transient=True) as bars:
            tasks: dict[str, Any] = {}

            def show(step: str, done: int, total: int) -> None:
                if step not in tasks:
                    tasks[step] = bars.add_task(plain(step), total=total)
                bars.update(tasks[step], completed=done, total=total)

            yield show
    else:
        yield None


def _json_line(step: str, done: int, total: int) -> None:
    click.echo(json.dumps({"step": step, "done": done, "total": total}), err=True)


def _cell(value: Any, *, limit: int) -> str:
    if value is None or str(value) in ("nan", "<NA>", "NaT"):
        return ""
    text = current_text(value) if isinstance(value, float) else plain(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"


def _is_number(text: str) -> bool:
    try:
        float(text or "0")
    except ValueError:
        return False
    return True
