"""How surely a line is one piece of metal from end to end, by its record."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from corridor.couplings.bonds import PROBABILITY
from corridor.site.materials import joint_types

__all__ = ["continuity", "may_part", "weaker"]

_JOINTED = ("pipe", "casing")
_METAL_BY_NATURE = ("cable", "tracer_wire", "bare_conductor", "rail", "fence")


def may_part(lines: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which lines have joints that may part their metal; shape (lines,).

    Pipes and casings whose kind of joint says so, unless a tracer wire carries the tone past them.

    Parameters
    ----------
    lines : DataFrame
        With asset, joints and tracer_wire.
    """
    parting = [name for name, joint in joint_types().items() if joint.parts]
    parted = lines["asset"].isin(_JOINTED) & lines["joints"].isin(parting) & (lines["tracer_wire"] != "yes")
    return parted.to_numpy(dtype=bool)


def continuity(lines: gpd.GeoDataFrame) -> NDArray[Any]:
    """Return the evidence that each line is continuous metal; shape (lines,), of words.

    suspected: a pipe or casing with gasketed, insulated or unknown joints and no tracer wire; its metal is taken as
    parted until a record says otherwise (common practice: UFC 3-570-06 (2003) 3-2.1 asks for bonds across the joints of
    iron pipe; the nominal solution has such joints blocking). inferred: the joints are corroded, or the material, and
    with it that the line conducts at all, is assumed (engineering estimate); cables, wires, rails and fences are metal
    by nature. recorded: all others. The probabilities are those of bonds of the same evidence.

    Parameters
    ----------
    lines : GeoDataFrame
        Conductive lines with asset, joints, tracer_wire, and ``material_src`` and ``conductive_src`` where filled.
    """
    parted = may_part(lines)
    conducting = [name for name, joint in joint_types().items() if joint.closed]
    joined = ~parted | lines["joints"].isin(conducting).to_numpy()
    known = np.ones(len(lines), dtype=bool)
    if {"material_src", "conductive_src"} <= set(lines):
        assumed = (lines["material_src"] == "default") & (lines["conductive_src"] == "inferred")
        known = (~assumed | lines["asset"].isin(_METAL_BY_NATURE) | (lines["tracer_wire"] == "yes")).to_numpy()
    return np.where(~joined, "suspected", np.where(known & ~parted, "recorded", "inferred")).astype(object)


def weaker(one: str, other: str) -> str:
    """Return the evidence that conducts less likely, of two that ``continuity`` gives."""
    return min(one, other, key=PROBABILITY.__getitem__)
