"""Candidate hook-ups: every access point and induction spot of the targets, each with what the gate says of it."""

import difflib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import MultiPolygon, Polygon

from corridor.couplings import conducts
from corridor.dictionary import GONE
from corridor.errors import HookUpError, InputError
from corridor.frames import stamp, table_frame
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.plan.candidates import candidate_places
from corridor.plan.gate import Decision, Status, Tie, gate
from corridor.plan.places import STAKE_CLEARANCE_M, bearing_and_distance, stake_places
from corridor.plan.ties import hazard_ties
from corridor.plan.variants import owner_variants, returned_variants
from corridor.settings import Equipment, Settings
from corridor.site.model import Site
from corridor.tone.hookup import HookUp

__all__ = ["find_hookups", "known_lines", "nearest_ids", "select_hookup"]

Row = dict[str, Any]
_Obstacle = tuple[Status, str] | None  # the status it gives, and why


_STAKED = frozenset({"direct"})  # modes that need a ground stake
_NO_PLACE = f"a place for the ground stake at least {STAKE_CLEARANCE_M:g} m from recorded lines"


def find_hookups(
    site: Site,
    bonds_found: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
    network: Network | None = None,
    lines: Iterable[str] | None = None,
    area: Polygon | MultiPolygon | None = None,
) -> gpd.GeoDataFrame:
    """Find the ways to put tone on lines, and let the hazard gate decide on each.

    The places come from the extension point ``corridor.hookups``: the three modes, and what plug-ins add to them.

    Parameters
    ----------
    site : Site
        The records.
    bonds_found : GeoDataFrame
        Bonds recorded, inferred and suspected.
    equipment : Equipment
        What can be connected.
    settings : Settings
        Distances of hook-ups, and who may do what the gate refuses.
    network : Network, optional
        Its junctions tell which lines are joined by metal; built from the site where left out.
    lines : iterable of str, optional
        line_id of the targets; default every conductive line.
    area : Polygon or MultiPolygon, optional
        Keep only hook-ups in here.

    Returns
    -------
    GeoDataFrame
        Table ``hookups``, a point on the line each, ordered by line, then mode, then distance along the line. Lines
        that don't conduct, and those proposed or removed, have none. Refused hook-ups stay, with their reason. Added
        columns: ``caution`` and ``permit_by`` (who the settings name). Only direct connections have a stake.

    Raises
    ------
    InputError
        If a target isn't in the records, ids or geometries of the lines can't be used, or a plug-in fails.
    CrsError
        If the CRS of the lines is missing or not in metres.
    """
    existing = site.lines[~site.lines["status"].isin(GONE).to_numpy()]
    conductors = existing[conducts(existing)].sort_values("line_id", kind="stable")
    targets = conductors if lines is None else conductors[conductors["line_id"].isin(known_lines(lines, site))]
    joined = network or build_network(site, bonds_found, settings=settings)
    ties = hazard_ties(existing, bonds_found, joined.links, targets=targets["line_id"])
    places = list(_placed(site, targets, settings))
    if area is not None:
        shapely.prepare(area)
        places = [place for place in places if shapely.covers(area, place["geometry"])]
    rows = [_decided(place, ties[place["line"]["line_id"]], equipment, settings) for place in places]
    rows += returned_variants(rows, settings=settings.hookups)
    if settings.hookups.allow_owner_changes:
        rows += owner_variants(rows, joined, bonds_found)
    _set_stakes(rows, existing.geometry.to_numpy(), equipment=equipment, settings=settings)
    rows.sort(key=lambda row: (row["line_id"], row["mode"], row["at_m"], row["hookup_id"]))
    frame = table_frame("hookups", _columns(rows), geometry=[row["geometry"] for row in rows], crs=site.crs)
    return stamp(frame, find_hookups, equipment=equipment.name, hookups=settings.hookups.model_dump())


def nearest_ids(wanted: str, ids: Iterable[str], *, n: int = 3) -> list[str]:
    """Return the ``n`` ids most like the wanted one, best first."""
    return difflib.get_close_matches(wanted, sorted(set(map(str, ids))), n=n, cutoff=0.0)


def select_hookup(hookups: gpd.GeoDataFrame, hookup_id: str) -> pd.Series:
    """Return the row of one hook-up.

    Parameters
    ----------
    hookups : GeoDataFrame
        As `find_hookups` returns it.
    hookup_id : str
        The one wanted.

    Returns
    -------
    Series
        Its row.

    Raises
    ------
    HookUpError
        If there is no such hook-up; the message names the three nearest ids.
    """
    rows = hookups[(hookups["hookup_id"] == str(hookup_id)).to_numpy()]
    if len(rows):
        return rows.iloc[0]
    near = ", ".join(nearest_ids(str(hookup_id), hookups["hookup_id"])) or "none: the lines asked for have no hook-up"
    message = f"expected the id of a hook-up, got {hookup_id!r}; the nearest are {near}"
    raise HookUpError(message)


def known_lines(lines: Iterable[str], site: Site) -> list[str]:
    """Return line_ids as text, all of them in the records.

    Raises
    ------
    InputError
        If one isn't; the message names the three nearest.
    """
    wanted = [str(line) for line in lines]
    known = set(site.lines["line_id"])
    for line in wanted:
        if line not in known:
            near = ", ".join(nearest_ids(line, known)) or "none"
            message = f"expected the line_id of a recorded line, got {line!r}; the nearest are {near}"
            raise InputError(message)
    return wanted


def _placed(site: Site, targets: gpd.GeoDataFrame, settings: Settings) -> Iterator[Row]:
    """Name the places proposed, and put beside each the records that the gate looks at."""
    line_of = {row["line_id"]: row for row in targets.to_dict("records")}
    structure_of = {row["structure_id"]: row for row in site.structures.to_dict("records")}
    terminations: defaultdict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in site.terminations.to_dict("records"):
        terminations[row["line_id"], row["structure_id"]].append(row)
    taken: Counter[str] = Counter()
    for place in candidate_places(site, targets, settings=settings):
        line, structure = line_of[place["line_id"]], structure_of.get(place["structure_id"])
        stated = terminations[place["line_id"], place["structure_id"]] if structure else []
        fitting: list[Row | None] = [row for row in stated if place["at"] in (None, row["at"])]
        for termination in fitting or [None]:
            hookup = HookUp(place["mode"], line["line_id"], place["structure_id"], at_m=place["at_m"])
            name = hookup.hookup_id
            taken[name] += 1
            yield {
                **place,
                "hookup_id": name if taken[name] == 1 else f"{name}:{taken[name]}",
                "line": line,
                "termination": termination,
                "structure": structure,
                "geometry": line["geometry"].interpolate(place["at_m"]),
            }


def _decided(place: Row, ties: Sequence[Tie], equipment: Equipment, settings: Settings) -> Row:
    """One row of the table, with the gate's word; what the equipment can't do is refused after what is dangerous."""
    line, structure, mode = place["line"], place["structure"], place["mode"]
    decision = gate(line, place["termination"], structure, mode, bonded_to=ties, settings=settings.gate)
    obstacle = _OBSTACLES[mode](line, equipment)
    if obstacle and decision.ready != "refused":
        status, why = obstacle
        missing = (*decision.missing, why) if status == "not_ready" else (why,)
        decision = Decision(status, missing, "equipment", f"equipment: {equipment.name} must fit", decision.caution)
    if place["missing"] and decision.ready != "refused":
        missing = (*decision.missing, str(place["missing"]))
        reason = decision.reason if decision.ready == "not_ready" else f"source: {place['missing']} comes first"
        decision = replace(decision, ready="not_ready", missing=missing, reason=reason)
    return {
        "hookup_id": place["hookup_id"],
        "structure_id": None if structure is None else structure["structure_id"],
        "line_id": line["line_id"],
        "mode": mode,
        "at_m": place["at_m"],
        "ready": decision.ready,
        "missing": "; ".join(decision.missing),
        "reason": decision.reason,
        "equipment": f"{equipment.name} (generic equipment)" if equipment.generic else equipment.name,
        "caution": decision.caution,
        "permit_by": decision.permit_by,
        "geometry": place["geometry"],
        "line": line,
        "shape": line["geometry"],
        "stake": mode in _STAKED,
        "far_end": "open" if mode in _STAKED else None,
    }


def _always(_line: Row, _equipment: Equipment) -> _Obstacle:
    return None


def _clamp_fits(line: Row, equipment: Equipment) -> _Obstacle:
    if equipment.clamp is None:
        return "refused", "the equipment has no clamp"
    diameter, limit = line["diameter_mm"], equipment.clamp.max_diameter_mm
    if pd.isna(diameter):
        return "not_ready", f"the diameter of {line['line_id']}, to see whether the clamp fits"
    if diameter <= limit:
        return None
    takes = f"the clamp takes {limit:g} mm, the line measures {diameter:g} mm"
    if line.get("diameter_mm_src") == "default":
        span = f"range {line['diameter_mm_low']:g} to {line['diameter_mm_high']:g} mm"
        return "not_ready", f"the diameter of {line['line_id']}: {takes} (assumed), {span}"
    return "refused", takes


def _loop_there(_line: Row, equipment: Equipment) -> _Obstacle:
    return None if equipment.loop else ("refused", "the equipment has no induction loop")


# what the equipment needs for each mode
_OBSTACLES: dict[str, Callable[[Row, Equipment], _Obstacle]] = {
    "direct": _always,
    "clamp": _clamp_fits,
    "induction": _loop_there,
}


def _set_stakes(rows: list[Row], obstacles: np.ndarray[Any, Any], *, equipment: Equipment, settings: Settings) -> None:
    """Add the stakes of direct connections; one that has no clear place can't be ready."""
    direct = [row for row in rows if row["stake"]]
    xy, clearance = stake_places(
        np.array([row["shape"] for row in direct], dtype=object),
        np.array([row["at_m"] for row in direct], dtype=float),
        obstacles,
        distance_m=settings.hookups.stake_distance_m,
        lead_m=equipment.stake.lead_m,
    )
    start = shapely.get_coordinates([row["geometry"] for row in direct])
    bearing, distance = bearing_and_distance(start.reshape(-1, 2), xy)
    for number, (row, clear) in enumerate(zip(direct, clearance, strict=True)):
        if clear >= STAKE_CLEARANCE_M:
            row["stake_x_m"], row["stake_y_m"] = xy[number].tolist()
            row["stake_bearing_deg"], row["stake_distance_m"] = float(bearing[number]), float(distance[number])
        elif row["ready"] == "ready":
            row.update(ready="not_ready", missing=_NO_PLACE, reason=f"stake_clearance: {_NO_PLACE} comes first")
        elif row["ready"] == "not_ready":
            row["missing"] += f"; {_NO_PLACE}"


def _columns(rows: list[Row]) -> dict[str, list[Any]]:
    names = (
        "hookup_id", "structure_id", "line_id", "mode", "at_m", "ready", "missing", "reason", "equipment",
        "stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m", "stake_hint", "far_end",
        "owner_change", "opened_bond", "caution", "permit_by",
    )  # fmt: skip
    return {name: [row.get(name) for row in rows] for name in names}
