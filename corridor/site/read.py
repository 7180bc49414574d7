"""Reading a site: every layer of every file, mapped, reprojected, repaired, filled and accounted for."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import FieldMapError, InputError
from corridor.frames import stamp, table_frame
from corridor.settings import Settings
from corridor.site.accounting import account
from corridor.site.completeness import completeness
from corridor.site.defaults import fill_defaults
from corridor.site.fieldmap import FieldMap, LayerMap, load_fieldmap, map_layer, map_used
from corridor.site.findings import FEATURE, Findings
from corridor.site.grounds import infer_grounds
from corridor.site.hidden import tell_hidden
from corridor.site.identity import check_references, drop_duplicates, nearest_part, unique_ids
from corridor.site.missing import tell_missing
from corridor.site.model import Site, Source
from corridor.site.reference import check_in_range, layer_crs, reproject, site_crs
from corridor.site.repair import repair_geometry
from corridor.site.snapping import snap_lines
from corridor.site.sources import file_labels, read_layers, source_of
from corridor.site.terminations import derive_terminations
from corridor.site.values import as_text, read_values

__all__ = ["read_site"]

_IDS = {"lines": "line_id", "structures": "structure_id", "bonds": "bond_id", "grounds": "ground_id"}


@dataclass(frozen=True)
class _Layer:
    where: str  # file and layer
    table: Table | None  # None: not recognised
    plan: LayerMap | None
    frame: gpd.GeoDataFrame


def read_site(
    paths: str | Path | Sequence[str | Path],
    *,
    fieldmap: str | Path | FieldMap | None = None,
    crs: str | CRS | None = None,
    settings: Settings | None = None,
) -> Site:
    """Read the records of a place.

    Parameters
    ----------
    paths : path, or sequence of paths
        A GeoPackage or any other vector files that OGR reads. Layers are recognised by the names of the data
        dictionary's tables, or by the field map.
    fieldmap : path or FieldMap, optional
        TOML; how the owners' columns become the dictionary's.
    crs : str or CRS, optional
        Of layers that have none of their own; it is never guessed.
    settings : Settings, optional
        Part ``site``: tolerances of the repairs.

    Returns
    -------
    Site
        In one CRS in metres, every feature used, repaired or set aside, every fill and repair a finding.

    Raises
    ------
    InputError
        If a file is missing or isn't a vector file, or there are no lines.
    CrsError
        If a layer has no CRS and none is stated, a name isn't one, or coordinates can't be in it.
    FieldMapError
        If the field map names a layer or column that isn't there.
    """
    files = [Path(p) for p in ([paths] if isinstance(paths, str | Path) else paths)]
    settings = settings or Settings()
    plan = load_fieldmap(fieldmap)
    findings = Findings()
    layers, sources = _open(files, plan)
    placed, site_reference = _place(layers, crs, findings)
    tables = {name: _table(name, placed, site_reference, findings) for name in INPUT_TABLES}
    if tables["lines"].empty:
        raise InputError(_no_lines(files, layers))
    site = _assemble(tables, layers, sources, findings=findings, crs=site_reference, settings=settings)
    return replace(site, fieldmap=map_used(fieldmap, plan))


def _open(files: list[Path], plan: FieldMap) -> tuple[list[_Layer], tuple[Source, ...]]:
    if not files:
        message = "expected at least one file of records, got none"
        raise InputError(message)
    labels = file_labels(files)
    layers: list[_Layer] = []
    sources = []
    for path in dict.fromkeys(files):
        found = read_layers(path)
        sources.append(source_of(path, found))
        for name, frame in found.items():
            block = plan.layers.get(name)
            word = block.table if block else name.strip().casefold()
            layers.append(_Layer(f"{labels[path]}:{name}", INPUT_TABLES.get(word), block, frame))
    names = {layer.where.rpartition(":")[2] for layer in layers}
    if lost := [name for name in plan.layers if name not in names]:
        message = (
            f"the field map names layer {lost[0]!r}, which is in none of the files; "
            f"they have: {', '.join(sorted(names)) or 'no layers'}"
        )
        raise FieldMapError(message)
    return layers, tuple(sources)


def _place(layers: list[_Layer], crs: str | CRS | None, findings: Findings) -> tuple[list[_Layer], CRS]:
    """Map every recognised layer and bring it into one CRS; tell the others."""
    mapped = []
    for layer in layers:
        if layer.table is None:
            told = f"{layer.where}: {len(layer.frame)} features in a layer that is no table of the data dictionary"
            findings.add("unknown_layer", told, action="set aside: name its table in a field map", source=layer.where)
            continue
        own = layer_crs(layer.frame, mapped=layer.plan.crs if layer.plan else None, stated=crs,
                        where=layer.where, findings=findings)  # fmt: skip
        frame = layer.frame.set_crs(own, allow_override=True)
        check_in_range(frame, where=layer.where)
        mapped.append(_Layer(layer.where, layer.table, layer.plan, _labelled(frame, layer)))
    if not any(layer.table is INPUT_TABLES["lines"] for layer in mapped):
        message = (
            "expected a layer named lines (or one that a field map reads as lines), "
            f"got: {', '.join(layer.where for layer in layers) or 'no layers'}"
        )
        raise InputError(message)
    reference = site_crs([layer.frame for layer in _lines_first(mapped)])
    return [
        _Layer(m.where, m.table, m.plan, reproject(m.frame, reference, where=m.where, findings=findings))
        for m in mapped
    ], reference


def _lines_first(layers: list[_Layer]) -> list[_Layer]:
    return sorted(layers, key=lambda layer: layer.table is not INPUT_TABLES["lines"])


def _labelled(frame: gpd.GeoDataFrame, layer: _Layer) -> gpd.GeoDataFrame:
    source, row, _ = FEATURE
    frame = frame.reset_index(drop=True)
    frame[source] = np.full(len(frame), layer.where, dtype=object)
    frame[row] = np.arange(len(frame))
    return frame


def _table(name: str, layers: list[_Layer], crs: CRS, findings: Findings) -> gpd.GeoDataFrame:
    """Return one table, from all layers that are read into it: mapped, read and repaired."""
    table = INPUT_TABLES[name]
    parts = []
    for layer in layers:
        if layer.table is not table:
            continue
        plan = layer.plan or LayerMap(table=name)
        frame = layer.frame
        frame[FEATURE[2]] = _source_ids(frame, plan, name)
        frame = map_layer(frame, table, plan, where=layer.where)
        frame = repair_geometry(read_values(frame, table, findings), table, findings)
        parts.append(frame)
    return _joined(parts, table, crs)


def _source_ids(frame: gpd.GeoDataFrame, plan: LayerMap, name: str) -> Any:
    column = _IDS.get(name)
    rule = plan.columns.get(column or "")
    source = rule.source if rule else column
    return as_text(frame[source]) if source in frame else None


def _joined(parts: list[gpd.GeoDataFrame], table: Table, crs: CRS) -> gpd.GeoDataFrame:
    full = [part.drop(columns="geometry").astype(object) for part in parts if len(part)]
    shapes = [shape for part in parts for shape in part.geometry]
    if not full:
        columns = [*table.names, *FEATURE, *(f"{c.name}_src" for c in table.columns if c.mapped)]
        return gpd.GeoDataFrame({c: pd.Series(dtype=object) for c in columns}, geometry=[], crs=crs)
    data = pd.concat(full, ignore_index=True)
    for column in table.columns:
        if column.kind in ("real", "integer"):
            data[column.name] = data[column.name].astype("float64")
        else:
            data[column.name] = data[column.name].where(data[column.name].notna(), None)
        if column.mapped:
            origin = data.get(f"{column.name}_src", pd.Series(index=data.index, dtype=object))
            data[f"{column.name}_src"] = origin.astype(object).where(data[column.name].notna() & origin.notna(), None)
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, index=data.index, crs=crs))


def _no_lines(files: list[Path], layers: list[_Layer]) -> str:
    rows = sum(len(layer.frame) for layer in layers if layer.table is INPUT_TABLES["lines"])
    names = ", ".join(map(str, files))
    if rows:
        return f"expected at least one usable line, {names}: all {rows} records are without a usable course"
    return f"expected at least one line, {names}: the lines layer is empty"


def _assemble(
    tables: dict[str, gpd.GeoDataFrame], layers: list[_Layer], sources: tuple[Source, ...], *,
    findings: Findings, crs: CRS, settings: Settings,
) -> Site:  # fmt: skip
    lines = _required(tables["lines"], ("utility", "asset"), findings)
    lines = unique_ids(drop_duplicates(lines, findings), "line_id", findings)
    structures = unique_ids(_required(tables["structures"], ("kind",), findings), "structure_id", findings)
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
    accounting = account({layer.where: len(layer.frame) for layer in layers}, kept.values(), found)
    frames = {name: _finished(name, frame, crs) for name, frame in (kept | {"grounds": grounds}).items()}
    stamp(frames["lines"], read_site, files=[source.path for source in sources])
    table = pd.DataFrame(_finished("terminations", terminations, crs).drop(columns="geometry"))
    return Site(
        **(frames | {"terminations": table}), findings=found, accounting=accounting, sources=sources, crs=crs,
        completeness=completeness(tables, lines),
    )  # fmt: skip


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
    frame = frame.copy()
    for name in names:
        empty = frame[name].isna()
        findings.add_rows("missing_value", frame[empty], f"{name} is not stated", action="repaired: read as unknown")
        frame[name] = frame[name].where(~empty, "unknown")
    return frame


def _stated(frame: gpd.GeoDataFrame, name: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return the rows that state a value nothing can stand in for."""
    empty = frame[name].isna()
    findings.add_rows("missing_value", frame[empty], f"{name} is not stated", action="set aside: correct the record")
    return frame[~empty].reset_index(drop=True)


def _finished(name: str, frame: gpd.GeoDataFrame, crs: CRS) -> gpd.GeoDataFrame:
    """Return a table with the dictionary's columns and types, companions, then the source's own columns."""
    data = frame.drop(columns=["geometry", "part"], errors="ignore")
    own = [c for c in data.columns if not c.startswith("src_")]
    rest = [c for c in data.columns if c.startswith("src_") and c not in FEATURE]
    data[rest] = data[rest].infer_objects()
    data = data[[*own, *rest, *(c for c in FEATURE if c in data)]]
    shapes = frame["geometry"].to_numpy() if "geometry" in frame else None
    return table_frame(name, data, geometry=shapes, crs=crs)
