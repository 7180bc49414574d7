"""Follow the guides literally: run their commands in order in a new folder, and look for what they say is shown.

``python docs/follow_guides.py [guide.md ...]`` runs the commands of each guide with the ``corridor`` beside this
interpreter; without names all guides, which takes minutes. It ends with 1 where a guide doesn't end as it says.
``--keep FOLDER`` leaves all results in a new folder, for ``make_figures.py``.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).parent
GUIDES = ("guide_desk_review.md", "guide_mapping_team.md", "guide_excavation.md")
_BLOCK = re.compile(r"<!-- (?P<what>run|shows|file: (?P<name>\S+)|makes) -->\n```\w*\n(?P<text>.+?)\n```", re.DOTALL)


@dataclass(frozen=True)
class Step:
    """One marked block of a guide: ``run`` commands, what they ``shows``, a file to write, files that it ``makes``."""

    what: str
    text: str
    name: str = ""


def steps_of(guide: Path) -> Iterator[Step]:
    """Yield the marked blocks of a guide in their order."""
    for found in _BLOCK.finditer(guide.read_text(encoding="utf-8")):
        yield Step(found["what"].split(":")[0], found["text"], found["name"] or "")


def in_a_shell(commands: str, folder: Path) -> tuple[int, str]:
    """Run commands in a folder; return how they ended and what they showed."""
    path = os.pathsep.join((str(Path(sys.executable).parent), os.environ["PATH"]))
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", commands], cwd=folder, env=os.environ | {"PATH": path},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def follow(guide: Path, folder: Path, *, run: Callable[[str, Path], tuple[int, str]] = in_a_shell) -> list[str]:
    """Follow one guide in a folder that holds the samples; return what went another way than it says.

    Parameters
    ----------
    guide : Path
        A Markdown file with marked blocks.
    folder : Path
        Where to work; its ``sample_gis`` holds the samples.
    run : callable
        Runs commands, as `in_a_shell` does.
    """
    wrong, shown = [], ""
    for step in steps_of(guide):
        if step.what == "file":
            (folder / step.name).write_text(step.text + "\n", encoding="utf-8")
        elif step.what == "run":
            code, shown = run(step.text, folder)
            if code:
                wrong.append(f"{guide.name}: {step.text!r} ended with {code}: {shown[-500:]}")
        elif step.what == "makes":
            missing = [name for name in step.text.split() if not (folder / name).exists()]
            wrong += [f"{guide.name}: {name} wasn't made" for name in missing]
        else:
            missing = [line for line in step.text.splitlines() if line.strip() not in shown]
            wrong += [f"{guide.name}: not shown: {line}" for line in missing]
    return wrong


def main() -> int:
    """Follow guides, each in a folder of its own or all in the one that is kept; return 1 if one goes another way."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("guides", nargs="*", default=GUIDES)
    parser.add_argument("--keep", type=Path)
    asked, wrong = parser.parse_args(), []
    for name in asked.guides:
        with tempfile.TemporaryDirectory() as made:
            folder = asked.keep or Path(made)
            shutil.copytree(DOCS.parent / "sample_gis", folder / "sample_gis", dirs_exist_ok=True)
            wrong += follow(DOCS / name, folder)
        sys.stdout.write(f"followed {name}\n")
    sys.stdout.write("\n".join(wrong or ["each ends where it says"]) + "\n")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
