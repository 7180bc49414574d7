"""The map of bonded networks: which lines share metal, how that is known, what joins them and what keeps them apart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from corridor.dictionary import GONE
from corridor.network.bonded import BondedNetworks
from corridor.network.releases import NOT_KNOWN
from corridor.report.look.symbols import INK, Symbol
from corridor.report.maps.labels import Label
from corridor.report.maps.map_frame import MapFrame, map_frame, write_figure
from corridor.report.maps.map_layers import draw_area, draw_structures
from corridor.report.text import plain, source_names
from corridor.site.model import Site

__all__ = ["GROUP_COLOURS", "draw_groups_map", "write_groups_map"]

# apart for most eyes (after Okabe and Ito 2008, from memory), none green; the eighth group is the first again, double
GROUP_COLOURS = ("#0072b2", "#d55e00", "#7b3294", "#e69f00", "#56b4e9", "#cc79a7", "#8c510a")
_PATTERNS: dict[str, tuple[Any, float, str]] = {  # by the strictest level that joins a line: dashes, width, words
    "recorded": ("solid", 2.2, "with some other line on record"),
    "likely": ((0, (7.0, 3.0)), 2.2, "only inferred, probability 0.5 or more"),
    "possible": ((0, (1.6, 2.6)), 2.0, "possible only [?]: nobody has seen it"),
}
_UNKNOWN = ("#5f5f5f", 1.3)
_NO_TONE = ("#8f8f8f", 1.0, (0, (1.0, 3.0)))
_POSSIBLE = "#5f5f5f"
_EDGES = {
    "bond": Symbol("P", "bond", area=44.0),
    "junction": Symbol("o", "lines that meet", area=13.0),
    "continuity": Symbol("s", "place where a line's own metal may part", area=16.0),
    "ground": Symbol("v", "ground electrode", area=22.0),
}
_ISOLATION = Symbol("X", "isolating joint", area=58.0)
_BRIDGED = "#b00000"
_SEEN = ("recorded", "observed", "measured")
_SPLITS = 3
_NAME_PT = 6.2


@dataclass(frozen=True)
class _Look:
    """How one line is drawn: the level that joins it, its groups' numbers, and its colour."""

    level: str  # recorded, likely, possible, not known, or none for a line without tone
    numbers: tuple[int, ...]
    colour: str
    double: bool = False


def write_groups_map(networks: BondedNetworks, site: Site, path: str | Path, *, metadata: Mapping[str, str]) -> None:
    """Draw the bonded networks of a site and write the map as PNG or SVG, by the suffix.

    Parameters
    ----------
    networks : BondedNetworks
        As ``bonded_networks`` gives them.
    site : Site
        Whose they are.
    path : str or Path
        ``.png`` or ``.svg``.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If the suffix is another, or the file can't be written.
    """
    title = _title(site)
    write_figure(draw_groups_map(networks, site), path, title=title, metadata=metadata)


def draw_groups_map(networks: BondedNetworks, site: Site) -> Figure:
    """Draw the bonded networks: colour and number by likely group, pattern by evidence, bonds and isolations as marks.

    A line in no group is drawn grey: no record of a bond isn't no bond. One that carries no tone is drawn too.

    Parameters
    ----------
    networks : BondedNetworks
        As ``bonded_networks`` gives them.
    site : Site
        Whose they are.

    Returns
    -------
    Figure
        14 by 10 inches; the labels' boxes don't overlap.
    """
    lines = site.lines[~site.lines["status"].isin(GONE)]
    groups = networks.bonded_groups[networks.bonded_groups["level"].eq("likely")]
    groups = groups.sort_values(["length_m", "group_id"], ascending=[False, True])
    numbers = {str(name): number for number, name in enumerate(groups["group_id"], start=1)}
    looks = _looks(networks.line_groups, numbers)
    notes = ["Grid north up", "Groups at level likely; every level stands in the layers line_groups and bonded_groups"]
    with map_frame(_title(site), np.asarray(lines.total_bounds, dtype=float), notes=notes) as frame:
        draw_area(frame.axes, site.work_area)
        draw_structures(frame.axes, site.structures)
        _draw_lines(frame, lines, looks)
        _draw_edges(frame, networks.group_edges)
        _draw_isolations(frame, networks.isolations)
        splits = _splits(networks)
        left_out = _label(frame, lines, looks, splits)
        _legend(frame, groups, looks, networks)
        frame.list("What large groups hang on", [text for _, text, _ in splits])
        if left_out:
            notes.append(f"{left_out} labels without room: see the layers")
    return frame.figure


def _title(site: Site) -> str:
    return f"{source_names(site)}: which lines share metal, and how that is known"


def _looks(line_groups: gpd.GeoDataFrame, numbers: Mapping[str, int]) -> dict[str, _Look]:
    looks = {}
    for row in line_groups.to_dict("records"):
        recorded, likely, possible = (_names(row[f"group_{level}"]) for level in ("recorded", "likely", "possible"))
        own = tuple(sorted(numbers[name] for name in likely if name in numbers))
        if own:
            turn, place = divmod(own[0] - 1, len(GROUP_COLOURS))
            look = _Look("recorded" if recorded else "likely", own, GROUP_COLOURS[place], double=turn % 2 == 1)
        elif possible:
            look = _Look("possible", (), _POSSIBLE)
        elif isinstance(row["group_possible"], str):
            look = _Look(NOT_KNOWN, (), _UNKNOWN[0])
        else:
            look = _Look("none", (), _NO_TONE[0])
        looks[str(row["line_id"])] = look
    return looks


def _names(value: Any) -> list[str]:
    return value.split() if isinstance(value, str) and value != NOT_KNOWN else []


def _draw_lines(frame: MapFrame, lines: gpd.GeoDataFrame, looks: Mapping[str, _Look]) -> None:
    none = _Look("none", (), _NO_TONE[0])
    for name, shape in zip(lines["line_id"].astype(str), lines.geometry, strict=True):
        if shape is None:
            continue
        look = looks.get(name, none)
        course = [np.asarray(shape.coords)[:, :2]]
        dashes, width, zorder = _stroke(look)
        cap = "round" if dashes == "solid" else "butt"
        frame.axes.add_collection(LineCollection(
            course, colors=look.colour, linewidths=width, linestyles=[dashes], capstyle=cap, zorder=zorder,
        ))  # fmt: skip
        if look.double:
            frame.axes.add_collection(LineCollection(course, colors="white", linewidths=width / 3, zorder=zorder + 0.1))


def _stroke(look: _Look) -> tuple[Any, float, float]:
    if look.level in _PATTERNS:
        dashes, width, _ = _PATTERNS[look.level]
        return dashes, width, 4.0
    if look.level == NOT_KNOWN:
        return "solid", _UNKNOWN[1], 3.0
    return _NO_TONE[2], _NO_TONE[1], 2.5


def _draw_edges(frame: MapFrame, edges: gpd.GeoDataFrame) -> None:
    """Draw what joins lines; hollow where nobody has seen it."""
    for kind, symbol in _EDGES.items():
        for seen in (True, False):
            own = edges[edges["kind"].eq(kind) & (edges["evidence"].isin(_SEEN) == seen)]
            _scatter(frame, own.geometry, symbol, face=INK if seen else "white", edge="white" if seen else INK)


def _draw_isolations(frame: MapFrame, isolations: gpd.GeoDataFrame) -> None:
    for bridged in (False, True):
        own = isolations[isolations["bridged"].notna() == bridged]
        face = _BRIDGED if bridged else "white"
        _scatter(frame, own.geometry, _ISOLATION, face=face, edge="white" if bridged else INK, zorder=7.5)


def _scatter(
    frame: MapFrame, shapes: gpd.GeoSeries, symbol: Symbol, *, face: str, edge: str, zorder: float = 7.0
) -> None:
    points = [p for p in shapes if p is not None and not p.is_empty and frame.sheet.shows(p.x, p.y)]
    if not points:
        return
    frame.axes.scatter(
        [p.x for p in points], [p.y for p in points], s=symbol.area, marker=symbol.marker, facecolor=face,
        edgecolor=edge, linewidth=0.9 if face == "white" else 0.6, zorder=zorder,
    )  # fmt: skip
    frame.taken += [frame.sheet.to_points(point).buffer(symbol.area**0.5 / 2) for point in points]


def _splits(networks: BondedNetworks) -> list[tuple[str, str, shapely.Point]]:
    """Return mark, words and place of the bonds and visits that most of a large group hangs on."""
    found = []
    rows = networks.group_splits
    rows = rows[rows["level"].eq("likely") & (rows["rank"] <= _SPLITS) & rows.geometry.notna()]
    for number, row in enumerate(rows.itertuples(index=False)):
        where = row.structure_id if isinstance(row.structure_id, str) else row.bond_ids
        mark = chr(ord("A") + number)
        if row.what == "visit":
            text = f"one visit to {where} settles {row.split_off_m:.0f} m"
        else:
            place = f"at {where}" if where == row.structure_id else where
            text = f"without the bond {place}: {row.split_off_m:.0f} m come off"
        found.append((mark, f"{mark}  {text}", row.geometry))
    return found


def _label(
    frame: MapFrame,
    lines: gpd.GeoDataFrame,
    looks: Mapping[str, _Look],
    splits: Sequence[tuple[str, str, shapely.Point]],
) -> int:
    sheet = frame.sheet
    marks = [Label(mark, sheet.to_points(point), size_pt=7.0, boxed=True) for mark, _, point in splits
             if sheet.shows(point.x, point.y)]  # fmt: skip
    seen = []
    for name, shape in zip(lines["line_id"].astype(str), lines.geometry, strict=True):
        piece = None if shape is None else sheet.clip(shape)
        if piece is not None:
            on_paper = sheet.to_points(piece)
            seen.append((not looks[name].numbers if name in looks else True, -on_paper.length, name, on_paper))
    seen.sort(key=lambda row: row[:3])
    names = [Label(_name(name, looks.get(name)), shape, size_pt=_NAME_PT) for _, _, name, shape in seen]
    return frame.label([*marks, *names], [shape for *_, shape in seen])


def _name(name: str, look: _Look | None) -> str:
    if look is None or look.level == "none":
        return plain(name)
    inside = "+".join(map(str, look.numbers)) or ("?" if look.level == "possible" else "–")
    return plain(f"{name} [{inside}]")


def _legend(frame: MapFrame, groups: gpd.GeoDataFrame, looks: Mapping[str, _Look], networks: BondedNetworks) -> None:
    levels = {look.level for look in looks.values()}
    frame.legend("Shares metal", [
        *(Line2D([], [], color=INK, linewidth=width, linestyle=dashes, label=text)
          for level, (dashes, width, text) in _PATTERNS.items() if level in levels),
        *([Line2D([], [], color=_UNKNOWN[0], linewidth=_UNKNOWN[1],
                  label="not known [–]: no record of a bond isn't no bond")] if NOT_KNOWN in levels else []),
        *([Line2D([], [], color=_NO_TONE[0], linewidth=_NO_TONE[1], linestyle=_NO_TONE[2],
                  label="carries no tone by the records; it is still there")] if "none" in levels else []),
    ])  # fmt: skip
    frame.legend("What joins and what parts (hollow: not seen)", _point_rows(networks))
    rows: list[Artist] = []
    for number, row in enumerate(groups.itertuples(index=False), start=1):
        turn, place = divmod(number - 1, len(GROUP_COLOURS))
        odds = f" {row.probability:.2g}" if row.probability < 1.0 else ""
        others = f"+{row.line_count - 1} lines, {row.length_m:.0f} m"
        text = f"[{number}] {row.group_id.partition(':')[2]} {others}; {row.evidence_weakest}{odds}"
        edge = "white" if turn % 2 else GROUP_COLOURS[place]
        rows.append(Patch(facecolor=GROUP_COLOURS[place], edgecolor=edge, hatch="--" if turn % 2 else None,
                          label=text))  # fmt: skip
    shown = rows[:20]
    frame.legend("Groups (likely), and the weakest link in each", shown)
    if len(rows) > len(shown):
        frame.list("", [f"and {len(rows) - len(shown)} more groups: see the layer bonded_groups"])


def _point_rows(networks: BondedNetworks) -> list[Artist]:
    edges, isolations = networks.group_edges, networks.isolations
    rows: list[Artist] = []
    for kind, symbol in _EDGES.items():
        own = edges[edges["kind"].eq(kind)]
        seen = own["evidence"].isin(_SEEN)
        for there, hollow in ((bool(seen.any()), False), (bool((~seen).any()), True)):
            if there:
                text = f"{symbol.text}, {'inferred or suspected' if hollow else 'on record or seen'}"
                rows.append(_mark(symbol, text, face="white" if hollow else INK, edge=INK))
    if len(isolations):
        rows.append(_mark(_ISOLATION, f"{_ISOLATION.text}: no bond known round it", face="white", edge=INK))
    if isolations["bridged"].notna().any():
        text = f"{_ISOLATION.text}, bridged: its sides share metal"
        rows.append(_mark(_ISOLATION, text, face=_BRIDGED, edge=_BRIDGED))
    rows.append(Line2D([], [], linestyle="none", marker="s", markersize=3.5, color="#cfcfcf", markeredgecolor="#8a8a8a",
                       label="structure"))  # fmt: skip
    rows.append(Patch(facecolor="#f4f2ec", edgecolor="#555555", linestyle="-.", label="work area"))
    return rows


def _mark(symbol: Symbol, text: str, *, face: str, edge: str) -> Line2D:
    return Line2D(
        [], [], linestyle="none", marker=symbol.marker, markersize=symbol.area**0.5, markerfacecolor=face,
        markeredgecolor=edge, markeredgewidth=0.9, label=text,
    )  # fmt: skip
