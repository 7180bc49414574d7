"""All couplings of a site, and finders from elsewhere."""

from collections.abc import Callable
from functools import partial
from importlib.metadata import EntryPoint

import geopandas as gpd
import pandas as pd
import pytest

from corridor.couplings import (
    Couplings,
    all_bonds,
    find_bonds,
    find_couplings,
    find_crossings,
    find_parallel_runs,
    finders,
)
from corridor.errors import DomainError, PlugInError
from corridor.plugins import CouplingFinder, load_plugins
from corridor.settings import CouplingSettings, Settings
from corridor.site.model import Site
from tests.builders import make_site
from tests.plug_ins import register

SITE = make_site(
    lines=[
        {"line_id": "E1", "geometry": [(0, 0), (30, 0)]},
        {"line_id": "E2", "geometry": [(0, 1), (20, 1)]},
        {"line_id": "W1", "utility": "water", "asset": "pipe", "geometry": [(30, -0.2), (10, -5), (10, 9)]},
    ],
    structures=[{"structure_id": "B", "kind": "building_entry", "geometry": (30, 0)}],
)


OTHER = make_site(
    lines=[{"line_id": "E1", "geometry": [(0, 0), (30, 0)]}, {"line_id": "W1", "geometry": [(0, 50), (30, 50)]}]
)


def doubtful(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    """One more bond, as a plug-in would find it."""
    return find_bonds(SITE, settings=settings).assign(bond_id="mine", rule="mine")


def forgetful(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    return find_crossings(site.lines).drop(columns="line_a")


def repeating(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    return find_crossings(site.lines)


def elsewhere(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    return doubtful(site).to_crs(32634)


def strange(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    return doubtful(site).assign(line_b="Z9")


def listing(site: Site, *, settings: Settings | None = None) -> list[str]:
    return ["a bond"]


def failing(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    return site.lines["no such column"]


def refusing(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
    raise DomainError("expected a map of the moon")


def plug_in(name: str, function: Callable[..., object]) -> EntryPoint:
    return EntryPoint(name, f"{__name__}:{function.__name__}", "corridor.couplings")


def test_each_table_is_its_finders() -> None:
    found = find_couplings(SITE)
    assert isinstance(found, Couplings)
    pd.testing.assert_frame_equal(found.parallel_runs, find_parallel_runs(SITE.lines))
    pd.testing.assert_frame_equal(found.crossings, find_crossings(SITE.lines))
    pd.testing.assert_frame_equal(found.bonds_found, find_bonds(SITE))
    assert [len(t) for t in (found.parallel_runs, found.crossings, found.bonds_found)] == [1, 2, 1]


def test_limits_come_from_the_settings() -> None:
    strict = Settings(couplings=CouplingSettings(min_length_m=21.0))
    assert find_couplings(SITE, settings=strict).parallel_runs.empty


def test_built_ins_come_through_the_door_and_keep_the_protocol() -> None:
    built_in = load_plugins("corridor.couplings")
    assert set(built_in) == {"parallel_runs", "crossings", "bonds_found"}
    for name, finder in built_in.items():
        assert isinstance(finder, CouplingFinder)
        pd.testing.assert_frame_equal(finder(SITE, settings=None), getattr(find_couplings(SITE), name))


def test_rows_of_a_plugin_follow_the_built_in_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("bonds_found.mine", doubtful))
    found = find_couplings(SITE).bonds_found
    assert list(found["rule"]) == ["service_entrance_water", "mine"]
    assert found.crs == SITE.crs
    assert found.attrs == find_bonds(SITE).attrs


def test_a_plugin_may_be_the_only_one_that_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("bonds_found.mine", doubtful))
    assert find_bonds(OTHER).empty
    assert list(find_couplings(OTHER).bonds_found["bond_id"]) == ["mine"]


def test_bonds_alone_are_the_same_table(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("bonds_found.mine", doubtful))
    pd.testing.assert_frame_equal(all_bonds(SITE), find_couplings(SITE).bonds_found)


def test_together_they_find_what_each_finds_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    together = find_couplings(SITE)
    apart = {table: partial(finder) for table, finder in load_plugins("corridor.couplings").items()}
    monkeypatch.setattr(finders, "_finders", lambda: apart)
    for table, frame in vars(find_couplings(SITE)).items():
        pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(getattr(together, table)))
        assert len(frame)


def test_a_plugin_never_replaces_a_built_in(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("bonds_found", doubtful))
    with pytest.warns(UserWarning, match=r"'bonds_found' of corridor.couplings \(.*:doubtful\) skipped: a built-in"):
        found = find_couplings(SITE).bonds_found
    pd.testing.assert_frame_equal(found, find_bonds(SITE))


@pytest.mark.parametrize(
    ("name", "function", "wrong"),
    [
        ("crossings.mine", forgetful, r"'crossings.mine' .*: expected the columns of crossings, line_a not there"),
        ("crossings.mine", repeating, "expected ids of its own, '.*' comes twice"),
        ("crossings.mine", listing, "expected a GeoDataFrame, got list"),
        ("bonds_found.mine", elsewhere, "expected the CRS of the site, EPSG:32633, got EPSG:32634"),
        ("bonds_found.mine", strange, "expected line_ids of the site, got 'Z9'"),
        ("bonds_found.mine", failing, "failed: KeyError: 'no such column'; mend or remove it"),
        ("rumours", doubtful, "expected a name that begins with parallel_runs, crossings, bonds_found and a dot"),
    ],
)
def test_a_plugin_that_does_it_wrong_is_named(
    monkeypatch: pytest.MonkeyPatch, name: str, function: Callable[..., object], wrong: str
) -> None:
    register(monkeypatch, plug_in(name, function))
    with pytest.raises(PlugInError, match=wrong):
        find_couplings(SITE)


def test_what_a_plugin_says_to_the_user_gets_there(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, plug_in("crossings.mine", refusing))
    with pytest.raises(DomainError, match="map of the moon"):
        find_couplings(SITE)
