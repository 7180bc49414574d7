"""Files in: their layers as frames, their bytes as a hash."""

import hashlib
import shutil
import tempfile
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
import shapely

from corridor.errors import InputError
from corridor.plugins import load_plugin, plugin_points
from corridor.site.container import Held, check_kind, held_by
from corridor.site.model import Source
from corridor.site.quoting import quoted

__all__ = ["HELD", "TROUBLE", "file_hash", "file_labels", "read_layers", "read_ogr", "recoded", "source_of"]

TROUBLE = "trouble"  # key of a frame's attrs: (code, message, row or None) of what could not be read as it should be
HELD = "held"  # key of a frame's attrs: rows that the file says the layer holds, read or not
_SIDECARS = {".shx": "the index", ".dbf": "the attributes", ".prj": "the CRS", ".cpg": "the encoding of the text"}


def read_layers(path: Path) -> dict[str, gpd.GeoDataFrame]:
    """Read every layer of a file, in the file's order, by the reader for its suffix (``corridor.readers``) or OGR.

    Parameters
    ----------
    path : Path
        GeoPackage, another vector file, or a folder that is one.

    Returns
    -------
    dict of GeoDataFrame
        By layer name; a table without geometry has an empty one and no CRS.

    Raises
    ------
    InputError
        If the file is missing, isn't a vector file, or can't be read.
    """
    check_kind(path)
    suffix = path.suffix.removeprefix(".").casefold()
    point = plugin_points("corridor.readers").get(suffix)
    reader = load_plugin(point) if point else None
    try:
        layers = dict((reader or read_ogr)(path))
    except (InputError, MemoryError):
        raise
    except Exception as error:  # a stranger's reader may fail in any way
        message = f"expected {path} to be readable by the plug-in for {suffix!r}, which failed: {error!r}"
        raise InputError(message) from error
    return {name: _framed(frame) for name, frame in layers.items()}


def read_ogr(path: Path) -> dict[str, pd.DataFrame]:
    """Read every layer that OGR finds in a file, but for the table of styles; a table without geometry is a DataFrame.

    What can't be read as it should be stands in ``attrs["trouble"]`` of the layer: a geometry of a type that can't be
    decoded is NULL, a layer that can't be read has no rows, a shapefile's missing files are named, and rows and tables
    that the file says it holds and OGR doesn't give are counted.

    Raises
    ------
    InputError
        If OGR can't read it, or finds no layer, or can read none of them.
    """
    refused = (
        f"expected a vector file (GeoPackage or another that OGR reads), {path} is none, or is damaged; "
        "check that it is the right file and opens elsewhere"
    )
    try:
        with _complete(path) as (whole, lost):
            held = held_by(whole)
            layers = {name: _whole_layer(whole, name, held) for name in _names(whole)}
            layers = {name: frame for name, frame in layers.items() if not _styles(name, frame)}
    except (RuntimeError, UnicodeDecodeError):  # every error of pyogrio is a RuntimeError
        raise InputError(refused) from None
    if not layers:
        message = f"expected a vector file with at least one layer, {path} has none"
        raise InputError(message)
    if all(_unread(frame) for frame in layers.values()):
        raise InputError(refused)
    if ".cpg" in lost and not any(_foreign(frame) for frame in layers.values()):
        lost = [end for end in lost if end != ".cpg"]
    _tell_unlisted(path, held, layers)
    if lost:
        told = f"{path.name}: the shapefile comes without {', '.join(f'{end} ({_SIDECARS[end]})' for end in lost)}"
        for frame in layers.values():
            frame.attrs[TROUBLE] = [*frame.attrs.get(TROUBLE, []), ("missing_sidecar", told, None)]
    return layers


def recoded(path: Path, layer: str, encoding: str) -> gpd.GeoDataFrame:
    """Read one layer again with another encoding of its text.

    Raises
    ------
    InputError
        If the encoding isn't known, or the text can't be in it.
    """
    try:
        with _complete(path) as (whole, _):
            return _framed(_layer(whole, layer, encoding=encoding, strict=True))
    except (LookupError, ValueError, RuntimeError):  # a name with a null in it is a ValueError
        message = (
            f"{path}: expected the text of layer {quoted(layer)} in the encoding {quoted(encoding)}, as the field map "
            "states, and it can't be; correct the encoding there"
        )
        raise InputError(message) from None


@contextmanager
def _complete(path: Path) -> Iterator[tuple[Path, list[str]]]:
    """Yield a path that OGR can open, and the endings of a shapefile's missing files.

    A missing index is made again, beside a copy: nobody's folder is written to.
    """
    if path.suffix.casefold() != ".shp":
        yield path, []
        return
    there = {part.suffix.casefold() for part in path.parent.glob(f"{path.stem}.*")}
    lost = [end for end in _SIDECARS if end not in there]
    if ".shx" not in lost:
        yield path, lost
        return
    with tempfile.TemporaryDirectory() as folder:
        for part in path.parent.glob(f"{path.stem}.*"):
            shutil.copy(part, folder)
        pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": True})
        try:
            yield Path(folder) / path.name, lost
        finally:
            pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": None})


def _names(path: Path) -> list[str]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # as in _layer
        warnings.simplefilter("ignore", UserWarning)
        return [str(name) for name, _ in pyogrio.list_layers(path)]


def _whole_layer(path: Path, name: str, held: Held) -> pd.DataFrame:
    """Return a layer, with a word where the file says that it holds more rows than OGR gives."""
    if name in held.bad_views:
        return _nothing(name, f"the view can't be run, {held.bad_views[name]}; deliver its rows as a table")
    frame = _layer(path, name)
    frame.attrs[HELD] = max(held.rows.get(name, 0), len(frame))
    if len(frame) < frame.attrs[HELD] and not _unread(frame):
        again = _layer(path, name, where="1 = 1")  # a condition makes OGR count itself, whatever the file says
        frame = again if len(again) > len(frame) else frame
        frame.attrs[HELD] = max(held.rows[name], len(frame))
    missing = frame.attrs[HELD] - len(frame)
    if missing > 0 and not _unread(frame):
        told = f"the layer {name!r} says that it holds {held.rows[name]} features, {missing} of them can't be read"
        frame.attrs[TROUBLE] = [*frame.attrs.get(TROUBLE, []), ("features_lost", told, None)]
    return frame


def _tell_unlisted(path: Path, held: Held, layers: dict[str, pd.DataFrame]) -> None:
    """Tell tables of a database that OGR doesn't list, since nothing names them as layers."""
    for name in held.tables:
        if name not in layers:
            told = f"{path.name}: the table {name!r}, {held.rows.get(name, 0)} rows, is in no list of layers"
            first = next(iter(layers.values()))
            first.attrs[TROUBLE] = [*first.attrs.get(TROUBLE, []), ("unlisted_table", told, None)]


def _nothing(name: str, reason: str) -> pd.DataFrame:
    nothing = pd.DataFrame()
    nothing.attrs[TROUBLE] = [("unreadable_layer", f"the layer {name!r} can't be read: {reason}", None)]
    return nothing


def _layer(
    path: Path, name: str, *, encoding: str | None = None, strict: bool = False, where: str | None = None
) -> pd.DataFrame:
    with warnings.catch_warnings():
        # a driver's remarks on the file's form aren't about the records
        warnings.simplefilter("ignore", RuntimeWarning)
        warnings.simplefilter("ignore", UserWarning)
        options: dict[str, Any] = {"layer": name} | ({"encoding": encoding} if encoding else {})
        options |= {"where": where} if where else {}
        try:
            return pyogrio.read_dataframe(path, **options)
        except shapely.errors.GEOSException:
            return _decoded(path, options)
        except (RuntimeError, UnicodeDecodeError) as error:
            if strict:
                raise
            return _nothing(name, " ".join(str(error).split()))


def _styles(name: str, frame: pd.DataFrame) -> bool:
    """Tell the table in which desktop GIS keep how layers look: it holds no features."""
    return name == "layer_styles" and {"f_table_name", "styleQML", "styleSLD"} <= set(frame.columns)


def _decoded(path: Path, options: dict[str, Any]) -> gpd.GeoDataFrame:
    """Read a layer feature by feature, leaving out the geometries that are of a type nobody here can decode."""
    meta, _, binaries, _ = pyogrio.raw.read(path, **options)
    shapes = np.empty(len(binaries), dtype=object)
    trouble = []
    for row, binary in enumerate(binaries):
        try:
            shapes[row] = None if binary is None else shapely.from_wkb(binary)
        except shapely.errors.GEOSException as error:
            reason = str(error).partition(":")[2].strip() or "unknown type"
            trouble.append(("undecoded_geometry", f"the geometry can't be decoded: {reason}", row))
    table = pyogrio.read_dataframe(path, read_geometry=False, **options)
    frame = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, index=table.index, crs=meta["crs"]))
    frame.attrs[TROUBLE] = trouble
    return frame


def _foreign(frame: pd.DataFrame) -> bool:
    """Tell whether the text holds more than ASCII, so that its encoding matters."""
    texts = (frame[c] for c in frame if c != "geometry" and not pd.api.types.is_numeric_dtype(frame[c].dtype))
    return any(not str(value).isascii() for text in texts for value in text.dropna().unique())


def _unread(frame: pd.DataFrame) -> bool:
    return any(code == "unreadable_layer" for code, _, _ in frame.attrs.get(TROUBLE, []))


def _framed(frame: pd.DataFrame) -> gpd.GeoDataFrame:
    if isinstance(frame, gpd.GeoDataFrame):
        return frame.rename_geometry("geometry") if frame.geometry.name != "geometry" else frame
    blank = gpd.GeoSeries([None] * len(frame), index=frame.index)
    framed = gpd.GeoDataFrame(pd.DataFrame(frame), geometry=blank)
    framed.attrs = dict(frame.attrs)
    return framed


def source_of(path: Path, layers: Iterable[str]) -> Source:
    """Describe one input file: path as given, SHA-256, date of last change and layers read.

    Raises
    ------
    OSError
        If the file can't be opened.
    """
    changed = datetime.fromtimestamp(path.stat().st_mtime, tz=UTC).isoformat(timespec="seconds")
    return Source(path=str(path), sha256=file_hash(path), modified=changed, layers=tuple(layers))


def file_hash(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, of a shapefile's files, or of a folder's, in the order of their names.

    Raises
    ------
    OSError
        If a file can't be opened.
    """
    digest = hashlib.sha256()
    # a folder is a source too (some formats are one): its files in the order of their names
    for part in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path, *_beside(path)]:
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def _beside(path: Path) -> list[Path]:
    """Return the files that make a shapefile what it is."""
    if path.suffix.casefold() != ".shp":
        return []
    return sorted(p for p in path.parent.glob(f"{path.stem}.*") if p.suffix.casefold() in _SIDECARS)


def file_labels(paths: Iterable[Path]) -> dict[Path, str]:
    """Name each file shortly: by its own name, or by its whole path where two share one."""
    paths = list(dict.fromkeys(paths))
    names = [path.name for path in paths]
    return {path: path.name if names.count(path.name) == 1 else str(path) for path in paths}
