"""One record that stands for several conductors, made into as many lines where the field map says how."""

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.dictionary import INPUT_TABLES
from corridor.site.fieldmap import SplitMap
from corridor.site.findings import FEATURE, Findings
from corridor.site.quoting import quoted
from corridor.site.tables import word_key
from corridor.site.values import as_text, known_words, numbers

__all__ = ["lay_apart", "split_records", "tell_several"]

LANE = "lane"  # column: which of the conductors of its record a line is, from -(n-1)/2 to (n-1)/2
# Between the axes of conductors of one record (engineering estimate): more than what is snapped into one junction.
_SPACING_M = 0.15
_MOST = 60  # conductors of one record; more are pairs or fibres of one cable
_WHOLE = ("duct_bank", "casing")
_CONDUCTORS = ("cable", "tracer_wire", "bare_conductor")


def split_records(
    frame: gpd.GeoDataFrame, plan: SplitMap, raw: pd.Series | None, *, findings: Findings
) -> gpd.GeoDataFrame:
    """Return one row for each conductor that a record stands for.

    Parameters
    ----------
    frame : GeoDataFrame
        One layer of lines as mapped, with its ``FEATURE`` columns.
    plan : SplitMap
        By column count, or by a pattern in a text: one conductor a match, more where the group ``count`` says so. Other
        groups named as columns of lines give those columns.
    raw : Series, optional
        The text, as recorded; None where the count decides.
    findings : Findings
        ``split`` for each record of several, ``not_split`` where the text or the count can't be used.

    Returns
    -------
    GeoDataFrame
        With a fresh index and ``lane``; count is 1 in rows split.
    """
    frame = frame.reset_index(drop=True)
    found: list[list[dict[str, str]]]
    if plan.pattern is None or raw is None:
        found = [[{"count": f"{value:.0f}"}] for value in _counts(frame)]
    else:
        expression = re.compile(plan.pattern)
        texts = as_text(raw).reset_index(drop=True)
        found = [_matches(expression, text) for text in texts]
        silent = np.array([not groups for groups in found]) & texts.notna().to_numpy()
        told = [f"no conductor found in {quoted(text)}" for text in texts[silent]]
        findings.add_rows(
            "not_split", frame, told, action="used: as one line; correct split in the field map", at=silent
        )
    many: list[list[dict[str, str]]] = [
        [groups for groups in row for _ in range(int(groups.get("count") or 1))] for row in found
    ]
    over = np.array([len(row) > _MOST for row in many], dtype=bool)
    told = [f"stands for {len(row)} conductors, more than {_MOST}" for row in many if len(row) > _MOST]
    findings.add_rows("not_split", frame, told, action="used: as one line; pairs and fibres are no lines", at=over)
    many = [[{}] if too or not row else row for row, too in zip(many, over, strict=True)]
    sizes = np.array([len(row) for row in many], dtype=np.int64)
    several = sizes > 1
    told = [f"one record for {n} conductors" for n in sizes[several]]
    action = f"repaired: {_SPACING_M:g} m apart about the recorded course, the first keeps the id"
    findings.add_rows("split", frame, told, action=action, at=several)
    at = np.repeat(np.arange(len(frame)), sizes)
    result = frame.iloc[at].reset_index(drop=True)
    lane = np.arange(len(at)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    result[LANE] = lane - (sizes[at] - 1) / 2.0
    _give(result, [groups for row in many for groups in row])
    if "count" in result:
        result["count"] = result["count"].astype(object).mask(several[at], 1)
    return result


def _counts(frame: gpd.GeoDataFrame) -> list[float]:
    if "count" not in frame:
        return [1.0] * len(frame)
    table = INPUT_TABLES["lines"]
    values, _ = numbers(frame["count"], table.column("count"))
    if "asset" in frame:  # the ways of a duct bank are no duct banks
        words = known_words(table.column("asset"))
        asset = as_text(frame["asset"]).map(word_key, na_action="ignore").map(words)
        values = values.mask(asset.isin(_WHOLE))
    return values.fillna(1.0).clip(lower=1.0).round().tolist()


def _matches(expression: "re.Pattern[str]", text: str | None) -> list[dict[str, str]]:
    if text is None:
        return []
    return [{k: v for k, v in hit.groupdict().items() if v is not None} for hit in expression.finditer(text)]


def _give(frame: gpd.GeoDataFrame, groups: list[dict[str, str]]) -> None:
    """Write what the pattern's groups say into the columns they are named after."""
    table = INPUT_TABLES["lines"]
    for name in sorted({name for group in groups for name in group} & set(table.names) - {"count"}):
        values = pd.Series([group.get(name) for group in groups], index=frame.index, dtype=object)
        before = frame[name].astype(object) if name in frame else pd.Series(None, index=frame.index, dtype=object)
        frame[name] = before.mask(values.notna(), values)
        if table.column(name).mapped:
            origin = frame.get(f"{name}_src", pd.Series(None, index=frame.index, dtype=object)).astype(object)
            frame[f"{name}_src"] = origin.mask(values.notna(), "mapped")


def lay_apart(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Move the conductors of one record apart, across their course, and number them as ``part``.

    Parameters
    ----------
    frame : GeoDataFrame
        Repaired lines, with ``lane`` where records were split.

    Returns
    -------
    GeoDataFrame
        Without ``lane``.
    """
    if LANE not in frame:
        return frame
    lane = frame[LANE].to_numpy(dtype=float)
    frame = frame.drop(columns=LANE)
    moved = lane != 0.0
    shapes = np.array(frame.geometry.array, dtype=object)
    if moved.any():
        aside = shapely.offset_curve(shapes[moved], lane[moved] * _SPACING_M, join_style="mitre", mitre_limit=2.0)
        whole = (shapely.get_type_id(aside) == 1) & ~shapely.is_empty(aside)
        shapes[moved] = np.where(whole, aside, shapes[moved])
        frame = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    source, row, _ = FEATURE
    frame["part"] = frame.groupby([source, row], sort=False).cumcount().to_numpy()
    return frame


def tell_several(frame: gpd.GeoDataFrame, findings: Findings) -> None:
    """Tell the cables and wires that stand for several and were not split."""
    rows = frame["asset"].isin(_CONDUCTORS) & (frame["count"] > 1)
    told = [f"stands for {count:.0f} conductors" for count in frame.loc[rows, "count"]]
    findings.add_rows("several_conductors", frame, told, action='used: as one; split = "count" in a field map', at=rows)
