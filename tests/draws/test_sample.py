"""Draws: evenly spread, the same for the same seed, with geometry drawn as seldom as asked."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.draws import Draws, Unknown, draw
from corridor.errors import DomainError

BOND = Unknown("bond X", "bond", "X", ("A", "B"), 0.25, 0.25, "suspected", 0)
DEPTH = Unknown("depth of A", "depth", "A", ("A",), 0.1, 0.3, "settings", 0)
STAKE = Unknown("stake", "stake", "", (), 0.4, 0.4, "settings")
ALL = (BOND, DEPTH, STAKE)


def drawn(count: int = 32, geometries: int = 8, seed: int = 0) -> Draws:
    return draw(ALL, count=count, geometries=geometries, seed=seed)


def test_each_switch_is_closed_in_its_share_of_the_draws() -> None:
    # Latin hypercube: one draw in each of the 32 layers, so exactly a quarter lie below 0.25 (McKay et al. 1979)
    assert drawn().value[:, 0].mean() == 0.25


def test_each_layer_of_a_latin_hypercube_holds_one_draw() -> None:
    table = drawn()
    stake = np.sort(table.value[:, 2])
    edges = STAKE.values(np.clip(np.arange(33) / 32, 1e-12, 1 - 1e-12))
    assert (stake >= edges[:-1]).all() and (stake <= edges[1:]).all()


def test_geometry_is_drawn_once_for_its_group() -> None:
    table = drawn()
    assert table.n_geometries == 8
    for geometry in range(8):
        assert len(np.unique(table.value[table.members(geometry), 1])) == 1
    assert len(np.unique(table.value[:, 1])) == 8
    assert len(np.unique(table.value[:, 2])) == 32


def test_the_seed_decides() -> None:
    assert np.array_equal(drawn().value, drawn().value)
    assert not np.array_equal(drawn().value, drawn(seed=1).value)


@given(count=st.integers(1, 40), geometries=st.integers(1, 40))
def test_every_draw_belongs_to_one_geometry(count: int, geometries: int) -> None:
    table = drawn(count, geometries)
    members = np.concatenate([table.members(g) for g in range(table.n_geometries)])
    assert sorted(members) == list(range(count))
    assert table.n_geometries == min(count, geometries)


@pytest.mark.parametrize(("count", "geometries"), [(0, 1), (1, 0), (-1, 4)])
def test_less_than_one_draw_is_refused(count: int, geometries: int) -> None:
    with pytest.raises(DomainError, match="expected 1 or more draws"):
        drawn(count, geometries)


def test_nothing_open_gives_draws_without_columns() -> None:
    assert draw((), count=4, geometries=2, seed=0).value.shape == (4, 0)
