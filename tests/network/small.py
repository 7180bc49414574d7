"""One small site that has a bit of everything, and random networks of streets."""

from typing import Any

import numpy as np

from corridor.couplings import Couplings, find_couplings
from corridor.network import Network, build_network
from corridor.site.model import Site
from tests.builders import make_site

PIPE = {"asset": "pipe", "material": "steel", "utility": "gas"}
LINES = (
    {"line_id": "E1", "geometry": [(0, 0), (10, 0)]},
    {"line_id": "E2", "geometry": [(10, 0), (50, 0)]},
    {"line_id": "E3", "geometry": [(30, 0.05), (30, 40)]},
    {"line_id": "W1", "utility": "water", "asset": "pipe", "material": "copper", "geometry": [(0, 8), (10, 0.2)]},
    {"line_id": "G1", **PIPE, "geometry": [(0, -5), (60, -5)]},
    {"line_id": "G2", **PIPE, "geometry": [(60, -5), (100, -5)]},
    {"line_id": "P1", "conductive": "no", "geometry": [(50, 0), (90, 0)]},
)
STRUCTURES = (
    {"structure_id": "B1", "kind": "building_entry", "geometry": (10, 0)},
    {"structure_id": "V1", "kind": "valve", "geometry": (20, -5)},
    {"structure_id": "V2", "kind": "valve", "geometry": (60, -5)},
    {"structure_id": "H1", "kind": "handhole", "geometry": (40, 0.3)},
)
TERMINATIONS = (
    {"structure_id": "V1", "line_id": "G1", "at": "through", "isolated": "yes"},
    {"structure_id": "V2", "line_id": "G2", "at": "start", "isolated": "yes"},
    {"structure_id": "H1", "line_id": "E2", "clamp": "yes"},
)
GROUNDS = ({"ground_id": "g1", "line_id": "E2", "geometry": (49.8, 0), "evidence": "inferred"},)


def small_site(**tables: Any) -> Site:
    """The site above; a keyword replaces a table."""
    return make_site(
        **{"lines": LINES, "structures": STRUCTURES, "terminations": TERMINATIONS, "grounds": GROUNDS} | tables
    )


def built(site: Site) -> tuple[Network, Couplings]:
    """The network and the couplings of a site."""
    found = find_couplings(site)
    return build_network(site, found.bonds_found), found


def random_site(seed: int) -> Site:
    """Twelve lines of three utilities between the points of a grid of 20 m, so that ends and tees meet, with bonds."""
    rng = np.random.default_rng(seed)
    lines: list[dict[str, Any]] = []
    for k in range(12):
        x, y = rng.integers(0, 5, 2) * 20.0
        dx, dy = [(20, 0), (0, 20), (40, 0), (0, 40)][rng.integers(4)]
        utility = ["electricity", "water", "gas"][rng.integers(3)]
        side = {"electricity": 0.0, "water": 1.5, "gas": 3.0}[utility]
        shape = [(x + side, y + side), (x + side + dx, y + side + dy)]
        lines.append(
            {"line_id": f"L{k:02d}", "utility": utility, "asset": "pipe", "material": "steel", "geometry": shape}
        )
    bonds = []
    for k in range(8):
        a, b = rng.choice(12, 2, replace=False)
        state = [None, "closed", "open"][rng.integers(3)]
        evidence = ["recorded", "measured", "inferred", "suspected"][rng.integers(4)]
        bonds.append(
            {"bond_id": f"b{k}", "line_a": f"L{a:02d}", "line_b": f"L{b:02d}", "state": state, "evidence": evidence}
        )
    joint = {"structure_id": "V", "line_id": f"L{rng.integers(12):02d}", "isolated": "yes"}
    structure = {"structure_id": "V", "kind": "valve", "geometry": tuple(rng.integers(0, 5, 2) * 20.0)}
    return make_site(lines=lines, bonds=bonds, structures=[structure], terminations=[joint])
