"""What is true of a sample site, for tests only: which lines are bonded into which groups."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from .draft import CERTAIN_EVIDENCE, Draft

LIKELY = 0.5


def merge(members: Iterable[str], pairs: Iterable[tuple[str, str]]) -> list[list[str]]:
    """Return the groups that pairs make of members (union-find), each sorted as text, the list too."""
    parent = {member: member for member in members}

    def root(member: str) -> str:
        while parent[member] != member:
            parent[member] = parent[parent[member]]
            member = parent[member]
        return member

    for a, b in pairs:
        first, second = sorted((root(a), root(b)))
        parent[second] = first
    groups: dict[str, list[str]] = {}
    for member in sorted(parent):
        groups.setdefault(root(member), []).append(member)
    return sorted(groups.values())


def practice_built(draft: Draft, name: str, seed: int) -> list[dict[str, Any]]:
    """Return the bonds of code practice with ``built``: whether somebody made it, whatever the records say.

    Drawn pair by pair with the practice's own probability from a stream apart, so that the records don't change; where
    two bonds of a structure are made, so is the third between their ends.
    """
    rng = np.random.default_rng([seed, *name.encode()])
    rows = [{**row, "built": bool(rng.random() < row["probability"])} for row in draft.inferred()]
    for structure_id in sorted({row["structure_id"] for row in rows}):
        here = [row for row in rows if row["structure_id"] == structure_id]
        lines = {row[end] for row in here for end in ("line_a", "line_b")}
        parts = merge(lines, [(row["line_a"], row["line_b"]) for row in here if row["built"]])
        for row in here:
            row["built"] = any({row["line_a"], row["line_b"]} <= set(part) for part in parts)
    return rows


def bonded_groups(draft: Draft, built: Iterable[dict[str, Any]]) -> dict[str, list[list[str]]]:
    """Return the bonded groups (lists of line_id, single lines included) of a draft.

    ``recorded``: connections of lines of known continuity, and closed bonds that were recorded, observed or measured.
    ``likely``: plus inferred bonds of probability 0.5 or more. ``possible``: plus all other connections, and inferred
    or suspected bonds not known to be open. No site has two recorded bonds on one line of unknown continuity.
    ``real``: connections, closed certain bonds, hidden bonds and the code practice that was ``built``, whatever the
    records say.
    """
    live = [line_id for line_id, line in draft.lines.items() if line.live]
    known = set(live)

    def pairs(rows: Iterable[dict[str, Any]]) -> list[tuple[str, str]]:
        return [(row["line_a"], row["line_b"]) for row in rows if {row["line_a"], row["line_b"]} <= known]

    certain = [row for row in draft.bonds if row["evidence"] in CERTAIN_EVIDENCE]
    guessed = [row for row in draft.bonds if row["evidence"] not in CERTAIN_EVIDENCE and row["state"] != "open"]
    doubtful = [row for row in certain if row["state"] == "unknown"]
    recorded = draft.sound_connections() + pairs(row for row in certain if row["state"] == "closed")
    inferred = [*draft.inferred(), *(row for row in guessed if row["evidence"] == "inferred")]
    likely = recorded + pairs(row for row in inferred if (row["probability"] or 0.0) >= LIKELY)
    possible = likely + draft.connections() + pairs(inferred) + pairs(guessed) + pairs(doubtful)
    return {
        "recorded": merge(live, recorded),
        "likely": merge(live, likely),
        "possible": merge(live, possible),
        "real": merge(live, recorded + draft.connections() + pairs(draft.hidden_bonds) + pairs(built)),
    }
