"""Records of a site as layers in a standard's terms, with what it can't say in columns and tables of our own names."""

from typing import Any

import geopandas as gpd
import pandas as pd

from corridor.dictionary import INPUT_TABLES, Table
from corridor.report.exchange.terms import CODES, check_standard, line_class, structure_class
from corridor.site.fieldmap import LayerMap, load_fieldmap
from corridor.site.findings import FEATURE, Findings
from corridor.site.mapping import fit_map, map_layer
from corridor.site.model import Site
from corridor.site.values import read_values

__all__ = ["export_records"]

_RECORDED = ("given", "mapped")
_BY_RULE = "by_rule:"  # how grounds that a rule put are named
_READ_FROM = "src_read_from"
_GROUND_RANGE = ("resistance_low_ohm", "resistance_high_ohm")


def export_records(site: Site, terms: str) -> dict[str, gpd.GeoDataFrame]:
    """Return the records of a site as layers in the terms of a standard.

    Lines and structures are layers of the standard's classes. Beside each attribute of the standard stands a column of
    our own name where the attribute alone would not give the value back; what the standard has no attribute for
    (joints, tracer wire, coating, bonds, isolating joints and more) stands in columns and tables of our own names.
    Read again with the field map of that standard, the site is the same.

    Only what the records state is exported: values filled by default, inferred grounds and derived terminations are
    left out, since reading fills them again.

    Parameters
    ----------
    site : Site
        The records.
    terms : str
        ``inspire`` or ``muddi``.

    Returns
    -------
    dict of GeoDataFrame
        Layers by name, those of the standard first; empty tables are left out, but for one layer of lines.

    Raises
    ------
    InputError
        If the standard isn't known.
    """
    check_standard(terms)
    plans = load_fieldmap(terms).layers
    layers: dict[str, gpd.GeoDataFrame] = {}
    lines = _recorded(site.lines, INPUT_TABLES["lines"])
    classes = {"lines": line_class(terms, site.lines["utility"], site.lines["asset"]),
               "structures": structure_class(terms, site.structures["kind"])}  # fmt: skip
    for name, frame in (("lines", lines), ("structures", site.structures)):
        for layer in [layer for layer in plans if classes[name].eq(layer).any()]:
            rows = frame[classes[name].eq(layer)].reset_index(drop=True)
            layers[layer] = _in_terms(rows, INPUT_TABLES[name], plans[layer], where=layer)
    for name, frame in _own_tables(site).items():
        if len(frame):
            layers[name] = _named(frame, INPUT_TABLES[name])
    return layers


def _recorded(frame: gpd.GeoDataFrame, table: Table) -> gpd.GeoDataFrame:
    """Return rows with only what the record or its field map states."""
    kept = frame.copy()
    for column in table.columns:
        told = f"{column.name}_src"
        if column.mapped and told in kept:
            stated = kept[told].isin(_RECORDED)
            kept[column.name] = kept[column.name].where(stated, None)
            kept[told] = kept[told].where(stated, None)
    return kept


def _own_tables(site: Site) -> dict[str, gpd.GeoDataFrame]:
    """Return the tables that are extensions of our own, recorded rows only."""
    grounds = site.grounds[~site.grounds["ground_id"].astype(str).str.startswith(_BY_RULE)]
    if _GROUND_RANGE[0] in grounds:
        low, high = (grounds[name].astype(float) for name in _GROUND_RANGE)
        grounds = grounds.assign(resistance_ohm=grounds["resistance_ohm"].where(low.eq(high)))
    ends = site.terminations
    ends = ends[~ends["derived"].astype(bool)] if "derived" in ends else ends
    placed = gpd.GeoDataFrame(ends, geometry=[None] * len(ends), crs=site.crs)
    return {"terminations": placed, "bonds": site.bonds, "grounds": grounds, "soil": site.soil,
            "work_area": site.work_area, "surfaces": site.surfaces}  # fmt: skip


def _in_terms(rows: gpd.GeoDataFrame, table: Table, plan: LayerMap, *, where: str) -> gpd.GeoDataFrame:
    """Return rows as a layer of the standard: its attributes, then our columns where those don't give a value back."""
    standard: dict[str, Any] = {}
    for name, rule in plan.columns.items():
        codes = CODES.get(rule.source)
        values = rows[name]
        standard[rule.source] = values if codes is None else values.map(codes)
    own = _named(rows, table)
    attributes = gpd.GeoDataFrame(pd.DataFrame(standard, index=rows.index).astype(object), geometry=rows.geometry)
    back = _read_back(attributes, own, table, plan=plan, where=where)
    kept: dict[str, Any] = {}
    for name in own:
        if name == own.geometry.name or name in attributes:
            continue
        values = own[name]
        if name in table.names:
            same = _same(values, back.get(name), own.get(f"{name}_src"), back.get(f"{name}_src"))
            values = values.astype(object).where(~same, None)
        if values.notna().any() or str(name).startswith("src_"):
            kept[name] = values
    return gpd.GeoDataFrame({**attributes.drop(columns="geometry"), **kept}, geometry=rows.geometry, crs=rows.crs)


def _read_back(
    attributes: gpd.GeoDataFrame, own: gpd.GeoDataFrame, table: Table, *, plan: LayerMap, where: str
) -> gpd.GeoDataFrame:
    """Return what reading the standard's attributes alone would give."""
    told = {name: own[name] for name in own if name.removesuffix("_src") in table.names and name.endswith("_src")}
    feature = {FEATURE[0]: where, FEATURE[1]: range(len(own)), FEATURE[2]: None}
    frame = attributes.assign(**told, **feature)
    findings = Findings()
    fitted = fit_map(plan, frame, where=where, profile=True, findings=findings)
    return read_values(map_layer(frame, table, fitted, where=where), table, findings)


def _same(values: pd.Series, back: pd.Series | None, told: pd.Series | None, back_told: pd.Series | None) -> pd.Series:
    """Whether reading gives each value back, and where it came from too; NULL is given back by saying nothing."""
    if back is None:
        return values.isna()
    pairs = [(values, back)] + ([(told, back_told)] if told is not None and back_told is not None else [])
    same = pd.Series(True, index=values.index)
    for one, other in pairs:
        both = one.notna() & other.notna()
        alike = both & (one.astype(object).where(both, "") == other.astype(object).where(both, ""))
        same &= alike | (one.isna() & other.isna())
    return same


def _named(frame: gpd.GeoDataFrame, table: Table) -> gpd.GeoDataFrame:
    """Return the columns that are exported under our own names: the table's, where they came from, and the owner's."""
    told = [f"{column.name}_src" for column in table.columns if column.mapped and f"{column.name}_src" in frame]
    owners = [name for name in frame if str(name).startswith("src_") and name not in FEATURE]
    named = frame[[*(name for name in table.names if name in frame), *told, *owners, "geometry"]].copy()
    if FEATURE[0] in frame and _READ_FROM not in named:
        rows = pd.to_numeric(frame[FEATURE[1]], errors="coerce").astype("Int64").astype(str)
        read = frame[FEATURE[0]].astype(str) + ", row " + rows
        named.insert(len(named.columns) - 1, _READ_FROM, read.where(frame[FEATURE[0]].notna(), None))
    return named
