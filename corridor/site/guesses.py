"""Guesses for a field map: which source column may be which of ours, and what its values say for it."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from corridor.dictionary import Column, Table
from corridor.site.tables import read_table, word_key
from corridor.site.units import unit_factor
from corridor.site.values import as_text, known_words, numbers

__all__ = ["Guess", "guess_columns"]

_CUT = 10
_LEAST = 2.0  # score from which a guess is written down
_UNITS = {"in": "in", "inch": "in", "inches": "in", "ft": "ft", "feet": "ft", "mm": "mm", "cm": "cm", "m": "m",
          "dm": "dm", "kv": "kV", "v": "V", "mm2": "mm2", "kcmil": "kcmil", "mcm": "kcmil"}  # fmt: skip


@dataclass(frozen=True)
class Guess:
    """A source column that may be one of ours.

    ``stated`` rows hold something, ``understood`` of them are read; ``strange`` are the words that aren't, with how
    many rows hold each; ``unit`` is None where the dictionary's, or written beside the values, fits.
    """

    column: str
    source: str
    stated: int
    understood: int
    unit: str | None
    unit_told: bool  # by the column's name, not by the size of its numbers
    strange: tuple[tuple[str, int], ...]
    score: float


def guess_columns(frame: pd.DataFrame, table: Table) -> list[Guess]:
    """Return the best guess for each column of a table, each source column used once, in the table's order.

    A guess rests on the column's name, then on the share of its values that our column would understand. Columns of
    words are also found by their values alone, where four of five are words of the dictionary.

    Parameters
    ----------
    frame : DataFrame
        The layer as read.
    table : Table
        What it may be read into.
    """
    own = [(frame[name], as_text(frame[name])) for name in frame.columns if name != "geometry"]
    guesses = [
        guess
        for column in table.columns
        for values, text in own
        if (guess := _guess(values, text, column, table=table.name)) is not None
    ]
    chosen: dict[str, Guess] = {}
    taken: set[str] = set()
    rank = {name: order for order, name in enumerate(table.names)}
    for guess in sorted(guesses, key=lambda g: (-g.score, rank[g.column], g.source)):
        if guess.column not in chosen and guess.source not in taken:
            chosen[guess.column] = guess
            taken.add(guess.source)
    return [chosen[name] for name in table.names if name in chosen]


def _guess(values: pd.Series, text: pd.Series, column: Column, *, table: str) -> Guess | None:
    source = str(values.name)
    stated = int(text.notna().sum())
    if not stated:
        return None
    score = _by_name(source, column.name, table)
    if column.name.endswith("_id") and column.required:
        distinct = text.nunique() / stated
        if distinct < 0.9 or not score:
            return None
        return _rounded(column, source, stated, stated, score=score + distinct)
    if column.kind in ("real", "integer"):
        return _numeric(values, text, source, column, score=score) if score else None
    words = known_words(column)
    if not words:
        return _rounded(column, source, stated, stated, score=score + 0.1) if score else None
    known = text.map(word_key, na_action="ignore").isin(words)
    understood, kinds = int(known.sum()), text[known].nunique()
    share = understood / stated
    if not score and (share < 0.8 or kinds < 2 or len(set(words.values())) < 6):
        return None
    strange = text[text.notna() & ~known].value_counts()
    listed = tuple(sorted(((str(word), int(n)) for word, n in strange.items()), key=lambda item: (-item[1], item[0])))
    score = (score or 1.0) + 2.0 * share - (1.0 if share < 0.2 else 0.0)
    return _rounded(column, source, stated, understood, score=score, strange=listed)


def _numeric(values: pd.Series, text: pd.Series, source: str, column: Column, *, score: float) -> Guess | None:
    read, strange = numbers(values, column)
    bare = pd.to_numeric(text, errors="coerce").notna()
    unit, told = _unit(source, column, read[bare])
    factor = (unit_factor(unit, column) or 1.0) if unit else 1.0
    read = read.where(~bare, read * factor)
    low = column.minimum if column.minimum is not None else -float("inf")
    high = column.maximum if column.maximum is not None else float("inf")
    good = int(read.between(low, high).sum())
    stated = int(text.notna().sum())
    if good < 0.3 * stated:
        return None
    odd = text[strange].value_counts()
    listed = tuple((str(word), int(n)) for word, n in sorted(odd.items(), key=lambda item: (-item[1], str(item[0]))))
    return _rounded(column, source, stated, good, score=score + good / stated, unit=unit, told=told, strange=listed)


def _rounded(
    column: Column, source: str, stated: int, understood: int, *, score: float, unit: str | None = None,
    told: bool = True, strange: tuple[tuple[str, int], ...] = (),
) -> Guess | None:  # fmt: skip
    if score < _LEAST:
        return None
    return Guess(column.name, source, stated, understood, unit, told, strange[:12], round(score, 3))


def _by_name(source: str, column: str, table: str) -> float:
    names: dict[str, list[str]] = read_table("guesses").get(table, {})
    plain = _plain(source)
    listed = names.get(column, [])
    for place, name in enumerate([column, *listed]):
        wanted = _plain(name)
        if plain == wanted or (len(plain) == _CUT and plain == wanted[:_CUT]):
            return 4.0 - 0.02 * place  # earlier names are the surer ones
    tokens = _tokens(source)
    bare = "".join(token for token in tokens if token not in _UNITS)
    for place, name in enumerate(listed):
        if bare == _plain(name):
            return 3.5 - 0.02 * place
    singles = {_plain(name): place for place, name in enumerate(listed) if len(_plain(name)) > 2}
    hits = [singles[token] for token in tokens if token in singles]
    return 2.0 - 0.02 * min(hits) if hits else 0.0


def _plain(name: str) -> str:
    return word_key(name).replace("_", "")


def _tokens(name: str) -> list[str]:
    return word_key(name).split("_")


def _unit(source: str, column: Column, values: pd.Series) -> tuple[str | None, bool]:
    """Return the unit that the name tells, else the likely one by the numbers' size; None for the dictionary's."""
    if not column.unit:
        return None, True
    for token in reversed(_tokens(source)):
        unit = _UNITS.get(token)
        if unit is not None and unit_factor(unit, column) is not None:
            return (None if unit_factor(unit, column) == 1.0 else unit), True
    if values.dropna().empty:
        return None, True  # every number has its unit beside it
    middle: Any = values[values > 0].median()
    likely = None
    if column.name == "diameter_mm" and middle < 40.0:
        likely = "in"
    elif column.name == "depth_m":
        likely = "mm" if middle > 200.0 else "cm" if middle > 20.0 else "ft" if middle > 5.0 else None
    return likely, not column.name.startswith(("diameter_mm", "depth_m", "wall_mm", "nominal"))
