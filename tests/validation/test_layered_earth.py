"""Kernels with the wave in the air and a second layer against quadrature of the Sommerfeld integrals by mpmath.

The integrals are written down afresh here, from Maxwell's boundary conditions layer by layer (a linear system in the
amplitudes of up- and downgoing waves), not from the reflection coefficients of the code. Bars: 1e-6 for the direct
kernels, 5e-4 for the tables, of the direct term 1/R.
"""

from collections.abc import Callable
from functools import cache
from itertools import pairwise

import mpmath as mp
import numpy as np
import pytest

from corridor.constants import EPSILON_0, MU_0
from corridor.tone.ground import ground_of
from corridor.tone.layer_matrices import layer_table, read_table
from corridor.tone.layered import layer_rests, layers_of

SOURCE = "boundary conditions, by mpmath"
THICKNESS_M = 1.2
PERMITTIVITY = 10.0
# top and lower soil (ohm m), frequency (Hz)
SOILS = [(1000.0, 30.0, 500.0), (100.0, 400.0, 50e3), (20.0, 500.0, 200e3)]
# offset, source depth, field depth (m): above, across, below, and the reverse across
PLACES = [(1.5, 0.5, 0.9), (4.0, 0.7, 2.0), (2.5, 1.7, 2.3), (4.0, 2.0, 0.7)]


class Earth:
    """The field's two polarisations, solved for each wavenumber."""

    def __init__(self, top: float, lower: float, frequency: float, source: float) -> None:
        omega = 2 * mp.pi * frequency
        eps = [1.0, PERMITTIVITY, PERMITTIVITY]
        sigma = [
            mp.mpc(0.0 if r is None else 1 / mp.mpf(r), omega * EPSILON_0 * e)
            for r, e in zip((None, top, lower), eps, strict=True)
        ]
        self.k0 = omega * mp.sqrt(MU_0 * EPSILON_0)
        self.jwm, self.sigma, self.source = mp.mpc(0, omega * MU_0), sigma, mp.mpf(source)

    def volts(self, flat: mp.mpf, field: float) -> tuple[mp.mpc, mp.mpc]:
        """V of a unit current source across each polarisation's line, at the field's depth."""
        root = [mp.sqrt(flat**2 + self.jwm * s) for s in self.sigma]
        magnetic = self._line(root, [u / s for u, s in zip(root, self.sigma, strict=True)], field)
        return magnetic, self._line(root, [self.jwm / u for u in root], field)

    def _line(self, u: list[mp.mpc], z: list[mp.mpc], field: float) -> mp.mpc:
        # admittance seen up and down from the source's depth, then the voltage carried to the field's depth
        d, here, there = mp.mpf(THICKNESS_M), self.source, mp.mpf(field)

        def seen_up(depth: mp.mpf) -> mp.mpc:
            if depth <= d:
                return self._through(1 / z[0], u[1] * depth, z[1])
            return self._through(self._through(1 / z[0], u[1] * d, z[1]), u[2] * (depth - d), z[2])

        def seen_down(depth: mp.mpf) -> mp.mpc:
            return 1 / z[2] if depth >= d else self._through(1 / z[2], u[1] * (d - depth), z[1])

        volts = 1 / (seen_up(here) + seen_down(here))
        down = there >= here
        stops = sorted({here, there, *([d] if min(here, there) < d < max(here, there) else [])}, reverse=not down)
        for first, last in pairwise(stops):
            layer = 1 if (first + last) / 2 < d else 2
            load = seen_down(last) if down else seen_up(last)
            x = u[layer] * abs(last - first)
            volts /= mp.cosh(x) + z[layer] * load * mp.sinh(x)
        return volts

    @staticmethod
    def _through(load: mp.mpc, x: mp.mpc, z: mp.mpc) -> mp.mpc:
        return (load + mp.tanh(x) / z) / (1 + z * load * mp.tanh(x))

    def kernels(self, rho: float, field: float) -> tuple[complex, complex]:
        """Vector kernel g_A (1/m) and potential (ohm) by quadrature; their static 1/R parts are left in."""

        @cache  # the two kernels are integrated one after the other, over the same points
        def both(flat: mp.mpf) -> tuple[mp.mpc, mp.mpc]:
            magnetic, electric = self.volts(flat, field)
            wave = mp.besselj(0, flat * rho) / (2 * mp.pi)
            return 4 * mp.pi / self.jwm * electric * flat * wave, (magnetic - electric) / flat * wave

        end = 34 / abs(mp.mpf(field) - self.source)
        inner = [0, 0.5, 1.2, 1.5, mp.pi / 2]
        outer = [mp.mpf(0), mp.mpf("0.05"), mp.mpf("0.4")]
        while self.k0 * mp.cosh(outer[-1]) < end:
            flat = self.k0 * mp.cosh(outer[-1])
            outer.append(min(outer[-1] + 1, mp.acosh((flat + 5 / mp.mpf(rho)) / self.k0)))
        return tuple(  # type: ignore[return-value]
            complex(
                mp.quad(lambda a, k=k: both(self.k0 * mp.sin(a))[k] * self.k0 * mp.cos(a), inner, maxdegree=4)
                + mp.quad(lambda t, k=k: both(self.k0 * mp.cosh(t))[k] * self.k0 * mp.sinh(t), outer, maxdegree=4)
            )
            for k in (0, 1)
        )


# a field across the interface, the wave in the air at 50 kHz; the others take as long again, each
QUICK_FIRST = [
    pytest.param(soil, place, marks=[] if number == 1 else pytest.mark.thorough)
    for number, (soil, place) in enumerate(zip([*SOILS, SOILS[2]], PLACES, strict=True))
]


@pytest.mark.parametrize(("soil", "place"), QUICK_FIRST)
def test_direct_kernels(
    agrees: Callable[..., None], soil: tuple[float, float, float], place: tuple[float, float, float]
) -> None:
    top, lower, frequency = soil
    rho, source, field = place
    vector, potential = Earth(top, lower, frequency, source).kernels(rho, field)
    ground = ground_of(top, frequency, top_thickness_m=THICKNESS_M, lower_resistivity_ohm_m=lower)
    where = (np.array([rho]), np.array([source]), np.array([field]))
    direct = 1.0 / np.hypot(rho, field - source)
    ours = ground.closed(*where)[0] + ground.spectral(*where)[0] + direct
    agrees("g_A", ours, vector, of=direct, within=1e-6, source=SOURCE, unit="1/m")
    agrees("potential", ground.potential(*where)[0], potential, within=1e-6, source=SOURCE, unit="ohm")


@pytest.mark.parametrize("soil", SOILS)
@pytest.mark.parametrize("ranges", [((0.3, 1.1), (0.3, 1.1)), ((0.3, 1.1), (1.3, 2.8)), ((1.3, 2.8), (1.3, 2.8))])
def test_tables(soil: tuple[float, float, float], ranges: tuple[tuple[float, float], tuple[float, float]]) -> None:
    # the direct kernels above judge the tables: read as the matrices read them, at random points
    layers = layers_of(soil[0], soil[2], top_thickness_m=THICKNESS_M, lower_resistivity_ohm_m=soil[1])
    assert layers is not None
    table = layer_table(layers, *ranges, rho_max_m=200.0)
    rng = np.random.default_rng(1)
    rho = np.concatenate([rng.uniform(0.0, 3.0, 60), rng.uniform(0.0, 200.0, 60)])
    a, b = (rng.uniform(*depths, 120) for depths in ranges)
    wanted = layer_rests(layers, rho, a, b)
    got = np.array([read_table(table, r, (one, other)) for r, one, other in zip(rho, a, b, strict=True)]).T
    assert np.max(np.abs(got - wanted) * np.hypot(rho, b - a)) < 5e-4
