"""A site in tiles: a folder of GeoParquet files, each table a subfolder with a part per tile.

Beside the parts, ``beyond`` holds copies of what a tile's own records name and other tiles own, so that a tile can be
read without looking all over the place.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.city.parts import FORMAT, INDEX_FILE, ROW, SPREAD, WHOLE, part_file, stored
from corridor.city.split import tiles_of
from corridor.couplings.bonds import EARTH
from corridor.errors import OutputError
from corridor.report.place import RECEIPT_FILE, whole_folder
from corridor.report.receipt import make_receipt
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["write_tiles"]

Frames = dict[str, pd.DataFrame]
Tile = dict[str, pd.Series]  # by table: the tile of each row


def write_tiles(site: Site, folder: str | Path, *, settings: Settings | None = None) -> int:
    """Write a site into a folder of tiles, each with about as many segments.

    Every table is a subfolder of GeoParquet 1.1 files, one per tile that has rows of it, with boxes of the features as
    columns; lines and structures stand in one tile each, whole. Texts of the records' own columns that mix kinds of
    values are written as text.

    Parameters
    ----------
    site : Site
        As `read_site` gives it.
    folder : str or Path
        A new or empty folder, or one that this function filled, which is replaced whole.
    settings : Settings, optional
        Those that the site was read with: they are kept with the tiles, and runs over the tiles use them.
        ``city.tile_segments`` is the size of a tile.

    Returns
    -------
    int
        How many tiles.

    Raises
    ------
    OutputError
        If the folder holds anything else, can't be written, or pyarrow isn't installed.
    """
    used = settings or Settings()
    _need_pyarrow(folder)
    frames = _numbered(site)
    lines, structures = frames["lines"], frames["structures"]
    of_line, of_structure = tiles_of(site.lines, site.structures, segments=used.city.tile_segments)
    home = pd.Series(of_line, index=lines["line_id"].astype(str))
    tile: Tile = {"lines": pd.Series(of_line), "structures": pd.Series(of_structure)}
    for name, column in (("terminations", "line_id"), ("bonds", "line_a"), ("grounds", "line_id")):
        tile[name] = _by(frames[name][column], home)
    tile["bonds"] = tile["bonds"].fillna(_by(frames["bonds"]["line_b"], home))
    tile = {name: numbers.fillna(0).astype(np.int64) for name, numbers in tile.items()}
    count = int(of_line.max(initial=0)) + 1
    with whole_folder(folder) as made:
        index = _index(site, used)
        for name in SPREAD:
            _write_parts(made, name, _split(frames[name], tile[name]))
        for name, parts in _beyond(frames, tile, home, reach_m=used.site.structure_reach_m).items():
            _write_parts(made / "beyond", name, parts)
        for name in WHOLE:
            _write(made / f"{name}.parquet", stored(getattr(site, name)))
        held, stands = _split(lines, tile["lines"]), _split(structures, tile["structures"])
        index["tiles"] = [_about(held.get(n, lines[:0]), stands.get(n, structures[:0])) for n in range(count)]
        _write_json(made / INDEX_FILE, index)
        receipt = make_receipt(site, command="tiles", settings=used)
        _write_json(made / RECEIPT_FILE, receipt | {"files": sorted([RECEIPT_FILE, *(p.name for p in made.iterdir())])})
    return count


def _need_pyarrow(folder: str | Path) -> None:
    try:
        import pyarrow  # noqa: F401, PLC0415 - an extra: nothing else needs it
    except ImportError:
        message = f"expected pyarrow to write {folder}, it isn't installed; pip install 'corridor[parquet]'"
        raise OutputError(message) from None


def _numbered(site: Site) -> Frames:
    """Return the tables that are spread over tiles, each row with its place in the whole."""
    plain = {name: stored(getattr(site, name).reset_index(drop=True)) for name in SPREAD}
    return {name: frame.assign(**{ROW: np.arange(len(frame))}) for name, frame in plain.items()}


def _by(names: pd.Series, home: pd.Series) -> pd.Series:
    return names.astype(str).map(home).reset_index(drop=True)


def _split(frame: pd.DataFrame, number: pd.Series) -> dict[int, pd.DataFrame]:
    order = np.argsort(number.to_numpy(), kind="stable")
    there, first = np.unique(number.to_numpy()[order], return_index=True)
    rows = np.split(order, first[1:])
    return {int(n): frame.iloc[held] for n, held in zip(there, rows, strict=False)}


def _index(site: Site, settings: Settings) -> dict[str, Any]:
    spread = {name: getattr(site, name) for name in (*SPREAD, *WHOLE)}
    accuracy = site.lines["horizontal_accuracy_m"].to_numpy(dtype=float)
    return {
        "format": FORMAT,
        "crs": site.crs.to_json_dict(),
        "settings": settings.model_dump(mode="json"),
        "sources": [asdict(source) for source in site.sources],
        "fieldmap": asdict(site.fieldmap) if site.fieldmap else None,
        "accounting": json.loads(site.accounting.to_json(orient="split")),
        "types": {name: {str(c): str(t) for c, t in frame.dtypes.items()} for name, frame in spread.items()},
        "accuracy_max_m": float(np.nanmax(accuracy, initial=0.0)),
    }


def _beyond(frames: Frames, tile: Tile, home: pd.Series, *, reach_m: float) -> dict[str, dict[int, pd.DataFrame]]:
    """Return, by table and tile, the records that speak of a tile's lines, and what they name, owned by others."""
    bonds, terminations = frames["bonds"], frames["terminations"]
    home_a, home_b = (_by(bonds[name], home) for name in ("line_a", "line_b"))
    named = _merged([_named(bonds["line_b"], home_a, home_b), _named(bonds["line_a"], home_b, home_a)])
    rows = {"bonds": _merged([_asked(bonds[ROW], number, tile["bonds"]) for number in (home_a, home_b)])}
    row_of = pd.Series(np.arange(len(frames["lines"])), index=frames["lines"]["line_id"].astype(str))
    rows["lines"] = {number: set(row_of[sorted(names)]) for number, names in named.items()}
    ends = terminations.groupby(terminations["line_id"].astype(str))[ROW].apply(set).to_dict()
    rows["terminations"] = {n: set().union(*(ends.get(x, set()) for x in names)) for n, names in named.items()}
    named_at = [_structures(name, frames, tile, rows[name]) for name in ("bonds", "terminations")]
    rows["structures"] = _merged([*named_at, _at_grounds(frames, tile, reach_m)])
    return {name: {n: frames[name].iloc[sorted(held)] for n, held in parts.items() if held}
            for name, parts in rows.items()}  # fmt: skip


def _structures(name: str, frames: Frames, tile: Tile, copied: Mapping[int, set[int]]) -> dict[int, set[int]]:
    """Return the structures of other tiles that the rows of a table name, its own and those copied, by tile."""
    ids = frames["structures"]["structure_id"].astype(str)
    row_of = pd.Series(np.arange(len(ids)), index=ids)
    at = frames[name]["structure_id"].astype(object).map(row_of).to_numpy(dtype=float)
    own = list(enumerate(tile[name].tolist()))
    number = np.array([n for _, n in own] + [n for n, held in copied.items() for _ in held], dtype=np.int64)
    row = np.array([r for r, _ in own] + [r for held in copied.values() for r in sorted(held)], dtype=np.int64)
    stands = at[row]
    number, stands = number[~np.isnan(stands)], stands[~np.isnan(stands)].astype(np.int64)
    other = tile["structures"].to_numpy()[stands] != number
    return _sets(pd.Series(stands[other]), pd.Series(number[other]))


def _at_grounds(frames: Frames, tile: Tile, reach_m: float) -> dict[int, set[int]]:
    """Return the structures of other tiles that the grounds of a tile stand at, by tile."""
    points, shapes = (frames[name]["geometry"].to_numpy() for name in ("grounds", "structures"))
    ground, structure = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=reach_m)
    number = tile["grounds"].to_numpy()[ground]
    other = tile["structures"].to_numpy()[structure] != number
    return _sets(pd.Series(structure[other]), pd.Series(number[other]))


def _asked(rows: pd.Series, number: pd.Series, own: pd.Series) -> dict[int, set[int]]:
    """Return the rows that are asked for in a tile and owned by another."""
    other = number.notna() & (number != own)
    return _sets(rows[other.to_numpy()], number[other])


def _named(names: pd.Series, number: pd.Series, home: pd.Series) -> dict[int, set[str]]:
    """Return the lines, earth apart, that are named in a tile and live in another."""
    other = number.notna() & home.notna() & (number != home) & names.reset_index(drop=True).ne(EARTH)
    return _sets(names[other.to_numpy()].astype(str), number[other])


def _sets(values: pd.Series, number: pd.Series) -> dict[int, set[Any]]:
    found: dict[int, set[Any]] = {}
    for value, n in zip(values, number, strict=True):
        found.setdefault(int(n), set()).add(value)
    return found


def _merged(parts: list[dict[int, set[Any]]]) -> dict[int, set[Any]]:
    found: dict[int, set[Any]] = {}
    for part in parts:
        for number, held in part.items():
            found.setdefault(number, set()).update(held)
    return found


def _about(lines: pd.DataFrame, structures: pd.DataFrame) -> dict[str, Any]:
    shapes = lines["geometry"].to_numpy()
    return {
        "lines": len(lines),
        "segments": int(np.maximum(shapely.get_num_coordinates(shapes) - 1, 1).sum()) if len(lines) else 0,
        "box": _box(shapes),
        "structures": len(structures),
        "structures_box": _box(structures["geometry"].to_numpy()),
    }


def _box(shapes: Any) -> list[float] | None:
    bounds = shapely.total_bounds(shapes) if len(shapes) else np.full(4, np.nan)
    return None if np.isnan(bounds).any() else [float(value) for value in bounds]


def _write_parts(folder: Path, name: str, parts: Mapping[int, pd.DataFrame]) -> None:
    for number in sorted(parts):
        _write(part_file(folder, name, int(number)), parts[number])


def _write(path: Path, frame: pd.DataFrame) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(frame, gpd.GeoDataFrame):
            frame.to_parquet(path, index=False, schema_version="1.1.0", write_covering_bbox=True)
        else:
            frame.to_parquet(path, index=False)
    except OSError as error:
        message = f"can't write {path.name}: {error.strerror or error}"
        raise OutputError(message) from error


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    path.write_text(
        json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
    )
