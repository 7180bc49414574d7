"""Rules of the shipped tables laid against rows: each row goes to the first rule that it fits."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["first_matches"]


def first_matches(
    rules: list[dict[str, Any]], columns: Mapping[str, pd.Series], rows: NDArray[np.bool_]
) -> Iterator[tuple[dict[str, Any], NDArray[np.bool_]]]:
    """Yield each rule with the rows that it is the first to fit, where there are any.

    Parameters
    ----------
    rules : list of dict
        First match first; a rule asks of a column one of the words it lists (or the one it states), and nothing of a
        column that it doesn't name.
    columns : mapping of str to Series
        What rules may ask of. Each word is compared once, however many rows have it.
    rows : ndarray of bool
        Those that are to go to a rule; not changed.
    """
    coded = {name: pd.factorize(values) for name, values in columns.items()}
    left = rows.copy()
    for rule in rules:
        hit = left.copy()
        for name, (codes, words) in coded.items():
            if name in rule:
                wanted = rule[name] if isinstance(rule[name], list) else [rule[name]]
                hit &= np.array([*(word in wanted for word in words), False])[codes]  # code -1: no word
        if hit.any():
            left &= ~hit
            yield rule, hit
