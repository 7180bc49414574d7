"""Every input feature ends as used, repaired or set aside: the counts, layer by layer."""

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from corridor.site.findings import FEATURE

__all__ = ["account"]

_COLUMNS = ("layer", "features_in", "used", "repaired", "set_aside")


def account(counts: Mapping[str, int], tables: Iterable[pd.DataFrame], findings: pd.DataFrame) -> pd.DataFrame:
    """Count what became of every feature.

    Parameters
    ----------
    counts : mapping of str to int
        Features read, by file and layer.
    tables : iterable of DataFrame
        What is used, with ``FEATURE`` columns; several rows of one feature count once.
    findings : DataFrame
        Table ``findings``; a feature is repaired if an action says so.

    Returns
    -------
    DataFrame
        A row a layer: layer, features_in, used, repaired, set_aside; features_in = used + set_aside, and repaired
        counts among used.
    """
    source, row, _ = FEATURE
    full = [table for table in tables if len(table)]
    layers = np.concatenate([np.zeros(0, dtype=object), *(table[source].to_numpy(dtype=object) for table in full)])
    rows = np.concatenate([np.zeros(0, dtype="int64"), *(table[row].to_numpy(dtype="int64") for table in full)])
    used = pd.DataFrame({"layer": pd.Series(layers, dtype=object), "row": rows}).drop_duplicates()
    mended = findings.loc[findings["action"].str.startswith("repaired"), ["feature_source", "feature_row"]]
    mended = mended.dropna().drop_duplicates().set_axis(["layer", "row"], axis=1).astype({"row": "int64"})
    repaired = mended.merge(used, on=["layer", "row"]) if len(mended) and len(used) else mended.iloc[:0]
    table = pd.DataFrame({"layer": list(counts), "features_in": list(counts.values())})
    table["used"] = table["layer"].map(used["layer"].value_counts()).fillna(0).astype("int64")
    table["repaired"] = table["layer"].map(repaired["layer"].value_counts()).fillna(0).astype("int64")
    table["set_aside"] = table["features_in"] - table["used"]
    return table[list(_COLUMNS)]
