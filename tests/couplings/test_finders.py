"""All couplings of a site, and finders from elsewhere."""

import geopandas as gpd
import pandas as pd
import pytest

from corridor.couplings import Couplings, find_bonds, find_couplings, find_crossings, find_parallel_runs, finders
from corridor.errors import InputError
from corridor.plugins import CouplingFinder
from corridor.settings import CouplingSettings, Settings
from corridor.site.model import Site
from tests.builders import make_site

SITE = make_site(
    lines=[
        {"line_id": "E1", "geometry": [(0, 0), (30, 0)]},
        {"line_id": "E2", "geometry": [(0, 1), (20, 1)]},
        {"line_id": "W1", "utility": "water", "asset": "pipe", "geometry": [(30, -0.2), (10, -5), (10, 9)]},
    ],
    structures=[{"structure_id": "B", "kind": "building_entry", "geometry": (30, 0)}],
)


def register(monkeypatch: pytest.MonkeyPatch, **plugins: object) -> None:
    monkeypatch.setattr(finders, "load_plugins", lambda group: plugins)


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


def test_finders_keep_the_protocol() -> None:
    assert all(isinstance(finder, CouplingFinder) for finder in finders.BUILT_IN.values())
    for name, finder in finders.BUILT_IN.items():
        pd.testing.assert_frame_equal(finder(SITE, settings=None), getattr(find_couplings(SITE), name))


def test_rows_of_a_plugin_follow_the_built_in_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    def doubtful(site: Site, *, settings: Settings | None = None) -> gpd.GeoDataFrame:
        return find_bonds(site, settings=settings).assign(bond_id="mine", rule="mine")

    register(monkeypatch, **{"bonds_found.mine": doubtful})
    found = find_couplings(SITE).bonds_found
    assert list(found["rule"]) == ["service_entrance_water", "mine"]
    assert found.crs == SITE.crs
    assert found.attrs == find_bonds(SITE).attrs


def test_a_plugin_may_be_the_only_one_that_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    bonds = find_bonds(SITE)
    register(monkeypatch, **{"bonds_found.mine": lambda site, *, settings=None: bonds})
    bare = make_site(lines=[{"line_id": "E1", "geometry": [(0, 0), (30, 0)]}])
    assert list(find_couplings(bare).bonds_found["bond_id"]) == list(bonds["bond_id"])


def test_a_plugin_that_forgets_columns_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    register(
        monkeypatch,
        **{"crossings.mine": lambda site, *, settings=None: find_crossings(site.lines).drop(columns="line_a")},
    )
    with pytest.raises(InputError, match=r"'crossings.mine': expected the columns of crossings, line_a not there"):
        find_couplings(SITE)
