"""No room, no permission, no such name: one clear sentence, and what stood there is as it was."""

import errno
import json
import random
import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from corridor.errors import OutputError
from corridor.frames import empty_table, table_frame
from corridor.report.place import (
    RECEIPT_FILE,
    check_file_place,
    check_folder_place,
    whole_file,
    whole_files,
    whole_folder,
)
from corridor.report.results import write_results, write_review
from tests.builders import METRIC
from tests.report.examples import example_review

FULL = OSError(errno.ENOSPC, "No space left on device")


def names(folder: Path) -> list[str]:
    return sorted(item.name for item in folder.iterdir())


@cache
def small_review() -> Any:
    return example_review(1)


@contextmanager
def files_of_at_most(count: int) -> Iterator[None]:
    """Let no file of this process grow beyond so many bytes, as a disk that is full, or a quota, would not."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (count, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


def findings(count: int) -> Any:
    draw = random.Random(0)
    rows = [{"code": f"{draw.random()}", "message": f"{draw.random()} {draw.random()}"} for _ in range(count)]
    return table_frame("findings", rows, crs=METRIC)


@pytest.mark.parametrize("suffix", ["gpkg", "geojson", "csv", "parquet"])
@pytest.mark.parametrize("room", [0, 4096, 60_000])
def test_a_file_that_can_t_grow_leaves_the_old_result(tmp_path: Path, suffix: str, room: int) -> None:
    target = tmp_path / f"r.{suffix}"
    write_results(target, {"findings": empty_table("findings", METRIC)}, metadata={})
    kept = {path: path.read_bytes() for path in ([target] if target.is_file() else target.iterdir())}
    with pytest.raises(OutputError) as told, files_of_at_most(room):
        write_results(target, {"findings": findings(2000)}, metadata={})
    assert {path: path.read_bytes() for path in ([target] if target.is_file() else target.iterdir())} == kept
    assert names(tmp_path) == [target.name]
    assert ".corridor-" not in str(told.value)
    assert "File too large" in str(told.value)
    assert (str(target) if room else str(tmp_path)) in str(told.value)


@pytest.mark.parametrize("step", ["write_page", "write_text"])
def test_a_review_without_room_leaves_the_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / RECEIPT_FILE).write_text(json.dumps({"files": [RECEIPT_FILE, "old.txt"]}), encoding="utf-8")
    (folder / "old.txt").write_text("old", encoding="utf-8")

    def full(*_: object, **__: object) -> None:
        raise FULL

    for quick in ("write_map", "write_excavation_map", "write_page"):
        monkeypatch.setattr(f"corridor.report.results.{quick}", lambda *_, **__: None)
    monkeypatch.setattr(f"corridor.report.results.{step}", full)
    with pytest.raises(
        OutputError, match=r"can't write .*out: No space left on device; make room or name another place; what"
    ):
        write_review(small_review(), folder)
    assert names(folder) == ["old.txt", RECEIPT_FILE]
    assert names(tmp_path) == ["out"]


@pytest.mark.parametrize("call", ["os.replace", "os.fsync"])
def test_the_last_step_may_fail_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    def full(*_: object) -> None:
        raise FULL

    (tmp_path / "r.txt").write_text("old", encoding="utf-8")
    monkeypatch.setattr(call, full)
    with pytest.raises(OutputError, match="No space left"), whole_file(tmp_path / "r.txt") as made:
        made.write_text("new", encoding="utf-8")
    assert (tmp_path / "r.txt").read_text(encoding="utf-8") == "old"
    assert names(tmp_path) == ["r.txt"]


def test_several_files_come_together_or_not_at_all(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old", encoding="utf-8")
    with pytest.raises(OutputError, match="No space"), whole_files(tmp_path, ["a", "b"]) as made:
        (made / "a").write_text("new", encoding="utf-8")
        raise FULL
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_text(encoding="utf-8") == "old"
    with whole_files(tmp_path, ["a", "b"]) as made:
        for name in ("a", "b"):
            (made / name).write_text("new", encoding="utf-8")
    assert [(tmp_path / name).read_text(encoding="utf-8") for name in names(tmp_path)] == ["new", "new"]
    with whole_files(tmp_path, []):
        assert names(tmp_path) == ["a", "b"]


@pytest.mark.parametrize("check", [check_file_place, check_folder_place])
@pytest.mark.parametrize(
    ("name", "words"),
    [("x" * 300, "File name too long"), ("a\0b", "null"), ("file/r", "Not a directory"), ("loop/r", "symbolic link")],
)
def test_what_can_t_be_a_name(tmp_path: Path, check: Callable[[Path], Path], name: str, words: str) -> None:
    (tmp_path / "file").touch()
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(OutputError, match=words) as told:
        check(tmp_path / name)
    assert len(str(told.value)) < 250
    assert "\0" not in str(told.value)


def test_a_folder_on_a_disk_of_its_own_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.path.ismount", lambda _: True)
    with pytest.raises(OutputError, match="a disk is mounted there; name a new folder in it"):
        check_folder_place(tmp_path)


def test_a_folder_that_nobody_may_look_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: Path) -> Iterator[Path]:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", refuse)
    with pytest.raises(OutputError, match=r"can't see what .* holds: Permission denied"):
        check_folder_place(tmp_path)


def test_a_link_stays_and_what_it_leads_to_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "r.txt").write_text("old", encoding="utf-8")
    (tmp_path / "r.txt").symlink_to(tmp_path / "real" / "r.txt")
    with whole_file(tmp_path / "r.txt") as made:
        made.write_text("new", encoding="utf-8")
    assert (tmp_path / "r.txt").is_symlink()
    assert (tmp_path / "real" / "r.txt").read_text(encoding="utf-8") == "new"
    (tmp_path / "out").symlink_to(tmp_path / "results")
    (tmp_path / "results").mkdir()
    with whole_folder(tmp_path / "out") as made:
        (made / RECEIPT_FILE).write_text(json.dumps({"files": [RECEIPT_FILE]}), encoding="utf-8")
    assert (tmp_path / "out").is_symlink()
    assert names(tmp_path / "results") == [RECEIPT_FILE]
    assert names(tmp_path / "real") == ["r.txt"]
