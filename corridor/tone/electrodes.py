"""Ground electrodes: the resistance of a rod and the rod that stands for a given resistance."""

import math
from functools import lru_cache
from typing import Any

import numpy as np
from scipy import optimize

from corridor.constants import TWO_PI
from corridor.errors import DomainError

__all__ = ["LENGTH_MAX_M", "RADII_MIN", "equivalent_rod_length_m", "layered_rod_resistance", "rod_resistance"]

# A thin rod is at least this many radii long; longer than this many metres no single electrode is drawn.
RADII_MIN = 10.0
LENGTH_MAX_M = 1000.0
IMAGES = 1000  # of the series for two layers: a contrast of 1 : 1000 needs as many for 0.1 %


def rod_resistance(length_m: float, radius_m: float, resistivity_ohm_m: float) -> float:
    """Return the resistance to remote earth of a vertical rod driven from the surface.

    Parameters
    ----------
    length_m : float
        Driven length, m, more than ten radii.
    radius_m : float
        Radius of the rod, m, > 0.
    resistivity_ohm_m : float
        Resistivity of the soil, > 0.

    Returns
    -------
    float
        Ohms: rho/(2 pi L) (ln(4 L/a) - 1), Dwight 1936 (Calculation of resistances to ground, AIEE).

    Raises
    ------
    DomainError
        If a value isn't positive or the rod is shorter than ten radii.
    """
    _require_positive(length_m=length_m, radius_m=radius_m, resistivity_ohm_m=resistivity_ohm_m)
    if length_m < RADII_MIN * radius_m * (1.0 - 1e-12):
        msg = f"a rod must be at least {RADII_MIN:g} radii long, got length_m = {length_m} with radius_m = {radius_m}"
        raise DomainError(msg)
    return resistivity_ohm_m / (TWO_PI * length_m) * (math.log(4.0 * length_m / radius_m) - 1.0)


def layered_rod_resistance(
    length_m: float, radius_m: float, resistivity_ohm_m: float, *, top_thickness_m: float, lower_ohm_m: float
) -> float:
    """Return the resistance to remote earth of a vertical rod that stands in two layers of soil.

    Parameters
    ----------
    length_m, radius_m : float
        As in `rod_resistance`.
    resistivity_ohm_m : float
        Of the top layer, > 0.
    top_thickness_m : float
        Of the top layer, m, > 0.
    lower_ohm_m : float
        Resistivity below it, > 0.

    Returns
    -------
    float
        Ohms: the mean potential of the rod, by the series of images for direct current (Tagg 1964, Earth Resistances,
        from memory). The leak per metre is even in each layer, and such that both parts have one potential. A part
        shorter than ten radii is left out, so that there is a step where the rod begins to reach into the lower layer.

    Raises
    ------
    DomainError
        If a value isn't positive or the rod is shorter than ten radii.
    """
    rod_resistance(length_m, radius_m, resistivity_ohm_m)
    _require_positive(top_thickness_m=top_thickness_m, lower_ohm_m=lower_ohm_m)
    d, k = top_thickness_m, (lower_ohm_m - resistivity_ohm_m) / (lower_ohm_m + resistivity_ohm_m)
    order = np.arange(IMAGES)
    power = k**order

    def mean(one: tuple[float, float], other: tuple[float, float], shift: Any) -> Any:
        """Mean of 1/R between two stretches of one upright line, the second moved down."""
        (a, b), (e, f) = one, (other[0] + shift, other[1] + shift)
        area = (b - a) * (other[1] - other[0])
        return (
            _term(f - a, radius_m) - _term(e - a, radius_m) - _term(f - b, radius_m) + _term(e - b, radius_m)
        ) / area

    def up(part: tuple[float, float]) -> tuple[float, float]:
        return -part[1], -part[0]

    least = RADII_MIN * radius_m
    top, low = (0.0, min(d, length_m)), (d, length_m)
    own = mean(top, top, 0.0) + mean(up(top), top, 0.0)
    own += (power[1:] * (mean(up(top), top, 2 * d * order[1:]) + 2 * mean(top, top, 2 * d * order[1:])
                         + mean(top, up(top), 2 * d * order[1:]))).sum()  # fmt: skip
    own *= resistivity_ohm_m / (2.0 * TWO_PI)
    if length_m - d < least:
        return float(own)
    below = mean(low, low, 0.0) - k * mean(up(low), low, -2 * d)
    below += (1 - k * k) * (power * mean(up(low), low, 2 * d * order)).sum()
    below *= lower_ohm_m / (2.0 * TWO_PI)
    if d < least:
        return float(below)
    across = (power * (mean(top, low, 2 * d * order) + mean(up(top), low, 2 * d * order))).sum()
    across *= resistivity_ohm_m * (1 + k) / (2.0 * TWO_PI)
    return float((own * below - across * across) / (own + below - 2.0 * across))


def _term(u: Any, radius_m: float) -> Any:
    return u * np.arcsinh(u / radius_m) - np.hypot(u, radius_m)


@lru_cache(4096)
def equivalent_rod_length_m(
    resistance_ohm: float,
    radius_m: float,
    resistivity_ohm_m: float,
    *,
    top_thickness_m: float = math.nan,
    lower_ohm_m: float = math.nan,
) -> float:
    """Return the length of the rod that has the given resistance.

    It inverts `rod_resistance`, or `layered_rod_resistance` where there are two layers.

    A measured or recorded ground enters the network as a rod of this length, so that its coupling to the neighbours
    never exceeds its own resistance and the leakage matrix stays positive definite.

    Parameters
    ----------
    resistance_ohm : float
        Resistance to remote earth, > 0.
    radius_m : float
        Radius of the rod, m, > 0, below 100 m.
    resistivity_ohm_m : float
        Resistivity of the soil, > 0; of the top layer where there are two.
    top_thickness_m, lower_ohm_m : float
        Thickness of a top layer, m, and the resistivity below it; NaN for one soil.

    Returns
    -------
    float
        Metres, held between ten radii and 1000 m; on the step of `layered_rod_resistance` where the value lies in it.
        At the lower bound (a poor electrode) the coupling is still below the resistance; at the upper one (a resistance
        lower than any single rod's) it may not be.

    Raises
    ------
    DomainError
        If a value isn't positive, or ten radii exceed 1000 m.
    """
    _require_positive(resistance_ohm=resistance_ohm, radius_m=radius_m, resistivity_ohm_m=resistivity_ohm_m)
    shortest = RADII_MIN * radius_m
    if shortest >= LENGTH_MAX_M:
        msg = f"radius_m must be below {LENGTH_MAX_M / RADII_MIN:g} m, got {radius_m}"
        raise DomainError(msg)

    def resistance(length: float) -> float:
        if math.isnan(top_thickness_m) or math.isnan(lower_ohm_m):
            return rod_resistance(length, radius_m, resistivity_ohm_m)
        return layered_rod_resistance(
            length, radius_m, resistivity_ohm_m, top_thickness_m=top_thickness_m, lower_ohm_m=lower_ohm_m
        )

    # the resistance falls with the length all the way from 1.85 radii on
    if resistance_ohm >= resistance(shortest):
        return shortest
    if resistance_ohm <= resistance(LENGTH_MAX_M):
        return LENGTH_MAX_M
    return float(
        optimize.brentq(
            lambda length: resistance(length) - resistance_ohm,
            shortest,
            LENGTH_MAX_M,
            xtol=1e-12,
            rtol=1e-13,
        )
    )


def _require_positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            msg = f"{name} must be a positive number, got {value}"
            raise DomainError(msg)
