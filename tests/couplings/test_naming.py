"""Names of what pairs of lines have together."""

import numpy as np

from corridor.couplings.naming import PairNames

IDS = np.array(["A", "b~", "ü"], dtype=object)


def test_findings_of_a_pair_are_numbered_from_one() -> None:
    a, b = np.array([0, 0, 0, 1, 1]), np.array([1, 2, 2, 2, 2])
    assert PairNames(IDS).of(a, b).tolist() == ["A~b~~1", "A~ü~1", "A~ü~2", "b~~ü~1", "b~~ü~2"]


def test_nothing_is_named_nothing() -> None:
    assert PairNames(IDS).of(np.empty(0, int), np.empty(0, int)).tolist() == []
