"""A signature of two frequencies: resistance and inductance of a loop from readings of its impedance's magnitude."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares, nnls
from scipy.stats import norm

from corridor.errors import DomainError

__all__ = ["Signature", "read_signature", "separates", "separation"]

Floats = NDArray[np.float64]

_FLOOR = 1e-4  # part of the smallest reading below which a resistance or reactance can't be told from none


@dataclass(frozen=True)
class Signature:
    """What readings of |Z| say of a loop.

    Attributes
    ----------
    resistance_ohm, resistance_error_ohm : ndarray, shape (k,)
        Of the loop with each stake position, and its standard error, ohm: stake, line and far end in series. Infinite
        where the readings don't tell.
    inductance_h, inductance_error_h : float
        Of the loop, the same for all positions, and its standard error, H.
    misfit : float
        Root mean square of the readings over the fit, less 1; above the noise, the loop isn't a resistance and an
        inductance in series.
    """

    resistance_ohm: Floats
    resistance_error_ohm: Floats
    inductance_h: float
    inductance_error_h: float
    misfit: float


def read_signature(
    frequency_hz: ArrayLike, reading_ohm: ArrayLike, stake: ArrayLike | None = None, *, noise: float = 0.02
) -> Signature:
    """Fit |Z|^2 = R^2 + (2 pi f L)^2, a resistance and an inductance in series, by least squares of log |Z|.

    Logarithms, because instruments err in proportion; the standard errors are those of nonlinear least squares at the
    noise stated (Seber and Wild 1989, Nonlinear Regression, chapter 2; from memory). Between the lower and the higher
    frequency 2 pi f L has to pass from below R to above it, else one of the two stays unsure, as its error then says.

    Parameters
    ----------
    frequency_hz, reading_ohm : array_like, shape (n,)
        Frequencies, Hz, and magnitudes read, ohm, all > 0; two different frequencies at least.
    stake : array_like of int, shape (n,), optional
        Stake position of each reading, 0..k-1: positions have resistances of their own and share the inductance. One
        position where not given.
    noise : float
        Standard deviation of a reading over the reading, > 0.

    Returns
    -------
    Signature

    Raises
    ------
    DomainError
        If shapes differ, numbers aren't > 0, there is one frequency only, or fewer readings than unknowns.
    """
    omega, z, at = _readings(frequency_hz, reading_ohm, stake)
    if not noise > 0:
        message = f"noise: expected a part > 0, got {noise!r}"
        raise DomainError(message)
    n_stakes = int(at.max()) + 1
    one_hot = np.eye(n_stakes)[at]
    # start: the same in squares is linear, weighted so that errors in proportion count alike
    start, _ = nnls(np.column_stack([one_hot, omega**2 / np.mean(omega**2)]) / z[:, None] ** 2, np.ones(z.size))
    start[-1] /= np.mean(omega**2)
    floor = np.append(np.full(n_stakes, _FLOOR * z.min()), _FLOOR * z.min() / omega.max())
    guess = np.log(np.maximum(np.sqrt(start), 2 * floor))

    def parts(logs: Floats) -> tuple[Floats, Floats]:
        return np.exp(2 * logs[at]), np.exp(2 * logs[-1]) * omega**2

    def residual(logs: Floats) -> Floats:
        return 0.5 * np.log(sum(parts(logs))) - np.log(z)

    def slope(logs: Floats) -> Floats:
        r2, x2 = parts(logs)
        return np.column_stack([one_hot * r2[:, None], x2]) / (r2 + x2)[:, None]

    fit = least_squares(residual, guess, jac=slope, bounds=(np.log(floor), np.inf), xtol=1e-12, ftol=1e-14, gtol=1e-14)
    values, error = np.exp(fit.x), _errors(slope(fit.x), noise)
    misfit = math.expm1(math.sqrt(float(np.mean(fit.fun**2))))
    return Signature(values[:-1], values[:-1] * error[:-1], float(values[-1]), float(values[-1] * error[-1]), misfit)


def separation(readings_a: ArrayLike, readings_b: ArrayLike, *, noise: float = 0.02) -> float:
    """Return how far two causes' predicted readings lie apart, in standard deviations of both spreads and the noise.

    Mahalanobis' distance of the logarithms, with the pooled covariance of the draws and the noise of reading, less what
    few draws add to it (Lachenbruch and Mickey 1968, Technometrics 10(1), 1-11: the estimator of D squared; from
    memory). Two equal normal spreads so far apart are mistaken for each other with probability Phi(-D/2).

    Parameters
    ----------
    readings_a, readings_b : array_like, shape (d, n)
        Magnitudes that each cause predicts in its draws for each of n readings, > 0, such as two frequencies at two
        stake positions; the numbers of draws may differ.
    noise : float
        Standard deviation of a reading over the reading, > 0.

    Returns
    -------
    float

    Raises
    ------
    DomainError
        If shapes don't fit, there are fewer than n + 4 draws together or none of one, or a number isn't > 0.
    """
    a, b = (np.asarray(given, dtype=np.float64) for given in (readings_a, readings_b))
    if a.ndim != 2 or b.ndim != 2 or a.shape[1] != b.shape[1] or not a.shape[1] or not len(a) or not len(b):
        message = f"expected draws of the same readings from both causes, (d, n), got {a.shape} and {b.shape}"
        raise DomainError(message)
    if not ((a > 0) & np.isfinite(a)).all() or not ((b > 0) & np.isfinite(b)).all() or not noise > 0:
        message = "expected finite readings and a noise > 0"
        raise DomainError(message)
    n_draws, n_readings = len(a) + len(b), a.shape[1]
    if n_draws < n_readings + 4:
        message = f"expected at least {n_readings + 4} draws for {n_readings} readings, got {n_draws}"
        raise DomainError(message)
    a, b = np.log(a), np.log(b)
    inner = np.concatenate([a - a.mean(axis=0), b - b.mean(axis=0)])
    spread = inner.T @ inner / (n_draws - 2) + noise**2 * np.eye(n_readings)
    apart = a.mean(axis=0) - b.mean(axis=0)
    squared = float(apart @ np.linalg.solve(spread, apart)) * (n_draws - n_readings - 3) / (n_draws - 2)
    return math.sqrt(max(squared - n_readings * (1 / len(a) + 1 / len(b)), 0.0))


def separates(readings_a: ArrayLike, readings_b: ArrayLike, *, noise: float = 0.02, mistaken: float = 0.1) -> bool:
    """Return whether readings tell two causes apart: mistaken for each other in at most so many cases.

    Parameters
    ----------
    readings_a, readings_b, noise
        As in `separation`.
    mistaken : float
        Probability of the wrong cause, 0 < mistaken < 0.5.

    Raises
    ------
    DomainError
        As `separation`, or if ``mistaken`` is out of range.
    """
    if not 0 < mistaken < 0.5:
        message = f"mistaken: expected a probability between 0 and 0.5, got {mistaken!r}"
        raise DomainError(message)
    return separation(readings_a, readings_b, noise=noise) >= -2 * float(norm.ppf(mistaken))


def _readings(
    frequency_hz: ArrayLike, reading_ohm: ArrayLike, stake: ArrayLike | None
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    f, z = np.asarray(frequency_hz, dtype=np.float64), np.asarray(reading_ohm, dtype=np.float64)
    at = np.zeros(f.shape, dtype=np.int64) if stake is None else np.asarray(stake, dtype=np.int64)
    if f.ndim != 1 or not f.shape == z.shape == at.shape:
        message = f"expected a frequency, a reading and a stake position each, got {f.shape}, {z.shape} and {at.shape}"
        raise DomainError(message)
    if not (np.isfinite(f) & (f > 0)).all() or not (np.isfinite(z) & (z > 0)).all():
        message = f"expected frequencies and readings > 0, got {f} Hz and {z} ohm"
        raise DomainError(message)
    if np.unique(f).size < 2:
        message = f"frequency_hz: expected two different frequencies at least, got {np.unique(f)}: read at another too"
        raise DomainError(message)
    n_stakes = int(at.max()) + 1
    if at.min() < 0 or np.unique(at).size != n_stakes or f.size < n_stakes + 1:
        message = (
            "stake: expected positions from 0 on without gaps, and one reading more than positions, got positions "
            f"{np.unique(at).tolist()} and {f.size} readings"
        )
        raise DomainError(message)
    return 2 * math.pi * f, z, at


def _errors(slope: Floats, noise: float) -> Floats:
    """Return standard errors of the logarithms; infinite for one that the readings don't hold."""
    _, size, right = np.linalg.svd(slope, full_matrices=False)
    held = size > 1e-9 * size[0]
    error = noise * np.sqrt(((right[held] / size[held, None]) ** 2).sum(axis=0))
    loose = (np.abs(right[~held]) > 1e-6).any(axis=0)
    return np.where(loose, np.inf, error)
