"""Putting results in place: whole, or not at all, and never over somebody else's files."""

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from corridor.errors import OutputError

__all__ = ["RECEIPT_FILE", "check_file_place", "check_folder_place", "whole_file", "whole_folder"]

RECEIPT_FILE = "receipt.json"


def check_file_place(path: str | Path) -> Path:
    """Return the path if a file can be put there; nothing is written.

    Raises
    ------
    OutputError
        If ``path`` is a folder, or its folder doesn't exist or can't be written to.
    """
    target = Path(path)
    if target.is_dir():
        message = f"expected a file to write to, {target} is a folder; name a file in it"
        raise OutputError(message)
    _check_parent(target)
    return target


def check_folder_place(path: str | Path) -> Path:
    """Return the path if a folder of results can be put there; nothing is written.

    Raises
    ------
    OutputError
        If ``path`` is a file, or a folder with anything in it that an earlier receipt doesn't name, or its own folder
        doesn't exist or can't be written to.
    """
    target = Path(path)
    _refuse_foreign(target)
    _check_parent(target)
    return target


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """Yield a name beside ``path`` to write to; it takes the place of ``path`` only if nothing went wrong.

    Raises
    ------
    OutputError
        If ``path`` is a folder, or its folder doesn't exist or can't be written to.
    """
    target = check_file_place(path)
    with _workshop(target) as workshop:
        made = workshop / target.name
        yield made
        try:
            os.replace(made, target)  # noqa: PTH105 - the atomic call itself
        except OSError as error:
            message = f"can't put {target} in place: {error.strerror or error}"
            raise OutputError(message) from error


@contextmanager
def whole_folder(path: str | Path) -> Iterator[Path]:
    """Yield a folder beside ``path`` to fill; it takes the place of ``path`` only if nothing went wrong.

    The files made must include the receipt, whose entry ``files`` names them all: by it a later run knows that the
    folder may be replaced.

    Raises
    ------
    OutputError
        If ``path`` is a file, or a folder with anything in it that an earlier receipt doesn't name.
    """
    target = check_folder_place(path)
    with _workshop(target) as workshop:
        made = workshop / "made"
        made.mkdir()
        yield made
        try:
            if target.exists():
                target.rename(workshop / "before")
            made.rename(target)
        except OSError as error:
            before = workshop / "before"
            if before.exists() and not target.exists():
                before.rename(target)
            message = f"can't put {target} in place: {error.strerror or error}"
            raise OutputError(message) from error


@contextmanager
def _workshop(target: Path) -> Iterator[Path]:
    parent = target.absolute().parent
    try:
        workshop = Path(tempfile.mkdtemp(prefix=".corridor-", dir=parent))
    except OSError as error:
        message = f"can't write in {parent}: {error.strerror or error}"
        raise OutputError(message) from error
    try:
        yield workshop
    finally:
        shutil.rmtree(workshop, ignore_errors=True)


def _check_parent(target: Path) -> None:
    parent = target.absolute().parent
    if not parent.is_dir():
        message = f"can't write {target}: the folder {parent} doesn't exist; make it first or name another"
        raise OutputError(message)
    if not os.access(parent, os.W_OK | os.X_OK):
        message = f"can't write in {parent}: no permission; name another folder"
        raise OutputError(message)


def _refuse_foreign(target: Path) -> None:
    if target.exists() and not target.is_dir():
        message = f"expected a folder to write to, {target} is a file; name another"
        raise OutputError(message)
    there = sorted(item.name for item in target.iterdir()) if target.is_dir() else []
    foreign = [name for name in there if name not in _known_files(target)]
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
