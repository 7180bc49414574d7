"""What the commands say: lines, tables and progress; never a control character from the data."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from corridor.report.text import LINE_MAX, clipped, current_text, plain, wrapped
from corridor.site import Site
from corridor.site.missing import MISSING_CODES

__all__ = ["Progress", "missing_lines", "more_line", "progress", "say", "table_lines"]

Progress = Callable[[str, int, int], None]
_CELL_MAX = 80  # above any id, which people copy
_GAP = "  "
_ROOM_MIN = 44  # for the last column, which holds sentences


def say(lines: str | Iterable[str], *, quiet: bool = False) -> None:
    """Write lines to stdout, without control characters; nothing if quiet."""
    if quiet:
        return
    for line in [lines] if isinstance(lines, str) else lines:
        click.echo(plain(line))


def table_lines(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> list[str]:
    """Return a table as lines: numbers to the right, text to the left; the last column goes on in further lines."""
    body = [[_cell(value) for value in row[:-1]] + [_cell(row[-1], limit=None)] for row in rows]
    if not body:
        return []
    numeric = [all(_is_number(row[i]) for row in body) for i in range(len(head))]
    widths = [max(len(row[i]) for row in [list(head), *body]) for i in range(len(head))]
    before = sum(widths[:-1]) + len(_GAP) * (len(head) - 1)
    widths[-1] = max(min(widths[-1], max(LINE_MAX - before, _ROOM_MIN)), 1)
    lines = []
    for row in [list(head), *body]:
        first, *further = wrapped(row[-1], width=widths[-1], hanging="")
        cells = [c.rjust(w) if n else c.ljust(w) for c, w, n in zip([*row[:-1], first], widths, numeric, strict=True)]
        lines.append(_GAP.join(cells).rstrip())
        lines += [" " * before + text for text in further]
    return lines


def more_line(count: int, shown: int | None, what: str) -> list[str]:
    """Return a line that counts what a list leaves out; none where it leaves out nothing."""
    return [f"and {count - shown} more {what} (--verbose, or see the layer)"] if shown and count > shown else []


def missing_lines(site: Site) -> list[str]:
    """Return a line for each kind of data that the records don't have."""
    told = site.findings[site.findings["code"].isin(MISSING_CODES)]
    return [f"Missing: {message}" for message in told["message"]]


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


def _cell(value: Any, *, limit: int | None = _CELL_MAX) -> str:
    if value is None or str(value) in ("nan", "<NA>", "NaT"):
        return ""
    text = current_text(value) if isinstance(value, float) else plain(value)
    return text if limit is None else clipped(text, limit=limit)


def _is_number(text: str) -> bool:
    try:
        float(text or "0")
    except ValueError:
        return False
    return True
