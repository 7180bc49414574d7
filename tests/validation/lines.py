"""Straight lines as networks, and the infinite-line parameters that judge them."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import kv

from corridor.constants import MU_0
from corridor.tone.earth import complex_conductivity, propagation_constant
from corridor.tone.integrals import inverse_distance_integrals
from corridor.tone.internal import coating_admittance, internal_impedance
from corridor.tone.layout import Layout
from corridor.tone.matrices import section_matrices
from tests.tone.networks import Network

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Line:
    """A straight coated conductor; a rod without series impedance where ``rod`` is true."""

    start_m: tuple[float, float, float]
    end_m: tuple[float, float, float]
    pieces: int
    radius_m: float = 0.005
    outer_radius_m: float = 0.0065
    metal_ohm_m: float = 1.7e-8
    relative_permeability: float = 1.0
    coating_permittivity: float = 2.3
    coating_s_per_m: float = 1e-12
    rod: bool = False

    def series_ohm_per_m(self, frequency_hz: float) -> complex:
        """Return the internal impedance per metre."""
        return internal_impedance(
            self.radius_m,
            resistivity_ohm_m=self.metal_ohm_m,
            relative_permeability=self.relative_permeability,
            frequency_hz=frequency_hz,
        )

    def coating_s_per_metre(self, frequency_hz: float) -> complex:
        """Return the coating's admittance per metre, infinite for bare metal."""
        if self.rod or self.outer_radius_m == self.radius_m:
            return complex(np.inf)
        return coating_admittance(
            self.radius_m,
            self.outer_radius_m,
            relative_permittivity=self.coating_permittivity,
            conductivity_s_per_m=self.coating_s_per_m,
            frequency_hz=frequency_hz,
        )


@dataclass(frozen=True)
class Site:
    """Lines, elements between their nodes, and the soil."""

    lines: tuple[Line, ...]
    resistivity_ohm_m: float
    elements: tuple[tuple[int, int], ...] = ()
    element_ohm: tuple[complex, ...] = field(default=())

    def network(self, frequency_hz: float) -> Network:
        """Return the network at one frequency, with the engine's own matrices."""
        ends = [np.linspace(line.start_m, line.end_m, line.pieces + 1) for line in self.lines]
        start, end = np.concatenate([e[:-1] for e in ends]), np.concatenate([e[1:] for e in ends])
        pieces = [line.pieces for line in self.lines]

        def each(values: list[complex]) -> Complex:
            return np.repeat(np.array(values), pieces)

        chain = np.repeat(np.arange(len(pieces)), pieces)
        integrals = inverse_distance_integrals(
            start,
            end,
            radius_m=each([line.radius_m for line in self.lines]),
            chain=chain,
            outer_radius_m=each([line.radius_m if line.rod else line.outer_radius_m for line in self.lines]),
        )
        rods = each([line.rod for line in self.lines])
        z, p = section_matrices(
            start,
            end,
            integrals=integrals,
            series_ohm_per_m=each([line.series_ohm_per_m(frequency_hz) for line in self.lines]),
            coating_s_per_m=each([line.coating_s_per_metre(frequency_hz) for line in self.lines]),
            electrode=rods,
            electrode_ohm=np.full(rods.size, np.nan),
            frequency_hz=frequency_hz,
            resistivity_ohm_m=self.resistivity_ohm_m,
        )
        a, b = np.array(self.elements, dtype=np.int64).reshape(-1, 2).T
        return Network(Layout(chain, a, b), z, p, np.array(self.element_ohm, dtype=np.complex128))


def series_per_metre(site: Site, frequency_hz: float) -> Complex:
    """Return the impedances of parallel infinite lines, ohm/m: internal, and Pollaczek's integral for the earth (1926).

    z = j omega mu_0 / (2 pi) [K0(gamma d) - K0(gamma D) + 2 int_0^inf e^(-H u) / (lambda + u) cos(lambda x) d lambda]
    with u^2 = lambda^2 + gamma^2, H the sum of the depths, D the distance to the image.
    """
    gamma = propagation_constant(site.resistivity_ohm_m, frequency_hz)
    out = np.zeros((len(site.lines),) * 2, dtype=np.complex128)
    for i, one in enumerate(site.lines):
        for j, other in enumerate(site.lines):
            aside, below = one.start_m[1] - other.start_m[1], one.start_m[2] + other.start_m[2]
            apart = one.radius_m if i == j else np.hypot(aside, one.start_m[2] - other.start_m[2])

            def integrand(x: float, aside: float = aside, below: float = below) -> complex:
                u = np.sqrt(x * x + gamma * gamma)
                return np.exp(-below * u) / (x + u) * np.cos(x * aside)

            edges = np.concatenate([[0], np.geomspace(1e-3 * abs(gamma), 40 / below, 12)])
            integral = sum(
                quad(integrand, a, b, complex_func=True, epsabs=1e-12, epsrel=1e-9, limit=200)[0]
                for a, b in pairwise(edges)
            )
            lines = kv(0, gamma * apart) - kv(0, gamma * np.hypot(aside, below)) + 2 * integral
            out[i, j] = 2j * np.pi * frequency_hz * MU_0 / (2 * np.pi) * lines
    return out + np.diag([line.series_ohm_per_m(frequency_hz) for line in site.lines])


def leak_per_metre(site: Site, frequency_hz: float) -> Complex:
    """Return potentials per leak of parallel infinite lines, ohm m: the coating, in series with the soil.

    The soil's share is that of a line source in a half-space whose leak varies as exp(-Gamma x),
    [K0(Gamma d) + K0(Gamma D)] / (2 pi sigma) (Sunde, Earth Conduction Effects in Transmission Systems, from memory),
    with Gamma of each line's coating alone.
    """
    sigma = complex_conductivity(site.resistivity_ohm_m, frequency_hz)
    coating = np.array([1 / line.coating_s_per_metre(frequency_hz) for line in site.lines])
    along = np.sqrt(series_per_metre(site, frequency_hz).diagonal() / coating)
    out = np.diag(coating).astype(np.complex128)
    for i, one in enumerate(site.lines):
        for j, other in enumerate(site.lines):
            aside = one.start_m[1] - other.start_m[1]
            apart = one.outer_radius_m if i == j else np.hypot(aside, one.start_m[2] - other.start_m[2])
            image, rate = np.hypot(aside, one.start_m[2] + other.start_m[2]), np.sqrt(along[i] * along[j])
            out[i, j] += (kv(0, rate * apart) + kv(0, rate * image)) / (2 * np.pi * sigma)
    return out


def modal_currents(site: Site, frequency_hz: float, x_m: NDArray[np.float64]) -> Complex:
    """Return the currents of parallel open lines, one ampere into the first at x = 0; shape (lines, points).

    V' = -z I, I' = -p^-1 V (the telegrapher's equations), so I'' = p^-1 z I: with its eigenvectors T and roots Gamma,
    I = T [sinh Gamma (L - x) / sinh Gamma L] T^-1 I(0).
    """
    z, p = series_per_metre(site, frequency_hz), leak_per_metre(site, frequency_hz)
    square, modes = np.linalg.eig(np.linalg.solve(p, z))
    gamma = np.sqrt(square)[:, np.newaxis]
    length = site.lines[0].end_m[0]
    rate = np.exp(-gamma * x_m) * (1 - np.exp(-2 * gamma * (length - x_m))) / (1 - np.exp(-2 * gamma * length))
    fed = np.linalg.solve(modes, np.eye(len(site.lines))[:, :1])
    return modes @ (rate * fed)
