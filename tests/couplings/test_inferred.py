"""Bonds that rules suggest: all structures at once against one by one, in plain words."""

from collections.abc import Iterator
from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.couplings import inferred
from corridor.couplings.inferred import ALL_PAIRS_UP_TO, Held, Suggested, suggested_bonds, within_utility, word_numbers
from corridor.couplings.rules import RULES, BondRule

Ints = NDArray[np.int64]

KINDS = ("building_entry", "manhole", "cabinet", "transformer", "hydrant")
UTILITIES = ("electricity", "telecommunications", "water", "gas", "lighting", "traffic_signal")
RULE = {rule.name: number for number, rule in enumerate(RULES)}


def _held(rows: list[tuple[int, int, str, str, float, bool]], kinds: list[str]) -> Held:
    """Rows of structure, line, utility, asset, measure and end."""
    point, line, utility, asset, measure, end = (np.array(column) for column in zip(*rows, strict=True))
    return Held(
        structure=point, kind=word_numbers(np.array(kinds, dtype=object), inferred.KINDS)[point], point=point,
        line=line, utility=word_numbers(utility.astype(object), inferred.UTILITIES), cable=asset == "cable",
        measure_m=measure, end=end,
    )  # fmt: skip


def _random(seed: int, *, measures: tuple[float, ...] = (0.0, 0.3, 9.0)) -> Held:
    rng = np.random.default_rng(seed)
    kinds = list(rng.choice(KINDS, 12))
    lines = [(str(rng.choice(UTILITIES)), str(rng.choice(["cable", "pipe"]))) for _ in range(20)]
    rows = [
        (s, int(k), *lines[k], float(rng.choice(measures)), bool(rng.random() < 0.7))
        for s in range(12)
        for k in np.sort(rng.choice(20, rng.integers(2, ALL_PAIRS_UP_TO + 4), replace=False))
    ]
    return _held(rows, kinds)


def _pairs_at(rng: np.random.Generator, count: int) -> Ints:
    """Pairs of lines at structures, some of which aren't there."""
    pairs = np.column_stack((rng.integers(0, 12, count), np.sort(rng.integers(0, 21, (count, 2)), axis=1)))
    return pairs[pairs[:, 1] < pairs[:, 2]]


NONE = np.empty((0, 3), np.int64)


def _plainly(held: Held, joined: Ints, bonded: Ints) -> Iterator[tuple[int, int, int]]:
    """Yield what the rules suggest, by structure, rule and pair."""
    for point in np.unique(held.point):
        rows = np.flatnonzero(held.point == point).tolist()
        place = {int(held.line[k]): k for k in rows}
        one: nx.Graph = nx.Graph()
        one.add_nodes_from(rows)
        one.add_edges_from((place[a], place[b]) for a, b in _own(joined, point) if a in place and b in place)
        group = {k: number for number, part in enumerate(nx.connected_components(one)) for k in part}
        known = {frozenset((group[place[a]], group[place[b]])) for a, b in _own(bonded, point)
                 if a in place and b in place}  # fmt: skip
        for number, rule in enumerate(RULES):
            yield from ((number, a, b) for a, b in _suggested(rule, held, rows, (group, known)))


def _own(pairs: Ints, structure: int) -> list[tuple[int, int]]:
    return [(a, b) for s, a, b in pairs.tolist() if s == structure]


def _suggested(
    rule: BondRule, held: Held, rows: list[int], settled: tuple[dict[int, int], set[frozenset[int]]]
) -> Iterator[tuple[int, int]]:
    group, known = settled
    words = {k: inferred.UTILITIES[held.utility[k]] if held.utility[k] >= 0 else "" for k in rows}
    if held.kind[rows[0]] < 0 or inferred.KINDS[held.kind[rows[0]]] not in rule.kinds:
        return
    usable = [k for k in rows if words[k] in (*rule.first, *rule.second) and (held.end[k] or rule.passing)]
    usable = [k for k in usable if held.cable[k] or not rule.cables]
    tree: nx.Graph = nx.Graph()
    tree.add_nodes_from(usable)
    for a, b in combinations(usable, 2):
        sides = (words[a] in rule.first, words[b] in rule.second), (words[b] in rule.first, words[a] in rule.second)
        if not any(map(all, sides)) or group[a] == group[b] or frozenset((group[a], group[b])) in known:
            continue
        if len(usable) > ALL_PAIRS_UP_TO:
            if nx.has_path(tree, a, b):
                continue
            tree.add_edge(a, b)
        yield a, b


def _rows(found: Suggested) -> list[tuple[int, int, int]]:
    return list(zip(found.rule.tolist(), found.a.tolist(), found.b.tolist(), strict=True))


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_all_at_once_is_as_one_by_one(seed: int) -> None:
    held = _random(seed)
    rng = np.random.default_rng(seed)
    joined, bonded = _pairs_at(rng, 30), _pairs_at(rng, int(rng.choice([0, 30])))
    found = suggested_bonds(held, joined=joined, bonded=bonded, reach_m=-1.0)  # two in one place are two
    assert _rows(found) == list(_plainly(held, joined, bonded))
    for number, a, b in _rows(found):
        rule = RULES[number]
        assert held.point[a] == held.point[b]
        assert held.line[a] < held.line[b]
        assert inferred.KINDS[held.kind[a]] in rule.kinds
        assert {inferred.UTILITIES[held.utility[k]] for k in (a, b)} <= {*rule.first, *rule.second}
        assert rule.passing or (held.end[a] and held.end[b])


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_of_bonds_of_one_rule_and_pair_so_near_the_first_is_kept(seed: int) -> None:
    held = _random(seed)
    kept: list[tuple[int, int, int]] = []
    for number, a, b in _plainly(held, NONE, NONE):
        near = (held.measure_m[a] - held.measure_m[one] for rule, one, two in kept
                if (rule, held.line[one], held.line[two]) == (number, held.line[a], held.line[b]))  # fmt: skip
        if not any(abs(apart_m) <= 0.5 for apart_m in near):
            kept.append((number, a, b))
    assert _rows(suggested_bonds(held, joined=NONE, bonded=NONE, reach_m=0.5)) == kept


def test_there_is_room_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    held = _random(1)
    whole = suggested_bonds(held, joined=NONE, bonded=NONE, reach_m=0.5)
    monkeypatch.setattr(inferred, "_ROOM", 1)
    monkeypatch.setattr(inferred, "_ROOM_A_LINE", 0)
    assert _rows(suggested_bonds(held, joined=NONE, bonded=NONE, reach_m=0.5)) == _rows(whole)


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_lines_that_meet_matter_only_within_a_utility(seed: int) -> None:
    held = _random(seed)
    rng = np.random.default_rng(seed)
    one_of_kind = [(s, a, b) for s, a, b in _pairs_at(rng, 60).tolist()
                   if len({held.utility[held.line == k].max(initial=-1) for k in (a, b)}) == 1]  # fmt: skip
    joined = np.array(one_of_kind, dtype=np.int64).reshape(-1, 3)
    asked = joined[np.isin(joined[:, 0], held.structure[within_utility(held)])]
    all_, some = (_rows(suggested_bonds(held, joined=j, bonded=NONE, reach_m=0.5)) for j in (joined, asked))
    assert all_ == some


def _entry(measure_m: float, *more: tuple[int, float]) -> Held:
    """Electricity and water at building entries: each further one with its place along the electric line."""
    entries = [(0, measure_m), *more]
    rows = [row for s, at_m in entries for row in
            ((s, 0, "electricity", "cable", at_m, True), (s, 1, "water", "pipe", at_m, True))]  # fmt: skip
    return _held(rows, ["building_entry"] * len(entries))


@pytest.mark.parametrize(("again_m", "count"), [(4.0, 1), (4.4, 1), (4.6, 2)])
def test_two_records_of_one_building_are_one_bond(again_m: float, count: int) -> None:
    found = suggested_bonds(_entry(4.0, (1, again_m)), joined=NONE, bonded=NONE, reach_m=0.5)
    assert found.rule.tolist() == [RULE["service_entrance_water"]] * count


def test_lines_that_meet_or_have_a_recorded_bond_get_none() -> None:
    held, pair = _entry(4.0), np.array([[0, 0, 1]])
    assert len(suggested_bonds(held, joined=NONE, bonded=NONE, reach_m=0.5).rule) == 1
    assert len(suggested_bonds(held, joined=pair, bonded=NONE, reach_m=0.5).rule) == 0
    assert len(suggested_bonds(held, joined=NONE, bonded=pair, reach_m=0.5).rule) == 0


def test_a_full_chamber_is_held_together_by_one_bond_less_than_it_has_lines() -> None:
    count = ALL_PAIRS_UP_TO + 3
    held = _held([(0, k, "electricity", "cable", 0.0, True) for k in range(count)], ["manhole"])
    assert len(suggested_bonds(held, joined=NONE, bonded=NONE, reach_m=0.5).rule) == count - 1


def test_no_structures_no_bonds() -> None:
    none = Held(*(np.empty(0, kind) for kind in (int, int, int, int, int, bool, float, bool)))
    assert len(suggested_bonds(none, joined=NONE, bonded=NONE, reach_m=0.5).rule) == 0
