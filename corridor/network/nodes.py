"""Nodes: the places on lines that matter electrically, merged where they are practically one."""

from __future__ import annotations

from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

__all__ = ["NodeTable"]

MERGE_M = 0.3  # what happens on a line within this distance happens at one node
KINDS = ("end", "tee", "isolation", "bond", "ground", "access")  # the first to claim a place names it


@dataclass
class NodeTable:
    """Places asked for on lines, and after ``settle`` the nodes that stand for them.

    ``lines`` are the conductors as ``sorted_lines`` gives them; a place is a row of them and a measure.
    """

    lines: gpd.GeoDataFrame
    rows: list[int] = field(default_factory=list)
    measures: list[float] = field(default_factory=list)
    kinds: list[int] = field(default_factory=list)
    node_of: list[int] = field(default_factory=list)  # by place
    table: pd.DataFrame = field(default_factory=pd.DataFrame)  # by node: row, at_m, kind, node_id, far_id

    def ask(self, row: int, at_m: float, kind: str) -> int:
        """Ask for a node at a place and return the place's number."""
        self.rows.append(row)
        self.measures.append(at_m)
        self.kinds.append(KINDS.index(kind))
        return len(self.rows) - 1

    def settle(self) -> None:
        """Make the nodes: the two ends of a line always, every other place within 0.3 m of a node joins it.

        A node where an isolating joint parts the line has a second id, for the side of the line's end.
        """
        order = np.lexsort((self.measures, self.kinds, self.rows))
        self.node_of = [0] * len(order)
        made: list[tuple[int, float, int, bool]] = []
        first_of_line = 0
        for place in order:
            row, at_m, kind = self.rows[place], self.measures[place], self.kinds[place]
            if made and made[-1][0] != row:
                first_of_line = len(made)
            near = min(range(first_of_line, len(made)), key=lambda n: abs(made[n][1] - at_m), default=None)
            if near is None or kind == 0 or abs(made[near][1] - at_m) > MERGE_M:
                near = len(made)
                made.append((row, at_m, kind, False))
            if KINDS[kind] == "isolation":
                made[near] = (*made[near][:3], True)
            self.node_of[place] = near
        ids = self.lines["line_id"].to_numpy(dtype=object)
        names = [f"{ids[row]}@{at_m:.3f}" for row, at_m, _, _ in made]
        self.table = pd.DataFrame({
            "row": [node[0] for node in made],
            "at_m": [node[1] for node in made],
            "kind": [KINDS[node[2]] for node in made],
            "node_id": names,
            "far_id": [f"{name}+" if node[3] else name for name, node in zip(names, made, strict=True)],
        })  # fmt: skip

    def node_id(self, place: int) -> str:
        """Return the node that stands for a place, on the side of the line's start where a joint parts it."""
        return str(self.table["node_id"].iat[self.node_of[place]])

    def far_id(self, place: int) -> str:
        """Return the node that stands for a place, on the side of the line's end."""
        return str(self.table["far_id"].iat[self.node_of[place]])

    def frame(self) -> gpd.GeoDataFrame:
        """Return node_id, line_id, at_m, kind and geometry, along each line, both sides of an isolating joint."""
        near = self.table.assign(side=0)
        far = self.table[self.table["far_id"] != self.table["node_id"]].assign(side=1)
        far = far.assign(node_id=far["far_id"])
        both = pd.concat([near, far]) if len(far) else near
        both = both.sort_values(["row", "at_m", "side"], kind="stable", ignore_index=True)
        shapes = self.lines.geometry.to_numpy()[both["row"].to_numpy(dtype=np.int64)]
        columns = pd.DataFrame({
            "node_id": both["node_id"].to_numpy(dtype=object),
            "line_id": self.lines["line_id"].to_numpy(dtype=object)[both["row"].to_numpy(dtype=np.int64)],
            "at_m": both["at_m"].to_numpy(dtype=float),
            "kind": both["kind"].to_numpy(dtype=object),
        })  # fmt: skip
        points = shapely.line_interpolate_point(shapes, both["at_m"].to_numpy(dtype=float))
        return gpd.GeoDataFrame(columns, geometry=points, crs=self.lines.crs)
