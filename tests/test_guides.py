"""The guides can be followed literally: commands and options exist, files are there, and the quick one is followed."""

import contextlib
import importlib.util
import re
import shlex
import shutil
from pathlib import Path
from types import ModuleType

import click
import pytest
from click.testing import CliRunner

from corridor.commands.main import cli
from corridor.frames import CAUTION
from corridor.plugins import plugin_points

ROOT = Path(__file__).parent.parent


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("follow_guides", ROOT / "docs" / "follow_guides.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FOLLOW = _script()


def _commands(guide: str) -> list[list[str]]:
    text = "\n".join(step.text for step in FOLLOW.steps_of(ROOT / "docs" / guide) if step.what == "run")
    lines = text.replace("\\\n", " ").splitlines()
    return [shlex.split(line, comments=True)[1:] for line in lines if line.startswith("corridor ")]


@pytest.mark.parametrize("guide", FOLLOW.GUIDES)
def test_its_commands_can_be_typed(guide: str) -> None:
    commands = _commands(guide)
    assert commands
    for name, *arguments in commands:
        command = plugin_points("corridor.commands")[name].load()
        assert isinstance(command, click.Command)
        command.make_context(name, list(arguments))  # raises where an option or a value isn't known
        for path in (word for word in arguments if word.startswith("sample_gis/")):
            assert (ROOT / path).exists()


@pytest.mark.parametrize("guide", FOLLOW.GUIDES)
def test_it_begins_with_the_caution_and_ends_somewhere(guide: str) -> None:
    text = (ROOT / "docs" / guide).read_text(encoding="utf-8")
    assert text.splitlines()[2] == CAUTION
    assert re.search(r"^Done: ", text, flags=re.MULTILINE)
    made = [step for step in FOLLOW.steps_of(ROOT / "docs" / guide) if step.what in {"makes", "shows"}]
    assert len(made) >= 2


def test_every_guide_is_followed() -> None:
    assert {path.name for path in (ROOT / "docs").glob("guide_*.md")} == set(FOLLOW.GUIDES)


def _here(commands: str, folder: Path) -> tuple[int, str]:
    """Run commands of ours in this process: a new one costs seconds."""
    shown, code = "", 0
    with contextlib.chdir(folder):
        for line in commands.splitlines():
            name, *arguments = shlex.split(line)
            assert name == "corridor"
            result = CliRunner().invoke(cli, arguments)
            shown, code = shown + result.output, code or result.exit_code
    return code, shown


@pytest.mark.thorough  # command by command, as people run them; tests/commands looks at each
def test_the_quick_one_ends_where_it_says(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "sample_gis" / "bonded_district", tmp_path / "sample_gis" / "bonded_district")
    assert FOLLOW.follow(ROOT / "docs" / "guide_mapping_team.md", tmp_path, run=_here) == []


def test_what_goes_another_way_is_told(tmp_path: Path) -> None:
    guide = tmp_path / "guide.md"
    blocks = [("run", "echo one; false"), ("shows", "one\ntwo"), ("makes", "three.txt"), ("run", "echo four")]
    guide.write_text("\n\n".join(f"<!-- {what} -->\n```sh\n{text}\n```" for what, text in blocks), encoding="utf-8")
    failed, missing, unmade = FOLLOW.follow(guide, tmp_path)
    assert "ended with 1: one" in failed
    assert missing.endswith("not shown: two")
    assert unmade.endswith("three.txt wasn't made")
