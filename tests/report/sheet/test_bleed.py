"""Lines that take tone: the strongest first, with range and the main way."""

from typing import Any

import pandas as pd

from corridor.report.sheet.bleed import strongest_leaks
from tests.report.sheet.conftest import words

COLUMNS = ("path_id", "line_id", "hop", "kind", "from_line", "to_line", "through", "share_of_line", "evidence",
           "line_current_ma", "line_current_low_ma", "line_current_high_ma")  # fmt: skip


def hop(path: str, line: str, number: int, kind: str | None, **more: Any) -> dict[str, Any]:
    strength = {"line_current_ma": 1.0, "line_current_low_ma": 0.5, "line_current_high_ma": 2.0}
    row = dict.fromkeys(COLUMNS) | {"path_id": path, "line_id": line, "hop": number, "kind": kind, "share_of_line": 0.9}
    return row | strength | more


def leaks(*rows: dict[str, Any], wanted: str = "A", most: int = 4) -> list[str]:
    frame = pd.DataFrame(list(rows), columns=list(COLUMNS))
    return [words(leak.text()) for leak in strongest_leaks(frame, set(wanted.split()), most=most)]


SOURCE = {"to_line": "A", "through": "direct"}


def test_the_main_way_is_told_hop_by_hop_with_current_and_range() -> None:
    rows = [
        hop("1", "B", 1, "hook-up", **SOURCE),
        hop("1", "B", 2, "bond", from_line="A", to_line="B", through="B-1", evidence="recorded"),
        hop("2", "B", 1, "leakage", to_line="B", through="ground stake", share_of_line=0.1),
    ]
    assert leaks(*rows) == ["B 1 mA (0.500 to 2 mA): source → A → bond B-1 → B"]


def test_a_bond_that_was_found_is_told_by_its_evidence_and_the_stake_by_name() -> None:
    found = hop("1", "B", 1, "bond", from_line="A", to_line="B", through="rule~M~A~B", evidence="suspected")
    assert leaks(found) == ["B 1 mA (0.500 to 2 mA): A → bond (suspected) → B"]
    stake = hop("1", "B", 1, "leakage", to_line="B", through="ground stake")
    assert leaks(stake) == ["B 1 mA (0.500 to 2 mA): ground stake → soil → B"]


def test_the_strongest_come_first_and_what_is_wanted_is_no_leak() -> None:
    rows = [hop(name, name, 1, "leakage", to_line=name, through="ground stake", line_current_ma=ma)
            for name, ma in (("B", 1.0), ("C", 3.0), ("D", 2.0), ("A", 9.0))]  # fmt: skip
    assert [text[0] for text in leaks(*rows)] == ["C", "D", "B"]
    assert [text[0] for text in leaks(*rows, most=1)] == ["C"]
    assert leaks(*rows, wanted="A B C D") == []


def test_further_ways_without_a_kind_are_no_way() -> None:
    assert leaks(hop("9", "B", 1, None, through="further ways, each under 5 %")) == []


def test_of_a_long_way_the_middle_is_left_out_visibly() -> None:
    names = "ABCDEFG"
    chain = [hop("1", "G", k + 1, "conduction", from_line=names[k], to_line=names[k + 1]) for k in range(6)]
    (text,) = leaks(*chain)
    assert text.endswith("A → metal → B → metal → … → F → metal → G")
