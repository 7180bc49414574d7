"""What a conductor brings with it: impedance of its metal, admittance of its coating, impedance of its joints."""

import cmath
import math

import numpy as np
from scipy import special

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.errors import DomainError

__all__ = ["coating_admittance", "internal_impedance", "joint_impedance"]


def internal_impedance(
    radius_m: float,
    *,
    resistivity_ohm_m: float,
    relative_permeability: float,
    frequency_hz: float,
    wall_m: float | None = None,
) -> complex:
    """Return the internal impedance of a solid wire or of a tube whose current returns outside.

    Parameters
    ----------
    radius_m : float
        Outer radius of the metal, m, > 0.
    resistivity_ohm_m : float
        Resistivity of the metal, > 0.
    relative_permeability : float
        Of the metal, > 0.
    frequency_hz : float
        Frequency, >= 0; 0 gives the resistance to direct current.
    wall_m : float, optional
        Wall of the tube, m, > 0 and at most the radius; none (or the radius) for a solid wire.

    Returns
    -------
    complex
        Ohm per metre. Solid: gamma/(2 pi a sigma) I0(gamma a)/I1(gamma a); tube with inner radius q: the same
        factor times [I0(a) K1(q) + K0(a) I1(q)]/[I1(a) K1(q) - I1(q) K1(a)], arguments times gamma (Schelkunoff 1934,
        The electromagnetic theory of coaxial transmission lines and cylindrical shields, Bell System Technical Journal
        13:532, surface impedance with external return).

    Raises
    ------
    DomainError
        If a value is out of its range.
    """
    for name, value in {
        "radius_m": radius_m,
        "resistivity_ohm_m": resistivity_ohm_m,
        "relative_permeability": relative_permeability,
    }.items():
        _require(value > 0.0, name, value, "a positive number")
    _require(frequency_hz >= 0.0, "frequency_hz", frequency_hz, "zero or a positive number")
    wall = radius_m if wall_m is None else wall_m
    _require(0.0 < wall <= radius_m, "wall_m", wall, f"positive and at most the radius, {radius_m} m")
    if frequency_hz == 0.0:
        return complex(resistivity_ohm_m / (math.pi * wall * (2.0 * radius_m - wall)))
    gamma = cmath.sqrt(1j * TWO_PI * frequency_hz * MU_0 * relative_permeability / resistivity_ohm_m)
    factor = gamma * resistivity_ohm_m / (TWO_PI * radius_m)
    outer = np.complex128(gamma * radius_m)
    if wall == radius_m:
        return complex(factor * special.ive(0, outer) / special.ive(1, outer))
    inner = np.complex128(gamma * (radius_m - wall))
    # scaled functions; both products are divided by exp(Re outer - inner), so that a thick iron wall can't overflow
    decay = np.exp(inner - outer + (inner - outer).real)
    k1_inner, i1_inner = special.kve(1, inner), special.ive(1, inner) * decay
    numerator = special.ive(0, outer) * k1_inner + special.kve(0, outer) * i1_inner
    denominator = special.ive(1, outer) * k1_inner - special.kve(1, outer) * i1_inner
    return complex(factor * numerator / denominator)


def coating_admittance(
    inner_radius_m: float,
    outer_radius_m: float,
    *,
    relative_permittivity: float,
    conductivity_s_per_m: float,
    frequency_hz: float,
) -> complex:
    """Return the radial admittance of a coating or jacket.

    Parameters
    ----------
    inner_radius_m, outer_radius_m : float
        Radii under and over the coating, m, 0 < inner < outer.
    relative_permittivity : float
        Of the coating, >= 0.
    conductivity_s_per_m : float
        Of the coating, >= 0.
    frequency_hz : float
        Frequency, >= 0.

    Returns
    -------
    complex
        Siemens per metre, 2 pi (sigma + j omega epsilon)/ln(b/a) (coaxial layer, textbook).

    Raises
    ------
    DomainError
        If a value is out of its range.
    """
    _require(inner_radius_m > 0.0, "inner_radius_m", inner_radius_m, "a positive number")
    _require(
        outer_radius_m > inner_radius_m,
        "outer_radius_m",
        outer_radius_m,
        f"larger than inner_radius_m, {inner_radius_m}",
    )
    for name, value in {
        "relative_permittivity": relative_permittivity,
        "conductivity_s_per_m": conductivity_s_per_m,
        "frequency_hz": frequency_hz,
    }.items():
        _require(value >= 0.0, name, value, "zero or a positive number")
    admittivity = complex(conductivity_s_per_m, TWO_PI * frequency_hz * EPSILON_0 * relative_permittivity)
    return TWO_PI * admittivity / math.log(outer_radius_m / inner_radius_m)


def joint_impedance(resistance_ohm: float, capacitance_f: float, frequency_hz: float) -> complex:
    """Return the impedance of a pipe joint: its resistance beside its capacitance, R/(1 + j omega R C).

    Parameters
    ----------
    resistance_ohm : float
        Contact resistance, >= 0; infinite for none.
    capacitance_f : float
        Between spigot and bell, F, >= 0.
    frequency_hz : float
        Frequency, >= 0.

    Returns
    -------
    complex
        Ohms; infinite where nothing passes.

    Raises
    ------
    DomainError
        If a value is negative or not a number.
    """
    if not resistance_ohm >= 0.0:
        msg = f"resistance_ohm must be zero, positive or infinite, got {resistance_ohm}"
        raise DomainError(msg)
    _require(capacitance_f >= 0.0, "capacitance_f", capacitance_f, "zero or a positive number")
    _require(frequency_hz >= 0.0, "frequency_hz", frequency_hz, "zero or a positive number")
    if resistance_ohm == 0.0:
        return 0j
    admittance = complex(1.0 / resistance_ohm, TWO_PI * frequency_hz * capacitance_f)
    return 1.0 / admittance if admittance != 0.0 else complex(math.inf)


def _require(holds: bool, name: str, value: float, wanted: str) -> None:
    if not (holds and math.isfinite(value)):
        msg = f"{name} must be {wanted}, got {value}"
        raise DomainError(msg)
