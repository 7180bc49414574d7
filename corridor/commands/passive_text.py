"""How passive tone reads: both cautions first, then the lines heard, and those that are silent and still there."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from corridor.commands.talk import missing_lines, table_lines
from corridor.commands.trace_text import line_table
from corridor.frames import CAUTION
from corridor.plan.passive import INDICATIVE
from corridor.report.text import wrapped
from corridor.site import Site

__all__ = ["passive_lines"]

_LINES_SHOWN = 20
_SILENT_SHOWN = 12
_WHAT = {"mains": "mains current", "radio": "a radio wave"}
_TABLE_NOTE = (
    "Currents: where each line carries most, in the nominal case and over all cases solved. Heard: share of its "
    "stations with a field above the floor; its own peak: where the receiver would follow this line and no other (both "
    "in the nominal case). A line heard is not shown to be energized, and a silent one not to be dead."
)


def passive_lines(trace: Any, site: Site, *, verbose: bool = False) -> list[str]:
    """Return what the terminal shows of passive tone.

    Parameters
    ----------
    trace : PassiveTrace
        What `corridor.trace_passive` returns.
    site : Site
        Its findings say what the records miss.
    verbose : bool
        All lines, not only the strongest.

    Returns
    -------
    list of str
        Lines without control characters of their own; `say` cleans those of the data.
    """
    shares = dict(_shares(trace.stations))
    heard = [(*row[:4], *shares[row[0]], row[-1]) for row in line_table(trace.sections) if row[0] in shares]
    shown = heard if verbose else heard[:_LINES_SHOWN]
    head = ("line", "strongest mA", "low", "high", "heard", "its own peak", "")
    return [
        CAUTION,
        *wrapped(INDICATIVE),
        f"Passive tone (indicative): {_WHAT[trace.kind]}, {trace.frequency_hz:g} Hz",
        "",
        *wrapped(_TABLE_NOTE),
        *(table_lines(head, shown) or ["no line carries enough to be heard"]),
        *([f"and {len(heard) - len(shown)} more lines with less (--verbose)"] if len(shown) < len(heard) else []),
        "",
        *_silent_lines(trace.silent, verbose=verbose),
        *missing_lines(site),
        *(line for note in trace.notes for line in wrapped(f"Note: {note}")),
    ]


def _shares(stations: pd.DataFrame) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield for each line the share of its stations that hear anything, and that follow its own peak."""
    for line_id, part in stations.groupby("line_id"):
        own = part["grade"].isin(["readable", "pulled"])
        yield str(line_id), (f"{(part['above_floor_db'] >= 0).mean():.0%}", f"{own.mean():.0%}")


def _silent_lines(silent: tuple[str, ...], *, verbose: bool) -> list[str]:
    """Say which recorded lines wouldn't be heard anywhere."""
    if not silent:
        return []
    named = silent if verbose else silent[:_SILENT_SHOWN]
    more = "" if len(named) == len(silent) else f" and {len(silent) - len(named)} more (--verbose)"
    return wrapped(f"Silent, but still there: {', '.join(named)}{more}")
