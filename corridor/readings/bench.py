"""What each state of a network gives for each reading: currents, source figures and the receiver, per ampere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corridor.errors import InputError
from corridor.readings.asked import Asked
from corridor.settings import Equipment, ReceiverSettings
from corridor.tone.cases import Case
from corridor.tone.drive import Drive, unit_output, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.internal import joint_impedance
from corridor.tone.layout import Solution
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.predict import predict
from corridor.tone.solve import CaseResult, ToneSolution, nominal_network
from corridor.tone.stations import Stations
from corridor.tone.tree import Factored
from corridor.tone.updates import Ports, Switched

__all__ = ["Bench", "Response", "State", "benches"]

Real = NDArray[np.float64]
State = tuple[tuple[int, float], ...]  # elements and their impedances, ohm; infinite: open
Step = Callable[[], None]

EDGE_M = 1e-6
SLOPE_MOST_PER_M = 3.0  # a current that changes more is no current: it runs the other way a foot on
CURRENTS = ("clamp_ma", "receiver_ma")


@dataclass(frozen=True)
class Trial(Case):
    """A case with its own factor on the soil."""

    factor: float = 1.0

    def resistivity_ohm_m(self, soil: SoilRange) -> float:
        """Return the nominal soil times the factor."""
        return soil.nominal_ohm_m * self.factor


@dataclass(frozen=True)
class Response:
    """What readings would be: arrays of shape (readings, soils, states, drives), per ampere of hook-up current.

    Attributes
    ----------
    per_a : ndarray
        Current that a clamp or the receiver shows, A/A; offset or depth in m; NaN where there is none.
    own_a : ndarray
        True current on the line there, A/A; NaN for source readings.
    slope_per_m : ndarray
        By what share of itself that current changes along a metre of the line.
    loop_ohm : ndarray of complex
        What the source sees; NaN for induction.
    available_a : ndarray
        Largest hook-up current within the source's limits.
    """

    per_a: Real
    own_a: Real
    slope_per_m: Real
    loop_ohm: NDArray[np.complex128]
    available_a: Real


class _Spent:
    """Stands for a factor that isn't needed any more and takes most of the memory."""

    def solve(self, injection_a: object, emf_v: object = None) -> Solution:
        raise NotImplementedError


@dataclass(frozen=True)
class _Solved:
    """One network at one frequency and soil: its solution as it is, and what switching elements does."""

    base: Solution
    ports: Ports

    def result(self, state: State, model: ToneModel, drives: Sequence[Drive], *, how: _How) -> CaseResult:
        index = [element for element, _ in state]
        ohms = [
            joint_impedance(model.elements[e].open_ohm, model.elements[e].open_f, how.frequency_hz)
            if np.isinf(ohm) else complex(ohm)
            for e, ohm in state
        ]  # fmt: skip
        full = self.ports.base_ohm.copy()
        full[index] = ohms
        # no element here has zero ohms, so no loop can be shorted: the check of it costs more than the update
        switched = Switched(self.ports, full, np.array(sorted(index), dtype=np.int64))
        solution = switched.apply(self.base) if index else self.base
        output = unit_output(solution, drives, frequency_hz=how.frequency_hz, equipment=how.equipment)
        return CaseResult(
            current_a=(solution.current_a / output.reference_a).astype(np.complex64),
            leak_a=(solution.leak_a / output.reference_a).astype(np.complex64),
            loop_ohm=output.loop_ohm,
            available_a=output.available_a,
            limited_by=output.limited_by,
            element_a=(solution.element_a / output.reference_a).astype(np.complex64),
            reference_a=output.reference_a,
        )


@dataclass(frozen=True)
class _How:
    frequency_hz: float
    equipment: Equipment


@dataclass(frozen=True)
class Bench:
    """A network solved at all frequencies asked for and several soils, ready for any state of its elements."""

    model: ToneModel
    drives: tuple[Drive, ...]
    soil: SoilRange
    factors: tuple[float, ...]
    solved: dict[tuple[float, float], _Solved]
    equipment: Equipment
    receiver: ReceiverSettings

    def respond(self, states: Sequence[State], asked: Sequence[Asked]) -> Response:
        """Return what the readings asked for would be in some states.

        Parameters
        ----------
        states : sequence of State
            Of the elements that the bench was made for.
        asked : sequence of Asked
            The readings.
        """
        shape = (len(asked), len(self.factors), len(states), len(self.drives))
        out = Response(
            np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape),
            np.full(shape, np.nan, dtype=np.complex128), np.full(shape, np.nan),
        )  # fmt: skip
        for frequency in sorted({one.frequency_hz for one in asked}):
            solution = self._solution(states, frequency)
            mine = [k for k, one in enumerate(asked) if one.frequency_hz == frequency]
            results = [solution.results[frequency, case.name] for case in solution.cases]
            loop = np.array([r.loop_ohm for r in results]).reshape(shape[1:])
            available = np.array([r.available_a for r in results]).reshape(shape[1:])
            out.loop_ohm[mine], out.available_a[mine] = loop, available
            groups: dict[tuple[str, tuple[int, ...]], list[int]] = {}
            for k in mine:
                if asked[k].placed:
                    groups.setdefault((asked[k].line_id, asked[k].drives), []).append(k)
            for (line, drives), rows in groups.items():
                self._read(solution, line, drives, [(k, asked[k]) for k in rows], out=out)
        return out

    def _solution(self, states: Sequence[State], frequency: float) -> ToneSolution:
        how = _How(frequency, self.equipment)
        cases = [
            Trial(f"{factor!r} {number}", "nominal", "nominal", factor)
            for factor in self.factors for number in range(len(states))
        ]  # fmt: skip
        results = {}
        for case, (factor, state) in zip(cases, ((f, s) for f in self.factors for s in states), strict=True):
            solved = self.solved[frequency, factor]
            results[frequency, case.name] = solved.result(state, self.model, self.drives, how=how)
        return ToneSolution(self.model, self.drives, (frequency,), tuple(cases), self.soil, results)

    def _read(
        self,
        solution: ToneSolution,
        line: str,
        drives: tuple[int, ...],
        rows: Sequence[tuple[int, Asked]],
        *,
        out: Response,
    ) -> None:
        """Fill in the readings along one line under one set-up and the hook-ups that it may be in truth."""
        first = rows[0][1]
        stations = Stations(
            line,
            np.array([one.station_m for _, one in rows]),
            np.array([one.xy_m for _, one in rows]),
            np.array([one.direction for _, one in rows]),
            first.depth_m,
        )
        shape = (len(rows), len(drives), len(self.factors), -1)
        seen = predict(solution, stations, drives, receiver=self.receiver)
        at_places = _at_places(solution, line, stations.measure_m, drives)
        own, slope = (table.reshape(shape) for table in at_places)
        # a field that still rises at the end of the search has no peak: a crew reads nothing there
        lost = np.abs(seen.peak_offset_m[:, :, 0, :]) > self.receiver.half_width_m - EDGE_M
        shown = (seen.inferred_a, seen.peak_offset_m, seen.depth_m)
        inferred, offset, depth = (np.where(lost, np.nan, table[:, :, 0, :]).reshape(shape) for table in shown)
        tables = {"clamp_ma": own, "receiver_ma": inferred, "peak_offset_m": offset, "depth_reading_m": depth}
        for place, (k, one) in enumerate(rows):
            for column, drive in enumerate(drives):
                out.per_a[k, :, :, drive] = tables[one.kind][place, column]
                out.own_a[k, :, :, drive] = own[place, column]
                if one.kind in CURRENTS:
                    out.slope_per_m[k, :, :, drive] = slope[place, column]


def _at_places(solution: ToneSolution, line: str, measure_m: Real, drives: tuple[int, ...]) -> tuple[Real, Real]:
    """Return the current at places of a line and its relative slope, (places, drives, cases).

    A section's leak leaves it evenly along its length.
    """
    model = solution.model
    sections = np.array([model.section_at(line, float(at)) for at in measure_m], dtype=np.int64)
    low, high = model.measure_m[sections].T
    share = np.clip((measure_m - low) / (high - low), 0.0, 1.0) - 0.5
    grid = np.ix_(sections, np.array(drives, dtype=np.int64))
    (frequency,) = solution.frequencies_hz
    found = [solution.results[frequency, case.name] for case in solution.cases]
    current = np.stack([one.current_a[grid] for one in found], axis=2)
    leak = np.stack([one.leak_a[grid] for one in found], axis=2)
    here = np.abs(current.astype(np.complex128) - share[:, None, None] * leak)
    least = np.abs(leak) / (high - low)[:, None, None]
    slope = np.where(here > 0.0, np.minimum(least / np.maximum(here, 1e-30), SLOPE_MOST_PER_M), 0.0)
    return here, slope


def benches(
    models: Sequence[tuple[ToneModel, Sequence[float]]],
    drives: Sequence[Drive],
    switched: Sequence[int],
    *,
    frequencies_hz: Sequence[float],
    soil: SoilRange,
    equipment: Equipment,
    receiver: ReceiverSettings,
    step: Step | None = None,
) -> list[Bench]:
    """Solve networks once per frequency and soil, and make elements switchable.

    Parameters
    ----------
    models : sequence of (ToneModel, factors on the soil)
        Networks with the same elements.
    drives : sequence of Drive
        Hook-ups, those on the wrong line included.
    switched : sequence of int
        Elements that states may change.
    frequencies_hz : sequence of float
        All that were read.
    soil : SoilRange
        The factors multiply its nominal value.
    equipment, receiver
        Source limits, and the receiver's coils.
    step : callable, optional
        Called after each factorisation.

    Returns
    -------
    list of Bench

    Raises
    ------
    InputError
        If the network is too large for updates of one factor.
    """
    made = []
    for model, factors in models:
        solved = {}
        for frequency in frequencies_hz:
            for factor in factors:
                solved[frequency, factor] = _solve(model, drives, switched, (frequency, factor), soil=soil)
                if step is not None:
                    step()
        made.append(Bench(model, tuple(drives), soil, tuple(factors), solved, equipment, receiver))
    return made


def _solve(
    model: ToneModel,
    drives: Sequence[Drive],
    switched: Sequence[int],
    at: tuple[float, float],
    *,
    soil: SoilRange,
) -> _Solved:
    frequency, factor = at
    rho = soil.nominal_ohm_m * factor
    gamma = propagation_constant(rho, frequency, relative_permittivity=soil.relative_permittivity)
    sources = unit_sources(model, drives, frequency_hz=frequency, gamma_per_m=gamma)
    factored = nominal_network(model, frequency_hz=frequency, resistivity_ohm_m=rho, soil=soil)
    if not isinstance(factored, Factored):
        message = (
            f"expected a network of {model.solver.section_limit} sections at most to judge readings by, got "
            f"{model.n_sections}; give the readings of fewer set-ups, or lower solver.growth_max_m in the settings"
        )
        raise InputError(message)
    ends = [node for drive in drives for node in (drive.node, drive.return_node) if node >= 0]
    wanted = np.concatenate((model.layout.node_a, model.layout.node_b, np.array(ends, dtype=np.int64)))
    base = factored.solve(*sources, at_nodes=wanted)
    ports = factored.prepare(np.array(switched, dtype=np.int64), at_nodes=wanted)
    return _Solved(base, replace(ports, base=_Spent()))
