"""Writing the crew sheet: data and maps into a folder of their own, set by the template into one PDF."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

import matplotlib as mpl
import typst

from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.look.colours import ColourTable
from corridor.report.look.conventions import conventions_in
from corridor.report.maps.closeup import draw_closeup, svg_bytes
from corridor.report.place import whole_file
from corridor.report.sheet.front import front_data, setup_rows
from corridor.report.sheet.overview import draw_overview
from corridor.report.sheet.pages import SetUpPages
from corridor.report.sheet.waiting import waiting_pages
from corridor.report.text import plain, source_names

__all__ = ["PAPERS", "write_crew_sheet"]

PAPERS = {"a4": "a4", "letter": "us-letter"}
_TEMPLATE = "crew_sheet.typ"
_EPOCH = "1980-01-01T00:00:00.000Z"


def write_crew_sheet(review: Any, path: str | Path, *, paper: str = "a4", metadata: Mapping[str, str]) -> None:
    """Write the sheet that a crew takes along: front pages, then at most two pages a set-up.

    Parameters
    ----------
    review : Review or Plan
        What `corridor.review_site` or `corridor.plan_setups` returns.
    path : str or Path
        The PDF; an earlier one is replaced only by a complete one.
    paper : str
        ``a4`` or ``letter``.
    metadata : mapping of str to str
        Caution, receipt and date, as `receipt_metadata` gives them; the receipt is attached to the PDF, and its
        settings name the convention of the colours.

    Raises
    ------
    OutputError
        If the paper isn't known, or the file can't be written.
    """
    if paper not in PAPERS:
        message = f"expected paper {' or '.join(PAPERS)}, got {paper!r}"
        raise OutputError(message)
    with whole_file(path) as made:
        root = made.parent / "sheet"  # in the workshop, so that a killed run's is taken away with it
        root.mkdir()
        template = resources.files("corridor.report.sheet").joinpath(_TEMPLATE).read_text(encoding="utf-8")
        (root / _TEMPLATE).write_text(template, encoding="utf-8", newline="\n")
        (root / "receipt.json").write_text(metadata.get("receipt", "{}"), encoding="utf-8", newline="\n")
        data = _sheet_data(review, root, colours=conventions_in(metadata).colours) | {"paper": PAPERS[paper]}
        (root / "sheet.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8", newline="\n")
        typst.compile(
            str(root / _TEMPLATE),
            output=str(made),
            root=str(root),
            font_paths=[str(Path(mpl.get_data_path()) / "fonts" / "ttf")],
            ignore_system_fonts=True,
            format="pdf",
            timestamp=_moment(metadata.get("date", _EPOCH)),
        )


def _sheet_data(review: Any, root: Path, *, colours: ColourTable) -> dict[str, Any]:
    """Return what the template sets, and draw the maps that it names into the folder."""
    pages = SetUpPages(review)
    setups = review.setups[review.setups["kind"].eq("setup")].sort_values(["crew", "step"], kind="stable")
    (root / "overview.svg").write_bytes(svg_bytes(draw_overview(review.site, review.setups, colours=colours)))
    drawn = [pages.page(row) for _, row in setups.iterrows()]
    drawn += waiting_pages(review, pages)
    for number, page in enumerate(drawn):
        page.data["map"] = ""
        if page.closeup is not None:
            page.data["map"] = f"setup-{number}.svg"
            (root / page.data["map"]).write_bytes(svg_bytes(draw_closeup(page.closeup, colours=colours)))
    return {
        "site": plain(source_names(review.site, most=3)) or "site",
        "caution": CAUTION,
        "colours": colours.title,
        "front": front_data(review, pages),
        "list": setup_rows(review.setups),
        "setups": [page.data for page in drawn],
    }


def _moment(date: str) -> datetime:
    """Return the time stamp that the PDF bears: that of the newest input, never the clock's."""
    moment = datetime.fromisoformat(date.replace("Z", "+00:00"))
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
