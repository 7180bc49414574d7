"""What the hops of bleed paths are called, and where they lie."""

from typing import Any

import geopandas as gpd
import numpy as np
from shapely import Point

from corridor.couplings.model import Couplings
from corridor.tone.bleed import SOURCE, Entry
from corridor.tone.model import ToneModel

__all__ = ["HopNames"]


class HopNames:
    """Words, names and places of the hops of bleed paths, for all set-ups of a network.

    Parameters
    ----------
    couplings : Couplings
        Names of runs and crossings, evidence of bonds.
    model : ToneModel
        Where the bonds' nodes stand.

    Attributes
    ----------
    evidence : dict
        By bond_id.
    """

    def __init__(self, couplings: Couplings, model: ToneModel) -> None:
        self._model = model
        self._places: dict[int, Point] = {}  # a bond is passed by many ways
        self.evidence = dict(zip(couplings.bonds_found["bond_id"], couplings.bonds_found["evidence"], strict=True))
        self._runs = self._by_pair(couplings.parallel_runs, "run_id", "length_m")
        self._crossings = self._by_pair(couplings.crossings, "crossing_id", "angle_deg")

    @staticmethod
    def _by_pair(frame: gpd.GeoDataFrame, name: str, size: str) -> dict[tuple[str, str], tuple[str, Any]]:
        ordered = frame.sort_values(size, kind="stable")
        return {
            (a, b): (key, shape)
            for a, b, key, shape in zip(
                ordered["line_a"], ordered["line_b"], ordered[name], ordered.geometry, strict=True
            )
        }

    def of(self, entry: Entry) -> tuple[str, str, Any]:
        """Return kind, name and geometry of a hop.

        Parameters
        ----------
        entry : Entry
            How the tone came onto the hop's line.

        Returns
        -------
        tuple
            As the columns of ``bleed_paths`` hold them: kind, through, geometry; None where it has no place.
        """
        if entry.kind == "induced" and entry.from_line != SOURCE:
            pair = (min(entry.from_line, entry.line_id), max(entry.from_line, entry.line_id))
            if pair in self._runs:
                return "parallel run", *self._runs[pair]
            if pair in self._crossings:
                return "crossing", *self._crossings[pair]
            return "parallel run", "", None  # farther apart than a run counts
        if entry.kind == "induced":
            return "hook-up", "ground stake", None
        return entry.kind, entry.through, self._place(entry.node) if entry.node >= 0 else None

    def _place(self, node: int) -> Point:
        if node not in self._places:
            at = int(np.searchsorted(self._model.layout.start_node, node, side="right")) - 1
            end = self._model.start_m if self._model.layout.start_node[at] == node else self._model.end_m
            self._places[node] = Point(end[at, :2] + self._model.origin_m)
        return self._places[node]
