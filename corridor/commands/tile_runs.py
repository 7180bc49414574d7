"""Options and checks of the commands that also run over a folder of tiles."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

import click

from corridor.city import Crew, Tiles, crew, is_tiles, open_tiles
from corridor.commands.talk import Progress, progress
from corridor.errors import InputError
from corridor.report.results import check_output
from corridor.settings import Settings, load_settings

__all__ = ["crew_options", "hands_of", "tiles_named"]

F = TypeVar("F", bound=Callable[..., Any])

_READING = {"fieldmap": "--fieldmap", "crs": "--crs", "corrections": "--corrections"}


def crew_options(command: F) -> F:
    """Add ``--workers`` and ``--scheduler``."""
    for decorate in (
        click.option("--scheduler", metavar="ADDRESS", help="Tiles only: scheduler of a Dask cluster that is there."),
        click.option("--workers", type=click.IntRange(min=1), default=None, metavar="N",
                     help="Tiles only: processes on this machine, by Dask; without it, tile after tile."),
    ):  # fmt: skip
        command = decorate(command)
    return command


def tiles_named(
    paths: Sequence[str], *, settings: str | None, output: str | None, hands: Mapping[str, Any], read: Mapping[str, Any]
) -> tuple[Tiles, Settings] | None:
    """Return the tiles that a command is to run over and the settings; None where it was given plain records.

    Raises
    ------
    InputError
        If options don't go together with tiles, or with plain records; the message says what to do.
    """
    if not any(is_tiles(path) for path in paths):
        asked = [f"--{name}" for name, value in hands.items() if value is not None]
        if asked:
            message = (
                f"expected a folder of tiles for {asked[0]}, got {', '.join(paths)}; corridor tiles RECORDS -o FOLDER "
                "makes one"
            )
            raise InputError(message)
        return None
    if len(paths) > 1:
        message = (
            f"expected one folder of tiles alone, got {', '.join(paths)}; write all records into one folder of tiles"
        )
        raise InputError(message)
    stated = [option for name, option in _READING.items() if read.get(name) is not None]
    if stated:
        message = f"{stated[0]} says how to read records, {paths[0]} was read already; give it to corridor tiles"
        raise InputError(message)
    if output is not None:
        check_output(output)
    tiles = open_tiles(paths[0])
    used = tiles.settings if settings is None else load_settings(settings)
    if used.site != tiles.settings.site:
        message = (
            f"expected the same [site] settings as {paths[0]} was read with, {settings} has others; write it again"
        )
        raise InputError(message)
    return tiles, used


@contextmanager
def hands_of(hands: Mapping[str, Any], *, how: str, quiet: bool) -> Iterator[tuple[Crew, Progress | None]]:
    """Yield who works, by the options of ``crew_options``, and whom to tell how far they are, as ``progress``."""
    with progress(how, quiet=quiet) as told, crew(workers=hands["workers"] or 1, scheduler=hands["scheduler"]) as here:
        yield here, told
