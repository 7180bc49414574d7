"""Kernels between points of the ground, homogeneous or of two layers, split by what each part asks of a quadrature."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from corridor.constants import TWO_PI
from corridor.tone.earth import (
    ComplexArray,
    air_reflection,
    complex_conductivity,
    g_k,
    propagation_constant,
    vector_kernel_t,
)
from corridor.tone.layered import Layers, layer_rests, layers_of, static_images
from corridor.tone.sommerfeld import (
    AIR_HEIGHT_M,
    FloatArray,
    Wavenumbers,
    air_propagation_constant,
    air_wave_rests,
    hankel_points,
)

__all__ = ["Ground", "HalfSpace", "TwoLayers", "ground_of"]

# Points nearer than this are one place.
CONTACT_M = 1e-6


class Ground(Protocol):
    """What the mutual impedance of two wires asks of the ground.

    ``closed`` and ``spectral`` are the two parts of g_A - 1/R1 (1/m) for points whose depths a share one layer, and
    whose depths b do too: the first cheap and with a kink where points meet, the second dear and smooth. ``potential``
    is the potential at a point for a leak at the other (ohm). All take horizontal offsets and depths, m, one shape.
    """

    @property
    def rate_per_m(self) -> float:
        """Largest propagation constant, 1/m."""

    def pieces(self, wire: FloatArray) -> list[FloatArray]:
        """Cut a wire where its soil changes."""

    def closed(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the part in closed form."""

    def spectral(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the part that is a quadrature."""

    def potential(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the potential for a leak of one ampere."""


@dataclass(frozen=True)
class HalfSpace:
    """Homogeneous soil under air, with the wave in the air."""

    gamma: complex
    gamma_air: complex
    reflection: complex
    sigma: complex

    @property
    def rate_per_m(self) -> float:
        """Propagation constant of the soil."""
        return abs(self.gamma)

    def pieces(self, wire: FloatArray) -> list[FloatArray]:
        """Return the wire uncut."""
        return [wire]

    def closed(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the quasi-static g_A less 1/R1."""
        h_sum = depth_a + depth_b
        r2 = np.hypot(rho, h_sum)
        image = vector_kernel_t(rho, h_sum, self.gamma) - np.exp(-self.gamma * r2) / r2
        return _wave_rest(self.gamma, np.hypot(rho, depth_b - depth_a)) + image

    def spectral(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return what the wave in the air adds to g_A."""
        return self._air(rho, depth_a + depth_b)[0]

    def potential(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return g_K/(4 pi sigma)."""
        kernel = g_k(rho, depth_a, depth_b, gamma=self.gamma, reflection=self.reflection)
        return (kernel + self._air(rho, depth_a + depth_b)[1]) / (2.0 * TWO_PI * self.sigma)

    def _air(self, rho: FloatArray, h_sum: FloatArray) -> ComplexArray:
        """Additions to T and (1 + reflection) F, shape (2, *rho.shape)."""
        if self.gamma_air == 0.0:
            return np.zeros((2, *rho.shape), dtype=np.complex128)
        sums, column = np.unique(h_sum.ravel(), return_inverse=True)
        spectrum = air_wave_rests(self.gamma, self.gamma_air, self.reflection)

        def columns(nodes: Wavenumbers, used: NDArray[np.int64]) -> ComplexArray:
            u = np.sqrt(nodes.horizontal**2 + self.gamma**2)
            return spectrum(nodes)[:, :, None] * np.exp(-u[:, None] * sums[used])

        return hankel_points(
            rho.ravel(),
            column.astype(np.int64),
            columns,
            gamma_air=self.gamma_air,
            scale_per_m=abs(self.gamma),
            height_m=AIR_HEIGHT_M,
        ).reshape(2, *rho.shape)


@dataclass(frozen=True)
class TwoLayers:
    """A top layer over a lower half space, under air; ``top`` is the half space of the top layer's soil alone."""

    layers: Layers
    top: HalfSpace

    @property
    def rate_per_m(self) -> float:
        """Larger propagation constant of both layers."""
        return max(abs(self.layers.gamma_top), abs(self.layers.gamma_lower))

    def pieces(self, wire: FloatArray) -> list[FloatArray]:
        """Cut a wire that passes the interface there."""
        d = self.layers.thickness_m
        low, high = sorted((wire[0, 2], wire[1, 2]))
        if not low < d - CONTACT_M < d + CONTACT_M < high:
            return [wire]
        share = (d - wire[0, 2]) / (wire[1, 2] - wire[0, 2])
        middle = wire[0] + share * (wire[1] - wire[0])
        return [np.stack([wire[0], middle]), np.stack([middle, wire[1]])]

    def closed(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the top layer's own half space, below the direct wave, and nothing across the interface."""
        lower_a, lower_b = self._below(depth_a), self._below(depth_b)
        if not (lower_a or lower_b):
            return self.top.closed(rho, depth_a, depth_b)
        if lower_a and lower_b:
            return _wave_rest(self.layers.gamma_lower, np.hypot(rho, depth_b - depth_a))
        return np.zeros(rho.shape, dtype=np.complex128)

    def spectral(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return the rest of g_A."""
        rest = self._rests(rho, depth_a, depth_b)[0]
        if self._below(depth_a) or self._below(depth_b):
            return rest
        return rest + self.top.spectral(rho, depth_a, depth_b)

    def potential(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        """Return g_K over 4 pi and the conductivity it counts against, point by point."""
        value = [
            self._potential(*(np.array([x]) for x in point))[0]
            for point in zip(rho.ravel(), depth_a.ravel(), depth_b.ravel(), strict=True)
        ]
        return np.array(value, dtype=np.complex128).reshape(rho.shape)

    def _potential(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        lower_a, lower_b = self._below(depth_a), self._below(depth_b)
        image = static_images(self.layers, lower_a=lower_a, lower_b=lower_b)
        rest = self._rests(rho, depth_a, depth_b)[1]
        h_sum, drop = depth_a + depth_b, depth_b - depth_a
        scale = 2.0 * TWO_PI * image.sigma
        if not (lower_a or lower_b):
            mirror = image.interface / np.hypot(rho, 2.0 * self.layers.thickness_m - h_sum)
            return self.top.potential(rho, depth_a, depth_b) + (mirror + rest) / scale
        direct = image.direct / np.hypot(rho, drop)
        if lower_a and lower_b:
            direct = direct + _wave_rest(self.layers.gamma_lower, np.hypot(rho, drop))
            direct = direct + image.interface / np.hypot(rho, h_sum - 2.0 * self.layers.thickness_m)
        return (direct + image.surface / np.hypot(rho, h_sum) + rest) / scale

    def _rests(self, rho: FloatArray, depth_a: FloatArray, depth_b: FloatArray) -> ComplexArray:
        if self._below(depth_a) and not self._below(depth_b):
            depth_a, depth_b = depth_b, depth_a
        flat = layer_rests(self.layers, rho.ravel(), depth_a.ravel(), depth_b.ravel())
        return flat.reshape(2, *rho.shape)

    def _below(self, depth: FloatArray) -> bool:
        return bool(depth.mean() > self.layers.thickness_m)


def ground_of(
    resistivity_ohm_m: float,
    frequency_hz: float,
    *,
    relative_permittivity: float = 10.0,
    top_thickness_m: float | None = None,
    lower_resistivity_ohm_m: float | None = None,
) -> Ground:
    """Return the ground of one soil, or of two layers where both of the last are given.

    Parameters
    ----------
    resistivity_ohm_m, frequency_hz, relative_permittivity, top_thickness_m, lower_resistivity_ohm_m
        As in `corridor.tone.layered.two_layers`; None or NaN for both of the last: one soil.

    Returns
    -------
    Ground

    Raises
    ------
    DomainError
        If a value is out of range, or only one of thickness and lower soil is given.
    """
    soil = {"relative_permittivity": relative_permittivity}
    half_space = HalfSpace(
        propagation_constant(resistivity_ohm_m, frequency_hz, **soil),
        air_propagation_constant(frequency_hz, **soil),
        air_reflection(resistivity_ohm_m, frequency_hz, **soil),
        complex_conductivity(resistivity_ohm_m, frequency_hz, **soil),
    )
    layers = layers_of(
        resistivity_ohm_m,
        frequency_hz,
        relative_permittivity=relative_permittivity,
        top_thickness_m=top_thickness_m,
        lower_resistivity_ohm_m=lower_resistivity_ohm_m,
    )
    return half_space if layers is None else TwoLayers(layers, half_space)


def _wave_rest(gamma: complex, distance: FloatArray) -> ComplexArray:
    """(exp(-gamma R) - 1)/R, free of cancellation."""
    apart = np.maximum(distance, CONTACT_M)
    grown: ComplexArray = np.expm1((-gamma * apart).astype(np.complex128))
    return grown / apart
