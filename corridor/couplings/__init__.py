"""Geometry only: where tone can jump from one line to another."""

from corridor.couplings.bonds import EARTH, find_bonds
from corridor.couplings.crossings import find_crossings
from corridor.couplings.finders import all_bonds, find_couplings
from corridor.couplings.model import Couplings
from corridor.couplings.nearest import nearest_conductors
from corridor.couplings.parallel import find_parallel_runs
from corridor.couplings.places import conducts

__all__ = [
    "EARTH",
    "Couplings",
    "all_bonds",
    "conducts",
    "find_bonds",
    "find_couplings",
    "find_crossings",
    "find_parallel_runs",
    "nearest_conductors",
]
