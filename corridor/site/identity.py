"""Ids made complete and unique, duplicates set aside, references between tables checked."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.errors import InputError
from corridor.site.findings import FEATURE, Findings

__all__ = ["check_references", "drop_duplicates", "nearest_part", "prefix_ids", "same_file", "unique_ids"]

_TUBES = ("pipe", "casing", "duct_bank")  # two of these can't lie in one place


def prefix_ids(frame: gpd.GeoDataFrame, name: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return rows whose ids don't clash between layers: an id of several layers gets each layer's name before it.

    Where the layers share a name too, that of the file. ``prefixed_id`` tells each.
    """
    source = FEATURE[0]
    if frame[source].nunique() < 2:
        return frame
    ids = frame[name]
    told = frame[source].groupby(ids, dropna=True).nunique()
    clash = ids.isin(told.index[told > 1]).to_numpy()
    if not clash.any():
        return frame
    frame = frame.copy()
    where = frame.loc[clash, source].astype(str).str.rpartition(":")
    layer, file = where[2], where[0].str.rpartition("/")[2].str.rpartition(".")[0]
    alike = pd.Series(layer.to_numpy()).groupby(frame.loc[clash, source].to_numpy()).first()
    shared = layer.isin(alike[alike.duplicated(keep=False)])
    prefix = layer.where(~shared, file + ":" + layer).str.split().str.join("_")
    new = prefix + ":" + ids[clash].astype(str)
    pairs = zip(ids[clash], new, strict=True)
    words = [f"{name} {was!r} is used in several layers; called {now}" for was, now in pairs]
    findings.add_rows("prefixed_id", frame, words, action="repaired: the layer's name put before it", at=clash)
    frame.loc[clash, name] = new.astype(object)
    return frame


def same_file(refs: pd.DataFrame, columns: tuple[str, ...], named: gpd.GeoDataFrame, *, name: str) -> pd.DataFrame:
    """Return a table whose references to ids that were prefixed go to the one layer of the same file that has it.

    Parameters
    ----------
    refs : DataFrame
        With ``FEATURE`` columns.
    columns : tuple of str
        Those that refer.
    named : GeoDataFrame
        What is referred to, ids prefixed, with the id as recorded in the third of the ``FEATURE`` columns.
    name : str
        Its id column.
    """
    source, _, recorded = FEATURE
    known = set(named[name])
    way: dict[tuple[str, str], set[str]] = {}
    for where, was, now in zip(named[source], named[recorded], named[name], strict=True):
        old = "_".join(str(was).split())  # as ids are cleaned
        if was is not None and old not in known and str(now).endswith(f":{old}"):
            way.setdefault((str(where).rpartition(":")[0], old), set()).add(str(now))
    if not way or refs.empty:
        return refs
    refs = refs.copy()
    files = refs[source].astype(str).str.rpartition(":")[0]
    for column in columns:
        new = []
        for file, value in zip(files, refs[column], strict=True):
            hits = set() if value in known else way.get((file, value), set())
            new.append(min(hits) if len(hits) == 1 else value)
        refs[column] = pd.Series(new, index=refs.index, dtype=object)
    return refs


def unique_ids(frame: gpd.GeoDataFrame, name: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return the rows with an id each, all different: made up from layer and row, or suffixed ~2, ~3 ...

    Parts of one multipart row get /2, /3 ...; the first keeps the id, so that references still hold.
    """
    if frame.empty:
        return frame.drop(columns="part", errors="ignore")
    frame = frame.copy()
    ids: Any = frame[name].astype(object)
    missing = ids.isna().to_numpy()
    if missing.any():
        source, row, _ = FEATURE
        layer = frame[source].astype(str).str.rpartition(":")[2].str.split().str.join("_")
        ids = ids.where(~missing, layer + ":" + frame[row].astype(str))
        told = [f"{name} is not stated; called {value}" for value in ids[missing]]
        findings.add_rows("missing_id", frame, told, action="repaired: id made from layer and row", at=missing)
    base = ids
    if "part" in frame:
        part = frame.pop("part").fillna(0).astype(int)
        ids = ids.where(part == 0, ids + "/" + (part + 1).astype(str))
    again = ids.duplicated().to_numpy()
    if again.any():
        ids = pd.Series(_suffixed(ids.tolist()), index=frame.index, dtype=object)
    frame[name] = ids
    if again.any():
        pairs = zip(base[again], ids[again], strict=True)
        told = [f"{name} {was!r} is used before; called {now}" for was, now in pairs]
        findings.add_rows("duplicate_id", frame, told, action="repaired: suffix added", at=again)
    return frame


def _suffixed(ids: list[str]) -> list[str]:
    known, seen, result = set(ids), set(), []
    for value in ids:
        now, number = value, 1
        while now in seen or (number > 1 and now in known):
            number += 1
            now = f"{value}~{number}"
        seen.add(now)
        result.append(now)
    return result


def _refuse_stacks(lines: gpd.GeoDataFrame, keys: pd.DataFrame, most: int) -> None:
    count = keys.groupby(["place", "utility", "asset"], dropna=False)["place"].transform("size")
    if count.max() > most:
        at = lines.iloc[int(count.to_numpy().argmax())]
        source, row, _ = FEATURE
        message = (
            f"expected at most {most} lines of one utility and asset on one course (site.same_course_limit), "
            f"{at[source]} has {count.max()} on that of row {at[row]}; remove the copies, or raise the limit"
        )
        raise InputError(message)


def drop_duplicates(lines: gpd.GeoDataFrame, findings: Findings, *, most: int) -> gpd.GeoDataFrame:
    """Set aside lines recorded twice; tell lines of one utility that lie in one place under different ids.

    Twice: same course (either direction), utility and asset, and the same id or none; a pipe, casing or duct bank
    also under another id where everything else agrees, since two can't lie in one place.

    Parameters
    ----------
    lines : GeoDataFrame
        With ``FEATURE`` columns.
    findings : Findings
        ``duplicate`` and ``same_place``.
    most : int
        Lines that may lie on one course: each has a parallel run with each other one.

    Returns
    -------
    GeoDataFrame
        The lines that are left.

    Raises
    ------
    InputError
        If more lie there.
    """
    course = shapely.to_wkb(shapely.normalize(lines.geometry.array))
    place = pd.Series(pd.factorize(pd.Series(course, dtype=object))[0], index=lines.index)
    keys = pd.DataFrame({"place": place, "utility": lines["utility"], "asset": lines["asset"]})
    stacked = keys.duplicated(keep=False)
    if not stacked.any():
        return lines
    named = keys[stacked].assign(line_id=lines["line_id"])
    source, row, _ = FEATURE
    where = lines[source].astype(str) + " row " + lines[row].astype(str)
    where = where.where(lines["line_id"].isna(), lines["line_id"].astype(str) + ", " + where)
    first = named.assign(where=where).groupby(["place", "utility", "asset"], dropna=False)["where"].transform("first")
    same_id = named.duplicated() | (named["line_id"].isna() & keys[stacked].duplicated())
    rest = [c for c in lines.columns if c not in ("line_id", "geometry", *FEATURE) and not c.startswith("src_")]
    alike = keys[stacked].join(lines.loc[stacked, [c for c in rest if c not in keys]].astype(str)).duplicated()
    twice = pd.Series(False, index=lines.index)
    twice[stacked] = same_id | (alike & named["asset"].isin(_TUBES))
    if twice.any():
        told = [f"recorded before, as {value}" for value in first.reindex(lines.index)[twice]]
        findings.add_rows("duplicate", lines, told, action="set aside: the first record is used", at=twice)
    other = pd.Series(False, index=lines.index)
    other[stacked] = keys[stacked].duplicated() & ~twice[stacked]
    if other.any():
        _refuse_stacks(lines[~twice & stacked], keys[~twice & stacked], most)
        told = [f"same course as {value}, another id" for value in first.reindex(lines.index)[other]]
        findings.add_rows(
            "same_place", lines, told, action="used: both; remove one if they are the same line", at=other
        )
    return lines[~twice]


def nearest_part(ids: pd.Series, places: NDArray[np.object_], lines: gpd.GeoDataFrame) -> pd.Series:
    """Return line ids, each moved to the nearest part where its line was recorded in several.

    Parameters
    ----------
    ids : Series of str
        References as recorded: a multipart line's id is that of its first part.
    places : ndarray of geometry, same length
        Where the reference is made; None leaves it as it is.
    lines : GeoDataFrame
        With line_id and ``FEATURE`` columns.
    """
    if ids.empty:
        return ids
    source, row, _ = FEATURE
    parts = lines[lines.duplicated([source, row], keep=False)]
    if parts.empty:
        return ids
    feature = pd.MultiIndex.from_frame(parts[[source, row]])
    own = dict(zip(parts["line_id"], feature, strict=True))
    result = ids.astype(object).copy()
    for at in np.flatnonzero(ids.isin(own).to_numpy() & ~shapely.is_missing(places)):
        mine = parts[feature == own[ids.iloc[at]]]
        near = mine.geometry.distance(places[at]).to_numpy().argmin()
        result.iloc[at] = mine["line_id"].iloc[near]
    return result


def check_references(
    frame: pd.DataFrame, known: dict[str, set[str]], findings: Findings, *, optional: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Return the rows whose references exist; others are told and set aside.

    Parameters
    ----------
    frame : DataFrame
        With ``FEATURE`` columns.
    known : dict of set of str
        Ids that exist, by referring column.
    findings : Findings
        Collector.
    optional : tuple of str
        Columns that may be NULL; an unknown id there is cleared and told, and the row used.
    """
    frame = frame.copy()
    for name, ids in known.items() if len(frame) else ():
        stated = frame[name].notna().to_numpy()
        strange = stated & ~frame[name].isin(ids).to_numpy()
        if name in optional:
            told = [f"{name} {value!r} is in no layer" for value in frame.loc[strange, name]]
            findings.add_rows("unknown_reference", frame, told, action="repaired: reference left out", at=strange)
            frame[name] = frame[name].where(~strange, None)
            continue
        bad = strange | ~stated
        told = [f"{name} {v!r} is in no layer" if ok else f"{name} is not stated"
                for v, ok in zip(frame.loc[bad, name], stated[bad], strict=True)]  # fmt: skip
        findings.add_rows("unknown_reference", frame, told, action="set aside: correct the record", at=bad)
        frame = frame[~bad]
    return frame.reset_index(drop=True) if np.any(frame.index != np.arange(len(frame))) else frame
