"""A work area from a file of its own."""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from corridor.dictionary import INPUT_TABLES
from corridor.errors import InputError
from corridor.frames import table_frame
from corridor.site.accounting import account
from corridor.site.findings import FEATURE, Findings
from corridor.site.intake import tell_trouble
from corridor.site.model import Site
from corridor.site.quoting import first_names
from corridor.site.reference import check_in_range, layer_crs, reproject
from corridor.site.repair import repair_geometry
from corridor.site.sources import HELD, read_layers, source_of
from corridor.site.values import read_values

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
        With the file among its sources, its accounting and its findings, and without the finding ``no_work_area``.

    Raises
    ------
    InputError
        If the file can't be read or holds no valid polygon.
    CrsError
        If a layer with polygons has no CRS and none is stated, or its coordinates can't be in it.
    """
    file = Path(path)
    findings = Findings()
    counts: dict[str, int] = {}
    parts, layers = [], read_layers(file)
    for name, frame in layers.items():
        where = _label(site, file, name)
        counts[where] = max(frame.attrs.pop(HELD, 0), len(frame))
        tell_trouble(frame, where, findings)
        parts.append(_polygons(_labelled(frame, where), site.crs, findings, where=where, crs=crs))
    area = pd.concat(parts, ignore_index=True) if parts else gpd.GeoDataFrame(geometry=[], crs=site.crs)
    told = findings.frame(site.crs)
    if area.empty:
        aside = told.loc[told["action"].str.startswith("set aside"), "message"].unique()
        why = f" ({first_names(aside, most=2)})" if len(aside) else ""
        message = f"expected polygons in the work area file {path}, found none{why}; draw the dig as polygons"
        raise InputError(message)
    known = [column for column in INPUT_TABLES["work_area"].names if column in area]
    kept = site.findings[site.findings["code"].ne("no_work_area")]
    return replace(
        site,
        work_area=table_frame("work_area", area[known].to_dict("list"), geometry=area.geometry, crs=site.crs),
        findings=(pd.concat([kept, told]) if len(told) else kept).reset_index(drop=True),
        accounting=pd.concat([site.accounting, account(counts, [area], told)], ignore_index=True),
        sources=(*site.sources, source_of(file, [name for name, frame in layers.items() if len(frame)])),
    )


def _label(site: Site, file: Path, name: str) -> str:
    """Name a layer of the file, otherwise than the records', which may be the same file."""
    label = f"{file.name}:{name}"
    return f"work area {label}" if label in set(site.accounting.get("layer", ())) else label


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


def _labelled(frame: gpd.GeoDataFrame, where: str) -> gpd.GeoDataFrame:
    source, row, source_id = FEATURE
    frame = frame.reset_index(drop=True)
    return frame.assign(**{source: where, row: range(len(frame)), source_id: None})


def _polygons(
    frame: gpd.GeoDataFrame, site_crs: CRS, findings: Findings, *, where: str, crs: str | CRS | None
) -> gpd.GeoDataFrame:
    """Return the valid polygons of one layer in the site's CRS; a multipart one stays one row."""
    table = INPUT_TABLES["work_area"]
    blank = frame.geometry.isna() | frame.geometry.is_empty
    if not blank.all():
        own = layer_crs(frame, mapped=None, stated=crs, where=where, findings=findings)
        frame = frame.set_crs(own, allow_override=True)
        check_in_range(frame[frame.geometry.geom_type.isin(_KINDS)], where=where)
    else:
        frame = frame.set_crs(site_crs, allow_override=True)
    frame = reproject(frame, site_crs, where=where, findings=findings)
    return read_values(repair_geometry(frame, table, findings, single=False), table, findings)
