"""The set-ups that the strategy chose, in full: sections, stations and bleed paths where each is used."""

from collections.abc import Callable
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.constants import MA_PER_A
from corridor.couplings.model import Couplings
from corridor.plan.grading import Grading
from corridor.plan.outcome import bleed_rows, line_stations
from corridor.settings import Settings
from corridor.site import Site
from corridor.threads import worked
from corridor.tone.solve import ToneSolution
from corridor.tone.tables import Rows, Setting, as_table, section_rows

__all__ = ["ChosenTables", "chosen_tables", "with_mistaken"]

MAIN_SHARE = 0.2  # of many set-ups only the main ways are listed; a trace lists those of one in full
Progress = Callable[[str, int, int], None]
ChosenTables = tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]


def chosen_tables(
    site: Site,
    strategy: gpd.GeoDataFrame,
    *,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution | None,
    grading: Grading,
    couplings: Couplings,
    area: Polygon | MultiPolygon | None,
    settings: Settings,
    progress: Progress | None = None,
) -> ChosenTables:
    """Return sections, stations and bleed paths of the set-ups that a strategy chose.

    Sections and stations are listed once: on the stretches where their set-up is the chosen one. Bleed paths lead
    wherever its tone goes, and are listed once per hook-up and frequency, at the highest level in use.

    Parameters
    ----------
    site : Site
        The records.
    strategy : GeoDataFrame
        Table ``strategy``.
    ready : GeoDataFrame
        Rows of the table ``hookups``, in the order of the solution's drives.
    solution : ToneSolution or None
        None where no hook-up is ready; the tables are empty then.
    grading : Grading
        Its predictions hold the stations.
    couplings : Couplings
        Names for the hops.
    area : Polygon or MultiPolygon, optional
        Sections wholly outside are left out.
    settings : Settings
        Thresholds.
    progress : callable, optional
        Called with (step, done, total).
    """
    sections: list[Rows] = []
    stations: list[Rows] = []
    paths: list[Rows] = []
    chosen = strategy.dropna(subset=["hookup_id", "frequency_hz", "level_ma"])
    if solution is not None and len(chosen):
        column = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
        asked: dict[tuple[float, str], Setting] = {}
        uses = list(chosen.groupby(["hookup_id", "frequency_hz", "level_ma", "line_id"], sort=True))
        for (hookup_id, frequency, level, line_id), stretches in uses:
            setting = Setting(str(hookup_id), column[str(hookup_id)], float(frequency), float(level) / MA_PER_A)
            reaches = list(zip(stretches["from_m"], stretches["to_m"], strict=True))
            along = line_stations(site, solution, grading.predictions[str(line_id)], setting, settings=settings)
            pieces = section_rows(
                solution, setting, lines=site.lines, stations=along.frame, target=str(line_id), only={str(line_id)}
            )
            own = solution.model.sections_of(str(line_id))
            stations.append(along.where(_within(along.frame["station_m"].to_numpy(), reaches)))
            sections.append(pieces.where(_within(solution.model.measure_m[own].mean(axis=1), reaches)))
            asked[setting.frequency_hz, setting.hookup_id] = setting  # levels ascend: the highest stays
        frequencies = sorted({frequency for frequency, _ in asked})
        settled = [
            [setting for _, setting in sorted(asked.items()) if setting.frequency_hz == frequency]
            for frequency in frequencies
        ]
        follow = partial(bleed_rows, solution, couplings=couplings, settings=settings, min_share=MAIN_SHARE)
        for done, ways in enumerate(worked(follow, settled), start=1):
            paths += ways
            if progress is not None:
                progress("following the tone", done, len(frequencies))
    found = as_table("sections", sections, site.crs)
    if area is not None:
        found = found[found.intersects(area)].reset_index(drop=True)
    return found, as_table("stations", stations, site.crs), as_table("bleed_paths", paths, site.crs)


def with_mistaken(strategy: gpd.GeoDataFrame, stations: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Name on each stretch the line a crew would mark instead, from the stations on it."""
    named = stations[stations["mistaken_for"].notna()]
    by_line = dict(list(pd.DataFrame(named[["line_id", "station_m", "mistaken_for"]]).groupby("line_id")))
    result = strategy.copy()
    places = zip(strategy.index, strategy["line_id"], strategy["from_m"], strategy["to_m"], strict=True)
    for index, line_id, from_m, to_m in places:
        if line_id in by_line:
            own = by_line[line_id]
            here = own["mistaken_for"][own["station_m"].between(from_m, to_m)]
            if len(here):
                result.at[index, "mistaken_for"] = here.value_counts().sort_index().idxmax()
    return result


def _within(measure_m: NDArray[np.float64], stretches: list[tuple[float, float]]) -> NDArray[np.bool_]:
    """Tell which measures lie on one of the stretches."""
    inside = np.zeros(len(measure_m), dtype=np.bool_)
    for from_m, to_m in stretches:
        inside |= (measure_m >= from_m) & (measure_m <= to_m)
    return inside
