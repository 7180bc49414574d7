"""One run holds a place at a time; what a killed run left is taken away, nothing else is."""

import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from corridor.errors import OutputError
from corridor.report import claims
from corridor.report.claims import BEFORE, claimed, clear_leftovers, discard_all

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


def names(folder: Path) -> list[str]:
    return sorted(item.name for item in folder.iterdir())


def killed(work: Callable[[], None]) -> None:
    """Run something in a process of its own that is killed at its end, so that nothing is taken away by itself."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)


def left_by(target: Path, *, before: str = "") -> None:
    """Leave what a run killed while it wrote would leave."""

    def work() -> None:
        with claimed(target) as workshop:
            workshop.mkdir()
            (workshop / "half").write_text("half", encoding="utf-8")
            if before:
                (workshop / BEFORE).mkdir()
                (workshop / BEFORE / before).touch()
            os.kill(os.getpid(), signal.SIGKILL)

    killed(work)


def test_a_place_is_held_and_nothing_stays(tmp_path: Path) -> None:
    with claimed(tmp_path / "out") as workshop:
        assert workshop == tmp_path / ".corridor-out"
        assert names(tmp_path) == [".corridor-out.lock"]
        with claimed(tmp_path / "out") as again:
            assert again == workshop
        workshop.mkdir()
        assert names(tmp_path) == [".corridor-out", ".corridor-out.lock"]
    assert names(tmp_path) == []


def test_another_thread_and_another_process_are_refused(tmp_path: Path) -> None:
    told: list[str] = []

    def second() -> None:
        with pytest.raises(OutputError) as error, claimed(tmp_path / "out"):
            pass
        told.append(str(error.value))

    with claimed(tmp_path / "out"):
        thread = threading.Thread(target=second)
        thread.start()
        thread.join()
        child = os.fork()
        if child == 0:
            claims._held.clear()  # as a program of its own would start
            try:
                second()
            finally:
                os._exit(0 if len(told) == 2 else 1)
        assert os.waitpid(child, 0)[1] == 0
        with claimed(tmp_path / "other"):
            pass
        assert names(tmp_path) == [".corridor-out.lock"]
    assert told[0].startswith("another run is writing ")
    assert str(tmp_path / "out") in told[0]


def test_what_a_killed_run_left_is_taken_away_by_the_next(tmp_path: Path) -> None:
    left_by(tmp_path / "out")
    assert names(tmp_path) == [".corridor-out", ".corridor-out.lock"]
    assert (tmp_path / ".corridor-out" / "half").exists()
    with claimed(tmp_path / "another"):
        assert names(tmp_path) == [".corridor-another.lock"]
    assert names(tmp_path) == []


@pytest.mark.parametrize("there", [False, True])
def test_a_result_that_was_moved_aside_is_put_back_if_its_place_is_empty(tmp_path: Path, there: bool) -> None:
    if there:
        (tmp_path / "out").mkdir()
    left_by(tmp_path / "out", before="old")
    clear_leftovers(tmp_path)
    assert names(tmp_path) == ["out"]
    assert names(tmp_path / "out") == ([] if there else ["old"])


def test_a_run_that_goes_on_keeps_its_own(tmp_path: Path) -> None:
    with claimed(tmp_path / "out") as workshop:
        workshop.mkdir()
        child = os.fork()
        if child == 0:
            claims._held.clear()
            clear_leftovers(tmp_path)
            os._exit(0)
        os.waitpid(child, 0)
        assert names(tmp_path) == [".corridor-out", ".corridor-out.lock"]


@pytest.mark.parametrize("text", ["", "../out", "elsewhere"])
def test_what_is_not_ours_stays(tmp_path: Path, text: str) -> None:
    (tmp_path / ".corridor-mine").mkdir()
    (tmp_path / ".corridor-mine" / "thesis.txt").touch()
    (tmp_path / ".corridor-mine.lock").write_text(text, encoding="utf-8")
    (tmp_path / ".corridor-notes").touch()
    clear_leftovers(tmp_path)
    assert names(tmp_path) == [".corridor-mine", ".corridor-mine.lock", ".corridor-notes"]
    assert names(tmp_path / ".corridor-mine") == ["thesis.txt"]


def test_a_lock_alone_is_taken_away(tmp_path: Path) -> None:
    (tmp_path / ".corridor-out.lock").touch()  # killed before anything was written into it
    clear_leftovers(tmp_path)
    assert names(tmp_path) == []


@pytest.mark.parametrize("name", ["x" * 255, "水" * 85, "a\x1b[31m", ".corridor-out.lock", "\udcff"])
def test_names_of_any_kind(tmp_path: Path, name: str) -> None:
    left_by(tmp_path / name)
    assert len(names(tmp_path)) == 2
    with claimed(tmp_path / name) as workshop:
        workshop.mkdir()
    assert names(tmp_path) == []


def test_a_lock_that_was_removed_meanwhile_is_no_lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone: list[Path] = []

    def taken(lock: int) -> bool:
        if not gone:  # another run ends between opening and locking, and removes the file
            gone.append(tmp_path / ".corridor-out.lock")
            gone[0].unlink()
        return lock >= 0

    monkeypatch.setattr(claims, "_try_lock", taken)
    with claimed(tmp_path / "out"):
        assert names(tmp_path) == [".corridor-out.lock"]


def test_a_file_system_without_locks_keeps_nobody_from_writing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("fcntl.flock", refuse)
    with claimed(tmp_path / "out") as workshop:
        workshop.mkdir()
    assert names(tmp_path) == []


def test_a_folder_that_can_t_be_written_to_is_told(tmp_path: Path) -> None:
    with (
        pytest.raises(OutputError, match=r"can't write in .*: No such file or directory; name another"),
        claimed(tmp_path / "no" / "out"),
    ):
        pass


def test_a_stop_takes_away_what_is_unfinished_and_lets_nothing_into_place(tmp_path: Path) -> None:
    child = os.fork()
    if child == 0:
        try:
            with claimed(tmp_path / "out") as outer:
                (outer / "made").mkdir(parents=True)
                with claimed(outer / "made" / "inner") as inner:
                    inner.mkdir()
                    discard_all()
                    free = threading.Thread(target=lambda: claims._placing.acquire(blocking=False) and os._exit(3))
                    free.start()
                    free.join()
                    os._exit(0 if names(tmp_path) == [] else 1)
        finally:
            os._exit(2)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def test_a_stop_waits_for_a_result_on_its_way_only_so_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(claims, "_PLACING_S", 0.01)
    done = threading.Event()
    with claimed(tmp_path / "out"), claims.undisturbed():
        thread = threading.Thread(target=lambda: (discard_all(), done.set()))
        thread.start()
        thread.join(10)
        assert done.is_set()
        assert names(tmp_path) == [".corridor-out.lock"]
