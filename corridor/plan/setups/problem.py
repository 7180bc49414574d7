"""The choice of set-ups as arrays: segments, candidates, what each gives each, and what of it counts as the best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError

__all__ = ["Problem", "make_problem"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TIE = 1e-9  # values nearer than this are equal: far below one part of any number of draws


@dataclass(frozen=True)
class Problem:
    """Segments with equal values are one row here.

    Attributes
    ----------
    length_m : ndarray, shape (r,)
        Summed lengths of the segments in a row, m.
    value : ndarray, shape (r, c)
        0..1, 0 where a candidate doesn't reach.
    best : ndarray, shape (r,)
        Best value of each row, of all candidates.
    preference : ndarray, shape (c,)
        Lower is liked better.
    near_best : ndarray of bool, shape (r, c)
        True where a value is above 0 and at least the row's best less ``near``.
    required : ndarray of bool, shape (r,)
        Rows that must have a near-best set-up whatever else.
    row_of : ndarray of int, shape (s,)
        The row of each segment.
    """

    length_m: Floats
    value: Floats
    best: Floats
    preference: Floats
    near_best: Bools
    required: Bools
    row_of: Ints

    @property
    def counted(self) -> Floats:
        """Values with near-best ones raised to the best, shape (r, c): what the first stage maximises."""
        return np.where(self.near_best, self.best[:, None], self.value)

    def readable_m(self, chosen: Ints, *, counted: bool = False) -> float:
        """Sum of length times the best chosen value, m; ``counted`` takes near-best values as the best."""
        value = self.value[:, chosen]
        if counted:
            value = np.where(self.near_best[:, chosen], self.best[:, None], value)
        return float(self.length_m @ value.max(axis=1, initial=0.0))

    def part(self, *, rows: Ints | None = None, columns: Ints | None = None) -> Problem:
        """Return some rows and columns only; what is best and near-best stays as it was in the whole."""
        r = np.arange(self.length_m.size) if rows is None else rows
        c = np.arange(self.preference.size) if columns is None else columns
        return Problem(
            self.length_m[r], self.value[np.ix_(r, c)], self.best[r], self.preference[c], self.near_best[np.ix_(r, c)],
            self.required[r], np.arange(r.size),
        )  # fmt: skip

    def assigned(self, chosen: Ints) -> Ints:
        """Best chosen candidate of each segment, -1 where none reaches; ties go to the liked one, then the first.

        Parameters
        ----------
        chosen : ndarray of int, shape (k,)
            Candidates.

        Returns
        -------
        ndarray of int, shape (s,)
        """
        if not chosen.size:
            return np.full(self.row_of.shape, -1, dtype=np.int64)
        liked = chosen[np.lexsort((chosen, self.preference[chosen]))]
        value = self.value[:, liked]
        first = np.argmax(value >= value.max(axis=1, keepdims=True) - TIE, axis=1)
        by_row = np.where(value.max(axis=1) > 0, liked[first], -1)
        return by_row[self.row_of]


def make_problem(
    length_m: ArrayLike,
    value: ArrayLike,
    *,
    preference: ArrayLike,
    near: float = 0.0,
    required: ArrayLike | None = None,
) -> Problem:
    """Return the arrays checked, with equal rows merged.

    Parameters
    ----------
    length_m : array_like, shape (s,)
        Lengths of the segments, m, >= 0.
    value : array_like, shape (s, c)
        Probability, or a score of 0..1, that a candidate shows a segment readable; NaN where it doesn't reach.
    preference : array_like, shape (c,)
        >= 0, lower is liked better.
    near : float
        How far below the best of its segment a value counts as the best, 0..1.
    required : array_like of bool, shape (s,), optional
        Segments that must have a near-best set-up whatever else.

    Returns
    -------
    Problem

    Raises
    ------
    DomainError
        If shapes differ, a number lies outside its range, or no candidate reaches a required segment.
    """
    lengths = _column("length_m", length_m)
    values = np.array(value, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != lengths.size:
        message = f"value: expected the shape ({lengths.size}, candidates) as length_m has it, got {values.shape}"
        raise DomainError(message)
    likes = _column("preference", preference)
    if likes.size != values.shape[1]:
        message = f"preference: expected one number for each of {values.shape[1]} candidates, got {likes.size}"
        raise DomainError(message)
    if not 0 <= near <= 1:
        message = f"near: expected 0 to 1, got {near!r}"
        raise DomainError(message)
    values[np.isnan(values)] = 0.0
    outside = (values < 0) | (values > 1)
    if outside.any():
        s, c = np.argwhere(outside)[0]
        message = f"value: expected 0 to 1, or NaN, got {values[s, c]} for segment {s} and candidate {c}"
        raise DomainError(message)
    must = np.zeros(lengths.size, dtype=bool) if required is None else np.asarray(required, dtype=bool)
    if must.shape != lengths.shape:
        message = f"required: expected one truth value for each of {lengths.size} segments, got the shape {must.shape}"
        raise DomainError(message)
    unreached = must & ~(values > 0).any(axis=1)
    if unreached.any():
        message = (
            f"required: expected segments that some candidate reaches, got {int(unreached.sum())} that none does, "
            f"the first is {int(np.argmax(unreached))}: leave them out, or add candidates"
        )
        raise DomainError(message)
    return _merge(lengths, values, likes, near=near, required=must)


def _column(name: str, given: ArrayLike) -> Floats:
    numbers = np.asarray(given, dtype=np.float64)
    if numbers.ndim != 1:
        message = f"{name}: expected one dimension, got the shape {numbers.shape}"
        raise DomainError(message)
    wrong = ~(np.isfinite(numbers) & (numbers >= 0))
    if wrong.any():
        message = f"{name}: expected finite numbers >= 0, got {numbers[wrong][0]} at {int(np.argmax(wrong))}"
        raise DomainError(message)
    return numbers


def _merge(lengths: Floats, values: Floats, likes: Floats, *, near: float, required: Bools) -> Problem:
    rows: dict[bytes, int] = {}
    row_of = np.array([rows.setdefault(row.tobytes(), len(rows)) for row in values + 0.0], dtype=np.int64)
    first = np.unique(row_of, return_index=True)[1] if row_of.size else np.zeros(0, dtype=np.int64)
    value = values[first]
    best = value.max(axis=1, initial=0.0)
    return Problem(
        np.bincount(row_of, weights=lengths, minlength=len(rows)).astype(np.float64),
        value,
        best,
        likes,
        (value > 0) & (value >= best[:, None] - near - TIE),
        np.bincount(row_of, weights=required, minlength=len(rows)) > 0,
        row_of,
    )
