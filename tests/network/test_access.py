"""Finding one's way in a network."""

import pytest

from corridor.errors import InputError
from corridor.network import links_between, node_at
from tests.network.small import built, small_site

NETWORK = built(small_site())[0]


@pytest.mark.parametrize(
    ("at_m", "node"),
    [(-5.0, "E2@0.000"), (9.0, "E2@0.000"), (11.0, "E2@20.000"), (25.0, "E2@20.000"), (99.0, "E2@40.000")],
)
def test_the_nearest_node_of_a_line(at_m: float, node: str) -> None:
    assert node_at(NETWORK, "E2", at_m) == node


@pytest.mark.parametrize("name", ["P1", "nothing"])
def test_a_line_that_is_not_in_the_network_is_named(name: str) -> None:
    with pytest.raises(InputError, match=f"expected a line of the network, got '{name}'"):
        node_at(NETWORK, name, 0.0)


def test_links_between_two_lines_either_way_round() -> None:
    assert list(links_between(NETWORK, "E2", "E1")["link_id"]) == ["junction:E1@10.000:E2@0.000"]
    assert list(links_between(NETWORK, "E1", "W1")["kind"]) == ["bond"]
    assert links_between(NETWORK, "E1", "G1").empty
