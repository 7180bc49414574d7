"""What readings say, carried into the records: never less strict than before."""

import math
from dataclasses import replace

import pytest

from corridor.couplings import find_bonds
from corridor.network.build import build_network
from corridor.plan.ties import hazard_ties
from corridor.readings.carry import carried
from corridor.readings.causes import Suspect
from corridor.site.model import Site
from corridor.tone.model import SoilRange
from tests.builders import make_site
from tests.plan.conftest import cable, square

SOIL = SoilRange(100.0, 50.0, 200.0, 10.0, "records")
FACTOR = (0.8, 1.25, 1.5)


def site(**bond: object) -> Site:
    row = {"bond_id": "X", "line_a": "A", "line_b": "B", "geometry": (60.0, 0.9), "state": "unknown",
           "evidence": "suspected", "probability": 0.3, "resistance_ohm": 0.01} | bond  # fmt: skip
    return make_site(
        lines=[cable("A"), cable("B", 1.8, utility="electricity", energized="yes")], bonds=[row],
        soil=[square(resistivity_ohm_m=100.0, low_ohm_m=50.0, high_ohm_m=200.0)],
    )  # fmt: skip


def suspect(kind: str, **more: object) -> Suspect:
    base = Suspect(kind, "A", "B", "bond X", (60.0, 0.9), source_id="X", odds=0.1)
    return replace(base, **more)  # type: ignore[arg-type]


def after(records: Site, cause: Suspect, chance: float) -> tuple[Site, list[str]]:
    return carried(records, find_bonds(records), [cause], [chance], soil=SOIL, soil_factor=FACTOR)


def ties(records: Site) -> int:
    bonds = find_bonds(records)
    network = build_network(records, bonds)
    return len(hazard_ties(records.lines, bonds, network.links, targets=["A"])["A"])


def test_a_suspected_bond_gets_its_probability() -> None:
    changed, notes = after(site(), suspect("bond_conducts"), 0.94)
    assert changed.bonds["probability"].tolist() == [0.94]
    assert changed.bonds["evidence"].tolist() == ["suspected"]
    assert changed.bonds["state"].tolist() == ["unknown"]
    assert any("bond X: probability 0.94" in note for note in notes)
    row = build_network(changed, find_bonds(changed)).links.iloc[0]
    assert bool(row["closed"])
    assert bool(row["switchable"])


@pytest.mark.parametrize("chance", [0.0, 0.01, 0.99])
@pytest.mark.parametrize("kind", ["bond_conducts", "bond_open"])
@pytest.mark.parametrize("bond", [{}, {"evidence": "recorded", "state": "closed", "probability": 1.0},
                                  {"evidence": "recorded", "state": "open", "probability": 0.0}])  # fmt: skip
def test_no_tie_to_an_energized_line_is_lost(chance: float, kind: str, bond: dict[str, object]) -> None:
    # docs/safety.md: an uncertain bond counts as a tie however unlikely; readings must not take one away
    before = site(**bond)
    changed, _ = after(before, suspect(kind), chance)
    assert ties(changed) >= ties(before)


def test_a_bond_recorded_as_closed_stays_so_and_is_told() -> None:
    before = site(evidence="recorded", state="closed", probability=1.0)
    changed, notes = after(before, suspect("bond_open"), 0.97)
    assert changed.bonds["state"].tolist() == ["closed"]
    assert changed.bonds["probability"].tolist() == [1.0]
    assert any("stays so" in note and "0.97" in note for note in notes)


def test_beside_a_bond_recorded_as_open_stands_a_suspected_one() -> None:
    before = site(evidence="recorded", state="open", probability=0.0)
    changed, _ = after(before, suspect("bond_conducts"), 0.6)
    assert changed.bonds["state"].tolist() == ["open", "unknown"]
    assert changed.bonds["evidence"].tolist() == ["recorded", "suspected"]
    assert changed.bonds["bond_id"].iloc[1].startswith("readings~")


@pytest.mark.parametrize(("chance", "rows"), [(0.1, 1), (0.2, 2), (0.9, 2)])
def test_a_hidden_bond_is_carried_from_a_fifth(chance: float, rows: int) -> None:
    changed, _ = after(site(), suspect("hidden_bond", source_id=None, place="crossing"), chance)
    assert len(changed.bonds) == rows
    if rows == 2:
        new = changed.bonds.iloc[1]
        assert (new["evidence"], new["state"], new["probability"]) == ("suspected", "unknown", chance)
        assert new.geometry.coords[0] == (60.0, 0.9)


@pytest.mark.parametrize(("chance", "rows"), [(0.4, 0), (0.6, 1)])
def test_a_hidden_ground_is_carried_from_one_half(chance: float, rows: int) -> None:
    changed, _ = after(site(), suspect("hidden_ground", line_b=None, source_id=None, place="60 m along it"), chance)
    assert len(changed.grounds) == rows
    if rows:
        assert changed.grounds["evidence"].tolist() == ["suspected"]


@pytest.mark.parametrize("kind", ["joint_open", "poor_stake", "wrong_line", "joints_conduct", "ground_open"])
def test_what_the_records_have_no_place_for_is_told(kind: str) -> None:
    before = site()
    changed, notes = after(before, suspect(kind), 0.9)
    assert changed.bonds is before.bonds
    assert changed.grounds is before.grounds
    assert any("check it on site first" in note for note in notes)
    assert not any("on site" in note for note in after(before, suspect(kind), 0.1)[1])


def test_soil_is_scaled_and_its_range_is_that_of_the_readings() -> None:
    changed, notes = after(site(), suspect("joint_open"), 0.0)
    assert changed.soil[["resistivity_ohm_m", "low_ohm_m", "high_ohm_m"]].iloc[0].tolist() == [125.0, 80.0, 150.0]
    assert any("125 ohm m in place of 100" in note for note in notes)


def test_where_the_records_have_no_soil_it_lies_round_all_lines() -> None:
    bare = replace(site(), soil=make_site().soil)
    changed, _ = after(bare, suspect("joint_open"), 0.0)
    assert changed.soil["resistivity_ohm_m"].tolist() == [125.0]
    assert changed.soil.geometry.iloc[0].contains(bare.lines.union_all())
    assert math.isnan(changed.soil["top_thickness_m"].iloc[0])


def test_the_records_themselves_stay() -> None:
    before = site()
    copies = {name: getattr(before, name).copy() for name in ("bonds", "grounds", "soil", "lines")}
    after(before, suspect("bond_conducts"), 0.94)
    for name, copy in copies.items():
        assert getattr(before, name).equals(copy), name
