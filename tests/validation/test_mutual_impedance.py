"""Mutual impedance of grounded wires against full-wave bipoles over a half space and over two layers.

Source of the reference: empymod (Werthmüller 2017, Geophysics 82(6) WB9), which integrates the layered-medium Green's
function with propagation in the air.
"""

import math
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import empymod
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.tone.pairs import mutual_impedance

SOURCE = "empymod (Werthmueller 2017)"
AIR_OHM_M = 2e14
PERMITTIVITY = 10.0
PAIRS = 210
# The reference's filters differ among themselves by 4 % where the coupling is this weak (13 ohm m, 200 kHz, 130 m).
TINY_OHM = 1e-3

Array = NDArray[np.float64]


@pytest.fixture(autouse=True)
def _fine_coordinates() -> Iterator[None]:
    # the reference rounds coordinates to its least offset, a millimetre unless told otherwise: up to 8e-3 of a coupling
    empymod.set_minimum(min_off=1e-8)
    yield
    empymod.set_minimum(min_off=1e-3)


class Case(NamedTuple):
    kind: str
    wire_a: Array
    wire_b: Array
    resistivity_ohm_m: float
    frequencies_hz: Array
    top_thickness_m: float | None = None
    lower_resistivity_ohm_m: float | None = None


def _reference(case: Case, points: int) -> NDArray[np.complex128]:
    """Minus the integral of E along b per ampere in a; direct field in closed form, Gauss points on both wires."""
    a, b = ([w[0, 0], w[1, 0], w[0, 1], w[1, 1], w[0, 2], w[1, 2]] for w in (case.wire_a, case.wire_b))
    field = empymod.bipole(a, b, srcpts=points, recpts=points, strength=1.0, **_earth(case))
    return -np.asarray(field).ravel()


def _level_reference(case: Case, points: int) -> NDArray[np.complex128]:
    """Return the same for level wires, all pairs of Gauss points in one call."""
    node, weight = np.polynomial.legendre.leggauss(points)
    ends = []
    for wire in (case.wire_a, case.wire_b):
        step = wire[1] - wire[0]
        places = wire[0] + 0.5 * (node + 1.0)[:, None] * step
        heading = math.degrees(math.atan2(step[1], step[0]))
        ends.append(([places[:, 0], places[:, 1], wire[0, 2], heading, 0.0], 0.5 * weight * np.linalg.norm(step)))
    (source, along_a), (field, along_b) = ends
    value = np.asarray(empymod.bipole(source, field, **_earth(case)))
    return -np.einsum("fba,b,a->f", value.reshape(-1, points, points), along_b, along_a)


def _earth(case: Case) -> dict[str, Any]:
    below = [] if case.top_thickness_m is None else [case.top_thickness_m]
    permittivity = [1.0, PERMITTIVITY, *([PERMITTIVITY] if below else [])]
    return {
        "depth": [0.0, *below],
        "res": [AIR_OHM_M, case.resistivity_ohm_m, *([case.lower_resistivity_ohm_m] if below else [])],
        "freqtime": case.frequencies_hz,
        "epermH": permittivity,
        "epermV": permittivity,
        "xdirect": True,
        "verb": 0,
    }


def _gap_m(case: Case) -> float:
    share = np.linspace(0.0, 1.0, 81)[:, None]
    a, b = (w[0] + share * (w[1] - w[0]) for w in (case.wire_a, case.wire_b))
    return float(np.linalg.norm(a[:, None] - b[None, :], axis=-1).min())


def _points(case: Case) -> int:
    """Enough Gauss points that their widest spacing, pi/2 l/n, stays below half the distance of the wires."""
    length = max(np.linalg.norm(case.wire_a[1] - case.wire_a[0]), np.linalg.norm(case.wire_b[1] - case.wire_b[0]))
    return int(np.clip(math.ceil(4.5 * float(length) / _gap_m(case)), 12, 50))


def _ours(case: Case) -> NDArray[np.complex128]:
    return np.array(
        [
            mutual_impedance(
                case.wire_a,
                case.wire_b,
                resistivity_ohm_m=case.resistivity_ohm_m,
                frequency_hz=float(frequency),
                relative_permittivity=PERMITTIVITY,
                top_thickness_m=case.top_thickness_m,
                lower_resistivity_ohm_m=case.lower_resistivity_ohm_m,
            )
            for frequency in case.frequencies_hz
        ]
    )


def _wire(middle: Array, heading: float, length: float, depth: float) -> Array:
    half = 0.5 * length * np.array([math.cos(heading), math.sin(heading)])
    return np.array([[*(middle - half), depth], [*(middle + half), depth]])


def _random_case(number: int) -> Case:
    """Half over two layers; a third each parallel, oblique and square; four of five within 30 m of each other.

    Drawn again where they pass within 1.2 m: the reference's Gauss points would have to be too many.
    """
    rng = np.random.default_rng([2024, number])
    kind = ("parallel", "oblique", "square")[number // 2 % 3]
    while True:
        case = _draw(rng, kind, number)
        if _gap_m(case) >= 1.2:
            return case


def _draw(rng: np.random.Generator, kind: str, number: int) -> Case:
    far = number % 5 == 4
    heading = rng.uniform(0.0, math.pi)
    turn = {"parallel": 0.0, "oblique": rng.uniform(0.2, 1.35), "square": math.pi / 2}[kind]
    lengths, depths = rng.uniform(4.0, 10.0, 2) * (3.0 if far else 1.0), rng.uniform(0.4, 2.5, 2)
    bearing, distance = rng.uniform(0.0, 2 * math.pi), rng.uniform(40.0, 140.0) if far else rng.uniform(2.0, 18.0)
    middle = distance * np.array([math.cos(bearing), math.sin(bearing)])
    if kind == "parallel" and not far:
        # beside each other, as in a street: a random offset along and 1 to 12 m across
        along, across = rng.uniform(-6.0, 6.0), rng.uniform(1.0, 12.0)
        middle = along * np.array([math.cos(heading), math.sin(heading)]) + across * np.array(
            [-math.sin(heading), math.cos(heading)]
        )
    top, lower = np.exp(rng.uniform(math.log(10.0), math.log(1000.0), 2))
    # above, between and below the wires, not within 5 cm of one
    thickness = rng.uniform(0.3, 3.2)
    while np.abs(depths - thickness).min() < 0.05:
        thickness += 0.06
    return Case(
        kind,
        _wire(np.zeros(2), heading, lengths[0], depths[0]),
        _wire(middle, heading + turn, lengths[1], depths[1]),
        float(top),
        np.array([(500.0, 2e3, 5e3, 50e3)[number // 6 % 4], 200e3]),
        *((float(thickness), float(lower)) if number % 2 else ()),
    )


BARS = {5e3: 1e-3, 50e3: 3e-3, 200e3: 1e-2}


def test_random_pairs(agrees: Callable[..., None]) -> None:
    # bars on the worst pair: 1e-3 up to 5 kHz, 3e-3 at 50 kHz, 1e-2 at 200 kHz, near and far, one soil and two layers
    found: dict[float, list[tuple[complex, complex]]] = {limit: [] for limit in BARS}
    differences: list[float] = []
    kinds: dict[tuple[str, bool], int] = {}
    for number in range(PAIRS):
        case = _random_case(number)
        reference, ours = _level_reference(case, _points(case)), _ours(case)
        if np.abs(reference).min() < TINY_OHM:
            continue
        kind = (case.kind, case.top_thickness_m is not None)
        kinds[kind] = kinds.get(kind, 0) + 1
        relative = np.abs(ours / reference - 1.0)
        differences.extend(relative)
        for frequency, *pair in zip(case.frequencies_hz, ours, reference, strict=True):
            found[next(limit for limit in BARS if frequency <= limit)].append((pair[0], pair[1]))
    assert sum(kinds.values()) >= 200
    assert min(kinds.values()) >= 30
    assert np.median(differences) <= 1e-4
    for limit, bar in BARS.items():
        one, other = np.array(found[limit]).T
        agrees(f"up to {limit / 1e3:g} kHz, {len(one)} pairs", one, other, within=bar, source=SOURCE, unit="ohm")


UPRIGHT = {
    "rods": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.8]], [[1.5, 0.4, 0.3], [1.5, 0.4, 1.8]]),
    "rod_and_wire": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.8]], [[1.0, 0.5, 1.0], [6.0, 0.5, 1.0]]),
    "riser_and_square_wire": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.3]], [[1.5, -4.0, 0.8], [1.5, 3.0, 0.8]]),
    "slope_and_wire": ([[0.0, 0.0, 0.5], [1.5, 0.3, 2.0]], [[0.0, 2.0, 1.0], [8.0, 2.0, 1.0]]),
    "slopes": ([[0.0, 0.0, 0.5], [1.5, 0.0, 2.0]], [[3.0, 1.0, 2.0], [4.5, 1.5, 0.5]]),
    "long_slope": ([[0.0, 0.0, 0.5], [6.0, 0.0, 2.5]], [[1.0, 1.5, 1.2], [9.0, 3.5, 0.6]]),
}


@pytest.mark.parametrize("pair", UPRIGHT)
def test_vertical_and_sloping_pairs(agrees: Callable[..., None], pair: str) -> None:
    # bars: 0.01 ohm + 1e-3 |Z| up to 50 kHz and 0.05 ohm + 1e-3 |Z| at 200 kHz from 100 ohm m on; 0.02 and 0.14 ohm
    # at 10 ohm m: the terms of vertical parts are the low-frequency limit of the spectral solution
    a, b = (np.array(wire) for wire in UPRIGHT[pair])
    for resistivity, bars in ((10.0, (0.02, 0.14)), (100.0, (0.01, 0.05)), (1000.0, (0.01, 0.05))):
        case = Case(pair, a, b, resistivity, np.array([50e3, 200e3]))
        reference, ours = _reference(case, _points(case)), _ours(case)
        within = np.array(bars) + 1e-3 * np.abs(reference)
        name = f"{resistivity:g} ohm m"
        agrees(name, ours, reference, absolute=True, within=within, source=SOURCE, unit="ohm")


def _cut(wire: Array, depth: float) -> list[Array]:
    low, high = sorted(wire[:, 2])
    if not low < depth < high:
        return [wire]
    middle = wire[0] + (depth - wire[0, 2]) / (wire[1, 2] - wire[0, 2]) * (wire[1] - wire[0])
    return [np.array([wire[0], middle]), np.array([middle, wire[1]])]


@pytest.mark.parametrize("pair", UPRIGHT)
def test_vertical_and_sloping_pairs_in_two_layers(agrees: Callable[..., None], pair: str) -> None:
    # the terms of vertical parts are those of one soil: the bars say what that costs, 1.2 m of 300 over 60 ohm m and
    # the reverse
    a, b = (np.array(wire) for wire in UPRIGHT[pair])
    for top, lower in ((300.0, 60.0), (60.0, 300.0)):
        case = Case(pair, a, b, top, np.array([500.0, 50e3, 200e3]), 1.2, lower)
        # the vertical field jumps at the interface, where the reference's Gauss points have to end
        pieces = [case._replace(wire_a=one, wire_b=other) for one in _cut(a, 1.2) for other in _cut(b, 1.2)]
        reference, ours = sum(_reference(piece, 16) for piece in pieces), _ours(case)
        name = f"{top:g} over {lower:g} ohm m"
        agrees(name, ours, reference, absolute=True, within=(1e-3, 0.05, 0.2), source=SOURCE, unit="ohm")


@pytest.mark.parametrize("frequency", [500.0, 200e3])
def test_square_symmetric_pair_is_silent_in_both(frequency: float) -> None:
    # identity: mirror symmetry; both sides are round-off
    case = Case(
        "square",
        np.array([[-5.0, 0.0, 1.0], [5.0, 0.0, 1.0]]),
        np.array([[1e-9, -4.0, 1.4], [0.0, 4.0, 1.4]]),
        100.0,
        np.array([frequency]),
    )
    assert abs(_ours(case)[0]) < 1e-6
    assert abs(_reference(case, 30)[0]) < 1e-6
