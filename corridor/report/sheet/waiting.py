"""Hook-ups that wait for somebody, for lines that nothing else shows: a NOT READY page each."""

from typing import Any

import pandas as pd

from corridor.report.maps.closeup import CloseUp
from corridor.report.receipt import equipment_note
from corridor.report.sheet.pages import MODE_WORDS, SetUpPage, SetUpPages
from corridor.report.sheet.standing import stake_text
from corridor.report.sheet.words import given, sentences, short

__all__ = ["WAITING_MAX", "waiting_hookups", "waiting_pages"]

WAITING_MAX = 24
_ORDER = {"direct": 0, "clamp": 1}


def waiting_hookups(review: Any) -> pd.DataFrame:
    """Return for each line that no set-up shows the hook-up that lacks least, of those that aren't ready.

    What only an owner may change first is left out: no crew waits for it.
    """
    strategy, hookups = review.strategy, review.hookups
    shown = set(strategy.loc[strategy["setup_id"].notna(), "line_id"])
    blind = set(strategy["line_id"]) - shown
    rows = hookups[hookups["ready"].eq("not_ready") & hookups["line_id"].isin(blind) & hookups.geometry.notna()]
    if "owner_change" in rows:
        rows = rows[rows["owner_change"].isna()]
    ranked = rows.assign(
        lacks=rows["missing"].fillna("").str.count("; "), order=rows["mode"].map(_ORDER).fillna(len(_ORDER))
    )
    ranked = ranked.sort_values(["line_id", "lacks", "order", "hookup_id"], kind="stable")
    return ranked.drop_duplicates("line_id")


def waiting_pages(review: Any, pages: SetUpPages) -> list[SetUpPage]:
    """Return a page for each such hook-up: what is missing, where it is, and that nothing is predicted yet."""
    rows = waiting_hookups(review)
    return [_page(review, pages, row) for _, row in rows.head(WAITING_MAX).iterrows()]


def _page(review: Any, pages: SetUpPages, row: Any) -> SetUpPage:
    places = pages.places
    line_id = given(row["line_id"])
    mode = given(row["mode"])
    site = review.site
    shape = places.line(line_id)
    equipment = review.equipment
    none = "none yet: rerun once it is ready"
    data = {
        "id": given(row["hookup_id"]),
        "number": "",
        "ready": False,
        **pages.missing(row),
        "generic": "rerun with your equipment" if equipment is not None and equipment.generic else "",
        "equipment": equipment_note(equipment),
        "stand": short(places.stand(row), 96),
        "side": short(places.side(row, []), 60),
        "connect": "nothing until it is READY",
        "never": short(places.never(row), 110),
        "caution": " ".join(sentences(row["caution"])),
        "mode": MODE_WORDS.get(mode, mode.upper()),
        "frequency": "no Hz yet",
        "output": "no mA yet",
        "stake": stake_text(row),
        "stake_side": "",
        "go": none,
        "stop": "don't start: what is missing comes first",
        "trace": places.line_text(line_id),
        "source": [],
        "along": [],
        "more": 0,
        "outside": [],
        "checks": [],
        "leaks": [],
        "identity": [],
        "fallback": {
            "trigger": "No set-up of the plan shows this line.",
            "b": "another method: sonde or rod through an accessible duct, ground-penetrating radar, test hole",
            "c": "",
            "also": "",
        },
        "cautions": ["A recorded line that tone can't show yet; it is still there."],
        "crew": "not in the walking order",
        "rule": short(row["reason"], 200),
    }
    closeup = CloseUp(
        number="", mode=mode, hookup=row["geometry"], lines=site.lines, structures=site.structures,
        work_area=site.work_area, line_id=line_id,
        traced=[("", line_id, shape.geometry, False)] if shape is not None and shape.geometry is not None else [],
    )  # fmt: skip
    return SetUpPage(data, closeup)
