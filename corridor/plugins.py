"""Extension points: five entry-point groups, each with a small protocol; the built-ins come in by the same door.

A plug-in adds, it never replaces: one that takes a name already given is named in a warning and left out, and so is one
that can't be loaded or is nothing the group can use. docs/plug_ins.md shows one of each group.
"""

import sys
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import metadata
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any, Protocol, TypeVar, runtime_checkable

from corridor.errors import PlugInError

__all__ = [
    "GROUPS",
    "PROTOCOLS",
    "Command",
    "CouplingFinder",
    "HookUpSource",
    "PlugIn",
    "Reader",
    "Writer",
    "folder_writer",
    "list_plugins",
    "load_plugin",
    "load_plugins",
    "plugin_points",
]

_PACKAGE = "corridor"

GROUPS = {
    "corridor.commands": "a click command, by its name",
    "corridor.readers": "reads the layers of a file, by suffix",
    "corridor.couplings": "finds where tone can jump, by the table it fills",
    "corridor.hookups": "proposes hook-ups, by mode",
    "corridor.writers": "writes result layers, by suffix",
}


@runtime_checkable
class Command(Protocol):
    """Group ``corridor.commands``, named as it is typed: a ``click.Command``.

    It prints with ``click.echo``, reads and writes files only where it is told to, and raises subclasses of
    ``corridor.errors.CorridorError`` for what its user can act on; the program turns them into one line and exit
    code 1.
    """

    name: str | None

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        """Parse the command line; click's own."""
        ...

    def invoke(self, ctx: Any) -> Any:
        """Run; click's own. What it returns isn't used."""
        ...


@runtime_checkable
class Reader(Protocol):
    """Group ``corridor.readers``, named by suffix: lower case, without the dot."""

    def __call__(self, path: Path) -> Mapping[str, Any]:
        """Return the file's layers by name, as GeoDataFrames (DataFrames where they have no geometry).

        Rows are the file's features, all of them, as they are: mapping, repair and accounting come after. A layer
        with geometry states its CRS, or none if the file states none. ``InputError`` says why a file can't be read.
        """
        ...


@runtime_checkable
class CouplingFinder(Protocol):
    """Group ``corridor.couplings``, named by the table it adds to, a dot and a word of its own: ``crossings.mine``.

    The tables are ``parallel_runs``, ``crossings`` and ``bonds_found``.
    """

    def __call__(self, site: Any, *, settings: Any = None) -> Any:
        """Return a GeoDataFrame with every column of the table (docs/data_dictionary.md), in the CRS of the site.

        Its rows follow the built-in ones; ids that those have already may not come again. ``line_a < line_b``, both
        of the site (``line_b`` of a bond may be ``earth``). Nothing found is an empty frame with the same columns.
        A bond that nobody recorded or saw is ``inferred`` or ``suspected`` and has a probability.
        """
        ...


@runtime_checkable
class HookUpSource(Protocol):
    """Group ``corridor.hookups``, named by mode, or by mode, a dot and a word of its own: ``induction.mine``.

    The modes are ``direct``, ``clamp`` and ``induction``.
    """

    def __call__(self, site: Any, *, targets: Any, settings: Any) -> Any:
        """Return a DataFrame of places for hook-ups of this mode on the targets.

        ``targets`` are the rows of the site's lines that are to be located; all of them conduct. Columns: ``line_id``
        (a target) and ``at_m`` (along it, m); for direct and clamp also ``structure_id`` (of the site), and ``at``
        (start, end, through, tap) where a line meets a structure more than once; optional ``missing`` (what has to be
        there first; makes the hook-up NOT READY). The hazard gate judges every place by the records; no source can say
        that one is ready. Ids and stakes are added afterwards.
        """
        ...


@runtime_checkable
class Writer(Protocol):
    """Group ``corridor.writers``, named by suffix: lower case, without the dot."""

    def __call__(self, path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
        """Write the tables to ``path``, which doesn't exist yet; the caller renames it into place.

        A writer marked with ``folder_writer`` gets an empty folder instead, for formats of one table a file. Every
        table is a GeoDataFrame, its geometry may be all NULL. ``metadata`` holds the ``caution``, which must be
        readable in the file, and the receipt. Returns nothing; ``OutputError`` says why something can't be written.
        """
        ...


W = TypeVar("W", bound=Callable[..., Any])


def folder_writer(*, needs: tuple[str, ...] = ()) -> Callable[[W], W]:
    """Return a decorator for a writer that fills a folder; ``needs`` names modules that an extra installs."""

    def mark(writer: W) -> W:
        writer.__dict__.update(makes_folder=True, needs=needs)
        return writer

    return mark


PROTOCOLS: dict[str, type[Any]] = {
    "corridor.commands": Command,
    "corridor.readers": Reader,
    "corridor.couplings": CouplingFinder,
    "corridor.hookups": HookUpSource,
    "corridor.writers": Writer,
}


@dataclass(frozen=True)
class PlugIn:
    """What is known of one plug-in without loading it."""

    group: str
    name: str
    value: str
    package: str
    version: str


def entry_points(*, group: str) -> tuple[EntryPoint, ...]:
    """Return a group's entry points as installed; the installed packages are looked through once."""
    return _installed(group, tuple(sys.path))


@lru_cache(maxsize=64)
def _installed(group: str, path: tuple[str, ...]) -> tuple[EntryPoint, ...]:  # noqa: ARG001  another path holds others
    return tuple(metadata.entry_points(group=group))


def plugin_points(group: str) -> dict[str, EntryPoint]:
    """Return a group's entry points by name, sorted, none of them loaded.

    The project's own come first: a plug-in that takes the name of a built-in, or of a plug-in before it, is named in a
    warning and left out.
    """
    points = sorted(entry_points(group=group), key=lambda p: (p.name, not _is_builtin(p), p.value))
    found: dict[str, EntryPoint] = {}
    for point in points:
        first = found.setdefault(point.name, point)
        if first.value != point.value:
            owner = "a built-in" if _is_builtin(first) else f"the plug-in {first.value}"
            _skip(point, f"{owner} has this name; give it another")
    return found


def load_plugin(point: EntryPoint) -> Any | None:
    """Load one plug-in; None, with a warning that names it, if it fails or isn't what its group is made of."""
    try:
        plugin = point.load()
    except Exception as error:  # a stranger's code may fail in any way
        _skip(point, f"{type(error).__name__}: {error}")
        return None
    wanted = PROTOCOLS.get(point.group, object)
    if isinstance(plugin, wanted):
        return plugin
    _skip(point, f"expected a {wanted.__name__} (corridor.plugins), got {type(plugin).__name__}")
    return None


def load_plugins(group: str, *, required: Sequence[str] = ()) -> dict[str, Any]:
    """Return a group's plug-ins by name; one that fails to load is named in a warning and left out.

    Parameters
    ----------
    group : str
        Entry-point group.
    required : sequence of str
        Built-ins that the caller can't do without; they come first, in this order.

    Returns
    -------
    dict
        Plug-ins by name.

    Raises
    ------
    PlugInError
        If a required one isn't there.
    """
    loaded = {name: load_plugin(point) for name, point in plugin_points(group).items()}
    lost = [name for name in required if loaded.get(name) is None]
    if lost:
        message = f"expected the built-ins {', '.join(lost)} of {group}, not registered; install corridor again"
        raise PlugInError(message)
    names = [*required, *(name for name in loaded if name not in required)]
    return {name: loaded[name] for name in names if loaded[name] is not None}


def list_plugins() -> list[PlugIn]:
    """Return what is installed in every group, sorted by group and name, without loading any of it."""
    return [
        PlugIn(group=group, name=name, value=point.value, package=_package(point), version=_version(point))
        for group in GROUPS
        for name, point in plugin_points(group).items()
    ]


def _skip(point: EntryPoint, why: str) -> None:
    message = f"plug-in {point.name!r} of {point.group} ({point.value}) skipped: {why}"
    warnings.warn(message, stacklevel=3)


def _is_builtin(point: EntryPoint) -> bool:
    """Whether the module is ours and, where the distribution is known, it is ours too."""
    own_module = point.value.partition(":")[0].split(".")[0] == _PACKAGE
    return own_module and (point.dist is None or _package(point) == _PACKAGE)


@lru_cache(maxsize=1024)  # each look at a name reads the package's file again
def _package(point: EntryPoint) -> str:
    return point.dist.name if point.dist else "unknown"


def _version(point: EntryPoint) -> str:
    return point.dist.version if point.dist else "unknown"
