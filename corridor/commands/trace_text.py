"""How a trace reads: caution first, then the hook-up, the lines, and the way the tone took."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd

from corridor.commands.talk import missing_lines, table_lines
from corridor.dictionary import GRADES, MODES
from corridor.frames import CAUTION
from corridor.report.receipt import equipment_note
from corridor.report.text import current_text, range_text, share_text, wrapped
from corridor.settings import Equipment
from corridor.site import Site

__all__ = ["hookup_lines", "line_table", "path_lines", "trace_lines"]

_READY = {"ready": "READY", "not_ready": "NOT READY", "refused": "REFUSED"}
_JUNCTION = re.compile(r"junction:(?P<a>.+)@(?P<at_a>[\d.]+):(?P<b>.+)@(?P<at_b>[\d.]+)")
_LINES_SHOWN = 20
_HOOKUPS_SHOWN = 200  # of a line and a mode: 8 km of places for a loop
_PATHS_SHOWN = 12
_TABLE_NOTE = (
    "Currents: where each line carries most. Grades: the worst anywhere along it (in the nominal case, and over all "
    "cases solved), not those of that place."
)


def hookup_lines(hookups: pd.DataFrame, equipment: Equipment, *, verbose: bool = False) -> list[str]:
    """Return the list of hook-ups with their readiness, in the order of the table.

    Parameters
    ----------
    hookups : DataFrame
        Table ``hookups``.
    equipment : Equipment
        Whose output readiness rests on.
    verbose : bool
        All of them; else of a line that has very many of a mode only the first ones, and how many more.
    """
    of_line = hookups.groupby(["line_id", "mode"], sort=False, dropna=False)
    shown = hookups if verbose else hookups[(of_line.cumcount() < _HOOKUPS_SHOWN).to_numpy()]
    rows = [
        (row.hookup_id, _READY.get(row.ready, row.ready), row.missing or "") for row in shown.itertuples(index=False)
    ]
    counts = of_line.size() if len(shown) < len(hookups) else pd.Series(dtype=int)
    more = [
        f"{line_id}, {mode}: {count - _HOOKUPS_SHOWN} more along it; --verbose lists all, --work-area those near it"
        for (line_id, mode), count in counts[counts > _HOOKUPS_SHOWN].items()
    ]
    return [
        CAUTION,
        _equipment(equipment),
        *(table_lines(("hookup_id", "readiness", "what is missing, or why not"), rows) or ["no hook-ups"]),
        *more,
    ]


def trace_lines(trace: Any, site: Site, equipment: Equipment, *, verbose: bool = False) -> list[str]:
    """Return what the terminal shows of a trace.

    Parameters
    ----------
    trace : ToneTrace
        What `corridor.trace_tone` returns.
    site : Site
        Its findings say what the records miss.
    equipment : Equipment
        Whose output the figures rest on.
    verbose : bool
        All lines and paths, not only the strongest.

    Returns
    -------
    list of str
        Lines without control characters of their own; `say` cleans those of the data.
    """
    hookup = trace.hookup
    output = [f"{current_text(trace.current_ma)} mA on the target"]
    if not pd.isna(trace.loop_ohm):  # an induction loop touches nothing: it has no circuit to speak of
        output += [f"{current_text(trace.voltage_v)} V", f"{current_text(trace.loop_ohm)} ohm"]
    limit = "" if trace.limited_by == "level" else f"; the {trace.limited_by} limit sets it"
    ready = _READY.get(hookup["ready"], hookup["ready"])
    missing = f": {hookup['missing']}" if hookup.get("missing") else ""
    table = line_table(trace.sections)
    shown = table if verbose else table[:_LINES_SHOWN]
    base = "output" if hookup.get("mode") == "direct" else "target's current"
    head = ("line", "strongest mA", "low", "high", f"of the {base}", "grade, nominal", "grade, all cases", "")
    return [
        CAUTION,
        f"Hook-up {hookup['hookup_id']}: {ready}{missing}",
        f"Output: {', '.join(output)}{limit}",
        _equipment(equipment),
        "",
        *wrapped(_TABLE_NOTE),
        *table_lines(head, shown),
        *([f"and {len(table) - len(shown)} more lines with less (--verbose)"] if len(shown) < len(table) else []),
        "",
        *path_lines(trace.bleed_paths, shown=None if verbose else _PATHS_SHOWN),
        *missing_lines(site),
        *(line for note in trace.notes for line in wrapped(f"Note: {note}")),
    ]


def line_table(sections: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Return a row per line at its strongest section, strongest line first.

    The grades are the worst along the line; the last cell says whether values were assumed.
    """
    rows = []
    order = {grade: rank for rank, grade in enumerate(GRADES)}
    for line_id, part in sections.groupby("line_id", sort=True):
        peak = part.loc[part["current_ma"].idxmax()] if part["current_ma"].notna().any() else part.iloc[0]
        worst = [max(part[c].dropna(), key=lambda g: order.get(g, -1), default="") for c in ("grade", "grade_worst")]
        unsettled = "" if part["settled"].dropna().all() else "unsettled "  # untraceable has no cases to differ
        assumed = "(assumed)" if part["assumed"].fillna(False).any() else ""
        share = "" if pd.isna(peak["share_of_output"]) else share_text(peak["share_of_output"])
        currents = [float(peak[c]) for c in ("current_ma", "current_low_ma", "current_high_ma")]
        rows.append((str(line_id), *currents, share, *worst, (unsettled + assumed).strip()))
    return sorted(rows, key=lambda row: (-row[1] if row[1] == row[1] else float("inf"), row[0]))


def path_lines(paths: pd.DataFrame, *, shown: int | None = None) -> list[str]:
    """Return the bleed paths, hop by hop, the strongest line first."""
    if paths.empty:
        return ["Bleed paths: no line carries more than the threshold"]
    groups = list(_ordered_paths(paths))
    lines = ["Bleed paths:"]
    for path in groups[:shown]:
        last = path.iloc[-1]
        current = range_text(
            last["line_current_ma"], last["line_current_low_ma"], last["line_current_high_ma"], unit="mA"
        )
        share = "" if pd.isna(last["share_of_line"]) else f", {last['share_of_line']:+.0%} of it this way"
        lines.append(f"  {last['line_id']}: {current}{share}")
        lines += [line for _, hop in path.iterrows() for line in wrapped(_hop(hop), indent="    ", hanging="   ")]
    if shown is not None and len(groups) > shown:
        lines.append(f"  and {len(groups) - shown} more paths (--verbose)")
    return lines


def _ordered_paths(paths: pd.DataFrame) -> Iterator[pd.DataFrame]:
    strongest = paths.groupby("path_id")["line_current_ma"].max().fillna(0.0)
    order = sorted(strongest.index, key=lambda name: (-strongest[name], str(name)))
    by_path = dict(iter(paths.groupby("path_id")))
    return (by_path[name].sort_values("hop") for name in order)


def _hop(hop: pd.Series) -> str:
    if not _stated(hop["kind"]):
        return f"the rest in {hop['through']}" if _stated(hop["through"]) else "the rest in small parts"
    way = _WAYS.get(hop["kind"], _other_way)(
        hop["from_line"] if _stated(hop["from_line"]) else "",
        hop["to_line"],
        hop["through"] if _stated(hop["through"]) else "",
        hop["evidence"] if _stated(hop["evidence"]) else "",
    )
    return (
        f"{hop['hop']}. {way}: {current_text(hop['current_in_ma'])} mA in, {current_text(hop['current_out_ma'])} mA out"
    )


def _applied(_from: str, to: str, through: str, _evidence: str) -> str:
    if through and through not in MODES:  # what the stake's own current induces
        return f"from the {through} across the soil to {to}"
    return f"tone applied to {to}{f' ({through})' if through else ''}"


def _joined(from_line: str, to: str, through: str, _evidence: str) -> str:
    where = _JUNCTION.fullmatch(through)
    if where is None:
        return f"along {from_line} to {to} where they join"
    metres = {where["a"]: float(where["at_a"]), where["b"]: float(where["at_b"])}
    places = " / ".join(f"{metres[line]:.1f} m" for line in (from_line, to) if line in metres)
    return f"along {from_line} to {to} where they join ({places})"


def _bonded(from_line: str, to: str, through: str, evidence: str) -> str:
    return f"over bond {through}{f' ({evidence})' if evidence else ''} from {from_line} to {to}"


def _beside(from_line: str, to: str, through: str, _evidence: str) -> str:
    return f"from {from_line} to {to}, which runs beside it ({through or 'farther apart than a parallel run counts'})"


def _leaked(from_line: str, to: str, through: str, _evidence: str) -> str:
    at = f" at {through}" if from_line and through else ""
    return f"through the soil from {from_line or 'the ' + (through or 'transmitter')} to {to}{at}"


def _crossed(from_line: str, to: str, through: str, _evidence: str) -> str:
    return f"from {from_line} to {to} where they cross ({through})"


def _other_way(from_line: str, to: str, through: str, _evidence: str) -> str:
    return f"from {from_line or 'the transmitter'} to {to}{f' ({through})' if through else ''}"


_Way = Callable[[str, str, str, str], str]
_WAYS: dict[str, _Way] = {  # by the words of the column kind
    "hook-up": _applied, "conduction": _joined, "bond": _bonded, "parallel run": _beside, "leakage": _leaked,
    "crossing": _crossed,
}  # fmt: skip


def _stated(value: Any) -> bool:
    return isinstance(value, str) and value != ""


def _equipment(equipment: Equipment) -> str:
    return f"Equipment: {equipment_note(equipment)}"
