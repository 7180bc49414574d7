"""Extension points: found by metadata, loaded on demand, a broken one named and skipped."""

from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corridor.errors import PlugInError
from corridor.plugins import GROUPS, PROTOCOLS, list_plugins, load_plugin, load_plugins, plugin_points
from corridor.report.layers.geojson import write_geojson
from tests.plug_ins import register

BUILT_IN = {
    "corridor.commands": {"check", "find", "bonds", "trace", "review", "plugins"},
    "corridor.readers": {"gpkg"},
    "corridor.couplings": {"parallel_runs", "crossings", "bonds_found"},
    "corridor.hookups": {"direct", "clamp", "induction"},
    "corridor.writers": {"gpkg", "geojson"},
}


@pytest.mark.parametrize("group", GROUPS)
def test_built_ins_come_through_the_same_door(group: str) -> None:
    assert BUILT_IN[group] <= set(plugin_points(group))
    loaded = load_plugins(group)
    assert BUILT_IN[group] <= set(loaded)
    assert all(isinstance(plugin, PROTOCOLS[group]) for plugin in loaded.values())


def test_what_is_loaded_is_the_function_itself() -> None:
    assert load_plugins("corridor.writers")["geojson"] is write_geojson


def test_every_group_has_a_protocol_that_says_what_to_return() -> None:
    assert list(PROTOCOLS) == list(GROUPS)
    for protocol in PROTOCOLS.values():
        methods = [value for name, value in vars(protocol).items() if name in ("__call__", "invoke")]
        assert len(methods) == 1
        assert "return" in (methods[0].__doc__ or "").lower()


def test_names_are_sorted() -> None:
    names = list(plugin_points("corridor.commands"))
    assert names == sorted(names)


def test_a_broken_plug_in_warns_and_is_skipped(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, EntryPoint("tsv", "no_such_package.writers:write", "corridor.writers"))
    with pytest.warns(UserWarning, match="'tsv' of corridor.writers .* skipped: ModuleNotFoundError"):
        loaded = load_plugins("corridor.writers")
    assert "tsv" not in loaded
    assert "gpkg" in loaded


def test_one_that_fails_in_its_own_way_is_skipped_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "sick_plug_in.py").write_text("1 / 0\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.warns(UserWarning, match="ZeroDivisionError"):
        assert load_plugin(EntryPoint("sick", "sick_plug_in:x", "corridor.readers")) is None


def test_nobody_replaces_a_built_in(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, EntryPoint("gpkg", "another.package:write", "corridor.writers"))
    with pytest.warns(UserWarning, match=r"'gpkg' of corridor.writers \(another.package:write\) skipped: a built-in"):
        points = plugin_points("corridor.writers")
    assert points["gpkg"].value.startswith("corridor.report.")


def test_of_two_plug_ins_of_one_name_the_second_is_named_and_skipped(monkeypatch: pytest.MonkeyPatch) -> None:
    points = [EntryPoint("tsv", value, "corridor.writers") for value in ("b.package:write", "a.package:write")]
    register(monkeypatch, *points)
    with pytest.warns(UserWarning, match=r"\(b.package:write\) skipped: the plug-in a.package:write has this name"):
        assert plugin_points("corridor.writers")["tsv"].value == "a.package:write"


def test_the_same_plug_in_found_twice_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    point = EntryPoint("tsv", "a.package:write", "corridor.writers")
    register(monkeypatch, point, point)
    assert plugin_points("corridor.writers")["tsv"] == point


def test_what_its_group_cannot_use_is_named_and_skipped(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, EntryPoint("tsv", f"{__name__}:BUILT_IN", "corridor.writers"))
    with pytest.warns(UserWarning, match=r"'tsv' .* skipped: expected a Writer \(corridor.plugins\), got dict"):
        assert "tsv" not in load_plugins("corridor.writers")


def test_what_is_required_comes_first_and_must_be_there() -> None:
    assert list(load_plugins("corridor.hookups", required=("induction", "direct")))[:2] == ["induction", "direct"]
    with pytest.raises(PlugInError, match=r"expected the built-ins dowsing of corridor.hookups"):
        load_plugins("corridor.hookups", required=("direct", "dowsing"))


def test_listing_loads_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, EntryPoint("tsv", "no_such_package.writers:write", "corridor.writers"))
    listed = [p for p in list_plugins() if p.name == "tsv"]
    assert [(p.group, p.package, p.version) for p in listed] == [("corridor.writers", "unknown", "unknown")]
    assert {p.package for p in list_plugins() if p.value.startswith("corridor.")} == {"corridor"}
    assert {p.group for p in list_plugins()} <= set(GROUPS)


def test_an_unknown_group_is_empty() -> None:
    assert load_plugins("corridor.nothing") == {}
