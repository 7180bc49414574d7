"""GeoParquet in: a file is a layer, a folder holds a file or a folder of parts a layer."""

import warnings
from pathlib import Path

import geopandas as gpd
import pandas as pd

from corridor.errors import InputError

__all__ = ["read_geoparquet"]

_ENDING = ".parquet"
_REASON_LONGEST = 300  # characters of a library's words
_BOX = "bbox"  # the boxes of the features, where a file has them as a column: no attribute of theirs


def read_geoparquet(path: Path) -> dict[str, pd.DataFrame]:
    """Read the layers of a GeoParquet file or folder; the built-in reader for the suffix ``parquet``.

    A file is one layer, named as the file is. A folder is what ``-o tables.parquet`` writes: a file a layer; where a
    layer is a folder itself, its files are its parts, in the order of their names. A Parquet file without geometry is
    a table.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        If a file can't be read, there is none, or pyarrow isn't installed.
    """
    try:
        import pyarrow.parquet  # noqa: F401, PLC0415 - an extra: nothing else needs it
    except ImportError:
        message = f"expected pyarrow to read {path}, it isn't installed; pip install 'corridor[parquet]'"
        raise InputError(message) from None
    layers = {}
    for name, parts in _layers(path).items():
        frames = [_part(part) for part in parts]
        if len({getattr(frame, "crs", None) for frame in frames}) > 1:
            message = f"expected one CRS in all parts of layer {name!r} of {path}, they differ; reproject them"
            raise InputError(message)
        layers[name] = frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)
    if not layers:
        message = f"expected GeoParquet files in {path}, there is none that ends in {_ENDING}"
        raise InputError(message)
    return layers


def _part(path: Path) -> pd.DataFrame:
    """Read one file."""
    from pyarrow import parquet  # noqa: PLC0415

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # remarks of libraries on what they meet: findings tell it
        try:
            spatial = b"geo" in (parquet.read_schema(path).metadata or {})
            frame = gpd.read_parquet(path) if spatial else pd.read_parquet(path)
            for column in frame.select_dtypes(include="string"):  # text that is none shows only when looked at
                frame[column].to_numpy(dtype=object)
        except Exception as error:  # a damaged file may fail in any way, deep in the libraries
            reason = " ".join(str(error).split())[:_REASON_LONGEST]
            message = f"expected GeoParquet, {path} can't be read: {reason}; check that it is complete"
            raise InputError(message) from error
    return frame.drop(columns=_BOX, errors="ignore")


def _layers(path: Path) -> dict[str, list[Path]]:
    """Return the files of each layer."""
    if not path.is_dir():
        return {path.stem: [path]}
    found: dict[str, list[Path]] = {}
    for item in sorted(path.iterdir()):
        parts = sorted(item.glob(f"*{_ENDING}")) if item.is_dir() else [item] if item.suffix == _ENDING else []
        if parts:
            found[item.name.removesuffix(_ENDING)] = parts
    return found
