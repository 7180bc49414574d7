"""The summary: what the reader of a review must know, in at most 25 lines, worst first."""

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from corridor.frames import CAUTION
from corridor.report.receipt import equipment_note
from corridor.report.text import LINE_MAX, clipped, joined, percent, range_text, wrapped

__all__ = ["LINES_MAX", "summary_json", "summary_lines"]

LINES_MAX = 25
_PARTNERS_MAX = 4
_WRONG_MAX = 3
_MISSING_MAX = 3
_NOTES_MAX = 6
_ROOM = ((3, 2), (2, 2), (1, 1))  # lines that an item may take, and items a list must keep, while there is room
_NAME_MAX = 60
_INDENT = "  "
_MIX = re.compile(r" \d+[ab]$")  # which of the mixes of cut ends a case is


@dataclass
class _Block:
    """A part of the summary: a sentence, then a list of which ``shown`` items stand here and the rest is counted."""

    head: str
    items: Sequence[str] = ()
    shown: int = 0
    more: str = ""

    def lines(self, item_lines: int) -> list[str]:
        said = wrapped(self.head, lines_max=max(item_lines, 2)) if self.head else []
        indent = _INDENT if self.head else ""
        for item in self.items[: self.shown]:
            said += wrapped(item, indent=indent, lines_max=item_lines)
        rest = len(self.items) - self.shown
        return [*said, f"{indent}and {rest} {self.more}"] if rest else said


def summary_lines(review: Any, *, files: Iterable[str] = (), folder: str = "") -> list[str]:
    """Return the summary of a review as at most 25 lines of text, each at most 118 characters.

    Long sentences go on in the next line, further in. Where there is too much to tell, lists are cut, never the count
    of what was left out.

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
        In this order: caution; what the plan comes to; set-ups ready and not ready, with what is missing; records and
        assumed values; lines that tone can't show; lines where a crew would mark the wrong one; strongest bleed
        partners; what the figures rest on; notes; files.
    """
    facts: Mapping[str, Any] = review.summary
    setups, wrong, partners, notes = _setups(facts), _wrong_lines(facts), _partners(facts), _notes(facts)
    middle = [*_records(facts), _untraceable(facts)]
    names = list(files)
    written = [_Block(f"Written{' to ' + folder if folder else ''}: {', '.join(names)}")] if names else []
    blocks = [
        _Block(CAUTION), *_plan(facts), setups, *middle, wrong, partners, *_basis(review), notes, *written,
    ]  # fmt: skip
    return _fitted(blocks, lists=(partners, wrong, setups, notes))


def _fitted(blocks: Sequence[_Block], *, lists: Sequence[_Block]) -> list[str]:
    """Shorten the longest list, and at last its items, until all blocks fit; of equal ones the first."""
    lines: list[str] = []
    for item_lines, kept in _ROOM:
        while True:
            lines = [line for block in blocks for line in block.lines(item_lines)]
            if len(lines) <= LINES_MAX:
                return lines
            longer = [block for block in lists if block.shown > kept]
            if not longer:
                break
            max(longer, key=lambda block: block.shown).shown -= 1
    return lines


def summary_json(review: Any, receipt: Mapping[str, Any]) -> str:
    """Return the summary as JSON text: the facts of the review, the caution and the receipt."""
    content = {"caution": CAUTION, "summary": review.summary, "receipt": receipt}
    return json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


def _plan(facts: Mapping[str, Any]) -> list[_Block]:
    """Return what the plan comes to, and what to verify before it is used."""
    plan = facts.get("plan")
    if not plan:
        return []
    basis = "draws" if plan["drawn"] else "cases"
    share = percent(plan["readable_m"] / plan["targets_m"]) if plan["targets_m"] else "0 %"
    exact = "proven fewest" if plan["proven"] else "best found in the time given"
    head = (
        f"Plan: {plan['setups']} set-ups at {plan['hookups']} hook-ups ({exact}), {plan['walk_m']:.0f} m to walk, show"
        f" {plan['readable_m']:.0f} of {plan['targets_m']:.0f} m readable ({share}), mean of {plan['draws']} {basis}"
    )
    items = [f"verify first: {name} (gains {gain:g} m)" for name, gain in plan["verify_first"]]
    return [_Block(head, items, min(len(items), 1), more="more: see layer verify_first")]


def _setups(facts: Mapping[str, Any]) -> _Block:
    head = f"Set-ups: {facts['ready']} READY, {facts['not_ready']} NOT READY, {facts['refused']} refused (hazard gate)"
    waiting: Counter[str] = Counter()  # one condition may keep several set-ups waiting, and one set-up wait for several
    for text, count in facts["missing"]:
        for condition in dict.fromkeys(str(text).split("; ")):
            waiting[condition] += int(count)
    items = [
        f"missing: {text} ({count} set-up{'s' if count != 1 else ''})"
        for text, count in sorted(waiting.items(), key=lambda row: (-row[1], row[0]))
    ]
    return _Block(head, items, min(len(items), _MISSING_MAX), more="more conditions: see layer hookups")


def _records(facts: Mapping[str, Any]) -> list[_Block]:
    worst = joined(
        (f"{column} {percent(share)}" for column, share in facts["assumed_worst"]),
        limit=LINE_MAX, separator=", ", see="layer strategy",
    )  # fmt: skip
    return [
        _Block(
            f"Records: {facts['features_in']} in = {facts['used']} used ({facts['repaired']} of them repaired)"
            f" + {facts['set_aside']} set aside"
        ),
        _Block(
            f"Assumed: {percent(facts['assumed_share'])} of work-area length rests on filled values"
            + (f"; worst: {worst}" if worst else "")
        ),
    ]


def _untraceable(facts: Mapping[str, Any]) -> _Block:
    names = [clipped(name, limit=_NAME_MAX) for name in facts["untraceable"]]
    if not names:
        return _Block("Recorded lines that tone can't show: none among the targets")
    listed = joined(names, limit=LINE_MAX, see="layer strategy")
    return _Block(f"Recorded lines that tone can't show; they are still there ({len(names)}): {listed}")


def _wrong_lines(facts: Mapping[str, Any]) -> _Block:
    wrong = list(facts["wrong_line"])
    if not wrong:
        return _Block(f"Lines where a crew would mark the wrong one: {_none(facts, 'none predicted')}")
    head = f"Lines where a crew would mark the wrong one ({len(wrong)}):"
    return _Block(head, wrong, min(len(wrong), _WRONG_MAX), more="more: see layer strategy")


def _partners(facts: Mapping[str, Any]) -> _Block:
    items = [_partner(partner) for partner in facts["partners"]]
    if not items:
        return _Block(f"Bleed partners: {_none(facts, 'none above the threshold')}")
    shown = min(len(items), _PARTNERS_MAX)
    return _Block("Strongest bleed partners:", items, shown, more="more: see layer bleed_paths")


def _none(facts: Mapping[str, Any], words: str) -> str:
    """Return the words for an empty list; where nothing was solved, an empty list says nothing."""
    return words if facts["sections"] else "not predicted"


def _partner(partner: Mapping[str, Any]) -> str:
    current = range_text(partner["current_ma"], partner["low"], partner["high"], unit="mA")
    hookup, frequency = partner.get("hookup_id"), partner.get("frequency_hz")
    under = f" under {hookup}" if hookup else ""
    at = f" at {frequency:g} Hz" if frequency else ""
    return f"{partner['line_id']}: {current}{under}{at}, by {partner['cause']}"


def _basis(review: Any) -> list[_Block]:
    facts, grades = review.summary, review.settings.grades
    cases = dict.fromkeys(_MIX.sub("", name) for name in facts["cases"])
    frequencies = ", ".join(f"{f:g}" for f in facts["frequencies_hz"])
    solved = [
        _Block(f"Solved: {facts['sections']} sections, cases {', '.join(cases)}, at {frequencies} Hz"),
        _Block(f"Reach: {facts['reach']}; soil {facts['soil']}"),
    ]
    return [
        *(solved if facts["sections"] else [_Block("Nothing solved: no hook-up is ready")]),
        _Block(
            f"Grades: peak within {grades.offset_tolerance_m:g} m, depth within"
            f" {percent(grades.depth_tolerance_share)}, receiver floor {grades.floor_nt:g} nT;"
            f" {equipment_note(review.equipment)}"
        ),
    ]


def _notes(facts: Mapping[str, Any]) -> _Block:
    items = [f"Note: {note}" for note in facts["notes"]]
    return _Block("", items, min(len(items), _NOTES_MAX), more="more notes: see summary.json")
