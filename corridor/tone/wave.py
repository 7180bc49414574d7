"""A radio wave over the soil: the field that it drives along what is buried.

A vertically polarised wave runs along the ground. The soil's losses tilt it: a horizontal field along its way stands at
the surface and dies away with depth. Time factor exp(+j omega t), RMS values, depth positive downwards.
"""

import cmath
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.earth import complex_conductivity, propagation_constant
from corridor.tone.model import SoilRange

__all__ = ["RadioWave", "horizontal_share", "wave_emf", "wave_field_t"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LIGHT_M_PER_S = 1.0 / math.sqrt(MU_0 * EPSILON_0)
AIR_OHM = math.sqrt(MU_0 / EPSILON_0)


@dataclass(frozen=True, kw_only=True)
class RadioWave:
    """A wave that comes along the ground from far away.

    Attributes
    ----------
    frequency_hz : float
    field_v_per_m : float
        Vertical field just above ground, RMS, V/m.
    arrival_deg : float
        Bearing that it comes from, clockwise from grid north, degrees.

    Raises
    ------
    DomainError
        If frequency or field isn't positive, or the bearing is no finite number.
    """

    frequency_hz: float
    field_v_per_m: float
    arrival_deg: float

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "field_v_per_m"):
            if not 0.0 < getattr(self, name) < math.inf:
                message = f"{name} of a radio wave must be a positive number, got {getattr(self, name)}"
                raise DomainError(message)
        if not math.isfinite(self.arrival_deg):
            message = f"arrival_deg of a radio wave must be a finite number, got {self.arrival_deg}"
            raise DomainError(message)

    @property
    def k0_per_m(self) -> float:
        """Wavenumber in the air, omega/c, rad/m."""
        return TWO_PI * self.frequency_hz / LIGHT_M_PER_S

    @property
    def heading(self) -> Real:
        """Unit vector of its way in plan, shape (2,), x east and y north."""
        bearing = math.radians(self.arrival_deg)
        return -np.array([math.sin(bearing), math.cos(bearing)])


class _Decay(NamedTuple):
    """A part of the horizontal field: share exp(rate (z - from_m))."""

    share: complex
    rate_per_m: complex
    from_m: float


class _Layer(NamedTuple):
    """Vertical propagation constant u = sqrt(gamma^2 + k0^2) and wave impedance u/s of a layer."""

    u_per_m: complex
    ohm: complex


def _layer(resistivity_ohm_m: float, frequency_hz: float, relative_permittivity: float) -> _Layer:
    gamma = propagation_constant(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity)
    u = cmath.sqrt(gamma**2 + (TWO_PI * frequency_hz / LIGHT_M_PER_S) ** 2)
    return _Layer(
        u, u / complex_conductivity(resistivity_ohm_m, frequency_hz, relative_permittivity=relative_permittivity)
    )


def _decays(soil: SoilRange, resistivity_ohm_m: float, frequency_hz: float) -> tuple[list[_Decay], list[_Decay]]:
    """Return the parts of E_x/E_z above and below the soil's interface; one soil has all of it above.

    Down and up in the top layer, u1 = sqrt(gamma1^2 + k0^2) and K = u/s: K1 [exp(-u1 z) + R exp(-u1 (2 d - z))] over
    eta0 (1 - R exp(-2 u1 d)), R = (K2 - K1)/(K2 + K1); below the interface exp(-u2 (z - d)) of what is left there.
    """
    top = _layer(resistivity_ohm_m, frequency_hz, soil.relative_permittivity)
    thickness = soil.top_thickness_m
    if math.isnan(thickness):
        return [_Decay(top.ohm / AIR_OHM, -top.u_per_m, 0.0)], []
    low = _layer(soil.lower_at(resistivity_ohm_m), frequency_hz, soil.relative_permittivity)
    bounced = (low.ohm - top.ohm) / (low.ohm + top.ohm)
    once = cmath.exp(-top.u_per_m * thickness)
    surface = top.ohm / AIR_OHM / (1.0 - bounced * once**2)
    through = surface * once * (1.0 + bounced)
    upper = [_Decay(surface, -top.u_per_m, 0.0), _Decay(surface * bounced * once, top.u_per_m, thickness)]
    return upper, [_Decay(through, -low.u_per_m, thickness)]


def horizontal_share(
    depth_m: ArrayLike, *, frequency_hz: float, soil: SoilRange, resistivity_ohm_m: float | None = None
) -> Complex:
    """Return the horizontal field at a depth over the vertical field in the air, E_x(z)/E_z, along the wave's way.

    At the surface it is the wave tilt, the soil's surface impedance over that of the air: sqrt(1 - 1/n^2)/n over one
    soil, n^2 = eps_r - j/(rho omega eps0), so exp(-u z) below, u = sqrt(gamma^2 + k0^2) (Jordan and Balmain 1968, ch.
    16, from memory). Over two layers as a wave on a line in depth (Wait 1962, ch. 2, from memory).

    Parameters
    ----------
    depth_m : array_like, m
        From the surface, >= 0.
    frequency_hz : float
    soil : SoilRange
        Its permittivity and, for two layers, thickness and lower resistivity.
    resistivity_ohm_m : float, optional
        Of the top; the soil's nominal where left out.

    Returns
    -------
    ndarray of complex
        Of the shape of ``depth_m``.

    Raises
    ------
    DomainError
        If a depth is negative, or a soil value or the frequency isn't positive.
    """
    depth = np.asarray(depth_m, dtype=float)
    if not np.all(depth >= 0.0):
        message = f"depth_m must be >= 0, got {depth.min()}"
        raise DomainError(message)
    upper, lower = _decays(soil, soil.nominal_ohm_m if resistivity_ohm_m is None else resistivity_ohm_m, frequency_hz)
    field = np.empty(depth.shape, dtype=np.complex128)
    deep = depth >= soil.top_thickness_m  # never, with one soil: its thickness is NaN
    for rows, parts in ((~deep, upper), (deep, lower)):
        field[rows] = sum(part.share * np.exp(part.rate_per_m * (depth[rows] - part.from_m)) for part in parts)
    return field


def wave_emf(
    start_m: ArrayLike, end_m: ArrayLike, *, wave: RadioWave, soil: SoilRange, resistivity_ohm_m: float
) -> Complex:
    """Return the EMF that a wave drives along each section, the integral of the field, positive from start to end.

    The field is E_0 times ``horizontal_share``, along the wave's way, with phase exp(-j k0 s), s along it from the
    origin. Exact along straight sections, each in the layer of its middle. The vertical field in the soil, E_0 j omega
    eps0/s by the continuity of current, is left out: a fortieth of the horizontal one at 100 kHz in 100 ohm m.

    Parameters
    ----------
    start_m, end_m : array_like, shape (n, 3), m
        x east, y north, depth.
    wave : RadioWave
    soil : SoilRange
        Permittivity and lower layer.
    resistivity_ohm_m : float
        Of the soil, or its top layer.

    Returns
    -------
    ndarray of complex, shape (n,), V

    Raises
    ------
    DomainError
        If a shape is wrong or a section lies above ground.
    """
    start, end = np.asarray(start_m, dtype=float), np.asarray(end_m, dtype=float)
    for name, array in (("start_m", start), ("end_m", end)):
        if array.shape != (len(start), 3):
            message = f"{name} must have shape {(len(start), 3)}, got {array.shape}"
            raise DomainError(message)
        if not np.all(array[:, 2] >= 0.0):
            message = f"{name} must lie at or below ground, got a depth of {array[:, 2].min()} m"
            raise DomainError(message)
    upper, lower = _decays(soil, resistivity_ohm_m, wave.frequency_hz)
    along = end - start
    run = along[:, :2] @ wave.heading
    phase = np.exp(-1j * wave.k0_per_m * (start[:, :2] @ wave.heading))
    deep = (start[:, 2] + end[:, 2]) / 2 >= soil.top_thickness_m
    emf = np.zeros(len(start), dtype=np.complex128)
    for rows, parts in ((~deep, upper), (deep, lower)):
        for share, rate, from_m in parts:
            grows = rate * along[rows, 2] - 1j * wave.k0_per_m * run[rows]
            emf[rows] += share * np.exp(rate * (start[rows, 2] - from_m)) * _mean_exponential(grows)
    return wave.field_v_per_m * phase * run * emf


def _mean_exponential(rate: Complex) -> Complex:
    """Return the mean of exp(rate t) over t from 0 to 1."""
    small = np.abs(rate) < 1e-4
    safe = np.where(small, 1.0, rate)
    return np.where(small, 1.0 + rate / 2.0, np.expm1(safe) / safe)


def wave_field_t(field_v_per_m: float) -> float:
    """Return the wave's own flux density above ground, E/c (plane wave), T: level, square to its way."""
    return field_v_per_m / LIGHT_M_PER_S
