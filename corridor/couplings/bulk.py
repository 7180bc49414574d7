"""Many objects at once, without the collector counting each of them."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["uncollected"]


@contextmanager
def uncollected() -> Iterator[None]:
    """Hold Python's cyclic collector off while arrays of geometry are made; it is as before afterwards.

    It looks through everything again and again while objects only come in, which took two thirds of the time of a
    million points; geometry refers to nothing, so that there is nothing to collect.
    """
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
