"""Reading a site: every layer of every file, mapped, reprojected, repaired, filled and accounted for."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.array import from_shapely
from numpy.typing import NDArray
from pyproj import CRS

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import InputError
from corridor.frames import stamp, table_frame
from corridor.settings import Settings
from corridor.site.accounting import account
from corridor.site.bounds import refuse_large_files, refuse_large_layers
from corridor.site.completeness import completeness
from corridor.site.corrections import Corrections, load_corrections
from corridor.site.defaults import fill_defaults
from corridor.site.fieldmap import FieldMap, LayerMap, load_fieldmap, map_used
from corridor.site.findings import FEATURE, Findings
from corridor.site.grounds import infer_grounds
from corridor.site.hidden import tell_hidden
from corridor.site.identity import (
    check_references,
    drop_duplicates,
    nearest_part,
    prefix_ids,
    same_file,
    unique_ids,
)
from corridor.site.intake import Layer, open_layers, place_layers
from corridor.site.mapping import map_layer
from corridor.site.missing import tell_missing
from corridor.site.model import Site, Source
from corridor.site.naming import name_utility
from corridor.site.repair import repair_geometry
from corridor.site.snapping import snap_lines
from corridor.site.sources import source_of
from corridor.site.splitting import lay_apart, split_records, tell_several
from corridor.site.terminations import derive_terminations
from corridor.site.values import read_values

__all__ = ["read_site"]


def read_site(
    paths: str | Path | Sequence[str | Path],
    *,
    fieldmap: str | Path | FieldMap | None = None,
    crs: str | CRS | None = None,
    settings: Settings | None = None,
    corrections: str | Path | None = None,
) -> Site:
    """Read the records of a place.

    Parameters
    ----------
    paths : path, or sequence of paths
        A GeoPackage or any other vector files that OGR reads. Layers are recognised by the names of the data
        dictionary's tables, or by the field map.
    fieldmap : path or FieldMap, optional
        TOML; how the owners' columns become the dictionary's. Or the name of a profile: ``inspire``, ``muddi``.
    crs : str or CRS, optional
        Of layers that have none of their own; it is never guessed.
    settings : Settings, optional
        Part ``site``: tolerances of the repairs.
    corrections : path, optional
        CSV (layer, id, column, value, source, date): values that replace the owners' own, each told.

    Returns
    -------
    Site
        In one CRS in metres, every feature used, repaired or set aside, every fill and repair a finding.

    Raises
    ------
    InputError
        If a file is missing or isn't a vector file, the corrections can't be read, there are no lines, or the records
        are larger than the settings allow.
    CrsError
        If a layer has no CRS and none is stated, a name isn't one, or coordinates can't be in it.
    FieldMapError
        If the field map names a layer or column that isn't there.
    """
    files = [Path(p) for p in ([paths] if isinstance(paths, str | Path) else paths)]
    settings = settings or Settings()
    plan = load_fieldmap(fieldmap)
    changes = load_corrections(corrections)
    findings = Findings()
    refuse_large_files(files, settings.site)
    layers, sources = open_layers(files, plan, findings)
    refuse_large_layers((layer.frame for layer in layers), settings.site)
    placed, site_reference = place_layers(layers, crs, findings, settings=settings.site)
    tables = {name: _table(name, placed, site_reference, findings, changes=changes) for name in INPUT_TABLES}
    changes.tell_unused(findings)
    if changes.path is not None:
        sources = (*sources, source_of(changes.path, ("corrections",)))
    if tables["lines"].empty:
        raise InputError(_no_lines(files, layers, findings.frame(site_reference)))
    site = _assemble(tables, layers, sources, findings=findings, crs=site_reference, settings=settings)
    return replace(site, fieldmap=map_used(fieldmap, plan))


def _table(name: str, layers: list[Layer], crs: CRS, findings: Findings, *, changes: Corrections) -> gpd.GeoDataFrame:
    """Return one table, from all layers that are read into it: mapped, read and repaired."""
    table = INPUT_TABLES[name]
    parts = []
    for layer in layers:
        if layer.table is not table:
            continue
        plan = layer.plan or LayerMap(table=name)
        frame = layer.frame
        raw = frame[plan.split.source] if plan.split and plan.split.source else None
        frame = map_layer(frame, table, plan, where=layer.where)
        frame = changes.applied(frame, table, file=layer.file, layer=layer.name, findings=findings)
        if plan.split is not None:
            frame = split_records(frame, plan.split, raw, findings=findings)
        frame = read_values(frame, table, findings)
        if name == "lines":
            frame = name_utility(frame, file=Path(layer.file).stem, layer=layer.name, findings=findings)
            if plan.split is None:
                tell_several(frame, findings)
        parts.append(lay_apart(repair_geometry(frame, table, findings)))
    return _joined(parts, table, crs)


def _joined(parts: list[gpd.GeoDataFrame], table: Table, crs: CRS) -> gpd.GeoDataFrame:
    full = [part.drop(columns="geometry").astype(object) for part in parts if len(part)]
    if not full:
        return _unrecorded(table, crs).copy()
    shapes = np.concatenate([part.geometry.to_numpy() for part in parts])
    data = pd.concat(full, ignore_index=True) if len(full) > 1 else full[0].reset_index(drop=True)
    nothing = pd.Series([None] * len(data), index=data.index, dtype=object)
    read: dict[str, pd.Series] = {}
    for column in table.columns:
        values = data[column.name]
        missing = values.isna().to_numpy()
        number = column.kind in ("real", "integer")
        read[column.name] = values.astype("float64") if number else _without(values, missing)
        if column.mapped:
            origin = data.get(f"{column.name}_src", nothing)
            read[f"{column.name}_src"] = _without(origin, missing | origin.isna().to_numpy())
    whole = {str(name): read.pop(str(name), values) for name, values in data.items()} | read
    placed = whole | {"geometry": gpd.GeoSeries(from_shapely(shapes, crs=crs), index=data.index)}
    return gpd.GeoDataFrame(pd.DataFrame(placed, index=data.index), copy=False)


def _without(values: pd.Series, missing: NDArray[np.bool_]) -> pd.Series:
    """Return values, None for those that are missing."""
    return values.mask(missing, None) if missing.any() else values


@lru_cache(maxsize=64)
def _unrecorded(table: Table, crs: CRS) -> gpd.GeoDataFrame:
    """Return a table that no layer is read into."""
    columns = [*table.names, *FEATURE, *(f"{c.name}_src" for c in table.columns if c.mapped)]
    return gpd.GeoDataFrame(pd.DataFrame(columns=columns, dtype=object), geometry=[], crs=crs)


def _no_lines(files: list[Path], layers: list[Layer], findings: gpd.GeoDataFrame) -> str:
    rows = sum(len(layer.frame) for layer in layers if layer.table is INPUT_TABLES["lines"])
    names = ", ".join(map(str, files))
    if rows:
        aside = findings.loc[findings["action"].str.startswith("set aside"), "message"]
        why = f" ({aside.mode().iloc[0]})" if len(aside) else ""
        return f"expected at least one usable line, {names}: all {rows} records are without a usable course{why}"
    return f"expected at least one line, {names}: the lines layer is empty"


def _assemble(
    tables: dict[str, gpd.GeoDataFrame], layers: list[Layer], sources: tuple[Source, ...], *,
    findings: Findings, crs: CRS, settings: Settings,
) -> Site:  # fmt: skip
    lines = _required(tables["lines"], ("utility", "asset"), findings)
    lines = drop_duplicates(lines, findings, most=settings.site.same_course_limit)
    lines = prefix_ids(lines, "line_id", findings)
    lines = unique_ids(same_file(lines, ("contained_in",), lines, name="line_id"), "line_id", findings)
    structures = prefix_ids(_required(tables["structures"], ("kind",), findings), "structure_id", findings)
    structures = unique_ids(structures, "structure_id", findings)
    tables = tables | {name: _aimed(tables[name], lines, structures) for name in ("terminations", "bonds", "grounds")}
    lines = snap_lines(lines, structures, findings=findings, settings=settings.site)
    lines = check_references(lines, {"contained_in": set(lines["line_id"])}, findings, optional=("contained_in",))
    lines = fill_defaults(lines, findings)
    given, bonds, recorded = _referring(tables, lines, structures, findings)
    terminations = derive_terminations(lines, structures, given, reach_m=settings.site.structure_reach_m)
    grounds = infer_grounds(lines, structures, terminations, given=recorded, findings=findings)
    tell_hidden(lines, structures, terminations, recorded, findings=findings, settings=settings.site)
    present = {layer.table.name for layer in layers if layer.table is not None and len(layer.frame)}
    tell_missing(present, lines, soil=settings.soil, findings=findings)
    soil = _stated(tables["soil"], "resistivity_ohm_m", findings)
    kept = {**tables, "soil": soil, "lines": lines, "structures": structures, "terminations": given, "bonds": bonds,
            "grounds": recorded}  # fmt: skip
    found = findings.frame(crs)
    accounting = account({layer.where: layer.held for layer in layers}, kept.values(), found)
    frames = {name: _finished(name, frame, crs) for name, frame in (kept | {"grounds": grounds}).items()}
    stamp(frames["lines"], read_site, files=[source.path for source in sources])
    table = pd.DataFrame(_finished("terminations", terminations, crs).drop(columns="geometry"))
    return Site(
        **(frames | {"terminations": table}), findings=found, accounting=accounting, sources=sources, crs=crs,
        completeness=completeness(tables, lines),
    )  # fmt: skip


def _aimed(refs: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return a table whose references to ids that several layers use go to those of its own file."""
    columns = tuple(c for c in ("line_id", "line_a", "line_b") if c in refs)
    refs = same_file(refs, columns, lines, name="line_id")
    return same_file(refs, ("structure_id",), structures, name="structure_id") if "structure_id" in refs else refs


def _referring(
    tables: dict[str, gpd.GeoDataFrame], lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, findings: Findings
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return terminations, bonds and grounds whose lines and structures exist, each on the nearest part of its line."""
    line_ids, structure_ids = set(lines["line_id"]), set(structures["structure_id"])
    points = dict(zip(structures["structure_id"], structures.geometry, strict=True))
    terminations = check_references(
        tables["terminations"], {"structure_id": structure_ids, "line_id": line_ids}, findings
    )
    at = terminations["structure_id"].map(points).to_numpy(dtype=object)
    terminations["line_id"] = nearest_part(terminations["line_id"], at, lines)
    ends = {"line_a": line_ids, "line_b": line_ids | {"earth"}, "structure_id": structure_ids}
    bonds = unique_ids(tables["bonds"], "bond_id", findings)
    bonds = check_references(bonds, ends, findings, optional=("structure_id",))
    own = bonds.geometry.to_numpy()
    at = np.where(shapely.is_missing(own), bonds["structure_id"].map(points).to_numpy(dtype=object), own)
    for name in ("line_a", "line_b"):
        bonds[name] = nearest_part(bonds[name], at, lines)
    grounds = check_references(unique_ids(tables["grounds"], "ground_id", findings), {"line_id": line_ids}, findings)
    grounds["line_id"] = nearest_part(grounds["line_id"], grounds.geometry.to_numpy(), lines)
    return terminations, bonds, grounds


def _required(frame: gpd.GeoDataFrame, names: tuple[str, ...], findings: Findings) -> gpd.GeoDataFrame:
    if frame.empty:
        return frame
    frame = frame.copy()
    for name in names:
        empty = frame[name].isna()
        findings.add_rows("missing_value", frame, f"{name} is not stated", action="repaired: read as unknown", at=empty)
        frame[name] = frame[name].where(~empty, "unknown")
    return frame


def _stated(frame: gpd.GeoDataFrame, name: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return the rows that state a value nothing can stand in for."""
    empty = frame[name].isna()
    if not empty.any():
        return frame
    findings.add_rows("missing_value", frame, f"{name} is not stated", action="set aside: correct the record", at=empty)
    return frame[~empty].reset_index(drop=True)


def _finished(name: str, frame: pd.DataFrame, crs: CRS) -> gpd.GeoDataFrame:
    """Return a table with the dictionary's columns and types, companions, then the source's own columns."""
    if frame.empty:
        columns = [(c, t) for c, t in frame.dtypes.items() if c != "geometry"]
        return _finished_empty(name, tuple(columns), crs).copy()
    return _in_order(name, frame, crs)


@lru_cache(maxsize=64)
def _finished_empty(name: str, columns: tuple[tuple[Any, Any], ...], crs: CRS) -> gpd.GeoDataFrame:
    return _in_order(name, pd.DataFrame({c: pd.Series(dtype=t) for c, t in columns}), crs)


def _in_order(name: str, frame: pd.DataFrame, crs: CRS) -> gpd.GeoDataFrame:
    names = [c for c in frame.columns if c not in ("geometry", "part")]
    own = [c for c in names if not c.startswith("src_")]
    rest = [c for c in names if c.startswith("src_") and c not in FEATURE]
    data = pd.DataFrame(frame)[[*own, *rest, *(c for c in FEATURE if c in names)]]
    if rest:
        data[rest] = data[rest].infer_objects()
    shapes = frame["geometry"].to_numpy() if "geometry" in frame else None
    return table_frame(name, data, geometry=shapes, crs=crs)
