"""Options that several commands share, ready to be put on a command."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = [
    "accepted_option",
    "equipment_option",
    "input_options",
    "map_option",
    "output_option",
    "paper_option",
    "quiet_options",
    "settings_option",
    "strict_option",
    "target_options",
    "work_area_option",
]

F = TypeVar("F", bound=Callable[..., Any])


def input_options(command: F) -> F:
    """Add PATHS, ``--fieldmap``, ``--crs`` and ``--corrections``: what to read and how."""
    for decorate in (
        click.option(
            "--corrections", metavar="FILE",
            help="CSV (layer, id, column, value, source, date): values in place of the records' own, each told.",
        ),
        click.option("--crs", metavar="CRS", help="CRS of layers that state none, such as EPSG:32631."),
        click.option("--fieldmap", metavar="FILE", help="Field map (TOML), or inspire or muddi: your terms in ours."),
        click.argument("paths", nargs=-1, required=True, metavar="RECORDS..."),
    ):  # fmt: skip
        command = decorate(command)
    return command


def accepted_option(command: F) -> F:
    """Add ``--accepted``."""
    return click.option(
        "--accepted", metavar="FILE",
        help="CSV (code, layer, id, who, when, why): findings that stay listed and no longer count as open.",
    )(command)  # fmt: skip


def settings_option(command: F) -> F:
    """Add ``--settings``."""
    return click.option("--settings", metavar="FILE", help="Settings (TOML); what it leaves out keeps its default.")(
        command
    )


def equipment_option(command: F) -> F:
    """Add ``--equipment``."""
    return click.option(
        "--equipment", metavar="NAME|FILE",
        help="Built-in profile (small_output, standard_output, large_output) or a TOML file of your own.",
    )(command)  # fmt: skip


def output_option(help_text: str, *, default: str | None = None) -> Callable[[F], F]:
    """Return a decorator that adds ``-o``."""
    return click.option("-o", "--output", metavar="PATH", default=default, show_default=bool(default), help=help_text)


def map_option(help_text: str) -> Callable[[F], F]:
    """Return a decorator that adds ``--map``."""
    return click.option("--map", "map_file", metavar="FILE", help=f"{help_text} (.png, .svg).")


def target_options(command: F) -> F:
    """Add ``--target`` and ``--target-utility``."""
    for decorate in (
        click.option("--target-utility", metavar="UTILITY", help="Every line of this utility is a target."),
        click.option("--target", multiple=True, metavar="LINE_ID", help="Line to locate; may be repeated."),
    ):
        command = decorate(command)
    return command


def work_area_option(command: F) -> F:
    """Add ``--work-area`` and ``--phase``."""
    for decorate in (
        click.option("--phase", metavar="NAME", help="One phase of the work area, by its column phase."),
        click.option("--work-area", metavar="FILE", help="Polygons of the dig; replaces those of the records."),
    ):
        command = decorate(command)
    return command


def paper_option(help_text: str, *, default: str | None = None) -> Callable[[F], F]:
    """Return a decorator that adds ``--paper``."""
    return click.option(
        "--paper", type=click.Choice(["a4", "letter"]), default=default, show_default=bool(default), help=help_text
    )


def strict_option(command: F) -> F:
    """Add ``--strict``."""
    return click.option("--strict", is_flag=True, help="Exit 5 on severe findings, or if no set-up is READY.")(command)


def quiet_options(command: F) -> F:
    """Add ``--quiet``, ``--verbose`` and ``--progress``."""
    for decorate in (
        click.option("--progress", type=click.Choice(["auto", "json", "none"]), default="auto", show_default=True,
                     help="auto: a bar on a terminal; json: a JSON object a line on stderr."),
        click.option("-v", "--verbose", is_flag=True, help="Say more."),
        click.option("-q", "--quiet", is_flag=True, help="Say nothing but errors."),
    ):  # fmt: skip
        command = decorate(command)
    return command
