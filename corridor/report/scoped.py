"""Writing the scope of an excavation: layers, tables, maps, summary and receipt, whole or not at all."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from corridor.dictionary import RESULT_TABLES
from corridor.frames import CAUTION
from corridor.report.layers.csv_tables import csv_text
from corridor.report.maps.scope_map import write_scope_map
from corridor.report.place import RECEIPT_FILE, whole_folder, write_text
from corridor.report.receipt import equipment_note, make_receipt, receipt_metadata
from corridor.report.results import write_results
from corridor.report.text import joined, percent, wrapped

__all__ = ["SCOPE_FILES", "scope_lines", "write_scope"]

MAP_FILES = ("scope.png", "scope.svg")
_SPATIAL = ("scope_phases", "cells", "test_holes")
_PLAIN = ("scope_effort", "scope_rates")
CSV_FILES = tuple(f"{name}.csv" for name in ("cells", "scope_phases", "scope_effort", "scope_rates", "test_holes"))
SCOPE_FILES = ("results.gpkg", *MAP_FILES, *CSV_FILES, "summary.txt", "summary.json", RECEIPT_FILE)
_PHASES_TOLD = 4


def write_scope(
    scope: Any, folder: str | Path, *, options: Mapping[str, Any] | None = None, command: str = "scope"
) -> list[str]:
    """Write a scope into a folder: ``SCOPE_FILES``.

    Parameters
    ----------
    scope : Scope
        What `corridor.scope_area` returns.
    folder : str or Path
        A new or empty folder, or that of an earlier result, which is replaced whole.
    options : mapping, optional
        What was asked for, as plain data; kept in the receipt.
    command : str
        Which command made it; kept in the receipt.

    Returns
    -------
    list of str
        The summary's lines, as in summary.txt.

    Raises
    ------
    OutputError
        If the folder holds anything that no earlier result put there, or can't be written.
    """
    receipt = make_receipt(
        scope.site, command=command, settings=scope.settings, equipment=scope.equipment, options=options
    )
    receipt["files"] = list(SCOPE_FILES)
    metadata = receipt_metadata(receipt)
    held = {name: getattr(scope, name) for name in RESULT_TABLES if hasattr(scope, name)}
    tables = {name: held[name] for name in (*_SPATIAL, *_PLAIN)}
    lines = scope_lines(scope, folder=str(folder))
    solved = {"strategy": scope.strategy} if len(scope.strategy) else {}
    with whole_folder(folder) as made:
        write_results(made / "results.gpkg", {**tables, **solved}, metadata=metadata)
        for name, table in tables.items():
            # the mark at the start tells spreadsheets that the text is UTF-8
            (made / f"{name}.csv").write_text(csv_text(table), encoding="utf-8-sig", newline="")
        for name in MAP_FILES:
            write_scope_map(scope, made / name, metadata=metadata)
        content = {"caution": CAUTION, "summary": scope.summary, "receipt": receipt}
        write_text(made / "summary.txt", "\n".join(lines) + "\n")
        write_text(made / "summary.json", json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False) + "\n")
        write_text(made / RECEIPT_FILE, json.dumps(receipt, indent=2, sort_keys=True, ensure_ascii=False) + "\n")
    return lines


def scope_lines(scope: Any, *, folder: str = "") -> list[str]:
    """Return the summary of a scope as lines of text of at most 118 characters: what to know first, then figures."""
    facts, totals = scope.summary, scope.scope_phases.to_dict("records")
    said = [CAUTION, *_met(totals[0], facts), *_tone(totals[0], facts), *_figures(totals[0])]
    said += [f"Days on site, {text}" for text in _days(scope.scope_effort)]
    named = [row for row in totals if row["phase"] != "all"]
    said += [_phase_line(row) for row in named[:_PHASES_TOLD]]
    if len(named) > _PHASES_TOLD:
        said.append(f"and {len(named) - _PHASES_TOLD} more phases: see layer scope_phases")
    said += _notes(scope)
    if folder:
        said.append(f"Written to {folder}: {', '.join(SCOPE_FILES)}")
    return [line for text in said for line in wrapped(text)]


def _met(total: Mapping[str, Any], facts: Mapping[str, Any]) -> list[str]:
    cells = facts["cells"]
    return [
        f"The work area of {total['area_m2']:.0f} m2 meets {total['lines']} recorded lines of {total['utilities']}"
        f" utilities, {total['length_m']:.0f} m, with {total['crossings']} crossings",
        f"In the dig, or not sure: {total['lines_in_dig']} lines; {total['in_dig_m']:.0f} m lie in it by depths on"
        f" record, {total['depth_unsure_m']:.0f} m can't be told, {total['below_dig_m']:.0f} m lie below",
        f"Cells: {cells['computed']} computed, {cells['geometry_only']} counted only, {cells['no_records']} without a"
        " recorded line, which isn't free ground",
    ]


def _tone(total: Mapping[str, Any], facts: Mapping[str, Any]) -> list[str]:
    if not facts["windows_solved"]:
        why = "geometry only was asked for" if facts["geometry_only"] else "no hook-up is ready in what was looked at"
        return [f"Tone: not computed ({why}); no cell says what a crew will be shown"]
    hertz = ", ".join(f"{value:g}" for value in facts["frequencies_hz"])
    how = (
        f"{facts['windows_solved']} of {facts['windows']} windows solved at {hertz} Hz; at most"
        f" {percent(facts['leaving_share'])} of a hook-up's output leaves a window"
    )
    if pd.isna(total["readable_share"]):
        return [f"Tone: computed in part: {total['graded_m']:.0f} of {total['length_m']:.0f} m graded; {how}"]
    grades = ("readable", "pulled", "masked", "faint", "untraceable")
    shares = ", ".join(f"{grade} {percent(total[f'{grade}_share'])}" for grade in grades)
    worst = percent(total["not_shown_worst_share"])
    return [
        f"Tone, by the recommended hook-ups: {shares} of the length; masked, faint or untraceable in the worst case"
        f" {worst}",
        f"Solved: {how}",
    ]


def _figures(total: Mapping[str, Any]) -> list[str]:
    return [
        f"Low / likely / high: set-ups {_three(total, 'setups')} ({total['basis']}); crew hours"
        f" {_three(total, 'crew_hours')}; test holes {_three(total, 'test_holes')}",
        f"Closures {_three(total, 'closures')}, hours of closures {_three(total, 'closure_hours')}",
    ]


def _days(effort: Any) -> list[str]:
    days = effort[(effort["phase"].eq("all") & effort["what"].eq("working_days")).to_numpy()]
    texts = [f"{row.crews} crew{'s' if row.crews > 1 else ''}: {_joined((row.low, row.likely, row.high))}"
             for row in days.itertuples()]  # fmt: skip
    return [f"low / likely / high: {joined(texts, limit=400)}"] if texts else []


def _phase_line(row: Mapping[str, Any]) -> str:
    depth = "depth not stated" if pd.isna(row["dig_depth_m"]) else f"dig {row['dig_depth_m']:g} m"
    return (
        f"Phase {row['phase']} ({depth}): {row['lines']} lines, {row['length_m']:.0f} m;"
        f" set-ups {_three(row, 'setups')}, crew hours {_three(row, 'crew_hours')},"
        f" closures {_three(row, 'closures')}, test holes {_three(row, 'test_holes')}"
    )


def _notes(scope: Any) -> list[str]:
    facts = scope.summary
    rates = scope.scope_rates["source"]
    own = int(rates.eq("settings").sum())
    said = [f"Rates: {int(rates.eq('estimate, no source').sum())} of {len(rates)} are defaults: estimates, no source;"
            f" {own} are yours (settings, part scope.rates)"]  # fmt: skip
    if not facts["surfaces"]:
        said.append("Surfaces: not known, the records have no layer surfaces; closures are not known, not none")
    if facts["gone_lines"]:
        said.append(f"{facts['gone_lines']} lines in the area are proposed or removed by their records: not counted")
    said.append(
        f"Records: {facts['features_in']} in = {facts['used']} used ({facts['repaired']} of them repaired)"
        f" + {facts['set_aside']} set aside"
    )
    if scope.equipment is not None:
        said.append(f"Equipment: {equipment_note(scope.equipment)}")
    return said


def _three(row: Mapping[str, Any], what: str) -> str:
    return _joined([row[f"{what}_{tier}"] for tier in ("low", "likely", "high")])


def _joined(values: Sequence[Any]) -> str:
    return "not known" if any(pd.isna(value) for value in values) else " / ".join(f"{value:g}" for value in values)
