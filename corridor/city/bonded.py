"""Bonded networks of a site in tiles: what joins lines found tile by tile, the groups of the whole from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from corridor.city.couplings import joined_bonds, only_built_in
from corridor.city.spread import Crew, over_tiles
from corridor.city.tiles import Tiles
from corridor.couplings import all_bonds
from corridor.network.bonded import BondedNetworks, networks_of
from corridor.network.parts import Part, joined_parts, part_of
from corridor.network.releases import earlier_release
from corridor.settings import Settings

__all__ = ["city_bonded_networks"]


def city_bonded_networks(
    tiles: Tiles,
    *,
    previous: pd.DataFrame | None = None,
    settings: Settings | None = None,
    hands: Crew | None = None,
    told: Callable[..., None] | None = None,
) -> BondedNetworks:
    """Return which lines of a site in tiles share metal; the tables of `bonded_networks` on the whole.

    Each tile gives what joins its lines, and which of that closes loops within the tile. The rest, a forest per tile
    and level, is joined over the borders by union-find (the cycle property of spanning forests: Tarjan 1983, Data
    structures and network algorithms, from memory).

    Parameters
    ----------
    tiles : Tiles
        As `open_tiles` gives them.
    previous : DataFrame, optional
        Table ``line_groups`` of an earlier result.
    settings : Settings, optional
        None: those that the records were read with.
    hands : Crew, optional
        Who works; None: this process alone.
    told : callable, optional
        Told of (step, done, total).

    Returns
    -------
    BondedNetworks

    Raises
    ------
    InputError
        If a file can't be read, or ``previous`` lacks a column.
    PlugInError
        If a plug-in finds bonds too: how far it looks isn't known.
    """
    only_built_in()
    earlier = None if previous is None else earlier_release(previous)
    used = settings or tiles.settings
    parts = over_tiles(_Work(tiles, used), len(tiles), hands or Crew(), told=told, step="bonds")
    bonds = joined_bonds([part.bonds_found for part in parts])
    return networks_of(joined_parts(parts, bonds), earlier=earlier)


@dataclass(frozen=True)
class _Work:
    tiles: Tiles
    settings: Settings

    def __call__(self, number: int) -> Part:
        here = self.tiles.site(number, reach_m=self.tiles.reach_m(self.settings))
        bonds = all_bonds(here.site, settings=self.settings)
        return part_of(here.site, bonds, settings=self.settings, owned=here.owned)
