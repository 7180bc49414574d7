"""Bonds that rules suggest, for all structures at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import numba
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from corridor.couplings.rules import RULES

__all__ = ["KINDS", "UTILITIES", "Held", "Suggested", "suggested_bonds", "within_utility", "word_numbers"]

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

ALL_PAIRS_UP_TO = 6  # lines at one structure; with more, as many bonds as hold the same lines together
KINDS = tuple(sorted({kind for rule in RULES for kind in rule.kinds}))
UTILITIES = tuple(sorted({utility for rule in RULES for utility in (*rule.first, *rule.second)}))
_ROOM, _ROOM_A_LINE = 1000, 2  # for bonds; where there are more, they are looked for again


@dataclass(frozen=True)
class Held:
    """Lines at structures, by structure and line; shape (k,) all.

    Attributes
    ----------
    structure : ndarray of int
        Number of the structure's id.
    kind : ndarray of int
        Its kind's place in ``KINDS``, -1 for any other.
    point : ndarray of int
        Its place in the order of the structures.
    line : ndarray of int
        Place of the line in the order of the ids.
    utility : ndarray of int
        Of the line: place in ``UTILITIES``, -1 for any other.
    cable : ndarray of bool
        Whether the line is one.
    measure_m : ndarray of float, m
        Where the line is at the structure.
    end : ndarray of bool
        Whether with an end.
    """

    structure: Ints
    kind: Ints
    point: Ints
    line: Ints
    utility: Ints
    cable: Flags
    measure_m: NDArray[np.float64]
    end: Flags

    def only(self, rows: Flags) -> Held:
        """Return some of the rows; shape (k,) bool."""
        return Held(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


@dataclass(frozen=True)
class Suggested:
    """Bonds: number of the rule, and places of both lines in ``Held``, ordered by structure, rule and pair."""

    rule: Ints
    a: Ints
    b: Ints


def word_numbers(values: Any, words: tuple[str, ...]) -> Ints:
    """Return the place of each value among words, -1 for any other; shape (k,)."""
    numbers, found = pd.factorize(values)
    place = {word: k for k, word in enumerate(words)}
    return np.array([*(place.get(word, -1) for word in found), -1], dtype=np.int64)[numbers]


def suggested_bonds(held: Held, *, joined: Ints, bonded: Ints, reach_m: float) -> Suggested:
    """Return the bonds that the rules suggest.

    Parameters
    ----------
    held : Held
        Lines at structures.
    joined, bonded : ndarray of int, shape (m, 3)
        Lines that meet, and lines with a recorded bond: number of the structure's id and both lines.
    reach_m : float, m
        Bonds of one rule and pair so near along the first line are one: several owners may record one building.
    """
    begins = np.flatnonzero(np.r_[True, held.point[1:] != held.point[:-1], True][: len(held.point) + 1])
    ids = int(held.structure.max(initial=-1)) + 1
    here = (begins, held.structure, held.kind, held.line, held.utility, held.cable, held.end)
    settled = (*_by_structure(joined, ids), *_by_structure(bonded, ids))
    room = _ROOM + _ROOM_A_LINE * len(held.line)
    while True:
        out = np.empty((room, 3), np.int64)
        count = _suggest(here, _rules(), settled, out)
        if count <= room:
            break
        room = count
    rule, a, b = out[:count].T
    keep = _once(held, rule, a, b, reach_m=reach_m)
    return Suggested(rule[keep], a[keep], b[keep])


def within_utility(held: Held) -> Flags:
    """Tell which rows are at a structure where a rule bonds lines of one utility with each other; shape (k,).

    Lines that meet are of one utility: elsewhere it makes no difference whether any do.
    """
    points = int(held.point.max(initial=-1)) + 1
    asked = np.zeros(points, dtype=bool)
    at_kind, first, second, passing, cables = _rules()
    for number, both in enumerate(first & second):
        usable = at_kind[number, held.kind] & (held.end | passing[number]) & (held.cable | ~cables[number])
        for utility in np.flatnonzero(both):
            asked |= np.bincount(held.point[usable & (held.utility == utility)], minlength=points) > 1
    return np.asarray(asked[held.point], dtype=bool)


@cache
def _rules() -> tuple[Flags, Flags, Flags, Flags, Flags]:
    """Return which kinds, first and second utilities each rule takes (last column: any other), and its flags."""
    return (
        np.array([_among(KINDS, rule.kinds) for rule in RULES]),
        np.array([_among(UTILITIES, rule.first) for rule in RULES]),
        np.array([_among(UTILITIES, rule.second) for rule in RULES]),
        np.array([rule.passing for rule in RULES]),
        np.array([rule.cables for rule in RULES]),
    )


def _among(words: tuple[str, ...], wanted: Iterable[str]) -> list[bool]:
    return [*(word in set(wanted) for word in words), False]


def _by_structure(pairs: Ints, ids: int) -> tuple[Ints, Ints]:
    """Return pairs in the order of their structures, and where each one's begin."""
    pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
    return pairs, np.searchsorted(pairs[:, 0], np.arange(ids + 1))


def _once(held: Held, rule: Ints, a: Ints, b: Ints, *, reach_m: float) -> Flags:
    """Tell which bonds are there for the first time: not one of the same rule and pair, at the same place."""
    keep = np.ones(len(rule), dtype=bool)
    line_a, line_b = held.line[a], held.line[b]
    width = int(held.line.max(initial=0)) + 1
    keys = (line_a * width + line_b) * len(RULES) + rule
    order = np.argsort(keys, kind="stable")  # by structure within a pair
    keys = keys[order]
    same = np.r_[False, keys[1:] == keys[:-1]][: len(order)]
    known: dict[int, list[float]] = {}
    for k in np.flatnonzero(same | np.r_[same[1:], False][: len(order)]):
        row = order[k]
        at_m, before = float(held.measure_m[a[row]]), known.setdefault(int(keys[k]), [])
        if any(abs(at_m - other_m) <= reach_m for other_m in before):
            keep[row] = False
        else:
            before.append(at_m)
    return keep


@numba.njit(cache=True, nogil=True)
def _suggest(here: Any, rules: Any, settled: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Write rule and both places of the bonds; return how many, of which no more than fit are written."""
    begins, structure, kind, line, utility, cable, end = here
    at_kind, first, second, passing, cables = rules
    joined, joined_at, bonded, bonded_at = settled
    count = 0
    alone, asked = np.arange(_most(begins)), np.empty((3, _most(begins)), np.int64)
    for p in range(begins.size - 1):
        begin, last = begins[p], begins[p + 1]
        if not at_kind[:, kind[begin]].any():
            continue
        at, lines = structure[begin], line[begin:last]
        meet, bond = joined[joined_at[at] : joined_at[at + 1]], bonded[bonded_at[at] : bonded_at[at + 1]]
        one = _groups(lines, meet) if meet.shape[0] else alone
        known = _known(lines, one, bond)
        for number in range(at_kind.shape[0]):
            if not at_kind[number, kind[begin]]:
                continue
            wanted = 0
            for k in range(begin, last):
                sides = first[number, utility[k]], second[number, utility[k]]
                if (sides[0] | sides[1]) & (end[k] | passing[number]) & (cable[k] | (not cables[number])):
                    asked[0, wanted], asked[1, wanted], asked[2, wanted] = k - begin, sides[0], sides[1]
                    wanted += 1
            if wanted > 1:
                count = _bond((number, begin), asked[:, :wanted], (one, known), (out, count))
    return count


@numba.njit(cache=True, nogil=True)
def _most(begins: Any) -> int:  # pragma: no cover - compiled
    most = 0
    for p in range(begins.size - 1):
        most = max(most, begins[p + 1] - begins[p])
    return most


@numba.njit(cache=True, nogil=True)
def _place(lines: Any, line: int) -> int:  # pragma: no cover - compiled
    """Return the place of a line among ascending ones, -1 where it isn't there."""
    k = np.searchsorted(lines, line)
    return int(k) if k < lines.size and lines[k] == line else -1


@numba.njit(cache=True, nogil=True)
def _unite(groups: Any, a: int, b: int) -> bool:  # pragma: no cover - compiled
    """Make one group of two; return False where they are one."""
    kept, gone = groups[a], groups[b]
    if kept == gone:
        return False
    for k in range(groups.size):
        if groups[k] == gone:
            groups[k] = kept
    return True


@numba.njit(cache=True, nogil=True)
def _groups(lines: Any, joined: Any) -> Any:  # pragma: no cover - compiled
    """Return a number for each of the lines at a structure, the same for those that meet there: one conductor."""
    groups = np.arange(lines.size)
    for k in range(joined.shape[0]):
        a, b = _place(lines, joined[k, 1]), _place(lines, joined[k, 2])
        if a >= 0 and b >= 0:
            _unite(groups, a, b)
    return groups


@numba.njit(cache=True, nogil=True)
def _known(lines: Any, groups: Any, bonded: Any) -> Any:  # pragma: no cover - compiled
    """Tell which groups have a recorded bond between them; no shape at all where there is none.

    Lines that meet are one conductor there: a bond that is recorded for one of them settles all of them.
    """
    size = lines.size if bonded.shape[0] else 0
    known = np.zeros((size, size), np.bool_)
    for k in range(bonded.shape[0]):
        a, b = _place(lines, bonded[k, 1]), _place(lines, bonded[k, 2])
        if a >= 0 and b >= 0:
            known[groups[a], groups[b]] = known[groups[b], groups[a]] = True
    return known


@numba.njit(cache=True, nogil=True)
def _bond(asked: Any, lines: Any, settled: Any, written: Any) -> int:  # pragma: no cover - compiled
    """Write the pairs that a rule bonds among lines at one structure; return how many so far.

    ``lines``: place at the structure, and whether on the rule's first and its second side; shape (3, k).
    """
    number, begin = asked
    one, known = settled
    out, count = written
    left = lines.shape[1]
    held = np.arange(left if left > ALL_PAIRS_UP_TO else 0)
    for x in range(lines.shape[1]):
        for y in range(x + 1, lines.shape[1]):
            a, b = lines[0, x], lines[0, y]
            if not ((lines[1, x] & lines[2, y]) | (lines[1, y] & lines[2, x])) or one[a] == one[b]:
                continue
            if known.size and known[one[a], one[b]]:
                continue
            if held.size:
                if not _unite(held, x, y):
                    continue
                left -= 1
            if count < out.shape[0]:
                out[count, 0], out[count, 1], out[count, 2] = number, begin + a, begin + b
            count += 1
            if left == 1:
                return count  # all are held together
    return count
