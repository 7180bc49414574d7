"""Passive tone: mains current and radio waves as sources, solved like a hook-up's tone but in amperes of their own.

Indicative only: nobody knows the net current of a cable or the strength of a wave from records.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from corridor.errors import DomainError
from corridor.tone.cases import Case
from corridor.tone.layout import Solution
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import CaseResult, ToneSolution, check_frequency, solve_sources
from corridor.tone.wave import RadioWave, wave_emf

__all__ = ["PASSIVE_KINDS", "Feed", "MainsCurrent", "feed_voltages", "solve_passive"]

PASSIVE_KINDS = ("mains", "radio")

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Feed:
    """Where the net current of an electric line is driven: a section, and +1 along it or -1 against it."""

    line_id: str
    section: int
    sign: int


@dataclass(frozen=True, kw_only=True)
class MainsCurrent:
    """What drives net (unbalanced) mains current round through the soil.

    Attributes
    ----------
    frequency_hz : float
    net_a : float
        Net current of each line at its feed, A RMS.
    driving_v : float
        Largest voltage in series that may drive it, V: where the way back is poor, less current flows.
    feeds : tuple of Feed
        One a line.

    Raises
    ------
    DomainError
        If a value isn't positive, or there is no feed.
    """

    frequency_hz: float
    net_a: float
    driving_v: float
    feeds: tuple[Feed, ...]

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "net_a", "driving_v"):
            if not 0.0 < getattr(self, name) < math.inf:
                message = f"{name} of mains current must be a positive number, got {getattr(self, name)}"
                raise DomainError(message)
        if not self.feeds:
            message = "expected at least one line that mains current is fed into, got none"
            raise DomainError(message)


def feed_voltages(own: Complex, *, net_a: float, driving_v: float) -> Complex:
    """Return the EMF of each feed: min(net current, driving voltage/|Z|), the feeds' own currents in phase.

    Parameters
    ----------
    own : ndarray of complex, shape (k,), A/V
        Current at each feed per volt in series there, 1/Z (Thevenin).
    net_a : float, A
    driving_v : float, V

    Returns
    -------
    ndarray of complex, shape (k,), V
        Times ``own`` it is real and positive; zero where nothing can flow.
    """
    size = np.abs(own)
    flowing = size > 0.0
    volts = np.minimum(driving_v, net_a / np.where(flowing, size, 1.0))
    return np.where(flowing, volts * np.exp(-1j * np.angle(own)), 0.0)


def solve_passive(
    model: ToneModel, source: MainsCurrent | RadioWave, cases: Sequence[Case], *, soil: SoilRange
) -> ToneSolution:
    """Solve a passive source in several cases.

    Mains: each line's net current is a voltage in series at its feed, so that the current goes out along the line and
    comes back through grounds, bonds and soil. That is the part of the load's current that doesn't come back in the
    cable's own neutral; the rest makes next to no field above ground. The feeds are put in one after the other, each
    with the current that it would have alone, in phase, and added. Radio: the wave drives every section.

    Parameters
    ----------
    model : ToneModel
    source : MainsCurrent or RadioWave
    cases : sequence of Case
        Those of one soil share a factorisation.
    soil : SoilRange

    Returns
    -------
    ToneSolution
        Without drives, of one column: ``current_a`` and ``leak_a`` in amperes, not per ampere.

    Raises
    ------
    DomainError
        If the frequency is out of range, or a feed's section isn't one of a line.
    """
    frequency = check_frequency(source.frequency_hz)
    if isinstance(source, MainsCurrent):
        wrong = [feed for feed in source.feeds if not 0 <= feed.section < model.n_conducting]
        if wrong:
            message = f"expected a feed on a section of 0 to {model.n_conducting - 1}, got {wrong[0].section}"
            raise DomainError(message)
    results: dict[tuple[float, str], CaseResult] = {}
    with threadpool_limits(1, user_api="blas"):
        for soil_name in sorted({case.soil for case in cases}):
            group = [case for case in cases if case.soil == soil_name]
            for name, solution in _solve_group(model, source, group, soil=soil).items():
                results[frequency, name] = _result(solution)
    return ToneSolution(model, (), (frequency,), tuple(cases), soil, results)


def _solve_group(
    model: ToneModel, source: MainsCurrent | RadioWave, cases: Sequence[Case], *, soil: SoilRange
) -> Mapping[str, Solution]:
    """Return the solutions of cases that share one soil, in amperes, one column each."""
    emf = _unit_emf(model, source, soil=soil, resistivity_ohm_m=cases[0].resistivity_ohm_m(soil))
    nothing = np.zeros((model.layout.n_nodes, emf.shape[1]), dtype=np.complex128)
    solutions = solve_sources(model, (nothing, emf), cases, frequency_hz=source.frequency_hz, soil=soil)
    return {name: _scaled(solution, source) for name, solution in solutions.items()}


def _unit_emf(
    model: ToneModel, source: MainsCurrent | RadioWave, *, soil: SoilRange, resistivity_ohm_m: float
) -> Complex:
    """Return the voltages in series, (n, k): a volt a feed, or the wave's own."""
    lines = slice(model.n_conducting)  # electrodes are upright: the horizontal field drives nothing along them
    if isinstance(source, MainsCurrent):
        emf = np.zeros((model.n_sections, len(source.feeds)), dtype=np.complex128)
        for column, feed in enumerate(source.feeds):
            emf[feed.section, column] = feed.sign
        return emf
    emf = np.zeros((model.n_sections, 1), dtype=np.complex128)
    emf[lines, 0] = wave_emf(
        model.start_m[lines], model.end_m[lines], wave=source, soil=soil, resistivity_ohm_m=resistivity_ohm_m
    )
    return emf


def _scaled(solution: Solution, source: MainsCurrent | RadioWave) -> Solution:
    """Return the sum of all feeds, or the wave's solution as it is."""
    if isinstance(source, RadioWave):
        return solution
    columns = np.arange(len(source.feeds))
    signs = np.array([feed.sign for feed in source.feeds])
    own = signs * solution.current_a[[feed.section for feed in source.feeds], columns]
    volts = feed_voltages(own, net_a=source.net_a, driving_v=source.driving_v)[:, None]
    return Solution(
        solution.current_a @ volts, solution.leak_a @ volts, solution.element_a @ volts, solution.node_v @ volts
    )


def _result(solution: Solution) -> CaseResult:
    """Return a solution in amperes as a case of the tone: its reference is one ampere, and no transmitter limits it."""
    return CaseResult(
        current_a=solution.current_a.astype(np.complex64),
        leak_a=solution.leak_a.astype(np.complex64),
        loop_ohm=np.full(1, complex(math.nan, math.nan)),
        available_a=np.full(1, math.inf),
        limited_by=np.zeros(1, dtype=np.int8),
        element_a=solution.element_a.astype(np.complex64),
        reference_a=np.ones(1, dtype=np.complex128),
    )
