"""A folder of tiles, read again: what it holds, and the site of one tile with all that bears on its lines."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from corridor.city.parts import FORMAT, INDEX_FILE, ROW, SPREAD, WHOLE, part_file, restored
from corridor.errors import InputError
from corridor.frames import empty_table
from corridor.settings import Settings
from corridor.site.model import MapUsed, Site, Source

__all__ = ["TileSite", "Tiles", "is_tiles", "open_tiles"]

_SLACK_M = 1e-3  # rounding must not lose a neighbour
_NONE = pd.DataFrame()
Parts = dict[str, list[Any]]  # by table: what is read of it, as tables of pyarrow


@dataclass(frozen=True)
class TileSite:
    """The lines of one tile and all that bears on them.

    Attributes
    ----------
    site : Site
        Tables of the tile and of what lies around it.
    owned : frozenset of str
        The lines of the tile itself, by line_id.
    """

    site: Site
    owned: frozenset[str]


@dataclass(frozen=True)
class Tiles:
    """A site in a folder of tiles.

    Attributes
    ----------
    folder : Path
    about : dict
        Its index: of each tile the number of lines, segments and structures, and their boxes (m).
    settings : Settings
        With which the records were read.
    crs : CRS
        Of all tables.
    """

    folder: Path
    about: dict[str, Any]
    settings: Settings
    crs: CRS

    def __len__(self) -> int:
        return len(self.about["tiles"])

    def reach_m(self, settings: Settings) -> float:
        """Return how far from a line lies what bears on it, m.

        As far as a parallel run may be; across a structure to the line on its other side; as far as two lines may be
        apart and be one.
        """
        twins_m = max(settings.site.twin_m, 2.0 * float(self.about["accuracy_max_m"]))
        structure_m = 2.0 * settings.site.structure_reach_m
        return max(settings.couplings.max_separation_m, structure_m, twins_m, settings.site.snap_m) + _SLACK_M

    def whole(self) -> Site:
        """Return the site without what is spread over the tiles: findings, sources, accounting and small tables.

        Raises
        ------
        InputError
            If a file can't be read.
        """
        about = self.about
        frames: dict[str, Any] = {
            name: restored(self._table(self.folder / f"{name}.parquet"), about["types"][name], self.crs)
            for name in WHOLE
        }
        frames |= {name: empty_table(name, self.crs) for name in SPREAD}
        frames["terminations"] = pd.DataFrame(frames["terminations"].drop(columns="geometry"))
        accounting = about["accounting"]
        return Site(
            **frames, crs=self.crs, accounting=pd.DataFrame(accounting["data"], columns=accounting["columns"]),
            sources=tuple(Source(**(s | {"layers": tuple(s["layers"])})) for s in about["sources"]),
            fieldmap=MapUsed(**about["fieldmap"]) if about["fieldmap"] else None,
        )  # fmt: skip

    def site(self, number: int, *, reach_m: float) -> TileSite:
        """Return a tile with its halo: the lines and structures within reach of its lines, and what records name.

        Parameters
        ----------
        number : int
            The tile, from 0.
        reach_m : float, m
            Plan distance.

        Raises
        ------
        InputError
            If there is no such tile, or a file can't be read.
        """
        if not 0 <= number < len(self):
            message = f"expected a tile from 0 to {len(self) - 1} of {self.folder}, got {number}"
            raise InputError(message)
        parts = {name: [self._part(name, number), self._part(name, number, beyond=True)] for name in SPREAD}
        own = parts["lines"][0]
        names = _texts(own, "line_id")
        if names:
            self._add_halo(parts, number, shapely.from_wkb(own["geometry"].to_numpy()), reach_m=reach_m)
        return TileSite(self._site({name: self._joined(name, held) for name, held in parts.items()}), frozenset(names))

    def _add_halo(self, parts: Parts, number: int, own: Any, *, reach_m: float) -> None:
        tree = shapely.STRtree(own)
        box = np.array(self.about["tiles"][number]["box"]) + np.array([-1, -1, 1, 1]) * reach_m
        for other, told in enumerate(self.about["tiles"]):
            if other == number:
                continue
            if _meet(box, told["structures_box"]):
                parts["structures"].append(_near(self._part("structures", other, box=box), tree, reach_m))
            if not _meet(box, told["box"]):
                continue
            near = _near(self._part("lines", other, box=box), tree, reach_m)
            names = _texts(near, "line_id")
            if not names:
                continue
            parts["lines"].append(near)
            ends = _where(self._part("terminations", other), ("line_id",), names)
            bonds = [
                _where(self._part("bonds", other, beyond=beyond), ("line_a", "line_b"), names)
                for beyond in (False, True)
            ]
            asked = set().union(*(_texts(held, "structure_id") for held in (ends, *bonds)))
            parts["terminations"].append(ends)
            parts["bonds"] += bonds
            for beyond in (False, True):
                named = self._part("structures", other, beyond=beyond) if asked else None
                parts["structures"].append(_where(named, ("structure_id",), asked))

    def _joined(self, name: str, parts: list[Any]) -> pd.DataFrame:
        """Return the rows of all parts, each once, in the order of the whole table."""
        filled = [part for part in parts if part is not None and part.num_rows]
        if not filled:
            return _NONE
        from pyarrow import concat_tables  # noqa: PLC0415 - an extra

        rows = restored(concat_tables(filled, promote_options="default"), self.about["types"][name], self.crs)
        return rows.drop_duplicates(ROW).sort_values(ROW, ignore_index=True).drop(columns=ROW)

    def _site(self, frames: dict[str, pd.DataFrame]) -> Site:
        full: dict[str, Any] = {}
        for name in SPREAD:
            types = self.about["types"][name]
            empty = pd.DataFrame({c: pd.Series([], dtype=kind) for c, kind in types.items() if c != "geometry"})
            if "geometry" in types:
                empty = gpd.GeoDataFrame(empty, geometry=gpd.GeoSeries([], crs=self.crs), crs=self.crs)
            full[name] = frames[name] if len(frames[name]) else empty
        if len(full["bonds"]):
            known = {*full["lines"]["line_id"].astype(str), "earth"}
            kept = full["bonds"]["line_a"].astype(str).isin(known) & full["bonds"]["line_b"].astype(str).isin(known)
            full["bonds"] = full["bonds"][kept].reset_index(drop=True)
        full |= {name: empty_table(name, self.crs) for name in WHOLE}
        return Site(**full, accounting=pd.DataFrame(), sources=(), crs=self.crs)

    def _part(self, name: str, number: int, *, beyond: bool = False, box: Any = None) -> Any:
        """Return a tile's part of a table, of it what meets a box; None where there is none."""
        path = part_file(self.folder / "beyond" if beyond else self.folder, name, number)
        return self._table(path, box=box) if path.exists() else None

    def _table(self, path: Path, *, box: Any = None) -> Any:
        from pyarrow import compute, parquet  # noqa: PLC0415 - an extra

        met = None
        if box is not None:
            low, high = (("xmin", "ymin"), ("xmax", "ymax"))
            tests = [compute.field("bbox", name) <= float(edge) for name, edge in zip(low, box[2:], strict=True)]
            tests += [compute.field("bbox", name) >= float(edge) for name, edge in zip(high, box[:2], strict=True)]
            met = tests[0] & tests[1] & tests[2] & tests[3]
        try:
            return parquet.read_table(path, filters=met)
        except (OSError, ValueError, KeyError) as error:
            message = f"can't read {path} of the tiles: {' '.join(str(error).split())}; write them again"
            raise InputError(message) from error


def _meet(one: Any, other: Any) -> bool:
    if other is None:
        return False
    return bool(one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3])


def _near(table: Any, tree: shapely.STRtree, reach_m: float) -> Any:
    """Return the rows within reach of the shapes of a tree."""
    if table is None or not table.num_rows:
        return None
    shapes = shapely.from_wkb(table["geometry"].to_numpy())
    rows, _ = tree.query(shapes, predicate="dwithin", distance=reach_m)
    return table.take(np.unique(rows))


def _where(table: Any, columns: tuple[str, ...], names: set[str]) -> Any:
    """Return the rows that have one of the names in one of the columns."""
    if table is None or not table.num_rows or not names:
        return None
    kept = np.zeros(table.num_rows, dtype=bool)
    for column in columns:
        kept |= np.array([str(value) in names for value in table[column].to_pylist()], dtype=bool)
    return table.filter(kept)


def _texts(table: Any, column: str) -> set[str]:
    if table is None or not table.num_rows:
        return set()
    return {str(value) for value in table[column].to_pylist() if value is not None}


def is_tiles(path: str | Path) -> bool:
    """Tell whether a path is a folder of tiles, as `write_tiles` makes it."""
    try:
        return (Path(path) / INDEX_FILE).is_file()
    except (OSError, ValueError):  # no name of a file at all: who reads it says so
        return False


def open_tiles(folder: str | Path) -> Tiles:
    """Open a folder of tiles; only its index is read.

    Raises
    ------
    InputError
        If it isn't one, or was written in a form that this version doesn't read.
    """
    path = Path(folder)
    try:
        about = json.loads((path / INDEX_FILE).read_text(encoding="utf-8"))
        if about["format"] != FORMAT:
            message = f"expected tiles in the form {FORMAT!r}, {path} has {about['format']!r}; write them again"
            raise InputError(message)
        return Tiles(path, about, Settings.model_validate(about["settings"]), CRS.from_json_dict(about["crs"]))
    except (OSError, ValueError, KeyError, TypeError) as error:
        if isinstance(error, InputError):
            raise
        message = (
            f"expected a folder of tiles, {path} is none or is damaged; corridor tiles RECORDS -o FOLDER makes one"
        )
        raise InputError(message) from error
