"""How much the records state, layer by layer and column by column."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.dictionary import INPUT_TABLES, RESULT_TABLES
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
        columns = INPUT_TABLES[name].columns
        stated = np.empty((len(frame), len(columns)), dtype=object)
        for k, column in enumerate(columns):
            stated[:, k] = frame[column.name].to_numpy(dtype=object)
        shares = pd.isna(stated), stated == "unknown"
        layers = frame[source].to_numpy()
        finished = filled[source].to_numpy() if name == "lines" else np.zeros(0)
        replaced = [
            filled[f"{column.name}_src"].isin(_FILLED).to_numpy()
            if name == "lines" and column.mapped
            else np.zeros(len(finished), dtype=bool)
            for column in columns
        ]
        for layer in pd.unique(frame[source]) if len(frame) else ():
            own = layers == layer
            missing, unknown = (table[own].mean(axis=0).tolist() for table in shares)
            default = [float(hits[finished == layer].sum() / own.sum()) for hits in replaced]
            rows += [
                (layer, name, column.name, int(own.sum()), 1.0 - gone - vague, vague, gone, filled_in)
                for column, gone, vague, filled_in in zip(columns, missing, unknown, default, strict=True)
            ]
    table = pd.DataFrame(rows, columns=list(RESULT_TABLES["completeness"].names), dtype=object)
    return pd.DataFrame(table_frame("completeness", table).drop(columns="geometry"))


def layer_scores(table: pd.DataFrame) -> list[tuple[str, float]]:
    """Return each layer of lines with its score: the mean stated share of the ``SCORED`` columns."""
    scored = table[table["table"].eq("lines") & table["column"].isin(SCORED)]
    means = scored.groupby("layer", sort=False)["stated_share"].mean()
    return [(str(layer), float(share)) for layer, share in means.items()]
