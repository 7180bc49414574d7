"""``trace``: the gate first, then where the tone of one hook-up goes and what the receiver reads."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from corridor.constants import MA_PER_A
from corridor.couplings import find_couplings
from corridor.couplings.model import Couplings
from corridor.errors import DomainError, HookUpError
from corridor.frames import empty_table, stamp
from corridor.network.build import build_network
from corridor.plan.hookups import find_hookups, select_hookup
from corridor.plan.prepare import hookup_of, leaving_share, prepare
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site
from corridor.tone.bleed import decompose, trace_paths
from corridor.tone.cases import CASES, element_ohms
from corridor.tone.drive import unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.hookup import HookUp
from corridor.tone.layout import Solution
from corridor.tone.predict import peak_owner, predict, set_stations
from corridor.tone.solve import ToneSolution, check_frequency, matrices, solve_tone
from corridor.tone.tables import Setting, output_a, paths_table, sections_table, stations_table
from corridor.tone.tree import factorise

__all__ = ["ToneTrace", "bleed_table", "bleed_tables", "station_frames", "trace_tone"]


@dataclass(frozen=True)
class ToneTrace:
    """Where the tone of one hook-up goes.

    ``sections``, ``stations`` and ``bleed_paths`` are tables of the data dictionary; current_ma, voltage_v and loop_ohm
    (NaN for induction) are the transmitter's in the nominal case; ``hookup`` is the row of the table ``hookups``.
    """

    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    bleed_paths: gpd.GeoDataFrame
    current_ma: float
    voltage_v: float
    loop_ohm: float
    hookup: dict[str, Any]
    notes: tuple[str, ...]


def trace_tone(
    site: Site,
    hookup: str | HookUp,
    *,
    frequency_hz: float,
    level_ma: float,
    equipment: Equipment | None = None,
    settings: Settings | None = None,
) -> ToneTrace:
    """Solve one hook-up in all cases and predict the receiver along every line that carries tone.

    Parameters
    ----------
    site : Site
        The records.
    hookup : str or HookUp
        hookup_id, or a hook-up described.
    frequency_hz : float
        50 Hz to 200 kHz.
    level_ma : float
        Current asked for; the source's limits may lower it.
    equipment : Equipment, optional
        The generic standard profile where left out.
    settings : Settings, optional
        Defaults where left out.

    Returns
    -------
    ToneTrace

    Raises
    ------
    HookUpError
        If the hook-up doesn't exist, or the hazard gate refuses it.
    DomainError
        If the frequency or the level is out of range.
    """
    equipment, settings = equipment or load_equipment(None), settings or Settings()
    frequency = check_frequency(frequency_hz)
    if not (math.isfinite(level_ma) and level_ma > 0):
        message = f"expected an output current above 0 mA, got {level_ma:g}"
        raise DomainError(message)
    couplings = find_couplings(site, settings=settings)
    network = build_network(site, couplings.bonds_found, settings=settings)
    table = find_hookups(site, couplings.bonds_found, equipment=equipment, settings=settings, network=network)
    row, asked = _resolved(table, hookup)
    prepared = prepare(
        site,
        [asked],
        [row["hookup_id"]],
        seeds={asked.line_id},
        couplings=couplings,
        network=network,
        frequency_max_hz=frequency,
        equipment=equipment,
        settings=settings,
    )
    solution = solve_tone(
        prepared.model,
        prepared.drives,
        CASES,
        frequencies_hz=[frequency],
        soil=prepared.soil,
        equipment=equipment,
        workers=settings.solver.workers,
    )
    setting = Setting(row["hookup_id"], 0, frequency, level_ma / MA_PER_A)
    stations = station_frames(site, solution, setting, settings=settings)
    result = solution.results[frequency, CASES[0].name]
    current = float(output_a(solution, setting)[0])
    loop = abs(complex(result.loop_ohm[0]))
    share = leaving_share(solution, prepared.cut_nodes)
    sections = sections_table(solution, setting, lines=site.lines, stations=stations, target=asked.line_id)
    return ToneTrace(
        sections=stamp(sections, trace_tone, hookup_id=row["hookup_id"], frequency_hz=frequency, level_ma=level_ma),
        stations=stations,
        bleed_paths=bleed_table(site, solution, setting, couplings=couplings, settings=settings),
        current_ma=current * MA_PER_A,
        voltage_v=current * loop,
        loop_ohm=loop,
        hookup=row,
        notes=(
            f"{prepared.model.n_sections} sections, {prepared.reach_m:g} m along metal from the target; "
            f"{share:.1%} of the output stands where the network was cut",
            f"soil {prepared.soil.nominal_ohm_m:.0f} ohm m, {prepared.soil.low_ohm_m:.0f} to "
            f"{prepared.soil.high_ohm_m:.0f} ({prepared.soil.source})",
        ),
    )


def _resolved(table: gpd.GeoDataFrame, hookup: str | HookUp) -> tuple[dict[str, Any], HookUp]:
    """Return the row and the hook-up asked for, past the gate."""
    if isinstance(hookup, str):
        row = select_hookup(table, hookup)
        asked = hookup_of(row)
    else:
        same = table[(table["line_id"] == hookup.line_id) & (table["mode"] == hookup.mode)]
        if hookup.structure_id is not None:
            same = same[same["structure_id"] == hookup.structure_id]
        elif hookup.mode != "induction":
            same = same[(same["at_m"] - hookup.at_m).abs() <= 1.0]
        if same.empty:
            message = f"hook-up {hookup.hookup_id}: no access point of that kind in the records; --list names them"
            raise HookUpError(message)
        row = same.iloc[0]
        at_m = hookup.at_m if hookup.at_m is not None else float(row["at_m"])
        asked = HookUp(
            hookup.mode, hookup.line_id, hookup.structure_id, at_m, hookup.stake_xy, hookup.far_end, hookup.height_m
        )
        if hookup.mode == "induction":
            row = row.copy()
            row["hookup_id"], row["at_m"] = asked.hookup_id, at_m
    if row["ready"] == "refused":
        message = f"hook-up {row['hookup_id']} is refused: {row['missing'] or row['reason']}"
        raise HookUpError(message)
    return {key: value for key, value in row.items() if key != "geometry"}, asked


def station_frames(
    site: Site, solution: ToneSolution, setting: Setting, *, settings: Settings, lines: set[str] | None = None
) -> gpd.GeoDataFrame:
    """Return the table ``stations`` of every line that carries more than the partner share (or of those named)."""
    model = solution.model
    nominal = solution.results[setting.frequency_hz, solution.cases[0].name]
    rows = site.lines.set_index("line_id", drop=False)
    parts = []
    for line_id in model.line_ids:
        share = float(np.abs(nominal.current_a[model.sections_of(line_id), setting.drive]).max(initial=0.0))
        if (lines is not None and line_id not in lines) or (lines is None and share < settings.grades.partner_share):
            continue
        row = rows.loc[line_id]
        stations = set_stations(
            line_id, row.geometry, depth_m=float(row["depth_m"]), spacing_m=settings.receiver.station_spacing_m
        )
        prediction = predict(solution, stations, [setting.drive], receiver=settings.receiver)
        f = solution.frequencies_hz.index(setting.frequency_hz)
        owners = [
            peak_owner(
                solution,
                stations,
                k,
                drive=setting.drive,
                frequency_hz=setting.frequency_hz,
                offset_m=float(prediction.peak_offset_m[k, 0, f, 0]),
            )
            if prediction.masked[k, 0, f, 0]
            else None
            for k in range(len(stations.measure_m))
        ]
        parts.append(
            stations_table(
                solution, prediction, setting, line=row.to_dict(), settings=settings, owners=owners, crs=site.crs
            )
        )
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True)) if parts else empty_table("stations", site.crs)


def bleed_table(
    site: Site, solution: ToneSolution, setting: Setting, *, couplings: Couplings, settings: Settings
) -> gpd.GeoDataFrame:
    """Return the table ``bleed_paths`` of one hook-up: the nominal currents decomposed."""
    return bleed_tables(site, solution, [setting], couplings=couplings, settings=settings)[0]


def bleed_tables(
    site: Site, solution: ToneSolution, asked: Sequence[Setting], *, couplings: Couplings, settings: Settings
) -> list[gpd.GeoDataFrame]:
    """Return the tables ``bleed_paths`` of several hook-ups at one frequency, which share one factorisation."""
    model, drives = solution.model, [solution.drives[setting.drive] for setting in asked]
    rho, frequency = solution.soil.nominal_ohm_m, asked[0].frequency_hz
    evidence = dict(zip(couplings.bonds_found["bond_id"], couplings.bonds_found["evidence"], strict=True))
    gamma = propagation_constant(rho, frequency, relative_permittivity=solution.soil.relative_permittivity)
    injection, emf = unit_sources(model, drives, frequency_hz=frequency, gamma_per_m=gamma)
    tables = []
    with threadpool_limits(1, user_api="blas"):
        z, p = matrices(model, frequency_hz=frequency, resistivity_ohm_m=rho, soil=solution.soil)
        ohms = element_ohms(model, "nominal", frequency)
        plain = factorise(model.layout, z, p, ohms).solve(injection, emf)
        for k, (setting, drive) in enumerate(zip(asked, drives, strict=True)):
            one = Solution(*(part[:, [k]] for part in (plain.current_a, plain.leak_a, plain.element_a, plain.node_v)))
            reference = 1.0 if drive.hookup.mode == "direct" else abs(one.current_a[drive.section, 0])
            entries = decompose(
                model,
                one,
                (z, p, ohms),
                drive=drive,
                source=(injection[:, [k]], emf[:, [k]]),
                threshold_a=settings.grades.partner_share * reference,
            )
            peaks = {i: float(np.abs(one.current_a[model.sections_of(i), 0]).max()) for i in model.line_ids}
            paths = [path for path in trace_paths(entries, peaks) if path.line_id != drive.hookup.line_id]
            scaled = [path.scaled(1.0 / reference if reference > 0 else 0.0) for path in paths]
            tables.append(paths_table(solution, setting, scaled, couplings=couplings, evidence=evidence, crs=site.crs))
    return tables
