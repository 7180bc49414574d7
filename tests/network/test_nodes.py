"""Places on lines, merged into nodes."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings.segments import sorted_lines
from corridor.network.nodes import MERGE_M, NodeTable
from tests.builders import make_lines


def table(length_m: float = 10.0) -> NodeTable:
    lines = [{"line_id": name, "geometry": [(0, y), (length_m, y)]} for y, name in enumerate("ab")]
    nodes = NodeTable(sorted_lines(make_lines(lines)))
    for row in range(2):
        nodes.ask(row, 0.0, "end")
        nodes.ask(row, length_m, "end")
    return nodes


def test_places_far_apart_are_nodes_of_their_own() -> None:
    nodes = table()
    one, two, other = nodes.ask(0, 4.0, "bond"), nodes.ask(0, 4.5, "access"), nodes.ask(1, 4.0, "ground")
    nodes.settle()
    assert [nodes.node_id(p) for p in (one, two, other)] == ["a@4.000", "a@4.500", "b@4.000"]
    assert list(nodes.frame()["kind"]) == ["end", "bond", "access", "end", "end", "ground", "end"]


@pytest.mark.parametrize(("first", "second", "name"), [("bond", "tee", "a@4.200"), ("tee", "bond", "a@4.000")])
def test_the_stronger_kind_claims_the_place(first: str, second: str, name: str) -> None:
    nodes = table()
    one, two = nodes.ask(0, 4.0, first), nodes.ask(0, 4.2, second)
    nodes.settle()
    assert nodes.node_id(one) == nodes.node_id(two) == name


def test_ends_stay_two_on_a_very_short_line() -> None:
    nodes = table(0.2)
    place = nodes.ask(0, 0.15, "bond")
    nodes.settle()
    assert len(nodes.frame()) == 4
    assert nodes.node_id(place) == "a@0.200"


def test_an_isolating_joint_has_two_sides() -> None:
    nodes = table()
    joint, near = nodes.ask(0, 4.0, "isolation"), nodes.ask(0, 4.1, "bond")
    nodes.settle()
    assert (nodes.node_id(joint), nodes.far_id(joint)) == ("a@4.000", "a@4.000+")
    assert nodes.node_id(near) == "a@4.000"
    frame = nodes.frame()
    assert list(frame["node_id"])[:4] == ["a@0.000", "a@4.000", "a@4.000+", "a@10.000"]
    assert frame.geometry.x.tolist()[:4] == [0.0, 4.0, 4.0, 10.0]


def test_elsewhere_the_two_sides_are_one() -> None:
    nodes = table()
    place = nodes.ask(0, 4.0, "tee")
    nodes.settle()
    assert nodes.far_id(place) == nodes.node_id(place)


@given(
    st.lists(st.tuples(st.integers(0, 1), st.floats(0, 10), st.sampled_from(["tee", "bond", "access"])), max_size=12)
)
@settings(max_examples=15, deadline=None)
def test_every_place_has_a_node_near_it_and_nodes_are_apart(places: list[tuple[int, float, str]]) -> None:
    nodes = table()
    asked = [nodes.ask(*place) for place in places]
    nodes.settle()
    at = nodes.frame().set_index("node_id")
    for number, (row, at_m, _) in zip(asked, places, strict=True):
        node = at.loc[nodes.node_id(number)]
        assert node["line_id"] == "ab"[row]
        assert abs(node["at_m"] - at_m) <= MERGE_M
    for _, part in nodes.frame().groupby("line_id"):
        assert (part["at_m"].diff().dropna() > MERGE_M).all()
