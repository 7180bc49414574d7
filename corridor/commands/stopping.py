"""Stopping: ctrl-C and a request to terminate end the program within two seconds and leave nothing unfinished behind.

Either becomes an exception where the program can take one, and everything is taken away on the way out. A long loop of
compiled code can't: a thread of its own, woken by the operating system's signal itself, then takes away what is
unfinished and ends the process.
"""

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any, NoReturn

import click

from corridor.report.claims import discard_all

__all__ = ["GRACE_S", "Stopped", "Terminated", "leaving_at_once", "stoppable", "stopped_by"]

GRACE_S = 0.5  # for the way out by the exception
_SIGNAL_EXIT = 128  # and the signal's number: what shells say of a program that a signal ended
_SHOW_CURSOR = "\x1b[?25h"
_telling = threading.Lock()


class Stopped(click.ClickException):
    """The user stopped the program: one line on stderr, exit code 130."""

    exit_code = _SIGNAL_EXIT + signal.SIGINT

    def __init__(self) -> None:
        super().__init__("corridor: stopped; nothing unfinished is left")

    def show(self, file: Any = None) -> None:
        """Write the line, unless it has been written."""
        if _telling.acquire(blocking=False):
            click.echo(self.message, file=file, err=True)


class Terminated(Stopped):
    """Somebody asked the program to end: exit code 143."""

    exit_code = _SIGNAL_EXIT + signal.SIGTERM


class _TerminationAsked(KeyboardInterrupt):
    """A request to terminate, where the program can take an exception."""


def stopped_by(error: KeyboardInterrupt) -> Stopped:
    """Return what to tell of an interrupt."""
    return Terminated() if isinstance(error, _TerminationAsked) else Stopped()


def stoppable() -> None:
    """See that this process stops when it is told to; called once, by the program's main thread."""
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:  # a shell's background jobs are to ignore it
        signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, _terminate)
    if os.name != "posix":  # pragma: no cover - there, stops wait for the loop that is running
        return
    read, write = os.pipe()
    os.set_blocking(write, False)
    signal.set_wakeup_fd(write, warn_on_full_buffer=False)
    threading.Thread(target=_watch, args=(read,), name="stopping", daemon=True).start()


@contextmanager
def leaving_at_once() -> Iterator[None]:
    """End a process that was stopped once all is taken away: an interpreter takes seconds to clear up after itself."""
    try:
        yield
    except SystemExit as end:
        if end.code in (Stopped.exit_code, Terminated.exit_code):
            _leave(int(end.code))
        raise


def _leave(code: int) -> NoReturn:
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(code)


def _terminate(_number: int, _frame: FrameType | None) -> NoReturn:
    raise _TerminationAsked


def _watch(read: int) -> NoReturn:
    """Wait for a signal, give the exception its time, and end what still runs then."""
    number = os.read(read, 1)[0]
    while number not in (signal.SIGINT, signal.SIGTERM):
        number = os.read(read, 1)[0]
    time.sleep(GRACE_S)
    discard_all()
    if sys.stderr.isatty():
        sys.stderr.write(_SHOW_CURSOR)
    stop = Terminated() if number == signal.SIGTERM else Stopped()
    stop.show()
    _leave(stop.exit_code)
