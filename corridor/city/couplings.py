"""Parallel runs, crossings and bonds of a site in tiles: found tile by tile, joined to the tables of the whole."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.city.spread import Crew, over_tiles
from corridor.city.tiles import Tiles, TileSite
from corridor.couplings import Couplings, find_couplings
from corridor.couplings.twins import TWIN_RULE
from corridor.dictionary import RESULT_TABLES
from corridor.errors import PlugInError
from corridor.plugins import plugin_points
from corridor.settings import Settings

__all__ = ["city_couplings", "joined_bonds", "only_built_in", "tile_couplings"]

_TABLES = ("parallel_runs", "crossings", "bonds_found")
_RECORDED = "recorded"


def city_couplings(
    tiles: Tiles,
    *,
    settings: Settings | None = None,
    hands: Crew | None = None,
    told: Callable[..., None] | None = None,
) -> Couplings:
    """Find where tone can jump between the lines of a site in tiles; the tables of `find_couplings` on the whole.

    A tile is read with everything that bears on its lines, and gives the rows whose ``line_a`` is its own: so a pair is
    found once, whole, and its rows are numbered as ever.

    Parameters
    ----------
    tiles : Tiles
        As `open_tiles` gives them.
    settings : Settings, optional
        None: those that the records were read with.
    hands : Crew, optional
        Who works; None: this process alone.
    told : callable, optional
        Told of (step, done, total).

    Returns
    -------
    Couplings

    Raises
    ------
    InputError
        If a file can't be read.
    PlugInError
        If a plug-in finds couplings too: how far it looks isn't known.
    """
    only_built_in()
    used = settings or tiles.settings
    found = over_tiles(_Work(tiles, used), len(tiles), hands or Crew(), told=told, step="couplings")
    return Couplings(
        parallel_runs=_ordered([part.parallel_runs for part in found]),
        crossings=_ordered([part.crossings for part in found]),
        bonds_found=joined_bonds([part.bonds_found for part in found]),
    )


def only_built_in() -> None:
    """Refuse plug-ins that find couplings: a tile shows them its own lines only.

    Raises
    ------
    PlugInError
        If there is one.
    """
    others = [name for name in plugin_points("corridor.couplings") if name not in _TABLES]
    if others:
        message = (
            f"expected no plug-in of corridor.couplings for a run over tiles, {', '.join(others)} installed: how far "
            "it looks isn't known; run on the records themselves, or remove it"
        )
        raise PlugInError(message)


@dataclass(frozen=True)
class _Work:
    tiles: Tiles
    settings: Settings

    def __call__(self, number: int) -> Couplings:
        here = self.tiles.site(number, reach_m=self.tiles.reach_m(self.settings))
        return tile_couplings(here, settings=self.settings)


def tile_couplings(here: TileSite, *, settings: Settings) -> Couplings:
    """Return the couplings whose line a is the tile's own."""
    found = find_couplings(here.site, settings=settings)
    return Couplings(**{name: own_rows(getattr(found, name), here.owned) for name in _TABLES})


def own_rows(table: gpd.GeoDataFrame, owned: frozenset[str]) -> gpd.GeoDataFrame:
    """Return the rows whose line a is one of these, numbered afresh."""
    return table[table["line_a"].isin(owned).to_numpy(dtype=bool)].reset_index(drop=True)


def _ordered(parts: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """Join the parts of a table of pairs by pair; within one the order stays, which is that along line a."""
    whole = _joined(parts)
    return _taken(whole, np.lexsort((whole["line_b"].to_numpy(dtype=str), whole["line_a"].to_numpy(dtype=str))))


def joined_bonds(parts: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """Join the bonds of all tiles: recorded ones first, then inferred ones, then ties of near-duplicates."""
    own = set(RESULT_TABLES["bonds_found"].names) | {"geometry"}
    extra = _extras(parts, own)
    whole = _joined([part.drop(columns=[c for c in part if c not in own]) for part in parts])
    values = pd.concat([_extra_values(part, extra) for part in parts], ignore_index=True) if extra else None
    rule = whole["rule"]
    kind = np.where(rule == _RECORDED, 0, np.where(rule == TWIN_RULE, 2, 1))
    tie = kind == 2
    first = np.where(tie, whole["line_a"].astype(str), whole["bond_id"].astype(str)).astype(str)
    second = np.where(tie, whole["line_b"].astype(str), "").astype(str)
    number = np.where(tie, whole["bond_id"].astype(str), "").astype(str)
    order = np.lexsort((number, second, first, kind))
    ordered = _taken(whole, order)
    if values is not None:
        records = values.iloc[order].to_dict("records")
        kept = [record if k == 0 else {} for record, k in zip(records, kind[order], strict=True)]
        table = pd.DataFrame(kept, columns=extra, index=ordered.index)
        for name in extra:
            ordered[name] = table[name].to_numpy()
        ordered = ordered[[*(c for c in ordered if c != "geometry"), "geometry"]]
    return ordered


def _extras(parts: Sequence[gpd.GeoDataFrame], own: set[str]) -> list[str]:
    longest: list[str] = max(([str(c) for c in part if c not in own] for part in parts), key=len, default=[])
    return longest


def _extra_values(part: gpd.GeoDataFrame, names: Sequence[str]) -> pd.DataFrame:
    values = part.reindex(columns=list(names)).astype(object)
    return values.where(values.notna(), None)


def _joined(parts: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    filled = [part for part in parts if len(part)] or [parts[0]]
    whole = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=filled[0].crs) if len(filled) > 1 else filled[0]
    whole.attrs = dict(parts[0].attrs)
    return whole


def _taken(frame: gpd.GeoDataFrame, order: Any) -> gpd.GeoDataFrame:
    taken = frame.iloc[order].reset_index(drop=True)
    taken.attrs = dict(frame.attrs)
    return taken
