"""The draws of one redrawn network, solved for all hook-ups: one factorisation a frequency, an update a draw."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corridor.constants import MA_PER_A
from corridor.draws.redraw import Redrawn, redrawn
from corridor.draws.sample import Draws
from corridor.settings import Equipment, SolverSettings
from corridor.tone.cases import Case
from corridor.tone.drive import Drive
from corridor.tone.electrodes import rod_resistance
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import CaseResult, Progress, ToneSolution, solve_tone
from corridor.tone.sources import direct_output

__all__ = ["DrawnSite", "solve_geometry"]


@dataclass(frozen=True)
class DrawnSite:
    """The draws of one redrawn network, solved; the solution's cases are ``members``, in that order."""

    redrawn: Redrawn
    members: NDArray[np.int64]
    solution: ToneSolution


def solve_geometry(
    model: ToneModel,
    drives: Sequence[Drive],
    draws: Draws,
    geometry: int,
    *,
    frequencies_hz: Sequence[float],
    soil: SoilRange,
    equipment: Equipment,
    solver: SolverSettings,
    progress: Progress | None = None,
) -> DrawnSite:
    """Redraw a network and solve its draws.

    Parameters
    ----------
    model : ToneModel
        As recorded.
    drives : sequence of Drive
        The hook-ups; induction loops stay over the recorded line.
    draws : Draws
    geometry : int
        Which of the redrawn networks.
    frequencies_hz : sequence of float
        Within 50 Hz to 200 kHz.
    soil : SoilRange
        As recorded.
    equipment : Equipment
        Limits of the sources.
    solver : SolverSettings
        Frequencies solved at once.
    progress : callable, optional
        Called with (done, total, what) after each factorisation.

    Returns
    -------
    DrawnSite

    Raises
    ------
    DomainError
        If a frequency is out of range.
    """
    site = redrawn(model, soil, draws, geometry)
    members = draws.members(geometry)
    solution = solve_tone(
        site.model,
        drives,
        [Case(f"draw {k}", "nominal", f"draw {k}") for k in members],
        frequencies_hz=frequencies_hz,
        soil=site.soil,
        equipment=equipment,
        workers=solver.workers,
        progress=progress,
    )
    stake = next((k for k, unknown in enumerate(draws.unknowns) if unknown.kind == "stake"), None)
    if stake is not None:
        factors = {f"draw {k}": float(draws.value[k, stake]) for k in members}
        extra = _stake_ohm(site.model, drives, site.soil.nominal_ohm_m)
        results = {
            (f, name): _with_contact(result, extra * (factors[name] - 1.0), equipment)
            for (f, name), result in solution.results.items()
        }
        solution = replace(solution, results=results)
    return DrawnSite(site, members, solution)


def _stake_ohm(model: ToneModel, drives: Sequence[Drive], resistivity_ohm_m: float) -> NDArray[np.float64]:
    """Return the calculated resistance of each direct hook-up's stake, 0 where there is none; (k,)."""
    first = model.n_conducting
    at_node = {int(model.layout.start_node[first + k]): rod for k, rod in enumerate(model.electrodes)}
    stakes = [at_node.get(d.return_node) if d.return_node >= 0 else None for d in drives]
    return np.array(
        [0.0 if rod is None else rod_resistance(rod.length_m, rod.radius_m, resistivity_ohm_m) for rod in stakes]
    )


def _with_contact(result: CaseResult, extra_ohm: NDArray[np.float64], equipment: Equipment) -> CaseResult:
    """Add resistance in series with the sources: it changes what they can deliver, not how the tone spreads."""
    fed = np.flatnonzero(extra_ohm)
    loop, available, limited = result.loop_ohm.copy(), result.available_a.copy(), result.limited_by.copy()
    source = equipment.transmitter
    for k in fed:
        loop[k] += extra_ohm[k]
        limits = direct_output(
            loop[k],
            level_a=math.inf,
            max_voltage_v=source.max_voltage_v,
            max_current_a=source.max_current_ma / MA_PER_A,
            max_power_w=source.max_power_w,
        )
        available[k], limited[k] = float(limits.current_a), int(limits.limited_by)
    return replace(result, loop_ohm=loop, available_a=available, limited_by=limited)
