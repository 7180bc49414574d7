"""Extension points: found by metadata, loaded on demand, a broken one named and skipped."""

from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corridor import plugins
from corridor.plugins import GROUPS, Writer, list_plugins, load_plugin, load_plugins, plugin_points
from corridor.report.geojson import write_geojson


def _install(monkeypatch: pytest.MonkeyPatch, *points: EntryPoint) -> None:
    own = plugins.entry_points
    monkeypatch.setattr(
        plugins, "entry_points", lambda group: [*own(group=group), *(p for p in points if p.group == group)]
    )


def test_built_ins_come_through_the_same_door() -> None:
    assert {"check", "find", "bonds", "trace", "review", "plugins"} <= set(plugin_points("corridor.commands"))
    assert {"gpkg", "geojson"} <= set(load_plugins("corridor.writers"))
    assert load_plugins("corridor.writers")["geojson"] is write_geojson
    assert isinstance(write_geojson, Writer)


def test_names_are_sorted() -> None:
    names = list(plugin_points("corridor.commands"))
    assert names == sorted(names)


def test_a_broken_plug_in_warns_and_is_skipped(monkeypatch: pytest.MonkeyPatch) -> None:
    _install(monkeypatch, EntryPoint("csv", "no_such_package.writers:write", "corridor.writers"))
    with pytest.warns(UserWarning, match="'csv' of corridor.writers .* skipped: ModuleNotFoundError"):
        loaded = load_plugins("corridor.writers")
    assert "csv" not in loaded
    assert "gpkg" in loaded


def test_one_that_fails_in_its_own_way_is_skipped_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "sick_plug_in.py").write_text("1 / 0\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.warns(UserWarning, match="ZeroDivisionError"):
        assert load_plugin(EntryPoint("sick", "sick_plug_in:x", "corridor.readers")) is None


def test_nobody_replaces_a_built_in(monkeypatch: pytest.MonkeyPatch) -> None:
    _install(monkeypatch, EntryPoint("gpkg", "another.package:write", "corridor.writers"))
    assert plugin_points("corridor.writers")["gpkg"].value.startswith("corridor.report.")


def test_listing_loads_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    _install(monkeypatch, EntryPoint("csv", "no_such_package.writers:write", "corridor.writers"))
    listed = [p for p in list_plugins() if p.name == "csv"]
    assert [(p.group, p.package, p.version) for p in listed] == [("corridor.writers", "unknown", "unknown")]
    assert {p.package for p in list_plugins() if p.value.startswith("corridor.")} == {"corridor"}
    assert {p.group for p in list_plugins()} <= set(GROUPS)


def test_an_unknown_group_is_empty() -> None:
    assert load_plugins("corridor.nothing") == {}
