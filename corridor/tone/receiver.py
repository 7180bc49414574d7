"""What a receiver reads across a line: peak, null, depth and current, from complex field profiles.

The receiver carries two coils square to the line, one above the other, and a vertical one at the lower height. Fields
are sums of phasors; the receiver sees their magnitudes.
"""

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.threads import in_ranges

__all__ = ["Reading", "current_from_field", "station_readings", "two_coil_depth_m"]

_STENCIL = 9  # grid values under the polynomial between the offsets; odd, so that a mirrored profile reads mirrored
_NARROWINGS = 3  # each fits a parabola through three values on a quarter of the last spacing
_FIGURES = 6  # peak, null, own peak, lower field (real, imaginary), upper magnitude
_SAME_PEAK = 1e-9  # relative height by which another peak must be higher before the crew goes there


@dataclass(frozen=True)
class Reading:
    """Predicted readings; every array has shape (stations, solutions).

    Offsets are positive towards the profile's axis (left of the line), measured from the recorded position.
    """

    peak_offset_m: NDArray[np.float64]
    """Where the horizontal field is strongest within the search width, m."""
    own_peak_offset_m: NDArray[np.float64]
    """Local maximum nearest to the recorded position, m; the same as the peak where there is only one."""
    null_offset_m: NDArray[np.float64]
    """Minimum of the vertical field nearest to the peak, m; NaN where the profile shows none."""
    disagreement_m: NDArray[np.float64]
    """Distance between peak and null, m; NaN where there is no null."""
    field_t: NDArray[np.float64]
    """Magnitude at the lower coil, at the peak, T."""
    depth_m: NDArray[np.float64]
    """Two-coil depth at the peak, below ground, to the centre of the current, m; NaN where the field grows upward."""
    current_a: NDArray[np.float64]
    """Current the receiver infers from field and depth, A; NaN where there is no depth."""
    phase_deg: NDArray[np.float64]
    """Phase of the current under the peak relative to the reference, -180 to 180 degrees; NaN without field."""
    signed_current_a: NDArray[np.float64]
    """``current_a`` with the sign of the reference's sense: positive along the line's direction."""
    masked: NDArray[np.bool_]
    """Whether the peak the crew follows belongs to another conductor."""
    at_edge: NDArray[np.bool_]
    """Whether the peak lies at the end of the search width, so that the true one is farther out."""


def two_coil_depth_m(field_lower_t: ArrayLike, field_upper_t: ArrayLike, *, coil_spacing_m: float) -> NDArray[Any]:
    """Return the depth below the lower coil, c B_u/(B_l - B_u), from two magnitudes (common practice).

    Parameters
    ----------
    field_lower_t, field_upper_t : array_like, T
        Magnitudes at the lower and the upper coil; they broadcast.
    coil_spacing_m : float, m
        Distance c between the coils.

    Returns
    -------
    ndarray, m
        Exact over one long straight line; NaN where the upper field isn't the weaker one.
    """
    lower, upper = np.broadcast_arrays(np.asarray(field_lower_t, dtype=float), np.asarray(field_upper_t, dtype=float))
    depth = np.full(lower.shape, np.nan)
    sound = lower > upper
    depth[sound] = coil_spacing_m * upper[sound] / (lower[sound] - upper[sound])
    return depth


def current_from_field(field_t: ArrayLike, depth_m: ArrayLike) -> NDArray[Any]:
    """Return the current a long straight line would need for a field at a distance, I = 2 pi d B/mu_0 (Ampere's law).

    Parameters
    ----------
    field_t : array_like, T
    depth_m : array_like, m
        Distance from the coil to the line.

    Returns
    -------
    ndarray, A
    """
    return TWO_PI * np.asarray(depth_m) * np.asarray(field_t) / MU_0


@numba.njit(cache=True, error_model="numpy")
def _stencil_start(t: Any, size: Any) -> Any:  # pragma: no cover - compiled
    """Return the first grid index of the stencil round grid position t."""
    return min(max(round(t) - _STENCIL // 2, 0), size - _STENCIL)


@numba.njit(cache=True, error_model="numpy")
def _value(row: Any, first: Any, t: Any) -> Any:  # pragma: no cover - compiled
    """Interpolate a profile at grid position t (in spacings) through the stencil that begins at ``first``."""
    total = 0.0j
    for i in range(_STENCIL):
        weight = 1.0
        for k in range(_STENCIL):
            if k != i:
                weight *= (t - first - k) / (i - k)
        total += weight * row[first + i]
    return total


@numba.njit(cache=True, error_model="numpy")
def _refine(row: Any, index: Any, sign: Any) -> Any:  # pragma: no cover - compiled
    """Return the grid position of the extremum of |row|^2 beside ``index``; sign 1 for a maximum, -1 for a minimum."""
    last = row.size - 1
    first = _stencil_start(index, row.size)
    if index in (0, last):
        return float(index)
    t, step = float(index), 1.0
    for _ in range(_NARROWINGS + 1):
        low = sign * abs(_value(row, first, t - step)) ** 2
        mid = sign * abs(_value(row, first, t)) ** 2
        high = sign * abs(_value(row, first, t + step)) ** 2
        bend = low - 2.0 * mid + high
        if bend < 0.0:
            t += step * min(max(0.5 * (low - high) / bend, -1.0), 1.0)
        t = min(max(t, index - 1.0), index + 1.0)
        step *= 0.25
    return t


@numba.njit(cache=True, error_model="numpy")
def _is_extremum(row: Any, i: Any, sign: Any) -> Any:  # pragma: no cover - compiled
    """Tell whether |row| has a maximum (sign 1) or minimum (-1) at inner grid index i; a plateau counts once."""
    here = sign * abs(row[i])
    return here > sign * abs(row[i - 1]) and here >= sign * abs(row[i + 1])


@numba.njit(cache=True, error_model="numpy")
def _nearest_extremum(row: Any, centre: Any, sign: Any) -> Any:  # pragma: no cover - compiled
    """Return the grid index of the inner extremum nearest to grid position ``centre``, -1 if there is none."""
    best = -1
    for i in range(1, row.size - 1):
        if _is_extremum(row, i, sign) and (best < 0 or abs(i - centre) < abs(best - centre)):
            best = i
    return best


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _read_kernel(profiles: Any, zero: Any, stations: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Fill figures (stations, solutions, _FIGURES), offsets as grid positions, and edge flags of some stations."""
    lower_h, upper_h, lower_v = profiles
    figures, at_edge = out
    _, n_offsets, n_solutions = lower_h.shape
    for s in range(stations[0], stations[1]):
        for k in range(n_solutions):
            row = np.ascontiguousarray(lower_h[s, :, k])
            top = 0
            for i in range(1, n_offsets):
                if abs(row[i]) > abs(row[top]):
                    top = i
            own = _nearest_extremum(row, zero, 1.0)
            if own >= 0 and abs(row[top]) <= abs(row[own]) * (1.0 + _SAME_PEAK):
                top = own
            at_edge[s, k] = top in (0, n_offsets - 1)
            peak = _refine(row, top, 1.0)
            figures[s, k, 0] = peak
            figures[s, k, 1] = peak if own in (top, -1) else _refine(row, own, 1.0)
            vertical = np.ascontiguousarray(lower_v[s, :, k])
            null = _nearest_extremum(vertical, peak, -1.0)
            if null >= 0:
                figures[s, k, 2] = _refine(vertical, null, -1.0)
            first = _stencil_start(peak, n_offsets)
            at_peak = _value(row, first, peak)
            figures[s, k, 3], figures[s, k, 4] = at_peak.real, at_peak.imag
            figures[s, k, 5] = abs(_value(np.ascontiguousarray(upper_h[s, :, k]), first, peak))


def _read(profiles: tuple[NDArray[np.complex128], ...], zero: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the figures and edge flags of all stations."""
    n_stations, _, n_solutions = profiles[0].shape
    figures = np.full((n_stations, n_solutions, _FIGURES), np.nan)
    at_edge = np.zeros((n_stations, n_solutions), dtype=np.bool_)
    in_ranges(lambda first, last: _read_kernel(profiles, zero, (first, last), (figures, at_edge)), n_stations)
    return figures, at_edge


def _checked_offsets(offsets_m: ArrayLike, search_half_width_m: float | None) -> NDArray[np.float64]:
    """Return the offsets, evenly spaced, rising and wide enough for the stencil, or raise DomainError."""
    offsets = np.asarray(offsets_m, dtype=float)
    steps = np.diff(offsets)
    if offsets.ndim != 1 or offsets.size < _STENCIL or not np.allclose(steps, steps[0], rtol=1e-6) or steps[0] <= 0.0:
        message = f"offsets_m must be at least {_STENCIL} evenly spaced rising values, got {offsets.tolist()}"
        raise DomainError(message)
    if search_half_width_m is not None and np.count_nonzero(np.abs(offsets) <= search_half_width_m) < _STENCIL:
        message = (
            f"search_half_width_m must leave at least {_STENCIL} of the offsets, got {search_half_width_m} "
            f"for a spacing of {steps[0]:.3g} m"
        )
        raise DomainError(message)
    return offsets


def _checked_profiles(fields: dict[str, ArrayLike], n_offsets: int) -> tuple[NDArray[np.complex128], ...]:
    """Return the profiles as complex (stations, offsets, solutions) arrays of one shape, or raise DomainError."""
    # in one order, or the kernel compiles twice
    arrays = {name: np.ascontiguousarray(field, dtype=complex) for name, field in fields.items()}
    shape = next(iter(arrays.values())).shape
    for name, array in arrays.items():
        if array.ndim != 3 or array.shape != shape or array.shape[1] != n_offsets:
            message = (
                f"{name} must have shape (stations, {n_offsets} offsets, solutions) like the others, got {array.shape}"
            )
            raise DomainError(message)
        if not np.isfinite(array).all():
            message = f"{name} must be finite; {np.count_nonzero(~np.isfinite(array))} values are not"
            raise DomainError(message)
    return tuple(arrays.values())


def station_readings(
    b_lower_h: ArrayLike,
    b_upper_h: ArrayLike,
    b_lower_v: ArrayLike,
    offsets_m: ArrayLike,
    *,
    coil_spacing_m: float,
    lower_coil_height_m: float = 0.0,
    reference_a: ArrayLike = 1.0,
    search_half_width_m: float | None = None,
    b_target_h: ArrayLike | None = None,
) -> Reading:
    """Return what the receiver reads at stations, for several solutions at once.

    The crew follows the highest peak within the search width. It belongs to another conductor (``masked``) where the
    local maximum nearest to the recorded position is a lower one, or, given ``b_target_h``, where the field of all
    other conductors peaks higher than the target's own.

    Parameters
    ----------
    b_lower_h, b_upper_h, b_lower_v : array_like of complex, shape (stations, offsets, solutions), T
        Phasors: horizontal component at the lower and upper coil, upward component at the lower coil, with the axis
        towards positive offsets, left of the line's direction.
    offsets_m : array_like, shape (offsets,), m
        Evenly spaced, rising, 0 at the recorded position; at least nine. A quarter of the least depth is close enough.
    coil_spacing_m : float, m
        Vertical distance between the horizontal coils.
    lower_coil_height_m : float, m
        Of the lower coil above ground.
    reference_a : array_like of complex, A
        Phasor whose phase counts as zero, as a rule the hook-up current; broadcasts to (stations, solutions).
    search_half_width_m : float, m, optional
        Offsets beyond it are left out; None searches them all.
    b_target_h : array_like of complex, shape (stations, offsets, solutions), T, optional
        Part of ``b_lower_h`` that the target's own sections make.

    Returns
    -------
    Reading

    Raises
    ------
    DomainError
        If a shape is wrong, a field isn't finite, the offsets aren't evenly spaced, or a length isn't positive.
    """
    if not coil_spacing_m > 0.0:
        message = f"coil_spacing_m must be > 0, got {coil_spacing_m}"
        raise DomainError(message)
    if not lower_coil_height_m >= 0.0:
        message = f"lower_coil_height_m must be >= 0, got {lower_coil_height_m}"
        raise DomainError(message)
    offsets = _checked_offsets(offsets_m, search_half_width_m)
    fields = {"b_lower_h": b_lower_h, "b_upper_h": b_upper_h, "b_lower_v": b_lower_v}
    if b_target_h is not None:
        fields["b_target_h"] = b_target_h
    profiles = _checked_profiles(fields, offsets.size)
    if search_half_width_m is not None:
        inside = np.abs(offsets) <= search_half_width_m
        offsets, profiles = offsets[inside], tuple(profile[:, inside] for profile in profiles)
    spacing = float((offsets[-1] - offsets[0]) / (offsets.size - 1))
    figures, at_edge = _read(profiles[:3], -offsets[0] / spacing)
    peak, own, null = (offsets[0] + spacing * figures[:, :, i] for i in range(3))
    at_peak = figures[:, :, 3] + 1j * figures[:, :, 4]
    field = np.abs(at_peak)
    depth = two_coil_depth_m(field, figures[:, :, 5], coil_spacing_m=coil_spacing_m)
    current = current_from_field(field, depth)
    masked = own != peak
    if b_target_h is not None:
        others = np.abs(profiles[0] - profiles[3]).max(axis=1)
        masked = masked | (others > np.abs(profiles[3]).max(axis=1))
    # a forward current's field over the line points to the right, hence the sign
    ratio = -at_peak * np.conj(np.broadcast_to(np.asarray(reference_a, dtype=complex), at_peak.shape))
    phase = np.where(ratio == 0.0, np.nan, np.degrees(np.angle(ratio)))
    return Reading(
        peak_offset_m=peak,
        own_peak_offset_m=own,
        null_offset_m=null,
        disagreement_m=np.abs(peak - null),
        field_t=field,
        depth_m=depth - lower_coil_height_m,
        current_a=current,
        phase_deg=phase,
        signed_current_a=current * np.where(np.abs(phase) > 90.0, -1.0, 1.0),
        masked=masked,
        at_edge=at_edge,
    )
