"""Parts of a site's bonded networks: however the lines are shared out, joined they are the whole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings import find_bonds
from corridor.network.bonded import networks_of
from corridor.network.parts import Part, bond_structures, joined_parts, part_of
from corridor.settings import Settings
from tests.city.made_up import assert_same, random_city
from tests.network.small import small_site


def shared_out(seed: int, hands: int) -> tuple[Part, Part]:
    """The whole of a random city, and the same joined of parts that random lines make."""
    site, used = random_city(seed), Settings()
    bonds = find_bonds(site)
    ids = site.lines["line_id"].to_numpy(dtype=object)
    hand = np.random.default_rng(seed).integers(0, hands, len(ids))
    parts = [part_of(site, bonds, settings=used, owned=set(ids[hand == k])) for k in range(hands)]
    assert sum(len(part.bonds_found) for part in parts) == len(bonds)
    return part_of(site, bonds, settings=used), joined_parts(parts, bonds)


@settings(max_examples=5)
@given(seed=st.integers(0, 10**6), hands=st.integers(1, 5))
def test_parts_joined_are_the_whole(seed: int, hands: int) -> None:
    whole, joined = shared_out(seed, hands)
    assert joined.metal.edges == whole.metal.edges
    assert joined.metal.length_m == whole.metal.length_m
    assert set(joined.metal.parted) == set(whole.metal.parted)
    assert joined.edge_structures == whole.edge_structures
    assert [p.wkb for p in joined.edge_points] == [p.wkb for p in whole.edge_points]
    assert (whole.in_forest <= joined.in_forest).all(), "a part's forest may hold more, never less"
    assert set(joined.grounds["ground_id"]) == set(whole.grounds["ground_id"])
    for name in ("lines", "isolations"):
        assert_same(getattr(whole, name), getattr(joined, name), name)
    one, other = networks_of(whole), networks_of(joined)
    for name in vars(one):
        assert_same(getattr(one, name), getattr(other, name), name)


def test_a_part_has_what_is_its_own() -> None:
    site = small_site()
    part = part_of(site, find_bonds(site), settings=Settings(), owned={"E2", "G1"})
    assert part.lines["line_id"].tolist() == ["E2", "G1"]
    assert {edge.a[0] for edge in part.metal.edges} <= {"E2", "G1"}
    assert {node[0] for node in part.metal.length_m} == {"E2", "G1"}
    assert sum(part.metal.length_m.values()) == pytest.approx(40.0 + 60.0)
    assert part.grounds["ground_id"].tolist() == ["g1"]
    assert part.isolations["line_id"].tolist() == ["G1"]


def test_nothing_owned_is_an_empty_part() -> None:
    site = small_site()
    part = part_of(site, find_bonds(site), settings=Settings(), owned=set())
    assert not len(part.lines)
    assert not part.metal.edges
    assert part.in_forest.shape == (3, 0)
    whole = joined_parts([part, part_of(site, find_bonds(site), settings=Settings())], find_bonds(site))
    assert len(whole.lines) == len(site.lines)


def test_lines_that_carry_no_tone_stay_with_their_remark() -> None:
    site = small_site()
    lines = part_of(site, find_bonds(site), settings=Settings()).lines.set_index("line_id")
    assert lines.loc["P1", "remark"] == "carries no tone: conductive is no"
    assert lines["conducts"].tolist() == [name != "P1" for name in lines.index]


def test_structures_of_bonds() -> None:
    site = small_site()
    bonds = find_bonds(site)
    assert set(bond_structures(bonds).values()) == {"B1"}
    assert set(bond_structures(bonds)) == set(bonds["bond_id"])
