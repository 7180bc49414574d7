"""Independent pieces of work on several threads; what comes out doesn't depend on how many."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numba

__all__ = ["in_parallel"]

Item = TypeVar("Item")


def in_parallel(work: Callable[[Item], None], items: Iterable[Item]) -> None:
    """Call a function for each item, on as many threads as compiled loops use.

    Parameters
    ----------
    work : callable
        Must touch nothing that another item's call touches; gains where it spends its time in array products.
    items : iterable
        What it is called with.
    """
    threads = numba.get_num_threads()
    if threads == 1:
        for item in items:
            work(item)
        return
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(work, items):
            pass
