"""Workers that share one cache of compiled functions: one of them compiles a function, the others load it.

numba numbers a function's files by an index that it reads and writes again, so two processes that save at once can take
the same number and load each other's code; and two that meet at a function both compile it, a minute in all.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

try:
    import fcntl
except ImportError:  # there is none on Windows
    fcntl = None  # type: ignore[assignment]


def share(folder: Path, worker: str) -> None:
    """Compile into one folder from now on, a function at a time; where files can't be locked, a folder a worker.

    To be called before numba is imported. A process that a test starts knows nothing of the locks: see `own_copy`.
    """
    if fcntl is None:
        os.environ["NUMBA_CACHE_DIR"] = str(folder / worker)
        return
    os.environ["NUMBA_CACHE_DIR"] = str(folder / "shared")
    from numba.core.compiler_lock import global_compiler_lock  # noqa: PLC0415
    from numba.core.dispatcher import Dispatcher  # noqa: PLC0415

    plain = Dispatcher.compile
    held: set[Path] = set()

    def compile_or_load(self: Any, sig: Any) -> Any:
        place = folder / "locks" / f"{self.py_func.__module__}.{self.py_func.__qualname__}"
        # this process's own lock first: a thread that waits for the file would keep the others from compiling
        with global_compiler_lock:
            if place in held:
                return plain(self, sig)
            held.add(place)
            try:
                with _locked(place):
                    return plain(self, sig)
            finally:
                held.remove(place)

    Dispatcher.compile = compile_or_load


def own_copy(folder: Path) -> dict[str, str]:
    """Return the environment for a process that a test starts: a copy of what is compiled so far, and no locks."""
    shared = os.environ.get("NUMBA_CACHE_DIR")
    if shared is None or not Path(shared).is_dir():
        return dict(os.environ)
    return os.environ | {"NUMBA_CACHE_DIR": str(shutil.copytree(shared, folder / "compiled"))}


@contextmanager
def _locked(place: Path) -> Iterator[None]:
    place.parent.mkdir(parents=True, exist_ok=True)
    with place.open("w", encoding="utf-8") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)  # given up when the file is closed
        yield
