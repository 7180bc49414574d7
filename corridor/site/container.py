"""What a file may be before it is opened, and what it says itself that it holds."""

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from corridor.errors import InputError

__all__ = ["Held", "check_kind", "held_by"]

_SQLITE = b"SQLite format 3\x00"
_HEAD = 4096  # bytes in which a file says what it is
# files that hold no records and name a place, here or in the network, where they are
_ELSEWHERE = (b"<OGRVRTDataSource", b"<VRTDataset", b"<OGRWFSDataSource", b"WFS_Capabilities", b"<OGRCSWDataSource",
              b"gdal_streamed_alg")  # fmt: skip
# tables that keep the file itself in order, or how its layers look
_INTERNAL = ("gpkg_", "rtree_", "sqlite_", "idx_", "layer_styles", "qgis_", "spatial_ref_sys", "geometry_columns")
_STEPS, _STEPS_MOST = 100_000, 200  # of the database, between two looks and in all, that the rows of a view may take
_VALUE_BYTES = 100_000_000  # longest value of a view
_FLAT_HEAD = 8  # bytes, of a FlatGeobuf, by its specification
_TEXT_BYTES = 100_000_000  # of a GeoJSON whose features are counted; a longer one is taken at OGR's word
_SHAPE_HEAD, _INDEX_ROW = 100, 8  # bytes, of a shapefile's index


@dataclass
class Held:
    """What a file says it holds: rows by table, tables that no list names, and views that can't be read, with why."""

    rows: dict[str, int] = field(default_factory=dict)
    tables: tuple[str, ...] = ()
    bad_views: dict[str, str] = field(default_factory=dict)


def check_kind(path: Path) -> None:
    """Refuse what isn't a file or folder of records: a pipe, a device, a file that sends the reader elsewhere.

    Raises
    ------
    InputError
        If there is nothing of that name, it is no file or folder, or it only names other places.
    """
    try:
        there, regular = path.exists(), path.is_file() or path.is_dir()
    except (OSError, ValueError):
        there = regular = False
    if not there:
        message = f"expected a vector file, {path} does not exist; check the name and the folder"
        raise InputError(message)
    if not regular:
        message = f"expected a vector file, {path} is a pipe or a device; save the records to a file and name that"
        raise InputError(message)
    if any(word in _head(path) for word in _ELSEWHERE):
        message = f"expected records, {path} holds none and names other places; give the files themselves"
        raise InputError(message)


def _head(path: Path) -> bytes:
    if path.is_dir():
        return b""
    try:
        with path.open("rb") as stream:
            return stream.read(_HEAD)
    except OSError as error:
        message = f"expected a vector file, {path} can't be opened: {error.strerror}; check who may read it"
        raise InputError(message) from None


def held_by(path: Path) -> Held:
    """Return what a file says it holds, without the library that reads it; nothing where it says nothing.

    A SQLite file (GeoPackage) counts its rows, and each of its views is run once, for a bounded while: one that never
    ends would never be read. A shapefile's index says how many shapes there are; a FlatGeobuf without index is a row of
    features, each after its length; a GeoJSON is a list.
    """
    if path.is_dir():
        return Held()
    if _head(path).startswith(_SQLITE):
        return _database(path)
    if path.suffix.casefold() == ".shp":
        return _shapes(path)
    if path.suffix.casefold() == ".fgb":
        return _flat(path)
    if path.suffix.casefold() in (".geojson", ".json"):
        return _collection(path)
    return Held()


def _shapes(path: Path) -> Held:
    counts = []
    for part in path.parent.glob(f"{path.stem}.*"):
        end = part.suffix.casefold()
        if end == ".shx":
            counts.append((part.stat().st_size - _SHAPE_HEAD) // _INDEX_ROW)
        elif end == ".dbf":
            head = _head(part)[:8]
            counts += [struct.unpack("<I", head[4:8])[0]] if len(head) == 8 else []
    return Held(rows={path.stem: max(counts)} if counts else {})


def _flat(path: Path) -> Held:
    """Count the features of a FlatGeobuf whose features begin right after its head; others say nothing."""
    size, count = path.stat().st_size, 0
    with path.open("rb") as stream:
        stream.seek(_FLAT_HEAD)
        at = _FLAT_HEAD
        while len(length := stream.read(4)) == 4:  # first that of the head, then of each feature
            at = stream.seek(at + 4 + struct.unpack("<I", length)[0])
            count += 1
    return Held(rows={path.stem: count - 1}) if count and at == size else Held()


def _collection(path: Path) -> Held:
    """Count the members of a GeoJSON collection, which OGR passes over where they aren't features."""
    if path.stat().st_size > _TEXT_BYTES:
        return Held()
    try:
        whole = json.loads(path.read_bytes().decode("utf-8-sig", errors="replace"), strict=False)
    except (ValueError, RecursionError):
        return Held()
    features = whole.get("features") if isinstance(whole, dict) else None
    name = whole.get("name") if isinstance(whole, dict) else None
    layer = str(name or path.stem).partition("\0")[0]  # a name ends there for OGR
    return Held(rows={layer: len(features)}) if isinstance(features, list) else Held()


def _database(path: Path) -> Held:
    held = Held()
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as base:
            base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _VALUE_BYTES)
            names = base.execute("SELECT name, type FROM sqlite_master WHERE type IN ('table', 'view')").fetchall()
            held.tables = tuple(str(name) for name, kind in names if kind == "table" and not _internal(str(name)))
            for name, kind in names:
                if kind == "view":
                    held.bad_views |= _tried(base, str(name))
            for name in held.tables:
                try:
                    held.rows[name] = int(base.execute(f"SELECT count(*) FROM {_quoted(name)}").fetchone()[0])
                except sqlite3.DatabaseError:
                    continue  # a damaged table: reading it tells
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return held
    return held


def _internal(name: str) -> bool:
    return name.casefold().startswith(_INTERNAL)


def _quoted(name: str) -> str:
    """Return a name as SQL quotes it: names can't be parameters."""
    doubled = name.replace('"', '""')
    return f'"{doubled}"'


def _tried(base: sqlite3.Connection, name: str) -> dict[str, str]:
    """Run a view to its end and return why it can't be read; nothing where it can."""
    for _ in range(50):  # functions that only the reading library knows stand for 0
        try:
            with _bounded(base):
                for _row in base.execute(f"SELECT * FROM {_quoted(name)}"):
                    pass
        except sqlite3.OperationalError as error:
            told = str(error)
            if told.startswith("no such function: "):
                base.create_function(told.partition(": ")[2], -1, lambda *_: 0)
                continue
            if told.startswith("Could not decode"):
                return {}
            return {name: "it gives no end of rows" if told == "interrupted" else told}
        except sqlite3.DatabaseError as error:
            return {name: str(error)}
        return {}
    return {name: "it calls too many functions"}


@contextmanager
def _bounded(base: sqlite3.Connection) -> Iterator[None]:
    left = iter(range(_STEPS_MOST))
    base.set_progress_handler(lambda: int(next(left, None) is None), _STEPS)
    try:
        yield
    finally:
        base.set_progress_handler(None, 0)
