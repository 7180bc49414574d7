"""How the two leading causes of a wrong loop reading can be told apart, where a second reading can do it at all."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.causes import Cause
from corridor.plan.setups.signature import separates, separation
from corridor.plan.setups.verify import halves

__all__ = ["told_apart_by"]

LEAST_DRAWS = 8  # of both causes together: fewer say nothing of a spread (engineering estimate)


def told_apart_by(
    loop_ohm: NDArray[np.float64],
    states: NDArray[np.float64],
    causes: Sequence[Cause],
    names: Sequence[str],
    *,
    frequencies_hz: Sequence[float],
) -> str | None:
    """Return which second reading tells the first two causes apart; None where none does, or there is one cause only.

    Asked for only where it helps: the draws in which one cause holds and the other doesn't must differ, in the loop's
    impedance at two frequencies, by more than their spread and 2 % of noise.

    Parameters
    ----------
    loop_ohm : ndarray, shape (f, n)
        Magnitude of the loop's impedance at each frequency in each draw.
    states : ndarray, shape (n, u)
        Of the unknowns.
    causes : sequence of Cause
        The likeliest first.
    names : sequence of str, length u
        Of the unknowns.
    frequencies_hz : sequence of float, length f

    Returns
    -------
    str or None
        One sentence.
    """
    if len(causes) < 2 or not (np.isfinite(loop_ohm) & (loop_ohm > 0)).all():
        return None
    holds = [halves(states[:, names.index(cause.name)]) == cause.upper for cause in causes[:2]]
    only_first, only_second = holds[0] & ~holds[1], holds[1] & ~holds[0]
    if min(only_first.sum(), only_second.sum()) < 1 or only_first.sum() + only_second.sum() < LEAST_DRAWS:
        return None
    pairs = [(a, b) for a in range(len(loop_ohm)) for b in range(a + 1, len(loop_ohm))]
    if not pairs:
        return None
    readings = {pair: (loop_ohm[list(pair)][:, only_first].T, loop_ohm[list(pair)][:, only_second].T) for pair in pairs}
    best = max(pairs, key=lambda pair: (round(separation(*readings[pair]), 9), -pair[0], -pair[1]))
    first, second = readings[best]
    if not separates(first, second):
        return None
    low, high = (frequencies_hz[k] for k in best)
    told = [f"{np.median(part[:, 0]):.3g} and {np.median(part[:, 1]):.3g} ohm" for part in (first, second)]
    stake = any(cause.kind == "stake" for cause in causes[:2])
    moved = "; move the stake too: only its own share changes with it" if stake else ""
    return f"read the loop at {low:g} and {high:g} Hz: {causes[0].name} {told[0]}, {causes[1].name} {told[1]}{moved}"
