"""Records too large for the machine, refused before the work that wouldn't fit is begun."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import geopandas as gpd
import shapely

from corridor.errors import InputError
from corridor.settings import SiteSettings

__all__ = ["refuse_large_files", "refuse_large_layers"]

# what reading takes, measured on 20,000 and 60,000 lines of few columns (docs/limits.md); rich rows take less a byte
MEMORY_PER_BYTE, MB_PER_FEATURE = 40.0, 0.0085
_BYTES_PER_MB = 1e6


def refuse_large_files(files: Sequence[Path], settings: SiteSettings) -> None:
    """Refuse files that are larger together than ``site.file_limit_mb``, before any is opened.

    Raises
    ------
    InputError
        With their size and about what reading them would take of memory.
    """
    size_mb = sum(_size(file) for file in files) / _BYTES_PER_MB
    if size_mb > settings.file_limit_mb:
        message = (
            f"expected records of at most {settings.file_limit_mb:g} MB (settings, site.file_limit_mb), got "
            f"{size_mb:.3g} MB in {len(files)} files, which take up to {size_mb * MEMORY_PER_BYTE:.3g} MB of memory; "
            "give the area that you need, or raise the limit"
        )
        raise InputError(message)


def refuse_large_layers(frames: Iterable[gpd.GeoDataFrame], settings: SiteSettings) -> None:
    """Refuse layers with more features or vertices than the settings allow, before any is placed or repaired.

    Raises
    ------
    InputError
        With the number that came, and the setting.
    """
    held = list(frames)
    features = sum(len(frame) for frame in held)
    vertices = sum(int(shapely.get_num_coordinates(frame.geometry.to_numpy()).sum()) for frame in held)
    for what, count, limit in (
        ("feature", features, settings.feature_limit),
        ("vertex", vertices, settings.vertex_limit),
    ):
        if count > limit:
            many = {"feature": "features", "vertex": "vertices"}[what]
            message = (
                f"expected records of at most {limit} {many} (settings, site.{what}_limit), got {count}, which take "
                f"about {features * MB_PER_FEATURE:.3g} MB of memory; give the area that you need, or raise the limit"
            )
            raise InputError(message)


def _size(path: Path) -> int:
    """Return the bytes of a file, or of all files in a folder; 0 of what isn't there, which reading tells."""
    try:
        parts = [part for part in path.rglob("*") if part.is_file()] if path.is_dir() else [path]
        return sum(part.stat().st_size for part in parts)
    except (OSError, ValueError):  # a null byte in the name
        return 0
