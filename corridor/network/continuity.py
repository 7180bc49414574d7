"""How surely a line is one piece of metal from end to end, by its record."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.bonds import PROBABILITY

__all__ = ["continuity", "weaker"]

_JOINTED = ("pipe", "casing")
_PARTING = ("gasketed", "insulated", "unknown")  # joints that may part the metal
_METAL_BY_NATURE = ("cable", "tracer_wire", "bare_conductor", "rail", "fence")


def continuity(lines: gpd.GeoDataFrame) -> NDArray[Any]:
    """Return the evidence that each line is continuous metal; shape (lines,), of words.

    suspected: a pipe or casing with gasketed, insulated or unknown joints and no tracer wire; its metal is taken as
    parted until a record says otherwise (common practice: UFC 3-570-06 (2003) 3-2.1 asks for bonds across the joints of
    iron pipe; the nominal solution has such joints blocking). inferred: the material, and with it that the line
    conducts at all, is assumed (engineering estimate); cables, wires, rails and fences are metal by nature. recorded:
    all others. The probabilities are those of bonds of the same evidence.

    Parameters
    ----------
    lines : GeoDataFrame
        Conductive lines with asset, joints, tracer_wire, and ``material_src`` and ``conductive_src`` where filled.
    """
    joined = ~lines["asset"].isin(_JOINTED) | ~lines["joints"].isin(_PARTING) | (lines["tracer_wire"] == "yes")
    known = np.ones(len(lines), dtype=bool)
    if {"material_src", "conductive_src"} <= set(lines):
        assumed = (lines["material_src"] == "default") & (lines["conductive_src"] == "inferred")
        known = (~assumed | lines["asset"].isin(_METAL_BY_NATURE) | (lines["tracer_wire"] == "yes")).to_numpy()
    return np.where(~joined.to_numpy(), "suspected", np.where(known, "recorded", "inferred")).astype(object)


def weaker(one: str, other: str) -> str:
    """Return the evidence that conducts less likely, of two that ``continuity`` gives."""
    return min(one, other, key=PROBABILITY.__getitem__)
