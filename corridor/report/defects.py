"""Defects of the records that a team can send to the owners: one table, and one CSV for each owner."""

import csv
import io
import re
import unicodedata
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from corridor.frames import table_frame
from corridor.site.accepted import is_open
from corridor.site.csv_cells import safe_cell

__all__ = ["defect_files", "defects_table"]

_RANK = {"severe": 0, "warning": 1}  # notes ask nothing of an owner
_WKT_DECIMALS = 3
_NAME_MAX = 60
_STEERING = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")

_ASKED = {
    "unexplained_structure": "Record the line that serves it, or say what stands there.",
    "near_duplicate": "Say whether both records are one line; if so, take one out.",
    "same_place": "Say whether both records are one line; if so, take one out.",
    "duplicate": "Take one of the two records out.",
    "end_unknown": "Record what stands at the end, or where the line goes on.",
    "end_cut": "Send the records of a wider area.",
    "near_miss": "Join the lines, or say that there is a gap.",
    "zero_length": "Give the line its course.",
    "no_geometry": "Give the feature its place.",
    "not_finite": "Give the feature its place.",
    "unknown_word": "Use a word of the list, or say what this one means.",
    "not_a_number": "State a number, or nothing.",
    "out_of_range": "State the value, or nothing.",
    "missing_value": "State the value.",
    "missing_id": "Give the record an id of its own.",
    "duplicate_id": "Give each record an id of its own.",
    "unknown_reference": "Correct the id, or send the record that it names.",
    "continuity_unknown": "State how the lengths are joined, and whether the joints are bonded.",
    "conductivity_unknown": "State material, sheath and tracer wire.",
    "depth_kind_unstated": "Say what the depth is measured to: cover, axis or invert.",
}
_OTHERWISE = "Correct the record."


def defects_table(findings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the findings that ask something of an owner, the most severe first.

    Parameters
    ----------
    findings : GeoDataFrame
        Table ``findings``.

    Returns
    -------
    GeoDataFrame
        Table ``defects``: severe findings and warnings that concern one feature. Accepted ones stay, in state
        accepted. Ranked by severity, then code, layer and row, whatever the order of the findings.
    """
    rows = findings[findings["severity"].isin(list(_RANK)) & findings["feature_row"].notna()].reset_index(drop=True)
    rows = rows.assign(
        order=rows["severity"].map(_RANK),
        layer=rows["feature_source"],
        action=[_ASKED.get(code, _OTHERWISE) for code in rows["code"]],
        state=["open" if there else "accepted" for there in is_open(rows)],
    )
    rows = rows.sort_values(["order", "code", "layer", "feature_row", "message"], kind="stable", ignore_index=True)
    rows["rank"] = range(1, len(rows) + 1)
    data = rows.drop(columns=["geometry", "order", "feature_source", "line_id"])
    return table_frame("defects", data, geometry=rows.geometry.to_numpy(), crs=findings.crs)


def defect_files(defects: gpd.GeoDataFrame) -> dict[str, str]:
    """Return one CSV for each owner: file name and text.

    Parameters
    ----------
    defects : GeoDataFrame
        Table ``defects``.

    Returns
    -------
    dict of str to str
        ``defects_<owner>.csv``, in the order of the owners' names; records that name no owner go by their layer.
        Columns as in the table, then geometry (WKT, m) and its CRS; no cell is a formula to a spreadsheet.
    """
    whose = defects["owner"].where(defects["owner"].notna(), defects["layer"])
    groups: dict[str, list[str]] = {}
    for owner in sorted(set(whose.astype(str))):
        groups.setdefault(_slug(owner), []).append(owner)
    names: dict[str, str] = {}
    for slug, owners in groups.items():
        for owner in owners:
            name, number = slug, 1
            while name in names or (number > 1 and name in groups):
                number += 1
                name = f"{slug}_{number}"
            names[name] = owner
    return {f"defects_{name}.csv": _csv(defects[whose.astype(str).eq(owner)]) for name, owner in names.items()}


def _slug(owner: str) -> str:
    """Return a name that every file system takes, and tells from another: letters and digits of any script, else ``_``.

    Letters that differ in case, or in how their accents are encoded, are one: to some file systems they are.
    """
    same = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", owner).casefold())
    return re.sub(r"\W+", "_", same).strip("_")[:_NAME_MAX] or "unstated"


def _told(value: Any) -> Any:
    """Return text without what would steer a terminal that shows the file; line breaks and tabs stay."""
    return _STEERING.sub("?", value) if isinstance(value, str) else value


def _csv(rows: gpd.GeoDataFrame) -> str:
    crs = rows.crs.to_string() if rows.crs is not None else ""
    data = pd.DataFrame(rows.drop(columns="geometry"))
    data["geometry"] = [
        "" if shape is None else shapely.to_wkt(shape, rounding_precision=_WKT_DECIMALS) for shape in rows.geometry
    ]
    data["crs"] = crs
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(data.columns)
    for row in data.itertuples(index=False):
        writer.writerow(["" if pd.isna(value) else safe_cell(_told(value)) for value in row])
    return text.getvalue()
