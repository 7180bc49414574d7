"""The summary: what the reader of a review must know, in at most 25 lines, worst first."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from corridor.frames import CAUTION
from corridor.report.receipt import equipment_note
from corridor.report.text import clipped, joined, percent, range_text

__all__ = ["LINES_MAX", "summary_json", "summary_lines"]

LINES_MAX = 25
_PARTNERS_MAX = 4
_WRONG_MAX = 3
_MISSING_MAX = 3


def summary_lines(review: Any, *, files: Iterable[str] = (), folder: str = "") -> list[str]:
    """Return the summary of a review as at most 25 lines of text, each at most 118 characters.

    Parameters
    ----------
    review : Review
        Its ``summary``, ``settings`` and ``equipment`` are used.
    files : iterable of str
        Names of the files written.
    folder : str
        Where they stand.

    Returns
    -------
    list of str
        In this order: caution; set-ups ready and not ready, with what is missing; records and assumed values; lines
        that tone can't show; lines where a crew would mark the wrong one; strongest bleed partners; what the figures
        rest on; files.
    """
    facts: Mapping[str, Any] = review.summary
    lines = [
        CAUTION,
        *_setups(facts),
        *_records(facts),
        *_untraceable(facts),
        *_wrong_lines(facts),
        *_partners(facts),
        *_basis(review),
    ]
    names = list(files)
    written = [f"Written{' to ' + folder if folder else ''}: {', '.join(names)}"] if names else []
    lines += _notes(facts, room=LINES_MAX - len(lines) - len(written))
    return [clipped(line) for line in [*lines, *written]]


def summary_json(review: Any, receipt: Mapping[str, Any]) -> str:
    """Return the summary as JSON text: the facts of the review, the caution and the receipt."""
    content = {"caution": CAUTION, "summary": review.summary, "receipt": receipt}
    return json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


def _setups(facts: Mapping[str, Any]) -> list[str]:
    lines = [
        f"Set-ups: {facts['ready']} READY, {facts['not_ready']} NOT READY, {facts['refused']} refused (hazard gate)"
    ]
    missing = list(facts["missing"])
    lines += [
        f"  missing: {text} ({count} set-up{'s' if count != 1 else ''})" for text, count in missing[:_MISSING_MAX]
    ]
    return [*lines, *_more(len(missing), _MISSING_MAX, "other reasons: see layer hookups")]


def _records(facts: Mapping[str, Any]) -> list[str]:
    lines = [
        f"Records: {facts['features_in']} in = {facts['used']} used ({facts['repaired']} of them repaired)"
        f" + {facts['set_aside']} set aside"
    ]
    worst = ", ".join(f"{column} {percent(share)}" for column, share in facts["assumed_worst"])
    lines.append(
        f"Assumed: {percent(facts['assumed_share'])} of work-area length rests on filled values"
        + (f"; worst: {worst}" if worst else "")
    )
    return lines


def _untraceable(facts: Mapping[str, Any]) -> list[str]:
    names = list(facts["untraceable"])
    if not names:
        return ["Recorded lines that tone can't show: none among the targets"]
    return [f"Recorded lines that tone can't show; they are still there ({len(names)}): {joined(names)}"]


def _wrong_lines(facts: Mapping[str, Any]) -> list[str]:
    wrong = list(facts["wrong_line"])
    if not wrong:
        return ["Lines where a crew would mark the wrong one: none predicted"]
    lines = [f"Lines where a crew would mark the wrong one ({len(wrong)}):"]
    lines += [f"  {text}" for text in wrong[:_WRONG_MAX]]
    return [*lines, *_more(len(wrong), _WRONG_MAX, "more: see layer strategy")]


def _partners(facts: Mapping[str, Any]) -> list[str]:
    partners = list(facts["partners"])
    if not partners:
        return ["Bleed partners: none above the threshold"]
    lines = ["Strongest bleed partners:"]
    for partner in partners[:_PARTNERS_MAX]:
        current = range_text(partner["current_ma"], partner["low"], partner["high"], unit="mA")
        lines.append(f"  {partner['line_id']}: {current}, by {partner['cause']}")
    return [*lines, *_more(len(partners), _PARTNERS_MAX, "more: see layer bleed_paths")]


def _basis(review: Any) -> list[str]:
    facts, grades = review.summary, review.settings.grades
    frequencies = ", ".join(f"{f:g}" for f in facts["frequencies_hz"])
    return [
        f"Solved: {facts['sections']} sections, cases {', '.join(facts['cases'])}, at {frequencies} Hz",
        f"Reach: {facts['reach']}; soil {facts['soil']}",
        f"Grades: peak within {grades.offset_tolerance_m:g} m, depth within {percent(grades.depth_tolerance_share)},"
        f" receiver floor {grades.floor_nt:g} nT; {equipment_note(review.equipment)}",
    ]


def _notes(facts: Mapping[str, Any], *, room: int) -> list[str]:
    """Return as many notes as there is room for; the last line counts those left out."""
    notes = list(facts["notes"])
    if len(notes) <= room:
        return [f"Note: {note}" for note in notes]
    shown = [f"Note: {note}" for note in notes[: max(room - 1, 0)]]
    return [*shown, f"Notes: {len(notes) - len(shown)} more, see summary.json"][:room]


def _more(count: int, shown: int, text: str) -> list[str]:
    return [f"  and {count - shown} {text}"] if count > shown else []
