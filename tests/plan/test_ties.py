"""Which lines hang on energized ones by metal."""

import networkx as nx
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.plan.gate import Tie
from corridor.plan.ties import hazard_ties

NO_LINKS = pd.DataFrame({"kind": [], "line_a": [], "line_b": []})


def some_lines(**utilities: str) -> pd.DataFrame:
    return pd.DataFrame([{"line_id": line, "utility": utility} for line, utility in utilities.items()])


def some_bonds(*rows: tuple[str, str, str, str | None, str | None]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["bond_id", "line_a", "line_b", "state", "evidence"])


def junctions(*pairs: tuple[str, str]) -> pd.DataFrame:
    return pd.DataFrame([{"kind": "junction", "line_a": a, "line_b": b} for a, b in pairs], columns=list(NO_LINKS))


def told(ties: tuple[Tie, ...]) -> list[tuple[str, tuple[str, ...], bool]]:
    return [(tie.line["line_id"], tie.through, tie.certain) for tie in ties]


@pytest.mark.parametrize("evidence", ["recorded", "observed", "measured"])
def test_closed_known_bonds_are_certain(evidence: str) -> None:
    lines = some_lines(W="water", E="electricity")
    ties = hazard_ties(lines, some_bonds(("B", "E", "W", "closed", evidence)), NO_LINKS, targets=["W"])
    assert told(ties["W"]) == [("E", ("B",), True)]


@pytest.mark.parametrize(
    ("state", "evidence"),
    [
        ("closed", "inferred"), ("closed", "suspected"), ("unknown", "recorded"), (None, "recorded"),
        ("unknown", "suspected"), ("open", "suspected"), ("closed", None), (None, None),
    ],
)  # fmt: skip
def test_all_else_is_uncertain(state: str | None, evidence: str | None) -> None:
    lines = some_lines(W="water", E="electricity")
    ties = hazard_ties(lines, some_bonds(("B", "E", "W", state, evidence)), NO_LINKS, targets=["W"])
    assert told(ties["W"]) == [("E", ("B",), False)]


def test_a_known_open_bond_connects_nothing() -> None:
    lines = some_lines(W="water", E="electricity")
    assert hazard_ties(lines, some_bonds(("B", "E", "W", "open", "measured")), NO_LINKS, targets=["W"])["W"] == ()


def test_ties_run_on_through_other_lines_and_junctions() -> None:
    lines = some_lines(W1="water", W2="water", G="gas", E="electricity")
    bonds = some_bonds(("B1", "G", "W2", "closed", "recorded"), ("B2", "E", "G", "closed", "observed"))
    ties = hazard_ties(lines, bonds, junctions(("W1", "W2")), targets=["W1", "G"])
    assert told(ties["W1"]) == [("E", ("B1", "B2"), True)]
    assert told(ties["G"]) == [("E", ("B2",), True)]


def test_a_target_isnt_tied_to_itself() -> None:
    assert hazard_ties(some_lines(E="electricity"), some_bonds(), NO_LINKS, targets=["E"])["E"] == ()


def test_only_the_first_uncertain_bond_has_to_be_checked() -> None:
    lines = some_lines(W="water", G="gas", E="electricity", T="telecommunications")
    bonds = some_bonds(
        ("B1", "G", "W", "closed", "inferred"),
        ("B2", "E", "G", "closed", "suspected"),
        ("B3", "T", "W", "closed", "suspected"),  # leads nowhere dangerous
    )
    assert told(hazard_ties(lines, bonds, NO_LINKS, targets=["W"])["W"]) == [("E", ("B1",), False)]


def test_the_bonds_own_other_end_is_named_where_it_counts() -> None:
    lines = some_lines(W="water", E1="electricity", E2="electricity", G="gas")
    bonds = some_bonds(("B1", "E2", "W", "closed", "inferred"), ("B2", "G", "W", "closed", "inferred"))
    ties = hazard_ties(lines, bonds, junctions(("E1", "E2"), ("E1", "G")), targets=["W"])
    assert told(ties["W"]) == [("E2", ("B1",), False), ("E1", ("B2",), False)]


def test_every_uncertain_bond_out_of_the_group_is_named() -> None:
    lines = some_lines(W1="water", W2="water", E="electricity")
    bonds = some_bonds(("B1", "E", "W1", "unknown", "recorded"), ("B2", "E", "W2", "closed", "suspected"))
    ties = hazard_ties(lines, bonds, junctions(("W1", "W2")), targets=["W1"])
    assert told(ties["W1"]) == [("E", ("B1",), False), ("E", ("B2",), False)]


def test_lines_that_arent_there_and_earth_connect_nothing() -> None:
    lines = some_lines(W="water", E="electricity").assign(status=["in_service", "removed"])
    bonds = some_bonds(("B1", "E", "W", "closed", "recorded"), ("B2", "W", "earth", "closed", "recorded"))
    assert hazard_ties(lines, bonds, NO_LINKS, targets=["W", "E"]) == {"W": (), "E": ()}


def test_nearest_of_each_kind_of_hazard() -> None:
    lines = some_lines(W="water", E1="electricity", E2="electricity", U="unknown")
    bonds = some_bonds(
        ("B1", "E1", "W", "closed", "recorded"), ("B2", "E1", "E2", "closed", "recorded"),
        ("B3", "E2", "U", "closed", "recorded"),
    )  # fmt: skip
    ties = hazard_ties(lines, bonds, NO_LINKS, targets=["W"])
    assert told(ties["W"]) == [("E1", ("B1",), True), ("U", ("B1", "B2", "B3"), True)]


NAMES = [f"L{n}" for n in range(7)]
rows = st.tuples(
    st.sampled_from(NAMES), st.sampled_from(NAMES), st.sampled_from(["closed", "open", "unknown"]),
    st.sampled_from(["recorded", "inferred"]),
)  # fmt: skip


@given(st.lists(rows, max_size=10), st.lists(st.sampled_from(["water", "electricity"]), min_size=7, max_size=7))
def test_certain_and_uncertain_ties_match_plain_reachability(
    found: list[tuple[str, str, str, str]], utilities: list[str]
) -> None:
    lines = some_lines(**dict(zip(NAMES, utilities, strict=True)))
    bonds = some_bonds(*((f"B{n}", a, b, state, evidence) for n, (a, b, state, evidence) in enumerate(found)))
    ties = hazard_ties(lines, bonds, NO_LINKS, targets=NAMES)
    sure, maybe = nx.Graph(), nx.Graph()
    sure.add_nodes_from(NAMES)
    maybe.add_nodes_from(NAMES)
    for a, b, state, evidence in found:
        if state == "closed" and evidence == "recorded":
            sure.add_edge(a, b)
        if not (state == "open" and evidence == "recorded"):
            maybe.add_edge(a, b)
    live = {name for name, utility in zip(NAMES, utilities, strict=True) if utility == "electricity"}
    for name in NAMES:
        near = nx.node_connected_component(sure, name)
        far = nx.node_connected_component(maybe, name)
        assert any(tie.certain for tie in ties[name]) == bool((near - {name}) & live)
        assert any(not tie.certain for tie in ties[name]) == bool((far - near) & live)
