"""A choice of set-ups judged on other draws than those it was made on."""

import numpy as np
from numpy.typing import NDArray

from corridor.plan.ensemble import Ensemble
from corridor.plan.setups.choice import Choice
from corridor.settings import Settings

__all__ = ["readable_lengths"]


def readable_lengths(choice: Choice, ensemble: Ensemble, *, settings: Settings) -> NDArray[np.float64]:
    """Return the length graded readable in each draw, each piece read under the set-up that it was assigned.

    Parameters
    ----------
    choice : Choice
        Made on any ensemble of the same hook-ups and stations.
    ensemble : Ensemble
        Of n draws, to judge it on.
    settings : Settings
        Noise floor.

    Returns
    -------
    ndarray, shape (n,), m
    """
    options, assigned = choice.options, choice.cover.assigned
    total = np.zeros(ensemble.sources.available_a.shape[-1])
    for line_id, rows in options.pieces.rows.items():
        own = assigned[rows]
        for column in np.unique(own[own >= 0]).tolist():
            shown = options.shown(column, line_id, ensemble, floor_nt=settings.grades.floor_nt)
            if shown is not None:
                total += options.pieces.length_m[rows][own == column] @ shown[own == column]
    return total
