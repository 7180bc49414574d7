"""Isolating joints, and which meetings of lines they part."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.couplings.places import JOINT_REACH_M, conducts, isolating_places, meetings
from corridor.couplings.segments import sorted_lines
from corridor.frames import empty_table, stamp, table_frame
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["isolations", "joints"]

_COLUMNS = ["isolation_id", "joint", "line_id", "structure_id", "at_m", "parts_from", "evidence"]


def isolations(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Return the isolating joints that the terminations of a site state, and the conductors whose joints are insulated.

    A joint that a record states is no proof that it still isolates: ``bridged`` is left empty here, and filled by
    ``bonded_networks`` where the two sides share metal by another way.

    Parameters
    ----------
    site : Site
    settings : Settings, optional
        ``site.snap_m`` is used.

    Returns
    -------
    GeoDataFrame
        Table ``isolations`` of the data dictionary, ordered by id; a joint stands on its line.

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used.
    """
    lines = sorted_lines(site.lines)
    snap_m = (settings or Settings()).site.snap_m
    parts = [part for part in (_stated(site, lines, snap_m), _insulated(lines)) if len(part)]
    if not parts:
        return stamp(empty_table("isolations", site.crs), isolations)
    found = pd.concat(parts).sort_values("isolation_id", kind="stable", ignore_index=True)
    shapes = lines.set_index("line_id").geometry.loc[found["line_id"]].to_numpy()
    points = shapely.line_interpolate_point(shapes, found["at_m"].to_numpy(dtype=float))
    return stamp(table_frame("isolations", found, geometry=points, crs=site.crs), isolations)


def _stated(site: Site, lines: gpd.GeoDataFrame, snap_m: float) -> pd.DataFrame:
    places = isolating_places(site)
    if places.empty:  # meetings of a whole city are worth leaving out
        return pd.DataFrame(columns=_COLUMNS, dtype=object)
    ids = lines["line_id"].to_numpy(dtype=object)
    apart: dict[tuple[str, str], set[str]] = {}
    met = joints(site, lines, snap_m=snap_m)
    for row in met[met["structure_id"].notna()].itertuples(index=False):
        for line, other in ((ids[row.line_a], ids[row.line_b]), (ids[row.line_b], ids[row.line_a])):
            apart.setdefault((row.structure_id, line), set()).add(other)
    rows = [
        {
            "isolation_id": f"{place.line_id}~{place.structure_id}", "joint": "isolating_joint",
            "line_id": place.line_id, "structure_id": str(place.structure_id), "at_m": place.measure_m,
            "parts_from": place.line_id if place.inside else " ".join(
                sorted(apart.get((str(place.structure_id), place.line_id), ()))
            ) or None,
            "evidence": "recorded",
        }
        for place in places.itertuples(index=False)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=_COLUMNS, dtype=object)


def _insulated(lines: gpd.GeoDataFrame) -> pd.DataFrame:
    held = lines[conducts(lines) & (lines["joints"] == "insulated").to_numpy(dtype=bool)]
    stated = held["joints_src"].isin(["given", "mapped"]) if "joints_src" in held else np.ones(len(held), dtype=bool)
    return pd.DataFrame({
        "isolation_id": held["line_id"] + "~joints", "joint": "insulated_joints", "line_id": held["line_id"],
        "structure_id": None, "at_m": held.geometry.length / 2, "parts_from": held["line_id"],
        "evidence": np.where(stated, "recorded", "inferred"),
    }).astype(object)  # fmt: skip


def joints(site: Site, lines: gpd.GeoDataFrame, *, snap_m: float) -> pd.DataFrame:
    """Return where conductors of one utility meet, and which of these meetings an isolating joint parts.

    Parameters
    ----------
    site : Site
        For its isolating joints.
    lines : GeoDataFrame
        The site's lines as ``sorted_lines`` gives them.
    snap_m : float, m
        Reach of a meeting.

    Returns
    -------
    DataFrame
        As ``corridor.couplings.places.meetings``, with ``structure_id`` of the isolating joint, NULL without one.
    """
    met = meetings(lines, snap_m=snap_m)
    ids = lines["line_id"].to_numpy(dtype=object)
    stands: dict[str, list[tuple[str, float]]] = {}
    for place in isolating_places(site).itertuples(index=False):
        stands.setdefault(str(place.line_id), []).append((str(place.structure_id), float(place.measure_m)))
    if not stands:
        return met.assign(structure_id=pd.Series([None] * len(met), index=met.index, dtype=object))
    found: list[str | None] = []
    for row in met.itertuples(index=False):
        sides = ((ids[row.line_a], row.measure_a_m), (ids[row.line_b], row.measure_b_m))
        near = [
            structure
            for line, measure in sides
            for structure, at_m in stands.get(line, ())
            if abs(at_m - measure) <= JOINT_REACH_M
        ]
        found.append(min(near) if near else None)
    return met.assign(structure_id=pd.Series(found, index=met.index, dtype=object))
