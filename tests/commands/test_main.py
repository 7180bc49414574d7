"""The program: lazy, one clear line for an error, the exit codes, nothing that steers a terminal."""

import subprocess
import sys
import warnings
from typing import Any

import click
import pytest
from click.testing import CliRunner

from corridor import __version__
from corridor.commands import main
from corridor.errors import InputError
from corridor.plugins import plugin_points

HEAVY = ("geopandas", "pandas", "numpy", "numba", "scipy", "matplotlib", "networkx", "shapely", "rich")


def _run(*arguments: str) -> Any:
    return CliRunner().invoke(main.cli, list(arguments))


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom corridor.commands.main import cli\ncli(['--help'], standalone_mode=False)\n"
        f"print('heavy:', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("heavy: []\n")
    for name in plugin_points("corridor.commands"):
        assert f"  {name} " in done.stdout


def test_the_module_is_the_same_program() -> None:
    done = subprocess.run([sys.executable, "-m", "corridor", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout == f"corridor, version {__version__}\n"


@pytest.mark.parametrize("name", sorted(plugin_points("corridor.commands")))
def test_every_command_has_help(name: str) -> None:
    done = _run(name, "--help")
    assert done.exit_code == 0, done.output
    assert done.output.startswith(f"Usage: cli {name} [OPTIONS]")
    command = plugin_points("corridor.commands")[name].load()
    assert command.name == name
    assert all(option.help for option in command.params if isinstance(option, click.Option))


def test_every_command_of_ours_has_a_line_in_the_list() -> None:
    ours = {name for name, point in plugin_points("corridor.commands").items() if point.value.startswith("corridor.")}
    assert ours == set(main._HELP)


@pytest.mark.parametrize(
    "arguments", [("dance",), ("check",), ("check", "--no-such-option"), ("review", "x", "--progress", "loud")]
)
def test_wrong_usage_is_exit_2(arguments: tuple[str, ...]) -> None:
    assert _run(*arguments).exit_code == 2


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (InputError("expected\n  this, \x1b[31mgot that"), "corridor: expected this, ?[31mgot that\n"),
        (
            MemoryError(),
            "corridor: not enough memory; review a smaller work area, or lower solver.section_limit or "
            "solver.memory_limit_mb\n",
        ),
        (KeyError("x"), "corridor: unexpected KeyError: 'x' (corridor --debug COMMAND ... shows where)\n"),
    ],
)
def test_an_error_is_one_line_and_exit_1(monkeypatch: pytest.MonkeyPatch, error: Exception, line: str) -> None:
    command = click.Command("fail", callback=lambda: (_ for _ in ()).throw(error))
    monkeypatch.setattr(main.CommandGroup, "get_command", lambda *_: command)
    done = _run("fail")
    assert done.exit_code == main.EXIT_FAILED
    assert done.stderr == line
    assert done.stdout == ""


def test_debug_shows_where(monkeypatch: pytest.MonkeyPatch) -> None:
    command = click.Command("fail", callback=lambda: {}["x"])
    monkeypatch.setattr(main.CommandGroup, "get_command", lambda *_: command)
    done = _run("--debug", "fail")
    assert done.exit_code == main.EXIT_FAILED
    assert "Traceback" in done.stderr


def test_a_letter_that_the_maps_font_lacks_is_no_warning(monkeypatch: pytest.MonkeyPatch) -> None:
    told = "Glyph 120090 (\\N{MATHEMATICAL FRAKTUR CAPITAL W}) missing from font(s) DejaVu Sans."
    command = click.Command("draw", callback=lambda: warnings.warn(told, UserWarning, stacklevel=1))
    monkeypatch.setattr(main.CommandGroup, "get_command", lambda *_: command)
    assert _run("draw").stderr == ""


def test_a_warning_of_ours_is_one_line() -> None:
    @click.command("warn")
    def warn() -> None:
        main._show_warning(UserWarning("one\n\x1btwo"), UserWarning, "f.py", 1)
        main._show_warning(DeprecationWarning("a library's own affair"), DeprecationWarning, "f.py", 1)

    assert CliRunner().invoke(warn).stderr == "corridor: warning: one ?two\n"
