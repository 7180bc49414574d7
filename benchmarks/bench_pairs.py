"""A sample of the pairs of a street by a full-wave program, to compare with what the same entries cost in a matrix."""

from typing import Any

import empymod
import numpy as np
import pytest
from numpy.typing import NDArray
from streets import FREQUENCY_HZ, RESISTIVITY_OHM_M, Street, street

from corridor.tone.pairs import mutual_impedance

SECTIONS = 500
PAIRS = 20
BLOCK = 20
LANES_APART = 4  # lanes of one depth, as a block needs them
PERMITTIVITY = 10.0
EARTH: dict[str, Any] = {
    "depth": [0.0],
    "res": [2e14, RESISTIVITY_OHM_M],
    "freqtime": FREQUENCY_HZ,
    "epermH": [1.0, PERMITTIVITY],
    "epermV": [1.0, PERMITTIVITY],
    "xdirect": True,
    "verb": 0,
}


@pytest.fixture(scope="module")
def network() -> Street:
    return street(SECTIONS)


@pytest.mark.benchmark(group="7 pairs by full wave")
def bench_pair_by_pair(benchmark: Any, network: Street) -> None:
    """One call a pair, five Gauss points on each wire: as one would look up single couplings."""
    first, second = sample(network)
    empymod.set_minimum(min_off=1e-8)  # a millimetre unless told otherwise, to which it rounds coordinates

    def couplings() -> NDArray[np.complex128]:
        return np.array([full_wave(network, i, j) for i, j in zip(first, second, strict=True)])

    found = benchmark.pedantic(couplings, rounds=3, warmup_rounds=1)
    benchmark.extra_info["pairs"] = PAIRS
    ours = [own(network, i, j) for i, j in zip(first, second, strict=True)]
    assert np.all(np.abs(found - ours) <= 5e-3 * np.abs(ours))


@pytest.mark.benchmark(group="7 pairs by full wave")
def bench_pairs_in_blocks(benchmark: Any, network: Street) -> None:
    """Twenty sections with twenty others of their depth in one call, two Gauss points on each."""
    per_lane = SECTIONS // 10
    first, second = np.arange(BLOCK), LANES_APART * per_lane + np.arange(BLOCK)

    def couplings() -> NDArray[np.complex128]:
        return np.asarray(empymod.bipole(points(network, first), points(network, second), **EARTH))

    found = benchmark.pedantic(couplings, rounds=3, warmup_rounds=1)
    benchmark.extra_info["pairs"] = BLOCK**2
    assert np.isfinite(found).all()


def sample(network: Street) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return pairs of sections of different lanes, drawn once for all."""
    rng = np.random.default_rng(3)
    pairs = rng.integers(0, SECTIONS, (4 * PAIRS, 2))
    pairs = pairs[network.layout.chain[pairs[:, 0]] != network.layout.chain[pairs[:, 1]]][:PAIRS]
    return pairs[:, 0], pairs[:, 1]


def full_wave(network: Street, i: int, j: int) -> complex:
    """Return minus the integral of E along a section per ampere in another."""
    wires = ([v for pair in zip(network.start_m[k], network.end_m[k], strict=True) for v in pair] for k in (i, j))
    return -complex(empymod.bipole(*wires, srcpts=5, recpts=5, strength=1.0, **EARTH))


def own(network: Street, i: int, j: int) -> complex:
    wires = (np.array([network.start_m[k], network.end_m[k]]) for k in (i, j))
    return mutual_impedance(*wires, resistivity_ohm_m=RESISTIVITY_OHM_M, frequency_hz=FREQUENCY_HZ)


def points(network: Street, sections: NDArray[np.int64]) -> list[Any]:
    """Return the two Gauss points of level sections of one depth, as dipoles."""
    start, step = network.start_m[sections], network.end_m[sections] - network.start_m[sections]
    node = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
    place = (start[:, None] + node[:, None] * step[:, None]).reshape(-1, 3)
    heading = np.degrees(np.arctan2(step[:, 1], step[:, 0])).repeat(2)
    return [place[:, 0], place[:, 1], start[0, 2], heading, 0.0]
