"""Bonds that rules suggest, for all structures at once; the few that need more are looked at one by one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from corridor.couplings.rules import RULES, BondRule

__all__ = ["Held", "Suggested", "suggested_bonds", "within_utility"]

Pair = tuple[str, str]  # line_ids, ascending
Ints = NDArray[np.int64]

ALL_PAIRS_UP_TO = 6  # lines at one structure; with more, as many bonds as hold the same lines together


@dataclass(frozen=True)
class Held:
    """Lines at structures, by structure and line; shape (k,) all.

    Attributes
    ----------
    structure_id, kind : ndarray of str
        Of the structure.
    point : ndarray of int
        Its place in the order of the structures.
    line : ndarray of int
        Place of the line in the order of the ids.
    line_id, utility, asset : ndarray of str
        Of the line.
    measure_m : ndarray of float, m
        Where the line is at the structure.
    end : ndarray of bool
        Whether with an end.
    """

    structure_id: NDArray[Any]
    kind: NDArray[Any]
    point: Ints
    line: Ints
    line_id: NDArray[Any]
    utility: NDArray[Any]
    asset: NDArray[Any]
    measure_m: NDArray[np.float64]
    end: NDArray[np.bool_]

    def only(self, rows: NDArray[np.bool_]) -> Held:
        """Return some of the rows; shape (k,) bool."""
        return Held(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


@dataclass(frozen=True)
class Suggested:
    """Bonds: number of the rule, and places of both lines in ``Held``, ordered by structure, rule and pair."""

    rule: Ints
    a: Ints
    b: Ints


class _Here(NamedTuple):
    line_id: str
    utility: str
    asset: str
    end: bool
    kind: str


def suggested_bonds(
    held: Held, *, joined: Mapping[str, set[Pair]], bonded: Mapping[str, set[Pair]], reach_m: float
) -> Suggested:
    """Return the bonds that the rules suggest.

    Parameters
    ----------
    held : Held
        Lines at structures.
    joined, bonded : mapping of str to set of pairs
        By structure, the lines that meet there, and those with a recorded bond.
    reach_m : float, m
        Bonds of one rule and pair so near along the first line are one: several owners may record one building.
    """
    begins = np.flatnonzero(np.r_[True, held.point[1:] != held.point[:-1]][: len(held.point)])
    counts = np.diff(np.r_[begins, len(held.point)])
    special = (counts > ALL_PAIRS_UP_TO) | np.array(
        [name in joined or name in bonded for name in held.structure_id[begins]], dtype=bool
    )
    rule, a, b = _plain(held, begins[~special], counts[~special])
    more = [row for k in np.flatnonzero(special & (counts > 1)) for row in
            _one_by_one(held, int(begins[k]), int(counts[k]), joined=joined, bonded=bonded)]  # fmt: skip
    if more:
        rule, a, b = (np.r_[x, y] for x, y in zip((rule, a, b), np.array(more, np.int64).T, strict=True))
    order = np.lexsort((held.line[b], held.line[a], rule, held.point[a]))
    rule, a, b = rule[order], a[order], b[order]
    keep = _once(held, rule, a, b, reach_m=reach_m)
    return Suggested(rule[keep], a[keep], b[keep])


def within_utility(held: Held) -> NDArray[np.bool_]:
    """Tell which rows are at a structure where a rule bonds lines of one utility with each other; shape (k,).

    Lines that meet are of one utility: elsewhere it makes no difference whether any do.
    """
    asked = np.zeros(int(held.point.max(initial=-1)) + 1, dtype=bool)
    utility = held.utility.astype(str)
    for rule in RULES:
        usable = _usable(held, rule)
        for name in set(rule.first) & set(rule.second):
            asked |= np.bincount(held.point[usable & (utility == name)], minlength=len(asked)) > 1
    return np.asarray(asked[held.point], dtype=bool)


def _usable(held: Held, rule: BondRule) -> NDArray[np.bool_]:
    usable = np.isin(held.kind.astype(str), rule.kinds) & (held.end | rule.passing)
    return np.asarray(usable & ((held.asset == "cable") | (not rule.cables)), dtype=bool)


def _plain(held: Held, begins: Ints, counts: Ints) -> tuple[Ints, Ints, Ints]:
    """Return rule and both places of the pairs at structures of few lines, of which none is settled."""
    pairs = [np.empty((0, 2), np.int64)]
    for count in range(2, ALL_PAIRS_UP_TO + 1):
        own = begins[counts == count]
        pairs += [np.column_stack((own + p, own + q)) for p, q in combinations(range(count), 2)]
    a, b = np.concatenate(pairs).T
    utility = held.utility.astype(str)
    found = []
    for number, rule in enumerate(RULES):
        usable = _usable(held, rule)
        first, second = usable & np.isin(utility, rule.first), usable & np.isin(utility, rule.second)
        fits = np.flatnonzero((first[a] & second[b]) | (first[b] & second[a]))
        found.append((np.full(len(fits), number), a[fits], b[fits]))
    rules, firsts, seconds = zip(*found, strict=True)
    return np.concatenate(rules), np.concatenate(firsts), np.concatenate(seconds)


def _one_by_one(
    held: Held, begin: int, count: int, *, joined: Mapping[str, set[Pair]], bonded: Mapping[str, set[Pair]]
) -> Iterator[tuple[int, int, int]]:
    """Yield rule and both places of the pairs at one structure."""
    rows = range(begin, begin + count)
    here = [_Here(held.line_id[k], held.utility[k], held.asset[k], bool(held.end[k]), held.kind[k]) for k in rows]
    place = {row.line_id: begin + k for k, row in enumerate(here)}
    structure = held.structure_id[begin]
    settled = _settled(place, joined.get(structure, set()), bonded.get(structure, set()))
    for number, rule in enumerate(RULES):
        for a, b in _pairs(rule, here, settled):
            yield number, place[a], place[b]


def _once(held: Held, rule: Ints, a: Ints, b: Ints, *, reach_m: float) -> NDArray[np.bool_]:
    """Tell which bonds are there for the first time: not one of the same rule and pair, at the same place."""
    keep = np.ones(len(rule), dtype=bool)
    order = np.lexsort((held.line[b], held.line[a], rule))  # stable: by structure within a pair
    keys = np.column_stack((rule, held.line[a], held.line[b]))[order]
    same = np.r_[False, (keys[1:] == keys[:-1]).all(axis=1)][: len(order)]
    known: defaultdict[tuple[int, int, int], list[float]] = defaultdict(list)
    for k in np.flatnonzero(same | np.r_[same[1:], False][: len(order)]):
        row = order[k]
        at_m, before = float(held.measure_m[a[row]]), known[tuple(keys[k].tolist())]
        if any(abs(at_m - other_m) <= reach_m for other_m in before):
            keep[row] = False
        else:
            before.append(at_m)
    return keep


def _settled(names: Iterable[str], joined: set[Pair], bonded: set[Pair]) -> set[Pair]:
    """Return the pairs at a structure that need no rule: those that meet, and those whose bond is on record.

    Lines that meet are one conductor there: a bond that is recorded for one of them settles all of them.
    """
    here = sorted(names)
    one = _groups(here)
    for a, b in joined:
        if a in one and b in one:
            _unite(one, a, b)
    known = {(one[a], one[b]) for a, b in bonded if a in one and b in one}
    known |= {(b, a) for a, b in known}
    return {(a, b) for a, b in combinations(here, 2) if one[a] == one[b] or (one[a], one[b]) in known}


def _groups(names: Iterable[str]) -> dict[str, int]:
    """Return a group of its own for each line; a structure holds few."""
    return {name: number for number, name in enumerate(names)}


def _unite(groups: dict[str, int], a: str, b: str) -> None:
    kept, gone = groups[a], groups[b]
    if kept != gone:
        groups.update({name: kept for name, group in groups.items() if group == gone})


def _pairs(rule: BondRule, here: Sequence[Any], settled: set[Pair]) -> Iterator[Pair]:
    """Yield the pairs of lines at one structure, sorted by line_id, that a rule bonds, in the order of their ids."""
    if here[0].kind not in rule.kinds:
        return
    wanted = {*rule.first, *rule.second}
    utility = {
        row.line_id: row.utility
        for row in here
        if row.utility in wanted and (row.end or rule.passing) and (row.asset == "cable" or not rule.cables)
    }
    held = _groups(utility)
    left = len(utility)
    for a, b in combinations(utility, 2):
        one_way = utility[a] in rule.first and utility[b] in rule.second
        other_way = utility[b] in rule.first and utility[a] in rule.second
        if not (one_way or other_way) or (a, b) in settled:
            continue
        if len(utility) > ALL_PAIRS_UP_TO:
            if held[a] == held[b]:
                continue
            _unite(held, a, b)
            left -= 1
        yield a, b
        if left == 1:
            return  # all are held together
