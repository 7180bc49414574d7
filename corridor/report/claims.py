"""Who may write where: one run holds a place at a time, and what a killed run left beside it is taken away.

Beside a place ``out`` stand, while a run holds it, ``.corridor-out.lock`` and, while it writes, the folder
``.corridor-out`` with what isn't complete yet. The lock is one of the operating system's: it ends with the run that
holds it, however that ends, so a lock file that can be locked belongs to a run that is over.
"""

import hashlib
import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from corridor.errors import OutputError

__all__ = ["BEFORE", "claimed", "clear_leftovers", "discard_all", "undisturbed"]

BEFORE = "before"  # in a workshop: the old result, for the moment in which it has no other place
_PREFIX, _LOCK = ".corridor-", ".lock"
_NAME_MAX = 200  # bytes; file systems take 255, and ours is longer than the name it stands for
_TRIES, _PAUSE_S = 5, 0.02  # another run may be looking whether ours is over
_PLACING_S = 0.5  # far longer than a renaming takes


@dataclass
class _Claim:
    """A place held, by which thread and how often; ``lock`` is the open lock file."""

    workshop: Path
    lock_file: Path
    lock: int
    thread: int
    times: int = 1


_held: dict[Path, _Claim] = {}
_placing = threading.RLock()  # held while a result is put in its place, so that no stop comes in between


@contextmanager
def undisturbed() -> Iterator[None]:
    """Keep `discard_all` waiting, while a result is put in its place."""
    with _placing:
        yield


@contextmanager
def claimed(target: Path) -> Iterator[Path]:
    """Hold a place, and yield the folder beside it to work in, which isn't there yet; within it again, it is shared.

    What killed runs left in the folder of ``target`` is taken away; a result that one of them had moved aside is put
    back first.

    Raises
    ------
    OutputError
        If another run holds the place, or its folder can't be written to.
    """
    place = target.absolute()
    mine = _held.get(place)
    if mine is not None and mine.thread == threading.get_ident():
        mine.times += 1
    else:
        clear_leftovers(place.parent)
        mine = _claim(place)
        _held[place] = mine
    try:
        yield mine.workshop
    finally:
        mine.times -= 1
        if not mine.times:
            _held.pop(place, None)
            _take_away(mine)


def clear_leftovers(folder: Path) -> None:
    """Take away what runs that are over left in a folder; nothing of a run that goes on, nothing of anybody else."""
    with suppress(OSError):
        for lock_file in sorted(folder.glob(f"{_PREFIX}*{_LOCK}")):
            with suppress(OSError):
                _clear(lock_file)


def discard_all() -> None:
    """Take away everything unfinished of this run; to be called before it ends without any further word.

    It comes back once no result is being put in its place, and none will be afterwards.
    """
    if not _placing.acquire(timeout=_PLACING_S):  # for good
        return
    for mine in list(_held.values()):
        with suppress(OSError):
            _take_away(mine)


def _claim(place: Path) -> _Claim:
    stem = _stem(place.name)
    lock_file = place.parent / f"{_PREFIX}{stem}{_LOCK}"
    lock = None
    try:
        lock = _locked(lock_file)
        if lock is not None:
            os.ftruncate(lock, 0)
            os.write(lock, place.name.encode("utf-8", "surrogateescape"))
    except OSError as error:
        if lock is not None:
            lock_file.unlink(missing_ok=True)
            os.close(lock)
        message = f"can't write in {place.parent}: {error.strerror or error}; name another folder"
        raise OutputError(message) from error
    if lock is None:
        message = f"another run is writing {place} at this moment; wait until it is done, or name another place"
        raise OutputError(message)
    mine = _Claim(place.parent / f"{_PREFIX}{stem}", lock_file, lock, threading.get_ident())
    shutil.rmtree(mine.workshop, ignore_errors=True)
    return mine


def _stem(name: str) -> str:
    """Return a name that stands for a place's own and isn't too long for a file system."""
    raw = name.encode("utf-8", "surrogateescape")
    return name if len(raw) <= _NAME_MAX else hashlib.sha256(raw).hexdigest()


def _locked(lock_file: Path, *, create: bool = True) -> int | None:
    """Return the open lock file, locked; None if somebody else has it."""
    for _ in range(_TRIES):
        try:
            lock = os.open(lock_file, os.O_RDWR | (os.O_CREAT if create else 0), 0o666)
        except FileNotFoundError:
            if create:
                raise
            return None
        if _try_lock(lock) and _is_there(lock, lock_file):
            return lock
        os.close(lock)
        if not create:
            return None
        time.sleep(_PAUSE_S)
    return None


def _is_there(lock: int, lock_file: Path) -> bool:
    """Tell whether the file that is locked is still the one of that name: its last owner may just have removed it."""
    try:
        return os.path.samestat(os.fstat(lock), lock_file.stat())
    except OSError:
        return False


if sys.platform == "win32":  # pragma: no cover - no machine of ours runs it
    import msvcrt

    def _try_lock(lock: int) -> bool:
        try:
            msvcrt.locking(lock, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def _try_lock(lock: int) -> bool:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True  # a file system without locks: two runs in one place stay the user's own care
        return True


def _take_away(mine: _Claim) -> None:
    """Remove a workshop, then its lock: as long as anything is left, a later run knows whose it is."""
    shutil.rmtree(mine.workshop, ignore_errors=True)
    if sys.platform == "win32":  # pragma: no cover - there an open file can't be removed
        os.close(mine.lock)
    if not mine.workshop.exists():
        with suppress(OSError):
            mine.lock_file.unlink(missing_ok=True)
    if sys.platform != "win32":
        os.close(mine.lock)


def _clear(lock_file: Path) -> None:
    """Take away what one run left, if it is over."""
    lock = _locked(lock_file, create=False)
    if lock is None:
        return
    name = os.read(lock, 1 << 12).decode("utf-8", "surrogateescape")
    workshop = lock_file.with_name(lock_file.name.removesuffix(_LOCK))
    ours = bool(name) and Path(name).name == name and workshop.name == f"{_PREFIX}{_stem(name)}"
    if ours:
        before, place = workshop / BEFORE, lock_file.parent / name
        if before.exists() and not place.exists():
            before.rename(place)
    if ours or not workshop.exists():
        _take_away(_Claim(workshop, lock_file, lock, threading.get_ident()))
    else:
        os.close(lock)
