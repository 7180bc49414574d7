"""Group names from release to release, and the differences, worked out by hand."""

from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.errors import InputError
from corridor.network.edges import LEVELS
from corridor.network.groups import Group
from corridor.network.releases import NOT_KNOWN, differences, earlier_release, names_kept

LENGTH_M = dict.fromkeys("ABCDEFGHIJ", 10.0) | {"L": 100.0}


def groups(*lines: str, level: str = "recorded") -> list[Group]:
    return [Group(level, tuple(names), frozenset((n, 0, 0.0) for n in names), "recorded", 1.0) for names in lines]


def release(level: str = "recorded", **held: str) -> dict[str, dict[str, frozenset[str]]]:
    return {level: {name: frozenset(lines) for name, lines in held.items()}}


def told(now: list[Group], before: dict[str, dict[str, frozenset[str]]]) -> list[tuple[Any, ...]]:
    names = names_kept(now, before, LENGTH_M)
    rows = differences(now, names, before, LENGTH_M)
    return [
        (row["change"], row["group_ids"], row["previous_ids"], row["lines_gained"], row["lines_lost"]) for row in rows
    ]


def test_a_group_keeps_its_name_whatever_comes_first_in_it() -> None:
    assert names_kept(groups("ABC", "DE"), release(x="BC", y="DE"), LENGTH_M) == ["x", "y"]


def test_the_longest_overlap_counts_not_the_number_of_lines() -> None:
    assert names_kept(groups("ABCL"), release(many="ABC", long="LD"), LENGTH_M) == ["long"]


def test_a_name_is_given_once_and_a_new_group_takes_none_of_the_earlier_ones() -> None:
    before = {"recorded": {"recorded:A": frozenset("ABCDE")}}
    assert names_kept(groups("ABC", "DE"), before, LENGTH_M) == ["recorded:A", "recorded:D"]
    # the earlier release called another group recorded:D
    before["recorded"]["recorded:D"] = frozenset("GH")
    assert names_kept(groups("ABC", "DE"), before, LENGTH_M) == ["recorded:A", "recorded:D:2"]


def test_of_two_earlier_groups_that_share_as_much_the_one_of_the_same_lines() -> None:
    assert names_kept(groups("AB"), release(a="ABC", b="AB"), LENGTH_M) == ["b"]
    assert names_kept(groups("AB"), release(b="AC", a="BD"), LENGTH_M) == ["a"]


def test_levels_are_apart() -> None:
    assert names_kept(groups("AB", level="likely"), release(x="AB"), LENGTH_M) == ["likely:A"]


@pytest.mark.parametrize(
    ("now", "before", "rows"),
    [
        (["AB", "CD"], {"x": "AB", "y": "CD"}, []),
        (["AB"], {}, [("new", "recorded:A", None, "A B", None)]),
        ([], {"x": "AB"}, [("vanished", None, "x", None, "A B")]),
        (["ABC"], {"x": "AB"}, [("changed", "x", "x", "C", None)]),
        (["AB"], {"x": "ABC"}, [("changed", "x", "x", None, "C")]),
        (["AD"], {"x": "AB"}, [("changed", "x", "x", "D", "B")]),
        (["ABCDE"], {"x": "AB", "y": "CD"}, [("merged", "x", "x y", "E", None)]),
        (["AB", "CDF"], {"x": "ABCDE"}, [("split", "recorded:C x", "x", "F", "E")]),
        (["AB", "CD"], {"x": "AC", "y": "BD"}, [
            ("merged", "x", "x y", None, None), ("merged", "y", "x y", None, None),
            ("split", "x y", "x", None, None), ("split", "x y", "y", None, None),
        ]),
        (["AB", "GH"], {"x": "AB", "y": "CD"}, [
            ("new", "recorded:G", None, "G H", None), ("vanished", None, "y", None, "C D"),
        ]),
    ],
)  # fmt: skip
def test_differences(now: list[str], before: dict[str, str], rows: list[tuple[Any, ...]]) -> None:
    assert told(groups(*now), release(**before)) == rows


def test_a_line_in_two_groups_neither_merges_nor_splits_them() -> None:
    # W may part: it stands in both groups, before and after
    length = LENGTH_M | {"W": 50.0}
    now, before = groups("ABCW", "DW"), release(x="ABW", y="DW")
    names = names_kept(now, before, length)
    assert names == ["x", "y"]
    (row,) = differences(now, names, before, length)
    assert (row["change"], row["group_ids"], row["lines_gained"]) == ("changed", "x", "C")


def test_lengths_are_of_lines_that_still_exist() -> None:
    (row,) = differences([], [], release(x="ABZ"), LENGTH_M)
    assert row["length_m"] == 20.0
    assert row["lines"] == ["A", "B", "Z"]


PARTITION = st.lists(st.integers(0, 4), min_size=8, max_size=8)


def parts(labels: list[int]) -> list[str]:
    held = ["".join(name for name, label in zip("ABCDEFGH", labels, strict=True) if label == k) for k in range(5)]
    return sorted(part for part in held if len(part) > 1)


@given(PARTITION, PARTITION)
def test_every_group_that_is_not_the_same_is_told(first: list[int], second: list[int]) -> None:
    before = {"recorded": {f"p{k}": frozenset(part) for k, part in enumerate(parts(first))}}
    now = groups(*parts(second))
    names = names_kept(now, before, LENGTH_M)
    rows = differences(now, names, before, LENGTH_M)
    assert len(set(names)) == len(names)
    assert len({row["change_id"] for row in rows}) == len(rows)
    said_now = {name for row in rows for name in (row["group_ids"] or "").split()}
    said_before = {name for row in rows for name in (row["previous_ids"] or "").split()}
    same = {name for name, group in zip(names, now, strict=True)
            if before["recorded"].get(name) == frozenset(group.lines)}  # fmt: skip
    assert said_now | same == set(names)
    assert said_before | same == set(before["recorded"])
    assert not (said_now | said_before) & same
    assert not same or {frozenset(g.lines) for g in now} & set(before["recorded"].values())


@given(PARTITION)
def test_the_same_groups_make_no_difference(labels: list[int]) -> None:
    before = {"recorded": {f"p{k}": frozenset(part) for k, part in enumerate(parts(labels))}}
    now = groups(*parts(labels))
    assert differences(now, names_kept(now, before, LENGTH_M), before, LENGTH_M) == []


def test_the_earlier_table_is_read_line_by_line() -> None:
    table = pd.DataFrame({
        "line_id": ["A", "B 1", "C", "D"],
        "group_recorded": ["r:A", "r:A r:C", "r:C", NOT_KNOWN],
        "group_likely": ["l:A", "l:A", "l:A", NOT_KNOWN],
        "group_possible": ["p:A", "p:A", "p:A", None],
    })  # fmt: skip
    found = earlier_release(table)
    assert list(found) == list(LEVELS)
    assert found["recorded"] == {"r:A": {"A", "B 1"}, "r:C": {"B 1", "C"}}
    assert found["possible"] == {"p:A": {"A", "B 1", "C"}}


def test_another_table_is_refused_by_name_of_what_it_lacks() -> None:
    with pytest.raises(InputError, match=r"expected the columns line_id.*group_likely, group_possible not there"):
        earlier_release(pd.DataFrame({"line_id": ["A"], "group_recorded": ["x"]}))
