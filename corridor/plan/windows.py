"""Windows: the targets of a review in groups whose networks fit into memory, each solved on its own.

A window holds some targets, their hook-ups, and the network round them, grown until little leaves it. Windows overlap:
what lies between two of them is solved in both. One window is the whole review where that fits.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corridor.frames import empty_table
from corridor.network.reach import grow
from corridor.plan.chosen import chosen_tables, with_mistaken
from corridor.plan.grading import drives_of, grade_hookups
from corridor.plan.prepare import SECTION_GUESS_M, Connected, Prepared, hookup_of, prepare
from corridor.plan.setups.choice import chosen_levels_a
from corridor.plan.setups.window import WindowPlan, choose_in_window, plan_of
from corridor.plan.stake_choice import choose_stakes, with_stakes
from corridor.plan.strategy import build_strategy
from corridor.plan.what_if import WhatIf, what_if
from corridor.settings import Equipment, Settings
from corridor.tone.cases import cases_of
from corridor.tone.model import SoilRange
from corridor.tone.solve import ToneSolution, solve_tone

__all__ = ["Extent", "Window", "WindowTables", "joined_tables", "review_window", "split_windows"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Window:
    """Targets that are solved together: their line_ids, and positions of their hook-ups in the table of ready ones."""

    lines: tuple[str, ...]
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Extent:
    """How much of the network a window solved: sections, how far, what share leaves, in words, its soil and cases."""

    sections: int
    reach_m: float
    leaving_share: float
    text: str
    soil: SoilRange
    cases: tuple[str, ...] = ()


@dataclass(frozen=True)
class WindowTables:
    """What a window found; ``extent`` and ``what_if`` are None where no hook-up was there to solve."""

    strategy: gpd.GeoDataFrame
    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    bleed_paths: gpd.GeoDataFrame
    extent: Extent | None
    plan: WindowPlan = field(default_factory=WindowPlan)
    what_if: WhatIf | None = None


def split_windows(
    connected: Connected, ready: gpd.GeoDataFrame, targets: Sequence[str], *, settings: Settings
) -> list[Window]:
    """Group targets into windows whose networks stay below the settings' limit of sections.

    Parameters
    ----------
    connected : Connected
        The whole site.
    ready : GeoDataFrame
        Hook-ups that may be used.
    targets : sequence of str
        line_ids; those without a hook-up of their own or next to them are left out.
    settings : Settings
        ``solver.section_limit`` and the first step of the growth.

    Returns
    -------
    list of Window
        By place, from the split of the longer side of the targets' bounds in halves, again and again.
    """
    solver, network = settings.solver, connected.network
    geometry = connected.site.lines.set_index("line_id").geometry
    drives = {
        line_id: drives_of(
            ready, line_id, geometry.loc[line_id], joined=connected.joined.get(line_id, ()), settings=settings
        )
        for line_id in sorted(targets)
    }
    fed = [line_id for line_id, rows in drives.items() if len(rows)]
    if not fed:
        return []
    lengths = network.spans.set_index("span_id").geometry.length
    hooked = ready["line_id"].to_numpy(object)
    middle = np.array([(p.x, p.y) for p in geometry.loc[fed].interpolate(0.5, normalized=True)]).reshape(-1, 2)

    def rows_of(members: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.unique(np.concatenate([drives[fed[k]] for k in members]))

    def fits(members: NDArray[np.int64]) -> bool:
        seeds = sorted({str(name) for name in hooked[rows_of(members)]})
        grown = grow(network, connected.couplings, seeds, distance_m=solver.growth_step_m, graph=connected.reach)
        return bool(lengths.loc[list(grown.spans)].sum() / SECTION_GUESS_M <= solver.section_limit)

    def halves(members: NDArray[np.int64]) -> list[NDArray[np.int64]]:
        if len(members) < 2 or fits(members):
            return [members]
        axis = int(np.ptp(middle[members], axis=0).argmax())
        order = members[np.argsort(middle[members, axis], kind="stable")]
        cut = len(order) // 2
        return halves(order[:cut]) + halves(order[cut:])

    return [
        Window(tuple(sorted(fed[k] for k in members)), tuple(rows_of(members).tolist()))
        for members in halves(np.arange(len(fed)))
    ]


def review_window(
    connected: Connected,
    ready: gpd.GeoDataFrame,
    targets: Sequence[str],
    *,
    area: Polygon | MultiPolygon | None,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None,
    drawn: bool = False,
    told: bool = True,
) -> WindowTables:
    """Solve the hook-ups of one window in every case at every frequency, grade them on its targets, and choose.

    Parameters
    ----------
    connected : Connected
        The whole site.
    ready : GeoDataFrame
        The window's hook-ups; without any its targets are only listed.
    targets : sequence of str
        Its line_ids.
    area : Polygon or MultiPolygon, optional
        The work area.
    equipment, settings
        Frequencies and limits; thresholds.
    progress : callable, optional
        Called with (step, done, total).
    drawn : bool
        Choose set-ups on draws of what the records don't know; else on the cases.
    told : bool
        Trace the chosen hook-ups and keep what all of them do; else sections, stations and bleed paths stay empty,
        ``what_if`` is None, and ``mistaken_for`` rests on the candidates alone.
    """
    shared: dict[str, Any] = {"equipment": equipment, "settings": settings}
    prepared, solution, stakes = None, None, pd.DataFrame()
    if len(ready):
        prepared = _prepared(connected, ready, **shared)
    if drawn and prepared is not None:
        prepared, ready, stakes = _staked(connected, prepared, ready, **shared)
    if prepared is not None:
        solution = solve_tone(
            prepared.model,
            prepared.drives,
            cases_of(prepared.model, mixes=settings.solver.extract_mixes),
            frequencies_hz=equipment.common_frequencies_hz,
            soil=prepared.soil,
            equipment=equipment,
            workers=settings.solver.workers,
            watched=prepared.watched,
            progress=None if progress is None else lambda done, total, what: progress(f"solving {what}", done, total),
        )
        prepared = prepared.looked_at(solution, settings=settings)
    grading = grade_hookups(
        connected.site, ready, solution, lines=targets, joined=connected.joined, area=area, progress=progress, **shared
    )
    candidates, outputs, chosen, ifs = grading.candidates, grading.outputs, None, None
    if prepared is not None and solution is not None and grading.predictions:
        chosen = choose_in_window(
            connected, prepared, ready, solution, grading=grading, area=area, drawn=drawn, progress=progress, **shared
        )
        candidates, outputs = chosen.candidates, chosen.outputs
        if told:
            levels_a, verdicts = chosen_levels_a(chosen.choice), chosen.verdicts
            ifs = what_if(solution, ready, grading=grading, chosen_a=levels_a, verdicts=verdicts, **shared)
    strategy = build_strategy(
        connected.site,
        connected.hookups,
        candidates,
        outputs,
        targets=targets,
        stations=grading.stations,
        area=area,
        settings=settings,
    )
    plan = WindowPlan()
    if chosen is not None and solution is not None:
        strategy, plan = plan_of(chosen, strategy, ready, solution, grading=grading, **shared)
    plan = replace(plan, stakes=stakes)
    extent = None if prepared is None or solution is None else _extent(prepared, solution)
    if not told:
        sections, stations, paths = (
            empty_table(name, connected.site.crs) for name in ("sections", "stations", "bleed_paths")
        )
        return WindowTables(strategy, sections, stations, paths, extent, plan)
    sections, stations, paths = chosen_tables(
        connected.site,
        strategy,
        ready=ready,
        solution=solution,
        grading=grading,
        couplings=connected.couplings,
        area=area,
        settings=settings,
        progress=progress,
    )
    return WindowTables(with_mistaken(strategy, stations), sections, stations, paths, extent, plan, ifs)


def _prepared(connected: Connected, ready: gpd.GeoDataFrame, *, equipment: Equipment, settings: Settings) -> Prepared:
    return prepare(
        connected,
        [hookup_of(row) for _, row in ready.iterrows()],
        ready["hookup_id"].tolist(),
        frequencies_hz=equipment.common_frequencies_hz,
        equipment=equipment,
        settings=settings,
    )


def _staked(
    connected: Connected, prepared: Prepared, ready: gpd.GeoDataFrame, *, equipment: Equipment, settings: Settings
) -> tuple[Prepared | None, gpd.GeoDataFrame, pd.DataFrame]:
    """Choose the places of the stakes by the solution, and prepare anew with them."""
    frequencies, levels = equipment.common_frequencies_hz, sorted(equipment.transmitter.levels_ma)
    stakes = choose_stakes(
        prepared,
        ready,
        connected.site,
        frequencies_hz=frequencies[len(frequencies) // 2 : len(frequencies) // 2 + 1],
        level_ma=levels[len(levels) // 2],
        equipment=equipment,
        settings=settings,
    )
    if stakes.empty:
        return prepared, ready, stakes
    moved = with_stakes(ready, stakes)
    moved = moved[(moved["ready"] == "ready").to_numpy()]
    if moved.empty:
        return None, moved, stakes
    return _prepared(connected, moved, equipment=equipment, settings=settings), moved, stakes


def _extent(prepared: Prepared, solution: ToneSolution) -> Extent:
    return Extent(
        prepared.model.n_sections,
        prepared.reach_m,
        prepared.leaving_share,
        prepared.reach_text(),
        prepared.soil,
        tuple(case.name for case in solution.cases),
    )


def joined_tables(parts: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """Return the rows of all windows as one table."""
    filled = [part for part in parts if len(part)] or list(parts[:1])
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=parts[0].crs)
