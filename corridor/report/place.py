"""Putting results in place: whole, or not at all, and never over somebody else's files."""

import ctypes
import errno
import json
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from corridor.errors import OutputError
from corridor.report.claims import BEFORE, claimed, clear_leftovers, undisturbed

__all__ = [
    "RECEIPT_FILE",
    "check_file_place",
    "check_folder_place",
    "exchanged",
    "hold_place",
    "whole_file",
    "whole_files",
    "whole_folder",
    "write_text",
]

RECEIPT_FILE = "receipt.json"
_MADE = "made"
_ROOM = 1 << 20
_FULL = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)
_HERE, _EXCHANGE = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux (renameat2, Linux manual, section 2)


def check_file_place(path: str | Path) -> Path:
    """Return the path if a file can be put there; nothing is written.

    Raises
    ------
    OutputError
        If ``path`` is a folder or can't be a name, or its folder doesn't exist or can't be written to.
    """
    target = Path(path)
    if _kind(target) == "folder":
        message = f"expected a file to write to, {target} is a folder; name a file in it"
        raise OutputError(message)
    _check_parent(target)
    return target


def check_folder_place(path: str | Path) -> Path:
    """Return the path if a folder of results can be put there; nothing is written.

    Raises
    ------
    OutputError
        If ``path`` is a file or can't be a name, or a folder with anything in it that an earlier receipt doesn't name,
        or its own folder doesn't exist or can't be written to.
    """
    target = Path(path)
    if _kind(target) == "file":
        message = f"expected a folder to write to, {target} is a file; name another"
        raise OutputError(message)
    if os.path.ismount(target):
        message = f"can't replace {target} as a whole: a disk is mounted there; name a new folder in it"
        raise OutputError(message)
    _check_parent(target)
    _refuse_foreign(target)
    return target


def _kind(target: Path) -> str:
    """Return what stands at a path: nothing, a file or a folder.

    Raises
    ------
    OutputError
        If nothing can, since it isn't a name, or there is a file where a folder should be.
    """
    try:
        target.lstat()
    except FileNotFoundError:
        return "nothing"
    except (OSError, ValueError) as error:  # too long, a null character, a file on the way
        why = getattr(error, "strerror", None) or error
        message = f"can't write {str(target)[:80]!r}: {why}; name another place"
        raise OutputError(message) from None
    return "folder" if target.is_dir() else "file" if target.exists() else "nothing"


@contextmanager
def hold_place(path: str | Path) -> Iterator[None]:
    """Hold a place from the start of a run, so that a second run learns at once that it is taken.

    Raises
    ------
    OutputError
        If another run holds it.
    """
    with claimed(_followed(Path(path))):
        yield


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """Yield a name beside ``path`` to write to; it takes the place of ``path`` only if nothing went wrong.

    Raises
    ------
    OutputError
        If ``path`` is a folder, its folder doesn't exist or can't be written to, another run is writing there, or
        there is no room for the file.
    """
    target = _followed(check_file_place(path))
    with _workshop(target) as workshop:
        made = workshop / target.name
        yield made
        _keep(made)
        with undisturbed():
            os.replace(made, target)  # noqa: PTH105 - the atomic call itself


@contextmanager
def whole_files(folder: str | Path, names: Sequence[str]) -> Iterator[Path]:
    """Yield a folder to write several files into; they take their places in ``folder`` once all are written.

    Each is put in place by itself, one after the other, in the order of ``names``.

    Raises
    ------
    OutputError
        As for one file.
    """
    targets = [_followed(check_file_place(Path(folder) / name)) for name in names]
    if not targets:
        yield Path(folder)
        return
    with _workshop(targets[0]) as workshop:
        yield workshop
        for name in names:
            _keep(workshop / name)
        with undisturbed():
            for name, target in zip(names, targets, strict=True):
                os.replace(workshop / name, target)  # noqa: PTH105 - the atomic call itself


@contextmanager
def whole_folder(path: str | Path) -> Iterator[Path]:
    """Yield a folder beside ``path`` to fill; it takes the place of ``path`` only if nothing went wrong.

    The files made must include the receipt, whose entry ``files`` names them all: by it a later run knows that the
    folder may be replaced. Where the operating system can exchange two folders (Linux), there is a whole result in the
    place at any moment; elsewhere a run that is killed between two renamings leaves the old result beside it, and the
    next run puts it back.

    Raises
    ------
    OutputError
        If ``path`` is a file, or a folder with anything in it that an earlier receipt doesn't name, another run is
        writing there, or there is no room for the files.
    """
    target = _followed(check_folder_place(path))
    with _workshop(target) as workshop:
        made = workshop / _MADE
        made.mkdir()
        yield made
        for file in sorted(made.iterdir()):
            _keep(file)
        with undisturbed():
            _refuse_foreign(target)
            _swap(made, target, workshop / BEFORE)


def _swap(made: Path, target: Path, before: Path) -> None:
    if not target.exists():
        made.rename(target)
    elif not exchanged(made, target):
        target.rename(before)
        try:
            made.rename(target)
        except OSError:
            before.rename(target)
            raise


def exchanged(one: Path, other: Path) -> bool:
    """Exchange two names in one step, and tell whether it was done: not every system or file system can."""
    renameat2 = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform.startswith("linux") else None
    if renameat2 is None:
        return False
    return bool(renameat2(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0)


@contextmanager
def _workshop(target: Path) -> Iterator[Path]:
    """Yield a folder beside a place; what goes wrong with the disk is one sentence, and names the place itself."""
    with claimed(target) as workshop:
        try:
            workshop.mkdir()
            yield workshop
        except OutputError as error:
            message = _no_room(workshop, target) or str(error)
            for inside in (target.name, _MADE):
                message = message.replace(str(workshop / inside), str(target))
            raise OutputError(message) from error
        except OSError as error:
            raise OutputError(_refused(target, error)) from error
        finally:
            shutil.rmtree(workshop, ignore_errors=True)


def _no_room(workshop: Path, target: Path) -> str:
    """Return what to say if the disk is full, which a library tells in words of its own; nothing if it isn't."""
    try:
        with (workshop / "room").open("xb") as probe:
            probe.write(bytes(_ROOM))
    except OSError as error:
        return _refused(target, error) if error.errno in _FULL else ""
    return ""


def _refused(target: Path, error: OSError) -> str:
    way_out = "make room or name another place; " if error.errno in _FULL else ""
    return f"can't write {target}: {error.strerror or error}; {way_out}what stood there is as it was"


def _keep(file: Path) -> None:
    """See that a file's bytes are on the disk before its name is, so that a power cut leaves no empty file."""
    if file.is_file():
        with file.open("rb") as stream:
            os.fsync(stream.fileno())


def _followed(target: Path) -> Path:
    """Return what a link leads to: that is replaced, not the link."""
    return target.resolve() if target.is_symlink() else target


def _check_parent(target: Path) -> None:
    parent = target.absolute().parent
    if not parent.is_dir():
        message = f"can't write {target}: the folder {parent} doesn't exist; make it first or name another"
        raise OutputError(message)
    if not os.access(parent, os.W_OK | os.X_OK):
        message = f"can't write in {parent}: no permission; name another folder"
        raise OutputError(message)


def _refuse_foreign(target: Path) -> None:
    if not target.is_dir():
        return
    clear_leftovers(target)
    known = _known_files(target)
    try:
        foreign = sorted(item.name for item in target.iterdir() if item.name not in known)
    except OSError as error:
        message = f"can't see what {target} holds: {error.strerror or error}; name another folder"
        raise OutputError(message) from error
    if foreign:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        message = f"{target} holds {foreign[0]!r}{more}, which no earlier result put there; name an empty or new folder"
        raise OutputError(message)


def _known_files(folder: Path) -> set[str]:
    try:
        receipt = json.loads((folder / RECEIPT_FILE).read_text(encoding="utf-8"))
        return {str(name) for name in receipt["files"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def write_text(path: Path, text: str) -> None:
    """Write a text of a result: UTF-8, and the same line ends on every system."""
    path.write_text(text, encoding="utf-8", newline="\n")
