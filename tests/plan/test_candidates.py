"""Places for hook-ups: the built-in modes, and plug-ins that add to them under the gate's eyes."""

from collections.abc import Callable
from importlib.metadata import EntryPoint
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest

from corridor.couplings import find_bonds
from corridor.errors import HookUpError, PlugInError
from corridor.plan.candidates import candidate_places, clamp, direct, induction
from corridor.plan.hookups import find_hookups, select_hookup
from corridor.settings import Settings, load_equipment
from corridor.site.model import Site
from tests.builders import make_site
from tests.plug_ins import register

SETTINGS = Settings()
SITE = make_site(
    lines=[
        {"line_id": "E-1", "utility": "electricity", "geometry": [(0, 8), (100, 8)]},
        {"line_id": "T-1", "utility": "telecommunications", "geometry": [(0, 0), (100, 0)]},
    ],
    structures=[
        {"structure_id": "M-1", "kind": "manhole", "utility": "electricity", "access": "footway", "geometry": (50, 8)},
        {"structure_id": "P-1", "kind": "pedestal", "access": "verge", "geometry": (100, 0)},
    ],
    terminations=[
        {"structure_id": "P-1", "line_id": "T-1", "at": "end", "direct": "yes", "clamp": "yes"},
        {"structure_id": "M-1", "line_id": "E-1", "at": "through", "direct": "yes", "clamp": "no"},
    ],
)
Source = Callable[..., pd.DataFrame]


def every_line(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    """Direct, at the manhole, whatever the records say."""
    return pd.DataFrame({"line_id": targets["line_id"], "structure_id": "M-1", "at_m": 50.0})


def with_a_key(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": ["T-1"], "at_m": [21.0], "missing": ["the key of the yard"]})


def nothing(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": [], "at_m": []})


def off_the_line(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": ["T-1"], "at_m": [100.5]})


def off_the_records(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": ["X-9"], "at_m": [1.0]})


def without_place(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": ["T-1"]})


def greedy(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    raise MemoryError


def failing(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    return pd.DataFrame({"line_id": 1 / 0})


def refusing(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    raise HookUpError("expected a yard")


def plug_in(name: str, function: Source) -> EntryPoint:
    return EntryPoint(name, f"{__name__}:{function.__name__}", "corridor.hookups")


def found() -> gpd.GeoDataFrame:
    return find_hookups(SITE, find_bonds(SITE), equipment=load_equipment("large_output"), settings=SETTINGS)


@pytest.mark.parametrize("source", [direct, clamp])
def test_a_line_is_touched_where_it_meets_a_structure(source: Source) -> None:
    table = source(SITE, targets=SITE.lines, settings=SETTINGS)
    assert table.to_dict("list") == {
        "line_id": ["E-1", "T-1"], "structure_id": ["M-1", "P-1"], "at": ["through", "end"], "at_m": [50.0, 100.0],
    }  # fmt: skip
    one = source(SITE, targets=SITE.lines[SITE.lines["line_id"] == "T-1"], settings=SETTINGS)
    assert one["line_id"].tolist() == ["T-1"]


def test_induction_keeps_to_the_targets_and_to_the_spacing() -> None:
    targets = SITE.lines[SITE.lines["line_id"] == "T-1"]
    table = induction(SITE, targets=targets, settings=SETTINGS)
    assert set(table["line_id"]) == {"T-1"}
    assert len(table) == round(100 / SETTINGS.hookups.induction_spacing_m)
    assert table["at_m"].between(0, 100).all()


def test_no_targets_no_places() -> None:
    assert candidate_places(SITE, SITE.lines.iloc[:0], settings=SETTINGS) == []


def test_built_in_places_come_first() -> None:
    places = candidate_places(SITE, SITE.lines, settings=SETTINGS)
    assert list(dict.fromkeys(place["mode"] for place in places)) == ["direct", "clamp", "induction"]
    assert {place["missing"] for place in places} == {None}


def test_the_gate_judges_what_a_plug_in_proposes(monkeypatch: pytest.MonkeyPatch) -> None:
    before = found()
    register(monkeypatch, plug_in("direct.everywhere", every_line))
    after = found()
    added = after[~after["hookup_id"].isin(before["hookup_id"])].set_index("hookup_id")
    live, unknown = added.loc["direct:E-1:M-1:2"], added.loc["direct:T-1:M-1"]
    assert len(added) == 2
    assert (live["ready"], live["reason"].split(":")[0]) == ("refused", "energized_conductor")
    # the records don't say that T-1 can be reached at the manhole
    assert (unknown["ready"], unknown["reason"].split(":")[0]) == ("not_ready", "access_unknown")
    kept = after[after["hookup_id"].isin(before["hookup_id"])].reset_index(drop=True)
    pd.testing.assert_frame_equal(pd.DataFrame(kept), pd.DataFrame(before))


def test_what_a_source_misses_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("induction.yard", with_a_key))
    row = select_hookup(found(), "induction:T-1:21m")
    told: dict[str, Any] = row[["ready", "missing", "reason"]].to_dict()
    assert told == {
        "ready": "not_ready", "missing": "the key of the yard", "reason": "source: the key of the yard comes first",
    }  # fmt: skip


def test_a_source_may_find_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    before = found()
    register(monkeypatch, plug_in("clamp.none", nothing))
    pd.testing.assert_frame_equal(pd.DataFrame(found()), pd.DataFrame(before))


def test_a_plug_in_never_replaces_a_mode(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("direct", every_line))
    with pytest.warns(UserWarning, match=r"'direct' of corridor.hookups .*every_line\) skipped: a built-in has this"):
        assert "direct:T-1:M-1" not in found()["hookup_id"].tolist()


@pytest.mark.parametrize(
    ("name", "function", "wrong"),
    [
        ("induction.far", off_the_line, r"'induction.far' .*: expected at_m within the 100.00 m of T-1, got 100.5"),
        ("induction.far", off_the_records, "expected the line_id of a target, got 'X-9'"),
        ("clamp.none", with_a_key, "expected a structure_id of the site for T-1, got None"),
        ("clamp.none", without_place, "expected the columns line_id and at_m, at_m not there"),
        ("clamp.none", failing, "failed: ZeroDivisionError"),
        ("dowsing", nothing, "expected a name that begins with direct, clamp, induction and a dot"),
    ],
)
def test_a_plug_in_that_does_it_wrong_is_named(
    monkeypatch: pytest.MonkeyPatch, name: str, function: Source, wrong: str
) -> None:
    register(monkeypatch, plug_in(name, function))
    with pytest.raises(PlugInError, match=wrong):
        found()


def test_want_of_memory_is_no_fault_of_the_source(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("clamp.none", greedy))
    with pytest.raises(MemoryError):  # for which the commands have a sentence of their own
        found()


def test_what_a_plug_in_says_to_the_user_gets_there(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("clamp.none", refusing))
    with pytest.raises(HookUpError, match="expected a yard"):
        found()
