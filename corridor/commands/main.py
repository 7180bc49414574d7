"""The program: finds its commands by entry points and loads only the one that runs."""

import sys
import traceback
import warnings
from typing import Any, TextIO

import click

from corridor import __version__
from corridor.commands.stopping import leaving_at_once, stoppable, stopped_by
from corridor.errors import CorridorError
from corridor.plugins import load_plugin, plugin_points
from corridor.report.text import plain

__all__ = ["EXIT_FAILED", "EXIT_STRICT", "cli", "main"]

EXIT_FAILED = 1
EXIT_STRICT = 5

_GROUP = "corridor.commands"
_HELP = {  # kept here, so that --help needn't load the commands
    "check": "Read records and account for every feature.",
    "find": "Find parallel runs, crossings and bonds.",
    "bonds": "List the groups of lines that share metal.",
    "tiles": "Read a whole city's records into tiles, for find and bonds.",
    "trace": "Predict where one hook-up's tone goes.",
    "review": "Review a site into one folder: strategy, map, summary.",
    "scope": "Count what a large excavation meets, and estimate the effort.",
    "plan": "Choose the fewest set-ups, in walking order.",
    "readings": "Say what explains a crew's readings.",
    "export": "Write records in an open standard's terms.",
    "plugins": "List the plug-ins installed.",
}


class Failure(click.ClickException):
    """An error that ends the program: one line on stderr, exit code 1."""

    exit_code = EXIT_FAILED

    def show(self, file: Any = None) -> None:
        """Write the line."""
        click.echo(f"corridor: {plain(' '.join(self.message.split()))}", file=file, err=True)


class CommandGroup(click.Group):
    """Commands of the entry-point group ``corridor.commands``, each loaded when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names: ours in the order of the work, then the plug-ins by name."""
        del ctx
        points = plugin_points(_GROUP)
        return [*(name for name in _HELP if name in points), *(name for name in points if name not in _HELP)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one command; None if there is none of that name."""
        del ctx
        point = plugin_points(_GROUP).get(cmd_name)
        command = load_plugin(point) if point else None
        return command if isinstance(command, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading them."""
        points = plugin_points(_GROUP)
        rows = [(name, _HELP.get(name) or f"Plug-in {points[name].value}.") for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> Any:
        """Run; turn every error into one clear line."""
        try:
            with warnings.catch_warnings():
                warnings.showwarning = _show_warning
                # a name in a script that the maps' font lacks stands there as boxes, and in the tables as it is
                warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
                return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except KeyboardInterrupt as error:
            raise stopped_by(error) from None
        except CorridorError as error:
            raise Failure(str(error)) from error
        except MemoryError as error:
            message = (
                "not enough memory; review a smaller work area, or lower solver.section_limit or solver.memory_limit_mb"
            )
            raise Failure(message) from error
        except Exception as error:
            if ctx.params.get("debug"):
                traceback.print_exc()
            message = f"unexpected {type(error).__name__}: {error} (corridor --debug COMMAND ... shows where)"
            raise Failure(message) from error


@click.group(cls=CommandGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="corridor")
@click.option("--debug", is_flag=True, help="Show where an unexpected error came from.")
def cli(debug: bool) -> None:
    """Predict where a locating tone goes in a dense street, and how to hook up so that it stays on the target.

    Predictions from records, not marks. One-call first. Unrecorded lines may be anywhere.
    """
    del debug  # read from the context when an error comes


def main() -> None:
    """Run the program and exit."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal of few characters must not stop a review
    stoppable()
    with leaving_at_once():
        cli()


def _show_warning(  # noqa: PLR0917 - the signature is Python's own
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Show our and the plug-ins' warnings as one line; those of libraries are no concern of the user."""
    del filename, lineno, file, line
    if category is UserWarning:
        click.echo(f"corridor: warning: {plain(message)}", err=True)
