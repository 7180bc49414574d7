"""What stands in where a record is silent: sourced defaults with ranges, each told, and conductivity derived."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.constants import MM_PER_M
from corridor.dictionary import INPUT_TABLES
from corridor.site.depth_kind import to_axis
from corridor.site.findings import Findings
from corridor.site.materials import materials
from corridor.site.rules import first_matches
from corridor.site.tables import default_rules

__all__ = ["ASSUMABLE", "fill_defaults"]

# Range of a stated value where no accuracy is stated: engineering estimate, as PAS 128 QL-B1 has for depth (by a
# survey company's summary).
STATED_RANGE_SHARE = 0.15

_FILLED = {
    "material": "filled_material", "diameter_mm": "filled_diameter", "wall_mm": "filled_wall",
    "sheath": "filled_sheath", "sheath_bonding": "filled_sheath_bonding", "conductor_mm2": "filled_conductor",
    "joints": "filled_joints", "joint_spacing_m": "filled_joint_spacing", "coating": "filled_coating",
    "depth_m": "filled_depth",
}  # fmt: skip
_ELECTRICAL = {"wall_mm", "sheath", "sheath_bonding", "conductor_mm2", "joints", "joint_spacing_m", "coating"}
_ASKED = ("utility", "asset", "material", "sheath")  # what a rule may ask of a line
_RANGED = ("joint_spacing_m", "diameter_mm", "wall_mm", "conductor_mm2", "depth_m")

ASSUMABLE = tuple(name for name in INPUT_TABLES["lines"].names if name in _FILLED)
"""Columns that may rest on a default, in the dictionary's order."""


def fill_defaults(lines: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    """Fill what the records leave out, and derive whether each line conducts.

    Parameters
    ----------
    lines : GeoDataFrame
        Values read, with ``<column>_src`` for every mapped column; not changed.
    findings : Findings
        A finding for each line and column filled.

    Returns
    -------
    GeoDataFrame
        Filled columns have ``_src`` = default (conductive: inferred). ``<column>_low`` and ``<column>_high`` are added
        for joint_spacing_m, diameter_mm, wall_mm, conductor_mm2 and depth_m, ``assumed`` (bool) and
        ``assumed_columns`` (names in the dictionary's order, separated by spaces).
    """
    lines = lines.copy()
    _state_ranges(lines)
    for column in ("material", "diameter_mm"):
        _fill(lines, column, default_rules(column), findings)
    _conductive(lines, findings)
    for column in ("wall_mm", "sheath", "sheath_bonding", "conductor_mm2", "joints", "joint_spacing_m", "coating"):
        _fill(lines, column, default_rules(column), findings)
    lines = to_axis(lines, findings)
    _fill_depth(lines, default_rules("cover_m"), findings)
    _tell_continuity(lines, findings)
    filled = np.stack([(lines[f"{name}_src"] == "default").to_numpy(dtype=bool) for name in ASSUMABLE], axis=1)
    names = np.array(ASSUMABLE, dtype=object)
    lines["assumed"] = filled.any(axis=1)
    patterns, which = np.unique(filled, axis=0, return_inverse=True)
    told = np.array([" ".join(names[pattern]) for pattern in patterns] or [""], dtype=object)
    lines["assumed_columns"] = told[which.ravel()] if len(lines) else np.array([], dtype=object)
    return lines


def _state_ranges(lines: gpd.GeoDataFrame) -> None:
    for name in _RANGED:
        half = lines[name].astype(float) * STATED_RANGE_SHARE
        if name == "depth_m":
            half = lines["vertical_accuracy_m"].astype(float).fillna(half)
        lines[f"{name}_low"] = (lines[name] - half).clip(lower=INPUT_TABLES["lines"].column(name).minimum)
        lines[f"{name}_high"] = lines[name] + half


def _empty(lines: gpd.GeoDataFrame, column: str) -> Any:
    empty = lines[column].isna().to_numpy(copy=True)
    if column == "material":
        # a cable, wire, rail or fence is metal whether or not the record knows which
        metal = lines["asset"].isin(["cable", "tracer_wire", "bare_conductor", "rail", "fence"])
        empty |= (metal & (lines[column] == "unknown")).to_numpy()
    if column in _ELECTRICAL:
        empty &= (lines["conductive"] != "no").to_numpy()  # of no use where no tone goes
    return empty


def _fill(lines: gpd.GeoDataFrame, column: str, rules: list[dict[str, Any]], findings: Findings) -> None:
    empty = _empty(lines, column)
    if not empty.any():
        return
    ends = ("low", "high") if f"{column}_low" in lines else ()
    names = (column, f"{column}_src", *(f"{column}_{end}" for end in ends))
    values, origin, *range_ends = (lines[name].to_numpy(copy=True) for name in names)
    for rule, hit in first_matches(rules, {name: lines[name] for name in _ASKED}, empty):
        values[hit], origin[hit] = rule["value"], "default"
        told = f"{column} is not stated; {rule['value']}"
        if "low" in rule:
            for end, limits in zip(ends, range_ends, strict=True):
                limits[hit] = rule[end]
            told += f", range {rule['low']:g} to {rule['high']:g}"
        findings.add_rows(
            _FILLED[column], lines, f"{told} ({rule['source']})", action="filled: state the value", at=hit
        )
    for name, filled in zip(names, (values, origin, *range_ends), strict=True):
        lines[name] = pd.Series(filled, index=lines.index, dtype=filled.dtype)


def _fill_depth(lines: gpd.GeoDataFrame, rules: list[dict[str, Any]], findings: Findings) -> None:
    empty = lines["depth_m"].isna().to_numpy()
    for rule, hit in first_matches(rules, {name: lines[name] for name in _ASKED}, empty):
        half = lines.loc[hit, "diameter_mm"] / MM_PER_M / 2.0
        for suffix, key in (("", "value"), ("_low", "low"), ("_high", "high")):
            lines.loc[hit, f"depth_m{suffix}"] = (rule[key] + half).round(3)
        lines.loc[hit, "depth_m_src"] = "default"
        told = [
            f"depth_m is not stated; {depth:g}, range {low:g} to {high:g} (cover, half the diameter; {rule['source']})"
            for depth, low, high in lines.loc[hit, ["depth_m", "depth_m_low", "depth_m_high"]].to_numpy()
        ]
        findings.add_rows("filled_depth", lines, told, action="filled: state the value", at=hit)


def _conductive(lines: gpd.GeoDataFrame, findings: Findings) -> None:
    """Derive ``conductive`` where it isn't stated: from tracer wire, asset, sheath and material."""
    metals = {name for name, material in materials().items() if material.metal}
    metal = lines["material"].isin(metals)
    plain = ~metal & ~lines["material"].isin(["unknown"]) & lines["material"].notna()
    derived = pd.Series("unknown", index=lines.index, dtype=object)
    derived[plain] = "no"
    derived[metal | lines["sheath"].isin(metals) | (lines["tracer_wire"] == "yes")] = "yes"
    empty = lines["conductive"].isna()
    lines["conductive"] = lines["conductive"].where(~empty, derived)
    lines["conductive_src"] = lines["conductive_src"].where(~empty, "inferred")
    unknown = lines["conductive"] == "unknown"
    told = "whether the line conducts is not known; tone is not solved on it, and it may carry some all the same"
    findings.add_rows(
        "conductivity_unknown", lines, told, action="used: state material, sheath, tracer wire", at=unknown
    )


def _tell_continuity(lines: gpd.GeoDataFrame, findings: Findings) -> None:
    iron = lines["material"].isin(["cast_iron", "ductile_iron"]) & lines["joints"].isin(["gasketed", "unknown"])
    told = "iron pipe without a record of bonded joints: continuity unknown, never taken as continuous"
    findings.add_rows("continuity_unknown", lines, told, at=iron & (lines["conductive"] == "yes"),
                      action="used: solved with joints blocking and passing")  # fmt: skip
