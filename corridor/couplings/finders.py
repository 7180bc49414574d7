"""Everything that can carry tone from one line to another; the finders come in through the extension point."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd

from corridor.couplings.bonds import BOND_COLUMNS, EARTH, bonds_among, find_bonds
from corridor.couplings.bulk import uncollected
from corridor.couplings.crossings import crossings_frame, find_crossings
from corridor.couplings.depths import DEPTH_COLUMNS
from corridor.couplings.model import Couplings
from corridor.couplings.naming import PairNames
from corridor.couplings.parallel import find_parallel_runs, runs_frame
from corridor.couplings.search import Limits, search
from corridor.couplings.segments import segments_and_ends, sorted_with
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CorridorError, PlugInError
from corridor.plugins import CouplingFinder, load_plugins
from corridor.settings import Settings
from corridor.site.model import Site
from corridor.threads import at_once

__all__ = ["all_bonds", "bonds_found", "crossings", "find_couplings", "parallel_runs"]

_GROUP = "corridor.couplings"
_TABLES = ("parallel_runs", "crossings", "bonds_found")
_IDS = {"parallel_runs": "run_id", "crossings": "crossing_id", "bonds_found": "bond_id"}


def parallel_runs(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the parallel runs of a site's lines, within the limits of the settings.

    Raises
    ------
    CrsError, InputError
        As ``find_parallel_runs``.
    """
    return find_parallel_runs(site.lines, **(settings or Settings()).couplings.model_dump())


def crossings(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the crossings of a site's lines; settings change none.

    Raises
    ------
    CrsError, InputError
        As ``find_crossings``.
    """
    return find_crossings(site.lines, chunk_segments=(settings or Settings()).couplings.chunk_segments)


def bonds_found(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the bonds of a site, as ``find_bonds``.

    Raises
    ------
    CrsError, InputError
        As ``find_bonds``.
    """
    return find_bonds(site, settings=settings)


def find_couplings(site: Site, *, settings: Settings | None = None) -> Couplings:
    """Find where tone can jump between the lines of a site: parallel runs, crossings and bonds.

    Each table is filled by the plug-ins of the group ``corridor.couplings`` that bear its name, alone or followed by
    a dot and a word of their own (``bonds_found.test_leads``); rows of the latter follow the built-in ones, by name.

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used.
    PlugInError
        If a plug-in fails, its name begins with no table's, or its table lacks columns, repeats ids, is in another
        CRS, or names lines that aren't there.
    """
    finders = _finders()
    made = _built_in(finders, site, settings or Settings())
    return Couplings(**{table: _filled(table, finders, site, settings=settings, made=made) for table in _TABLES})


def _built_in(finders: Mapping[str, CouplingFinder], site: Site, settings: Settings) -> dict[str, gpd.GeoDataFrame]:
    """Return what our own finders fill, where they are those of the tables: one search, and the bonds beside it."""
    ours = {"parallel_runs": parallel_runs, "crossings": crossings, "bonds_found": bonds_found}
    if any(finders[table] is not finder for table, finder in ours.items()):
        return {}
    with uncollected():
        lines = sorted_with(site.lines, (*DEPTH_COLUMNS, *BOND_COLUMNS))
        made, bonds = at_once(lambda: _runs_and_crossings(lines, settings), lambda: bonds_among(site, lines, settings))
    return made | {"bonds_found": bonds}


def _runs_and_crossings(lines: gpd.GeoDataFrame, settings: Settings) -> dict[str, gpd.GeoDataFrame]:
    asked = settings.couplings
    limits = Limits(**asked.model_dump(exclude={"chunk_segments"}))
    segments, ends_m = segments_and_ends(lines)
    (runs, points), names = at_once(
        lambda: search(segments, ends_m, limits=limits, chunk_segments=asked.chunk_segments),
        lambda: PairNames(lines["line_id"].to_numpy(dtype=object)),
    )
    return {
        "parallel_runs": runs_frame(lines, segments, runs, limits, names=names),
        "crossings": crossings_frame(lines, points, names=names),
    }


def all_bonds(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the bonds of a site alone, those of plug-ins among them: table ``bonds_found`` of `find_couplings`.

    Raises
    ------
    CrsError, InputError, PlugInError
        As `find_couplings`.
    """
    return _filled("bonds_found", _finders(), site, settings=settings, made={})


def _finders() -> dict[str, CouplingFinder]:
    finders: dict[str, CouplingFinder] = load_plugins(_GROUP, required=_TABLES)
    for name in finders:
        if name.partition(".")[0] not in _TABLES:
            message = f"plug-in {name!r} of {_GROUP}: expected a name that begins with {', '.join(_TABLES)} and a dot"
            raise PlugInError(message)
    return finders


def _filled(
    table: str,
    finders: dict[str, CouplingFinder],
    site: Site,
    *,
    settings: Settings | None,
    made: Mapping[str, gpd.GeoDataFrame],
) -> gpd.GeoDataFrame:
    parts = [made[table] if table in made else finders[table](site, settings=settings)]
    for name, finder in finders.items():
        if name.startswith(f"{table}."):
            parts.append(_added(name, finder, site, settings=settings, before=parts))
    return _joined(parts)


def _added(
    name: str, finder: CouplingFinder, site: Site, *, settings: Settings | None, before: list[gpd.GeoDataFrame]
) -> gpd.GeoDataFrame:
    """Return what a plug-in finds, checked against its table and what was found before."""
    table = name.partition(".")[0]
    try:
        found = finder(site, settings=settings)
    except (CorridorError, MemoryError):
        raise
    except Exception as error:  # a stranger's code may fail in any way
        message = f"plug-in {name!r} of {_GROUP} failed: {type(error).__name__}: {error}; mend or remove it"
        raise PlugInError(message) from error
    wrong = _fault(table, found, site, before)
    if wrong:
        message = f"plug-in {name!r} of {_GROUP}: {wrong}"
        raise PlugInError(message)
    return found


def _fault(table: str, found: Any, site: Site, before: list[gpd.GeoDataFrame]) -> str:
    """Return what is wrong with a plug-in's table; empty if nothing is."""
    if not isinstance(found, gpd.GeoDataFrame):
        return f"expected a GeoDataFrame, got {type(found).__name__}"
    missing = [column for column in RESULT_TABLES[table].names if column not in found]
    if missing:
        return f"expected the columns of {table}, {', '.join(missing)} not there"
    if len(found) and found.crs != site.crs:
        return f"expected the CRS of the site, {site.crs}, got {found.crs}"
    ids = [str(name) for frame in (*before, found) for name in frame[_IDS[table]]]
    if len(set(ids)) < len(ids):
        twice = next(name for name in found[_IDS[table]].astype(str) if ids.count(name) > 1)
        return f"expected ids of its own, {twice!r} comes twice"
    known = {*site.lines["line_id"].astype(str), EARTH}
    strange = [str(line) for column in ("line_a", "line_b") for line in found[column] if str(line) not in known]
    return f"expected line_ids of the site, got {strange[0]!r}" if strange else ""


def _joined(parts: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    first = parts[0]
    filled = [part for part in parts if len(part)]
    if not filled or (len(filled) == 1 and len(first)):
        return first
    joined = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=first.crs)
    joined.attrs = dict(first.attrs)
    return joined
