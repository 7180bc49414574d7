"""What a set-up comes to: stations along a line, and the ways the tone took."""

from collections.abc import Sequence

import numpy as np
from threadpoolctl import threadpool_limits

from corridor.couplings.model import Couplings
from corridor.settings import Settings
from corridor.site import Site
from corridor.tone.bleed import MIN_SHARE, Currents, decompose, trace_paths
from corridor.tone.cases import element_ohms
from corridor.tone.drive import unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.hop_names import HopNames
from corridor.tone.predict import Prediction, peak_owners
from corridor.tone.solve import ToneSolution, matrices
from corridor.tone.tables import Rows, Setting, path_rows, station_rows

__all__ = ["bleed_rows", "line_stations"]


def line_stations(
    site: Site, solution: ToneSolution, prediction: Prediction, setting: Setting, *, settings: Settings
) -> Rows:
    """Return the rows of ``stations`` of one line under one set-up.

    Parameters
    ----------
    site : Site
        Its table ``lines`` says what is assumed.
    solution : ToneSolution
        What was solved.
    prediction : Prediction
        Of that solution along the line; the setting's hook-up is among its drives.
    setting : Setting
        The set-up.
    settings : Settings
        Thresholds of the grades.
    """
    lines = site.lines
    at = int(np.flatnonzero(lines["line_id"] == prediction.stations.line_id)[0])
    line = {name: lines[name].iloc[at] for name in ("assumed", "assumed_columns")}
    owners = peak_owners(solution, prediction, drive=setting.drive, frequency_hz=setting.frequency_hz)
    return station_rows(solution, prediction, setting, line=line, settings=settings, owners=owners)


def bleed_rows(
    solution: ToneSolution,
    asked: Sequence[Setting],
    *,
    couplings: Couplings,
    settings: Settings,
    min_share: float = MIN_SHARE,
) -> list[Rows]:
    """Return the rows of ``bleed_paths`` of several set-ups at one frequency: the nominal currents decomposed.

    Parameters
    ----------
    solution : ToneSolution
        What was solved.
    asked : sequence of Setting
        Set-ups of one frequency; they share its matrices.
    couplings : Couplings
        Names of runs and crossings, evidence of bonds.
    settings : Settings
        The share from which a line counts as a partner.
    min_share : float
        Ways that bring less of a line's current are summed up in one row.
    """
    model, drives = solution.model, [solution.drives[setting.drive] for setting in asked]
    rho, frequency = solution.soil.nominal_ohm_m, asked[0].frequency_hz
    names = HopNames(couplings, model)
    gamma = propagation_constant(rho, frequency, relative_permittivity=solution.soil.relative_permittivity)
    columns = [setting.drive for setting in asked]
    nominal = solution.results[frequency, solution.cases[0].name]
    reference = nominal.reference_a[columns]
    injection, emf = unit_sources(model, drives, frequency_hz=frequency, gamma_per_m=gamma)
    currents = Currents(nominal.current_a[:, columns], nominal.leak_a[:, columns], nominal.element_a[:, columns])
    with threadpool_limits(1, user_api="blas"):
        split = decompose(
            model,
            currents,
            (
                *matrices(model, frequency_hz=frequency, resistivity_ohm_m=rho, soil=solution.soil),
                element_ohms(model, "nominal", frequency),
            ),
            drives=drives,
            source=(injection / reference, emf / reference),
            threshold_a=settings.grades.partner_share,
        )
    rows = []
    size = np.abs(currents.current_a)
    sections = {line_id: own for line_id in model.line_ids if (own := model.sections_of(line_id)).size}
    for k, (setting, entries) in enumerate(zip(asked, split, strict=True)):
        peaks = {line_id: float(size[own, k].max()) for line_id, own in sections.items()}
        target = drives[k].hookup.line_id
        ways = trace_paths(entries, peaks, target=target, min_share=min_share)
        paths = [path for path in ways if path.line_id != target]
        rows.append(path_rows(solution, setting, paths, names=names))
    return rows
