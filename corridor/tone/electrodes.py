"""Ground electrodes: the resistance of a rod and the rod that stands for a given resistance."""

import math

from scipy import optimize

from corridor.constants import TWO_PI
from corridor.errors import DomainError

__all__ = ["equivalent_rod_length_m", "rod_resistance"]

# A thin rod is at least this many radii long; longer than this many metres no single electrode is drawn.
RADII_MIN = 10.0
LENGTH_MAX_M = 1000.0


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


def equivalent_rod_length_m(resistance_ohm: float, radius_m: float, resistivity_ohm_m: float) -> float:
    """Return the length of the rod that has the given resistance: `rod_resistance` inverted.

    A measured or recorded ground enters the network as a rod of this length, so that its coupling to the neighbours
    never exceeds its own resistance and the leakage matrix stays positive definite.

    Parameters
    ----------
    resistance_ohm : float
        Resistance to remote earth, > 0.
    radius_m : float
        Radius of the rod, m, > 0, below 100 m.
    resistivity_ohm_m : float
        Resistivity of the soil, > 0.

    Returns
    -------
    float
        Metres, held between ten radii and 1000 m. At the lower bound (a poor electrode) the coupling is still below
        the resistance; at the upper one (a resistance lower than any single rod's) it may not be.

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
    # the resistance falls with the length all the way from 1.85 radii on
    if resistance_ohm >= rod_resistance(shortest, radius_m, resistivity_ohm_m):
        return shortest
    if resistance_ohm <= rod_resistance(LENGTH_MAX_M, radius_m, resistivity_ohm_m):
        return LENGTH_MAX_M
    return float(
        optimize.brentq(
            lambda length: rod_resistance(length, radius_m, resistivity_ohm_m) - resistance_ohm,
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
