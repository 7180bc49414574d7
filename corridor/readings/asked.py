"""Readings as the solver is asked for them: which hook-up, which frequency, where; and their scales."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.constants import MA_PER_A, MU_0, TWO_PI
from corridor.readings.plan import SetUp
from corridor.settings import ReceiverSettings, Settings

__all__ = ["Asked", "asked_of", "from_scale", "receiver_of", "to_scale"]

T_PER_NT = 1e-9
SOURCE_FLOOR = 1e-3  # mA, V or ohm: far below anything a transmitter shows
LEAST_STEPS = 5  # of a profile, either side: what its interpolation needs
SLOPE_M = 0.05  # either side of a place, to see which way the line runs


@dataclass(frozen=True)
class Asked:
    """One reading: what, under which set-up, and where.

    ``drives`` are the hook-ups that it may belong to, the set-up's own first. ``floor`` is what the instrument shows
    as good as nothing (mA; NaN for lengths).
    """

    row: int
    kind: str
    setup_id: str
    drives: tuple[int, ...]
    level_a: float
    frequency_hz: float
    line_id: str
    station_m: float
    xy_m: tuple[float, float]
    direction: tuple[float, float]
    depth_m: float
    floor: float

    @property
    def placed(self) -> bool:
        """Whether it belongs to a place on a line."""
        return not self.kind.startswith("source_")

    @property
    def logarithmic(self) -> bool:
        """Whether its scale is a logarithm; an offset is read in metres."""
        return self.kind != "peak_offset_m"


def asked_of(
    readings: gpd.GeoDataFrame,
    lines: gpd.GeoDataFrame,
    setups: Mapping[str, SetUp],
    drives: Mapping[str, tuple[int, ...]],
    *,
    settings: Settings,
) -> list[Asked]:
    """Return readings as they are asked for.

    Parameters
    ----------
    readings : GeoDataFrame
        Table ``readings``, those that count.
    lines : GeoDataFrame
        Table ``lines``.
    setups : mapping
        By setup_id.
    drives : mapping
        Hook-ups that a set-up may be, its own first.
    settings : Settings
        Floors, and the height of the receiver.
    """
    rows = lines.set_index("line_id")
    found = []
    for number, row in zip(readings.index, readings.to_dict("records"), strict=True):
        line, setup = rows.loc[row["line_id"]], setups[row["setup_id"]]
        place = (float("nan"),) * 2
        direction, station, depth = (1.0, 0.0), float("nan"), float(line["depth_m"])
        if row["geometry"] is not None:
            station = float(row["station_m"])
            place = (row["geometry"].x, row["geometry"].y)
            direction = _direction(line.geometry, station)
        found.append(
            Asked(
                row=int(number),
                kind=row["kind"],
                setup_id=row["setup_id"],
                drives=drives[row["setup_id"]],
                level_a=setup.level_ma / MA_PER_A,
                frequency_hz=float(row["frequency_hz"]),
                line_id=row["line_id"],
                station_m=station,
                xy_m=place,
                direction=direction,
                depth_m=depth,
                floor=_floor(row["kind"], depth, settings),
            )
        )
    return found


def to_scale(asked: Sequence[Asked], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bring readings to the scale on which their errors are even: the logarithm, softened at the floor; metres.

    Parameters
    ----------
    asked : sequence of Asked
    values : ndarray, shape (readings, ...)
        mA, V, ohm or m.
    """
    given = np.asarray(values, dtype=float)
    logarithmic, floor = _scales(asked, given.ndim)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(logarithmic, 0.5 * np.log(given**2 + floor**2), given)


def from_scale(asked: Sequence[Asked], scaled: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bring figures back from the scale of ``to_scale``; what lies under the floor becomes zero."""
    given = np.asarray(scaled, dtype=float)
    logarithmic, floor = _scales(asked, given.ndim)
    capped = np.where(logarithmic, given, 0.0)
    return np.where(logarithmic, np.sqrt(np.maximum(np.exp(2.0 * capped) - floor**2, 0.0)), given)


def _scales(asked: Sequence[Asked], dimensions: int) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return which readings are on a logarithm, and their floors, ready to meet arrays of some dimensions."""
    shape = (len(asked), *(1,) * (dimensions - 1))
    logarithmic = np.array([one.logarithmic for one in asked], dtype=np.bool_).reshape(shape)
    floor = np.nan_to_num(np.array([one.floor for one in asked], dtype=float)).reshape(shape)
    return logarithmic, floor


def receiver_of(settings: Settings) -> ReceiverSettings:
    """Return the receiver as a crew uses it to read one line: it looks for the peak beside that line only."""
    receiver = settings.receiver
    width = min(max(settings.readings.search_m, LEAST_STEPS * receiver.step_m), receiver.half_width_m)
    return receiver.model_copy(update={"half_width_m": width})


def _floor(kind: str, depth_m: float, settings: Settings) -> float:
    if kind == "receiver_ma":
        reach = depth_m + settings.receiver.lower_coil_height_m
        return TWO_PI * reach * settings.grades.floor_nt * T_PER_NT / MU_0 * MA_PER_A
    if kind == "clamp_ma":
        return settings.readings.clamp_floor_ma
    return SOURCE_FLOOR if kind.startswith("source_") else float("nan")


def _direction(shape: object, station_m: float) -> tuple[float, float]:
    length = shape.length  # type: ignore[attr-defined]
    before = shape.interpolate(max(station_m - SLOPE_M, 0.0))  # type: ignore[attr-defined]
    after = shape.interpolate(min(station_m + SLOPE_M, length))  # type: ignore[attr-defined]
    along = np.array([after.x - before.x, after.y - before.y])
    size = float(np.hypot(*along))
    return (1.0, 0.0) if size == 0.0 else (float(along[0] / size), float(along[1] / size))
