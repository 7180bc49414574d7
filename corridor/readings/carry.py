"""The site with what the readings say carried into its records, so that the plan can be made again on it.

Nothing is cleared by it: what counts as energized, and every tie that the hazard gate knows, stays at least as strict
as before. A bond or ground on record as certain keeps its state, and readings are told in the notes only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely import Point, box

from corridor.frames import table_frame
from corridor.readings.causes import Suspect
from corridor.site.model import Site
from corridor.tone.model import SoilRange

__all__ = ["carried"]

FROM = 0.2  # probability from which an unrecorded bond is carried as suspected
GROUND_FROM = 0.5  # a ground in the records is taken as there
MOVED = 0.05  # a probability that changes by less is left as it is
AROUND_M = 50.0  # soil where the records have none reaches so far beyond the lines
KNOWN = ("recorded", "observed", "measured")


def carried(
    site: Site,
    bonds_found: gpd.GeoDataFrame,
    suspects: Sequence[Suspect],
    probability: Sequence[float],
    *,
    soil: SoilRange,
    soil_factor: tuple[float, float, float],
) -> tuple[Site, list[str]]:
    """Return the site with other probabilities of bonds, suspected bonds and grounds, and the soil; and what was done.

    Parameters
    ----------
    site : Site
        The records.
    bonds_found : GeoDataFrame
        Bonds recorded, inferred and suspected, of this site.
    suspects : sequence of Suspect
        The causes.
    probability : sequence of float
        Of each, after the readings.
    soil : SoilRange
        What the network was solved with.
    soil_factor : tuple of three floats
        5 %, median and 95 % of the factor on it.

    Returns
    -------
    tuple of (Site, list of str)
    """
    known = {str(row["bond_id"]): row for row in bonds_found.to_dict("records")}
    bonds, grounds, notes = [], [], []
    for suspect, chance in zip(suspects, probability, strict=True):
        if suspect.kind in ("bond_open", "bond_conducts") and str(suspect.source_id) in known:
            row, note = _bond(known[str(suspect.source_id)], suspect, chance)
        elif suspect.kind == "hidden_bond" and chance >= FROM:
            row, note = _hidden(suspect, chance), f"{suspect.cause_id}: a suspected bond of probability {chance:.2f}"
        elif suspect.kind == "hidden_ground" and chance >= GROUND_FROM:
            grounds.append(_ground(suspect))
            notes.append(f"{suspect.cause_id}: a suspected ground")
            continue
        else:
            if chance >= GROUND_FROM:
                notes.append(
                    f"{suspect.cause_id} ({chance:.2f}) can't be carried into the records: check it on site first"
                )
            continue
        bonds += [row] if row is not None else []
        notes += [note] if note else []
    changed = replace(
        site,
        bonds=_with_rows(site.bonds, "bonds", bonds, "bond_id"),
        grounds=_with_rows(site.grounds, "grounds", grounds, "ground_id"),
        soil=_soil(site, soil, soil_factor),
    )
    notes.append(f"soil: {soil.nominal_ohm_m * soil_factor[1]:.0f} ohm m in place of {soil.nominal_ohm_m:.0f}")
    return changed, notes


def _bond(row: dict[str, Any], suspect: Suspect, chance: float) -> tuple[dict[str, Any] | None, str]:
    """Return the row that tells another probability, or None where it stays as it is, and what is said of it."""
    conducts = 1.0 - chance if suspect.kind == "bond_open" else chance
    name = str(row["bond_id"])
    if row["evidence"] in KNOWN and row["state"] == "closed":
        told = f"bond {name} is recorded as closed and stays so; probability that it doesn't conduct {chance:.2f}"
        return None, told if chance >= FROM else ""
    if row["evidence"] in KNOWN and row["state"] == "open":
        if chance < FROM:
            return None, ""
        return _hidden(suspect, chance), f"bond {name} is recorded as open; a suspected one beside it, {chance:.2f}"
    if abs(conducts - float(row["probability"])) < MOVED:
        return None, ""
    names = ("bond_id", "line_a", "line_b", "structure_id", "kind", "resistance_ohm", "evidence", "geometry")
    kept = {column: row[column] for column in names}
    return kept | {"state": "unknown", "probability": conducts}, f"bond {name}: probability {conducts:.2f}"


def _hidden(suspect: Suspect, chance: float) -> dict[str, Any]:
    return {
        "bond_id": f"readings~{suspect.cause_id}",
        "line_a": suspect.line_a,
        "line_b": suspect.line_b,
        "structure_id": None,
        "kind": "contact",
        "state": "unknown",
        "resistance_ohm": None,
        "evidence": "suspected",
        "probability": chance,
        "geometry": Point(suspect.xy_m),
    }


def _ground(suspect: Suspect) -> dict[str, Any]:
    return {
        "ground_id": f"readings~{suspect.cause_id}",
        "line_id": suspect.line_a,
        "resistance_ohm": None,
        "evidence": "suspected",
        "geometry": Point(suspect.xy_m),
    }


def _with_rows(frame: gpd.GeoDataFrame, table: str, rows: list[dict[str, Any]], key: str) -> gpd.GeoDataFrame:
    """Return a table with rows put in the place of those of the same id, or behind."""
    if not rows:
        return frame
    shapes = [row["geometry"] for row in rows]
    plain = [{name: value for name, value in row.items() if name != "geometry"} for row in rows]
    new = table_frame(table, plain, geometry=shapes, crs=frame.crs)
    new[key] = [row[key] for row in rows]
    old = frame[~frame[key].isin(new[key])]
    if old.empty:
        return new
    more = [name for name in old.columns if name not in new]
    new = new.reindex(columns=[*old.columns]) if more else new[list(old.columns)]
    merged = pd.concat([old.astype(object), new.astype(object)], ignore_index=True)
    typed = table_frame(
        table, pd.DataFrame(merged.drop(columns="geometry")), geometry=merged["geometry"], crs=frame.crs
    )
    return typed[list(old.columns)].set_geometry("geometry")


def _soil(site: Site, soil: SoilRange, factor: tuple[float, float, float]) -> gpd.GeoDataFrame:
    """Return the soil times the factor, its range that of the readings."""
    low, middle, high = factor
    if site.soil.empty:
        row = {
            "resistivity_ohm_m": soil.nominal_ohm_m * middle,
            "low_ohm_m": soil.nominal_ohm_m * low,
            "high_ohm_m": soil.nominal_ohm_m * high,
        }
        around = box(*site.lines.total_bounds).buffer(AROUND_M, join_style="mitre")
        return table_frame("soil", [row], geometry=[around], crs=site.crs)
    changed = site.soil.copy()
    nominal = changed["resistivity_ohm_m"]
    changed["low_ohm_m"], changed["high_ohm_m"] = nominal * low, nominal * high
    changed["lower_resistivity_ohm_m"] = changed["lower_resistivity_ohm_m"] * middle
    changed["resistivity_ohm_m"] = nominal * middle
    return changed
