"""The documents say what is: commands, dictionary, links and the README's own commands."""

import importlib.util
import re
from pathlib import Path

import click
import pytest

from corridor.dictionary import INPUT_TABLES
from corridor.errors import FieldMapError
from corridor.frames import CAUTION
from corridor.plugins import GROUPS, plugin_points
from corridor.site.fieldmap import load_fieldmap

ROOT = Path(__file__).parent.parent
DOCS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _marked(name: str) -> str:
    found = re.search(rf"<!-- run: {name} -->\n```sh\n(.+?)\n```", README, flags=re.DOTALL)
    assert found, f"README lost the marker of {name}"
    return found[1]


def test_the_written_dictionary_is_current() -> None:
    spec = importlib.util.spec_from_file_location("make_dictionary", ROOT / "docs" / "make_dictionary.py")
    assert spec and spec.loader
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    assert script.TARGET.read_text(encoding="utf-8") == script.dictionary_text(), "run python docs/make_dictionary.py"


@pytest.mark.parametrize("name", sorted(plugin_points("corridor.commands")))
def test_every_command_is_documented(name: str) -> None:
    assert f"## corridor {name}\n" in (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(plugin_points("corridor.commands")))
def test_every_option_is_documented(name: str) -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    options = [p for p in plugin_points("corridor.commands")[name].load().params if isinstance(p, click.Option)]
    assert [max(option.opts, key=len) for option in options if max(option.opts, key=len) not in text] == []


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.name)
def test_links_lead_somewhere(path: Path) -> None:
    targets = re.findall(r"\]\(([^)#]+)", path.read_text(encoding="utf-8"))
    assert [t for t in targets if "://" not in t and not (path.parent / t).exists()] == []


def test_the_readme_has_two_commands_that_do_all_the_set_up() -> None:
    assert len(re.findall(r"<!-- run: ", README)) == 2
    review, tests = _marked("review"), _marked("tests")
    for command in (review, tests):
        assert "\n" not in command
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert review.endswith("corridor review sample_gis/downtown_block/downtown_block.gpkg -o out")
    assert (ROOT / "sample_gis/downtown_block/downtown_block.gpkg").is_file()


def test_the_ci_runs_the_readmes_own_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md:tests" in script
    assert "pytest" not in script  # only the README says how


@pytest.mark.parametrize("path", [ROOT / "README.md", ROOT / "docs" / "limits.md"], ids=lambda path: path.name)
def test_the_caution_stands_where_people_begin(path: Path) -> None:
    assert CAUTION in path.read_text(encoding="utf-8")


def test_contributors_find_the_glossary_and_the_groups() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for word in ("segment", "section", "span", "stretch", "reach"):
        assert f"**{word}**" in text
    for group in GROUPS:
        assert group in text


def test_the_field_map_of_the_guide_is_valid(tmp_path: Path) -> None:
    guide = (ROOT / "docs" / "field_maps.md").read_text(encoding="utf-8")
    example = re.search(r"```toml\n(.+?)```", guide, flags=re.DOTALL)
    assert example
    path = tmp_path / "map.toml"
    path.write_text(example[1], encoding="utf-8")
    layer = load_fieldmap(path).layers["WaterMains"]
    assert layer.table in INPUT_TABLES
    path.write_text(example[1].replace("diameter_mm", "girth_mm"), encoding="utf-8")
    with pytest.raises(FieldMapError, match="girth_mm"):
        load_fieldmap(path)
