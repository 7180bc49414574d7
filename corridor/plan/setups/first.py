"""What to verify before anybody goes out: what knowing it would bring to the plan, and where to look."""

from typing import Any

import numpy as np

from corridor.draws import Unknown
from corridor.plan.setups.choice import Choice
from corridor.plan.setups.verify import verify_first
from corridor.settings import Settings

__all__ = ["verify_rows"]

MOST_OPTIONS = 150  # set-ups looked at: those that show most

_WHERE = {
    "soil": "measure the soil's resistivity by four electrodes (Wenner), or ask for an earlier survey",
    "coating": "ask the owner of {lines} for coating and its condition",
    "depth": "open a test hole on {lines}, or look into a chamber where it enters",
    "position": "open a test hole on {lines}, or survey where it surfaces",
    "ground resistance": "have the owner measure the ground {source}",
    "bond": "look where {lines} meet ({source}); ask their owners for the bond",
    "joint": "ask the owner of {lines} for the joints, or measure along it from end to end at {source}",
    "ground": "look for the ground {source} of {lines}; its owner knows",
    "stake": "drive the stake and read the loop; wet it, or drive a second one",
}


def verify_rows(choice: Choice, *, settings: Settings) -> list[dict[str, Any]]:
    """Return the rows of ``verify_first`` of one window, without rank.

    Parameters
    ----------
    choice : Choice
        On drawn unknowns; without draws nothing can be said.
    settings : Settings
        Seed, and noise floor.

    Returns
    -------
    list of dict
        One for each unknown, unordered.
    """
    draws = choice.ensemble.draws
    if draws is None or len(draws.value) < 2:
        return []
    readable = _readable(choice, settings)
    gains = verify_first(
        readable, choice.options.pieces.length_m, draws.value, seed=settings.seed, groups=draws.geometry
    )
    return [
        {
            "unknown": unknown.name,
            "kind": unknown.kind,
            "source_id": unknown.source_id or None,
            "line_ids": " ".join(unknown.line_ids) or None,
            "probability": unknown.below if unknown.switches else None,
            "gain_m": float(gains.gain_m[k]),
            "chance_m": float(gains.chance_m[k]),
            "stands_out": bool(gains.raw_m[k] > gains.chance_high_m[k]),
            "where_to_look": _where(unknown),
        }
        for k, unknown in enumerate(draws.unknowns)
    ]


def _readable(choice: Choice, settings: Settings) -> "np.ndarray[Any, np.dtype[np.float64]]":
    """Return whether each of the most useful set-ups shows each piece in each draw, (s, c, n)."""
    options, ensemble = choice.options, choice.ensemble
    shows = options.pieces.length_m @ np.nan_to_num(options.worth, nan=0.0)
    order = np.lexsort((np.arange(len(shows)), -np.round(shows, 9)))[:MOST_OPTIONS]
    columns = np.union1d(order, choice.columns)
    count = ensemble.sources.available_a.shape[-1]
    result = np.zeros((len(options.pieces.line_id), len(columns), count))
    for line_id, rows in options.pieces.rows.items():
        for place, column in enumerate(columns.tolist()):
            shown = options.shown(column, line_id, ensemble, floor_nt=settings.grades.floor_nt)
            if shown is not None:
                result[rows, place] = shown
    return result


def _where(unknown: Unknown) -> str:
    lines = " and ".join(unknown.line_ids) or "the line"
    return _WHERE[unknown.kind].format(lines=lines, source=unknown.source_id or unknown.name)
