"""The hazard gate: decides on records alone whether a hook-up may be made, before any grade is looked at.

The rules stand in one table, in order, to be read by a safety reviewer; docs/safety.md names each of them. What isn't
recorded counts as the more dangerous of its possibilities. Common practice throughout; local codes and licensed
practice come first.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from corridor.settings import GateSettings

__all__ = ["ENERGIZED_UTILITIES", "RULES", "Decision", "Rule", "Status", "Tie", "gate", "hazard", "stated"]

Row = Mapping[str, Any]
Status = Literal["ready", "not_ready", "refused"]

ENERGIZED_UTILITIES = ("electricity", "lighting", "traction", "traffic_signal")
PROTECTION_KINDS = ("test_station", "anode_bed", "rectifier")
CLOSED_ACCESS = ("locked", "indoor", "private")
_NOT_STATED = {"", "unknown", "none", "null", "nan", "n/a", "na", "-", "?", "not stated", "tbd"}


@dataclass(frozen=True)
class Tie:
    """A metallic connection from the target to a line that counts as energized, or may.

    Attributes
    ----------
    line : mapping
        Row of ``lines`` at the other side.
    through : tuple of str
        The bonds on the way, by bond_id; empty where the lines simply join.
    certain : bool
        True: recorded, observed or measured bonds that are closed, and metal junctions. False: at least one bond is
        inferred, suspected, or of unknown state; ``through`` then names what has to be checked.
    """

    line: Row
    through: tuple[str, ...]
    certain: bool


@dataclass(frozen=True)
class Decision:
    """What the gate says of one hook-up.

    Attributes
    ----------
    ready : str
        ready, not_ready or refused.
    missing : tuple of str
        What is missing (not_ready) or why it is refused; empty when ready.
    rule : str
        Name of the first rule that decided, or ``ready``.
    reason : str
        The rule applied, in one sentence.
    caution : str
        What holds even when ready; sentences, may be empty.
    permit_by : str
        Who the settings name for what is otherwise refused; empty where nobody is needed.
    """

    ready: Status
    missing: tuple[str, ...]
    rule: str
    reason: str
    caution: str = ""
    permit_by: str = ""


@dataclass(frozen=True)
class _Case:
    """Everything a rule may look at."""

    line: Row
    termination: Row
    structure: Row
    mode: str
    ties: tuple[Tie, ...]
    settings: GateSettings

    @property
    def touches(self) -> bool:
        return self.mode in ("direct", "clamp")

    @property
    def direct(self) -> bool:
        return self.mode == "direct"

    @property
    def place(self) -> str:
        return _text(self.structure, "structure_id") or _text(self.termination, "structure_id") or "this place"


@dataclass(frozen=True)
class Rule:
    """One rule: the status it gives, when it does, and the same in words.

    ``applies`` returns the texts of what is missing or wrong, an empty tuple where the rule is silent.
    """

    name: str
    status: Status
    words: str
    applies: Callable[[_Case], tuple[str, ...]]


def stated(value: Any) -> bool:
    """Return whether a value says something: not NULL, not blank, no word for not known."""
    return not (value is None or pd.isna(value) or str(value).strip().lower() in _NOT_STATED)


def hazard(line: Row) -> str:
    """Return ``energized``, ``unclear`` or an empty string for one row of ``lines``.

    A line of electricity, lighting, traction or traffic_signal counts as energized unless its record says
    ``energized = no`` with a source and a source_date (ISO 8601, at least the year), all three given by the record
    itself (``<column>_src``; a constant of a field map says nothing of one line); so does any line stated as energized.
    Its status plays no part: abandoned lines count too. Unclear is a line whose utility isn't known and
    that no such record clears.
    """
    cleared = _given(line, "energized") == "no" and stated(_given(line, "source")) and _dated(line)
    if _text(line, "energized") == "yes" or (_text(line, "utility") in ENERGIZED_UTILITIES and not cleared):
        return "energized"
    return "unclear" if not stated(line.get("utility")) and not cleared else ""


def gate(
    line: Row,
    termination: Row | None,
    structure: Row | None,
    mode: str,
    *,
    bonded_to: Sequence[Tie] = (),
    settings: GateSettings,
) -> Decision:
    """Decide on one hook-up from the records.

    Parameters
    ----------
    line : mapping
        Row of ``lines``, the target.
    termination, structure : mapping or None
        Rows of ``terminations`` and ``structures``; None where there is none, as for induction.
    mode : str
        direct, clamp or induction.
    bonded_to : sequence of Tie
        Metallic connections to lines that count as energized, or may.
    settings : GateSettings
        Who may do what is otherwise refused.

    Returns
    -------
    Decision
        Refused before not ready before ready; within these the first rule of ``RULES`` decides, and everything that
        rules of that status found is listed.
    """
    case = _Case(line, termination or {}, structure or {}, mode, tuple(bonded_to), settings)
    found = [(rule, texts) for rule in RULES if (texts := rule.applies(case))]
    caution, permit_by = " ".join(_cautions(case)), "; ".join(_named(case))
    for status in ("refused", "not_ready"):
        hits = [(rule, texts) for rule, texts in found if rule.status == status]
        if hits:
            first, why = hits[0][0], tuple(text for _, texts in hits for text in texts)
            return Decision(first.status, why, first.name, f"{first.name}: {first.words}", caution, permit_by)
    return Decision("ready", (), "ready", _ready_reason(case, permit_by), caution, permit_by)


def _text(row: Row, column: str) -> str:
    value = row.get(column)
    return "" if value is None or pd.isna(value) else str(value).strip()


def _given(row: Row, column: str) -> str:
    """Return what the record itself says; empty where a field map's constant stands in."""
    return _text(row, column) if _text(row, f"{column}_src") == "given" else ""


def _dated(line: Row) -> bool:
    return re.match(r"\d{4}(\D|$)|\d{8}$", _given(line, "source_date")) is not None


def _name(line: Row) -> str:
    return f"{_text(line, 'line_id') or 'the line'} ({_text(line, 'utility') or 'utility not stated'})"


def _energized(case: _Case) -> tuple[str, ...]:
    if not (case.direct and hazard(case.line) == "energized"):
        return ()
    return (f"{_name(case.line)} {_energized_by(case.line)}",)


def _energized_by(line: Row) -> str:
    """Say why a line counts as energized, by what its record says."""
    word = _text(line, "energized")
    if word == "yes":
        return "is recorded as energized"
    if _given(line, "energized") == "no":
        lacking = [("a source", stated(_given(line, "source"))), ("a date (ISO 8601)", _dated(line))]
        without = " and ".join(name for name, there in lacking if not there)
        return f"counts as energized: its record says no, but without {without} of its own"
    if word == "no":
        return "counts as energized: only a constant of the field map says no, not the record"
    return "counts as energized: whether it is energized isn't recorded"


def _bonded_to_energized(case: _Case) -> tuple[str, ...]:
    ties = [tie for tie in case.ties if case.direct and tie.certain and hazard(tie.line) == "energized"]
    return tuple(f"{_how(tie)} {_name(tie.line)}, which {_energized_by(tie.line)}" for tie in ties)


def _how(tie: Tie) -> str:
    return f"bonded by {', '.join(tie.through)} to" if tie.through else "joined to"


def _gas_direct(case: _Case) -> tuple[str, ...]:
    if not (_wants_gas_permit(case) and not case.settings.gas_direct_by.strip()):
        return ()
    return (f"direct connection on gas line {_text(case.line, 'line_id')}: settings gate.gas_direct_by names nobody",)


def _wants_gas_permit(case: _Case) -> bool:
    return case.direct and "gas" in (_text(case.line, "utility"), _text(case.structure, "utility"))


def _protection(case: _Case) -> tuple[str, ...]:
    if not (_wants_protection_permit(case) and not case.settings.cathodic_protection_by.strip()):
        return ()
    return (f"cathodic protection at {case.place}: settings gate.cathodic_protection_by names nobody",)


def _wants_protection_permit(case: _Case) -> bool:
    at_point = case.touches and _text(case.structure, "kind") in PROTECTION_KINDS
    return at_point or (case.direct and _text(case.line, "cathodic_protection") == "yes")


def _no_access(case: _Case) -> tuple[str, ...]:
    if not (case.touches and _text(case.termination, case.mode) == "no"):
        return ()
    return (f"no {case.mode} connection can be made at {case.place}, by the record",)


def _not_conductive(case: _Case) -> tuple[str, ...]:
    if _text(case.line, "conductive") != "no":
        return ()
    return (f"{_name(case.line)} is recorded as not conductive",)


def _conduction_unknown(case: _Case) -> tuple[str, ...]:
    if _text(case.line, "conductive") in ("yes", "no"):
        return ()
    return (f"whether {_name(case.line)} conducts",)


def _suspected_bond(case: _Case) -> tuple[str, ...]:
    ties = [tie for tie in case.ties if case.direct and not tie.certain]
    return tuple(
        f"bond {', '.join(tie.through)} must be checked by a qualified person: it may connect to {_name(tie.line)}"
        for tie in ties
    )


def _utility_unclear(case: _Case) -> tuple[str, ...]:
    if not case.direct:
        return ()
    own = [f"what {_name(case.line)} carries"] if hazard(case.line) == "unclear" else []
    ties = [tie for tie in case.ties if tie.certain and hazard(tie.line) == "unclear"]
    return (*own, *(f"what {_name(tie.line)} carries, {_how(tie)} the target" for tie in ties))


def _access_unknown(case: _Case) -> tuple[str, ...]:
    if not (case.touches and _text(case.termination, case.mode) not in ("yes", "no")):
        return ()
    return (f"whether a {case.mode} connection can be made at {case.place}",)


def _permit(case: _Case) -> tuple[str, ...]:
    permit = _text(case.structure, "permit")
    return (f"permit from {permit}",) if case.touches and permit else ()


def _closed(case: _Case) -> tuple[str, ...]:
    access = _text(case.structure, "access")
    return (f"access: {case.place} is {access}",) if case.touches and access in CLOSED_ACCESS else ()


RULES = (
    Rule(
        "energized_conductor",
        "refused",
        "no direct connection to electricity, lighting, traction or traffic signal lines unless recorded as not "
        "energized with source and date",
        _energized,
    ),
    Rule(
        "bonded_to_energized",
        "refused",
        "no direct connection to a line joined by metal, or by closed recorded, observed or measured bonds, "
        "to one that counts as energized",
        _bonded_to_energized,
    ),
    Rule("gas_direct", "refused", "no direct connection on gas unless the settings name who may make it", _gas_direct),
    Rule(
        "cathodic_protection",
        "refused",
        "no connection at cathodic-protection points, and none direct on a protected line, unless the settings name "
        "who may make it",
        _protection,
    ),
    Rule("no_access", "refused", "the record says that this connection can't be made here", _no_access),
    Rule("not_conductive", "refused", "a line that doesn't conduct carries no tone", _not_conductive),
    Rule(
        "suspected_bond",
        "not_ready",
        "inferred and suspected bonds, and those of unknown state, to a line that counts as energized, or may, are "
        "checked before a direct connection",
        _suspected_bond,
    ),
    Rule(
        "utility_unknown",
        "not_ready",
        "what an unknown line, or one joined to it, carries is found out before a direct connection",
        _utility_unclear,
    ),
    Rule(
        "conduction_unknown",
        "not_ready",
        "whether the line conducts is found out before tone is put on it",
        _conduction_unknown,
    ),
    Rule("access_unknown", "not_ready", "an unknown access point is looked at first", _access_unknown),
    Rule("permit", "not_ready", "the owner's permit comes first", _permit),
    Rule("closed_access", "not_ready", "a locked, indoor or private place needs its keeper", _closed),
)


def _named(case: _Case) -> list[str]:
    wanted = (
        (_wants_gas_permit(case), case.settings.gas_direct_by),
        (_wants_protection_permit(case), case.settings.cathodic_protection_by),
    )
    return list(dict.fromkeys(name.strip() for wants, name in wanted if wants and name.strip()))


def _ready_reason(case: _Case, permit_by: str) -> str:
    parts = ["no rule of the gate stands against it" if case.touches else "touches nothing"]
    if permit_by:
        parts.append(f"only by {permit_by}, as the settings say")
    if case.touches and not stated(case.structure.get("access")):
        parts.append("access not stated")
    return "ready: " + "; ".join(parts)


def _cautions(case: _Case) -> list[str]:
    """Sentences that hold whatever the decision, most dangerous first (common practice)."""
    if not case.touches:
        return []
    kind = _text(case.structure, "kind")
    utilities = {_text(case.line, "utility"), _text(case.structure, "utility")}
    live = hazard(case.line) == "energized" or not utilities.isdisjoint(ENERGIZED_UTILITIES)
    said = (
        (live, "Only qualified persons work at energized conductors."),
        ("gas" in utilities, "Only qualified persons work at gas meters and gas plant."),
        ("traffic_signal" in utilities, "Only qualified persons open traffic signal cabinets."),
        (kind in PROTECTION_KINDS, "Cathodic protection: only by its owner's specialist."),
        (_text(case.structure, "access") == "carriageway", "In the carriageway: traffic management first."),
    )
    return [text for applies, text in said if applies]
