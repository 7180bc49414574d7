"""Independent pieces of work on several threads; what comes out doesn't depend on how many."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numba

__all__ = ["at_once", "in_parallel", "in_ranges", "worked"]

Item = TypeVar("Item")
Result = TypeVar("Result")
Other = TypeVar("Other")


def in_parallel(work: Callable[[Item], None], items: Iterable[Item]) -> None:
    """Call a function for each item, on as many threads as compiled loops use.

    Parameters
    ----------
    work : callable
        Must touch nothing that another item's call touches; gains where it spends its time in array products. Work
        inside it that would use several threads gets one.
    items : iterable
        What it is called with.
    """
    for _ in worked(work, items):
        pass


def worked(work: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
    """Yield what a function gives for each item, in their order, worked out as ``in_parallel`` does.

    Parameters
    ----------
    work, items
        As there.
    """
    threads = numba.get_num_threads()
    if threads == 1:
        yield from map(work, items)
        return
    with ThreadPoolExecutor(threads, initializer=numba.set_num_threads, initargs=(1,)) as pool:
        futures = [pool.submit(work, item) for item in items]
        try:
            for future in futures:
                yield future.result()
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


def at_once(one: Callable[[], Result], other: Callable[[], Other]) -> tuple[Result, Other]:
    """Return what two functions give, side by side where there are several threads; each may use as many as are there.

    Parameters
    ----------
    one, other : callable
        Neither must touch what the other one changes. Where both fail, the error is the first one's.
    """
    threads = numba.get_num_threads()
    if threads == 1:
        return one(), other()
    with ThreadPoolExecutor(1, initializer=numba.set_num_threads, initargs=(threads,)) as pool:
        second = pool.submit(other)
        return one(), second.result()  # here, so that ctrl-C stops it


def in_ranges(work: Callable[[int, int], None], count: int, *, smallest: int = 1) -> None:
    """Call a function with the ends of ranges that cover ``count`` items, on several threads where that is worth it.

    Parameters
    ----------
    work : callable
        Of (first, last), the last not included; a compiled loop that lets other threads run.
    count : int
        How many items.
    smallest : int
        Items in a range, at least.
    """
    parts = max(1, min(4 * numba.get_num_threads(), count // max(smallest, 1)))
    if parts == 1 or numba.get_num_threads() == 1:
        work(0, count)
        return
    edges = [count * k // parts for k in range(parts + 1)]
    in_parallel(lambda k: work(edges[k], edges[k + 1]), range(parts))
