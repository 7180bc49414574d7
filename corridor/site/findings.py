"""Findings: what a reader of the records must know, each with its feature, its code and what was done."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from corridor.frames import table_frame
from corridor.site.quoting import cut

__all__ = ["CODES", "FEATURE", "ID_NAMES", "SITE_SOURCE", "Findings"]

SITE_SOURCE = "site"  # feature_source of a finding about the records as a whole

# where a row came from; kept beside every row from reading to the finished table
FEATURE = ("src_feature_source", "src_feature_row", "src_source_id")

ID_NAMES = ("line_id", "structure_id", "bond_id", "ground_id")
"""Columns that may say which record a finding is about; the first that is there does."""

CODES = {
    # layers and coordinates
    "unknown_layer": "warning",
    "unreadable_layer": "warning",
    "features_lost": "severe",
    "unlisted_table": "warning",
    "missing_sidecar": "warning",
    "crs_stated": "note",
    "crs_replaced": "warning",
    "reprojected": "note",
    "z_dropped": "note",
    "z_sentinel": "warning",
    "axes_swapped": "note",
    "axes_suspected": "severe",
    "far_away": "warning",
    "cut_name": "note",
    # geometry
    "no_geometry": "warning",
    "not_finite": "warning",
    "undecoded_geometry": "warning",
    "wrong_geometry": "warning",
    "collection": "note",
    "area_as_line": "note",
    "zero_length": "warning",
    "invalid_geometry": "warning",
    "multipart": "note",
    "repeated_vertices": "note",
    "self_crossing": "note",
    "duplicate": "warning",
    "same_place": "warning",
    "snapped": "note",
    "near_miss": "warning",
    # values
    "unknown_word": "warning",
    "not_a_number": "warning",
    "out_of_range": "warning",
    "no_value": "note",
    "utility_from_name": "warning",
    "depth_to_axis": "note",
    "depth_kind_unstated": "warning",
    "split": "note",
    "not_split": "warning",
    "several_conductors": "note",
    "corrected": "note",
    "correction_unused": "warning",
    "missing_value": "warning",
    "missing_id": "warning",
    "duplicate_id": "warning",
    "changed_id": "note",
    "prefixed_id": "note",
    "unknown_reference": "warning",
    # fills
    "filled_material": "note",
    "filled_joints": "note",
    "filled_joint_spacing": "note",
    "filled_sheath": "note",
    "filled_sheath_bonding": "note",
    "filled_coating": "note",
    "filled_diameter": "note",
    "filled_wall": "note",
    "filled_conductor": "note",
    "filled_depth": "note",
    "conductivity_unknown": "warning",
    "continuity_unknown": "warning",
    "inferred_grounds": "note",
    # what isn't there
    "above_ground": "warning",
    "end_unknown": "warning",
    "end_cut": "warning",
    "near_duplicate": "warning",
    "unexplained_structure": "severe",
    "no_structures": "warning",
    "no_bonds": "warning",
    "no_grounds": "warning",
    "no_soil": "warning",
    "no_work_area": "warning",
    "no_depth": "warning",
}  # code -> severity

_LONGEST = 1000  # characters of a message: layers and columns may have names of any length


@dataclass
class Findings:
    """Collects findings in the order they are made.

    Every code is one of ``CODES``, which gives its severity.
    """

    _blocks: list[dict[str, Any]] = field(default_factory=list)

    def add(self, code: str, message: str, *, action: str, source: str = SITE_SOURCE) -> None:
        """Add one finding that concerns a layer or the records as a whole.

        Raises
        ------
        KeyError
            If the code isn't one of ``CODES``.
        """
        block = {
            "feature_source": [source], "feature_row": [None], "source_id": [None], "owner": [None],
            "line_id": [None], "severity": [CODES[code]], "code": [code], "message": [cut(message, _LONGEST)],
            "action": [action], "geometry": [None],
        }  # fmt: skip
        self._blocks.append(block)

    def add_rows(
        self, code: str, rows: pd.DataFrame, messages: str | Sequence[str], *, action: str, at: Any = None
    ) -> None:
        """Add one finding a row of a table that still carries its ``FEATURE`` columns.

        Parameters
        ----------
        code : str
            One of ``CODES``.
        rows : DataFrame
            An id, owner and geometry are taken where there.
        messages : str or sequence of str
            One for all, or one a row concerned.
        action : str
            What was done, or what to do.
        at : Series or ndarray of bool, shape (rows,), optional
            Which rows are concerned; None: all.

        Raises
        ------
        KeyError
            If the code isn't one of ``CODES``.
        """
        severity = CODES[code]
        # columns are taken one by one: a frame of some rows costs far more
        chosen = np.arange(len(rows)) if at is None else np.flatnonzero(at)
        count = len(chosen)
        if not count:
            return

        def taken(name: str | None) -> Any:
            return rows[name].to_numpy(dtype=object)[chosen] if name in rows else np.full(count, None, dtype=object)

        source, row, source_id = FEATURE
        block = {
            "feature_source": taken(source),
            "feature_row": taken(row),
            "source_id": taken(source_id),
            "owner": taken("owner"),
            "line_id": taken(next((name for name in ID_NAMES if name in rows), None)),
            "severity": [severity] * count,
            "code": [code] * count,
            "action": [action] * count,
            "message": [messages] * count if isinstance(messages, str) else list(messages),
            "geometry": _finite(taken("geometry")),
        }
        self._blocks.append(block)

    def places(self, code: str) -> list[Any]:
        """Return the geometries of the findings of one code, those without left out."""
        return [
            shape
            for block in self._blocks
            for one, shape in zip(block["code"], block["geometry"], strict=True)
            if one == code and shape is not None
        ]

    def frame(self, crs: CRS) -> gpd.GeoDataFrame:
        """Return the table ``findings`` of the dictionary, in the order the findings were made."""
        if not self._blocks:
            return table_frame("findings", {}, geometry=[], crs=crs)
        data = {name: _objects([one for block in self._blocks for one in block[name]]) for name in self._blocks[0]}
        shapes = data.pop("geometry")
        return table_frame("findings", data, geometry=shapes, crs=crs)


def _objects(values: list[Any]) -> Any:
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def _finite(shapes: Any) -> Any:
    coordinates, index = shapely.get_coordinates(shapes, return_index=True)
    shapes[index[~np.isfinite(coordinates).all(axis=1)]] = None  # a place that isn't finite can't be drawn
    return shapes
