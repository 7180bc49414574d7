"""How much the records state, layer by layer and column by column."""

from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from corridor.dictionary import INPUT_TABLES
from corridor.frames import table_frame
from corridor.site.findings import FEATURE

__all__ = ["SCORED", "completeness", "layer_scores"]

SCORED = ("utility", "asset", "material", "diameter_mm", "depth_m", "joints", "status", "owner", "source_date")
"""Columns of ``lines`` that a layer's score is the mean of: without them tone can't be foreseen or nobody asked."""

_FILLED = ("default", "inferred")


def completeness(read: Mapping[str, gpd.GeoDataFrame], filled: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return what share of each layer's rows states each column of its table.

    Parameters
    ----------
    read : mapping of str to GeoDataFrame
        Tables by name as read and repaired, before anything was filled, with ``FEATURE`` columns; multipart features
        count part by part.
    filled : GeoDataFrame
        Table ``lines`` after filling, with the ``_src`` companions.

    Returns
    -------
    DataFrame
        Table ``completeness``: stated_share + unknown_share + missing_share = 1; default_share is what was filled.
        Layers in the order read, columns in the dictionary's.
    """
    source = FEATURE[0]
    rows = []
    for name, frame in read.items():
        for layer in pd.unique(frame[source]) if len(frame) else ():
            own = frame[frame[source] == layer]
            finished = filled[filled[source] == layer] if name == "lines" else None
            stated = own[list(INPUT_TABLES[name].names)]
            shares = (table.to_numpy().mean(axis=0).tolist() for table in (stated.isna(), stated.eq("unknown")))
            for column, missing, unknown in zip(INPUT_TABLES[name].columns, *shares, strict=True):
                default = 0.0
                if finished is not None and column.mapped:
                    default = float(finished[f"{column.name}_src"].isin(_FILLED).sum() / len(own))
                rows.append({
                    "layer": layer, "table": name, "column": column.name, "row_count": len(own),
                    "stated_share": 1.0 - missing - unknown, "unknown_share": unknown, "missing_share": missing,
                    "default_share": default,
                })  # fmt: skip
    return pd.DataFrame(table_frame("completeness", rows).drop(columns="geometry"))


def layer_scores(table: pd.DataFrame) -> list[tuple[str, float]]:
    """Return each layer of lines with its score: the mean stated share of the ``SCORED`` columns."""
    scored = table[table["table"].eq("lines") & table["column"].isin(SCORED)]
    means = scored.groupby("layer", sort=False)["stated_share"].mean()
    return [(str(layer), float(share)) for layer, share in means.items()]
