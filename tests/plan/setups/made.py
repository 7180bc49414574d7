"""Ensembles made up for tests: what each hook-up shows of each line is written down, nothing is solved."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point

from corridor.plan.ensemble import Ensemble, LineDraws, Sources
from corridor.tone.grades import READABLE
from corridor.tone.stations import Stations, set_stations

SPACING_M = 10.0


def line_frame(names: Sequence[str], *, length_m: float = 40.0) -> gpd.GeoDataFrame:
    """Straight lines along x, 10 m apart."""
    shapes = [LineString([(0, 10.0 * k), (length_m, 10.0 * k)]) for k in range(len(names))]
    return gpd.GeoDataFrame({"line_id": list(names)}, geometry=shapes, crs=32631)


def ready_frame(modes: Mapping[str, str]) -> gpd.GeoDataFrame:
    """Hook-ups by id, each on the line its id names after the colon."""
    names = list(modes)
    return gpd.GeoDataFrame(
        {
            "hookup_id": names,
            "mode": [modes[name] for name in names],
            "line_id": [name.split(":")[1] for name in names],
            "structure_id": [f"at-{name}" for name in names],
            "at_m": 0.0,
            "ready": "ready",
            "missing": None,
            "caution": None,
            "stake_x_m": np.nan,
            "stake_y_m": np.nan,
        },
        geometry=[Point(5.0 * k, 0.0) for k in range(len(names))],
        crs=32631,
    )


def stations_of(lines: gpd.GeoDataFrame, line_id: str) -> Stations:
    """Stations of a line, 10 m apart, 1 m deep."""
    shape = lines.set_index("line_id").geometry[line_id]
    return set_stations(line_id, shape, depth_m=1.0, spacing_m=SPACING_M)


def line_draws(
    stations: Stations,
    drives: Sequence[int],
    *,
    frequencies: int = 2,
    draws: int = 4,
    loud: NDArray[np.int8] | None = None,
    field_nt: NDArray[np.float32] | float = 100.0,
    offset_m: NDArray[np.float32] | float = 0.0,
    depth_error_m: NDArray[np.float32] | float = 0.0,
) -> LineDraws:
    """A line that reads well everywhere, but for what is given; arrays (stations, drives, frequencies, draws)."""
    shape = (len(stations.measure_m), len(drives), frequencies, draws)

    def full(value: NDArray[np.float32] | float) -> NDArray[np.float32]:
        return np.broadcast_to(np.asarray(value, dtype=np.float32), shape).copy()

    return LineDraws(
        stations,
        tuple(drives),
        np.ones(shape[:3], dtype=bool),
        np.full(shape, READABLE, dtype=np.int8) if loud is None else np.broadcast_to(loud, shape).astype(np.int8),
        full(field_nt),
        full(offset_m),
        full(depth_error_m),
        full(1.0),
        full(1.0),
    )


def ensemble(
    lines: Mapping[str, LineDraws], hookups: int, *, available_a: NDArray[np.float64] | float = 10.0
) -> Ensemble:
    """All lines, with sources of the same impedance."""
    first = next(iter(lines.values()))
    shape = (hookups, *first.loud.shape[2:])
    available = np.broadcast_to(np.asarray(available_a, dtype=float), shape).copy()
    return Ensemble(
        lines, Sources(available, np.full(shape, 50.0 + 0j)), tuple(1000.0 * 10**k for k in range(shape[1]))
    )
