"""The plan of one window: set-ups chosen on the cases of a review or the draws of a plan, and what is told of them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import MultiPolygon, Polygon

from corridor.draws import draw, unknowns_of
from corridor.plan.ensemble import Ensemble, ensemble_of_cases, ensemble_of_draws
from corridor.plan.grading import Grading
from corridor.plan.partner_gate import gate_partners
from corridor.plan.prepare import Connected, Prepared
from corridor.plan.setups.checks import field_checks
from corridor.plan.setups.choice import Choice, choose, chosen_candidates
from corridor.plan.setups.crowd import Crowd, crowd_of
from corridor.plan.setups.describe import SetUpRows, describe_setups, key_of
from corridor.plan.setups.first import verify_rows
from corridor.plan.setups.stretch_facts import with_draws
from corridor.settings import Equipment, Settings
from corridor.tone.solve import ToneSolution

__all__ = ["WindowChoice", "WindowPlan", "choose_in_window", "plan_of"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class WindowChoice:
    """Set-ups chosen in a window: the choice, candidates and outputs for its strategy, and the gate's verdicts."""

    choice: Choice
    candidates: pd.DataFrame
    outputs: pd.DataFrame
    verdicts: pd.DataFrame


@dataclass(frozen=True)
class WindowPlan:
    """The plan of one window, before its set-ups are put in order with the others'.

    Attributes
    ----------
    rows : SetUpRows
    verify : list of dict
        Rows of ``verify_first``, unordered.
    crowd : Crowd or None
        What set-ups running at the same time do to each other; its order is that of ``rows.setups``.
    verdicts : DataFrame
        Of the gate on bleed partners.
    facts : dict
        Numbers of options and set-ups, gap and proof of the choice, for the summary.
    choice : Choice or None
    stakes : DataFrame
        Places chosen for the ground stakes; empty where they stand as set out from the records.
    """

    rows: SetUpRows = field(default_factory=SetUpRows)
    verify: list[dict[str, Any]] = field(default_factory=list)
    crowd: Crowd | None = None
    verdicts: pd.DataFrame = field(default_factory=pd.DataFrame)
    facts: dict[str, Any] = field(default_factory=dict)
    choice: Choice | None = None
    stakes: pd.DataFrame = field(default_factory=pd.DataFrame)


def choose_in_window(
    connected: Connected,
    prepared: Prepared,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution,
    *,
    grading: Grading,
    area: Polygon | MultiPolygon | None,
    drawn: bool,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None = None,
) -> WindowChoice:
    """Choose the set-ups of one window.

    Parameters
    ----------
    connected, prepared
        The site, and the network of the window with its hook-ups.
    ready : GeoDataFrame
        Its hook-ups, in the order of the solution's drives.
    solution : ToneSolution
        Of the cases.
    grading : Grading
        Of all hook-ups in the cases.
    area : Polygon or MultiPolygon, optional
        Where the lines are wanted.
    drawn : bool
        Choose on draws of what the records don't know, solved here; else on the cases.
    equipment, settings
        Levels and limits; how many draws, how near the best is near enough.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    WindowChoice
    """
    shared: dict[str, Any] = {"equipment": equipment, "settings": settings}
    site = connected.site
    if drawn:
        lines = sorted(grading.predictions)
        ensemble = _drawn(connected, prepared, ready, lines, area=area, progress=progress, **shared)
    else:
        ensemble = ensemble_of_cases(grading.predictions, solution, ready, **shared)
    verdicts = gate_partners(
        solution, ready, site, levels_ma=equipment.transmitter.levels_ma, safety=settings.safety
    )  # fmt: skip
    choice = choose(ensemble, ready, site.lines, area=area, barred=verdicts, **shared)
    candidates, outputs = chosen_candidates(choice, grading, solution, ready, **shared)
    return WindowChoice(choice, candidates, outputs, verdicts)


def _drawn(
    connected: Connected,
    prepared: Prepared,
    ready: gpd.GeoDataFrame,
    lines: list[str],
    *,
    area: Polygon | MultiPolygon | None,
    equipment: Equipment,
    settings: Settings,
    progress: Progress | None,
) -> Ensemble:
    unknowns = unknowns_of(prepared.model, prepared.soil, connected.site.lines, settings=settings.draws)
    draws = draw(unknowns, count=settings.draws.count, geometries=settings.draws.geometries, seed=settings.seed)
    return ensemble_of_draws(
        connected.site,
        prepared,
        ready,
        draws,
        lines=lines,
        joined=connected.joined,
        area=area,
        equipment=equipment,
        settings=settings,
        progress=progress,
    )


def plan_of(
    chosen: WindowChoice,
    strategy: gpd.GeoDataFrame,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution,
    *,
    grading: Grading,
    equipment: Equipment,
    settings: Settings,
) -> tuple[gpd.GeoDataFrame, WindowPlan]:
    """Fill a strategy with what the draws say, and describe the set-ups that it uses.

    Parameters
    ----------
    chosen : WindowChoice
    strategy : GeoDataFrame
        Made from its candidates.
    ready : GeoDataFrame
        Hook-ups of the window.
    solution : ToneSolution
        Of the cases.
    grading : Grading
        Of all hook-ups in the cases.
    equipment, settings
        As for the choice.

    Returns
    -------
    strategy : GeoDataFrame
    plan : WindowPlan
    """
    choice = chosen.choice
    filled = with_draws(strategy, choice, ready, settings=settings)
    rows = describe_setups(choice, filled, ready, equipment=equipment, settings=settings)
    keys = [row["key"] for row in rows.setups]
    used = [key_of(*pair) in keys for pair in zip(filled["hookup_id"], filled["frequency_hz"], strict=True)]
    rows.checks = field_checks(filled[used], solution, grading.predictions, ready, settings=settings)
    crowd = crowd_of(choice, keys, filled, ready, solution=solution, settings=settings)
    cover = choice.cover
    facts = {
        "options": len(choice.options),
        "chosen": cover.number,
        "used": len(keys),
        "greedy": choice.greedy.number,
        "gap": float(cover.gap) if np.isfinite(cover.gap) else None,
        "proven": cover.proven,
        "worth_m": float(cover.readable_m),
        "greedy_worth_m": float(choice.greedy.readable_m),
        "draws": int(choice.ensemble.sources.available_a.shape[-1]),
    }
    return filled, WindowPlan(rows, verify_rows(choice, settings=settings), crowd, chosen.verdicts, facts, choice)
