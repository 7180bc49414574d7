"""Finding one's way in a network: the node at a place, and the links between two lines."""

from __future__ import annotations

import pandas as pd

from corridor.errors import InputError
from corridor.network.model import Network

__all__ = ["links_between", "node_at"]


def node_at(network: Network, line_id: str, at_m: float) -> str:
    """Return the node of a line that is nearest to a measure along it; of two as near, the one before.

    Raises
    ------
    InputError
        If the network has no such line.
    """
    nodes = network.nodes[network.nodes["line_id"] == line_id]
    if nodes.empty:
        message = f"expected a line of the network, got {line_id!r}; it is not in the records or carries no tone"
        raise InputError(message)
    return str(nodes["node_id"].loc[(nodes["at_m"] - at_m).abs().idxmin()])


def links_between(network: Network, line_a: str, line_b: str) -> pd.DataFrame:
    """Return the links (junctions, bonds, isolations) that join two lines directly, in the order of the network."""
    links = network.links
    one_way = (links["line_a"] == line_a) & (links["line_b"] == line_b)
    other_way = (links["line_a"] == line_b) & (links["line_b"] == line_a)
    return links[one_way | other_way]
