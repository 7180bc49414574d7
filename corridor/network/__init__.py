"""How the conductors of a site connect: spans, links, grounds, groups and reach."""

from corridor.network.access import links_between, node_at
from corridor.network.bonded import BondedNetworks, bonded_networks
from corridor.network.build import build_network
from corridor.network.groups import bonded_groups
from corridor.network.isolations import isolations
from corridor.network.model import Network
from corridor.network.reach import Growth, grow, reach_graph

__all__ = [
    "BondedNetworks",
    "Growth",
    "Network",
    "bonded_groups",
    "bonded_networks",
    "build_network",
    "grow",
    "isolations",
    "links_between",
    "node_at",
    "reach_graph",
]
