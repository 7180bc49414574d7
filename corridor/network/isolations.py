"""Isolating joints, and which meetings of lines they part."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from corridor.couplings.places import JOINT_REACH_M, isolating_places, meetings
from corridor.couplings.segments import sorted_lines
from corridor.frames import empty_table, stamp, table_frame
from corridor.site.model import Site

__all__ = ["isolations", "joints"]


def isolations(site: Site) -> gpd.GeoDataFrame:
    """Return the isolating joints that the terminations of a site state.

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
    lines = sorted_lines(site.lines).set_index("line_id")
    places = isolating_places(site)
    if not len(places):
        return stamp(empty_table("isolations", site.crs), isolations)
    places["isolation_id"] = places["line_id"] + "~" + places["structure_id"].astype(str)
    places = places.sort_values("isolation_id", ignore_index=True)
    shapes = lines.geometry.loc[places["line_id"]].to_numpy()
    frame = table_frame(
        "isolations",
        places[["isolation_id", "line_id", "structure_id"]].assign(evidence="recorded"),
        geometry=shapely.line_interpolate_point(shapes, places["measure_m"].to_numpy()),
        crs=site.crs,
    )
    return stamp(frame, isolations)


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
