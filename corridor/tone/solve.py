"""All hook-ups, frequencies and cases solved: one factorisation per frequency and soil, low-rank updates for paths.

Networks too large for dense matrices are factored in blocks, once for each state of the paths.
"""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from corridor.constants import FREQUENCY_MAX_HZ, FREQUENCY_MIN_HZ
from corridor.errors import DomainError
from corridor.settings import Equipment
from corridor.tone.budget import refuse_beyond_memory
from corridor.tone.cases import Case, Paths, element_ohms
from corridor.tone.drive import Drive, unit_output, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.large import LargeNetwork, factorise_blocks
from corridor.tone.large_fields import LargeFields, large_fields
from corridor.tone.layout import Solution
from corridor.tone.matrices import SectionKernel, section_kernel, section_matrices
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.tree import Factored, factorise

__all__ = [
    "CaseResult",
    "Progress",
    "ToneSolution",
    "check_frequency",
    "kernel_of",
    "matrices",
    "nominal_network",
    "solve_cases",
    "solve_sources",
    "solve_tone",
]

Progress = Callable[[int, int, str], None]

# compiled loops that use all cores must not be entered twice at once with every threading layer
_ASSEMBLY = threading.Lock()


@dataclass(frozen=True)
class CaseResult:
    """Currents of k hook-ups in one case at one frequency, per ampere of hook-up current.

    Attributes
    ----------
    current_a, leak_a : ndarray of complex64, shape (n, k)
        Along each section at its middle, and out of it; the phase counts against the hook-up current.
    loop_ohm : ndarray of complex, shape (k,)
        What the source sees.
    available_a : ndarray of float, shape (k,)
        Largest hook-up current within the source's limits.
    limited_by : ndarray of int8, shape (k,)
        Position in ``corridor.tone.sources.LIMITS`` of the limit that sets it.
    element_a : ndarray of complex64, shape (m, k)
        Through each element, from its node a to its node b.
    reference_a : ndarray of complex, shape (k,)
        Hook-up current per unit source: what the others were divided by.
    watched_v : ndarray of complex64, shape (m, k)
        Potential of each node that was asked for.
    """

    current_a: NDArray[np.complex64]
    leak_a: NDArray[np.complex64]
    loop_ohm: NDArray[np.complex128]
    available_a: NDArray[np.float64]
    limited_by: NDArray[np.int8]
    element_a: NDArray[np.complex64]
    reference_a: NDArray[np.complex128]
    watched_v: NDArray[np.complex64] = field(default_factory=lambda: np.empty((0, 0), np.complex64))


@dataclass(frozen=True)
class ToneSolution:
    """Everything solved for one model; ``results`` is keyed by (frequency_hz, case name)."""

    model: ToneModel
    drives: tuple[Drive, ...]
    frequencies_hz: tuple[float, ...]
    cases: tuple[Case, ...]
    soil: SoilRange
    results: dict[tuple[float, str], CaseResult]


def check_frequency(frequency_hz: float) -> float:
    """Return a frequency the method holds for.

    Raises
    ------
    DomainError
        If it lies outside 50 Hz to 200 kHz.
    """
    if not FREQUENCY_MIN_HZ <= frequency_hz <= FREQUENCY_MAX_HZ:
        message = f"expected a frequency of {FREQUENCY_MIN_HZ:g} to {FREQUENCY_MAX_HZ:g} Hz, got {frequency_hz:g}"
        raise DomainError(message)
    return float(frequency_hz)


def matrices(
    model: ToneModel, *, frequency_hz: float, resistivity_ohm_m: float, soil: SoilRange
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the longitudinal and leakage matrices Z and P of a model, (n, n), ohm.

    Of a large model they are `corridor.tone.large_fields.FieldMatrix`, which give what ``decompose`` asks for.

    Raises
    ------
    DomainError
        If the frequency is out of range.
    """
    materials = _materials(model, frequency_hz, resistivity_ohm_m, soil)
    if model.is_large:
        return _large_fields(model, materials).as_matrices()
    with _ASSEMBLY:
        return section_matrices(model.start_m, model.end_m, integrals=model.integrals, **materials)


def kernel_of(model: ToneModel, *, frequency_hz: float, resistivity_ohm_m: float, soil: SoilRange) -> SectionKernel:
    """Return what gives any rows of a model's matrices Z and P, without the whole of them.

    Raises
    ------
    DomainError
        If the frequency is out of range.
    """
    materials = _materials(model, frequency_hz, resistivity_ohm_m, soil)
    return section_kernel(model.start_m, model.end_m, wires=model.wires, **materials)


def _materials(model: ToneModel, frequency_hz: float, resistivity_ohm_m: float, soil: SoilRange) -> dict[str, Any]:
    """Return the keyword arguments that say what the sections and the soil are made of."""
    check_frequency(frequency_hz)
    return {
        "series_ohm_per_m": np.where(
            model.electrode_mask, 0, model.per_section([c.series(frequency_hz) for c in model.conductors])
        ),
        "coating_s_per_m": model.per_section([c.leakage(frequency_hz) for c in model.conductors]),
        "electrode": model.electrode_mask,
        "electrode_ohm": model.electrode_ohm(resistivity_ohm_m / soil.nominal_ohm_m),
        "frequency_hz": frequency_hz,
        "resistivity_ohm_m": resistivity_ohm_m,
        "relative_permittivity": soil.relative_permittivity,
        "top_thickness_m": soil.top_thickness_m,
        "lower_resistivity_ohm_m": soil.lower_at(resistivity_ohm_m),
    }


def _large_fields(model: ToneModel, materials: dict[str, Any]) -> LargeFields:
    with _ASSEMBLY:
        kernel = section_kernel(model.start_m, model.end_m, wires=model.wires, **materials)
        return large_fields(model, kernel, tolerance=model.solver.compression)


def nominal_network(
    model: ToneModel, *, frequency_hz: float, resistivity_ohm_m: float, soil: SoilRange
) -> Factored | LargeNetwork:
    """Factor a model's network with its paths as most likely; a large one in blocks.

    Parameters
    ----------
    model : ToneModel
        The network.
    frequency_hz, resistivity_ohm_m : float
        Of the tone and the soil.
    soil : SoilRange
        Permittivity and layers.

    Returns
    -------
    Factored or LargeNetwork
        Both solve alike.

    Raises
    ------
    DomainError
        If the frequency is out of range.
    SolverError
        If the network has no unique solution.
    """
    if model.is_large:
        fields = _large_fields(model, _materials(model, frequency_hz, resistivity_ohm_m, soil))
        return _large_network(model, fields, "nominal", frequency_hz)
    z, p = matrices(model, frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m, soil=soil)
    return factorise(model.layout, z, p, element_ohms(model, "nominal", frequency_hz))


def _large_network(model: ToneModel, fields: LargeFields, paths: Paths, frequency_hz: float) -> LargeNetwork:
    return factorise_blocks(
        model.layout,
        fields.clusters,
        (fields.z, fields.p),
        element_ohms(model, paths, frequency_hz),
        residual=model.solver.residual,
    )


def solve_cases(
    model: ToneModel,
    drives: Sequence[Drive],
    cases: Sequence[Case],
    *,
    frequency_hz: float,
    soil: SoilRange,
    equipment: Equipment,
    watched: Sequence[int] = (),
) -> dict[str, CaseResult]:
    """Solve all hook-ups for cases that share one soil, by one factorisation and updates of it.

    Raises
    ------
    DomainError
        If the cases differ in soil, or the frequency is out of range.
    """
    resistivity = _one_resistivity(cases, soil)
    gamma = propagation_constant(resistivity, frequency_hz, relative_permittivity=soil.relative_permittivity)
    sources = unit_sources(model, drives, frequency_hz=frequency_hz, gamma_per_m=gamma)
    ends = [node for drive in drives for node in (drive.node, drive.return_node) if node >= 0]
    wanted = [*ends, *watched]
    solutions = solve_sources(model, sources, cases, frequency_hz=frequency_hz, soil=soil, ends=wanted)
    results = {name: _result(solution, drives, frequency_hz, equipment) for name, solution in solutions.items()}
    if not watched:
        return results
    nodes = list(watched)
    seen = {name: (solution.node_v[nodes] / results[name].reference_a) for name, solution in solutions.items()}
    return {name: replace(result, watched_v=seen[name].astype(np.complex64)) for name, result in results.items()}


def solve_sources(
    model: ToneModel,
    sources: tuple[NDArray[np.complex128], NDArray[np.complex128]],
    cases: Sequence[Case],
    *,
    frequency_hz: float,
    soil: SoilRange,
    ends: Sequence[int] = (),
) -> dict[str, Solution]:
    """Solve given sources for cases that share one soil.

    Parameters
    ----------
    model : ToneModel
        The network.
    sources : tuple of ndarray
        Injection (nodes, k), A, and voltage in series (n, k), V.
    cases : sequence of Case
        Of one soil.
    frequency_hz : float
        Of the tone.
    soil : SoilRange
        Nominal, low and high.
    ends : sequence of int
        Nodes whose potentials are wanted, beside those of the elements.

    Returns
    -------
    dict of str to Solution
        By the cases' names, k columns each.

    Raises
    ------
    DomainError
        If the cases differ in soil, or the frequency is out of range.
    """
    wanted = np.concatenate((model.layout.node_a, model.layout.node_b, np.array(ends, dtype=np.int64)))
    solve = _solve_large if model.is_large else _solve_dense
    solutions = solve(
        model,
        sources,
        wanted,
        paths=sorted({case.paths for case in cases}),
        frequency_hz=frequency_hz,
        resistivity_ohm_m=_one_resistivity(cases, soil),
        soil=soil,
    )
    return {case.name: solutions[case.paths] for case in cases}


def _one_resistivity(cases: Sequence[Case], soil: SoilRange) -> float:
    rho = {case.resistivity_ohm_m(soil) for case in cases}
    if len(rho) != 1:
        message = f"expected cases of one soil, got {sorted(rho)} ohm m"
        raise DomainError(message)
    return rho.pop()


def _solve_dense(
    model: ToneModel,
    sources: tuple[NDArray[np.complex128], NDArray[np.complex128]],
    wanted: NDArray[np.int64],
    *,
    paths: Sequence[Paths],
    frequency_hz: float,
    resistivity_ohm_m: float,
    soil: SoilRange,
) -> dict[Paths, Solution]:
    """Solve by one factorisation, and switch the paths by updates of it."""
    factored = nominal_network(model, frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m, soil=soil)
    base = factored.solve(*sources, at_nodes=wanted)
    switchable = np.flatnonzero([element.switchable for element in model.elements])
    others = [name for name in paths if name != "nominal"]
    solutions: dict[Paths, Solution] = {"nominal": base}
    if others and isinstance(factored, Factored):
        ports = factored.prepare(switchable, at_nodes=wanted)
        for name in others:
            ohms = element_ohms(model, name, frequency_hz)[switchable]
            solutions[name] = ports.with_elements(switchable, ohms).apply(base)
    return solutions


def _solve_large(
    model: ToneModel,
    sources: tuple[NDArray[np.complex128], NDArray[np.complex128]],
    wanted: NDArray[np.int64],
    *,
    paths: Sequence[Paths],
    frequency_hz: float,
    resistivity_ohm_m: float,
    soil: SoilRange,
) -> dict[Paths, Solution]:
    """Solve by one factorisation for each state of the paths: that costs less than a solution for each of them."""
    fields = _large_fields(model, _materials(model, frequency_hz, resistivity_ohm_m, soil))
    return {name: _large_network(model, fields, name, frequency_hz).solve(*sources, at_nodes=wanted) for name in paths}


def _result(solution: Solution, drives: Sequence[Drive], frequency_hz: float, equipment: Equipment) -> CaseResult:
    output = unit_output(solution, drives, frequency_hz=frequency_hz, equipment=equipment)
    return CaseResult(
        current_a=(solution.current_a / output.reference_a).astype(np.complex64),
        leak_a=(solution.leak_a / output.reference_a).astype(np.complex64),
        loop_ohm=output.loop_ohm,
        available_a=output.available_a,
        limited_by=output.limited_by,
        element_a=(solution.element_a / output.reference_a).astype(np.complex64),
        reference_a=output.reference_a,
    )


def solve_tone(
    model: ToneModel,
    drives: Sequence[Drive],
    cases: Sequence[Case],
    *,
    frequencies_hz: Sequence[float],
    soil: SoilRange,
    equipment: Equipment,
    workers: int = 1,
    watched: Sequence[int] = (),
    progress: Progress | None = None,
) -> ToneSolution:
    """Solve hook-ups at several frequencies in several cases.

    Parameters
    ----------
    model : ToneModel
        The network.
    drives : sequence of Drive
        The hook-ups.
    cases : sequence of Case
        Those of one soil share a factorisation.
    frequencies_hz : sequence of float
        Each within 50 Hz to 200 kHz.
    soil : SoilRange
        Nominal, low and high.
    equipment : Equipment
        Limits of the sources.
    workers : int
        Frequencies solved at once, of a large model one; results don't depend on it.
    watched : sequence of int
        Nodes whose potentials are kept.
    progress : callable, optional
        Called with (done, total, what) after each factorisation.

    Returns
    -------
    ToneSolution

    Raises
    ------
    DomainError
        If a frequency is out of range, or the solution needs more memory than ``solver.memory_limit_mb``.
    """
    for frequency in frequencies_hz:
        check_frequency(frequency)
    soils = sorted({case.soil for case in cases})
    tasks = [(f, [case for case in cases if case.soil == s]) for f in frequencies_hz for s in soils]
    if model.is_large:
        workers = 1  # one takes the memory and the cores of several
    refuse_beyond_memory(model.n_sections, model.solver, workers=workers)
    if not model.is_large:
        _ = model.integrals  # once, before the workers need them
    results: dict[tuple[float, str], CaseResult] = {}
    share = max(1, numba.get_num_threads() // workers)  # compiled loops leave the other workers their cores
    with (
        threadpool_limits(1, user_api="blas"),
        ThreadPoolExecutor(workers, initializer=numba.set_num_threads, initargs=(share,)) as pool,
    ):
        shared: dict[str, Any] = {"soil": soil, "equipment": equipment, "watched": watched}
        futures = [pool.submit(solve_cases, model, drives, group, frequency_hz=f, **shared) for f, group in tasks]
        try:
            for done, ((f, group), future) in enumerate(zip(tasks, futures, strict=True), start=1):
                results.update({(f, name): result for name, result in future.result().items()})
                if progress is not None:
                    progress(done, len(tasks), f"{f:g} Hz, {group[0].soil} soil")
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return ToneSolution(model, tuple(drives), tuple(map(float, frequencies_hz)), tuple(cases), soil, results)
