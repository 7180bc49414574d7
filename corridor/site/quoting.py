"""Values of the records as messages quote them: whole where they are short, their beginning where they aren't."""

from collections.abc import Iterable
from typing import Any

__all__ = ["cut", "first_names", "quoted"]

_LONGEST, _MOST = 80, 30


def cut(text: str, limit: int = _LONGEST) -> str:
    """Return a text, its end beyond ``limit`` characters replaced by an ellipsis.

    Examples
    --------
    >>> cut("six feet", 4)
    'six…'
    """
    return text if len(text) <= limit else f"{text[: limit - 1]}…"


def quoted(value: Any, *, limit: int = _LONGEST) -> str:
    """Return a value in quotes, cut with an ellipsis beyond ``limit`` characters.

    Examples
    --------
    >>> quoted("six feet")
    "'six feet'"
    """
    return repr(cut(str(value), limit))


def first_names(names: Iterable[Any], *, most: int = _MOST) -> str:
    """Return names, each cut, separated by commas; beyond ``most`` they are counted.

    Examples
    --------
    >>> first_names(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    listed = [str(name) for name in names]
    shown = [cut(name) for name in listed[:most]]
    return ", ".join(shown) + (f" and {len(listed) - most} more" if len(listed) > most else "")
