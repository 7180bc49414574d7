"""Readings at a batch of stations from solved currents: one set of field matrices for every solution.

The matrices depend on geometry alone, so that frequencies, soils, switched paths and hook-ups share them; only the
small eddy correction is made anew for each propagation constant.
"""

from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.field import SurfaceField, eddy_matrices, field_matrices, profile_points, profile_weights
from corridor.tone.receiver import Reading, station_readings

__all__ = ["StationMatrices"]

_FEW_NODES, _MORE_NODES = 3, 5
_STEEP = 0.5  # |gamma| times half width: five nodes from there on keep the carried correction within 2e-3 of the field


class StationMatrices:
    """Field matrices of profiles at stations, for a receiver with two horizontal coils and a vertical one.

    Choose the sections that matter for the batch: a straight line cut off at distance D from a station lacks about
    d^2/(2 D^2) of its field, d its distance from the coil; 0.2 % at 20 m.

    Parameters
    ----------
    station_xy_m : array_like, shape (s, 2), m
        Where the profiles cross the line in plan.
    direction : array_like, shape (s, 2)
        Direction of the line there; offsets are positive to its left.
    start_m, end_m : array_like, shape (n, 3), m
        x, y, depth of the sections' ends.
    offsets_m : array_like, shape (o,), m
        Evenly spaced, rising, 0 on the recorded line.
    lower_coil_height_m, coil_spacing_m : float, m
        Of the receiver.

    Raises
    ------
    DomainError
        If a shape is wrong, a direction is zero, or a section lies above ground or has no length.
    """

    def __init__(
        self,
        station_xy_m: ArrayLike,
        direction: ArrayLike,
        start_m: ArrayLike,
        end_m: ArrayLike,
        *,
        offsets_m: ArrayLike,
        lower_coil_height_m: float,
        coil_spacing_m: float,
    ) -> None:
        self._stations = (np.asarray(station_xy_m, dtype=float), np.asarray(direction, dtype=float))
        self._sections = (np.asarray(start_m, dtype=float), np.asarray(end_m, dtype=float))
        self._offsets_m = np.asarray(offsets_m, dtype=float)
        self._heights_m = (lower_coil_height_m, lower_coil_height_m + coil_spacing_m)
        self._coil_spacing_m = coil_spacing_m
        self._direct = [self._matrices(self._offsets_m, height, None) for height in self._heights_m]

    def _matrices(self, offsets_m: NDArray[np.float64], height_m: float, gamma_per_m: complex | None) -> SurfaceField:
        """Return direct matrices, or those of the eddy correction if gamma is given."""
        points, axis = profile_points(*self._stations, offsets_m, height_m=height_m)
        if gamma_per_m is None:
            return field_matrices(points, *self._sections, axis=axis)
        return eddy_matrices(points, *self._sections, axis=axis, gamma_per_m=gamma_per_m)

    def _eddy_nodes(self, gamma_per_m: complex) -> NDArray[np.float64]:
        """Return the offsets at which the eddy correction is evaluated."""
        ends = self._offsets_m[[0, -1]]
        steep = abs(gamma_per_m) * 0.5 * float(ends[1] - ends[0]) > _STEEP
        return np.linspace(ends[0], ends[1], _MORE_NODES if steep else _FEW_NODES)

    def read(
        self,
        current_a: ArrayLike,
        leak_a: ArrayLike,
        *,
        gamma_per_m: complex | None = None,
        target: ArrayLike | None = None,
        reference_a: ArrayLike = 1.0,
        search_half_width_m: float | None = None,
    ) -> Reading:
        """Return the readings for k solutions that share a propagation constant.

        Parameters
        ----------
        current_a, leak_a : array_like of complex, shape (n, k), A
            In the middle of each section from start to end, and from the whole section into the soil.
        gamma_per_m : complex, 1/m, optional
            Propagation constant of the soil; None leaves the eddy currents out.
        target : array_like of bool, shape (n,), optional
            Sections of the line that is traced: with it a reading is masked where the others' field peaks higher than
            the target's own, even if only one peak shows. The target's leaks count as its own.
        reference_a : array_like of complex, A
            Phasor whose phase counts as zero; broadcasts to (s, k).
        search_half_width_m : float, m, optional
            As in ``station_readings``.

        Returns
        -------
        Reading
            Arrays (s, k).

        Raises
        ------
        DomainError
            If a shape doesn't fit the sections, a current isn't finite, or the offsets don't suit the receiver.
        """
        current, leak = self._checked_currents(current_a, leak_a)
        mask = None if target is None else np.asarray(target, dtype=bool)
        if mask is not None and mask.shape != current.shape[:1]:
            message = f"target must have shape {current.shape[:1]}, got {mask.shape}"
            raise DomainError(message)
        profiles = [self._profile(field) for field in _fields(self._direct, current, leak, mask)]
        if gamma_per_m is not None:
            nodes = self._eddy_nodes(gamma_per_m)
            weights = profile_weights(nodes, self._offsets_m)
            eddy = [self._matrices(nodes, height, gamma_per_m) for height in self._heights_m]
            corrections = _fields(eddy, current, leak, mask)
            profiles = [p + weights @ self._profile(c) for p, c in zip(profiles, corrections, strict=True)]
        return station_readings(
            profiles[0],
            profiles[1],
            profiles[2],
            self._offsets_m,
            coil_spacing_m=self._coil_spacing_m,
            lower_coil_height_m=self._heights_m[0],
            reference_a=reference_a,
            search_half_width_m=search_half_width_m,
            b_target_h=None if mask is None else profiles[3],
        )

    def strongest_line(
        self, current_a: ArrayLike, leak_a: ArrayLike, *, at_offset_m: ArrayLike, line: ArrayLike, leave_out: int = -1
    ) -> NDArray[np.int64]:
        """Return the line that makes most of the lower horizontal field at an offset: the one a crew would mark there.

        Parameters
        ----------
        current_a, leak_a : array_like of complex, shape (n, k), A
            As in ``read``.
        at_offset_m : array_like, shape (s, k), m
            As a rule the peaks of a reading; the nearest of the profile's offsets is taken.
        line : array_like of int, shape (n,)
            Number of the line that each section belongs to, from 0.
        leave_out : int
            Line that doesn't count, as a rule the target; -1 counts all.

        Returns
        -------
        ndarray of int, shape (s, k)
            Number of the line; -1 where no line makes any field. The lowest number where two are equal. Eddy currents
            are left out: they take nearly the same share from every line.

        Raises
        ------
        DomainError
            If a shape doesn't fit.
        """
        current, leak = self._checked_currents(current_a, leak_a)
        numbers, offsets = np.asarray(line, dtype=np.int64), np.asarray(at_offset_m, dtype=float)
        for name, array, shape in (
            ("line", numbers, current.shape[:1]),
            ("at_offset_m", offsets, (len(self._stations[0]), current.shape[1])),
        ):
            if array.shape != shape:
                message = f"{name} must have shape {shape}, got {array.shape}"
                raise DomainError(message)
        nearest = np.abs(offsets[:, :, None] - self._offsets_m).argmin(axis=2)
        rows = nearest + self._offsets_m.size * np.arange(len(nearest))[:, None]
        lower = self._direct[0]
        return _strongest((lower.h_per_current, lower.h_per_leak), (current, leak), rows, (numbers, leave_out))

    def _checked_currents(
        self, current_a: ArrayLike, leak_a: ArrayLike
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Return currents and leaks as C-ordered complex (n, k), or raise DomainError."""
        n = len(self._sections[0])
        current, leak = (np.ascontiguousarray(np.asarray(array, dtype=complex)) for array in (current_a, leak_a))
        for name, array in (("current_a", current), ("leak_a", leak)):
            if array.ndim != 2 or array.shape != (n, current.shape[1]):
                message = f"{name} must have shape ({n} sections, solutions), got {array.shape}"
                raise DomainError(message)
        return current, leak

    def _profile(self, field: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Return a field (s * o, k) as (s, o, k)."""
        return field.reshape(len(self._stations[0]), -1, field.shape[1])


@numba.njit(cache=True)
def _strongest(matrices: Any, amplitudes: Any, rows: Any, lines: Any) -> Any:  # pragma: no cover - compiled
    """Return for each station and solution the line with the largest |sum of its sections' fields|."""
    (h_i, h_q), (current, leak), (number, leave_out) = matrices, amplitudes, lines
    best = np.full(rows.shape, -1)
    total = np.zeros(number.max() + 1 if number.size else 0, dtype=np.complex128)
    for s in range(rows.shape[0]):
        for k in range(rows.shape[1]):
            total[:] = 0.0
            for j in range(number.size):
                total[number[j]] += h_i[rows[s, k], j] * current[j, k] + h_q[rows[s, k], j] * leak[j, k]
            largest = 0.0
            for i in range(total.size):
                if i != leave_out and abs(total[i]) > largest:
                    best[s, k], largest = i, abs(total[i])
    return best


def _times(matrix: NDArray[np.float64], amplitudes: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Multiply a real matrix by complex columns at the cost of a real product."""
    if matrix.dtype.kind == "c":
        return np.asarray(matrix @ amplitudes)
    return (matrix @ amplitudes.view(np.float64)).view(np.complex128)


def _fields(
    matrices: list[SurfaceField],
    current: NDArray[np.complex128],
    leak: NDArray[np.complex128],
    mask: NDArray[np.bool_] | None,
) -> list[NDArray[np.complex128]]:
    """Return lower and upper horizontal and lower vertical field and, given a mask, the lower one of its sections."""
    lower, upper = matrices
    fields = [_times(m.h_per_current, current) + _times(m.h_per_leak, leak) for m in (lower, upper)]
    fields.append(_times(lower.v_per_current, current))
    if mask is not None:
        fields.append(
            _times(lower.h_per_current[:, mask], current[mask]) + _times(lower.h_per_leak[:, mask], leak[mask])
        )
    return fields
