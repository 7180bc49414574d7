"""Invented streets of any size: networks for the solver, records for the readers."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.tone.layout import Layout

FREQUENCY_HZ = 10e3
RESISTIVITY_OHM_M = 100.0
STEP_M = 2.0
LANES = 10  # lines side by side
LANE_M = 0.8
RADIUS_M = 0.05
COATED_RADIUS_M = 0.053
JOINED_OHM = 1e-3
BLOCK_M = 60.0
MARGIN_M = 10.0


@dataclass(frozen=True)
class Street:
    """Ten lines side by side in a gentle bend, joined at both ends as bonded lines are."""

    start_m: NDArray[np.float64]
    end_m: NDArray[np.float64]
    layout: Layout
    element_ohm: NDArray[np.complex128]

    @property
    def geometry(self) -> dict[str, Any]:
        """Keyword arguments of ``inverse_distance_integrals``."""
        n = len(self.start_m)
        return {
            "radius_m": np.full(n, RADIUS_M),
            "outer_radius_m": np.full(n, COATED_RADIUS_M),
            "chain": self.layout.chain,
        }

    @property
    def materials(self) -> dict[str, Any]:
        """Keyword arguments of ``section_matrices``: coated steel, 0.4 mohm/m and 5 uS/m at the frequency."""
        n = len(self.start_m)
        return {
            "series_ohm_per_m": np.full(n, 4e-4 + 4e-4j),
            "coating_s_per_m": np.full(n, 5e-6 + 1j * 2 * math.pi * FREQUENCY_HZ * 0.7e-9),
            "electrode": np.zeros(n, dtype=bool),
            "electrode_ohm": np.full(n, np.nan),
            "frequency_hz": FREQUENCY_HZ,
            "resistivity_ohm_m": RESISTIVITY_OHM_M,
        }


def street(sections: int) -> Street:
    """Return a street of this many sections of two metres."""
    per_lane = sections // LANES
    heading = np.linspace(0.0, 0.5, per_lane)
    steps = STEP_M * np.column_stack([np.cos(heading), np.sin(heading)])
    middle = np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])
    starts, ends = [], []
    for lane in range(LANES):
        depth = np.full(per_lane + 1, 0.8 + 0.1 * (lane % 4))
        places = np.column_stack([middle + np.array([0.0, lane * LANE_M]), depth])
        starts.append(places[:-1])
        ends.append(places[1:])
    first = np.arange(LANES) * (per_lane + 1)
    a = np.concatenate([first[:-1], first[:-1] + per_lane])
    b = np.concatenate([first[1:], first[1:] + per_lane])
    layout = Layout(np.repeat(np.arange(LANES), per_lane), a, b)
    return Street(np.vstack(starts), np.vstack(ends), layout, np.full(len(a), JOINED_OHM, dtype=complex))


def grid(streets: int) -> Street:
    """Return so many streets along and across, ten lines each, bonded where they cross; 6 have 19,200 sections."""
    length = BLOCK_M * (streets - 1) + 2 * MARGIN_M
    steps = np.linspace(-MARGIN_M, length - MARGIN_M, round(length / STEP_M) + 1)
    starts, ends, node_a, node_b = [], [], [], []
    for number in range(2 * streets * LANES):
        street_number, lane, across = number // (2 * LANES), number % LANES, number // LANES % 2 == 1
        beside = np.full(steps.size, street_number * BLOCK_M + lane * LANE_M)
        places = np.column_stack([beside, steps] if across else [steps, beside])
        depth = np.full(steps.size, 0.8 + 0.1 * (lane % 4) + 0.05 * across)
        places = np.column_stack([places, depth])
        starts.append(places[:-1])
        ends.append(places[1:])
        if across:
            # to the same lane of every street along
            for other in range(streets):
                here, there = (
                    int(np.abs(steps - (k * BLOCK_M + lane * LANE_M)).argmin()) for k in (other, street_number)
                )
                node_a.append(number * steps.size + here)
                node_b.append((other * 2 * LANES + lane) * steps.size + there)
    count = 2 * streets * LANES
    layout = Layout(np.repeat(np.arange(count), steps.size - 1), np.array(node_a), np.array(node_b))
    return Street(np.vstack(starts), np.vstack(ends), layout, np.full(len(node_a), JOINED_OHM, dtype=complex))


def write_records(path: Path, count: int) -> None:
    """Write a GeoPackage with ``count`` lines: ten a street, streets in a square grid of blocks."""
    utilities = ("electricity", "telecommunications", "gas", "water", "sewer", "lighting", "heat", "storm_drain")
    assets = ("cable", "cable", "pipe", "pipe", "pipe", "cable", "pipe", "pipe")
    materials = ("copper", "copper", "steel", "ductile_iron", "concrete", "copper", "steel", "concrete")
    number = np.arange(count)
    block, lane = number // LANES, number % LANES
    side = math.ceil(math.sqrt(count / LANES / 2))
    street_number, along = block // 2, block % 2 == 0
    x, y = (street_number % side) * BLOCK_M, (street_number // side) * BLOCK_M
    # lines of the two streets of a block cross near its corner
    start = np.column_stack([np.where(along, x - 4.0, x + lane * LANE_M), np.where(along, y + lane * LANE_M, y - 4.0)])
    step = np.where(along[:, None], [BLOCK_M - 6.0, 0.0], [0.0, BLOCK_M - 6.0])
    kind = number % len(utilities)
    frame = gpd.GeoDataFrame(
        {
            "line_id": [f"L{n:06d}" for n in number],
            "utility": np.array(utilities)[kind],
            "asset": np.array(assets)[kind],
            "material": np.array(materials)[kind],
            "diameter_mm": np.where(np.array(assets)[kind] == "cable", 40.0, 150.0),
            "depth_m": 0.6 + 0.1 * lane,
            "status": "in_service",
        },
        geometry=shapely.linestrings(np.stack([start, start + step], axis=1)),
        crs="EPSG:32633",
    )
    frame.to_file(path, layer="lines", driver="GPKG")
