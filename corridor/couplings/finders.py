"""Everything that can carry tone from one line to another; the finders come in through the extension point."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from corridor.couplings.bonds import find_bonds
from corridor.couplings.crossings import find_crossings
from corridor.couplings.model import Couplings
from corridor.couplings.parallel import find_parallel_runs
from corridor.dictionary import RESULT_TABLES
from corridor.errors import InputError
from corridor.plugins import CouplingFinder, load_plugins
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["bonds_found", "crossings", "find_couplings", "parallel_runs"]


def parallel_runs(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the parallel runs of a site's lines, within the limits of the settings.

    Raises
    ------
    CrsError, InputError
        As ``find_parallel_runs``.
    """
    limits = (settings or Settings()).couplings
    return find_parallel_runs(
        site.lines,
        max_separation_m=limits.max_separation_m,
        max_angle_deg=limits.max_angle_deg,
        min_length_m=limits.min_length_m,
    )


def crossings(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:  # noqa: ARG001 - the protocol's
    """Find the crossings of a site's lines; there is nothing to set.

    Raises
    ------
    CrsError, InputError
        As ``find_crossings``.
    """
    return find_crossings(site.lines)


def bonds_found(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """Find the bonds of a site, as ``find_bonds``.

    Raises
    ------
    CrsError, InputError
        As ``find_bonds``.
    """
    return find_bonds(site, settings=settings)


BUILT_IN: dict[str, CouplingFinder] = {
    "parallel_runs": parallel_runs,
    "crossings": crossings,
    "bonds_found": bonds_found,
}


def find_couplings(site: Site, *, settings: Settings | None = None) -> Couplings:
    """Find where tone can jump between the lines of a site: parallel runs, crossings and bonds.

    Each table is filled by the plug-ins of the group ``corridor.couplings`` that bear its name, alone or followed by
    a dot and a word of their own (``bonds_found.test_leads``); rows of the latter follow the built-in ones.

    Raises
    ------
    CrsError
        If the CRS of the lines is missing or not in metres.
    InputError
        If ids or geometries of the lines can't be used, or a plug-in's table lacks columns.
    """
    finders = BUILT_IN | load_plugins("corridor.couplings")
    tables = {}
    for table in BUILT_IN:
        names = [table, *sorted(name for name in finders if name.startswith(f"{table}."))]
        tables[table] = _joined(table, {name: finders[name](site, settings=settings) for name in names})
    return Couplings(**tables)


def _joined(table: str, parts: dict[str, gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    first = parts[table]
    for name, part in parts.items():
        missing = [column for column in RESULT_TABLES[table].names if column not in part]
        if missing:
            message = f"coupling plug-in {name!r}: expected the columns of {table}, {', '.join(missing)} not there; add"
            raise InputError(message)
    filled = [part for part in parts.values() if len(part)]
    if len(filled) < 2 and len(first):
        return first
    if not filled:
        return first
    joined = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=first.crs)
    joined.attrs = dict(first.attrs)
    return joined
