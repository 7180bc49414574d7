"""Checks of a mark: which one tells on each stretch, what it should read there, and where it is blind.

What a crew can see after it found a peak: how far the null lies from it, how much more depth the receiver shows when
it is lifted, whether the peak leans, and how the current goes along the line. Each is predicted at the station where
the peak is off the most, in every case solved.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely import Point

from corridor.dictionary.plans import FIELD_CHECKS
from corridor.plan.ensemble import LOUD_A
from corridor.plan.setups.beside import beside
from corridor.settings import CheckSettings, Settings
from corridor.threads import worked
from corridor.tone.check_readings import asymmetry, half_heights_m, rise_after_lifting_m
from corridor.tone.grades import MASKED, PULLED
from corridor.tone.predict import Prediction, horizontal_fields
from corridor.tone.solve import ToneSolution
from corridor.tone.tables import graded

__all__ = ["Check", "Judged", "field_checks", "judge"]

Real = NDArray[np.float64]
Row = dict[str, Any]

SHOWN = ("readable", "pulled", "masked")
NOTHING_PULLS = 0.05  # of the tolerances: errors below it say nothing of what a check would show
_WORDS = {
    "peak_null_gap_m": "peak against null",
    "depth_after_lifting_m": "depth after lifting",
    "symmetry_at_half": "symmetry at half height",
    "current_along_line": "current along the line",
}


@dataclass(frozen=True)
class Check:
    """One check at one station: what it reads in each case, shape (cases,), clean value and noise.

    ``passes`` is how far from clean it may be and still be taken as clean; ``silence`` says whether showing nothing at
    all (NaN) is itself a sign.
    """

    name: str
    values: Real
    clean: float
    noise: float
    passes: float
    silence: bool = True

    @property
    def away(self) -> Real:
        """How far each case is from clean; infinite where the receiver shows nothing and that is a sign."""
        return np.where(np.isnan(self.values), np.inf if self.silence else 0.0, np.abs(self.values - self.clean))


@dataclass(frozen=True)
class Judged:
    """Whether a check tells (None: nothing pulls), whether it is blind, and how strongly it speaks, over its noise."""

    tells: bool | None
    blind: bool
    strength: float


def judge(check: Check, wrong: NDArray[np.bool_], error_share: Real) -> Judged:
    """Judge one check at one station.

    Parameters
    ----------
    check : Check
    wrong : ndarray of bool, shape (cases,)
        Cases in which the peak or the depth is off by more than its tolerance, or the peak is another line's.
    error_share : ndarray, shape (cases,)
        Error over its tolerance, of the place or the depth, whichever is worse.

    Returns
    -------
    Judged
        Where no case is wrong, the deviation of the worst case is scaled up to the tolerance: both grow alike with the
        current of a neighbour, as long as it is small.
    """
    away = check.away
    if wrong.any():
        strength = float((away[wrong] / check.noise).min())
        return Judged(bool(strength > 1.0), bool((away[wrong] <= check.passes).any()), strength)
    worst = int(np.nan_to_num(error_share).argmax())
    if not error_share[worst] >= NOTHING_PULLS:
        return Judged(None, False, 0.0)
    strength = float(away[worst] / check.noise / error_share[worst])
    return Judged(bool(strength > 1.0), False, strength)


def field_checks(
    strategy: gpd.GeoDataFrame,
    solution: ToneSolution,
    predictions: Mapping[str, Prediction],
    ready: gpd.GeoDataFrame,
    *,
    settings: Settings,
) -> list[Row]:
    """Predict what checks of a mark read on each stretch that a set-up shows.

    Parameters
    ----------
    strategy : GeoDataFrame
        Table ``strategy``; rows without a hook-up, or too faint for a peak, are left out.
    solution : ToneSolution
        Of the cases.
    predictions : mapping of str to Prediction
        Of this solution, by line_id.
    ready : GeoDataFrame
        Hook-ups in the order of the solution's drives.
    settings : Settings
        ``checks``, thresholds, receiver.

    Returns
    -------
    list of dict
        Rows of the table ``field_checks``, four a stretch; ``key`` in place of setup_id: hook-up and frequency.
    """
    number = {str(hookup_id): k for k, hookup_id in enumerate(ready["hookup_id"])}
    wanted = []
    for stretch in strategy.to_dict("records"):
        prediction, drive = predictions.get(str(stretch["line_id"])), number.get(str(stretch["hookup_id"]))
        if prediction is None or drive not in prediction.drives or stretch["grade"] not in SHOWN:
            continue
        at_m = prediction.stations.measure_m
        inside = np.flatnonzero((at_m >= stretch["from_m"]) & (at_m <= stretch["to_m"]))
        if inside.size:
            wanted.append(_Stretch(stretch, prediction, drive, inside))
    own = _own_setups(strategy, ready)
    order = np.argsort([stretch.row["frequency_hz"] for stretch in wanted], kind="stable")  # soils' tables are kept
    made = worked(lambda k: _rows(wanted[k], solution, own, settings=settings), order.tolist())
    rows = dict(zip(order.tolist(), made, strict=True))
    return [row for k in range(len(wanted)) for row in rows[k]]


@dataclass(frozen=True)
class _Stretch:
    """A row of the strategy, the prediction along its line, its hook-up's column, and its stations."""

    row: Row
    prediction: Prediction
    drive: int
    inside: NDArray[np.int64]


@dataclass(frozen=True)
class _Place:
    """The station where a peak is off the most; readings there and at the place it is compared with."""

    stretch: _Stretch
    column: tuple[int, int]
    station: int
    compared: int | None
    readings: Prediction

    def of(self, name: str) -> Real:
        """Return one figure of the station in each case."""
        return np.asarray(getattr(self.readings, name)[0, 0, 0])


def _own_setups(strategy: gpd.GeoDataFrame, ready: gpd.GeoDataFrame) -> dict[str, list[str]]:
    """Return for each line the set-ups of the strategy that are hooked up on it."""
    line_of = dict(zip(ready["hookup_id"], ready["line_id"], strict=True))
    found: dict[str, list[str]] = {}
    for hookup_id, frequency_hz in zip(strategy["hookup_id"], strategy["frequency_hz"], strict=True):
        if hookup_id in line_of:
            named = found.setdefault(str(line_of[hookup_id]), [])
            text = f"{hookup_id} at {frequency_hz:g} Hz"
            if text not in named:
                named.append(text)
    return found


def _rows(
    stretch: _Stretch, solution: ToneSolution, own_setups: Mapping[str, Sequence[str]], *, settings: Settings
) -> list[Row]:
    """Return the rows of one stretch."""
    frequency_hz = float(stretch.row["frequency_hz"])
    column = (stretch.prediction.drives.index(stretch.drive), solution.frequencies_hz.index(frequency_hz))
    only = replace(solution, frequencies_hz=(frequency_hz,))
    place, checks = _checks(stretch, only, column, settings=settings)
    codes = graded(place.readings, np.array(LOUD_A), settings)[0, 0, 0]
    wrong = (codes == PULLED) | (codes == MASKED)
    judged = [judge(check, wrong, _error_share(place, settings)) for check in checks]
    advice = _advice(stretch.row, checks, judged, any_wrong=bool(wrong.any()))
    near = beside(only, place.readings.stations, stretch.drive, settings=settings)
    if near is not None:
        advice += f"; {near.text(own_setups.get(near.line_id, ()), str(stretch.row['hookup_id']))}"
    stations = stretch.prediction.stations
    shared: Row = {
        "key": (str(stretch.row["hookup_id"]), frequency_hz),
        "stretch_id": stretch.row["stretch_id"],
        "line_id": stations.line_id,
        "station_m": float(stations.measure_m[place.station]),
        "advice": advice,
        "geometry": Point(stations.xy_m[place.station]),
    }
    return [
        shared | _row(check, told, wrong, place, settings=settings) for check, told in zip(checks, judged, strict=True)
    ]


def _checks(
    stretch: _Stretch, only: ToneSolution, column: tuple[int, int], *, settings: Settings
) -> tuple[_Place, list[Check]]:
    """Predict the four checks at the stretch's worst station."""
    prediction, limits = stretch.prediction, settings.checks
    d, f = column
    offset = np.abs(prediction.peak_offset_m[stretch.inside, d, f]).max(axis=-1)
    station = int(stretch.inside[int(np.round(offset, 6).argmax())])
    place = _Place(stretch, column, station, _compared(stretch, station), _only(prediction, station, column))
    peak = place.of("peak_offset_m")
    lean, rise = _lean_and_rise(place, only, settings)
    ratio, clean = _ratio(place)
    return place, [
        Check(FIELD_CHECKS[0], np.abs(peak - place.of("null_offset_m")), 0.0, limits.gap_noise_m, limits.gap_rule_m),
        _plain(FIELD_CHECKS[1], rise, limits.lift_m, _lift_noise(place, limits)),
        _plain(FIELD_CHECKS[2], lean, 0.0, limits.symmetry_noise, silence=False),
        _plain(FIELD_CHECKS[3], ratio, clean, limits.current_noise_share * clean, silence=place.compared is not None),
    ]


def _plain(name: str, values: Real, clean: float, noise: float, *, silence: bool = True) -> Check:
    return Check(name, values, clean, noise, noise, silence)


def _only(prediction: Prediction, station: int, column: tuple[int, int]) -> Prediction:
    """Return the part of a prediction at one station under one hook-up at one frequency."""
    here = slice(station, station + 1)
    arrays = ("current", "peak_offset_m", "null_offset_m", "depth_m", "field_t", "inferred_a", "phase_deg", "masked")
    at = (here, slice(column[0], column[0] + 1), slice(column[1], column[1] + 1))
    stations = prediction.stations
    return replace(
        prediction,
        stations=replace(
            stations, measure_m=stations.measure_m[here], xy_m=stations.xy_m[here], direction=stations.direction[here]
        ),
        drives=(prediction.drives[column[0]],),
        **{name: getattr(prediction, name)[at] for name in arrays},
    )


def _compared(stretch: _Stretch, station: int) -> int | None:
    """Return the station whose current is the measure: the stretch's first, else its last, else the nearest other."""
    for other in (int(stretch.inside[0]), int(stretch.inside[-1])):
        if other != station:
            return other
    at_m = stretch.prediction.stations.measure_m
    if len(at_m) < 2:
        return None
    away = np.abs(at_m - at_m[station])
    away[station] = np.inf
    return int(away.argmin())


def _lean_and_rise(place: _Place, only: ToneSolution, settings: Settings) -> tuple[Real, Real]:
    """Return how far the peak leans in each case, and how much more depth is shown after lifting at that peak."""
    receiver, peak = settings.receiver, place.of("peak_offset_m")
    count = round(2 * receiver.half_width_m / receiver.step_m) + 1
    offsets = np.linspace(-receiver.half_width_m, receiver.half_width_m, count)
    peaks, which = np.unique(np.round(peak, 3), return_inverse=True)
    lowest = receiver.lower_coil_height_m + settings.checks.lift_m
    across, lifted = horizontal_fields(
        only,
        place.readings.stations,
        place.readings.drives,
        profiles=(
            (offsets, (receiver.lower_coil_height_m,)),
            (np.append(peaks, peaks[-1] + receiver.step_m), (lowest, lowest + receiver.coil_spacing_m)),
        ),
    )
    halves = half_heights_m(across[0, 0], offsets, peak_offset_m=peak, field_t=place.of("field_t"))
    lower, upper = np.abs(lifted[:, 0, which, np.arange(which.size)])
    shown = place.of("depth_m") + receiver.lower_coil_height_m
    return asymmetry(halves), rise_after_lifting_m(shown, lower, upper, coil_spacing_m=receiver.coil_spacing_m)


def _lift_noise(place: _Place, limits: CheckSettings) -> float:
    return limits.lift_noise_share * (place.readings.stations.depth_m + limits.lift_m)


def _ratio(place: _Place) -> tuple[Real, float]:
    """Return the current shown at the station over that at the place compared, per case, and the lines' own ratio."""
    prediction, (d, f) = place.stretch.prediction, place.column
    if place.compared is None:
        return np.full(prediction.masked.shape[-1], np.nan), 1.0
    shown, compared = (prediction.inferred_a[k, d, f] for k in (place.station, place.compared))
    true, base = (abs(prediction.current[k, d, f, 0]) for k in (place.station, place.compared))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(compared > 0, shown / compared, np.nan)
    return ratio, float(true / base) if base > 0 and true > 0 else 1.0


def _error_share(place: _Place, settings: Settings) -> Real:
    """Return the error of the place or the depth over its tolerance, whichever is the larger share, per case."""
    thresholds, depth = settings.grades, place.readings.stations.depth_m
    of_place = np.abs(place.of("peak_offset_m")) / thresholds.offset_tolerance_m
    of_depth = np.abs(place.of("depth_m") - depth) / (thresholds.depth_tolerance_share * depth)
    return np.fmax(of_place, of_depth)


def _advice(row: Row, checks: Sequence[Check], judged: Sequence[Judged], *, any_wrong: bool) -> str:
    """Return in one sentence which check tells on a stretch, or what confirms its marks."""
    confirm = row.get("confirm_by")
    second = confirm if isinstance(confirm, str) else "another set-up or another method"
    best = int(np.argmax([told.strength for told in judged]))
    words = f"{_WORDS[checks[best].name]} ({_range(checks[best])})"
    if any_wrong:
        if not judged[best].tells:
            return f"no check at this place tells: confirm with {second}"
        if judged[0].blind and best:
            words += "; peak and null may agree within the common rule although the mark is off"
        return f"the peak or the depth may be off; what tells is {words}"
    if judged[best].tells is None:
        return "nothing on record pulls here: a check that isn't clean speaks of something that no record shows"
    if judged[best].tells:
        return f"what confirms best is {words}: a reading outside that range puts the mark in doubt"
    return f"no check would notice in time that the mark goes wrong: confirm with {second}"


def _range(check: Check) -> str:
    sound = check.values[np.isfinite(check.values)]
    if not sound.size:
        return f"none shown; a clean line reads {check.clean:.2f}"
    return f"{sound.min():.2f} to {sound.max():.2f} expected; a clean line reads {check.clean:.2f}"


def _row(check: Check, told: Judged, wrong: NDArray[np.bool_], place: _Place, *, settings: Settings) -> Row:
    """Return the columns of one check."""
    sound = check.values[np.isfinite(check.values)]
    return {
        "check": check.name,
        "clean_value": check.clean,
        "expected_low": float(sound.min()) if sound.size else None,
        "expected_high": float(sound.max()) if sound.size else None,
        "tells": told.tells,
        "blind": told.blind,
        "note": _note(check, told, wrong, place, settings=settings),
    }


def _note(check: Check, told: Judged, wrong: NDArray[np.bool_], place: _Place, *, settings: Settings) -> str:
    """Return what one check says at the station."""
    parts = []
    if check.name == "current_along_line":
        parts.append(_along(place))
    if np.isnan(check.values).all():
        parts.append(_SHOWS_NONE[check.name])
    if wrong.any() and check.name == "peak_null_gap_m" and told.blind:
        rule = f"blind: the mark may be off although peak and null agree within {settings.checks.gap_rule_m:g} m"
        parts.append(f"{rule}; what tells is a distance over {check.noise:g} m" if told.tells else rule)
    elif wrong.any():
        parts.append("tells where the mark is off" if told.tells else "blind: may read clean over a wrong mark")
    elif told.tells is not None:
        parts.append("confirms" if told.tells else "stays clean longer than the mark stays right")
    if not wrong.any() and check.name == "peak_null_gap_m" and (check.away > settings.checks.gap_rule_m).all():
        parts.append("the common rule would reject a mark that is right")
    return "; ".join(parts) or "should read clean"


_SHOWS_NONE = {
    "peak_null_gap_m": "no null to be found",
    "depth_after_lifting_m": "no depth shown",
    "symmetry_at_half": "half height lies beyond the width searched",
    "current_along_line": "no current shown",
}


def _along(place: _Place) -> str:
    """Return the currents of middle and end against the start in the nominal case, as the receiver would show them."""
    if place.compared is None:
        return "one station only: nothing to compare with"
    prediction, inside, (d, f) = place.stretch.prediction, place.stretch.inside, place.column
    at_m = prediction.stations.measure_m
    text = f"against {at_m[place.compared]:.1f} m along the line"
    shown = prediction.inferred_a[inside, d, f, 0]
    if inside.size < 3 or not np.isfinite(shown[[0, len(shown) // 2, -1]]).all() or shown[0] <= 0:
        return text
    middle, end = shown[len(shown) // 2] / shown[0], shown[-1] / shown[0]
    return f"{text}; of the start's current the middle shows {middle:.2f}, the end {end:.2f}"
