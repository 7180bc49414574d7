"""Which way the tone runs under the receiver, against the target beside it."""

import math

import numpy as np
from numpy.typing import NDArray

from corridor.dictionary.results import SENSES
from corridor.errors import DomainError
from corridor.tone.predict import Prediction
from corridor.tone.solve import ToneSolution

__all__ = ["SENSES", "sense_codes", "sense_of", "station_senses"]

Real = NDArray[np.float64]

SAME, OPPOSITE, UNCLEAR = range(len(SENSES))


def sense_of(phase_deg: Real, bearing_deg: Real, *, angle_deg: float) -> NDArray[np.object_]:
    """Return in which sense a current runs, from its phase and its bearing against another one's.

    Parameters
    ----------
    phase_deg : ndarray
        Phase against the other current, each along its own line's direction; NaN where there is none.
    bearing_deg : ndarray
        Angle between the two directions in plan; both broadcast.
    angle_deg : float
        How far phase and bearing may be off, 0 to 90 excluded: above 90 both senses would fit.

    Returns
    -------
    ndarray of str
        same, opposite, or unclear: the lines cross, the phase lies between, or there is no current to compare.

    Raises
    ------
    DomainError
        If the angle is out of its range.
    """
    if not 0.0 < angle_deg < 90.0:
        message = f"angle_deg must be above 0 and below 90, got {angle_deg}"
        raise DomainError(message)
    along, in_phase = np.cos(np.radians(bearing_deg)), np.cos(np.radians(phase_deg))
    return np.array(SENSES, dtype=object)[sense_codes(in_phase, along, angle_deg=angle_deg)]


def sense_codes(in_phase: Real, along: Real, *, angle_deg: float) -> NDArray[np.int8]:
    """Return what `sense_of` does as positions in ``SENSES``, from cosines of phase and bearing.

    Parameters
    ----------
    in_phase, along : ndarray
        Cosines of the phase and of the angle between the two directions; NaN where there is none; both broadcast.
    angle_deg : float
        As for `sense_of`, which checks it.
    """
    least = math.cos(math.radians(angle_deg)) - 1e-12
    clear = (np.abs(along) >= least) & (np.abs(in_phase) >= least)
    return np.where(clear, np.where(along * in_phase > 0.0, SAME, OPPOSITE), UNCLEAR).astype(np.int8)


def station_senses(
    solution: ToneSolution, prediction: Prediction, *, drive: int, frequency_hz: float, angle_deg: float
) -> NDArray[np.object_]:
    """Return the sense of the current that the receiver hears at each station, against the target's nearest current.

    A receiver that compares phases tells the direction of the current under the peak. Where that is a neighbour's
    current on its way back to the transmitter, the direction gives the neighbour away (common practice). Nominal case.

    Parameters
    ----------
    solution : ToneSolution
        What was solved.
    prediction : Prediction
        Of it along one line.
    drive : int
        Column of the hook-up, among the prediction's drives.
    frequency_hz : float
        One of the solved ones.
    angle_deg : float
        As for ``sense_of``.

    Returns
    -------
    ndarray of str, shape (stations,)
        One of ``SENSES``.

    Raises
    ------
    DomainError
        If the angle is out of its range.
    """
    model, stations = solution.model, prediction.stations
    target = model.sections_of(solution.drives[drive].hookup.line_id)
    start, end = (points[target, :2] for points in (model.start_m, model.end_m))
    nearest = _nearest(stations.xy_m - model.origin_m, start, end)
    along = (end - start)[nearest]
    course = stations.direction
    turn = course[:, 0] * along[:, 1] - course[:, 1] * along[:, 0], (course * along).sum(axis=1)
    nominal = solution.results[frequency_hz, solution.cases[0].name].current_a[target[nearest], drive]
    d, f = prediction.drives.index(drive), solution.frequencies_hz.index(frequency_hz)
    heard = prediction.phase_deg[:, d, f, 0]
    own = np.where(nominal == 0.0, np.nan, np.degrees(np.angle(nominal)))
    return sense_of(heard - own, np.degrees(np.arctan2(*turn)), angle_deg=angle_deg)


def _nearest(points: Real, start: Real, end: Real) -> NDArray[np.int64]:
    """Return for each point the section that passes nearest in plan."""
    along = end - start
    length2 = np.maximum((along**2).sum(axis=1), np.finfo(float).tiny)
    apart = points[:, None, :] - start[None, :, :]
    share = np.clip((apart * along).sum(axis=2) / length2, 0.0, 1.0)
    return np.asarray(((apart - share[:, :, None] * along) ** 2).sum(axis=2).argmin(axis=1))
