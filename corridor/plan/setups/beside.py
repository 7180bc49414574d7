"""Lines that carry tone so near to the one traced that their peaks can't be told apart by position."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from corridor.settings import Settings
from corridor.tone.solve import ToneSolution
from corridor.tone.stations import Stations

__all__ = ["Beside", "beside"]

_SLACK = 1e-9  # a direction at the largest angle is within it


@dataclass(frozen=True)
class Beside:
    """A line beside a station, how far away in plan, and its current over that of the line traced."""

    line_id: str
    away_m: float
    share: float

    def text(self, own_setups: Sequence[str], hookup_id: str) -> str:
        """Return what to do about it: each line by a set-up of its own, nothing opened.

        Parameters
        ----------
        own_setups : sequence of str
            Set-ups hooked up on that line.
        hookup_id : str
            The one that the stretch is traced with.
        """
        where = f"{self.line_id} runs {self.away_m:.1f} m beside, nearer than the depth"
        others = [name for name in own_setups if not name.startswith(f"{hookup_id} at ")]
        none = "no set-up of the plan is on that line, so that another method must tell"
        how = f"trace {self.line_id} by itself with {others[0]}" if others else none
        one = "position can't tell them apart; energise one at a time"
        return f"{where}, with {self.share:.0%} of this line's current: {one}: {how}"


def beside(solution: ToneSolution, station: Stations, drive: int, *, settings: Settings) -> Beside | None:
    """Return the nearest parallel line that carries tone nearer to a station than the line traced is deep.

    Parameters
    ----------
    solution : ToneSolution
        Its first frequency and its nominal case count.
    station : Stations
        One.
    drive : int
        Column of the hook-up.
    settings : Settings
        ``checks.beside_share``; ``couplings.max_angle_deg`` says what counts as parallel.

    Returns
    -------
    Beside or None
        Two equal lines at one depth d show one peak up to 2 d / sqrt 3 apart (second derivative of the sum of their
        fields); d is on the safe side where currents differ.
    """
    model = solution.model
    current = np.abs(solution.results[solution.frequencies_hz[0], solution.cases[0].name].current_a[:, drive])
    at, along = station.xy_m[0] - model.origin_m, station.direction[0]
    own = current[model.section_at(station.line_id, float(station.measure_m[0]))]
    start, way = model.start_m[:, :2], model.end_m[:, :2] - model.start_m[:, :2]
    length = np.hypot(way[:, 0], way[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.clip(((at - start) * way).sum(axis=1) / length**2, 0.0, 1.0)
        parallel = np.abs(way @ along) >= length * (np.cos(np.radians(settings.couplings.max_angle_deg)) - _SLACK)
    away = np.hypot(*(start + part[:, None] * way - at).T)
    names = np.array(model.line_ids, dtype=object)[model.line_index]
    near = parallel & ~model.electrode_mask & (names != station.line_id) & (away <= station.depth_m) & (own > 0)
    near &= current >= settings.checks.beside_share * own
    rows = np.flatnonzero(near)
    if not rows.size:
        return None
    nearest = int(rows[np.lexsort((names[rows].astype(str), np.round(away[rows], 6)))[0]])
    return Beside(str(names[nearest]), float(away[nearest]), float(current[nearest] / own))
