"""Releases: the names of groups kept from an earlier result, and what differs between the two."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from corridor.errors import InputError
from corridor.network.edges import LEVELS
from corridor.network.groups import Group, group_names

__all__ = ["NOT_KNOWN", "Release", "differences", "earlier_release", "names_kept"]

NOT_KNOWN = "not known"
Held = Mapping[str, frozenset[str]]  # group_id -> its lines
Release = Mapping[str, Held]  # by level


def earlier_release(line_groups: pd.DataFrame) -> Release:
    """Return the groups of an earlier result from its table ``line_groups``.

    Raises
    ------
    InputError
        If the table lacks ``line_id`` or the group of a level.
    """
    columns = [f"group_{level}" for level in LEVELS]
    missing = [column for column in ("line_id", *columns) if column not in line_groups]
    if missing:
        message = (
            f"expected the columns line_id, {', '.join(columns)} in the earlier line_groups, {', '.join(missing)} not "
            "there; give a result that corridor bonds wrote"
        )
        raise InputError(message)
    found: dict[str, dict[str, set[str]]] = {level: {} for level in LEVELS}
    for level, column in zip(LEVELS, columns, strict=True):
        for line, names in zip(line_groups["line_id"], line_groups[column], strict=True):
            if isinstance(names, str) and names != NOT_KNOWN:
                for name in names.split():
                    found[level].setdefault(name, set()).add(str(line))
    return {level: {name: frozenset(lines) for name, lines in held.items()} for level, held in found.items()}


def names_kept(groups: Sequence[Group], earlier: Release, length_m: Mapping[str, float]) -> list[str]:
    """Return a name for each group: that of the earlier group it shares most length with, if no other shares more.

    A new group takes no name of the earlier result, so that a name always means one thing.

    Parameters
    ----------
    groups : sequence of Group
        Of this result.
    earlier : Release
        As ``earlier_release`` gives it.
    length_m : mapping of str to float, m
        By line_id.
    """
    shared = []
    index = {level: _groups_of(held) for level, held in earlier.items()}
    for number, group in enumerate(groups):
        before = earlier.get(group.level, {})
        for name, lines in _touching(group.lines, index.get(group.level, {})).items():
            common_m = round(sum(length_m[line] for line in lines), 6)
            shared.append((-common_m, len(before[name]) - len(lines), name, number))
    kept: list[str | None] = [None] * len(groups)
    used: set[tuple[str, str]] = set()
    for *_, name, number in sorted(shared):
        key = (groups[number].level, name)
        if kept[number] is None and key not in used:
            kept[number] = name
            used.add(key)
    barred = {name for held in earlier.values() for name in held}
    return group_names(groups, kept=kept, barred=barred)


def differences(
    groups: Sequence[Group], names: Sequence[str], earlier: Release, length_m: Mapping[str, float]
) -> list[dict[str, Any]]:
    """Return what differs from an earlier result, as rows of the table ``group_changes``, geometry apart.

    new: no line of the group was in one. vanished: no line of the earlier group is in one now. merged: the group holds
    lines of two or more earlier ones. split: the earlier group's lines are in two or more now. changed: one group
    before and after, with other lines. Groups of the same lines make no row. A line that stands in several groups of a
    level tells nothing here, unless a group has no other.

    Parameters
    ----------
    groups, names : sequences
        Of this result, name by name.
    earlier : Release
    length_m : mapping of str to float, m
        By line_id, of this result.
    """
    rows = []
    for level in LEVELS:
        now = {name: frozenset(g.lines) for name, g in zip(names, groups, strict=True) if g.level == level}
        before = dict(earlier.get(level, {}))
        same = {name for name in now if before.get(name) == now[name]}
        rows += _changes(level, _without(now, same), _without(before, same))
    for row in rows:
        row["length_m"] = sum(length_m.get(line, 0.0) for line in row["lines"])
        about = "previous_ids" if row["change"] in ("split", "vanished") else "group_ids"
        row["change_id"] = f"{row['change']}:{row[about]}"
    return sorted(rows, key=lambda row: (LEVELS.index(row["level"]), str(row["change"]), str(row["change_id"])))


def _without(held: Held, names: Iterable[str]) -> dict[str, frozenset[str]]:
    out = set(names)
    return {name: lines for name, lines in held.items() if name not in out}


def _changes(level: str, now: Held, before: Held) -> list[dict[str, Any]]:
    own_now, own_before = _own(now), _own(before)
    of_now, of_before = _groups_of(own_now), _groups_of(own_before)
    heirs = {name: sorted(_touching(lines, of_now)) for name, lines in own_before.items()}
    roots = {name: sorted(_touching(lines, of_before)) for name, lines in own_now.items()}
    was = frozenset().union(*before.values()) if before else frozenset()
    held = frozenset().union(*now.values()) if now else frozenset()
    rows = []
    for name, lines in now.items():
        if not roots[name]:
            rows.append(_row(level, "new", ([name], []), lines, gained=lines))
        elif len(roots[name]) > 1:
            rows.append(_row(level, "merged", ([name], roots[name]), lines, gained=lines - was))
        elif len(heirs[roots[name][0]]) == 1 and lines != before[roots[name][0]]:
            old = before[roots[name][0]]
            rows.append(_row(level, "changed", ([name], roots[name]), lines, gained=lines - old, lost=old - lines))
    for name, lines in before.items():
        if not heirs[name]:
            rows.append(_row(level, "vanished", ([], [name]), lines, lost=lines))
        elif len(heirs[name]) > 1:
            gained = frozenset().union(*(now[heir] for heir in heirs[name])) - was
            rows.append(_row(level, "split", (heirs[name], [name]), lines, gained=gained, lost=lines - held))
    return rows


def _row(
    level: str,
    change: str,
    ids: tuple[list[str], list[str]],
    lines: frozenset[str],
    *,
    gained: frozenset[str] = frozenset(),
    lost: frozenset[str] = frozenset(),
) -> dict[str, Any]:
    now, before = (" ".join(names) or None for names in ids)
    words = {"gained": " ".join(sorted(gained)) or None, "lost": " ".join(sorted(lost)) or None}
    return {
        "level": level, "change": change, "group_ids": now, "previous_ids": before,
        "lines_gained": words["gained"], "lines_lost": words["lost"], "lines": sorted(lines),
    }  # fmt: skip


def _own(held: Held) -> dict[str, frozenset[str]]:
    """Return the lines of each group that stand in no other, or all of them where it has no such."""
    count = Counter(line for lines in held.values() for line in lines)
    return {name: frozenset(x for x in lines if count[x] == 1) or lines for name, lines in held.items()}


def _groups_of(held: Held) -> dict[str, list[str]]:
    """Return the groups that each line is in."""
    found: dict[str, list[str]] = {}
    for name, lines in held.items():
        for line in lines:
            found.setdefault(line, []).append(name)
    return found


def _touching(lines: Iterable[str], groups_of: Mapping[str, Sequence[str]]) -> dict[str, set[str]]:
    """Return the groups that share lines with these, and the lines shared."""
    found: dict[str, set[str]] = {}
    for line in lines:
        for name in groups_of.get(line, ()):
            found.setdefault(name, set()).add(line)
    return found
