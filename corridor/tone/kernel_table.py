"""Tables of the half-space kernels for one soil and frequency, read by the pair loops.

The closed forms cost some microseconds a point; a matrix of 3000 sections needs ten million. Both kernels are smooth
once they are multiplied by R2 and freed of the wave of the image, so a bicubic table on asinh(rho), ln(H) serves.
"""

import math
from functools import lru_cache
from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.earth import ComplexArray, both_kernels
from corridor.tone.sommerfeld import AIR_HEIGHT_M, FloatArray, Wavenumbers, air_wave_rests, hankel_columns

__all__ = ["EarthTable", "rests_at"]

RHO_NODES = 240
DEPTH_NODES = 40
# Depth sums of one value still need a grid of some width.
DEPTH_MARGIN = 1.05
# The same lines are solved again with other bonds or hook-ups: a table is 0.3 MB and takes longer than a small network.
TABLES_KEPT = 64


class EarthTable:
    """Table of T R2 - W and (1 + reflection) F R2 - W - reflection, W = exp(-gamma R2), over rho and H.

    Both vanish as gamma R2 tends to zero: what the earth adds to the static kernels, free of cancellation. T and F
    hold the wave in the air where its propagation constant is given: its addition is a quadrature on the same grid.

    Parameters
    ----------
    gamma : complex
        Propagation constant of the soil, 1/m.
    reflection : complex
        From `corridor.tone.earth.air_reflection`.
    rho_max_m : float
        Largest horizontal offset asked for, >= 0.
    depth_sum_min_m, depth_sum_max_m : float
        Range of the sum of two depths, > 0.
    gamma_air : complex
        Propagation constant of the air, 1/m; 0 leaves the wave in the air out.

    Attributes
    ----------
    rests : ndarray of complex, shape (240, 40, 2)
        The two functions on the grid.
    scale : ndarray of float, shape (4,)
        Start and inverse step of the asinh(rho) axis, then of the ln(H) axis.

    Raises
    ------
    DomainError
        If the range is empty or reaches the surface.
    """

    def __init__(
        self,
        gamma: complex,
        reflection: complex,
        *,
        rho_max_m: float,
        depth_sum_min_m: float,
        depth_sum_max_m: float,
        gamma_air: complex = 0j,
    ) -> None:
        if not (0.0 < depth_sum_min_m <= depth_sum_max_m < math.inf and 0.0 <= rho_max_m < math.inf):
            msg = (
                "a kernel table needs rho_max_m >= 0 and 0 < depth_sum_min_m <= depth_sum_max_m, got "
                f"{rho_max_m}, {depth_sum_min_m} and {depth_sum_max_m}"
            )
            raise DomainError(msg)
        self.gamma = gamma
        self.reflection = reflection
        self.rho_max_m = rho_max_m
        self.depth_sum_min_m = depth_sum_min_m
        self.depth_sum_max_m = depth_sum_max_m
        self.rests, self.scale = _tabled((gamma, reflection, gamma_air), rho_max_m, depth_sum_min_m, depth_sum_max_m)

    def kernels(self, rho_m: ArrayLike, depth_sum_m: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
        """Return T and F (1/m) read from the table.

        Parameters
        ----------
        rho_m, depth_sum_m : array_like of float
            Horizontal offset and sum of depths, m, inside the table's range; they broadcast.

        Returns
        -------
        tuple of ndarray of complex
            As `vector_kernel_t` and `potential_kernel_f` give them directly, with the wave in the air if it was asked
            for.

        Raises
        ------
        DomainError
            If a point lies outside the table.
        """
        rho, h_sum = np.broadcast_arrays(np.asarray(rho_m, dtype=np.float64), np.asarray(depth_sum_m, dtype=np.float64))
        inside = (rho >= 0.0) & (rho <= self.rho_max_m)
        inside &= (h_sum >= self.depth_sum_min_m) & (h_sum <= self.depth_sum_max_m)
        if not np.all(inside):
            msg = (
                f"{int(np.sum(~inside))} points lie outside the kernel table (rho 0 to {self.rho_max_m} m, depth sum "
                f"{self.depth_sum_min_m} to {self.depth_sum_max_m} m); build it for the wider range"
            )
            raise DomainError(msg)
        read = _read(self.rests, self.scale, rho.ravel(), h_sum.ravel()).reshape(*rho.shape, 2)
        r2 = np.hypot(rho, h_sum)
        wave = np.exp(-self.gamma * r2)
        return (read[..., 0] + wave) / r2, (read[..., 1] + wave + self.reflection) / ((1.0 + self.reflection) * r2)


@lru_cache(maxsize=TABLES_KEPT)
def _tabled(
    soil: tuple[complex, complex, complex], rho_max_m: float, depth_sum_min_m: float, depth_sum_max_m: float
) -> tuple[ComplexArray, FloatArray]:
    """Return the two functions on their grid, and its scale; nobody writes into them."""
    gamma, reflection, gamma_air = soil
    stretched = np.linspace(0.0, math.asinh(max(rho_max_m, 1.0)), RHO_NODES)
    logarithm = np.linspace(
        math.log(depth_sum_min_m / DEPTH_MARGIN), math.log(depth_sum_max_m * DEPTH_MARGIN), DEPTH_NODES
    )
    scale = np.array(
        [stretched[0], 1.0 / (stretched[1] - stretched[0]), logarithm[0], 1.0 / (logarithm[1] - logarithm[0])]
    )
    rho, h_sum = np.sinh(stretched)[:, None], np.exp(logarithm)[None, :]
    r2 = np.hypot(rho, h_sum)
    wave = np.exp(-gamma * r2)
    vector, potential = both_kernels(rho, h_sum, gamma)
    rests = np.stack([vector * r2 - wave, (1.0 + reflection) * potential * r2 - wave - reflection], axis=-1)
    if gamma_air != 0.0:
        added = _air_wave(rho[:, 0], h_sum[0], gamma=gamma, gamma_air=gamma_air, reflection=reflection)
        rests += added * r2[..., None]
    return rests, scale


def _air_wave(
    rho: FloatArray, h_sum: FloatArray, *, gamma: complex, gamma_air: complex, reflection: complex
) -> ComplexArray:
    """Return the additions to T and (1 + reflection) F on the grid, shape (rho, h, 2)."""
    spectrum = air_wave_rests(gamma, gamma_air, reflection)

    def columns(nodes: Wavenumbers) -> ComplexArray:
        u = np.sqrt(nodes.horizontal**2 + gamma**2)
        vector, potential = spectrum(nodes)[:, :, None] * np.exp(-u[:, None] * h_sum)
        return np.concatenate([vector, potential], axis=1)

    out = hankel_columns(rho, columns, gamma_air=gamma_air, scale_per_m=abs(gamma), height_m=AIR_HEIGHT_M)
    return np.moveaxis(out.reshape(len(rho), 2, len(h_sum)), 1, -1)


@numba.njit(cache=True, inline="always")
def cubic_weights(t: float) -> tuple[float, float, float, float]:
    """Return the four weights of cubic (Lagrange) interpolation at t, nodes at -1, 0, 1, 2.

    Parameters
    ----------
    t : float
        Place in units of the step.

    Returns
    -------
    tuple of float
        They sum to one.
    """
    return (
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )


@numba.njit(cache=True)
def rests_at(rests: NDArray[Any], scale: NDArray[Any], rho_m: float, depth_sum_m: float) -> tuple[complex, complex]:
    """Read both functions of an `EarthTable` at one point, for use inside compiled loops.

    Parameters
    ----------
    rests, scale
        The table's attributes of these names.
    rho_m, depth_sum_m : float
        Inside the table's range (not checked here).

    Returns
    -------
    tuple of complex
        T R2 - W and (1 + reflection) F R2 - W - reflection.
    """
    x = (np.arcsinh(rho_m) - scale[0]) * scale[1]
    y = (np.log(depth_sum_m) - scale[2]) * scale[3]
    # one-sided next to the rim, where a node on the far side is missing
    i = min(max(int(x), 1), rests.shape[0] - 3)
    k = min(max(int(y), 1), rests.shape[1] - 3)
    across = cubic_weights(x - i)
    down = cubic_weights(y - k)
    vector = 0.0j
    potential = 0.0j
    for p in range(4):
        row_vector = 0.0j
        row_potential = 0.0j
        for q in range(4):
            row_vector += down[q] * rests[i - 1 + p, k - 1 + q, 0]
            row_potential += down[q] * rests[i - 1 + p, k - 1 + q, 1]
        vector += across[p] * row_vector
        potential += across[p] * row_potential
    return vector, potential


@numba.njit(cache=True)
def _read(rests: NDArray[Any], scale: NDArray[Any], rho_m: NDArray[Any], depth_sum_m: NDArray[Any]) -> NDArray[Any]:
    out = np.empty((rho_m.size, 2), dtype=np.complex128)
    for i in range(rho_m.size):
        out[i, 0], out[i, 1] = rests_at(rests, scale, rho_m[i], depth_sum_m[i])
    return out
