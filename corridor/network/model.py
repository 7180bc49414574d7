"""The network: how the conductors of a site connect."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import networkx as nx
import pandas as pd

__all__ = ["Network"]


@dataclass(frozen=True)
class Network:
    """Spans between nodes, and the links, grounds and isolations at the nodes.

    Attributes
    ----------
    graph : networkx.MultiGraph
        Node = node_id with x_m, y_m; edges: key = span_id (attrs kind="span", line_id, length_m) and
        key = link_id (attrs kind = junction, bond or isolation, closed, switchable, probability).
        Grounds are node attributes (``ground_ids``).
    spans : GeoDataFrame
        span_id, line_id, node_start, node_end, start_m, end_m (measures along the line), geometry (LineString in the
        line's direction). Only conductive lines that exist; cut at every node that matters electrically.
        Gasketed joints along a span are not nodes: the tone room cuts there.
    nodes : GeoDataFrame
        node_id, line_id, at_m, kind (end, tee, isolation, bond, ground, access), geometry. A node belongs to one
        line. An isolating joint inside a line has a node on either side, ``<line_id>@<at_m>`` towards the line's start
        and the same with a plus sign towards its end, joined by an isolation.
    links : DataFrame
        link_id, kind (junction, bond, isolation), node_a, node_b, line_a, line_b, closed (nominal state), switchable
        (solved both ways), resistance_ohm, capacitance_f, probability, evidence, source_id (bond_id, structure_id).
    grounds : GeoDataFrame
        ground_id, node_id, line_id, resistance_ohm, evidence, closed, switchable, probability, resistance_low_ohm,
        resistance_high_ohm, geometry. A bond to earth is one too, with its bond_id for name.
    extract_ends : tuple of str
        Nodes at ends that the extract of the records cut, sorted: solved as going on and as ending.
    """

    graph: nx.MultiGraph[str]
    spans: gpd.GeoDataFrame
    nodes: gpd.GeoDataFrame
    links: pd.DataFrame
    grounds: gpd.GeoDataFrame
    extract_ends: tuple[str, ...] = ()
