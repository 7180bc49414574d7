"""Causes judged by readings: what each leads to expect, how probable it is, and what the currents are then."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp

from corridor.constants import MA_PER_A
from corridor.readings.asked import Asked, to_scale
from corridor.readings.bench import Response, State
from corridor.readings.causes import Suspect, Variant
from corridor.readings.likelihood import Evidence, Gauss, conditional, evidence, separation
from corridor.settings import Equipment, ReadingSettings
from corridor.tone.sources import direct_output

__all__ = [
    "Expected",
    "Hypothesis",
    "Judged",
    "expectations",
    "hypotheses",
    "judge",
    "pairs",
    "soil_factors",
    "soils_solved",
    "state_of",
    "told_apart",
]

Real = NDArray[np.float64]

CURRENT_FLOOR_MA = 0.01  # true currents are told apart down to here
SOIL_STEPS = 25  # between those solved
WORTH = 1e-4  # hypotheses of less weight don't count in intervals
SAME_LOG_ODDS = math.log(3.0)  # causes whose odds readings would move by less than three to one aren't told apart


@dataclass(frozen=True)
class Hypothesis:
    """What may be the case: causes by number (none: the records are right) and one way in which they may be.

    ``log_prior`` is against nothing being hidden.
    """

    members: tuple[int, ...]
    variant: Variant
    log_prior: float


@dataclass(frozen=True)
class Expected:
    """What a hypothesis leads to expect, on the scale of the readings.

    Attributes
    ----------
    reading, current : ndarray, shape (soils, readings)
        Readings without noise, and the true currents on the lines there (logarithm of mA).
    reading_by, current_by : ndarray, shape (networks, readings)
        How they deviate in networks with other depths and places, over the root of the number of networks.
    lost : ndarray of bool, shape (readings,)
        Readings that the receiver can't give.
    shift : ndarray, shape (2, readings)
        By how much those networks' means differ from the recorded network, readings and currents; it is part of both.
    slope_per_m : ndarray, shape (readings,)
        How a reading changes along a metre of its line, nominal soil.
    """

    reading: Real
    current: Real
    reading_by: Real
    current_by: Real
    lost: NDArray[np.bool_]
    shift: Real
    slope_per_m: Real

    def combined(self, other: Expected, nominal: Expected, exact: Expected) -> Expected:
        """Return a pair's: its own in each soil, the deviations of both causes together in first order."""
        shift = self.shift + other.shift - nominal.shift
        return Expected(
            exact.reading + shift[0],
            exact.current + shift[1],
            self.reading_by + other.reading_by - nominal.reading_by,
            self.current_by + other.current_by - nominal.current_by,
            self.lost | other.lost | exact.lost,
            shift,
            exact.slope_per_m,
        )


@dataclass(frozen=True)
class Law:
    """Variances of readings: ``shared`` belong together, (readings, readings), ``private`` don't, (readings,)."""

    shared: Real
    private: Real

    @property
    def variance(self) -> Real:
        """Of each reading, shape (readings,)."""
        return np.diag(self.shared) + self.private

    def of(self, some: NDArray[np.int64]) -> Real:
        """Return the covariance of some of the readings."""
        return self.shared[np.ix_(some, some)] + np.diag(self.private[some])


@dataclass(frozen=True)
class Judged:
    """Hypotheses with their weight after the readings.

    Attributes
    ----------
    hypotheses : tuple of Hypothesis
    expected : tuple of Expected
    weight : ndarray, shape (hypotheses, soils)
        Adds up to 1.
    wrong : ndarray, shape (readings,)
        Probability that a reading went wrong; NaN for those not taken.
    factors : ndarray, shape (soils,)
    reading, current : tuple of (weight, Gauss)
        The mixture after the readings.
    before : tuple of (weight, Gauss)
        Of the readings, records right, before any.
    laws : tuple of Law
        Of the readings' errors, one a hypothesis.
    taken : ndarray of int
        Readings that were taken.
    """

    hypotheses: tuple[Hypothesis, ...]
    expected: tuple[Expected, ...]
    weight: Real
    wrong: Real
    factors: Real
    reading: tuple[Real, Gauss]
    current: tuple[Real, Gauss]
    before: tuple[Real, Gauss]
    laws: tuple[Law, ...]
    taken: NDArray[np.int64]


def hypotheses(suspects: Sequence[Suspect]) -> list[Hypothesis]:
    """Return nothing hidden, then each cause alone, in each way in which it may be."""
    found = [Hypothesis((), Variant(), 0.0)]
    for number, suspect in enumerate(suspects):
        variants = suspect.variants()
        found += [Hypothesis((number,), v, math.log(suspect.odds / len(variants))) for v in variants]
    return found


def pairs(singles: Sequence[Hypothesis], weight: Real, *, of: int) -> list[tuple[Hypothesis, int, int]]:
    """Return the likeliest causes two by two, each with the numbers of the single hypotheses that it joins.

    Parameters
    ----------
    singles : sequence of Hypothesis
    weight : ndarray, shape (hypotheses,)
        After the readings.
    of : int
        How many causes.
    """
    best: dict[int, int] = {}
    for k in np.argsort(-weight, kind="stable"):
        members = singles[k].members
        if len(members) == 1 and members[0] not in best and len(best) < of:
            best[members[0]] = int(k)
    ways = {number: [k for k, h in enumerate(singles) if h.members == (number,)] for number in best}
    found = []
    for a, b in combinations(sorted(best), 2):
        for j in ways[a]:
            for k in ways[b]:
                both = singles[j].variant.with_other(singles[k].variant)
                if both is not None:
                    prior = singles[j].log_prior + singles[k].log_prior
                    found.append((Hypothesis((a, b), both, prior), j, k))
    return found


def state_of(variant: Variant) -> State:
    """Return the state of the network's elements that a variant needs."""
    return tuple(sorted(variant.ohms))


def expectations(
    response: Response,
    redrawn: Sequence[Response],
    variants: Sequence[tuple[Variant, int]],
    asked: Sequence[Asked],
    *,
    nominal: int,
    equipment: Equipment,
    solved: Sequence[float],
    factors: Real,
) -> list[Expected]:
    """Turn responses into what each variant leads to expect.

    Parameters
    ----------
    response : Response
        Of the network as recorded, in the soils solved.
    redrawn : sequence of Response
        Of networks with other depths and places, nominal soil; empty for pairs.
    variants : sequence of (Variant, int)
        Each with the number of its state.
    asked : sequence of Asked
        The readings.
    nominal : int
        Which of the soils solved the redrawn networks have.
    equipment : Equipment
        Limits of the source.
    solved, factors : sequence of float
        Soils solved, and those interpolated to.
    """
    found = []
    for variant, state in variants:
        reading, current, lost, slope = _figures(response, variant, state, asked, equipment=equipment)
        by = [_figures(other, variant, state, asked, equipment=equipment) for other in redrawn]
        reading_by, current_by = np.zeros((0, len(asked))), np.zeros((0, len(asked)))
        shift = np.zeros((2, len(asked)))
        if by:
            all_readings, all_currents = (np.stack([one[k][:, 0] for one in by]) for k in (0, 1))
            lost = lost | np.any([one[2] for one in by], axis=0)
            means = (all_readings.mean(axis=0), all_currents.mean(axis=0))
            shift = np.stack((means[0] - reading[:, nominal], means[1] - current[:, nominal]))
            reading_by = (all_readings - means[0]) / math.sqrt(len(by))
            current_by = (all_currents - means[1]) / math.sqrt(len(by))
        fine = [
            _interpolated(values, solved, factors) + own for values, own in zip((reading, current), shift, strict=True)
        ]
        found.append(Expected(fine[0], fine[1], reading_by, current_by, lost, shift, slope[:, nominal]))
    return found


def _interpolated(values: Real, solved: Sequence[float], factors: Real) -> Real:
    """Return figures (readings, soils solved) at all factors, (factors, readings)."""
    if len(solved) == 1:
        return np.repeat(values.T, len(factors), axis=0)
    return np.asarray(CubicSpline(np.log(solved), values, axis=1)(np.log(factors))).T


def _figures(
    response: Response, variant: Variant, state: int, asked: Sequence[Asked], *, equipment: Equipment
) -> tuple[Real, Real, NDArray[np.bool_], Real]:
    """Return readings and true currents on their scale, (readings, soils), which can't be given, and their slopes."""
    moved, stakes = dict(variant.moved), dict(variant.stakes)
    own = np.array([one.drives[0] for one in asked], dtype=np.int64)
    drive = np.array([moved.get(number, number) for number in own.tolist()], dtype=np.int64)
    rows = np.arange(len(asked))
    loop, available, per_a, own_a = (
        table[rows, :, state, drive]
        for table in (response.loop_ohm, response.available_a, response.per_a, response.own_a)
    )
    for number, ohm in stakes.items():
        loop[own == number] += ohm
        available[own == number] = _within(loop[own == number], equipment)
    level = np.array([one.level_a for one in asked])
    output = np.minimum(level[:, None], available)
    kind = np.array([one.kind for one in asked])[:, None]
    factor = np.where(np.char.endswith(kind, "_ma"), output * MA_PER_A, 1.0)
    value = np.select(
        [kind == "source_ma", kind == "source_v", kind == "source_ohm"],
        [output * MA_PER_A, output * np.abs(loop), np.abs(loop)],
        per_a * factor,
    )
    lost: NDArray[np.bool_] = np.isnan(value).any(axis=1)
    current = own_a * output * MA_PER_A
    depth = np.array([one.depth_m for one in asked])[:, None]
    instead = np.where(kind == "receiver_ma", current, np.where(kind == "peak_offset_m", 0.0, depth))
    value = np.where(np.isnan(value), instead, value)
    current = 0.5 * np.log(np.where(np.isnan(current), 0.0, current) ** 2 + CURRENT_FLOOR_MA**2)
    scaled = to_scale(asked, value)
    slope = response.slope_per_m[rows, :, state, drive] * np.where(kind == "peak_offset_m", 0.0, _above(value, scaled))
    return scaled, current, lost, slope


def _above(value: Real, scaled: Real) -> Real:
    """Return how far figures stand above the floor of their scale, 0 to 1: below it nothing changes."""
    return np.asarray(np.minimum(value**2 / np.exp(2.0 * np.minimum(scaled, 300.0)), 1.0))


def _within(loop: NDArray[np.complex128], equipment: Equipment) -> Real:
    source = equipment.transmitter
    limits = direct_output(
        loop,
        level_a=math.inf,
        max_voltage_v=source.max_voltage_v,
        max_current_a=source.max_current_ma / MA_PER_A,
        max_power_w=source.max_power_w,
    )
    return np.asarray(limits.current_a)


def judge(
    listed: Sequence[Hypothesis],
    expected: Sequence[Expected],
    asked: Sequence[Asked],
    values: Real,
    *,
    factors: Real,
    settings: ReadingSettings,
) -> Judged:
    """Weigh hypotheses and soils by the readings taken: an exact sum over both.

    Parameters
    ----------
    listed, expected : sequence
        Hypotheses, and what they lead to expect.
    asked : sequence of Asked
        All readings.
    values : ndarray, shape (readings,)
        On their scale; NaN where not taken.
    factors : ndarray, shape (soils,)
        On the soil, evenly spaced in the logarithm.
    settings : ReadingSettings
        Noise, outliers, soil.
    """
    taken = np.flatnonzero(~np.isnan(values))
    laws = [_law(one, asked, settings) for one in expected]
    prior = -0.5 * (np.log(factors) / settings.soil_spread) ** 2
    prior -= logsumexp(prior)
    seen = [
        evidence(
            values[taken] - one.reading[:, taken], law.of(taken),
            outlier_share=settings.outlier_share, outlier_spread=settings.outlier_spread,
        )
        for one, law in zip(expected, laws, strict=True)
    ]  # fmt: skip
    log = np.array([h.log_prior + prior + e.log for h, e in zip(listed, seen, strict=True)])
    weight = np.exp(log - logsumexp(log))
    wrong = np.full(len(asked), np.nan)
    wrong[taken] = np.einsum("hs,hsm->m", weight, np.array([e.wrong for e in seen]))
    reading, current = _after(expected, laws, seen, weight, values=values, taken=taken, settings=settings)
    spread = np.broadcast_to(np.sqrt(laws[0].variance), expected[0].reading.shape)
    return Judged(
        hypotheses=tuple(listed),
        expected=tuple(expected),
        weight=weight,
        wrong=wrong,
        factors=factors,
        reading=reading,
        current=current,
        before=(np.exp(prior), Gauss(expected[0].reading, spread)),
        laws=tuple(laws),
        taken=taken,
    )


def _law(one: Expected, asked: Sequence[Asked], settings: ReadingSettings) -> Law:
    share = math.hypot(settings.noise_share, settings.model_share)
    noise = np.array([share if a.logarithmic else settings.offset_noise_m for a in asked])
    common = _common(asked, settings)
    lost = np.where(one.lost, settings.outlier_spread**2, 0.0)
    place = one.slope_per_m * settings.station_m
    return Law(one.reading_by.T @ one.reading_by + common @ common.T, noise**2 + place**2 + lost)


def _common(asked: Sequence[Asked], settings: ReadingSettings) -> Real:
    """Return the factor that receiver currents of one line in one set-up share, (readings, groups)."""
    groups = sorted({(one.setup_id, one.line_id) for one in asked if one.kind == "receiver_ma"})
    columns = np.zeros((len(asked), len(groups)))
    for k, one in enumerate(asked):
        if one.kind == "receiver_ma":
            columns[k, groups.index((one.setup_id, one.line_id))] = settings.common_share
    return columns


def _after(
    expected: Sequence[Expected],
    laws: Sequence[Law],
    seen: Sequence[Evidence],
    weight: Real,
    *,
    values: Real,
    taken: NDArray[np.int64],
    settings: ReadingSettings,
) -> tuple[tuple[Real, Gauss], tuple[Real, Gauss]]:
    """Return the mixtures of another reading of each, and of the true currents, after those taken."""
    weights: list[Real] = []
    readings: list[tuple[Real, Real]] = []
    currents: list[tuple[Real, Real]] = []
    for h, (one, law) in enumerate(zip(expected, laws, strict=True)):
        use = np.flatnonzero(weight[h] > WORTH)
        weights.append(weight[h, use])
        off = values[taken] - one.reading[np.ix_(use, taken)]
        extra = np.where(seen[h].flagged[use], settings.outlier_spread**2, 0.0)
        again = conditional(off, law.of(taken), law.shared[:, taken], variance=law.variance, extra=extra)
        readings.append((one.reading[use] + again.mean, again.deviation))
        spread = np.einsum("gr,gr->r", one.current_by, one.current_by) + settings.model_share**2
        true = conditional(
            off, law.of(taken), one.current_by.T @ one.reading_by[:, taken], variance=spread, extra=extra
        )
        currents.append((one.current[use] + true.mean, true.deviation))
    total = np.concatenate(weights)
    mixtures = [
        (total / total.sum(), Gauss(*(np.concatenate([part[k] for part in parts]) for k in (0, 1))))
        for parts in (readings, currents)
    ]
    return mixtures[0], mixtures[1]


def told_apart(judged: Judged, first: int, second: int) -> float:
    """Return the log odds by which the readings taken would tell two hypotheses apart."""
    soil = int(judged.weight[first].argmax())
    taken = judged.taken
    return separation(
        judged.expected[first].reading[soil, taken],
        judged.expected[second].reading[:, taken],
        judged.laws[first].of(taken),
    )


def soils_solved(settings: ReadingSettings) -> tuple[float, ...]:
    """Return the factors on the soil that are solved; 1 is always one of them."""
    spaced = np.geomspace(settings.soil_low, settings.soil_high, settings.soil_points)
    spaced[np.abs(np.log(spaced)).argmin()] = 1.0
    return tuple(float(factor) for factor in spaced)


def soil_factors(settings: ReadingSettings) -> Real:
    """Return the factors on the soil that are judged, evenly spaced in the logarithm."""
    return np.geomspace(settings.soil_low, settings.soil_high, SOIL_STEPS)
