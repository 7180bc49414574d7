"""A whole city: the site in tiles, and what runs tile by tile, here or on a cluster."""

from corridor.city.bonded import city_bonded_networks
from corridor.city.couplings import city_couplings
from corridor.city.spread import Crew, crew, over_tiles
from corridor.city.store import write_tiles
from corridor.city.tiles import Tiles, TileSite, is_tiles, open_tiles

__all__ = [
    "Crew",
    "TileSite",
    "Tiles",
    "city_bonded_networks",
    "city_couplings",
    "crew",
    "is_tiles",
    "open_tiles",
    "over_tiles",
    "write_tiles",
]
