"""The map of one hook-up: where its tone goes, as predicted along every line solved."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from corridor.couplings.finders import all_bonds
from corridor.frames import empty_table, table_frame
from corridor.report.look.conventions import conventions
from corridor.report.look.symbols import tone_width_pt
from corridor.report.maps.map import MapContent, draw_map
from corridor.report.maps.map_frame import write_figure
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["trace_content", "write_trace_map"]

_SAME = ("line_id", "hookup_id", "grade", "grade_worst", "settled", "assumed", "step")


def write_trace_map(
    trace: Any, site: Site, path: str | Path, *, settings: Settings, metadata: Mapping[str, str]
) -> None:
    """Draw where the tone of one hook-up goes and write the map as PNG or SVG, by the suffix.

    Parameters
    ----------
    trace : ToneTrace or PassiveTrace
        As ``trace_tone`` or ``trace_passive`` gives it.
    site : Site
        The records.
    path : str or Path
        ``.png`` or ``.svg``.
    settings : Settings
        Part ``report`` chooses the colours.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If the suffix is another, or the file can't be written.
    """
    content = trace_content(trace, site, settings=settings)
    figure = draw_map(content, colours=conventions(settings.report).colours)
    write_figure(figure, path, title=content.title, metadata=metadata)


def trace_content(trace: Any, site: Site, *, settings: Settings) -> MapContent:
    """Return what the map of one hook-up shows: sections that look alike joined, so that each has one mark.

    Parameters
    ----------
    trace : ToneTrace or PassiveTrace
        As ``trace_tone`` or ``trace_passive`` gives it.
    site : Site
        The records.
    settings : Settings
        For the bonds found.
    """
    hookups = _hookup(trace, site)
    frequencies = trace.sections["frequency_hz"].dropna()
    at = f"{frequencies.iloc[0]:g} Hz" if len(frequencies) else "no frequency"
    if hasattr(trace, "hookup"):
        row = trace.hookup
        place = f" at {row['structure_id']}" if isinstance(row["structure_id"], str) else ""
        state = "" if row["ready"] == "ready" else "NOT READY: "
        title = f"{state}{row['mode']} on {row['line_id']}{place}, {at}, {trace.current_ma:.3g} mA: where the tone goes"
    else:
        title = f"Passive {trace.kind}, {at}, indicative only: what a receiver alone would hear"
    return MapContent(
        title=title,
        lines=site.lines,
        stretches=_stretches(trace.sections),
        hookups=hookups,
        bonds=all_bonds(site, settings=settings),
        work_area=site.work_area.iloc[:0],
        structures=site.structures,
        notes=(*trace.notes, "Grid north up"),
    )


def _hookup(trace: Any, site: Site) -> gpd.GeoDataFrame:
    if not hasattr(trace, "hookup"):
        return empty_table("hookups", site.crs)
    row = trace.hookup
    line = site.lines.geometry[site.lines["line_id"].eq(row["line_id"])].iloc[0]
    return table_frame("hookups", [row], geometry=[line.interpolate(float(row["at_m"]))], crs=site.crs)


def _stretches(sections: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Join neighbouring sections of a line that would be drawn alike; the least current of each counts."""
    alike = sections.assign(step=tone_width_pt(sections["current_ma"]))
    keys = alike[[name for name in _SAME if name in alike]].astype(object)
    keys = keys.where(keys.notna(), "")  # two grades that aren't there are alike
    changes = keys.ne(keys.shift()).any(axis=1)
    runs = changes.cumsum().to_numpy()
    first = np.flatnonzero(np.diff(runs, prepend=-1))
    rows = alike.iloc[first].drop(columns=["step"]).reset_index(drop=True)
    rows["current_ma"] = alike.groupby(runs)["current_ma"].min().to_numpy()
    shapes = [_joined(list(part)) for _, part in alike.geometry.groupby(runs, sort=True)]
    return rows.set_geometry(gpd.GeoSeries(shapes, index=rows.index, crs=sections.crs))


def _joined(pieces: list[Any]) -> Any:
    """Return sections as one course, in their order."""
    coordinates = np.concatenate([shapely.get_coordinates(piece) for piece in pieces if piece is not None])
    return shapely.LineString(coordinates[np.append(True, np.any(np.diff(coordinates, axis=0) != 0, axis=1))])
