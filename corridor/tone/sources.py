"""What a transmitter does to the network: induction from a loop, a clamp's EMF, and the limits of a direct output.

Everything is RMS and SI. The figures of a source come from the equipment profile.
"""

import math
from dataclasses import dataclass, fields
from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.field import IMAGE_DEPTH_FACTOR

__all__ = [
    "LIMITS",
    "ClampSource",
    "DirectOutput",
    "LoopSource",
    "clamp_emf_v",
    "clamp_series_ohm",
    "direct_output",
    "induction_emf",
    "loop_moment_am2",
]

LIMITS = ("level", "voltage", "current", "power", "saturation")
"""What can set the output current; ``DirectOutput.limited_by`` holds positions in this tuple."""

FAR_LENGTHS = 4.0  # sections this many lengths away get two points (1e-5 of their EMF)
_NEAR_RULE = np.polynomial.legendre.leggauss(8)
_FAR_RULE = np.polynomial.legendre.leggauss(2)


def _check_positive(source: Any) -> None:
    """Raise DomainError unless every field of a dataclass is positive."""
    for field in fields(source):
        if not getattr(source, field.name) > 0.0:
            message = f"{field.name} must be > 0, got {getattr(source, field.name)}"
            raise DomainError(message)


def _checked_frequency(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Return the angular frequency in rad/s, or raise DomainError."""
    frequency = np.asarray(frequency_hz, dtype=float)
    if not np.all(frequency > 0.0):
        message = f"frequency_hz must be > 0, got {frequency.min()}"
        raise DomainError(message)
    return TWO_PI * frequency


@dataclass(frozen=True, kw_only=True)
class LoopSource:
    """Tuned loop that induces from the surface.

    Raises
    ------
    DomainError
        If a value isn't positive.
    """

    area_m2: float
    turn_inductance_h: float
    """Inductance of the loop with one turn."""
    quality_factor: float
    """Of the tuned circuit."""
    power_w: float
    """Power lost in the loop."""

    def __post_init__(self) -> None:
        _check_positive(self)


@dataclass(frozen=True, kw_only=True)
class ClampSource:
    """Inductive clamp round a conductor.

    Raises
    ------
    DomainError
        If a value isn't positive.
    """

    core_area_m2: float
    saturation_t: float
    """Peak flux density that the core bears."""
    turns: float
    turn_inductance_h: float
    """Magnetising inductance seen by the one turn that the conductor makes."""
    max_voltage_v: float
    """Largest voltage across the winding."""
    source_ohm: float
    """Output resistance of the transmitter that feeds the winding, estimated as its voltage over its current limit."""

    def __post_init__(self) -> None:
        _check_positive(self)


@dataclass(frozen=True)
class DirectOutput:
    """Output of a transmitter into a circuit; arrays of the shape of the impedance."""

    current_a: NDArray[np.float64]
    voltage_v: NDArray[np.float64]
    power_w: NDArray[np.float64]
    limited_by: NDArray[np.int8]
    """Position in ``LIMITS`` of what set the current."""


def loop_moment_am2(frequency_hz: ArrayLike, source: LoopSource) -> NDArray[Any]:
    """Return the magnetic moment of a tuned loop, m = A sqrt(P Q/(omega l1)), whatever its turns.

    The power lost is P = omega l1 (N I)^2/Q, and the moment A N I. Q is taken as constant, which is optimistic at
    low frequency.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    source : LoopSource

    Returns
    -------
    ndarray, A m^2

    Raises
    ------
    DomainError
        If the frequency isn't positive.
    """
    omega = _checked_frequency(frequency_hz)
    return source.area_m2 * np.sqrt(source.power_w * source.quality_factor / (omega * source.turn_inductance_h))


def clamp_emf_v(frequency_hz: ArrayLike, source: ClampSource) -> NDArray[Any]:
    """Return the EMF a clamp puts in series into its conductor, min(V/N, omega A B/sqrt 2) (Faraday's law).

    Parameters
    ----------
    frequency_hz : array_like, Hz
    source : ClampSource

    Returns
    -------
    ndarray, V
        Limited by the winding's voltage, below some kilohertz by the saturation of the core.

    Raises
    ------
    DomainError
        If the frequency isn't positive.
    """
    omega = _checked_frequency(frequency_hz)
    saturation = omega * source.core_area_m2 * source.saturation_t / math.sqrt(2.0)
    return np.minimum(source.max_voltage_v / source.turns, saturation)


def clamp_series_ohm(frequency_hz: ArrayLike, source: ClampSource) -> NDArray[Any]:
    """Return the impedance a clamp adds in series: its magnetising impedance beside the reflected source resistance.

    Parameters
    ----------
    frequency_hz : array_like, Hz
    source : ClampSource

    Returns
    -------
    ndarray of complex, ohm
        j omega L1 in parallel with R/N^2.

    Raises
    ------
    DomainError
        If the frequency isn't positive.
    """
    omega = _checked_frequency(frequency_hz)
    reflected_ohm = source.source_ohm / source.turns**2
    return 1.0 / (1.0 / (1j * omega * source.turn_inductance_h) + 1.0 / reflected_ohm)


def direct_output(
    z_in_ohm: ArrayLike, *, level_a: float, max_voltage_v: float, max_current_a: float, max_power_w: float
) -> DirectOutput:
    """Return the current a transmitter drives into an impedance within its limits.

    Parameters
    ----------
    z_in_ohm : array_like of complex, ohm
        Between the output and the ground stake, the stake's resistance included; inf for an open circuit.
    level_a : float, A
        Current asked for.
    max_voltage_v, max_current_a, max_power_w : float
        Limits of the source: V, A, W. Estimates for generic equipment: 30 to 100 V, 0.1 to 1 A, 1 to 10 W.

    Returns
    -------
    DirectOutput
        I = min(level, V/|Z|, I_max, sqrt(P/Re Z)); the first in ``LIMITS`` counts where two agree.

    Raises
    ------
    DomainError
        If a limit isn't positive, or an impedance is NaN or has a negative real part.
    """
    given = {
        "level_a": level_a,
        "max_voltage_v": max_voltage_v,
        "max_current_a": max_current_a,
        "max_power_w": max_power_w,
    }
    for name, value in given.items():
        if not value > 0.0:
            message = f"{name} must be > 0, got {value}"
            raise DomainError(message)
    z = np.asarray(z_in_ohm, dtype=complex)
    if not np.all(z.real >= 0.0):
        message = f"z_in_ohm must have a real part >= 0, got {z[~(z.real >= 0.0)].ravel()[0]}"
        raise DomainError(message)
    magnitude = np.abs(z)
    with np.errstate(divide="ignore", over="ignore"):  # a short circuit meets no such limit
        limits = np.stack(
            (
                np.full(z.shape, level_a),
                max_voltage_v / magnitude,
                np.full(z.shape, max_current_a),
                np.sqrt(max_power_w / z.real),
            )
        )
    current = limits.min(axis=0)
    flowing = current > 0.0  # an open circuit takes the whole voltage and no current
    closed = np.where(flowing, z, 0.0)
    return DirectOutput(
        current_a=current,
        voltage_v=np.where(flowing, current * np.abs(closed), max_voltage_v),
        power_w=current**2 * closed.real,
        limited_by=limits.argmin(axis=0).astype(np.int8),
    )


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _horizontal_potential(x: Any, y: Any, z: Any, moment: Any) -> Any:  # pragma: no cover - compiled
    """Return A_x and A_y, 4 pi/mu_0, of a dipole at the origin, z below it (complex for the image).

    A = (m x r)/r^3 - grad chi with chi = (m_x y - m_y x)/(r(r + z)): the gauge without a vertical part, which is the
    transverse electric field that reaches into the soil; the Coulomb gauge alone is twice too large below the dipole.
    """
    m_x, m_y, m_z = moment
    r = np.sqrt(x * x + y * y + z * z)
    inverse = 1.0 / r
    chi = inverse / (r + z)
    cube = inverse * inverse * inverse
    slope = -(m_x * y - m_y * x) * (2.0 * r + z) * inverse * chi * chi  # d chi/dr / r
    a_x = -(m_y * z + m_z * y) * cube + m_y * chi - x * slope
    a_y = (m_x * z + m_z * x) * cube - m_x * chi - y * slope
    return a_x, a_y


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _along_sections(sections: Any, moment: Any, rules: Any, image_m: Any) -> Any:  # pragma: no cover - compiled
    """Integrate A 4 pi/mu_0 of a dipole at the origin along sections, less that of the same with z + image_m.

    An image of no depth leaves the eddy currents out.
    """
    start, along = sections
    near_x, near_w, far_x, far_w = rules
    out = np.zeros(len(start), dtype=np.complex128)
    for k in range(len(start)):
        x, y, z = start[k]
        dx, dy, dz = along[k]
        away = math.sqrt((x + 0.5 * dx) ** 2 + (y + 0.5 * dy) ** 2 + (z + 0.5 * dz) ** 2)
        near = away < FAR_LENGTHS * math.sqrt(dx * dx + dy * dy + dz * dz)
        nodes, weights = (near_x, near_w) if near else (far_x, far_w)
        for q in range(len(nodes)):
            w = 0.5 * (1.0 + nodes[q])
            at_x, at_y, at_z = x + w * dx, y + w * dy, z + w * dz
            a_x, a_y = _horizontal_potential(at_x, at_y, at_z, moment)
            out[k] += 0.5 * weights[q] * (a_x * dx + a_y * dy)
            if image_m != 0.0:
                b_x, b_y = _horizontal_potential(at_x, at_y, at_z + image_m, moment)
                out[k] -= 0.5 * weights[q] * (b_x * dx + b_y * dy)
    return out


def induction_emf(
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    moment_am2: ArrayLike,
    position_m: ArrayLike,
    frequency_hz: float,
    gamma_per_m: complex | None = None,
) -> NDArray[np.complex128]:
    """Return the EMF that a loop on the surface induces along each section, positive from start to end.

    In the soil the field of a magnetic dipole above ground is transverse electric: horizontal and free of charge.
    EMF = -j omega integral of A_h dl; the soil's eddy currents take off the same with z replaced by z + 1.5/gamma.

    Parameters
    ----------
    start_m, end_m : array_like, shape (n, 3), m
        x, y, depth below ground. Sections should be no longer than twice their distance from the loop; three metres
        are short enough for any loop that stands on the ground.
    moment_am2 : array_like, shape (3,), A m^2
        x, y, upward; real. A horizontal axis square to the line drives it best from straight above.
    position_m : array_like, shape (3,), m
        x, y, height above ground of the loop.
    frequency_hz : float, Hz
    gamma_per_m : complex, 1/m, optional
        Propagation constant of the soil; None leaves the eddy currents out.

    Returns
    -------
    ndarray of complex, shape (n,), V
        RMS for an RMS moment; a vertical section has none.

    Raises
    ------
    DomainError
        If a shape is wrong, the frequency or gamma's real part isn't positive, the loop lies below ground, a section
        above it, or the loop touches a section.

    Notes
    -----
    Own derivation, checked against a full-wave solution in tests/validation/test_induction_field.py. A long straight
    line, horizontal axis square to it: omega mu_0 m/(2 pi z) in all, z from loop to line.
    """
    omega = float(_checked_frequency(frequency_hz))
    start, end = np.asarray(start_m, dtype=float), np.asarray(end_m, dtype=float)
    moment, position = np.asarray(moment_am2, dtype=float), np.asarray(position_m, dtype=float)
    for name, array, shape in (
        ("start_m", start, (len(start), 3)),
        ("end_m", end, (len(start), 3)),
        ("moment_am2", moment, (3,)),
        ("position_m", position, (3,)),
    ):
        if array.shape != shape:
            message = f"{name} must have shape {shape}, got {array.shape}"
            raise DomainError(message)
    depths = np.concatenate((start[:, 2], end[:, 2]))
    if not position[2] >= 0.0 or not np.all(depths >= 0.0) or not np.all(depths + position[2] > 0.0):
        message = (
            "the loop must lie at or above ground and the sections at or below, not both at the surface; "
            f"got height {position[2]} m and depths from {depths.min(initial=np.inf)} m"
        )
        raise DomainError(message)
    if gamma_per_m is not None and not complex(gamma_per_m).real > 0.0:
        message = f"gamma_per_m must have a positive real part, got {gamma_per_m}"
        raise DomainError(message)
    image_m = 0j if gamma_per_m is None else IMAGE_DEPTH_FACTOR / complex(gamma_per_m)
    loop = np.array([position[0], position[1], -position[2]])
    flux = _along_sections((start - loop, end - start), moment, (*_NEAR_RULE, *_FAR_RULE), image_m)
    return -1j * omega * MU_0 / (4.0 * math.pi) * flux
