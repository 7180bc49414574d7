"""The facts of a review that its summary tells: plain data, worst first."""

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
from shapely import MultiPolygon, Polygon

from corridor.dictionary import GONE
from corridor.plan.windows import Extent
from corridor.site import Site
from corridor.site.missing import MISSING_CODES
from corridor.tone.bleed import STAKE
from corridor.tone.cases import CASES

__all__ = ["review_facts"]

LISTED = 12  # partners kept


def review_facts(
    site: Site,
    hookups: gpd.GeoDataFrame,
    strategy: gpd.GeoDataFrame,
    paths: gpd.GeoDataFrame,
    *,
    extents: Sequence[Extent],
    frequencies_hz: Sequence[float],
    area: Polygon | MultiPolygon | None,
) -> dict[str, Any]:
    """Return what the summary of a review says, as data that JSON can hold.

    Parameters
    ----------
    site : Site
        The records.
    hookups, strategy, paths : GeoDataFrame
        Tables ``hookups``, ``strategy`` and ``bleed_paths``.
    extents : sequence of Extent
        How much each window solved; empty where no hook-up is ready.
    frequencies_hz : sequence of float
        What was solved for.
    area : Polygon or MultiPolygon, optional
        Bounds the lengths that shares of assumed values refer to.
    """
    states = hookups["ready"].value_counts()
    reasons = hookups.loc[hookups["ready"] == "not_ready", "reason"].str.replace(r"^\w+: ", "", regex=True)
    waiting = reasons.value_counts().sort_index().sort_values(ascending=False, kind="stable")
    accounts = site.accounting[["features_in", "used", "set_aside", "repaired"]].sum()
    share, worst = _assumed(site, area)
    lines = site.lines.set_index("line_id")
    blind = strategy.loc[strategy["grade"] == "untraceable", "line_id"].drop_duplicates()
    wrong = strategy.dropna(subset=["mistaken_for"])
    masked = (wrong["grade"] == "masked") | (wrong["grade_worst"] == "masked")
    wrong = wrong[masked].drop_duplicates(["line_id", "mistaken_for"])
    return {
        "ready": int(states.get("ready", 0)),
        "not_ready": int(states.get("not_ready", 0)),
        "refused": int(states.get("refused", 0)),
        "missing": [[str(text), int(count)] for text, count in waiting.items()],
        **{key: int(accounts[key]) for key in ("features_in", "used", "set_aside", "repaired")},
        "assumed_share": share,
        "assumed_worst": worst,
        "untraceable": [f"{i} {lines.at[i, 'utility']}, {lines.at[i, 'material'] or 'no material'}" for i in blind],
        "wrong_line": [f"{row.line_id}: mistaken for {row.mistaken_for}" for row in wrong.itertuples()],
        "partners": _partners(paths),
        "sections": max((extent.sections for extent in extents), default=0),
        "windows": len(extents),
        "cases": list(
            dict.fromkeys([*(case.name for case in CASES), *(n for extent in extents for n in extent.cases)])
        ),
        "frequencies_hz": list(frequencies_hz) if extents else [],
        "reach_m": max((extent.reach_m for extent in extents), default=0.0),
        "leaving_share": round(max((extent.leaving_share for extent in extents), default=0.0), 6),
        "reach": _reach(extents),
        "soil": _soil(extents),
        "notes": [
            *site.findings.loc[site.findings["code"].isin(MISSING_CODES), "message"],
            *_not_there(site, area),
        ],
    }


def _reach(extents: Sequence[Extent]) -> str:
    if not extents:
        return "nothing solved"
    worst = max(extents, key=lambda extent: extent.leaving_share)
    return worst.text if len(extents) == 1 else f"in {len(extents)} overlapping windows, of which at worst {worst.text}"


def _soil(extents: Sequence[Extent]) -> str:
    if not extents:
        return "not solved"
    soils = [extent.soil for extent in extents]
    low, high = min(soil.low_ohm_m for soil in soils), max(soil.high_ohm_m for soil in soils)
    nominal = sorted({f"{soil.nominal_ohm_m:.0f}" for soil in soils}, key=float)
    said = nominal[0] if len(nominal) == 1 else f"{nominal[0]} to {nominal[-1]} by window"
    return f"{said} ohm m ({low:.0f} to {high:.0f}), {soils[0].source}"


def _assumed(site: Site, area: Polygon | MultiPolygon | None) -> tuple[float, list[list[Any]]]:
    """Return the share of the area's line length with a filled value, and the shares by column, largest first."""
    inside = site.lines if area is None else site.lines[site.lines.intersects(area)]
    length = inside.geometry.length if area is None else inside.geometry.intersection(area).length
    total = float(length.sum()) or 1.0
    filled = {
        column: float(length[inside["assumed_columns"].fillna("").str.split().map(set(column.split()).issubset)].sum())
        for column in sorted({c for text in inside["assumed_columns"].dropna() for c in text.split()})
    }
    worst = sorted(([column, round(size / total, 4)] for column, size in filled.items()), key=lambda x: (-x[1], x[0]))
    return round(float(length[inside["assumed"].astype(bool)].sum()) / total, 4), worst


def _partners(paths: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return the strongest bleed partners, with the hop by which most of the tone comes to each as cause.

    A branch that metal joins to the target is no partner: that it carries tone is what is wanted.
    """
    last = paths.dropna(subset=["kind"]).sort_values(["path_id", "hop"], kind="stable").groupby("path_id").tail(1)
    largest = last.sort_values("share_of_line", ascending=False, kind="stable")
    largest = largest.drop_duplicates(["hookup_id", "frequency_hz", "line_id"])
    bled = largest[~largest["kind"].isin(["conduction"])]
    best = bled.sort_values(["line_current_ma", "share_of_line"], ascending=False, kind="stable")
    best = best.drop_duplicates("line_id").head(LISTED)
    return [
        {
            "line_id": row.line_id,
            "hookup_id": row.hookup_id,
            "frequency_hz": float(row.frequency_hz),
            "current_ma": float(row.line_current_ma),
            "low": float(row.line_current_low_ma),
            "high": float(row.line_current_high_ma),
            "cause": _cause(row),
        }
        for row in best.itertuples()
    ]


def _cause(hop: Any) -> str:
    """Say in words how tone came onto a line by its last hop."""
    if hop.kind == "hook-up":
        return "the transmitter itself, over the soil"
    source = hop.from_line or STAKE
    text = {"bond": "bond with", "parallel run": "running beside", "crossing": "crossing"}
    said = f"{text.get(hop.kind, f'{hop.kind} from')} {source}"
    return f"{said} ({hop.through})" if hop.through and hop.through != source else said


def _not_there(site: Site, area: Polygon | MultiPolygon | None) -> list[str]:
    """Name the lines of the work area that are proposed or removed: nobody traces them, and nobody digs unaware."""
    gone = site.lines[site.lines["status"].isin(GONE)]
    inside = gone if area is None else gone[gone.intersects(area)]
    return [f"proposed or removed, so not traced: {', '.join(inside['line_id'])}"] if len(inside) else []
