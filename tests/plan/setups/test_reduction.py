"""Reductions lose no best answer."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.plan.setups import reduction
from corridor.plan.setups.reduction import components, least_rows, undominated


def covering(seed: int, rows: int = 8, columns: int = 8) -> np.ndarray:
    covers = np.random.default_rng(seed).random((rows, columns)) < 0.35
    covers[np.arange(rows), np.arange(rows) % columns] = True
    return covers


def fewest(covers: np.ndarray) -> int:
    columns = range(covers.shape[1])
    return next(
        k
        for k in range(covers.shape[1] + 1)
        if any(covers[:, list(c)].any(axis=1).all() for c in combinations(columns, k))
    )


@given(st.integers(0, 2**32 - 1))
def test_fewer_rows_and_columns_need_as_many(seed: int) -> None:
    covers = covering(seed)
    rows = least_rows(covers)
    assert fewest(covers[rows]) == fewest(covers)
    columns = undominated(covers)
    assert fewest(covers[:, columns]) == fewest(covers)


def test_rows_that_follow_from_others_go() -> None:
    covers = np.array([[1, 1, 0], [1, 0, 0], [1, 0, 0], [0, 1, 1]], dtype=bool)
    assert least_rows(covers).tolist() == [1, 3]


def test_columns_go_only_where_another_is_as_good_in_everything() -> None:
    covers = np.array([[1, 1, 1], [1, 1, 0]], dtype=bool)
    assert undominated(covers).tolist() == [0]
    assert undominated(covers, preference=np.array([2.0, 1.0, 0.0])).tolist() == [1, 2]
    value = np.array([[0.9, 0.8, 0.8], [0.5, 0.6, 0.0]])
    assert undominated(covers, value=value).tolist() == [0, 1]
    assert undominated(covers, value=value, preference=np.array([1.0, 1.0, 0.5])).tolist() == [0, 1, 2]


@given(st.integers(0, 2**32 - 1))
def test_whatever_goes_is_dominated_by_something_that_stays(seed: int) -> None:
    rng = np.random.default_rng(seed)
    covers = rng.random((4, 9)) < 0.5
    value, likes = rng.integers(0, 3, (4, 9)) / 2, rng.integers(0, 3, 9).astype(float)
    stays = undominated(covers, value=value, preference=likes)
    for column in set(range(9)) - set(stays.tolist()):
        assert any(
            (covers[:, other] >= covers[:, column]).all()
            and (value[:, other] >= value[:, column]).all()
            and likes[other] <= likes[column]
            for other in stays
        )


def test_blocks_of_columns_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    covers = covering(3, 12, 40)
    whole = undominated(covers)
    monkeypatch.setattr(reduction, "_BLOCK", 7)
    assert undominated(covers).tolist() == whole.tolist()


def test_components_share_no_column() -> None:
    covers = np.array([[1, 1, 0, 0, 0], [0, 0, 0, 1, 0], [0, 1, 1, 0, 0], [0, 0, 0, 0, 0]], dtype=bool)
    found = [(rows.tolist(), columns.tolist()) for rows, columns in components(covers)]
    assert found == [([0, 2], [0, 1, 2]), ([1], [3])]
    assert components(np.zeros((0, 3), dtype=bool)) == []


@given(st.integers(0, 2**32 - 1))
def test_components_add_up(seed: int) -> None:
    covers = np.random.default_rng(seed).random((7, 7)) < 0.2
    covers[np.arange(7), np.arange(7)] = True
    parts = components(covers)
    assert sorted(np.concatenate([rows for rows, _ in parts]).tolist()) == list(range(7))
    assert sum(fewest(covers[np.ix_(rows, columns)]) for rows, columns in parts) == fewest(covers)
