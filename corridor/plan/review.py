"""``review``: every hook-up of a work area graded at every frequency and case, and the best of them per stretch."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
from shapely import MultiPolygon, Polygon
from threadpoolctl import threadpool_limits

from corridor.dictionary import GONE
from corridor.errors import EquipmentError, InputError
from corridor.frames import stamp
from corridor.network.groups import bonded_groups
from corridor.network.isolations import isolations
from corridor.plan.facts import review_facts
from corridor.plan.hookups import known_lines
from corridor.plan.prepare import connect
from corridor.plan.windows import Window, joined_tables, review_window, split_windows
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site

__all__ = ["Review", "review_site"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Review:
    """Everything for the desk review of one work area: tables of the data dictionary, and a summary as plain data."""

    strategy: gpd.GeoDataFrame
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
    summary: dict[str, Any]
    settings: Settings
    equipment: Equipment
    site: Site


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
    """Grade every ready hook-up on every target in the work area, and choose per stretch.

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
    """
    equipment, settings = equipment or load_equipment(None), settings or Settings()
    frequencies = equipment.common_frequencies_hz
    if not frequencies:
        message = f"expected a frequency that transmitter and receiver share, got none in equipment {equipment.name}"
        raise EquipmentError(message)
    area = _area(site, everything=everything)
    wanted = _targets(site, area, targets, target_utility)
    connected = connect(site, equipment=equipment, settings=settings, lines=wanted, area=area)
    hookups, couplings = connected.hookups, connected.couplings
    ready = hookups[(hookups["ready"] == "ready") & hookups["line_id"].isin(set(connected.network.spans["line_id"]))]
    windows = split_windows(connected, ready, wanted, settings=settings)
    rest = sorted(set(wanted) - {line_id for window in windows for line_id in window.lines})
    if rest or not windows:
        windows.append(Window(tuple(rest), ()))
    with threadpool_limits(1, user_api="blas"):  # its threads and the compiled loops' would wait for each other
        found = [
            review_window(
                connected,
                ready.iloc[list(window.rows)],
                window.lines,
                area=area,
                equipment=equipment,
                settings=settings,
                progress=_within(progress, number, len(windows)),
            )
            for number, window in enumerate(windows, start=1)
        ]
    strategy = joined_tables([part.strategy for part in found])
    strategy = strategy.sort_values(["line_id", "from_m"], kind="stable", ignore_index=True)
    paths = joined_tables([part.bleed_paths for part in found])
    extents = [part.extent for part in found if part.extent is not None]
    return Review(
        strategy=stamp(strategy, review_site, equipment=equipment.name, frequencies_hz=list(frequencies)),
        findings=site.findings,
        parallel_runs=couplings.parallel_runs,
        crossings=couplings.crossings,
        bonds_found=couplings.bonds_found,
        bonded_groups=bonded_groups(site, bonds_found=couplings.bonds_found, settings=settings),
        isolations=isolations(site),
        hookups=hookups,
        sections=joined_tables([part.sections for part in found]),
        stations=joined_tables([part.stations for part in found]),
        bleed_paths=paths,
        summary=review_facts(site, hookups, strategy, paths, extents=extents, frequencies_hz=frequencies, area=area),
        settings=settings,
        equipment=equipment,
        site=site,
    )


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
