"""How a trace reads: caution first, then the hook-up, the lines, and the way the tone took."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from corridor.commands.talk import table_lines
from corridor.dictionary import GRADES
from corridor.frames import CAUTION
from corridor.report.text import current_text, percent, range_text
from corridor.site import Site
from corridor.site.missing import MISSING_CODES

__all__ = ["hookup_lines", "line_table", "path_lines", "trace_lines"]

_READY = {"ready": "READY", "not_ready": "NOT READY", "refused": "REFUSED"}
_LINES_SHOWN = 20
_PATHS_SHOWN = 12


def hookup_lines(hookups: pd.DataFrame) -> list[str]:
    """Return the list of hook-ups with their readiness, one a line."""
    rows = [
        (row.hookup_id, _READY.get(row.ready, row.ready), row.missing or "") for row in hookups.itertuples(index=False)
    ]
    return [CAUTION, *(table_lines(("hookup_id", "readiness", "what is missing, or why not"), rows) or ["no hook-ups"])]


def trace_lines(trace: Any, site: Site, *, verbose: bool = False) -> list[str]:
    """Return what the terminal shows of a trace.

    Parameters
    ----------
    trace : ToneTrace
        What `corridor.trace_tone` returns.
    site : Site
        Its findings say what the records miss.
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
    head = ("line", "current mA", "low", "high", "of output", "grade", "worst", "")
    return [
        CAUTION,
        f"Hook-up {hookup['hookup_id']}: {ready}{missing}",
        f"Output: {', '.join(output)}{limit}",
        "",
        *table_lines(head, shown),
        *([f"and {len(table) - len(shown)} more lines with less (--verbose)"] if len(shown) < len(table) else []),
        "",
        *path_lines(trace.bleed_paths, shown=None if verbose else _PATHS_SHOWN),
        *_missing(site),
        *(f"Note: {note}" for note in trace.notes),
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
        unsettled = "" if part["settled"].fillna(False).all() else "unsettled "
        assumed = "(assumed)" if part["assumed"].fillna(False).any() else ""
        share = "" if pd.isna(peak["share_of_output"]) else percent(peak["share_of_output"])
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
        lines += [f"    {_hop(hop)}" for _, hop in path.iterrows()]
    if shown is not None and len(groups) > shown:
        lines.append(f"  and {len(groups) - shown} more paths (--verbose)")
    return lines


def _ordered_paths(paths: pd.DataFrame) -> Iterator[pd.DataFrame]:
    strongest = paths.groupby("path_id")["line_current_ma"].max().fillna(0.0)
    order = sorted(strongest.index, key=lambda name: (-strongest[name], str(name)))
    by_path = dict(iter(paths.groupby("path_id")))
    return (by_path[name].sort_values("hop") for name in order)


def _hop(hop: pd.Series) -> str:
    way = f"{hop['from_line']} to {hop['to_line']}" if _stated(hop["from_line"]) else f"on to {hop['to_line']}"
    through = f" through {hop['through']}" if _stated(hop["through"]) else ""
    evidence = f" ({hop['evidence']})" if _stated(hop["evidence"]) else ""
    currents = f"{current_text(hop['current_in_ma'])} mA in, {current_text(hop['current_out_ma'])} mA out"
    return f"{hop['hop']}. {hop['kind']}: {way}{through}{evidence}, {currents}"


def _stated(value: Any) -> bool:
    return isinstance(value, str) and value != ""


def _missing(site: Site) -> list[str]:
    told = site.findings[site.findings["code"].isin(MISSING_CODES)]
    return [f"Missing: {message}" for message in told["message"]]
