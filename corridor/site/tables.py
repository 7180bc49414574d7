"""The shipped tables (TOML in corridor/data), read once: defaults, vocabulary, access."""

import tomllib
import unicodedata
from functools import cache
from importlib import resources
from typing import Any

__all__ = ["access_rules", "default_rules", "read_table", "vocabulary", "word_key"]


@cache
def read_table(name: str) -> dict[str, Any]:
    """Return a shipped table by its file's name without ending; not to be changed.

    Raises
    ------
    FileNotFoundError
        If there is no such table.
    """
    return tomllib.loads(resources.files("corridor.data").joinpath(f"{name}.toml").read_text(encoding="utf-8"))


def default_rules(column: str) -> list[dict[str, Any]]:
    """Return the default rules of a column, first match first.

    Raises
    ------
    KeyError
        If the column has no defaults.
    """
    rules: list[dict[str, Any]] = read_table("defaults")[column]
    return rules


def access_rules() -> list[dict[str, Any]]:
    """Return the rules of access, first match first."""
    rules: list[dict[str, Any]] = read_table("access")["rule"]
    return rules


@cache
def vocabulary(name: str) -> dict[str, str]:
    """Return the further words read as words of a vocabulary, by ``word_key``; empty if none; not to be changed."""
    return {word_key(word): meant for word, meant in read_table("vocabulary").get(name, {}).items()}


def word_key(word: str) -> str:
    """Return a word as vocabularies compare it: lower case, without dots, with ``_`` for spaces and hyphens.

    Examples
    --------
    >>> word_key(" Fire-Water ")
    'fire_water'
    """
    word = unicodedata.normalize("NFKC", word)  # full-width forms and ligatures are the same words
    return "_".join(word.casefold().replace(".", "").replace("-", " ").replace("_", " ").split())
