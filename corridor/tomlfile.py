"""TOML files in, and what is wrong with them in plain words: what was expected, what came, where, what to do."""

import difflib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from itertools import accumulate
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from corridor.errors import CorridorError

__all__ = ["mistakes", "read_toml"]

_ROOM = 1500  # characters in which mistakes are told; one always is
_LONGEST_SHOWN = 40  # characters of a value quoted in a message
_UNION_ARMS = {"str", "int", "float", "bool"}  # how the checker names the alternatives of a value


def read_toml(path: Path, what: str, *, error: type[CorridorError]) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What it should hold, for the message: settings, equipment, field map.
    error : type of CorridorError
        What is raised.

    Returns
    -------
    dict
        Its keys and tables.

    Raises
    ------
    CorridorError
        Of the type given, if the file can't be read or isn't TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as cause:
        message = f"expected a readable TOML {what} file, {path} {_trouble(cause)}"
        raise error(message) from None


def _trouble(cause: Exception) -> str:
    for kind, words in (
        (FileNotFoundError, "does not exist; check the name and the folder"),
        (IsADirectoryError, "is a folder; name the file in it"),
        (PermissionError, "may not be read; check who may read it"),
        (UnicodeDecodeError, "is not text in UTF-8; save it as that"),
        (OSError, "can't be opened; check the name and the disk"),
    ):
        if isinstance(cause, kind):
            return words
    if not isinstance(cause, tomllib.TOMLDecodeError):  # what the parser's own limits say
        return "nests too deep or holds a number too long; write it plainly"
    place = re.search(r"\((at [^()]*)\)$", str(cause))
    return f"is not TOML{' ' + place[1] if place else ''}; check brackets, quotes and equals signs there"


def mistakes(error: ValidationError, model: type[BaseModel], *, data: Mapping[str, Any]) -> str:
    """Return every mistake in one line: key, what was expected, what came.

    Parameters
    ----------
    error : ValidationError
        What checking the data against the model raised.
    model : type of BaseModel
        Names the keys that are known.
    data : mapping
        What was checked.

    Returns
    -------
    str
        The mistakes in the order of the checker, separated by semicolons; beyond some 1500 characters they are counted.
    """
    told: dict[str, None] = {}
    for mistake in error.errors(include_url=False):
        loc = [str(part) for part in mistake["loc"]]
        while len(loc) > 1 and loc[-1] in _UNION_ARMS and not _holds(data, mistake["loc"][: len(loc)]):
            loc.pop()
        union = len(loc) < len(mistake["loc"])
        words = "expected text, a number or true or false" if union else _expected(mistake, loc, model)
        told[f"{_cut('.'.join(loc), 2 * _LONGEST_SHOWN) or 'the file'}: {words}{_came(mistake)}"] = None
    listed = list(told)
    shown = 1 + sum(length <= _ROOM for length in list(accumulate(len(words) + 2 for words in listed))[1:])
    rest = len(listed) - shown
    return "; ".join(listed[:shown]) + (f"; and {rest} more" if rest > 0 else "")


def _holds(data: Any, loc: tuple[str | int, ...]) -> bool:
    """Return whether a key stands in the file, rather than in the checker's list of alternatives."""
    for key in loc:
        try:
            data = data[key]
        except (KeyError, IndexError, TypeError):
            return False
    return True


_WORDS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "missing": lambda _: "expected, and not there",
    "greater_than": lambda told: f"expected more than {told['gt']:g}",
    "greater_than_equal": lambda told: f"expected at least {told['ge']:g}",
    "less_than": lambda told: f"expected less than {told['lt']:g}",
    "less_than_equal": lambda told: f"expected at most {told['le']:g}",
    "literal_error": lambda told: f"expected {told['expected']}",
    "too_short": lambda told: f"expected a list of {told['min_length']} or more",
    "value_error": lambda told: str(told["error"]),
    "finite_number": lambda _: "expected a finite number",
}
_KINDS = {
    "float": "a number", "int": "a whole number", "string": "text", "bool": "true or false", "tuple": "a list",
    "list": "a list", "dict": "a table of keys", "model": "a table of keys", "mapping": "a table of keys",
}  # fmt: skip


def _expected(mistake: Any, loc: list[str], model: type[BaseModel]) -> str:
    kind = str(mistake["type"])
    if kind == "extra_forbidden":
        known = list(_keys(model, loc[:-1]))
        near = difflib.get_close_matches(loc[-1], known, n=1)
        nearest = f" (nearest: {near[0]})" if near else ""
        return f"expected one of the keys {', '.join(known)}{nearest}, this is none of them"
    if kind in _WORDS:
        return _WORDS[kind](mistake.get("ctx", {}))
    return f"expected {_KINDS.get(kind.partition('_')[0], 'another value')}"


def _keys(model: Any, loc: list[str]) -> Iterator[str]:
    """Walk down to the table at a place, and give the keys it knows."""
    for key in loc:
        fields = getattr(model, "model_fields", None)
        inner = fields[key].annotation if fields else get_args(model)[-1]  # of a mapping: what it maps to
        arms = [arm for arm in get_args(inner) if isinstance(arm, type) and issubclass(arm, BaseModel)]
        is_mapping = getattr(inner, "__origin__", None) is dict
        model = arms[0] if arms and not is_mapping else inner
    yield from getattr(model, "model_fields", {})


def _came(mistake: Any) -> str:
    kind, value = mistake["type"], mistake["input"]
    if kind in ("missing", "extra_forbidden") or (kind == "value_error" and isinstance(value, Mapping)):
        return ""
    if isinstance(value, Mapping):
        return ", got a table"
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return f", got {_cut(text)}"


def _cut(text: str, limit: int = _LONGEST_SHOWN) -> str:
    return text if len(text) <= limit else text[:limit] + "..."
