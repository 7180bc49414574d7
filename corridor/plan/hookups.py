"""Candidate hook-ups: every access point and induction spot of the targets, each with what the gate says of it."""

import difflib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import MultiPolygon, Polygon

from corridor.errors import HookUpError, InputError
from corridor.frames import stamp, table_frame
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.plan.gate import Decision, Status, Tie, gate
from corridor.plan.places import STAKE_CLEARANCE_M, induction_spots, stake_places
from corridor.plan.ties import hazard_ties
from corridor.settings import Equipment, Settings
from corridor.site.model import Site
from corridor.tone.hookup import HookUp

__all__ = ["find_hookups", "nearest_ids", "select_hookup"]

Row = dict[str, Any]
_Obstacle = tuple[Status, str] | None  # the status it gives, and why


@dataclass(frozen=True)
class _Way:
    """One mode: what the equipment needs for it, and whether it needs a ground stake."""

    mode: Literal["direct", "clamp", "induction"]
    obstacle: Callable[[Row, Equipment], _Obstacle]
    stake: bool = False


_GONE = ("proposed", "removed")
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
        If a target isn't in the records, or ids or geometries of the lines can't be used.
    CrsError
        If the CRS of the lines is missing or not in metres.
    """
    existing = site.lines[~site.lines["status"].isin(_GONE).to_numpy()]
    conductors = existing[(existing["conductive"] == "yes").to_numpy()].sort_values("line_id", kind="stable")
    targets = conductors if lines is None else conductors[conductors["line_id"].isin(_known(lines, site))]
    joined = network or build_network(site, bonds_found, settings=settings)
    ties = hazard_ties(existing, bonds_found, joined.links, targets=targets["line_id"])
    places = [*_at_terminations(site, targets), *_on_the_surface(targets, conductors, settings)]
    if area is not None:
        shapely.prepare(area)
        places = [place for place in places if shapely.covers(area, place["geometry"])]
    rows = [_decided(place, ties[place["line"]["line_id"]], equipment, settings) for place in places]
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


def _known(lines: Iterable[str], site: Site) -> list[str]:
    wanted = [str(line) for line in lines]
    known = set(site.lines["line_id"])
    for line in wanted:
        if line not in known:
            near = ", ".join(nearest_ids(line, known)) or "none"
            message = f"expected the line_id of a recorded line, got {line!r}; the nearest are {near}"
            raise InputError(message)
    return wanted


def _at_terminations(site: Site, targets: gpd.GeoDataFrame) -> Iterator[Row]:
    """Direct and clamp places where a target meets a structure."""
    line_of = {row["line_id"]: row for row in targets.to_dict("records")}
    structure_of = {row["structure_id"]: row for row in site.structures.to_dict("records")}
    taken: Counter[str] = Counter()
    order = site.terminations.sort_values(["line_id", "structure_id", "at"], kind="stable")
    for termination in order.to_dict("records"):
        line, structure = line_of.get(termination["line_id"]), structure_of.get(termination["structure_id"])
        if line is None or structure is None:  # the site room reports references that lead nowhere
            continue
        shape = line["geometry"]
        ends = {"start": 0.0, "end": shape.length}
        at_m = ends.get(termination["at"])
        at_m = shape.project(structure["geometry"]) if at_m is None else at_m
        for way in _AT_STRUCTURES:
            name = HookUp(way.mode, str(line["line_id"]), str(structure["structure_id"])).hookup_id
            taken[name] += 1  # both ends of a line may meet one structure: they are different hook-ups
            yield {
                "hookup_id": name if taken[name] == 1 else f"{name}:{taken[name]}",
                "way": way,
                "line": line,
                "termination": termination,
                "structure": structure,
                "at_m": at_m,
                "geometry": shape.interpolate(at_m),
            }


def _on_the_surface(targets: gpd.GeoDataFrame, conductors: gpd.GeoDataFrame, settings: Settings) -> Iterator[Row]:
    """Induction spots; they touch nothing and need no structure."""
    line_of = {row["line_id"]: row for row in targets.to_dict("records")}
    for line_id, at_m in induction_spots(targets, conductors, spacing_m=settings.hookups.induction_spacing_m):
        line = line_of[line_id]
        yield {
            "hookup_id": HookUp(_ON_THE_SURFACE.mode, line_id, at_m=at_m).hookup_id,
            "way": _ON_THE_SURFACE,
            "line": line,
            "termination": None,
            "structure": None,
            "at_m": at_m,
            "geometry": line["geometry"].interpolate(at_m),
        }


def _decided(place: Row, ties: Sequence[Tie], equipment: Equipment, settings: Settings) -> Row:
    """One row of the table, with the gate's word; what the equipment can't do is refused after what is dangerous."""
    line, structure, way = place["line"], place["structure"], place["way"]
    decision = gate(line, place["termination"], structure, way.mode, bonded_to=ties, settings=settings.gate)
    obstacle = way.obstacle(line, equipment)
    if obstacle and decision.ready != "refused":
        status, why = obstacle
        missing = (*decision.missing, why) if status == "not_ready" else (why,)
        decision = Decision(status, missing, "equipment", f"equipment: {equipment.name} must fit", decision.caution)
    return {
        "hookup_id": place["hookup_id"],
        "structure_id": None if structure is None else structure["structure_id"],
        "line_id": line["line_id"],
        "mode": way.mode,
        "at_m": place["at_m"],
        "ready": decision.ready,
        "missing": "; ".join(decision.missing),
        "reason": decision.reason,
        "equipment": f"{equipment.name} (generic equipment)" if equipment.generic else equipment.name,
        "caution": decision.caution,
        "permit_by": decision.permit_by,
        "geometry": place["geometry"],
        "shape": line["geometry"],
        "stake": way.stake,
    }


def _always(_line: Row, _equipment: Equipment) -> _Obstacle:
    return None


def _clamp_fits(line: Row, equipment: Equipment) -> _Obstacle:
    if equipment.clamp is None:
        return "refused", "the equipment has no clamp"
    diameter, limit = line["diameter_mm"], equipment.clamp.max_diameter_mm
    if pd.isna(diameter):
        return "not_ready", f"the diameter of {line['line_id']}, to see whether the clamp fits"
    return ("refused", f"the clamp takes {limit:g} mm, the line measures {diameter:g} mm") if diameter > limit else None


def _loop_there(_line: Row, equipment: Equipment) -> _Obstacle:
    return None if equipment.loop else ("refused", "the equipment has no induction loop")


_AT_STRUCTURES = (_Way("direct", _always, stake=True), _Way("clamp", _clamp_fits))
_ON_THE_SURFACE = _Way("induction", _loop_there)


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
    for row, (x, y), clear in zip(direct, xy, clearance, strict=True):
        if clear >= STAKE_CLEARANCE_M:
            row["stake_x_m"], row["stake_y_m"] = float(x), float(y)
        elif row["ready"] == "ready":
            row.update(ready="not_ready", missing=_NO_PLACE, reason=f"stake_clearance: {_NO_PLACE} comes first")
        elif row["ready"] == "not_ready":
            row["missing"] += f"; {_NO_PLACE}"


def _columns(rows: list[Row]) -> dict[str, list[Any]]:
    names = (
        "hookup_id", "structure_id", "line_id", "mode", "at_m", "ready", "missing", "reason", "equipment",
        "stake_x_m", "stake_y_m", "caution", "permit_by",
    )  # fmt: skip
    return {name: [row.get(name) for row in rows] for name in names}
