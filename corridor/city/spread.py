"""One piece of work per tile: one after another here, or on many processes by Dask."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from typing import Any, TypeVar

import numba

from corridor.errors import InputError

__all__ = ["Crew", "crew", "over_tiles"]

Result = TypeVar("Result")
Told = Callable[[str, int, int], None]

_LOCAL = {"threads_per_worker": 1, "processes": True, "dashboard_address": None, "silence_logs": logging.ERROR}
_PATIENCE_S = 10.0  # for a scheduler to answer
_TRIES = 3  # how often a tile may end its worker before it is given up


@dataclass(frozen=True)
class Crew:
    """Who works on the tiles: a Dask client, or None: this process alone."""

    client: Any = None


@contextmanager
def crew(*, workers: int = 1, scheduler: str | None = None) -> Iterator[Crew]:
    """Yield who works on the tiles.

    Parameters
    ----------
    workers : int
        Processes started on this machine, ended afterwards; with 1 there is none and the work is done here.
    scheduler : str, optional
        Address of the scheduler of a Dask cluster that is there already, such as ``tcp://10.0.0.5:8786``; it stays.
        Its workers need this package and the folder of tiles under the same path.

    Raises
    ------
    InputError
        If Dask isn't installed, or no scheduler answers.
    """
    if workers < 1:
        message = f"expected at least one worker, got {workers}"
        raise InputError(message)
    if scheduler is None and workers == 1:
        yield Crew()
        return
    if find_spec("distributed") is None:
        message = "expected Dask for several workers, it isn't installed; pip install 'corridor[cluster]'"
        raise InputError(message)
    with _client(workers, scheduler) as client:
        yield Crew(client)


@contextmanager
def _client(workers: int, scheduler: str | None) -> Iterator[Any]:
    distributed = _distributed()
    if scheduler is not None:
        try:
            client = distributed.Client(scheduler, timeout=_PATIENCE_S, set_as_default=False)
        except (OSError, ValueError) as error:
            message = f"expected the address of a Dask scheduler, {scheduler!r} doesn't answer: {error}"
            raise InputError(message) from error
        with client:
            yield client
        return
    with (
        distributed.LocalCluster(**_LOCAL, n_workers=workers) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        yield client


def over_tiles(
    work: Callable[[int], Result], count: int, hands: Crew, *, told: Told | None = None, step: str = "tiles"
) -> list[Result]:
    """Return what a function gives for each tile, in their order, whoever worked on them and in whatever order.

    The function only reads, so a tile whose worker ended is given to another, and nothing is lost.

    Parameters
    ----------
    work : callable
        Of the tile's number; can be pickled.
    count : int
        How many tiles.
    hands : Crew
        As `crew` yields it.
    told : callable, optional
        Told of (step, done, total) after each tile.
    step : str
        What is told.

    Raises
    ------
    CorridorError
        As the function raises it, or if a tile ends its worker again and again.
    """
    if hands.client is None:
        found = []
        for number in range(count):
            found.append(work(number))
            if told is not None:
                told(step, number + 1, count)
        return found
    distributed = _distributed()
    futures = hands.client.map(partial(_alone, work), range(count), pure=False, retries=0)
    try:
        for done, _ in enumerate(distributed.as_completed(futures, loop=hands.client.loop), start=1):
            if told is not None:
                told(step, done, count)
        return list(hands.client.gather(futures))
    except distributed.KilledWorker as error:
        message = f"a tile ended {_TRIES} workers or more, most likely short of memory; write smaller tiles"
        raise InputError(message) from error
    finally:
        hands.client.cancel(futures)


def _distributed() -> Any:
    """Return the module, which carries no types: an extra, and slow to load."""
    return import_module("distributed")


def _alone(work: Callable[[int], Result], number: int) -> Result:
    """Work on a tile with one thread: the workers have the processor's cores between them."""
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        with warnings.catch_warnings():
            return work(number)
    finally:
        numba.set_num_threads(threads)
