"""The front pages: the rules, who opens or permits what, what tone can't show, the sweeps, what to verify first."""

from collections.abc import Iterable
from typing import Any

import pandas as pd

from corridor.frames import CAUTION
from corridor.plan.wording import OTHER_METHODS
from corridor.report.receipt import equipment_note
from corridor.report.sheet.pages import SetUpPages
from corridor.report.sheet.standing import Standing
from corridor.report.sheet.words import frequency_text, given, quantity, setup_number, short, spoken

__all__ = ["front_data", "setup_rows"]

VERIFY_MAX = 12
ASK_MAX = 60
PLACES_MAX = 14
OWNERS_MAX = 4
BLIND_MAX = 80
_RULES = (
    "One-call first: wait for every owner's answer. This sheet replaces none.",
    "Local codes, owners' rules and licensed practice come before this sheet. READY is no permission.",
    "Only qualified persons touch energized conductors, gas meters and gas plant, or open traffic signal cabinets.",
    "Lines under cathodic protection, test stations, anode beds, rectifiers: only the owner's specialist.",
    "Never open a bond, lift a ground or ground a far end: only the owner does.",
    "In the carriageway: traffic management first. Test chambers for gas before they are opened.",
    "Mark only what you have read, never what is drawn here. No mark from one peak where the sheet says so.",
    "Dig by hand or with vacuum in the tolerance zone; its width is set by local law.",
    "STOP limit passed: disconnect nothing in haste, switch the transmitter off, find out why, tell the planner.",
)
_SWEEP_FIRST = "Sweep the whole work area for lines that no record shows before the first set-up."
_SWEEP_LAST = "Sweep the whole work area once more after the last set-up."
_SILENCE = "A sweep finds only what carries tone: silence doesn't mean free ground."


def front_data(review: Any, pages: SetUpPages) -> dict[str, Any]:
    """Return what the front pages say, as plain data.

    Parameters
    ----------
    review : Review
        Of a review or a plan; only a plan has ``verify_first``.
    pages : SetUpPages
        Words for its places and names.
    """
    setups = review.setups[review.setups["kind"].eq("setup")]
    ready = int(setups["ready"].eq("ready").sum())
    summary = review.summary
    return {
        "caution": CAUTION,
        "counts": _counts(ready, len(setups)),
        "equipment": equipment_note(review.equipment),
        "generic": bool(review.equipment is not None and review.equipment.generic),
        "soil": given(summary.get("soil")),
        "rules": list(_RULES),
        "sweeps": _sweeps(review.setups),
        "verify": _verify(getattr(review, "verify_first", None), pages),
        **_asked(review.hookups, pages),
        "traffic": _traffic(setups),
        **_blind(review.strategy, pages.places),
        "frequencies": ", ".join(frequency_text(f) for f in sorted(setups["frequency_hz"].dropna().unique())),
    }


def _counts(ready: int, total: int) -> str:
    waiting = total - ready
    return f"{total} set-ups: {ready} READY" + (f", {waiting} NOT READY" if waiting else "")


def setup_rows(setups: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of the list in walking order: sweeps and set-ups."""
    rows = []
    for row in setups.sort_values(["crew", "step"], kind="stable").to_dict("records"):
        number = setup_number(row["setup_id"])
        sweep = given(row["kind"]) == "sweep"
        rows.append(
            {
                "id": given(row["setup_id"]),
                "number": str(number) if number is not None else "",
                "sweep": sweep,
                "crew": "" if pd.isna(row["crew"]) else str(int(row["crew"])),
                "place": "whole work area" if sweep else given(row["structure_id"]) or "surface",
                "line": given(row["line_id"]),
                "mode": "sweep" if sweep else given(row["mode"]),
                "frequency": frequency_text(row["frequency_hz"]),
                "output": "" if pd.isna(row["level_ma"]) else quantity(row["level_ma"], "mA"),
                "trace": short(", ".join(given(row["covers"]).split()), 46),
                "walk": "" if pd.isna(row["walk_m"]) else f"{row['walk_m']:.0f} m",
                "state": "" if sweep else ("READY" if given(row["ready"]) == "ready" else "NOT READY"),
            }
        )
    return rows


def _sweeps(setups: pd.DataFrame) -> list[str]:
    rows = setups[setups["kind"].eq("sweep")]
    said = {given(row["setup_id"]): _sentence(row["note"]) for row in rows.to_dict("records")}
    first = said.get("sweep-first") or _SWEEP_FIRST
    last = said.get("sweep-last") or _SWEEP_LAST
    return [f"Before the first set-up: {_lower(first)}", f"After the last set-up: {_lower(last)}", _SILENCE]


def _sentence(text: Any) -> str:
    line = given(text).rstrip(".")
    return line[:1].upper() + line[1:] + "." if line else ""


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _verify(rows: Any, pages: SetUpPages) -> dict[str, Any]:
    """Return what to verify first; only rows that stand out from chance have an order."""
    if rows is None:
        return {"rows": [], "more": 0, "note": "A review has no such list: `corridor plan` makes one.".replace("`", "")}
    out = rows[rows["stands_out"].fillna(False).astype(bool)].sort_values("rank", kind="stable")
    listed = [
        {
            "rank": str(int(row["rank"])),
            "what": short(pages.names.worded(row["where_to_look"]), 230),
            "gain": quantity(row["gain_m"], "m"),
        }
        for row in out.head(VERIFY_MAX).to_dict("records")
    ]
    note = "" if listed else "Nothing stands out from chance."
    return {"rows": listed, "more": max(len(out) - VERIFY_MAX, 0), "note": note}


def _asked(hookups: pd.DataFrame, pages: SetUpPages) -> dict[str, Any]:
    """Return by what is missing: where, whose, which lines wait for it; what only an owner may change is left out."""
    waiting = hookups[hookups["ready"].eq("not_ready")]
    if "owner_change" in waiting:
        waiting = waiting[waiting["owner_change"].isna()]
    grouped: dict[str, dict[str, set[str]]] = {}
    for row in waiting.to_dict("records"):
        place = given(row["structure_id"])
        for condition in dict.fromkeys(given(row["missing"]).split("; ")):
            what = _general(pages.names.worded(condition), place) or "not stated"
            entry = grouped.setdefault(what, {"places": set(), "lines": set(), "owners": set()})
            entry["places"].add(place or "surface")
            entry["lines"].add(given(row["line_id"]))
            entry["owners"] |= _owners(row, pages.places)
    rows = [
        {
            "what": short(what[:1].upper() + what[1:], 240),
            "where": _joined(entry["places"], PLACES_MAX),
            "who": _joined(entry["owners"], OWNERS_MAX) or "not recorded: ask",
            "lines": _joined(entry["lines"], PLACES_MAX),
        }
        for what, entry in sorted(grouped.items(), key=lambda item: (-len(item[1]["lines"]), item[0]))
    ]
    return {"asked": rows[:ASK_MAX], "asked_more": max(len(rows) - ASK_MAX, 0)}


def _general(condition: str, place: str) -> str:
    """Return a condition without the name of its place, so that places with the same one share a row."""
    if not place:
        return condition
    for text in (f" at {place}", f": {place} is", f" {place}"):
        if condition.endswith(text) or f"{text} " in f"{condition} ":
            condition = condition.replace(text, ": is" if text.endswith(" is") else "", 1)
            break
    return condition.replace(": is ", ": ")


def _owners(row: Any, places: Standing) -> set[str]:
    structure, line = places.structure(row["structure_id"]), places.line(row["line_id"])
    own = given(structure.get("owner")) if structure is not None else ""
    return {name for name in (own or (given(line["owner"]) if line is not None else ""),) if name}


def _traffic(setups: pd.DataFrame) -> str:
    """Return the set-ups that need traffic management, by number."""
    rows = setups[setups["caution"].fillna("").str.contains("traffic management")]
    return ", ".join(given(name) for name in rows["setup_id"])


def _blind(strategy: pd.DataFrame, places: Standing) -> dict[str, Any]:
    """Return the recorded lines, or parts, that no set-up shows, with why and which other method."""
    rows = strategy[strategy["setup_id"].isna()]
    grouped: dict[tuple[str, str], list[str]] = {}
    for line_id, own in rows.groupby("line_id", sort=True):
        untraceable = own[own["grade"].eq("untraceable")]
        line = places.line(line_id)
        utility = spoken(line["utility"]) if line is not None else ""
        cause, method = _split_method(given((untraceable if len(untraceable) else own).iloc[0]["reason"]))
        if not len(untraceable):
            grades = " or ".join(sorted({given(g) for g in own["grade"]}))
            cause = f"tone is {grades} there in every ready set-up: not worth a set-up of its own"
        text = f"{given(line_id)} {utility or 'unknown'} ({_ranges(own)} m)"
        grouped.setdefault((cause, method), []).append(text)
    listed = [
        {"lines": ", ".join(names), "why": short(cause, 190), "method": short(method, 130), "count": len(names)}
        for (cause, method), names in sorted(grouped.items(), key=lambda item: (-len(item[1]), item[0]))
    ]
    return {"blind": listed[:BLIND_MAX], "blind_more": max(len(listed) - BLIND_MAX, 0)}


def _split_method(why: str) -> tuple[str, str]:
    cause, found, method = why.partition("; use ")
    return (cause, method) if found else (why, OTHER_METHODS)


def _ranges(rows: pd.DataFrame) -> str:
    parts = [f"{row['from_m']:.0f}–{row['to_m']:.0f}" for row in rows.sort_values("from_m").to_dict("records")]
    return _joined_parts(parts, 4)


def _joined(names: Iterable[str], most: int) -> str:
    return _joined_parts(sorted(name for name in names if name), most)


def _joined_parts(parts: list[str], most: int) -> str:
    rest = len(parts) - most
    return ", ".join(parts[:most]) + (f" and {rest} more" if rest > 0 else "")
