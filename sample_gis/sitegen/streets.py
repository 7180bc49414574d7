"""Streets as local axes: a station along the street and an offset across it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

EAST_WEST = 0
NORTH_SOUTH = 1


@dataclass(frozen=True)
class Street:
    """A straight street.

    Attributes
    ----------
    axis : int
        ``EAST_WEST`` or ``NORTH_SOUTH``: the local coordinate that is the station.
    centre_m : float
        The other coordinate of the centre line, m.
    outward : int
        +1 or -1: the direction of growing offset.
    """

    axis: int
    centre_m: float
    outward: int = 1

    def point(self, station_m: float, offset_m: float) -> tuple[float, float]:
        """Return local x, y (m) of a station and an offset (m)."""
        across = self.centre_m + self.outward * offset_m
        return (station_m, across) if self.axis == EAST_WEST else (across, station_m)

    def path(self, *stops: tuple[float, float]) -> Points:
        """Return the (n, 2) polyline through stations and offsets, m."""
        return np.array([self.point(station, offset) for station, offset in stops])

    def main(
        self, offset_m: float, start_m: float, end_m: float, rng: np.random.Generator, *, wander_m: float = 0.04
    ) -> Points:
        """Return a nearly straight main (n, 2), m; only its inner vertices wander off the offset."""
        count = max(2, round(abs(end_m - start_m) / 27.0) + 1)
        stations = np.linspace(start_m, end_m, count)
        offsets = offset_m + rng.uniform(-wander_m, wander_m, count)
        offsets[[0, -1]] = offset_m
        return self.path(*zip(stations, offsets, strict=True))

    def on(self, path: Points, station_m: float) -> tuple[float, float]:
        """Return the point (m) of a path that runs along this street at a station (m).

        Raises
        ------
        ValueError
            If the path does not reach that station.
        """
        for (start, across), (end, far_across) in pairwise(
            zip(path[:, self.axis], path[:, 1 - self.axis], strict=True)
        ):
            if start != end and min(start, end) <= station_m <= max(start, end):
                there = float(across + (far_across - across) * (station_m - start) / (end - start))
                return (station_m, there) if self.axis == EAST_WEST else (there, station_m)
        message = f"the path has no station {station_m} m"
        raise ValueError(message)
