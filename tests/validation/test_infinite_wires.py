"""Currents on infinite wires fed at a point, against the exact solution by Fourier transform along the wires.

The engine gets a piece of the wire so long that what comes back from its ends is small: its current has fallen by
exp(-7) or exp(-6) there, and the inner half is compared. Places are the middles of the engine's own sections.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from corridor.tone.tree import factorise
from tests.validation.infinite_wires import EPSILON_0, Exact, InfiniteWire, exact, propagation
from tests.validation.lines import Line, Site

SOURCE = "spectral solution after Pollaczek 1926, Sunde 1949"
PERMITTIVITY = 10.0
STEEL = (1.7e-7, 300.0)  # ohm m, relative permeability
DRIVE_A = 0.5  # what goes each way
# resistivity in ohm m, frequency in Hz
BARE = [(10.0, 500.0), (10.0, 50e3), (100.0, 500.0), (100.0, 10e3), (100.0, 200e3), (1000.0, 200e3)]
# the same, and the leak through the target's coating in S/m
PAIRS = [(100.0, 200e3, 0.02), (30.0, 50e3, 0.02), (1000.0, 200e3, 0.01), (100.0, 10e3, 0.1)]
GAP_M = 1.0


@dataclass(frozen=True)
class Case:
    """What the engine and the judge say of the same places."""

    current_a: np.ndarray  # (lines, places)
    input_ohm: complex
    exact: Exact


def bare_pipe() -> InfiniteWire:
    return InfiniteWire(0.0, 1.2, 0.084, 0.084, *STEEL)


def coated_pipe(leak_s_per_m: float, coating_m: float = 3e-3) -> InfiniteWire:
    return InfiniteWire(0.0, 1.2, 0.084, 0.084 + coating_m, *STEEL, leak_s_per_m=leak_s_per_m)


def neighbour() -> InfiniteWire:
    return InfiniteWire(GAP_M, 1.0, 0.05, 0.05, *STEEL)


def cut(wire: InfiniteWire, half_m: float, pieces: int) -> Line:
    """Return a piece of the wire for the engine."""
    shape = np.log(wire.outer_radius_m / wire.radius_m) / (2 * np.pi)
    return Line(
        (-half_m, wire.y_m, wire.depth_m),
        (half_m, wire.y_m, wire.depth_m),
        pieces,
        radius_m=wire.radius_m,
        outer_radius_m=wire.outer_radius_m,
        metal_ohm_m=wire.metal_ohm_m,
        relative_permeability=wire.relative_permeability,
        coating_permittivity=wire.coating_permittivity,
        coating_s_per_m=wire.leak_s_per_m * shape if shape else 1.0,
    )


@cache
def solved(
    wires: tuple[InfiniteWire, ...],
    resistivity_ohm_m: float,
    frequency_hz: float,
    *,
    decays: float,
    gamma_step: float = 0.1,
    section_m: float | None = None,
) -> Case:
    """Solve with sections of gamma_step over the propagation constant and two gaps at most, or of a given length."""
    omega = 2 * np.pi * frequency_hz
    sigma = 1 / resistivity_ohm_m + 1j * omega * EPSILON_0 * PERMITTIVITY
    rates = [propagation(wire, omega, sigma) for wire in wires]
    half = decays / min(rate.real for rate in rates)
    longest = gamma_step / max(abs(rate) for rate in rates)
    if section_m is not None:
        longest = section_m
    elif len(wires) > 1:
        longest = min(longest, 2 * GAP_M)
    pieces = int(np.ceil(half / longest))
    network = Site(tuple(cut(wire, half, 2 * pieces) for wire in wires), resistivity_ohm_m).network(frequency_hz)
    injection = np.zeros((network.layout.n_nodes, 1))
    injection[pieces] = 1
    solution = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm).solve(injection)
    current = solution.current_a.reshape(len(wires), -1)[:, pieces : pieces + pieces // 2]
    places = (np.arange(pieces // 2) + 0.5) * half / pieces
    judge = exact(wires, places, resistivity_ohm_m=resistivity_ohm_m, frequency_hz=frequency_hz)
    return Case(current, complex(solution.node_v[pieces, 0]), judge)


@pytest.mark.parametrize(("resistivity_ohm_m", "frequency_hz"), BARE)
def test_infinite_bare_pipe(agrees: Callable[..., None], resistivity_ohm_m: float, frequency_hz: float) -> None:
    # DN150 steel at 1.2 m, |Gamma| dl = 0.1. Bars: 0.3 % of the half ampere that goes each way, 0.1 % in impedance
    case = solved((bare_pipe(),), resistivity_ohm_m, frequency_hz, gamma_step=0.1, decays=7)
    agrees("current", case.current_a, case.exact.current_a, of=DRIVE_A, within=3e-3, source=SOURCE, unit="A")
    agrees("impedance", case.input_ohm, case.exact.input_ohm, within=1e-3, source=SOURCE, unit="ohm")


@pytest.mark.parametrize(("resistivity_ohm_m", "frequency_hz"), [BARE[0], BARE[3], BARE[5]])
def test_halving_sections_takes_two_thirds_of_the_error(resistivity_ohm_m: float, frequency_hz: float) -> None:
    cases = [
        solved((bare_pipe(),), resistivity_ohm_m, frequency_hz, gamma_step=step, decays=7) for step in (0.2, 0.1, 0.05)
    ]
    coarse, middle, fine = (abs(case.current_a - case.exact.current_a).max() for case in cases)
    assert coarse >= 3 * middle >= 9 * fine


@pytest.mark.parametrize(("resistivity_ohm_m", "frequency_hz", "leak_s_per_m"), PAIRS)
def test_bleed_off_onto_a_bare_neighbour(
    agrees: Callable[..., None], resistivity_ohm_m: float, frequency_hz: float, leak_s_per_m: float
) -> None:
    # A leaky coated pipe fed, a bare one a metre beside it. Bars: 0.3 % of the half ampere on the target, 1 % of its
    # own peak on the neighbour, whose current is 1 to 5 % of the drive, and 0.3 % in impedance
    wires = (coated_pipe(leak_s_per_m), neighbour())
    case = solved(wires, resistivity_ohm_m, frequency_hz, gamma_step=0.1, decays=6)
    target, beside = zip(case.current_a, case.exact.current_a, strict=True)
    agrees("target's current", *target, of=DRIVE_A, within=3e-3, source=SOURCE, unit="A")
    agrees("neighbour's current", *beside, of=abs(beside[1]).max(), within=0.01, source=SOURCE, unit="A")
    agrees("impedance", case.input_ohm, case.exact.input_ohm, within=3e-3, source=SOURCE, unit="ohm")


@pytest.mark.parametrize("coating_m", [3e-3, *(pytest.param(m, marks=pytest.mark.thorough) for m in (4e-4, 6e-3))])
def test_a_thick_coating_suits_short_sections(agrees: Callable[..., None], coating_m: float) -> None:
    # Sections of 0.25 m, three of the pipe's radii, at 200 kHz. With the outer radius for the induction between
    # sections too, the neighbour was 1.6 % of its peak off under 3 mm of coating and 3.7 % under 6 mm, and worse the
    # shorter the sections. Bars: 0.1 % of the half ampere on the target, 0.3 % of its peak on the neighbour.
    wires = (coated_pipe(0.02, coating_m), neighbour())
    case = solved(wires, 100.0, 200e3, decays=7, section_m=0.25)
    target, beside = zip(case.current_a, case.exact.current_a, strict=True)
    agrees("target's current", *target, of=DRIVE_A, within=1e-3, source=SOURCE, unit="A")
    agrees("neighbour's current", *beside, of=abs(beside[1]).max(), within=3e-3, source=SOURCE, unit="A")
    agrees("impedance", case.input_ohm, case.exact.input_ohm, within=1e-3, source=SOURCE, unit="ohm")


def test_the_judge_knows_a_plain_transmission_line(agrees: Callable[..., None]) -> None:
    # Where z and p hardly vary with k, the current is exp(-Gamma x)/2 and the impedance sqrt(z p)/2: a coating that
    # dominates (1 uS/m) at 500 Hz. Tolerance: what the soil's 0.1 % share of p still varies.
    wire = coated_pipe(1e-6)
    x = np.array([10.0, 100.0, 400.0])
    omega = 2 * np.pi * 500.0
    gamma = propagation(wire, omega, 0.01 + 0j)
    judge = exact((wire,), x, resistivity_ohm_m=100.0, frequency_hz=500.0)
    plain = np.exp(-gamma * x) / 2
    agrees("judge's current", judge.current_a[0], plain, within=5e-3, source="transmission line (textbook)", unit="A")


def test_the_judge_keeps_its_current() -> None:
    # Kirchhoff: what is fed leaves evenly to both sides, and the neighbour's current starts from nothing
    judge = exact((coated_pipe(0.02), neighbour()), np.array([1e-3, 0.5]), resistivity_ohm_m=30.0,
                  frequency_hz=50e3)  # fmt: skip
    assert judge.current_a[0, 0] == pytest.approx(0.5, abs=1e-3)
    assert abs(judge.current_a[1, 0]) < 1e-2 * abs(judge.current_a[1, 1])
