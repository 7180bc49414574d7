"""``review`` and ``plan``: every hook-up of a work area graded, and the set-ups chosen that show its stretches."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely import MultiPolygon, Polygon
from threadpoolctl import threadpool_limits

from corridor.dictionary import GONE
from corridor.errors import EquipmentError, InputError
from corridor.frames import stamp
from corridor.network.groups import bonded_groups
from corridor.network.isolations import isolations
from corridor.plan.facts import review_facts
from corridor.plan.hookups import known_lines
from corridor.plan.partner_gate import with_partner_gate
from corridor.plan.prepare import Connected, connect
from corridor.plan.setups.arranged import Arranged, arrange
from corridor.plan.stake_choice import with_stakes
from corridor.plan.too_long import refuse_too_long
from corridor.plan.what_if import WhatIf
from corridor.plan.windows import Window, WindowTables, joined_tables, review_window, split_windows
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site

__all__ = ["Plan", "Review", "plan_setups", "review_site"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Review:
    """Everything for the desk review of one work area: tables of the data dictionary, and a summary as plain data.

    ``what_if`` holds, for each window, what every ready hook-up does at every frequency, chosen or not.
    """

    strategy: gpd.GeoDataFrame
    setups: gpd.GeoDataFrame
    expected_readings: gpd.GeoDataFrame
    reading_causes: gpd.GeoDataFrame
    field_checks: gpd.GeoDataFrame
    findings: gpd.GeoDataFrame
    parallel_runs: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    bonds_found: gpd.GeoDataFrame
    bonded_groups: gpd.GeoDataFrame
    isolations: gpd.GeoDataFrame
    hookups: gpd.GeoDataFrame
    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    bleed_paths: gpd.GeoDataFrame
    what_if: tuple[WhatIf, ...]
    summary: dict[str, Any]
    settings: Settings
    equipment: Equipment
    site: Site


@dataclass(frozen=True)
class Plan(Review):
    """A review whose set-ups are chosen on draws of what the records don't know, and what to verify first."""

    verify_first: gpd.GeoDataFrame
    trade_off: gpd.GeoDataFrame


def review_site(
    site: Site,
    *,
    targets: Sequence[str] | None = None,
    target_utility: str | None = None,
    everything: bool = False,
    equipment: Equipment | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Review:
    """Grade every ready hook-up on every target in the work area, and choose the set-ups and the stretches they show.

    Parameters
    ----------
    site : Site
        The records.
    targets : sequence of str, optional
        line_id of the lines wanted; default every line in the work area.
    target_utility : str, optional
        All lines of one utility instead, or beside them.
    everything : bool
        Take all records where there is no work area.
    equipment : Equipment, optional
        The generic standard profile where left out.
    settings : Settings, optional
        Defaults where left out.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Review

    Raises
    ------
    InputError
        If there is no work area and not everything is asked for, or no line lies in it, or a target doesn't exist.
    EquipmentError
        If transmitter and receiver share no frequency.
    DomainError
        If a line alone makes more sections than memory holds, or all that are solved together.
    """
    tables, arranged = _tables(
        site,
        Wanted(targets, target_utility, everything=everything),
        equipment=equipment,
        settings=settings,
        progress=progress,
        drawn=False,
    )
    return Review(**tables, **_of(arranged, Review))


def plan_setups(
    site: Site,
    *,
    targets: Sequence[str] | None = None,
    target_utility: str | None = None,
    everything: bool = False,
    equipment: Equipment | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Plan:
    """Choose the fewest set-ups that show every stretch about as well as any could, whatever the records don't know.

    The choice is made on draws of soil, coatings, depths, positions, grounds, bonds, joints and stakes
    (``settings.draws``), not on the nominal case. Parameters, and what is raised, are those of `review_site`.

    Parameters
    ----------
    site : Site
        The records.
    targets, target_utility, everything
        What is wanted.
    equipment, settings
        Defaults where left out; ``settings.plan`` says how set-ups are chosen and shared out.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        As `review_site`.
    EquipmentError, DomainError
        As `review_site`.
    """
    tables, arranged = _tables(
        site,
        Wanted(targets, target_utility, everything=everything),
        equipment=equipment,
        settings=settings,
        progress=progress,
        drawn=True,
    )
    return Plan(**tables, **_of(arranged, Plan))


@dataclass(frozen=True)
class Wanted:
    """What is wanted: lines by name, by utility, or all of them."""

    targets: Sequence[str] | None
    target_utility: str | None
    everything: bool


def _of(arranged: Arranged, kind: type[Review]) -> dict[str, Any]:
    """Return the tables of a plan that a review or a plan holds."""
    wanted = {field.name for field in fields(kind)} & {field.name for field in fields(arranged)}
    return {name: getattr(arranged, name) for name in wanted - {"strategy"}}


def _tables(
    site: Site,
    scope: Wanted,
    *,
    equipment: Equipment | None,
    settings: Settings | None,
    progress: Progress | None,
    drawn: bool,
) -> tuple[dict[str, Any], Arranged]:
    """Solve all windows, and return the tables that reviews and plans share, and the set-ups in order."""
    equipment, settings = equipment or load_equipment(None), settings or Settings()
    frequencies = equipment.common_frequencies_hz
    if not frequencies:
        message = f"expected a frequency that transmitter and receiver share, got none in equipment {equipment.name}"
        raise EquipmentError(message)
    area = _area(site, everything=scope.everything)
    wanted = _targets(site, area, scope.targets, scope.target_utility)
    refuse_too_long(site.lines, wanted, area=area, equipment=equipment, settings=settings)
    connected = connect(site, equipment=equipment, settings=settings, lines=wanted, area=area)
    couplings = connected.couplings
    found = _solved_windows(
        connected, wanted, area=area, drawn=drawn, equipment=equipment, settings=settings, progress=progress
    )
    verdicts = pd.concat([part.plan.verdicts for part in found], ignore_index=True)
    hookups = with_partner_gate(connected.hookups, verdicts)
    for stakes in (part.plan.stakes for part in found):
        if len(stakes):
            hookups = with_stakes(hookups, stakes)
    strategy = joined_tables([part.strategy for part in found])
    strategy = strategy.sort_values(["line_id", "from_m"], kind="stable", ignore_index=True)
    arranged = arrange(site, strategy, [part.plan for part in found], area=area, settings=settings)
    paths = joined_tables([part.bleed_paths for part in found])
    extents = [part.extent for part in found if part.extent is not None]
    facts = review_facts(
        site, hookups, arranged.strategy, paths, extents=extents, frequencies_hz=frequencies, area=area
    )  # fmt: skip
    maker = plan_setups if drawn else review_site
    return {
        "strategy": stamp(arranged.strategy, maker, equipment=equipment.name, frequencies_hz=list(frequencies)),
        "findings": site.findings,
        "parallel_runs": couplings.parallel_runs,
        "crossings": couplings.crossings,
        "bonds_found": couplings.bonds_found,
        "bonded_groups": bonded_groups(site, bonds_found=couplings.bonds_found, settings=settings),
        "isolations": isolations(site),
        "hookups": hookups,
        "sections": joined_tables([part.sections for part in found]),
        "stations": joined_tables([part.stations for part in found]),
        "bleed_paths": paths,
        "what_if": tuple(part.what_if for part in found if part.what_if is not None),
        "summary": facts | {"plan": arranged.facts},
        "settings": settings,
        "equipment": equipment,
        "site": site,
    }, arranged


def _solved_windows(
    connected: Connected,
    wanted: Sequence[str],
    *,
    area: Polygon | MultiPolygon | None,
    drawn: bool,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None,
) -> list[WindowTables]:
    hookups = connected.hookups
    ready = hookups[(hookups["ready"] == "ready") & hookups["line_id"].isin(set(connected.network.spans["line_id"]))]
    windows = split_windows(connected, ready, wanted, settings=settings)
    rest = sorted(set(wanted) - {line_id for window in windows for line_id in window.lines})
    if rest or not windows:
        windows.append(Window(tuple(rest), ()))
    with threadpool_limits(1, user_api="blas"):  # its threads and the compiled loops' would wait for each other
        return [
            review_window(
                connected,
                ready.iloc[list(window.rows)],
                window.lines,
                area=area,
                equipment=equipment,
                settings=settings,
                progress=_within(progress, number, len(windows)),
                drawn=drawn,
            )
            for number, window in enumerate(windows, start=1)
        ]


def _within(progress: Progress | None, number: int, windows: int) -> Progress | None:
    """Return a progress that names the window, where there are several."""
    if progress is None or windows == 1:
        return progress
    return lambda step, done, total: progress(f"window {number} of {windows}: {step}", done, total)


def _area(site: Site, *, everything: bool) -> Polygon | MultiPolygon | None:
    if not site.work_area.empty:
        return site.work_area.geometry.union_all()
    if not everything:
        message = "no work area in the records: give --work-area FILE, or --everything to take all lines"
        raise InputError(message)
    return None


def _targets(
    site: Site, area: Polygon | MultiPolygon | None, targets: Sequence[str] | None, utility: str | None
) -> list[str]:
    lines = site.lines[~site.lines["status"].isin(GONE)]
    known_lines(targets or (), site)
    inside = lines if area is None else lines[lines.intersects(area)]
    if inside.empty:
        message = "expected lines in the work area, got none: all lie outside; check its place and its CRS"
        raise InputError(message)
    if targets is None and utility is None:
        return inside["line_id"].tolist()
    named = set(targets or ()) | set(inside.loc[inside["utility"] == utility, "line_id"])
    if not named:
        message = f"expected lines of utility {utility!r} in the work area, got none"
        raise InputError(message)
    return sorted(named)
