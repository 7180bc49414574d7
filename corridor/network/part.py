"""A part of a network: the spans kept, and the links and grounds between them."""

from collections.abc import Collection

from corridor.network.model import Network

__all__ = ["part_of"]


def part_of(network: Network, span_ids: Collection[str]) -> Network:
    """Return the network with only some of its spans; nodes, links and grounds that lose their place go too."""
    spans = network.spans[network.spans["span_id"].isin(span_ids)]
    kept = {*spans["node_start"], *spans["node_end"]}
    links = network.links[network.links["node_a"].isin(kept) & network.links["node_b"].isin(kept)]
    return Network(
        graph=network.graph,
        spans=spans,
        nodes=network.nodes[network.nodes["node_id"].isin(kept)],
        links=links,
        grounds=network.grounds[network.grounds["node_id"].isin(kept)],
        extract_ends=tuple(name for name in network.extract_ends if name in kept),
    )
