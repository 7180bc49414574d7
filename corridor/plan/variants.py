"""Direct hook-ups made in another way: both ends led back to the transmitter, and what only an owner may change."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from corridor.network.model import Network
from corridor.plan.gate import ENERGIZED_UTILITIES, stated
from corridor.plan.stakes import grounds_at
from corridor.settings import HookUpSettings

__all__ = ["OWNERS_ALONE", "owner_variants", "returned_variants"]

Row = dict[str, Any]

OWNERS_ALONE = (*ENERGIZED_UTILITIES, "telecommunications", "unknown")
"""Utilities whose grounds and bonds are never proposed for a change, not even to their owner."""

OWNER_RULE = "owner_change: only the owner lifts a ground, opens a bond or grounds a far end"
_WORST = ("ready", "not_ready", "refused")
_END_M = 0.5  # a place so near to an end is at it


def returned_variants(rows: Sequence[Row], *, settings: HookUpSettings) -> list[Row]:
    """Return the hook-ups that lead both ends of a line back to the transmitter, without a stake.

    Parameters
    ----------
    rows : sequence of dict
        Rows of the table ``hookups`` as they are being made, with ``shape`` (the target) and ``geometry``.
    settings : HookUpSettings
        ``return_lead_m`` is the farthest that both ends may lie apart.

    Returns
    -------
    list of dict
        One a line whose two ends both have a direct hook-up so near, named by that at its start; the gate's word is the
        worse of both, and what is missing at either is missing.
    """
    out = []
    for row, far in _two_ended(rows):
        span_m = row["geometry"].distance(far["geometry"])
        if not 0.0 < span_m <= settings.return_lead_m:
            continue
        worse = max(row, far, key=lambda end: _WORST.index(end["ready"]))
        missing = [end["missing"] for end in (row, far) if end["ready"] == worse["ready"] and end["missing"]]
        lead = (
            f"The lead back from {far['structure_id']} lies {span_m:.0f} m over ground: guard it, keep it off traffic."
        )
        out.append(
            row
            | {
                "hookup_id": f"{row['hookup_id']}:returned",
                "ready": worse["ready"],
                "missing": "; ".join(dict.fromkeys(missing)),
                "reason": worse["reason"],
                "caution": " ".join(dict.fromkeys(filter(None, (row["caution"], far["caution"], lead)))),
                "permit_by": "; ".join(dict.fromkeys(filter(None, (row["permit_by"], far["permit_by"])))),
                "far_end": "returned",
                "stake": False,
            }
        )
    return out


def owner_variants(rows: Sequence[Row], network: Network, bonds: gpd.GeoDataFrame) -> list[Row]:
    """Return hook-ups that would need a change of an owner's plant; none of them is ever ready.

    Lines of energized utilities, telecommunications or unknown utility are left out, and so are those that are, or may
    be, under cathodic protection, and bonds to any of them.

    Parameters
    ----------
    rows : sequence of dict
        As in `returned_variants`.
    network : Network
        Its grounds.
    bonds : GeoDataFrame
        Table ``bonds_found``.

    Returns
    -------
    list of dict
        For each direct hook-up not refused: with the line's grounds at it lifted; with the far end grounded, where both
        ends are accessible and none is grounded there yet; and for each closed bond of the line that is recorded,
        observed or measured, at the hook-up nearest to it, with that opened.
    """
    usable = [row for row in rows if _direct(row) and row["ready"] != "refused" and _changeable(row["line"])]
    line_of = {row["line_id"]: row["line"] for row in rows}
    out = []
    for row in usable:
        lifted = network.grounds["ground_id"][grounds_at(network, row["line_id"], row["at_m"])]
        if len(lifted):
            what = f"lift ground {', '.join(sorted(lifted.astype(str)))} of {row['line_id']}"
            out.append(_by_owner(row, "lifted", "lift_ground", what))
    for row, far in _two_ended(usable):
        for near, other in ((row, far), (far, row)):
            if not grounds_at(network, other["line_id"], other["at_m"]).any():
                what = f"ground the far end of {row['line_id']} at {other['structure_id']}"
                out.append(_by_owner(near, "grounded", "ground_far_end", what) | {"far_end": "grounded"})
    for bond in bonds.sort_values("bond_id", kind="stable").to_dict("records"):
        for line_id, other in ((bond["line_a"], bond["line_b"]), (bond["line_b"], bond["line_a"])):
            own = [row for row in usable if row["line_id"] == line_id]
            if own and _openable(bond, line_of.get(other), other):
                near = min(own, key=lambda row: (_away_m(row, bond), row["hookup_id"]))
                what = f"open bond {bond['bond_id']} of {line_id} to {other}"
                change = _by_owner(near, f"without:{bond['bond_id']}", "open_bond", what)
                out.append(change | {"opened_bond": bond["bond_id"]})
    return out


def _direct(row: Mapping[str, Any]) -> bool:
    return bool(row["mode"] == "direct" and row["far_end"] == "open" and row["structure_id"] is not None)


def _two_ended(rows: Sequence[Row]) -> Iterator[tuple[Row, Row]]:
    """Yield for each line the best direct hook-up at its start and at its end, where there are both."""
    ends: defaultdict[str, tuple[list[Row], list[Row]]] = defaultdict(lambda: ([], []))
    for row in rows:
        if _direct(row):
            for side, away_m in enumerate((row["at_m"], row["shape"].length - row["at_m"])):
                if away_m <= _END_M:
                    ends[row["line_id"]][side].append(row)
    for _, (start, end) in sorted(ends.items()):
        if start and end:
            best = [min(side, key=lambda row: (_WORST.index(row["ready"]), row["hookup_id"])) for side in (start, end)]
            yield best[0], best[1]


def _changeable(line: Mapping[str, Any] | None) -> bool:
    return line is not None and line["utility"] not in OWNERS_ALONE and stated(line["utility"]) and _unprotected(line)


def _unprotected(line: Mapping[str, Any]) -> bool:
    """Whether a line is not under cathodic protection: recorded so, or of a kind that hardly ever is."""
    word = line["cathodic_protection"]
    return bool(word == "no" or (pd.isna(word) and line["utility"] not in ("gas", "oil")))


def _openable(bond: Mapping[str, Any], other: Mapping[str, Any] | None, other_id: str) -> bool:
    known = bond["state"] == "closed" and bond["evidence"] in ("recorded", "observed", "measured")
    return known and other_id != "earth" and _changeable(other)


def _away_m(row: Mapping[str, Any], bond: Mapping[str, Any]) -> float:
    place = bond.get("geometry")
    return 0.0 if place is None or shapely.is_empty(place) else float(row["geometry"].distance(place))


def _by_owner(row: Row, suffix: str, change: str, what: str) -> Row:
    missing = "; ".join(filter(None, (f"by the owner only: {what}", row["missing"])))
    return row | {
        "hookup_id": f"{row['hookup_id']}:{suffix}",
        "ready": "not_ready",
        "missing": missing,
        "reason": OWNER_RULE,
        "owner_change": change,
    }
