"""Regular expressions of field maps: those that may take for ever on a hostile text are refused."""

import re
from dataclasses import dataclass

__all__ = ["check_pattern"]

_TOKEN = re.compile(r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|\(\?P?<?[=!#:]?|[()|*+?]|\{\d*,?\d*\}|.", re.DOTALL)
_REPEAT = re.compile(r"\{(\d*)(,?)(\d*)\}")
_FEW = 9  # a group repeated so often at most can't take long


@dataclass
class _Group:
    varies: bool = False  # holds an alternative, or something of no fixed length


def check_pattern(pattern: str) -> None:
    """Refuse what is no regular expression, and groups repeated over and over whose content can match in several ways.

    Such a group, ``(a+)+`` or ``(a|b)*``, may try a number of ways that doubles with each character of the text.

    Raises
    ------
    ValueError
        If it doesn't compile, or holds such a group.
    """
    try:
        re.compile(pattern)
    except (re.error, OverflowError, RecursionError):
        message = "expected a regular expression: check its brackets and backslashes"
        raise ValueError(message) from None
    groups = [_Group()]
    closed: _Group | None = None
    for token in _TOKEN.findall(pattern):
        often, varies = _repeat(token)
        if often and closed is not None and closed.varies:
            message = "expected a repeated group without repeats and alternatives in it, which could take for ever"
            raise ValueError(message)
        inner, closed = closed, None
        if token.startswith("("):
            groups.append(_Group())
        elif token == ")" and len(groups) > 1:
            closed = groups.pop()
            groups[-1].varies |= closed.varies
        elif varies or token == "|":
            groups[-1].varies = True
            closed = _Group(True) if inner is not None else None  # a quantifier after a quantifier is lazy or greedy


def _repeat(token: str) -> tuple[bool, bool]:
    """Return whether a token repeats what stands before it often, and whether it leaves the number open."""
    if token in ("*", "+"):
        return True, True
    if token == "?":
        return False, True
    counts = _REPEAT.fullmatch(token)
    if counts is None or token in ("{}", "{,}"):
        return token == "{,}", token == "{,}"
    low, comma, high = counts.groups()
    most = high if comma else low
    return not most or int(most) > _FEW, bool(comma) and low != high
