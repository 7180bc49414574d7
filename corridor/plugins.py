"""Extension points: five entry-point groups, each with a small protocol; the built-ins come in by the same door."""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

__all__ = [
    "GROUPS",
    "CouplingFinder",
    "HookUpSource",
    "PlugIn",
    "Reader",
    "Writer",
    "list_plugins",
    "load_plugin",
    "load_plugins",
    "plugin_points",
]

GROUPS = {
    "corridor.commands": "a click command, by its name",
    "corridor.readers": "reads the layers of a file, by suffix",
    "corridor.couplings": "finds where tone can jump, by what it finds",
    "corridor.hookups": "proposes hook-ups, by mode",
    "corridor.writers": "writes result layers, by suffix",
}


@runtime_checkable
class Reader(Protocol):
    """Group ``corridor.readers``, named by suffix without the dot."""

    def __call__(self, path: Path) -> Mapping[str, Any]:
        """Return the file's layers by name, as GeoDataFrames (DataFrames where they have no geometry)."""
        ...


@runtime_checkable
class CouplingFinder(Protocol):
    """Group ``corridor.couplings``, named by the table it fills."""

    def __call__(self, site: Any, *, settings: Any = None) -> Any:
        """Return a GeoDataFrame of couplings between the lines of the site."""
        ...


@runtime_checkable
class HookUpSource(Protocol):
    """Group ``corridor.hookups``, named by mode."""

    def __call__(self, site: Any, *, equipment: Any, settings: Any) -> Any:
        """Return candidate hook-ups, as a frame with the columns of ``hookups``; the hazard gate judges them."""
        ...


@runtime_checkable
class Writer(Protocol):
    """Group ``corridor.writers``, named by suffix without the dot."""

    def __call__(self, path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
        """Write the tables to ``path``, which doesn't exist yet; the caller renames it into place."""
        ...


@dataclass(frozen=True)
class PlugIn:
    """What is known of one plug-in without loading it."""

    group: str
    name: str
    value: str
    package: str
    version: str


def plugin_points(group: str) -> dict[str, EntryPoint]:
    """Return a group's entry points by name, sorted, none of them loaded.

    The project's own come first: nobody else's plug-in may take the place of a built-in of the same name.
    """
    points = sorted(entry_points(group=group), key=lambda p: (p.name, not _is_builtin(p), p.value))
    found: dict[str, EntryPoint] = {}
    for point in points:
        found.setdefault(point.name, point)
    return found


def load_plugin(point: EntryPoint) -> Any | None:
    """Load one plug-in; None, with a warning that names it, if it fails."""
    try:
        return point.load()
    except Exception as error:  # a stranger's code may fail in any way
        message = f"plug-in {point.name!r} of {point.group} ({point.value}) skipped: {type(error).__name__}: {error}"
        warnings.warn(message, stacklevel=2)
        return None


def load_plugins(group: str) -> dict[str, Any]:
    """Return a group's plug-ins by name; one that fails to load is named in a warning and left out."""
    loaded = {name: load_plugin(point) for name, point in plugin_points(group).items()}
    return {name: plugin for name, plugin in loaded.items() if plugin is not None}


def list_plugins() -> list[PlugIn]:
    """Return what is installed in every group, sorted by group and name, without loading any of it."""
    return [
        PlugIn(group=group, name=name, value=point.value, package=_package(point), version=_version(point))
        for group in GROUPS
        for name, point in plugin_points(group).items()
    ]


def _is_builtin(point: EntryPoint) -> bool:
    return point.value.partition(":")[0].split(".")[0] == "corridor"


def _package(point: EntryPoint) -> str:
    return point.dist.name if point.dist else "unknown"


def _version(point: EntryPoint) -> str:
    return point.dist.version if point.dist else "unknown"
