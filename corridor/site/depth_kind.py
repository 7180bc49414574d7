"""What a recorded depth goes to: top, axis or inside bottom of a line, or an elevation; all turned into the axis."""

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from corridor.constants import MM_PER_M
from corridor.dictionary import INPUT_TABLES, Column
from corridor.site.elevations import known_z
from corridor.site.fieldmap import LayerMap
from corridor.site.findings import Findings
from corridor.site.tables import word_key
from corridor.site.units import unit_factor
from corridor.site.values import numbers

__all__ = ["DEPTH_KIND", "read_depths", "to_axis"]

DEPTH_KIND = "depth_kind"  # column beside depth_m: cover, invert, unstated; None where it goes to the axis
_SHIFTED = {"cover": "half the diameter added", "invert": "half the inner diameter taken off"}


def read_depths(
    values: pd.Series | None, frame: gpd.GeoDataFrame, layer: LayerMap, *, column: Column
) -> dict[str, pd.Series]:
    """Return the columns that a layer's map gives to a depth: its kind, and the depth itself from an elevation.

    Parameters
    ----------
    values : Series, optional
        ``depth_m`` as mapped, in m where a unit was stated; None where the layer has none.
    frame : GeoDataFrame
        The layer as read: the ground's elevation, and Z where no column gives the line's.
    layer : LayerMap
        Its map. The unit of depth_m is also that of the ground and of Z.
    column : Column
        depth_m of the dictionary.

    Returns
    -------
    dict of Series
        Empty where the dictionary's own depth (to the axis) is given, or none at all.
    """
    plan = layer.depth
    if plan is not None and plan.kind == "elevation":
        factor = unit_factor(layer.unit_of("depth_m") or "m", column) or 1.0
        if isinstance(plan.ground, str):
            ground, _ = numbers(frame[plan.ground], column)
            ground = ground * factor
        else:
            ground = pd.Series(float(plan.ground or 0.0) * factor, index=frame.index)
        own = _mean_z(frame) * factor if values is None else numbers(values, column)[0]
        depth = ground - own
        known = depth.notna().to_numpy()
        origin = pd.Series("mapped", index=frame.index, dtype=object).where(known, None)
        return {"depth_m": depth, "depth_m_src": origin, DEPTH_KIND: _kind(plan.of, known, frame.index)}
    if values is None:
        return {}
    rule = layer.columns.get("depth_m")
    own_name = rule is None or (word_key(rule.source) == "depth_m" and rule.pattern is None)
    kind = plan.kind if plan else "axis" if own_name and "depth_m" not in layer.constants else "unstated"
    return {} if kind == "axis" else {DEPTH_KIND: _kind(kind, values.notna().to_numpy(), frame.index)}


def _kind(kind: str, known: Any, index: pd.Index) -> pd.Series:
    return pd.Series(kind, index=index, dtype=object).where(known & (kind != "axis"), None)


def _mean_z(frame: gpd.GeoDataFrame) -> pd.Series:
    coordinates, index = shapely.get_coordinates(frame.geometry.array, include_z=True, return_index=True)
    z = pd.Series(coordinates[:, 2]).where(known_z(coordinates[:, 2]))
    return pd.Series(z.groupby(index).mean().reindex(range(len(frame))).to_numpy(), index=frame.index)


def to_axis(lines: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    """Return the lines with depths, and their ranges, to the axis.

    A cover gets half the outer diameter more, an invert half the inner one less (common practice). Where nobody says
    what a depth goes to, it stays, and its range grows by half a diameter up and down.

    Parameters
    ----------
    lines : GeoDataFrame
        Diameters filled, depth_m with its range and, from a field map, ``depth_kind``.
    findings : Findings
        ``depth_to_axis`` for each line changed, ``depth_kind_unstated`` for each not known.

    Returns
    -------
    GeoDataFrame
        Without ``depth_kind``; depths turned count as ``mapped``.
    """
    if DEPTH_KIND not in lines:
        return lines
    lines = lines.copy()
    kind = lines.pop(DEPTH_KIND).where(lines["depth_m"].notna(), None)
    least = INPUT_TABLES["lines"].column("depth_m").minimum or 0.0
    outer, wall = lines["diameter_mm"] / MM_PER_M, lines["wall_mm"].fillna(0.0) / MM_PER_M
    half = {"cover": outer / 2.0, "invert": -(outer / 2.0 - wall).clip(lower=0.0)}
    spread = (lines["diameter_mm_high"] - lines["diameter_mm_low"]) / MM_PER_M / 4.0
    for name, words in _SHIFTED.items():
        rows = (kind == name).to_numpy(dtype=bool)
        if not rows.any():
            continue
        shift = half[name][rows]
        before = lines.loc[rows, "depth_m"].copy()
        lines.loc[rows, "depth_m"] = (before + shift).clip(lower=least).round(3)
        lines.loc[rows, "depth_m_low"] = (lines.loc[rows, "depth_m_low"] + shift - spread[rows]).clip(lower=least)
        lines.loc[rows, "depth_m_high"] = lines.loc[rows, "depth_m_high"] + shift + spread[rows]
        lines.loc[rows, "depth_m_src"] = "mapped"
        told = [
            f"depth_m: {name} of {round(was, 3):g} m read as {now:g} m to the axis, {words}"
            for was, now in zip(before, lines.loc[rows, "depth_m"], strict=True)
        ]
        findings.add_rows("depth_to_axis", lines, told, action="used: as the field map says", at=rows)
    lines[["depth_m_low", "depth_m_high"]] = _around(lines)
    rows = (kind == "unstated").to_numpy(dtype=bool)
    if rows.any():
        lines.loc[rows, "depth_m_low"] = (lines.loc[rows, "depth_m_low"] - outer[rows] / 2.0).clip(lower=least)
        lines.loc[rows, "depth_m_high"] = lines.loc[rows, "depth_m_high"] + outer[rows] / 2.0
        stated = lines.loc[rows, "depth_m"]
        told = [f"nobody says whether {depth:g} m goes to the top, the axis or the bottom" for depth in stated]
        action = "used: half a diameter of range up and down; state depth in the layer's block of the field map"
        findings.add_rows("depth_kind_unstated", lines, told, action=action, at=rows)
    return lines


def _around(lines: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return low and high, widened where rounding or the least depth put the depth itself outside."""
    low = lines[["depth_m_low", "depth_m"]].min(axis=1).where(lines["depth_m"].notna())
    high = lines[["depth_m_high", "depth_m"]].max(axis=1).where(lines["depth_m"].notna())
    return pd.DataFrame({"depth_m_low": low, "depth_m_high": high})
