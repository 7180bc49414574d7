"""Both ends led back to the transmitter, and what only an owner may change: listed, judged, solved."""

from dataclasses import replace
from typing import Any

import geopandas as gpd
import pytest

from corridor import HookUp, Settings, Site, trace_tone
from corridor.couplings import find_bonds
from corridor.errors import HookUpError
from corridor.plan.gate import ENERGIZED_UTILITIES
from corridor.plan.hookups import find_hookups, select_hookup
from corridor.plan.prepare import hookup_of
from corridor.plan.variants import OWNER_RULE, OWNERS_ALONE
from corridor.settings import HookUpSettings, load_equipment
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, bond, cable, ground

EQUIPMENT = load_equipment(None)
WATER = {"utility": "water", "cathodic_protection": "no"}
RETURNED = "direct:A:S:returned"


def site_of(line: dict[str, Any] | None = None, *, end: dict[str, Any] | None = None, **tables: Any) -> Site:
    """Line A with an access point at each end; a keyword replaces a table."""
    structures = [
        {"structure_id": "S", "kind": "handhole", "access": "footway", "geometry": (0, 0)},
        {"structure_id": "T", "kind": "handhole", "access": "footway", "geometry": (LENGTH_M, 0)} | (end or {}),
    ]
    terminations = [
        {"structure_id": name, "line_id": "A", "at": at, "direct": "yes", "clamp": "yes"}
        for name, at in (("S", "start"), ("T", "end"))
    ]
    given = {
        "lines": [cable("A", **WATER) | (line or {})],
        "structures": structures,
        "terminations": terminations,
        "soil": [KNOWN_SOIL],
    }
    return make_site(**given | tables)


def found(site: Site, **hookups: Any) -> gpd.GeoDataFrame:
    settings = Settings(hookups=HookUpSettings(**{"return_lead_m": 100.0} | hookups))
    return find_hookups(site, find_bonds(site), equipment=EQUIPMENT, settings=settings)


def changes(site: Site) -> gpd.GeoDataFrame:
    table = found(site, allow_owner_changes=True)
    return table[table["owner_change"].notna()]


def test_both_ends_of_a_line_are_led_back() -> None:
    row = select_hookup(found(site_of()), RETURNED)
    assert row["ready"] == "ready"
    assert row["far_end"] == "returned"
    assert row["at_m"] == 0.0
    assert row[["stake_x_m", "stake_y_m", "stake_bearing_deg"]].isna().all()
    assert "The lead back from T lies 60 m over ground" in row["caution"]
    assert hookup_of(row) == HookUp("direct", "A", "S", 0.0, far_end="returned")


def test_the_others_keep_their_names_and_far_ends() -> None:
    table = found(site_of())
    assert table["hookup_id"].is_unique
    plain = table[table["hookup_id"].isin(["direct:A:S", "direct:A:T"])]
    assert plain["far_end"].tolist() == ["open", "open"]
    assert table.loc[table["mode"] != "direct", "far_end"].isna().all()


@pytest.mark.parametrize(("lead_m", "there"), [(59.0, False), (61.0, True)])
def test_the_ends_must_lie_near_each_other(lead_m: float, there: bool) -> None:
    assert (RETURNED in set(found(site_of(), return_lead_m=lead_m)["hookup_id"])) == there


def test_one_end_is_not_enough() -> None:
    site = site_of()
    alone = replace(site, terminations=site.terminations.iloc[:1])
    assert RETURNED not in set(found(alone)["hookup_id"])


def test_a_ring_has_no_two_ends() -> None:
    ring = {"geometry": [(0, 0), (20, 0), (20, 20), (0, 0)]}
    site = site_of(ring, end={"geometry": (0, 0)})
    assert RETURNED not in set(found(site)["hookup_id"])


def test_the_gate_has_the_worse_word_of_both_ends() -> None:
    locked = select_hookup(found(site_of(end={"access": "locked", "permit": "the water board"})), RETURNED)
    assert locked["ready"] == "not_ready"
    assert "T is locked" in locked["missing"]
    assert "the water board" in locked["missing"]
    site = site_of()
    barred = replace(site, terminations=site.terminations.assign(direct=["yes", "no"]))
    assert select_hookup(found(barred), RETURNED)["ready"] == "refused"
    live = select_hookup(found(site_of({"utility": "electricity"})), RETURNED)
    assert live["ready"] == "refused"


def traced(site: Site, hookup: str | HookUp) -> Any:
    settings = SETTINGS.model_copy(update={"hookups": HookUpSettings(return_lead_m=100.0, allow_owner_changes=True)})
    return trace_tone(site, hookup, frequency_hz=1e3, level_ma=50.0, settings=settings)


def test_led_back_the_whole_tone_goes_along_the_line_and_no_stake_is_in_the_loop() -> None:
    # Kirchhoff: what goes in at one end comes out at the other but for what leaks; common practice: the loop of a
    # jacketed line led back is of a few ohm, where a stake alone has more than a hundred
    site = site_of(grounds=[ground("A", 0.0), ground("A", LENGTH_M)])
    back, open_end = (traced(site, name) for name in (RETURNED, "direct:A:S"))
    assert back.sections["share_of_output"].min() > 0.9
    assert back.loop_ohm < 0.2 * open_end.loop_ohm


def test_nothing_is_proposed_for_the_owner_by_default() -> None:
    table = found(site_of(grounds=[ground("A", 0.0)]))
    assert table["owner_change"].isna().all()
    assert not HookUpSettings().allow_owner_changes


def test_changes_are_listed_and_never_ready() -> None:
    site = site_of(
        lines=[cable("A", **WATER), cable("B", 1.5, **WATER)],
        grounds=[ground("A", 0.0)],
        bonds=[bond("X", "B", (LENGTH_M, 0.75))],
    )
    table = changes(site).set_index("hookup_id")
    assert table["owner_change"].to_dict() == {
        "direct:A:S:grounded": "ground_far_end",
        "direct:A:S:lifted": "lift_ground",
        "direct:A:T:without:X": "open_bond",
    }
    assert table["ready"].eq("not_ready").all()
    assert table["missing"].str.startswith("by the owner only: ").all()
    assert table["reason"].eq(OWNER_RULE).all()
    assert "lift ground A@0 of A" in table.loc["direct:A:S:lifted", "missing"]
    assert "open bond X of A to B" in table.loc["direct:A:T:without:X", "missing"]
    assert "ground the far end of A at T" in table.loc["direct:A:S:grounded", "missing"]


@pytest.mark.parametrize(
    "line",
    [
        *({"utility": name, "energized": "no", "source": "log", "source_date": "2024-01-01"} for name in OWNERS_ALONE),
        {"utility": "water", "cathodic_protection": "yes"},
        {"utility": "water", "cathodic_protection": "unknown"},
        {"utility": "gas", "cathodic_protection": None},
    ],
    ids=lambda line: "-".join(str(value) for value in list(line.values())[:2]),
)
def test_never_on_grounds_that_protect_people_or_plant(line: dict[str, Any]) -> None:
    assert changes(site_of(line, grounds=[ground("A", 0.0)])).empty


def test_the_utilities_left_out_are_those_named() -> None:
    assert set(OWNERS_ALONE) == {*ENERGIZED_UTILITIES, "telecommunications", "unknown"}


@pytest.mark.parametrize(
    "change",
    [
        {"line_b": "earth"},
        {"state": "unknown"},
        {"state": "open"},
        {"evidence": "suspected", "probability": 0.3},
    ],
    ids=str,
)
def test_only_known_closed_bonds_between_lines_are_opened(change: dict[str, Any]) -> None:
    site = site_of(
        lines=[cable("A", **WATER), cable("B", 1.5, **WATER)], bonds=[bond("X", "B", (LENGTH_M, 0.75)) | change]
    )
    assert "open_bond" not in set(changes(site)["owner_change"])


def test_a_bond_to_anothers_plant_is_not_opened() -> None:
    site = site_of(lines=[cable("A", **WATER), cable("B", 1.5)], bonds=[bond("X", "B", (LENGTH_M, 0.75))])
    assert "open_bond" not in set(changes(site)["owner_change"])


def test_a_refused_hookup_has_no_variant() -> None:
    site = site_of(grounds=[ground("A", 0.0)])
    barred = replace(site, terminations=site.terminations.assign(direct="no"))
    assert changes(barred).empty


def test_a_change_can_be_traced_as_a_comparison() -> None:
    site = site_of(
        lines=[cable("A", **WATER), cable("B", 1.5, **WATER)],
        grounds=[ground("A", 0.0), ground("B", 0.0, 1.5)],
        bonds=[bond("X", "B", (LENGTH_M, 0.75))],
    )
    kept, opened = (traced(site, name) for name in ("direct:A:T", "direct:A:T:without:X"))
    other = [float(r.sections.loc[r.sections["line_id"] == "B", "current_ma"].max()) for r in (kept, opened)]
    assert other[1] < 0.2 * other[0]
    assert "a comparison only, with X taken as lifted" in opened.notes[0]
    assert traced(site, "direct:A:S:lifted").loop_ohm > traced(site, "direct:A:S").loop_ohm


def test_a_bond_that_isnt_there_cant_be_opened() -> None:
    with pytest.raises(HookUpError, match="the records have no Y on it"):
        traced(site_of(), HookUp("direct", "A", "S", opened_bond="Y"))


def test_only_a_direct_hookup_opens_a_bond() -> None:
    with pytest.raises(HookUpError, match="an opened bond with mode direct only"):
        HookUp("clamp", "A", "S", opened_bond="X")
