"""Ctrl-C and a request to terminate: at once, one line, nothing left; in compiled code and in threads too."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from corridor.commands import main, stopping

# programs that stand for a run at some moment: they say "now", and would go on for a minute
HEAD = """
import sys, time, threading
from pathlib import Path
import click
from corridor.commands import main
from corridor.report.place import whole_file, whole_folder
work = Path(sys.argv[1])
@click.command("wait")
def wait():
    with whole_file(work / "r.txt") as made:
        made.write_text("half")
        print("now", flush=True)
        {body}
main.CommandGroup.get_command = lambda *_: wait
sys.argv = ["corridor", "wait"]
main.main()
"""
BODIES = {
    "python": "time.sleep(60)",
    # the main thread is in code that no exception reaches, as in a long factorisation: it waits for a mutex of libc
    "compiled": """
        import ctypes
        mutex = ctypes.create_string_buffer(64)
        libc = ctypes.CDLL(None)
        libc.pthread_mutex_lock(mutex)
        libc.pthread_mutex_lock(mutex)""",
    # a worker that goes on keeps the interpreter from ending
    "threads": """
        from concurrent.futures import ThreadPoolExecutor
        with ThreadPoolExecutor(1) as pool:
            pool.submit(time.sleep, 60).result()""",
    "swallowed": """
        while True:
            try:
                time.sleep(60)
            except KeyboardInterrupt:
                pass""",
}


@pytest.fixture
def heeding() -> Iterator[None]:
    """Let programs started here heed ctrl-C: where the tests run in the background, they would be told to ignore it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def names(folder: Path) -> list[str]:
    return sorted(item.name for item in folder.iterdir())


@pytest.mark.usefixtures("heeding")
@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
@pytest.mark.parametrize(
    ("moment", "number"), [("python", signal.SIGINT), ("compiled", signal.SIGINT), ("threads", signal.SIGTERM),
                           ("swallowed", signal.SIGINT)],
)  # fmt: skip
def test_a_run_stops_and_leaves_what_was_there(tmp_path: Path, moment: str, number: int) -> None:
    (tmp_path / "r.txt").write_text("old", encoding="utf-8")
    program = HEAD.format(body=BODIES[moment].strip())
    with subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "now\n"
        assert names(tmp_path) == [".corridor-r.txt", ".corridor-r.txt.lock", "r.txt"]
        run.send_signal(number)
        try:
            _, said = run.communicate(timeout=30)  # a minute without the stop
        finally:
            run.kill()  # else the end of this block waits for it
    assert said == "corridor: stopped; nothing unfinished is left\n"
    assert run.returncode == 128 + number
    assert names(tmp_path) == ["r.txt"]
    assert (tmp_path / "r.txt").read_text(encoding="utf-8") == "old"


@pytest.mark.parametrize(("error", "code"), [(KeyboardInterrupt(), 130), (stopping._TerminationAsked(), 143)])
def test_an_interrupt_is_one_line(monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int) -> None:
    command = click.Command("stop", callback=lambda: (_ for _ in ()).throw(error))
    monkeypatch.setattr(main.CommandGroup, "get_command", lambda *_: command)
    monkeypatch.setattr(stopping, "_telling", stopping.threading.Lock())
    done: Any = CliRunner().invoke(main.cli, ["stop"])
    assert done.exit_code == code
    assert (done.stdout, done.stderr) == ("", "corridor: stopped; nothing unfinished is left\n")


def test_the_line_is_said_once(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(stopping, "_telling", stopping.threading.Lock())
    stopping.Stopped().show()
    stopping.Stopped().show()
    assert capsys.readouterr().err.count("stopped") == 1


def test_the_way_out_leaves_time_for_the_two_seconds() -> None:
    # of the two seconds promised, what is left is for a thread to get its turn and for taking away
    assert 0.0 < stopping.GRACE_S <= 1.0


def test_the_watch_ends_the_process_after_the_grace(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[object] = []

    def leave(code: int) -> None:
        said.append(code)
        raise SystemExit

    monkeypatch.setattr(stopping, "GRACE_S", 0.0)
    monkeypatch.setattr(stopping, "discard_all", lambda: said.append("discarded"))
    monkeypatch.setattr(stopping.os, "_exit", leave)
    read, write = os.pipe()
    os.write(write, bytes([signal.SIGWINCH, signal.SIGINT]))  # the first is none of ours
    with pytest.raises(SystemExit):
        stopping._watch(read)
    assert said == ["discarded", 130]
    os.close(read)
    os.close(write)


@pytest.mark.usefixtures("heeding")
def test_a_process_gets_its_handlers(monkeypatch: pytest.MonkeyPatch) -> None:
    was = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    started: list[Any] = []
    monkeypatch.setattr(stopping.threading.Thread, "start", lambda thread: started.extend([thread]))
    try:
        stopping.stoppable()
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
        with pytest.raises(KeyboardInterrupt):
            signal.getsignal(signal.SIGTERM)(signal.SIGTERM, None)  # type: ignore[operator, misc]
        assert [(thread.name, thread.daemon) for thread in started] == [("stopping", True)]
        os.close(signal.set_wakeup_fd(-1))
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # as a shell starts what runs in the background
        stopping.stoppable()
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        os.close(signal.set_wakeup_fd(-1))
        for number, handler in was.items():
            signal.signal(number, handler)


@pytest.mark.parametrize(("code", "at_once"), [(130, True), (143, True), (0, False), (1, False), ("text", False)])
def test_only_a_stop_leaves_at_once(monkeypatch: pytest.MonkeyPatch, code: Any, at_once: bool) -> None:
    left: list[int] = []
    monkeypatch.setattr(stopping.os, "_exit", left.append)
    with pytest.raises(SystemExit), stopping.leaving_at_once():
        raise SystemExit(code)
    assert left == ([code] if at_once else [])
