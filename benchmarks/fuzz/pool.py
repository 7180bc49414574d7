"""Cases in processes of their own: a limit on memory and processor time, and a crash is a verdict, not the end."""

import gc
import math
import multiprocessing
import resource
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from numba.core import event

from benchmarks.fuzz.judge import DEFECT, Verdict, run_case

__all__ = ["Done", "run_cases"]

MEMORY_BYTES = 3 << 30  # above what the program takes when it has started
CPU_S = 40  # of one case, without compiling; a line of a million vertices takes a few
WALL_S = 240  # of one case that waits for something
GARBAGE = 50_000  # objects made before the collector looks again
PER_WORKER = 400  # cases before a process is replaced, so that none grows without an end


@dataclass(frozen=True)
class Done:
    """A case that has been run: number, category, verdict and processor time in s."""

    number: int
    category: str
    verdict: Verdict
    cpu_s: float


@dataclass
class _Worker:
    process: Any
    pipe: Connection
    number: int | None = None
    since: float = 0.0
    done: int = 0


def _ready() -> Any:
    """Return a way to start processes that have imported everything: each one by itself takes ten seconds over it."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["benchmarks.fuzz.judge"])
    return context


@dataclass
class _Pool:
    seed: int
    category: str | None
    context: Any = field(default_factory=_ready)

    def start(self) -> _Worker:
        here, there = self.context.Pipe()
        process = self.context.Process(target=_work, args=(there, self.seed, self.category), daemon=True)
        process.start()
        there.close()
        return _Worker(process, here)


def run_cases(numbers: list[int], *, seed: int, category: str | None = None, workers: int = 2) -> Iterator[Done]:
    """Run cases by number in several processes and yield each as it ends; the order isn't theirs."""
    pool = _Pool(seed, category)
    left = list(reversed(numbers))
    busy = [pool.start() for _ in range(min(workers, len(numbers)))]
    for worker in busy:
        _give(worker, left)
    while any(worker.number is not None for worker in busy):
        ready = wait([worker.pipe for worker in busy if worker.number is not None], timeout=2.0)
        for k, worker in enumerate(busy):
            if worker.number is None:
                continue
            late = time.monotonic() - worker.since > WALL_S
            if worker.pipe not in ready and not late:
                continue
            done = _taken(worker, late=late)
            yield done
            if not worker.process.is_alive() or worker.done >= PER_WORKER:
                _stop(worker)
                busy[k] = pool.start() if left else worker
            _give(busy[k], left)
    for worker in busy:
        _stop(worker)


def _give(worker: _Worker, left: list[int]) -> None:
    worker.number = left.pop() if left else None
    worker.since = time.monotonic()
    if worker.number is not None:
        worker.pipe.send(worker.number)


def _taken(worker: _Worker, *, late: bool) -> Done:
    number = worker.number or 0
    worker.done += 1
    if late and not worker.pipe.poll():
        worker.process.kill()
        worker.process.join()
        return Done(number, "?", Verdict(DEFECT, "?", f"hang: nothing came in {WALL_S} s"), 0.0)
    try:
        category, verdict, cpu_s = worker.pipe.recv()
    except EOFError:
        worker.process.join()
        code = worker.process.exitcode or 0
        name = signal.Signals(-code).name if code < 0 else f"exit {code}"
        why = f"hang: more than {CPU_S} s of processor time" if name == "SIGXCPU" else f"crash: {name}"
        return Done(number, "?", Verdict(DEFECT, "?", why), 0.0)
    return Done(number, category, verdict, cpu_s)


def _stop(worker: _Worker) -> None:
    worker.pipe.close()
    worker.process.join(timeout=5)
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()


class _Limit(event.Listener):
    """The processor time of a case; compiling, which the first run after installation does, isn't counted."""

    def __init__(self) -> None:
        self.depth = 0  # one function is compiled while another one is
        self.begun_s = 0.0
        self.end_s = 0

    def begin(self) -> None:
        self._move_to(int(_spent_s()) + CPU_S)

    def on_start(self, event: event.Event) -> None:  # noqa: ARG002 - numba's own signature
        if self.depth == 0:
            self.begun_s = _spent_s()
        self.depth += 1

    def on_end(self, event: event.Event) -> None:  # noqa: ARG002 - as above
        self.depth -= 1
        if self.depth == 0:
            self._move_to(self.end_s + math.ceil(_spent_s() - self.begun_s))

    def _move_to(self, end_s: int) -> None:
        self.end_s = end_s
        resource.setrlimit(resource.RLIMIT_CPU, (end_s, resource.RLIM_INFINITY))


def _spent_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def _work(pipe: Connection, seed: int, category: str | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(resource.RLIMIT_AS, (size + MEMORY_BYTES, hard))
    gc.freeze()  # what the libraries made lives on: looking through it after every few tables is a fifth of the time
    gc.set_threshold(GARBAGE)
    limit = _Limit()
    event.register("numba:compile", limit)
    while True:
        try:
            number = pipe.recv()
        except EOFError:
            return
        limit.begin()
        begun = time.process_time()
        name, verdict = run_case(seed, number, category=category)
        pipe.send((name, verdict, time.process_time() - begun))
