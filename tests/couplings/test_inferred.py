"""Bonds that rules suggest: all structures at once against one by one."""

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings.inferred import ALL_PAIRS_UP_TO, Held, Suggested, suggested_bonds
from corridor.couplings.rules import RULES

KINDS = ("building_entry", "manhole", "cabinet", "transformer", "hydrant")
UTILITIES = ("electricity", "telecommunications", "water", "gas", "lighting", "traffic_signal")
RULE = {rule.name: number for number, rule in enumerate(RULES)}


class _Everywhere(Mapping[str, set[tuple[str, str]]]):
    """Says of every structure that something meets there, and then names nothing: each is looked at by itself."""

    def __contains__(self, key: object) -> bool:
        return True

    def __getitem__(self, key: str) -> set[tuple[str, str]]:
        return set()

    def __iter__(self):  # type: ignore[no-untyped-def]
        return iter(())

    def __len__(self) -> int:
        return 0


def _held(rows: list[tuple[int, int, str, str, float, bool]], kinds: list[str]) -> Held:
    """Rows of structure, line, utility, asset, measure and end."""
    point, line, utility, asset, measure, end = (np.array(column) for column in zip(*rows, strict=True))
    return Held(
        structure_id=np.array([f"S{k}" for k in point], dtype=object), kind=np.array(kinds, dtype=object)[point],
        point=point, line=line, line_id=np.array([f"L{k:02d}" for k in line], dtype=object),
        utility=utility.astype(object), asset=asset.astype(object), measure_m=measure, end=end,
    )  # fmt: skip


def _random(seed: int) -> Held:
    rng = np.random.default_rng(seed)
    kinds = list(rng.choice(KINDS, 12))
    lines = [(str(rng.choice(UTILITIES)), str(rng.choice(["cable", "pipe"]))) for _ in range(20)]
    rows = [
        (s, int(k), *lines[k], float(rng.choice([0.0, 0.3, 9.0])), bool(rng.random() < 0.7))
        for s in range(12)
        for k in np.sort(rng.choice(20, rng.integers(2, ALL_PAIRS_UP_TO + 4), replace=False))
    ]
    return _held(rows, kinds)


def _rows(found: Suggested) -> list[tuple[int, int, int]]:
    return list(zip(found.rule.tolist(), found.a.tolist(), found.b.tolist(), strict=True))


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_all_at_once_is_as_one_by_one(seed: int) -> None:
    held = _random(seed)
    quick = suggested_bonds(held, joined={}, bonded={}, reach_m=0.5)
    assert _rows(quick) == _rows(suggested_bonds(held, joined=_Everywhere(), bonded={}, reach_m=0.5))
    for number, a, b in _rows(quick):
        rule = RULES[number]
        assert held.point[a] == held.point[b]
        assert held.line_id[a] < held.line_id[b]
        assert held.kind[a] in rule.kinds
        assert {held.utility[a], held.utility[b]} <= {*rule.first, *rule.second}
        assert rule.passing or (held.end[a] and held.end[b])


def _entry(measure_m: float, *more: tuple[int, float]) -> Held:
    """Electricity and water at building entries: each further one with its place along the electric line."""
    entries = [(0, measure_m), *more]
    rows = [row for s, at_m in entries for row in
            ((s, 0, "electricity", "cable", at_m, True), (s, 1, "water", "pipe", at_m, True))]  # fmt: skip
    return _held(rows, ["building_entry"] * len(entries))


@pytest.mark.parametrize(("again_m", "count"), [(4.0, 1), (4.4, 1), (4.6, 2)])
def test_two_records_of_one_building_are_one_bond(again_m: float, count: int) -> None:
    found = suggested_bonds(_entry(4.0, (1, again_m)), joined={}, bonded={}, reach_m=0.5)
    assert found.rule.tolist() == [RULE["service_entrance_water"]] * count


def test_lines_that_meet_or_have_a_recorded_bond_get_none() -> None:
    held, pair = _entry(4.0), {"S0": {("L00", "L01")}}
    assert len(suggested_bonds(held, joined={}, bonded={}, reach_m=0.5).rule) == 1
    assert len(suggested_bonds(held, joined=pair, bonded={}, reach_m=0.5).rule) == 0
    assert len(suggested_bonds(held, joined={}, bonded=pair, reach_m=0.5).rule) == 0


def test_a_full_chamber_is_held_together_by_one_bond_less_than_it_has_lines() -> None:
    count = ALL_PAIRS_UP_TO + 3
    held = _held([(0, k, "electricity", "cable", 0.0, True) for k in range(count)], ["manhole"])
    assert len(suggested_bonds(held, joined={}, bonded={}, reach_m=0.5).rule) == count - 1


def test_no_structures_no_bonds() -> None:
    none = Held(*(np.empty(0, kind) for kind in (object, object, int, int, object, object, object, float, bool)))
    assert len(suggested_bonds(none, joined={}, bonded={}, reach_m=0.5).rule) == 0
