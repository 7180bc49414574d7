"""Files in: their layers as frames, their bytes as a hash."""

import hashlib
import warnings
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

from corridor.errors import InputError
from corridor.plugins import load_plugin, plugin_points
from corridor.site.model import Source

__all__ = ["file_hash", "file_labels", "read_layers", "read_ogr", "source_of"]


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
    if not path.exists():
        message = f"expected a vector file, {path} does not exist; check the name and the folder"
        raise InputError(message)
    suffix = path.suffix.removeprefix(".").casefold()
    point = plugin_points("corridor.readers").get(suffix)
    reader = load_plugin(point) if point else None
    try:
        layers = dict((reader or read_ogr)(path))
    except InputError:
        raise
    except Exception as error:  # a stranger's reader may fail in any way
        message = f"expected {path} to be readable by the plug-in for {suffix!r}, which failed: {error!r}"
        raise InputError(message) from error
    return {name: _framed(frame) for name, frame in layers.items()}


def read_ogr(path: Path) -> dict[str, pd.DataFrame]:
    """Read every layer that OGR finds in a file; a table without geometry is a DataFrame.

    Raises
    ------
    InputError
        If OGR can't read it, or finds no layer.
    """
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
        layers = {name: _layer(path, name) for name in names}
    except (RuntimeError, UnicodeDecodeError):  # every error of pyogrio is a RuntimeError
        message = (
            f"expected a vector file (GeoPackage or another that OGR reads), {path} is none, or is damaged; "
            "check that it is the right file and opens elsewhere"
        )
        raise InputError(message) from None
    if not layers:
        message = f"expected a vector file with at least one layer, {path} has none"
        raise InputError(message)
    return layers


def _layer(path: Path, name: str) -> pd.DataFrame:
    with warnings.catch_warnings():
        # a driver's remarks on the file's form aren't about the records
        warnings.simplefilter("ignore", RuntimeWarning)
        warnings.simplefilter("ignore", UserWarning)
        return pyogrio.read_dataframe(path, layer=name)


def _framed(frame: pd.DataFrame) -> gpd.GeoDataFrame:
    if isinstance(frame, gpd.GeoDataFrame):
        return frame.rename_geometry("geometry") if frame.geometry.name != "geometry" else frame
    blank = gpd.GeoSeries([None] * len(frame), index=frame.index)
    return gpd.GeoDataFrame(pd.DataFrame(frame), geometry=blank)


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
    """Return the SHA-256 of a file's bytes, or of those of a folder's files in the order of their names.

    Raises
    ------
    OSError
        If a file can't be opened.
    """
    digest = hashlib.sha256()
    # a folder is a source too (some formats are one): its files in the order of their names
    for part in sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]:
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def file_labels(paths: Iterable[Path]) -> dict[Path, str]:
    """Name each file shortly: by its own name, or by its whole path where two share one."""
    paths = list(paths)
    names = [path.name for path in paths]
    return {path: path.name if names.count(path.name) == 1 else str(path) for path in paths}
