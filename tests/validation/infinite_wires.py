"""Infinite straight wires in a half-space, fed at a point: solved exactly along the axial wavenumber, without sections.

The kernels of a level current and of its leak have closed spectra along x (after Pollaczek 1926 and Sunde, Earth
Conduction Effects in Transmission Systems, 1949; here with the waves in the air, from the reflection of plane waves).
With s = 1/rho + j omega eps, s0 = j omega eps0, gamma^2 = j omega mu0 s, lambda^2 = k^2 + l^2, u^2 = lambda^2 +
gamma^2, v^2 = lambda^2 + j omega mu0 s0, kappa^2 = k^2 + gamma^2, d the distance of two axes (a wire's own radius), D
the distance to the image, H the sum of the depths and y the offset:

    te = (u - v)/(u + v),  tm = (s v - s0 u)/(s v + s0 u)
    A(k) = 2 K0(kappa d) - 2 K0(kappa D) + 2 int_0^inf [te + 1]/u exp(-u H) cos(l y) dl
    K(k) = 2 K0(kappa d) - 2 K0(kappa D) + 2 int_0^inf [(u^2 tm - gamma^2 te)/lambda^2 + 1]/u exp(-u H) cos(l y) dl

Then z(k) = z_int + j omega mu0/(4 pi) A, p(k) = 1/y_coat + K/(4 pi s), and one ampere J fed into the first wire at
x = 0 gives

    (z + k^2 p) I = -j k p J,   V = p (J - j k I).

Nothing here comes from the package. The integrals over l and k are Gauss rules on panels; what falls off slowly in k
is a single wire with constant z and p, whose transform is known, and is taken out before.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, kv

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

MU_0 = 4e-7 * np.pi  # differs from the CODATA value by 1e-10
EPSILON_0 = 8.8541878e-12
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass(frozen=True)
class InfiniteWire:
    """A wire along x at offset y: radius of the metal and over the coating (equal where bare), the coating's leak."""

    y_m: float
    depth_m: float
    radius_m: float
    outer_radius_m: float
    metal_ohm_m: float
    relative_permeability: float
    leak_s_per_m: float = np.inf
    coating_permittivity: float = 3.0

    def series_ohm_per_m(self, omega: float) -> complex:
        """Return the solid wire's own impedance, gamma_c rho/(2 pi a) I0/I1 (textbook form)."""
        gamma = np.sqrt(1j * omega * MU_0 * self.relative_permeability / self.metal_ohm_m)
        x = gamma * self.radius_m
        return complex(gamma * self.metal_ohm_m / (2 * np.pi * self.radius_m) * ive(0, x) / ive(1, x))

    def coating_ohm_m(self, omega: float) -> complex:
        """Return the inverse of what leaks through the coating per metre, by conduction and as a capacitor."""
        if self.outer_radius_m == self.radius_m:
            return 0j
        capacitance = 2 * np.pi * EPSILON_0 * self.coating_permittivity / np.log(self.outer_radius_m / self.radius_m)
        return 1 / (self.leak_s_per_m + 1j * omega * capacitance)


@dataclass(frozen=True)
class Exact:
    """Currents at x > 0, shape (wires, points), and the potential of the first wire at the feed, per ampere fed."""

    current_a: Complex
    input_ohm: complex


def panels(edges: Real) -> tuple[Real, Real]:
    """Return nodes and weights of a Gauss rule on each panel."""
    half = np.diff(edges) / 2
    middle = (edges[1:] + edges[:-1]) / 2
    return (middle[:, None] + half[:, None] * NODES).ravel(), (half[:, None] * WEIGHTS).ravel()


def exact(
    wires: tuple[InfiniteWire, ...],
    x_m: Real,
    *,
    resistivity_ohm_m: float,
    frequency_hz: float,
    relative_permittivity: float = 10.0,
) -> Exact:
    """Return the solution for one ampere into the first wire at x = 0; even and odd parts follow by symmetry."""
    omega = 2 * np.pi * frequency_hz
    sigma = 1 / resistivity_ohm_m + 1j * omega * EPSILON_0 * relative_permittivity
    scale = propagation(wires[0], omega, sigma)
    even, coarse = _edges(abs(scale), float(x_m.max()), wires)
    k, weight = panels(np.concatenate([even, coarse]))
    z, p = spectra(wires, k, omega, sigma)
    system = z + (k**2)[:, None, None] * p
    fed = np.linalg.solve(system, p[:, :, :1])[:, :, 0].T  # I = -j k fed
    near = np.argmin(abs(k - abs(scale)))
    z_ref, p_ref = z[near, 0, 0], p[near, 0, 0]
    rate = np.sqrt(z_ref / p_ref)
    plain = 1 / (k**2 + rate**2)
    fine = k < even[-1]
    sine = np.sin(np.outer(k[fine], x_m)) * (weight * k)[fine, None] / np.pi
    current = fed[:, fine] @ sine
    current[0] += np.exp(-rate * x_m) / 2 - plain[fine] @ sine
    volts = p[:, 0, 0] - k**2 * (p[:, 0] * fed.T).sum(axis=1)  # p (J - j k I)
    rest = ((volts - z_ref * plain) * weight).sum() / np.pi
    # beyond the last k both integrands are z/k^2
    tail = (z[-1, 0, 0] - z_ref) / (np.pi * k[-1])
    return Exact(current, complex(np.sqrt(z_ref * p_ref) / 2 + rest + tail))


def propagation(wire: InfiniteWire, omega: float, sigma: complex) -> complex:
    """Return a wire's propagation constant, sqrt(z/p) at its own wavenumber."""
    rate = 0.01
    for _ in range(20):
        z, p = spectra((wire,), np.array([rate]), omega, sigma)
        rate = abs(np.sqrt(z[0, 0, 0] / p[0, 0, 0]))
    return complex(np.sqrt(z[0, 0, 0] / p[0, 0, 0]))


def _edges(rate: float, reach_m: float, wires: tuple[InfiniteWire, ...]) -> tuple[Real, Real]:
    """Return panels in k: close near zero for the logarithms and even where sin(k x) turns; then coarse ones.

    What the current's integrand still has beyond 200 propagation constants is 1e-5 of the drive.
    """
    step = min(rate, 8.0 / reach_m)
    top = 10 / max(wire.outer_radius_m for wire in wires)
    even = np.arange(step, min(200 * rate, top), step)
    coarse = np.geomspace(even[-1], top, 25)[1:] if even[-1] < 0.99 * top else np.empty(0)
    return np.concatenate([[0.0], np.geomspace(1e-7 * step, step, 25)[:-1], even]), coarse


def spectra(wires: tuple[InfiniteWire, ...], k: Real, omega: float, sigma: complex) -> tuple[Complex, Complex]:
    """Return z(k) and p(k), shape (k, wires, wires), ohm/m and ohm m."""
    kappa = np.sqrt(k**2 + 1j * omega * MU_0 * sigma)
    z = np.empty((k.size, len(wires), len(wires)), dtype=np.complex128)
    p = np.empty_like(z)
    for i, one in enumerate(wires):
        for j, other in enumerate(wires):
            aside, below = one.y_m - other.y_m, one.depth_m + other.depth_m
            metal, outer = (np.hypot(aside, one.depth_m - other.depth_m),) * 2
            if i == j:
                metal, outer = one.radius_m, one.outer_radius_m
            vector, potential = _integrals(k, (omega, sigma), aside, below)
            mirrored = 2 * kv(0, kappa * np.hypot(aside, below))
            z[:, i, j] = 1j * omega * MU_0 / (4 * np.pi) * (2 * kv(0, kappa * metal) - mirrored + vector)
            p[:, i, j] = (2 * kv(0, kappa * outer) - mirrored + potential) / (4 * np.pi * sigma)
    own = np.arange(len(wires))
    z[:, own, own] += [wire.series_ohm_per_m(omega) for wire in wires]
    p[:, own, own] += [wire.coating_ohm_m(omega) for wire in wires]
    return z, p


def _integrals(k: Real, soil: tuple[float, complex], aside_m: float, below_m: float) -> tuple[Complex, Complex]:
    """Return twice the integrals over l of the brackets of A and K, each times exp(-u H) cos(l y)."""
    omega, sigma = soil
    gamma_2, air = 1j * omega * MU_0 * sigma, 1j * omega * EPSILON_0
    vector, potential = np.empty(k.size, dtype=np.complex128), np.empty(k.size, dtype=np.complex128)
    for first in range(0, k.size, 400):
        part = slice(first, first + 400)
        # l = k sinh t takes the peak of 1/lambda at l = 0 away
        top = np.arcsinh(45 / (below_m * k[part]))
        t, weight = panels(np.linspace(0.0, 1.0, 25))
        lam = k[part, None] * np.cosh(top[:, None] * t)
        across = k[part, None] * np.sinh(top[:, None] * t)
        u, v = np.sqrt(lam**2 + gamma_2), np.sqrt(lam**2 + 1j * omega * MU_0 * air)
        wave = np.exp(-u * below_m) * np.cos(across * aside_m) * lam * top[:, None] * weight
        te, tm = (u - v) / (u + v), (sigma * v - air * u) / (sigma * v + air * u)
        vector[part] = 2 * ((te + 1) / u * wave).sum(axis=1)
        potential[part] = 2 * (((u**2 * tm - gamma_2 * te) / lam**2 + 1) / u * wave).sum(axis=1)
    return vector, potential
