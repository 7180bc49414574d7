"""What a set-up's readings should be, as intervals, and where to stop; power drawn and hours of a battery."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError

__all__ = ["Interval", "SourceReadings", "battery_hours", "interval", "power_drawn", "source_readings"]

Floats = NDArray[np.float64]

TENFOLD = 10.0  # a range wider than this tells nothing: asked for so
_TAIL = 2.3263478740408408 / 1.2815515655446004  # normal quantiles of 99 % over 90 %, in standard deviations

_LARGEST = 700.0  # logarithm of what still is a number


@dataclass(frozen=True)
class Interval:
    """Range of a reading, in the unit of its values.

    Attributes
    ----------
    low, high : float
        The 10 % and 90 % points: one in five good hook-ups lies outside.
    stop_low, stop_high : float
        The 1 % and 99 % points, or the safety limit: outside, stop.
    tells : bool
        False where high is more than ten times low: the reading tells nothing here.
    capped : bool
        The safety limit cut one of them.
    """

    low: float
    high: float
    stop_low: float
    stop_high: float
    tells: bool
    capped: bool = False


@dataclass(frozen=True)
class SourceReadings:
    """What the source shows in each draw; rms.

    Attributes
    ----------
    current_a, voltage_v, loop_ohm : ndarray, shape (d,)
        Current, A; voltage across the loop, V; magnitude of the loop's impedance, ohm.
    limited : ndarray of bool, shape (d,)
        The source can't drive the level that was set.
    """

    current_a: Floats
    voltage_v: Floats
    loop_ohm: Floats
    limited: NDArray[np.bool_]


def interval(values: ArrayLike, weights: ArrayLike | None = None, *, cap: float | None = None) -> Interval:
    """Return the range that draws of a reading span.

    Quantiles by Hazen's midpoints (type 5 of Hyndman and Fan 1996, The American Statistician 50(4), 361-365), with the
    draws' weights. Where the 1 % or 99 % point lies beyond the outermost draw, as it does below about fifty draws, a
    log-normal tail stands in: from the median through the 10 % (90 %) point, 2.33/1.28 times as far in logarithms, and
    never inside the outermost draw.

    Parameters
    ----------
    values : array_like, shape (d,)
        Readings, >= 0, all in one unit.
    weights : array_like, shape (d,), optional
        >= 0; equal where not given.
    cap : float, optional
        Safety limit, > 0: nothing stands above it.

    Returns
    -------
    Interval

    Raises
    ------
    DomainError
        If there is no draw, a value or weight isn't a finite number >= 0, all weights are 0, or the cap isn't > 0.
    """
    v = np.asarray(values, dtype=np.float64)
    if v.ndim != 1 or not v.size or not (np.isfinite(v) & (v >= 0)).all():
        message = f"values: expected at least one finite number >= 0 in one dimension, got {np.ravel(v)[:8]}"
        raise DomainError(message)
    if cap is not None and not cap > 0:
        message = f"cap: expected a limit > 0, got {cap!r}"
        raise DomainError(message)
    w = _weights(weights, v.shape)
    used = np.argsort(v, kind="stable")
    used = used[w[used] > 0]
    v, w = v[used], w[used]
    at = np.cumsum(w) - w / 2
    one, ten, half, ninety, last = (float(np.interp(p, at, v)) for p in (0.01, 0.1, 0.5, 0.9, 0.99))
    if at[0] > 0.01:
        one = min(v[0], 0.0 if ten <= 0 else _beyond(half, ten))
    if at[-1] < 0.99:
        last = max(v[-1], 0.0 if half <= 0 else _beyond(half, ninety))
    tells = ninety <= TENFOLD * ten and ninety > 0
    limit = np.inf if cap is None else cap
    low, high, stop_low, stop_high = (min(float(x), limit) for x in (ten, ninety, one, last))
    return Interval(low, high, stop_low, stop_high, tells=tells, capped=bool(max(ninety, last) > limit))


def source_readings(loop_ohm: ArrayLike, available_a: ArrayLike, level_a: float) -> SourceReadings:
    """Return what the source shows at a level: it drives the level, or what it can.

    Parameters
    ----------
    loop_ohm : array_like of complex, shape (d,)
        Impedance that the source sees in each draw, ohm.
    available_a : array_like, shape (d,) or scalar
        The most that the source can drive in each draw, A rms, >= 0.
    level_a : float
        Output that was set, A rms, > 0.

    Returns
    -------
    SourceReadings

    Raises
    ------
    DomainError
        If an impedance isn't finite, a current is negative or the level isn't > 0.
    """
    z = np.atleast_1d(np.asarray(loop_ohm, dtype=np.complex128))
    most = np.asarray(available_a, dtype=np.float64) * np.ones(z.shape)
    if not np.isfinite(z).all() or not (most >= 0).all() or not level_a > 0:
        message = f"expected finite loop_ohm, available_a >= 0 and level_a > 0, got {z[:8]}, {most[:8]} and {level_a}"
        raise DomainError(message)
    current = np.minimum(most, level_a)
    return SourceReadings(current, current * np.abs(z), np.abs(z), most < level_a)


def power_drawn(current_a: ArrayLike, loop_ohm: ArrayLike, *, efficiency: float, idle_w: float = 0.0) -> Floats:
    """Return the electrical power that the source takes, P = I^2 Re Z / efficiency + idle, W (Joule's law).

    Parameters
    ----------
    current_a : array_like, A rms
        Through the loop.
    loop_ohm : array_like of complex, ohm
        Of the loop; broadcast against ``current_a``.
    efficiency : float
        Power into the loop over power taken for it, 0 < efficiency <= 1.
    idle_w : float
        Taken with no output, W, >= 0.

    Returns
    -------
    ndarray, W

    Raises
    ------
    DomainError
        If efficiency or idle_w is out of range, or a loop would give power back.
    """
    resistance = np.real(np.asarray(loop_ohm))
    if not 0 < efficiency <= 1 or not idle_w >= 0 or not (resistance >= 0).all():
        message = (
            f"expected efficiency above 0 up to 1, idle_w >= 0 and loops of a resistance >= 0, got {efficiency}, "
            f"{idle_w} and {np.min(resistance)}"
        )
        raise DomainError(message)
    return np.asarray(np.asarray(current_a, dtype=np.float64) ** 2 * resistance / efficiency + idle_w)


def battery_hours(power_w: ArrayLike, capacity_wh: float | None) -> Floats | None:
    """Return how long a battery lasts, h, infinite at no power; None where its capacity isn't given.

    Parameters
    ----------
    power_w : array_like, W
        Taken, >= 0.
    capacity_wh : float or None
        Energy in the battery, watt-hours, > 0.

    Raises
    ------
    DomainError
        If the capacity isn't > 0 or a power is negative.
    """
    if capacity_wh is None:
        return None
    power = np.atleast_1d(np.asarray(power_w, dtype=np.float64))
    if not capacity_wh > 0 or not (power >= 0).all():
        message = f"expected capacity_wh > 0 and power_w >= 0, got {capacity_wh} and {power.min()}"
        raise DomainError(message)
    return np.divide(capacity_wh, power, out=np.full(power.shape, np.inf), where=power > 0)


def _beyond(median: float, point: float) -> float:
    """Return the 1 % (99 %) point of the log-normal distribution with that median and 10 % (90 %) point."""
    wide = _TAIL * (math.log(point) - math.log(median))
    return median * math.exp(min(wide, _LARGEST - max(math.log(median), 0.0)))


def _weights(weights: ArrayLike | None, shape: tuple[int, ...]) -> Floats:
    w = np.ones(shape) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != shape or not (np.isfinite(w) & (w >= 0)).all() or not w.sum() > 0:
        message = f"weights: expected finite numbers >= 0 of the shape {shape}, not all 0, got {np.ravel(w)[:8]}"
        raise DomainError(message)
    return w / w.sum()
