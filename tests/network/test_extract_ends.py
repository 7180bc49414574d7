"""Ends that the extract cut are named in the network, and kept in its parts."""

from typing import Any

from corridor import find_bonds
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.network.part import part_of
from tests.builders import make_site

LAYER = {"src_feature_source": "power.gpkg:cables"}
LINES = (
    LAYER | {"line_id": "A", "geometry": [(0, 0), (100, 0)]},
    LAYER | {"line_id": "B", "geometry": [(20, 0), (20, 40)]},
    LAYER | {"line_id": "C", "geometry": [(50, 30), (50, 10)]},
)


def network(lines: Any = LINES, **tables: Any) -> Network:
    site = make_site(lines=lines, **tables)
    return build_network(site, find_bonds(site))


def test_ends_on_the_edge_of_the_layer_are_named() -> None:
    assert network().extract_ends == ("A@0.000", "A@100.000", "B@40.000")


def test_an_end_at_a_structure_is_none() -> None:
    structures = [{"structure_id": "M", "kind": "manhole", "geometry": (100, 0.2)}]
    terminations = [{"structure_id": "M", "line_id": "A", "at": "end"}]
    assert network(structures=structures, terminations=terminations).extract_ends == ("A@0.000", "B@40.000")


def test_lines_without_a_layer_and_lines_that_carry_nothing_have_none() -> None:
    bare = [{key: value for key, value in row.items() if key != "src_feature_source"} for row in LINES]
    assert network(bare).extract_ends == ()
    dead = [row | {"conductive": "no"} if row["line_id"] == "A" else row for row in LINES]
    assert network(dead).extract_ends == ("B@40.000",)


def test_a_part_keeps_the_ends_of_its_spans() -> None:
    whole = network()
    part = part_of(whole, [name for name in whole.spans["span_id"] if name.startswith("B#")])
    assert part.extract_ends == ("B@40.000",)
