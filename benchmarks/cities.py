"""Invented cities of any size: streets with mains side by side, services to the houses, chambers where lines end.

python benchmarks/cities.py 1000000 city.gpkg
python benchmarks/cities.py 1000000 city.gpkg 0.15  # bonds on record at that share of the houses and chambers
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.frames import empty_table, table_frame
from corridor.site.model import Site

Floats = NDArray[np.float64]

BLOCK_M = 84.0  # from junction to junction
HOUSES = 6  # along a block
HOUSE_M = 13.0  # from the middle of the street to the walls
STEP_M = 9.0  # between the vertices of a main
SEGMENTS_A_STREET = 102.0  # about; how many streets a city of so many segments has
# name, utility, asset, material, offset from the middle of the street, share of the streets and of the houses, depth
MAINS: tuple[tuple[str, str, str, str, float, float, float, float], ...] = (
    ("E", "electricity", "cable", "copper", -4.6, 0.95, 0.9, 0.7),
    ("T", "telecommunications", "cable", "copper", -3.4, 0.9, 0.7, 0.6),
    ("L", "lighting", "cable", "copper", -5.6, 0.6, 0.0, 0.5),
    ("G", "gas", "pipe", "steel", 2.4, 0.8, 0.6, 0.9),
    ("W", "water", "pipe", "ductile_iron", 3.9, 0.95, 0.9, 1.2),
    ("S", "sewer", "pipe", "concrete", 0.2, 0.9, 0.0, 2.4),
)
CHAMBER = ("E", "T")  # mains that end in the chamber at a junction; the others run on past it
RUN_ON_M = 7.0
CRS = "EPSG:32633"
STATES = ("closed", "open", "unknown", None)
SITE_TABLES = ("terminations", "grounds", "soil", "work_area", "surfaces", "findings")


@dataclass(frozen=True)
class City:
    """Layers of a city as ``read_site`` takes them."""

    lines: gpd.GeoDataFrame
    structures: gpd.GeoDataFrame
    bonds: gpd.GeoDataFrame

    def write(self, path: Path) -> None:
        """Write the layers to a GeoPackage, bonds where there are any."""
        self.lines.to_file(path, layer="lines", driver="GPKG")
        self.structures.to_file(path, layer="structures", driver="GPKG")
        if len(self.bonds):
            self.bonds.to_file(path, layer="bonds", driver="GPKG")

    def site(self) -> Site:
        """Return the city as a site, as if read, all of metal; what reading costs stays apart."""
        lines = self.lines.assign(conductive="yes", horizontal_accuracy_m=np.nan, nominal_voltage_v=np.nan)
        empty = {name: empty_table(name, lines.crs) for name in SITE_TABLES}
        whole = {
            "lines": lines,
            "structures": self.structures,
            "bonds": self.bonds,
            "accounting": pd.DataFrame(),
            "sources": (),
        }
        return Site(**(empty | whole), crs=lines.crs)


@dataclass(frozen=True)
class _Streets:
    """Streets between junctions of a square grid: where each begins, and whether it runs east or north."""

    x_m: Floats
    y_m: Floats
    east: NDArray[np.bool_]

    def laid(self, street: NDArray[np.int64], along: Floats, across: Floats) -> tuple[Floats, Floats]:
        """Return eastings and northings of places along and across streets, the whole city gently bent."""
        east = self.east[street]
        x = self.x_m[street] + np.where(east, along, -across)
        y = self.y_m[street] + np.where(east, across, along)
        bent_x = x + 14.0 * np.sin(y / 170.0) + 6.0 * np.sin((x + 2 * y) / 95.0)
        bent_y = y + 12.0 * np.sin(x / 210.0) + 5.0 * np.sin((2 * x - y) / 120.0)
        turn = 0.31
        return (
            4e5 + bent_x * np.cos(turn) - bent_y * np.sin(turn),
            5e6 + bent_x * np.sin(turn) + bent_y * np.cos(turn),
        )


def city(segments: int, *, seed: int = 0, recorded: float = 0.0) -> City:
    """Make a city of about so many segments.

    Mains lie in lanes of their street; electricity and telecommunications end in a chamber at each junction, the others
    cross it. Each house has up to four services, side by side, which pass under the mains of their side and end at one
    building entry. At a share ``recorded`` of the houses and of the streets' chambers a bond is on record; lines and
    structures are the same whatever it is.
    """
    rng = np.random.default_rng(seed)
    side = max(2, round(np.sqrt(segments / SEGMENTS_A_STREET / 2.0)))
    node_x, node_y = (axis.ravel() for axis in np.meshgrid(np.arange(side), np.arange(side)))
    streets = _Streets(
        x_m=np.tile(node_x * BLOCK_M, 2), y_m=np.tile(node_y * BLOCK_M, 2), east=np.arange(2 * side**2) < side**2
    )
    parts = [_mains(rng, streets, main) for main in MAINS]
    entry_x, entry_y, services = _services(rng, streets)
    parts += services
    lines = _lines(parts)
    chambers = streets.laid(np.arange(side**2), np.zeros(side**2), np.zeros(side**2))
    structures = gpd.GeoDataFrame(
        {
            "structure_id": [f"C{k:06d}" for k in range(side**2)] + [f"B{k:06d}" for k in range(len(entry_x))],
            "kind": ["manhole"] * side**2 + ["building_entry"] * len(entry_x),
        },
        geometry=shapely.points(np.r_[chambers[0], entry_x], np.r_[chambers[1], entry_y]),
        crs=CRS,
    )
    bonds = _bonds(np.random.default_rng((seed, 1)), parts, structures, share=recorded)
    return City(lines, structures, bonds)


def _bonds(
    rng: np.random.Generator, parts: list[dict[str, Any]], structures: gpd.GeoDataFrame, *, share: float
) -> gpd.GeoDataFrame:
    """Put bonds on record: electricity with water at entries, with telecommunications at chambers.

    A third names its structure, a third its place, a third both; states of all kinds, stated or not.
    """
    by_prefix = {part["prefix"]: part for part in parts}
    chambers = int((structures["kind"] == "manhole").sum())
    ends, found = (("Es", "Ws", chambers, 1), ("E", "T", 0, chambers)), []
    for first, second, before, around in ends:
        one, other = by_prefix[first]["place"], by_prefix[second]["place"]
        both, a, b = np.intersect1d(one, other, return_indices=True)
        kept = np.flatnonzero(rng.random(len(both)) < share)
        at = before + (both[kept] % around if around > 1 else both[kept])
        found.append((at, [f"{first}{k:06d}" for k in a[kept]], [f"{second}{k:06d}" for k in b[kept]]))
    place = np.concatenate([at for at, _, _ in found])
    if not len(place):
        return empty_table("bonds", structures.crs)
    way, state = rng.integers(0, 3, len(place)), rng.integers(0, len(STATES), len(place))
    names, points = structures["structure_id"].to_numpy(dtype=object), structures.geometry.to_numpy()
    columns = {
        "bond_id": [f"R{k:06d}" for k in range(len(place))],
        "line_a": [name for _, lines, _ in found for name in lines],
        "line_b": [name for _, _, lines in found for name in lines],
        "structure_id": np.where(way == 1, None, names[place]),
        "state": np.array(STATES, dtype=object)[state],
        "evidence": "recorded",
    }
    return table_frame("bonds", pd.DataFrame(columns), geometry=np.where(way == 0, None, points[place]), crs=CRS)


def _mains(rng: np.random.Generator, streets: _Streets, main: tuple[Any, ...]) -> dict[str, Any]:
    """Lay one utility's mains: a vertex every nine metres, a decimetre off the lane."""
    lane, share = main[4], main[5]
    street = np.flatnonzero(rng.random(len(streets.x_m)) < share)
    pieces = round(BLOCK_M / STEP_M)
    along = np.linspace(0.0, BLOCK_M, pieces + 1) + rng.uniform(-2.0, 2.0, (len(street), pieces + 1))
    across = lane + rng.normal(0.0, 0.1, along.shape)
    if main[0] in CHAMBER:  # both ends at the chamber, within a hand's breadth
        along[:, [0, -1]] = np.array([0.0, BLOCK_M]) + rng.normal(0.0, 0.1, (len(street), 2))
        across[:, [0, -1]] = rng.normal(0.0, 0.1, (len(street), 2))
    else:
        along[:, 0], along[:, -1] = -RUN_ON_M, BLOCK_M + RUN_ON_M - 1.0
    rows = np.repeat(street, pieces + 1)
    x, y = streets.laid(rows, along.ravel(), across.ravel())
    return {
        "main": main, "prefix": main[0], "x": x, "y": y, "vertices": pieces + 1, "depth": main[7], "place": street,
    }  # fmt: skip


def _services(rng: np.random.Generator, streets: _Streets) -> tuple[Floats, Floats, list[dict[str, Any]]]:
    """Lay the services of all houses; return the entries' places too."""
    count = len(streets.x_m) * HOUSES
    street = np.repeat(np.arange(len(streets.x_m)), HOUSES)
    side = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    place = 14.0 + (np.arange(count) % HOUSES) * (BLOCK_M - 26.0) / (HOUSES - 1) + rng.uniform(-3.0, 3.0, count)
    wall = side * (HOUSE_M + rng.uniform(-1.0, 1.0, count))
    parts = []
    for number, main in enumerate(MAINS):
        house = np.flatnonzero(rng.random(count) < main[6])
        if not len(house):
            continue
        start = place[house] + 0.7 * number + rng.uniform(-0.2, 0.2, len(house))
        zero = np.full(len(house), main[4])
        bend = wall[house] * rng.uniform(0.6, 0.8, len(house))
        along = np.column_stack((start, start + rng.uniform(-0.2, 0.2, len(house)), start, place[house] + 2.0))
        across = np.column_stack((zero, (zero + bend) / 2.0, bend, wall[house]))
        along[:, -1] += rng.uniform(-0.25, 0.25, len(house))
        x, y = streets.laid(np.repeat(street[house], 4), along.ravel(), across.ravel())
        parts.append({
            "main": main, "prefix": f"{main[0]}s", "x": x, "y": y, "vertices": 4, "depth": main[7] - 0.1,
            "place": house,
        })  # fmt: skip
    x, y = streets.laid(street, place + 2.0, wall)
    return x, y, parts


def _lines(parts: list[dict[str, Any]]) -> gpd.GeoDataFrame:
    count = [len(part["x"]) // part["vertices"] for part in parts]
    xy = np.concatenate([np.column_stack((part["x"], part["y"])) for part in parts])
    vertices = np.repeat([part["vertices"] for part in parts], count)
    names = [f"{part['prefix']}{k:06d}" for part, lines in zip(parts, count, strict=True) for k in range(lines)]
    columns: dict[str, Any] = {"line_id": names}
    for name, place in (("utility", 1), ("asset", 2), ("material", 3)):
        columns[name] = np.repeat(np.array([part["main"][place] for part in parts], dtype=object), count)
    columns["depth_m"] = np.repeat([part["depth"] for part in parts], count)
    columns["status"] = "in_service"
    return gpd.GeoDataFrame(
        columns, geometry=shapely.linestrings(xy, indices=np.repeat(np.arange(len(vertices)), vertices)), crs=CRS
    )


def main() -> int:
    """Write a city of a number of segments to a file."""
    share = float(sys.argv[3]) if len(sys.argv) > 3 else 0.0
    city(int(sys.argv[1]), recorded=share).write(Path(sys.argv[2]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
