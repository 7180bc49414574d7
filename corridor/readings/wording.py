"""What is said of causes: what each would mean, and what to check on site."""

from __future__ import annotations

from corridor.readings.causes import Suspect

__all__ = ["RANKED", "explained", "where_to_look"]

RANKED = (
    "A cause ranked first is a thing to check on site, not a fact: only the causes listed were looked at, and "
    "unrecorded lines may be anywhere."
)
NONE_EXPLAINED = "The records as they are explain the readings; soil, depths and places within their ranges."
NONE_LOOK = "Nothing to check for the readings' sake; what they can't see may still be there."

_EXPLAINED = {
    "bond_conducts": "{a} and {b} share metal at {place}, which the records leave open: tone goes over.",
    "bond_open": "{a} and {b} don't share metal at {place}, other than the records have it.",
    "hidden_bond": "A bond or contact that no record shows joins {a} and {b} at {place}.",
    "joint_open": "The metal of {a} is parted near {place}: little tone goes on beyond.",
    "joints_conduct": "The joints of {a} conduct, which are taken as parting its metal.",
    "ground_open": "{a} isn't grounded at {place}, other than the records have it.",
    "hidden_ground": "A ground that no record shows takes tone from {a} at {place}.",
    "poor_stake": "The ground stake for {a} has a poor contact with the soil.",
    "wrong_line": "The hook-up stands on {b}, not on {a}, at {place}.",
}
_LOOK = {
    "bond_conducts": "Look for a jumper or shared bracket at {place}, with both owners; don't open or remove it.",
    "bond_open": "Look whether the bond at {place} is still there and tight, with its owner; don't close it yourself.",
    "hidden_bond": "Look at {place} for metal that touches; read both lines 5 to 10 m on either side of it.",
    "joint_open": "Read the current every few metres round {place}; look for a repair or an isolating joint.",
    "joints_conduct": "Ask the owner of {a} how its joints were made; read the current along it on both sides of one.",
    "ground_open": "Look at the ground lead at {place} with its owner; don't touch or lift it.",
    "hidden_ground": "Look at {place} for an electrode, a building or a cabinet that {a} is grounded at.",
    "poor_stake": "Transmitter off: drive the stake deeper, wet the soil or add a second one; then read V again.",
    "wrong_line": (
        "Transmitter off. Identify the line again at {place} with its owner before anyone touches either: {b} may be "
        "energized, whatever this says."
    ),
}  # fmt: skip


def explained(suspect: Suspect | None) -> str:
    """Return what a cause would mean, in one sentence; None: nothing is hidden."""
    return NONE_EXPLAINED if suspect is None else _filled(_EXPLAINED, suspect)


def where_to_look(suspect: Suspect | None) -> str:
    """Return what to check on site, and with whom."""
    return NONE_LOOK if suspect is None else _filled(_LOOK, suspect)


def _filled(words: dict[str, str], suspect: Suspect) -> str:
    return words[suspect.kind].format(a=suspect.line_a, b=suspect.line_b, place=suspect.place)
