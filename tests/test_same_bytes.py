"""The script that compares environments sees what differs, and in which part of which file."""

import base64
import json
import zlib
from pathlib import Path

import pytest

from benchmarks import same_bytes
from benchmarks.corner import write_corner
from benchmarks.same_bytes import commands, differences, fingerprints
from corridor.commands.main import cli
from corridor.frames import table_frame
from corridor.report.results import write_results
from tests.builders import METRIC


def folder_of(path: Path, *, message: str = "x", library: str = "one", fact: int = 1) -> Path:
    path.mkdir()
    table = table_frame("findings", [{"code": "near_miss", "message": message}], crs=METRIC)
    write_results(path / "r.gpkg", {"findings": table, "lines": table_frame("lines", {}, crs=METRIC)}, metadata={})
    block = base64.b64encode(zlib.compress(json.dumps(fact).encode())).decode()
    page = f'<script>{library}</script><script type="application/octet-stream" id="facts">{block}</script>'
    (path / "page.html").write_text(page, encoding="utf-8")
    return path


def test_the_same_input_differs_in_nothing(tmp_path: Path) -> None:
    first, second = (fingerprints(folder_of(tmp_path / name)) for name in ("1", "2"))
    assert {"page.html", "page.html facts", "r.gpkg", "r.gpkg findings", "r.gpkg lines"} <= set(first)
    assert differences(first, second) == []


def test_another_library_differs_in_the_file_and_not_in_its_blocks(tmp_path: Path) -> None:
    first, other = fingerprints(folder_of(tmp_path / "1")), fingerprints(folder_of(tmp_path / "2", library="two"))
    assert differences(first, other) == ["page.html (every one of its blocks alike)"]


def test_another_value_is_found_in_its_table_and_block(tmp_path: Path) -> None:
    first = fingerprints(folder_of(tmp_path / "1"))
    other = fingerprints(folder_of(tmp_path / "2", message="y", fact=2))
    assert differences(first, other) == ["page.html", "page.html facts", "r.gpkg", "r.gpkg findings"]


def test_a_file_that_is_missing_differs(tmp_path: Path) -> None:
    first = fingerprints(folder_of(tmp_path / "1"))
    assert differences(first, {name: hash_ for name, hash_ in first.items() if name != "page.html"}) == [
        "page.html (every one of its blocks alike)"
    ]


def test_the_commands_are_ones_that_there_are(tmp_path: Path) -> None:
    made = commands(*write_corner(tmp_path), only=())
    assert {command[0] for command in made} <= set(cli.list_commands(None))  # type: ignore[arg-type]
    assert {command[0] for command in commands(*write_corner(tmp_path), only=["find"])} == {"find"}


def test_a_command_that_fails_ends_the_comparison(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    failed = type("Done", (), {"returncode": 1, "stdout": b"", "stderr": b"no"})
    monkeypatch.setattr(same_bytes.subprocess, "run", lambda *_, **__: failed)
    with pytest.raises(SystemExit, match="find: no"):
        same_bytes.run("python", tmp_path / "0", [["find"]], threads=1)
