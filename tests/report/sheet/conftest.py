"""A small invented street, reviewed: what the crew sheet shows of it is read back by the tests."""

import copy
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from corridor import Site, plan_setups, review_site
from corridor.plan.review import Plan, Review
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.sheet import write_crew_sheet
from corridor.settings import DrawSettings
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, access, bond, cable, ground

NO_INDUCTION = at_frequencies(1000.0)  # below what the loop can do: every tone is connected
WITH_INDUCTION = at_frequencies(1000.0, 10_000.0)
OWNER = "Invented Telephone"


def street(**names: str) -> Site:
    """Cables A and B bonded at the far end; E energized in A's handhole; C behind a locked door; S a clay sewer.

    ``names`` put other names in the place of these.
    """
    a, b, c, e, s = (names.get(name, name) for name in "ABCES")
    places = access(a)
    structures = [*places["structures"], {"structure_id": "CB-1", "kind": "cabinet", "access": "locked",
                                          "geometry": (0, 9), "owner": "Keeper & Sons"}]  # fmt: skip
    terminations = [
        *places["terminations"],
        {"structure_id": f"{a}-S", "line_id": e, "at": "start", "direct": "yes", "clamp": "unknown"},
        {"structure_id": f"{a}-M", "line_id": b, "at": "through", "direct": "no", "clamp": "no"},
        {"structure_id": "CB-1", "line_id": c, "at": "start", "direct": "yes", "clamp": "yes"},
    ]
    clay = {"utility": "sewer", "asset": "pipe", "material": "clay", "conductive": "no", "diameter_mm": 200.0}
    return make_site(
        lines=[
            cable(a, owner=OWNER), cable(b, 1.5), cable(c, 9.0, owner="Far Telephone"),
            cable(e, 3.0, utility="electricity", energized="yes"), cable(s, -3.0, **clay),
        ],
        bonds=[bond("X", b, (LENGTH_M, 0.75)) | {"line_a": a}],
        grounds=[ground(a, LENGTH_M), ground(b, 0, 1.5), ground(c, 0, 9.0), ground(c, LENGTH_M, 9.0)],
        soil=[KNOWN_SOIL],
        work_area=[{"geometry": [(-5, -8), (LENGTH_M + 5, -8), (LENGTH_M + 5, 14), (-5, 14)]}],
        structures=structures,
        terminations=terminations,
    )  # fmt: skip


def changed(review: Any, **tables: Any) -> Any:
    """A review with other tables."""
    other = copy.copy(review)
    for name, table in tables.items():
        object.__setattr__(other, name, table)
    return other


def metadata_of(review: Any) -> dict[str, str]:
    """What a result's file carries."""
    receipt = make_receipt(review.site, command="plan", settings=review.settings, equipment=review.equipment)
    return receipt_metadata(receipt)


def sheet_of(review: Any, path: Path, *, paper: str = "a4") -> PdfReader:
    """The crew sheet of a review, written and read back."""
    write_crew_sheet(review, path, paper=paper, metadata=metadata_of(review))
    return PdfReader(path)


def words(text: str) -> str:
    """Text with one plain space where any space stands, and no place to break words."""
    return re.sub(r"\s+", " ", text.replace("\u200b", "")).strip()


def page_words(reader: PdfReader) -> list[str]:
    """The words of every page."""
    return [words(page.extract_text()) for page in reader.pages]


@pytest.fixture(scope="session")
def reviewed() -> Review:
    """The street, with what is connected only: C has no hook-up that is ready."""
    return review_site(street(), equipment=NO_INDUCTION, settings=SETTINGS)


@pytest.fixture(scope="session")
def planned() -> Plan:
    """The street planned on a few draws, induction among the modes."""
    few = SETTINGS.model_copy(update={"draws": DrawSettings(count=4, geometries=2)})
    return plan_setups(street(), equipment=WITH_INDUCTION, settings=few)


@pytest.fixture(scope="session")
def sheet(reviewed: Review, tmp_path_factory: pytest.TempPathFactory) -> PdfReader:
    """The reviewed street's sheet on A4."""
    return sheet_of(reviewed, tmp_path_factory.mktemp("sheet") / "crew_sheet.pdf")
