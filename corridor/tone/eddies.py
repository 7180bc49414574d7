"""What eddy currents in the soil add to the field above ground, per section current and per leak; tabulated.

In air without displacement current the field comes from the transverse electric part of the soil's field alone, which
the level currents in wires excite. Per ampere metre along the unit vector t at depth h, n to its left, the field at
height z is the gradient of the derivative along n of

    Phi = mu_0/(2 pi) int_0^inf J0(lambda rho)/(u + lambda) exp(-u h - lambda z) d lambda,  u^2 = lambda^2 + gamma^2

(from the reflection of plane waves at the surface; after Foster 1931, Sunde 1949). Integrated by parts along the wire
its horizontal component is n Laplace(Phi) per ampere metre and, where a current Q leaves the wire, Q times the gradient
of Phi turned to the left; an upright current brings the leak's depth from its top to its bottom. For gamma = 0 these
are the closed forms of `corridor.tone.field.field_matrices`; what is tabulated is the difference from them.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.special import erfc, j0, j1

from corridor.constants import MU_0, TWO_PI
from corridor.tone.kernel_table import cubic_weights

__all__ = ["RHO_MAX_M", "EddyTable", "eddy_table", "read_eddies", "read_level_eddies"]

Real = NDArray[np.float64]

# A leak farther away has less than 0.2 % of the field that its current makes a metre above a line.
RHO_MAX_M = 512.0
RHO_NODES = 112
# Each band of offsets has wavenumbers of its own: with the offset falls how far they matter. In the first, the factor
# exp(-lambda (h + z)) has ended by 27/m for coils 0.3 m and more above a line; in the others a smooth window (width,
# erfc) ends them, which changes exp(-(rho width/2)^2) of the result, 1e-7 at most.
BANDS_M = (8.0, 64.0, RHO_MAX_M)
LAMBDA_MAX_PER_M = 27.0
WINDOW_OVER_RHO = 8.0
LAMBDA_MIN_PER_M = 1e-6
PHASE_STEP = 8.0  # radians of lambda rho per panel of eight Gauss nodes
DEPTH_SHIFT_M = 0.3
DEPTH_STEP = 0.12  # in ln(depth + shift)


class _Band(NamedTuple):
    wavenumber: Real  # (k,)
    weight: Real  # (k,)
    zeroth: Real  # (rho, k): J0
    first: Real  # (rho, k): J1


class EddyTable:
    """Differences of the radial parts of the field, over rho and depth, for some soils and coils at some heights.

    Parameters
    ----------
    gammas_per_m : sequence of complex
        Propagation constants of the soils, real part > 0.
    heights_m : sequence of float
        Of the coils above ground, >= 0.
    depth_min_m, depth_max_m : float
        Range of the depths, >= 0.

    Attributes
    ----------
    parts : ndarray of float, shape (rho, depth, 4, 2 k)
        Laplace(Phi), T/(A m); Phi', T/A; the derivatives of Phi' along z and along h, T/(A m). The last axis holds real
        and imaginary part side by side, for the first height all gammas, then for the next.
    scale : ndarray of float, shape (3,)
        Inverse step of the asinh(rho) axis; start and inverse step of the ln(depth + 0.3 m) axis.
    """

    def __init__(
        self, gammas_per_m: Sequence[complex], *, heights_m: Sequence[float], depth_min_m: float, depth_max_m: float
    ) -> None:
        low, high = math.log(depth_min_m + DEPTH_SHIFT_M), math.log(depth_max_m + DEPTH_SHIFT_M)
        count = max(4, 3 + math.ceil((high - low) / DEPTH_STEP))
        step = max((high - low) / (count - 1), 1e-3)
        depth = np.exp(low + step * np.arange(count)) - DEPTH_SHIFT_M
        columns = [
            np.concatenate([_integrated(band, gamma, depth, height) for band in _bands()])
            for height in heights_m
            for gamma in gammas_per_m
        ]
        self.parts = np.ascontiguousarray(np.stack(columns, axis=-1)).view(np.float64)
        self._flat: dict[float, Real] = {}  # lines share depths
        self.scale = np.array([(RHO_NODES - 1) / math.asinh(RHO_MAX_M), low, 1 / step])

    def at_depths(self, depth_m: Real) -> Real:
        """Return the first three parts over rho at some depths, read as ``read_eddies`` reads them.

        Parameters
        ----------
        depth_m : ndarray, shape (d,), m
            Inside the table's range.

        Returns
        -------
        ndarray of float, shape (d, rho, 3, 2 k)
        """
        for depth in map(float, depth_m):
            if depth not in self._flat:
                self._flat[depth] = self._at_depth(depth)
        shape = (0, self.parts.shape[0], 3, self.parts.shape[3])
        return np.stack([self._flat[depth] for depth in map(float, depth_m)]) if len(depth_m) else np.empty(shape)

    def _at_depth(self, depth_m: float) -> Real:
        y = (math.log(depth_m + DEPTH_SHIFT_M) - self.scale[1]) * self.scale[2]
        first = min(max(int(y), 1), self.parts.shape[1] - 3)
        weights = cubic_weights.py_func(y - first)
        rows = [weight * self.parts[:, first - 1 + q, :3] for q, weight in enumerate(weights)]
        return np.asarray(sum(rows[1:], rows[0]))


@lru_cache(maxsize=8)
def eddy_table(gammas_per_m: tuple[complex, ...], heights_m: tuple[float, ...], depth_max_m: float) -> EddyTable:
    """Return a table from the surface down, kept for the next line above the same soil."""
    return EddyTable(gammas_per_m, heights_m=heights_m, depth_min_m=0.0, depth_max_m=depth_max_m)


def _integrated(band: _Band, gamma: complex, depth: Real, height: float) -> NDArray[np.complex128]:
    """Return the four parts for the offsets of one band, shape (rho, depth, 4)."""
    lam = band.wavenumber[:, None]
    u = np.sqrt(lam**2 + gamma**2)
    wave, static = np.exp(-u * depth) / (u + lam), np.exp(-lam * depth) / (2 * lam)
    weight = (band.weight * np.exp(-band.wavenumber * height))[:, None] * MU_0 / TWO_PI
    rest, along_h = weight * (wave - static), weight * (lam * static - u * wave)
    parts = (
        (band.zeroth, -(lam**2) * rest),
        (band.first, -lam * rest),
        (band.first, lam**2 * rest),
        (band.first, -lam * along_h),
    )
    return np.stack([radial @ values.real + 1j * (radial @ values.imag) for radial, values in parts], axis=-1)


@lru_cache(maxsize=1)
def _bands() -> tuple[_Band, ...]:
    """Return wavenumbers and Bessel functions of all bands: the same for every soil."""
    rho = np.sinh(np.linspace(0.0, math.asinh(RHO_MAX_M), RHO_NODES))
    nodes, weights = np.polynomial.legendre.leggauss(8)
    bands, start = [], 0.0
    for stop in BANDS_M:
        width = WINDOW_OVER_RHO / start if start else math.inf
        top = min(LAMBDA_MAX_PER_M, 7 * width)
        even = np.arange(1, math.ceil(top * stop / PHASE_STEP) + 1) * (PHASE_STEP / stop)
        edges = np.concatenate([[0.0], np.geomspace(LAMBDA_MIN_PER_M, even[0], 24)[:-1], even])
        half, middle = np.diff(edges)[:, None] / 2, (edges[1:] + edges[:-1])[:, None] / 2
        lam, weight = (middle + half * nodes).ravel(), (half * weights).ravel()
        if start:
            weight = weight * erfc(lam / width - 3.5) / 2
        last = stop == RHO_MAX_M
        x = rho[(rho >= start) & ((rho < stop) | last)][:, None] * lam
        bands.append(_Band(lam, weight, j0(x), j1(x)))
        start = stop
    return tuple(bands)


@numba.njit(cache=True)
def read_eddies(
    parts: NDArray[np.float64], scale: NDArray[np.float64], place_m: tuple[float, float], out: NDArray[np.float64]
) -> None:  # pragma: no cover - compiled
    """Read all parts of an `EddyTable` at one point, for use inside compiled loops.

    Parameters
    ----------
    parts, scale
        The table's attributes of these names.
    place_m : tuple of float
        rho and depth, inside the table's range (not checked here).
    out : ndarray of float, shape (4, 2 k)
        Laplace(Phi), Phi' and its derivatives along z and h, overwritten.
    """
    x = np.arcsinh(place_m[0]) * scale[0]
    y = (np.log(place_m[1] + DEPTH_SHIFT_M) - scale[1]) * scale[2]
    # one-sided next to the rim, where a node on the far side is missing
    i = min(max(int(x), 1), parts.shape[0] - 3)
    k = min(max(int(y), 1), parts.shape[1] - 3)
    across, down = cubic_weights(x - i), cubic_weights(y - k)
    out[:] = 0.0
    for p in range(4):
        for q in range(4):
            weight, node = across[p] * down[q], parts[i - 1 + p, k - 1 + q]
            for part in range(4):
                for c in range(out.shape[1]):
                    out[part, c] += weight * node[part, c]


@numba.njit(cache=True)
def read_level_eddies(
    flat: NDArray[np.float64], scale: float, rho_m: float, out: NDArray[np.float64]
) -> None:  # pragma: no cover - compiled
    """Read the first three parts at one depth, of ``EddyTable.at_depths``, for use inside compiled loops.

    Parameters
    ----------
    flat : ndarray of float, shape (rho, 3, 2 k)
        At the depth of a level section.
    scale : float
        Inverse step of the asinh(rho) axis.
    rho_m : float
        Inside the table's range (not checked here).
    out : ndarray of float, shape (4, 2 k)
        Laplace(Phi), Phi' and its derivative along z, overwritten; the fourth row is left as it is.
    """
    x = np.arcsinh(rho_m) * scale
    i = min(max(int(x), 1), flat.shape[0] - 3)
    a, b, c, d = cubic_weights(x - i)
    for part in range(3):
        for k in range(out.shape[1]):
            out[part, k] = (
                a * flat[i - 1, part, k] + b * flat[i, part, k] + c * flat[i + 1, part, k] + d * flat[i + 2, part, k]
            )
