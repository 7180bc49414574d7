"""Results are put in place whole or not at all, and never over somebody else's files."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from corridor.errors import OutputError
from corridor.report.place import RECEIPT_FILE, check_file_place, check_folder_place, whole_file, whole_folder


def _fill(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).write_text(name, encoding="utf-8")
    (folder / RECEIPT_FILE).write_text(json.dumps({"files": [*names, RECEIPT_FILE]}), encoding="utf-8")


def _names(folder: Path) -> list[str]:
    return sorted(item.name for item in folder.iterdir())


def test_a_file_takes_its_place(tmp_path: Path) -> None:
    target = tmp_path / "r.txt"
    target.write_text("old", encoding="utf-8")
    with whole_file(target) as made:
        made.write_text("new", encoding="utf-8")
        assert target.read_text(encoding="utf-8") == "old"
    assert target.read_text(encoding="utf-8") == "new"
    assert _names(tmp_path) == ["r.txt"]


def test_a_failure_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "r.txt"
    target.write_text("old", encoding="utf-8")
    with pytest.raises(RuntimeError), whole_file(target) as made:
        made.write_text("half", encoding="utf-8")
        raise RuntimeError
    assert target.read_text(encoding="utf-8") == "old"
    assert _names(tmp_path) == ["r.txt"]


def test_a_file_that_never_came_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"can't write .* No such file"), whole_file(tmp_path / "r.txt"):
        pass


def test_a_file_is_no_folder_and_needs_one(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is a folder"), whole_file(tmp_path):
        pass
    with pytest.raises(OutputError, match="doesn't exist"), whole_file(tmp_path / "no" / "r.txt"):
        pass


@pytest.mark.parametrize("there", [False, True])
def test_a_new_or_empty_folder(tmp_path: Path, there: bool) -> None:
    target = tmp_path / "out"
    if there:
        target.mkdir()
    with whole_folder(target) as made:
        _fill(made, "a", "b")
    assert _names(target) == ["a", "b", RECEIPT_FILE]
    assert _names(tmp_path) == ["out"]


def test_an_earlier_result_is_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    for names in (("a", "b"), ("c",)):
        with whole_folder(target) as made:
            _fill(made, *names)
    assert _names(target) == ["c", RECEIPT_FILE]


def test_a_failure_leaves_the_earlier_result(tmp_path: Path) -> None:
    target = tmp_path / "out"
    with whole_folder(target) as made:
        _fill(made, "a")
    with pytest.raises(KeyboardInterrupt), whole_folder(target) as made:
        _fill(made, "b")
        raise KeyboardInterrupt
    assert _names(target) == ["a", RECEIPT_FILE]
    assert _names(tmp_path) == ["out"]


@pytest.mark.parametrize("receipt", [None, "no json", "[]", '{"files": ["a"]}'])
def test_foreign_files_are_never_replaced(tmp_path: Path, receipt: str | None) -> None:
    target = tmp_path / "out"
    target.mkdir()
    (target / "thesis.txt").write_text("mine", encoding="utf-8")
    if receipt is not None:
        (target / RECEIPT_FILE).write_text(receipt, encoding="utf-8")
    with pytest.raises(OutputError, match="no earlier result put there"), whole_folder(target) as made:
        _fill(made, "a")
    assert (target / "thesis.txt").read_text(encoding="utf-8") == "mine"


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is a file"), whole_folder(target):
        pass


def test_a_place_is_checked_without_touching_it(tmp_path: Path) -> None:
    assert check_file_place(tmp_path / "r.gpkg") == tmp_path / "r.gpkg"
    assert check_folder_place(tmp_path / "out") == tmp_path / "out"
    assert _names(tmp_path) == []
    with pytest.raises(OutputError, match="is a folder"):
        check_file_place(tmp_path)
    for check in (check_file_place, check_folder_place):
        with pytest.raises(OutputError, match="doesn't exist"):
            check(tmp_path / "no" / "r")


@pytest.mark.parametrize("check", [check_file_place, check_folder_place])
def test_a_closed_folder_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, check: Callable[[Path], Path]
) -> None:
    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(OutputError, match="no permission"):
        check(tmp_path / "r")
