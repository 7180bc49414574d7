"""Writing what readings say: a folder with the causes, the ranges, and what goes into the next plan."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd

from corridor.frames import CAUTION
from corridor.report.place import RECEIPT_FILE, whole_folder, write_text
from corridor.report.receipt import receipt_metadata
from corridor.report.results import write_results
from corridor.report.text import plain
from corridor.site.corrections import COLUMNS
from corridor.site.csv_cells import safe_cell
from corridor.site.model import Site

__all__ = ["ADDED_FILE", "CORRECTIONS_FILE", "update_lines", "write_update"]

ADDED_FILE = "added.gpkg"
CORRECTIONS_FILE = "corrections.csv"
HEAD = "What explains the readings best (to be checked on site, not facts):"
HEAD_BEFORE = "No reading has a value yet. What may be, before any reading (to be checked on site, not facts):"
SHOWN = 6
WRONG_FROM = 0.5
UNDATED = "undated"


def write_update(update: Any, site: Site, folder: str | Path, *, receipt: Mapping[str, Any]) -> list[str]:
    """Write an update into a folder: results.gpkg, summary.txt, receipt.json, and what goes into the next plan.

    ``added.gpkg`` holds suspected bonds and grounds as layers to be read beside the records, ``corrections.csv`` other
    probabilities of bonds on record; either is there only where there is something in it. Nothing in them makes the
    hazard gate less strict.

    Parameters
    ----------
    update : Update
        What `corridor.apply_readings` returns.
    site : Site
        The records as they were.
    folder : str or Path
        A new or empty folder, or that of an earlier result, which is replaced whole.
    receipt : mapping
        As ``make_receipt`` gives it.

    Returns
    -------
    list of str
        The lines of summary.txt.

    Raises
    ------
    OutputError
        If the folder holds anything that no earlier result put there, or can't be written.
    """
    added = {
        name: rows
        for name, key in (("bonds", "bond_id"), ("grounds", "ground_id"))
        if len(rows := _new_rows(getattr(update.site, name), getattr(site, name), key))
    }
    changed = _changed(update, site)
    files = ["results.gpkg", "summary.txt", RECEIPT_FILE]
    files += [ADDED_FILE] if added else []
    files += [CORRECTIONS_FILE] if changed else []
    full = {**receipt, "files": files}
    lines = update_lines(update, files=files, folder=str(folder))
    tables = {"causes": update.causes, "reading_intervals": update.expected, "readings": update.readings}
    with whole_folder(folder) as made:
        write_results(made / "results.gpkg", tables, metadata=receipt_metadata(full))
        if added:
            write_results(made / ADDED_FILE, added, metadata=receipt_metadata(full))
        if changed:
            write_text(made / CORRECTIONS_FILE, _csv(changed))
        write_text(made / "summary.txt", "\n".join(lines) + "\n")
        write_text(made / RECEIPT_FILE, json.dumps(full, indent=2, sort_keys=True, ensure_ascii=False) + "\n")
    return lines


def update_lines(update: Any, *, files: list[str] | None = None, folder: str = "") -> list[str]:
    """Return what people should know of an update, in a few lines.

    Parameters
    ----------
    update : Update
    files : list of str, optional
        What was written.
    folder : str
        Where.
    """
    causes, table = update.causes, update.expected
    taken = table["used"].eq("yes").any()
    lines = [CAUTION, "", HEAD if taken else HEAD_BEFORE]
    for row in causes.head(SHOWN).to_dict("records"):
        lines.append(f"{row['rank']:>3}. {row['probability']:.0%}  {row['explained']}")
        if row["kind"] != "none":
            lines.append(f"       {row['where_to_look']}")
    first = causes.iloc[0]
    same = causes[(causes["set_id"] == first["set_id"]) & (causes["rank"] > 1)]
    if len(same) and first["set_id"] is not None:
        lines.append(f"These readings can't tell the first from {len(same)} more (set {first['set_id']}).")
    low, middle, high = update.soil_factor
    lines += ["", f"Soil: {middle:.2f} times the recorded resistivity, {low:.2f} to {high:.2f} (90 %)."]
    wrong = table[table["outlier_probability"] > WRONG_FROM]
    lines += [
        f"Read again: {row['kind']} on {row['line_id']}{_at(row['station_m'])}, {row['value']:g} read, "
        f"{row['expected_low']:.3g} to {row['expected_high']:.3g} expected."
        for row in wrong.to_dict("records")
    ]
    counts = table["used"].value_counts()
    lines.append(f"Readings: {int(counts.get('yes', 0))} used, {int(counts.get('predicted', 0))} not taken yet, "
                 f"{int(len(table) - counts.get('yes', 0) - counts.get('predicted', 0))} left out.")  # fmt: skip
    lines += ["", *(f"Note: {note}" for note in update.notes if note != CAUTION)]
    if files:
        lines += ["", f"Written to {folder}: {', '.join(files)}"]
    return [plain(line) for line in lines]


def _at(station_m: float) -> str:
    return "" if station_m != station_m else f" at {station_m:.0f} m"  # noqa: PLR0124 - NaN


def _new_rows(after: gpd.GeoDataFrame, before: gpd.GeoDataFrame, key: str) -> gpd.GeoDataFrame:
    return after[~after[key].isin(before[key])].reset_index(drop=True)


def _changed(update: Any, site: Site) -> list[dict[str, str]]:
    """Return rows of the file of corrections for bonds on record whose probability has changed."""
    before = site.bonds.set_index("bond_id")["probability"] if len(site.bonds) else {}
    dates = [str(value) for value in update.readings["time"].dropna()]
    date = max(dates) if dates else UNDATED
    rows = []
    for row in update.site.bonds.to_dict("records"):
        name, value = row["bond_id"], row["probability"]
        if name in before and value == value and before[name] != value:  # noqa: PLR0124 - NaN
            rows.append({
                "layer": "bonds", "id": str(name), "column": "probability", "value": f"{value:.4f}",
                "source": "readings", "date": date,
            })  # fmt: skip
    return rows


def _csv(rows: list[dict[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: safe_cell(cell) for name, cell in row.items()} for row in rows)
    return text.getvalue()
