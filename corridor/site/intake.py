"""Layers in: opened, recognised, read in their CRS and axis order, and brought to one place and one CRS."""

from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
from pyproj import CRS, Transformer

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import FieldMapError, InputError
from corridor.settings import SiteSettings
from corridor.site.fieldmap import FieldMap, LayerMap
from corridor.site.findings import FEATURE, Findings
from corridor.site.mapping import fit_map
from corridor.site.model import Source
from corridor.site.placing import common_place, far_features, place_of, suspect_axes, swap_axes
from corridor.site.quoting import first_names, quoted
from corridor.site.reference import check_in_range, check_way, layer_crs, reproject, site_crs
from corridor.site.sources import HELD, TROUBLE, file_labels, read_layers, recoded, source_of
from corridor.site.values import as_text

__all__ = ["Layer", "open_layers", "place_layers", "tell_trouble"]

_IDS = {"lines": "line_id", "structures": "structure_id", "bonds": "bond_id", "grounds": "ground_id"}
_NAMED_MOST = 8  # layers in a message
_TROUBLE_ACTIONS = {
    "unreadable_layer": "set aside: the other layers are used",
    "features_lost": "set aside: what can be read is used; ask the owner for the file again",
    "unlisted_table": "not read: if it holds records, ask the owner to register it as a layer",
}


@dataclass(frozen=True)
class Layer:
    """One layer on its way in."""

    file: str  # short name of its file
    name: str
    table: Table | None  # None: not recognised
    plan: LayerMap | None
    frame: gpd.GeoDataFrame
    held: int = 0  # features that its file says it holds, read or not

    @property
    def where(self) -> str:
        """File and layer, for messages and as ``feature_source``."""
        return f"{self.file}:{self.name}"


def open_layers(files: list[Path], plan: FieldMap, findings: Findings) -> tuple[list[Layer], tuple[Source, ...]]:
    """Read every layer of every file and find its block in the field map, else its table by its name.

    Raises
    ------
    InputError
        If no file is named, or one can't be read.
    FieldMapError
        If the map, unless it is a profile, names a layer or column that isn't there.
    """
    if not files:
        message = "expected at least one file of records, got none"
        raise InputError(message)
    labels = file_labels(files)
    layers: list[Layer] = []
    sources = []
    for path in dict.fromkeys(files):
        found = read_layers(path)
        sources.append(source_of(path, found))
        for name, own in found.items():
            block = plan.block(labels[path], name)
            frame = recoded(path, name, block.encoding) if block and block.encoding else own
            where = f"{labels[path]}:{name}"
            held = max(own.attrs.pop(HELD, 0), frame.attrs.pop(HELD, 0), len(frame))
            tell_trouble(frame, where, findings)
            if block is not None:
                block = fit_map(block, frame, where=where, profile=plan.profile, findings=findings)
            word = block.table if block else name.strip().casefold()
            layers.append(Layer(labels[path], name, INPUT_TABLES.get(word), block, frame, held))
    _check_blocks(plan, layers)
    return layers, tuple(sources)


def tell_trouble(frame: gpd.GeoDataFrame, where: str, findings: Findings) -> None:
    """Tell what could not be read as it should be of a layer, as its reader noted it, and take the notes away."""
    source, row, source_id = FEATURE
    for code, message, at in frame.attrs.pop(TROUBLE, []):
        if at is None:
            action = _TROUBLE_ACTIONS.get(code, "used: as far as it goes")
            findings.add(code, message, action=action, source=where)
        else:
            one = frame.iloc[[at]].assign(**{source: where, row: at, source_id: None})
            findings.add_rows(code, one, message, action="set aside: deliver it as plain lines, points or areas")


def _check_blocks(plan: FieldMap, layers: list[Layer]) -> None:
    names = {layer.name for layer in layers} | {layer.where for layer in layers}
    lost = [name for name in plan.layers if name not in names]
    if not lost or (plan.profile and len(lost) < len(plan.layers)):
        return
    have = first_names(sorted({layer.name for layer in layers})) or "no layers"
    what = "profile names no layer that is" if plan.profile else f"field map names layer {quoted(lost[0])}, which is"
    files = first_names(dict.fromkeys(layer.file for layer in layers))
    message = f"the {what} in {'any' if plan.profile else 'none'} of the files; they have: {have} (read: {files})"
    raise FieldMapError(message)


def place_layers(
    layers: list[Layer], crs: str | CRS | None, findings: Findings, *, settings: SiteSettings
) -> tuple[list[Layer], CRS]:
    """Bring every recognised layer into one CRS in metres, and tell the others.

    Axes are exchanged only where the field map says so; a layer that would lie with the others if they were is told.
    What lies farther than ``far_away_m`` from where most layers lie is set aside.

    Raises
    ------
    CrsError
        If a layer has no CRS, or its coordinates can't be in it.
    InputError
        If no layer is one of lines.
    """
    placed = []
    for layer in layers:
        if layer.table is None:
            told = f"{layer.where}: {len(layer.frame)} features in a layer that is no table of the data dictionary"
            findings.add("unknown_layer", told, action="set aside: name its table in a field map", source=layer.where)
            continue
        placed.append(replace(layer, frame=_read_in_crs(layer, crs, findings)))
    if not any(layer.table is INPUT_TABLES["lines"] for layer in placed):
        message = (
            "expected a layer named lines (or one that a field map reads as lines), "
            f"got: {_named(layers) or 'no layers'}; corridor check --draft-fieldmap drafts a field map"
        )
        raise InputError(message)
    places = [place_of(layer.frame) for layer in placed]
    here = common_place(places, far_m=settings.far_away_m)
    placed = _lines_first(placed)
    if here is None:
        reference = site_crs([layer.frame for layer in placed], where=_named(placed))
        return [_moved(layer, reference, findings) for layer in placed], reference
    near = [layer for layer in placed if not suspect_axes(layer.frame, here, far_m=settings.far_away_m)]
    reference = site_crs([layer.frame for layer in near], where=_named(near))
    for layer in placed:
        if layer not in near:
            told = f"{layer.where}: lies far from the other layers, and with them if its axes were exchanged"
            action = 'set aside: if that is so, state axes = "north_east" in its block of a field map'
            findings.add("axes_suspected", told, action=action, source=layer.where)
    here_m = Transformer.from_crs("EPSG:4326", reference, always_xy=True).transform(*here)
    moved = []
    for layer in placed:
        now = _moved(layer, reference, findings)
        kept = far_features(now.frame, here_m, far_m=settings.far_away_m, where=layer.where, findings=findings)
        moved.append(replace(now, frame=kept))
    return moved, reference


def _named(layers: list[Layer]) -> str:
    """Name layers for a message, the first of many."""
    return first_names((layer.where for layer in layers), most=_NAMED_MOST)


def _read_in_crs(layer: Layer, crs: str | CRS | None, findings: Findings) -> gpd.GeoDataFrame:
    mapped = layer.plan.crs if layer.plan else None
    own = layer_crs(layer.frame, mapped=mapped, stated=crs, where=layer.where, findings=findings)
    frame = layer.frame.set_crs(own, allow_override=True)
    if layer.plan and layer.plan.axes == "north_east":
        frame = swap_axes(frame)
        told = f"{layer.where}: coordinates read as north, east, as the field map says"
        findings.add("axes_swapped", told, action="used: axes exchanged", source=layer.where)
    check_way(frame, where=layer.where)
    check_in_range(frame, where=layer.where)
    return _labelled(frame, layer)


def _labelled(frame: gpd.GeoDataFrame, layer: Layer) -> gpd.GeoDataFrame:
    source, row, source_id = FEATURE
    frame = frame.reset_index(drop=True)
    column = _IDS.get(layer.table.name if layer.table else "")
    rule = layer.plan.columns.get(column or "") if layer.plan else None
    own = rule.source if rule else column
    ids = as_text(frame[own]) if own in frame else None
    frame[source] = np.full(len(frame), layer.where, dtype=object)
    frame[row] = np.arange(len(frame))
    frame[source_id] = ids
    return frame


def _moved(layer: Layer, reference: CRS, findings: Findings) -> Layer:
    return replace(layer, frame=reproject(layer.frame, reference, where=layer.where, findings=findings))


def _lines_first(layers: list[Layer]) -> list[Layer]:
    return sorted(layers, key=lambda layer: layer.table is not INPUT_TABLES["lines"])
