"""Whether the same input gives the same bytes: runs the commands in several environments and compares what they write.

    python -m benchmarks.same_bytes --python .venv/bin/python --python other/bin/python --threads 1 --threads 2

Every environment is run once with each number of threads, the first one twice. A GeoPackage is also compared table by
table, a page block by block, since a page carries the script of the plotting library that is installed.
"""

import argparse
import base64
import hashlib
import os
import re
import sqlite3
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from benchmarks.corner import write_corner

ROOT = Path(__file__).parent.parent
PARTS = {".gpkg": "tables", ".html": "blocks"}  # what is compared where whole files differ
_BLOCK = re.compile(r'<script type="application/octet-stream" id="([^"]+)">([^<]*)</script>')
_ABOUT = """import sys, numba, numpy, pandas, scipy
print("Python", sys.version.split()[0], *(f"{m.__name__} {m.__version__}" for m in (pandas, numpy, scipy, numba)))
"""


def commands(records: Path, settings: Path, equipment: Path, *, only: Sequence[str]) -> list[list[str]]:
    """Return the commands that are run, each with outputs below the folder it is started in."""
    read = [str(records), "--settings", str(settings)]
    desk = ["--equipment", str(equipment)]
    made = [
        ["check", *read, "-o", "check/check.gpkg"],
        ["check", *read, "-o", "check/check.csv"],
        ["find", *read, "-o", "find.geojson"],
        ["bonds", *read, "-o", "bonds.gpkg", "--map", "bonds.svg"],
        ["export", *read, "--terms", "muddi", "-o", "export.gpkg"],
        ["trace", *read, "--passive", "mains", "-o", "passive.gpkg", "--map", "passive.png"],
        ["review", *read, *desk, "-o", "review"],
        ["plan", *read, *desk, "-o", "plan"],
    ]
    return [command for command in made if not only or command[0] in only]


def run(python: str, folder: Path, asked: list[list[str]], *, threads: int) -> None:
    """Run the commands with one Python and one number of threads; what they say becomes a file too."""
    (folder / "check").mkdir(parents=True)
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "random"}
    environment |= dict.fromkeys(("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), str(threads))
    for number, command in enumerate(asked):
        done = subprocess.run(
            [python, "-m", "corridor", *command], cwd=folder, env=environment, capture_output=True, check=False
        )
        if done.returncode != 0:
            sys.exit(f"{python} {' '.join(command)}: {done.stderr.decode()}")
        (folder / f"{number}-{command[0]}.said.txt").write_bytes(done.stdout)


def fingerprints(folder: Path) -> dict[str, str]:
    """Return a hash of each file below a folder, and of each table of a GeoPackage and block of a page."""
    found: dict[str, str] = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        found[name] = _hash(path.read_bytes())
        parts = {".gpkg": _tables, ".html": _blocks}.get(path.suffix)
        if parts is not None:
            found |= {f"{name} {part}": digest for part, digest in parts(path)}
    return found


def differences(first: dict[str, str], other: dict[str, str]) -> list[str]:
    """Return what differs: files and their parts; a whole file whose every part is alike is marked so."""
    names = sorted({*first, *other})
    apart = [name for name in names if first.get(name) != other.get(name)]
    lines = []
    for name in apart:
        parts = [part for part in names if part.startswith(f"{name} ")]
        same = bool(parts) and not any(part in apart for part in parts)
        lines.append(f"{name} (every one of its {PARTS[Path(name).suffix]} alike)" if same else name)
    return lines


def _tables(path: Path) -> Iterator[tuple[str, str]]:
    with closing(sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)) as base:
        tables = [name for (name,) in base.execute("select name from sqlite_master where type = 'table' order by name")]
        for table in tables:
            quoted = table.replace('"', '""')
            rows = base.execute(f'select * from "{quoted}"').fetchall()
            yield table, _hash(repr(rows).encode())


def _blocks(path: Path) -> Iterator[tuple[str, str]]:
    for name, content in _BLOCK.findall(path.read_text(encoding="utf-8")):
        yield name, _hash(zlib.decompress(base64.b64decode(content)))


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run, compare with the first run, and tell; return how many runs differ in more than a page's library."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--python", action="append", help="interpreter of an environment; default this one")
    parser.add_argument("--threads", action="append", type=int, help="number of threads; default 1 and 2")
    parser.add_argument("--records", type=Path, help="records with a work area; default an invented corner")
    parser.add_argument("--only", action="append", default=[], help="a command; may be repeated; default all")
    asked = parser.parse_args(arguments)
    pythons, counts = asked.python or [sys.executable], asked.threads or [1, 2]
    differing = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        records, settings, equipment = write_corner(folder)
        todo = commands(asked.records or records, settings, equipment, only=asked.only)
        runs = [(pythons[0], counts[0]), *((python, count) for python in pythons for count in counts)]
        first: dict[str, str] = {}
        for number, (python, count) in enumerate(runs):
            python_path = os.path.abspath(python)  # noqa: PTH100 - a link to an interpreter must stay one
            run(python_path, folder / str(number), todo, threads=count)
            seen = fingerprints(folder / str(number))
            first = first or seen
            apart = differences(first, seen)
            told = subprocess.run(
                [python_path, "-c", _ABOUT], capture_output=True, text=True, check=True
            ).stdout.strip()
            print(f"{told}, threads {count}: {len(seen)} files and parts, {len(apart)} differ", flush=True)
            for line in apart:
                print(f"    {line}", flush=True)
            differing += any("blocks alike" not in line for line in apart)
    print(f"{len(runs)} runs, {differing} differ from the first in more than a page's library")
    return differing


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
