"""A work area from a file of its own."""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from corridor.dictionary import INPUT_TABLES
from corridor.errors import InputError
from corridor.frames import table_frame
from corridor.site.findings import Findings
from corridor.site.model import Site
from corridor.site.reference import check_in_range, layer_crs
from corridor.site.sources import read_layers, source_of

__all__ = ["of_phase", "with_work_area"]

_KINDS = ("Polygon", "MultiPolygon")


def with_work_area(site: Site, path: str | Path, *, crs: str | CRS | None = None) -> Site:
    """Return the site with the polygons of a file as its work area, in place of any it had.

    Parameters
    ----------
    site : Site
        The records.
    path : str or Path
        A vector file; every polygon in it counts, whatever its layer's name.
    crs : str or CRS, optional
        Of layers that state none.

    Returns
    -------
    Site
        With the file among its sources and its accounting, and without the finding ``no_work_area``.

    Raises
    ------
    InputError
        If the file can't be read or holds no valid polygon.
    CrsError
        If a layer with polygons has no CRS and none is stated, or its coordinates can't be in it.
    """
    file = Path(path)
    layers = {name: frame[~_empty(frame)] for name, frame in read_layers(file).items()}
    shaped = {name: frame for name, frame in layers.items() if len(frame)}
    parts = [_polygons(frame, where=f"{file.name}:{name}", crs=crs).to_crs(site.crs) for name, frame in shaped.items()]
    area = pd.concat(parts, ignore_index=True) if parts else gpd.GeoDataFrame(geometry=[], crs=site.crs)
    if area.empty:
        message = f"expected polygons in the work area file {path}, found none; draw the dig as polygons"
        raise InputError(message)
    known = [column for column in INPUT_TABLES["work_area"].names if column in area]
    features = sum(len(frame) for frame in shaped.values())
    used = sum(len(part) for part in parts)
    counted = {"layer": file.name, "features_in": features, "used": used, "repaired": 0, "set_aside": features - used}
    return replace(
        site,
        work_area=table_frame("work_area", area[known].to_dict("list"), geometry=area.geometry, crs=site.crs),
        findings=site.findings[site.findings["code"].ne("no_work_area")].reset_index(drop=True),
        accounting=pd.concat([site.accounting, pd.DataFrame([counted])], ignore_index=True),
        sources=(*site.sources, source_of(file, shaped)),
    )


def of_phase(site: Site, phase: str) -> Site:
    """Return the site with one phase of its work area only; the records stay whole.

    Parameters
    ----------
    site : Site
        The records, with a work area in phases.
    phase : str
        A value of the column ``phase``.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        If the work area has no such phase; the message names those it has.
    """
    named = site.work_area["phase"]
    own = site.work_area[named.eq(phase).fillna(False).to_numpy(dtype=bool)]
    if own.empty:
        known = ", ".join(sorted(named.dropna().unique())) or "none"
        message = f"expected a phase of the work area ({known}), got {phase!r}"
        raise InputError(message)
    return replace(site, work_area=own.reset_index(drop=True))


def _empty(frame: gpd.GeoDataFrame) -> pd.Series:
    return frame.geometry.isna() | frame.geometry.is_empty


def _polygons(frame: gpd.GeoDataFrame, *, where: str, crs: str | CRS | None) -> gpd.GeoDataFrame:
    """Return the valid polygons of one layer; a multipart one stays one row."""
    own = layer_crs(frame, mapped=None, stated=crs, where=where, findings=Findings())
    kept = frame[frame.geometry.geom_type.isin(_KINDS)].set_crs(own, allow_override=True)
    check_in_range(kept, where=where)
    kept["geometry"] = shapely.force_2d(shapely.make_valid(kept.geometry.to_numpy()))
    return kept[kept.geometry.geom_type.isin(_KINDS)]
