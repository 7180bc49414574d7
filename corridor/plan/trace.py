"""``trace``: the gate first, then where the tone of one hook-up goes and what the receiver reads."""

import math
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.constants import MA_PER_A
from corridor.errors import DomainError, HookUpError
from corridor.frames import stamp
from corridor.plan.hookups import select_hookup
from corridor.plan.outcome import bleed_rows, line_stations
from corridor.plan.prepare import Prepared, connect, hookup_of, prepare, refuse_low_induction
from corridor.plan.too_long import named_lines, refuse_too_long, too_long
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site
from corridor.tone.cases import CASES, cases_of
from corridor.tone.hookup import HookUp
from corridor.tone.predict import predict
from corridor.tone.solve import ToneSolution, check_frequency, solve_tone
from corridor.tone.sources import LIMITS
from corridor.tone.stations import set_stations
from corridor.tone.tables import Rows, Setting, as_table, output_a, section_rows

__all__ = ["ToneTrace", "trace_tone"]


@dataclass(frozen=True)
class ToneTrace:
    """Where the tone of one hook-up goes.

    ``sections``, ``stations`` and ``bleed_paths`` are tables of the data dictionary; current_ma, voltage_v and loop_ohm
    (NaN for induction) are the transmitter's in the nominal case; ``limited_by`` says what sets the current: level,
    voltage, current, power or saturation. ``hookup`` is the row of the table ``hookups``.
    """

    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    bleed_paths: gpd.GeoDataFrame
    current_ma: float
    voltage_v: float
    loop_ohm: float
    limited_by: str
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
        If the frequency or the level is out of range, or the line alone makes more sections than memory holds.
    EquipmentError
        If induction is asked for below the frequencies that the equipment's loop can be tuned to.
    """
    equipment, settings = equipment or load_equipment(None), settings or Settings()
    frequency = check_frequency(frequency_hz)
    if not (math.isfinite(level_ma) and level_ma > 0):
        message = f"expected an output current above 0 mA, got {level_ma:g}"
        raise DomainError(message)
    named = named_lines(site.lines, hookup)
    if len(named) == 1:
        refuse_too_long(site.lines, named, equipment=equipment, settings=settings)
    beyond = too_long(site.lines, settings.solver) & ~site.lines["line_id"].isin(named).to_numpy()
    lines = site.lines["line_id"][~beyond].tolist() if beyond.any() else None  # nobody asks for their many hook-ups
    connected = connect(site, equipment=equipment, settings=settings, lines=lines)
    row, asked = _resolved(connected.hookups, hookup, site.lines.set_index("line_id").geometry.length)
    refuse_low_induction(asked, frequency, equipment)
    prepared = prepare(
        connected, [asked], [row["hookup_id"]], frequencies_hz=[frequency], equipment=equipment, settings=settings
    )
    solution = solve_tone(
        prepared.model,
        prepared.drives,
        cases_of(prepared.model, mixes=settings.solver.extract_mixes),
        frequencies_hz=[frequency],
        soil=prepared.soil,
        equipment=equipment,
        workers=settings.solver.workers,
        watched=prepared.watched,
    )
    prepared = prepared.looked_at(solution, settings=settings)
    setting = Setting(row["hookup_id"], 0, frequency, level_ma / MA_PER_A)
    stations = _stations(site, solution, setting, settings)
    result = solution.results[frequency, CASES[0].name]
    current = float(output_a(solution, setting)[0])
    loop = abs(complex(result.loop_ohm[0]))
    limit = "level" if setting.level_a <= result.available_a[0] else LIMITS[int(result.limited_by[0])]
    sections = as_table(
        "sections",
        [section_rows(solution, setting, lines=site.lines, stations=stations, target=asked.line_id)],
        site.crs,
    )
    paths = bleed_rows(solution, [setting], couplings=connected.couplings, settings=settings)
    return ToneTrace(
        sections=stamp(sections, trace_tone, hookup_id=row["hookup_id"], frequency_hz=frequency, level_ma=level_ma),
        stations=stations,
        bleed_paths=as_table("bleed_paths", paths, site.crs),
        current_ma=current * MA_PER_A,
        voltage_v=current * loop,
        loop_ohm=loop,
        limited_by=limit,
        hookup=row,
        notes=_notes(prepared),
    )


def _notes(prepared: Prepared) -> tuple[str, ...]:
    soil = prepared.soil
    return (
        *prepared.notes,
        f"{prepared.model.n_sections} sections; {prepared.reach_text()}",
        f"soil {soil.nominal_ohm_m:.0f} ohm m, {soil.low_ohm_m:.0f} to {soil.high_ohm_m:.0f} ({soil.source})",
    )


def _stations(site: Site, solution: ToneSolution, setting: Setting, settings: Settings) -> gpd.GeoDataFrame:
    """Return the table ``stations`` of every line that carries more than the partner share."""
    model = solution.model
    nominal = solution.results[setting.frequency_hz, solution.cases[0].name]
    rows = site.lines.set_index("line_id", drop=False)
    parts: list[Rows] = []
    for line_id in model.line_ids:
        share = float(np.abs(nominal.current_a[model.sections_of(line_id), setting.drive]).max(initial=0.0))
        if share < settings.grades.partner_share:
            continue
        row = rows.loc[line_id]
        stations = set_stations(
            line_id, row.geometry, depth_m=float(row["depth_m"]), spacing_m=settings.receiver.station_spacing_m
        )
        prediction = predict(solution, stations, [setting.drive], receiver=settings.receiver)
        parts.append(line_stations(site, solution, prediction, setting, settings=settings))
    return as_table("stations", parts, site.crs)


def _resolved(table: gpd.GeoDataFrame, hookup: str | HookUp, lengths: pd.Series) -> tuple[dict[str, Any], HookUp]:
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
        length = float(lengths.loc[hookup.line_id])
        if not 0.0 <= at_m <= length:
            message = (
                f"hook-up {hookup.hookup_id}: expected a place of 0 to {length:.1f} m along the line, got {at_m:g}"
            )
            raise HookUpError(message)
        asked = replace(hookup, at_m=at_m, stake_xy=hookup.stake_xy or hookup_of(row).stake_xy)
        if hookup.mode == "induction":
            row = row.copy()
            row["hookup_id"], row["at_m"] = asked.hookup_id, at_m
    if row["ready"] == "refused":
        message = f"hook-up {row['hookup_id']} is refused: {row['missing'] or row['reason']}"
        raise HookUpError(message)
    return {key: value for key, value in row.items() if key != "geometry"}, asked
