"""The engine over a large area: windows one by one, or a sample of them, graded by the recommended hook-ups."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numba
from shapely import MultiPolygon, Polygon
from threadpoolctl import threadpool_limits

from corridor.couplings import find_crossings, find_parallel_runs
from corridor.dictionary import GONE
from corridor.errors import EquipmentError
from corridor.frames import empty_table
from corridor.plan.prepare import SECTION_GUESS_M, connect
from corridor.plan.too_long import refuse_too_long
from corridor.plan.windows import Extent, Window, joined_tables, review_window, split_windows
from corridor.settings import Equipment, ScopeSettings, Settings
from corridor.site import Site
from corridor.threads import worked
from corridor.tone.budget import memory_limit_mb, memory_mb

__all__ = ["Solved", "only_geometry", "scope_equipment", "scope_solver", "solve_windows"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Solved:
    """What the engine says of an area, and how lines meet in it.

    ``extents`` has one for each window solved; ``windows`` counts them all. ``frequencies_hz`` is empty where nothing
    was solved.
    """

    parallel_runs: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    strategy: gpd.GeoDataFrame
    extents: tuple[Extent, ...] = ()
    windows: int = 0
    frequencies_hz: tuple[float, ...] = ()


def only_geometry(site: Site, *, area: Polygon | MultiPolygon, settings: Settings) -> Solved:
    """Return how the lines in and beside an area meet; nothing is solved.

    Parameters
    ----------
    site : Site
    area : Polygon or MultiPolygon
    settings : Settings
        Limits of parallel runs.
    """
    limits = settings.couplings
    near = site.lines[site.lines.intersects(area.buffer(limits.max_separation_m)).to_numpy()]
    runs = find_parallel_runs(
        near, max_separation_m=limits.max_separation_m, max_angle_deg=limits.max_angle_deg,
        min_length_m=limits.min_length_m,
    )  # fmt: skip
    return Solved(runs, find_crossings(near), empty_table("strategy", site.crs))


def solve_windows(
    site: Site,
    *,
    area: Polygon | MultiPolygon,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None = None,
) -> Solved:
    """Grade every line in an area by the hook-ups recommended for it, window by window.

    Each window is solved in all cases, with its own set-ups chosen as in a review; only its strategy is kept, so that
    memory holds one window a thread. Where memory or ``solver.workers`` don't allow so many, one at a time.

    Parameters
    ----------
    site : Site
    area : Polygon or MultiPolygon
        Where lines are wanted.
    equipment : Equipment
        Its frequencies are those nearest to ``settings.scope.near_hz``.
    settings : Settings
        Part ``scope``: section lengths, growth, most windows.
    progress : callable, optional
        Called with (step, done, total).

    Raises
    ------
    EquipmentError
        If transmitter and receiver share no frequency.
    DomainError
        If a line alone makes more sections than memory holds.
    """
    few, coarse = scope_equipment(equipment, settings.scope), scope_solver(settings)
    there = site.lines[~site.lines["status"].isin(GONE).to_numpy()]
    wanted = there.loc[there.intersects(area).to_numpy(), "line_id"].tolist()
    if settings.scope.windows_most is None:  # of a sample nobody knows yet what is in it
        refuse_too_long(site.lines, wanted, area=area, equipment=few, settings=coarse)
    connected = connect(site, equipment=few, settings=coarse, lines=wanted, area=area)
    hookups, laid = connected.hookups, set(connected.network.spans["line_id"])
    ready = hookups[(hookups["ready"].eq("ready") & hookups["line_id"].isin(laid)).to_numpy()]
    windows = split_windows(connected, ready, wanted, settings=coarse)
    chosen = _sample(windows, settings.scope.windows_most)
    fed = {line_id for window in windows for line_id in window.lines}
    rest = sorted(set(wanted) - fed)
    asked = [*chosen, Window(tuple(rest), ())] if rest else chosen
    together = _together(len(asked), coarse)
    own = _of_one(coarse, together)

    def graded(window: Window) -> tuple[gpd.GeoDataFrame, Extent | None]:
        tables = review_window(
            connected, ready.iloc[list(window.rows)], window.lines, area=area, equipment=few, settings=own,
            progress=None, told=False,
        )  # fmt: skip
        return tables.strategy, tables.extent

    order = _longest_first(asked, site)
    queue = [asked[place] for place in order]
    found: dict[int, tuple[gpd.GeoDataFrame, Extent | None]] = {}
    if progress is not None:
        progress("windows", 0, len(asked))
    with threadpool_limits(1, user_api="blas"):  # its threads and the compiled loops' would wait for each other
        for place, result in zip(order, worked(graded, queue) if together > 1 else map(graded, queue), strict=True):
            found[place] = result
            if progress is not None:
                progress("windows", len(found), len(asked))
    strategies = [found[place][0] for place in range(len(asked))]
    extents = tuple(extent for place in range(len(asked)) if (extent := found[place][1]) is not None)
    strategy = joined_tables(strategies) if strategies else empty_table("strategy", site.crs)
    return Solved(
        connected.couplings.parallel_runs, connected.couplings.crossings, strategy, extents, len(windows),
        few.common_frequencies_hz if extents else (),
    )  # fmt: skip


def _longest_first(windows: list[Window], site: Site) -> list[int]:
    """Return the places of the windows, those with most metres of line first: no thread is left with a long one."""
    length_m = dict(zip(site.lines["line_id"], site.lines.length, strict=True))
    total_m = [sum(length_m[line_id] for line_id in window.lines) for window in windows]
    return sorted(range(len(windows)), key=lambda place: -total_m[place])


def _together(windows: int, settings: Settings) -> int:
    """Return how many windows are solved at once: no more frequencies than the settings allow, nor memory."""
    solver = settings.solver
    threads = numba.get_num_threads()
    if min(windows, solver.workers) < threads:
        return 1
    sections = math.ceil(solver.section_limit * SECTION_GUESS_M / max(solver.section_close_m, SECTION_GUESS_M))
    each_mb = memory_mb(sections, solver, workers=solver.workers // threads)
    return threads if threads * each_mb <= memory_limit_mb(solver) else 1


def _of_one(settings: Settings, together: int) -> Settings:
    workers = settings.solver.workers // together
    return settings.model_copy(update={"solver": settings.solver.model_copy(update={"workers": workers})})


def _sample(windows: list[Window], most: int | None) -> list[Window]:
    """Return so many windows, spread evenly over their order, which follows the place."""
    if most is None or most >= len(windows):
        return windows
    rows = sorted({math.floor((k + 0.5) * len(windows) / most) for k in range(most)})
    return [windows[row] for row in rows]


def scope_equipment(equipment: Equipment, scope: ScopeSettings) -> Equipment:
    """Return the equipment with the shared frequencies nearest, by ratio, to those that a scope is solved at.

    Raises
    ------
    EquipmentError
        If transmitter and receiver share no frequency.
    """
    shared = equipment.common_frequencies_hz
    if not shared:
        message = f"expected a frequency that transmitter and receiver share, got none in equipment {equipment.name}"
        raise EquipmentError(message)
    near = {_nearest(shared, asked) for asked in scope.near_hz}
    return equipment.model_copy(update={"frequencies_hz": tuple(sorted(near)) or shared})


def _nearest(shared: tuple[float, ...], asked_hz: float) -> float:
    return min(shared, key=lambda own: (abs(math.log(own / asked_hz)), own))


def scope_solver(settings: Settings) -> Settings:
    """Return the settings with the solver's lengths, growth and limits replaced by those of a scope."""
    scope = settings.scope
    solver = settings.solver.model_copy(
        update={
            "section_max_m": scope.section_max_m,
            "section_close_m": scope.section_close_m,
            "gamma_step": scope.gamma_step,
            "section_limit": scope.section_limit,
            "compressed_limit": 0,
            "growth_step_m": scope.growth_m,
            "growth_max_m": scope.growth_m,
        }
    )
    return settings.model_copy(update={"solver": solver})
