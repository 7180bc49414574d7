"""The sheet read back from its PDF: every field, units and ranges, two pages a set-up, the caution on each page."""

import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from pypdf import PdfReader

from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.sheet import PAPERS, write_crew_sheet
from corridor.report.sheet.pages import ROWS_MAX
from tests.report.sheet.conftest import changed, metadata_of, page_words, sheet_of, street, words

NUMBER = r"\d[\d\u202f ]*(?:\.\d+)?"


def pages_of(pages: list[str], name: str) -> list[str]:
    """Pages whose footer names a set-up."""
    return [page for page in pages if re.search(rf"(?:^| ){re.escape(name)} page \d+ of \d+", page)]


@pytest.fixture(scope="module")
def pages(sheet: PdfReader) -> list[str]:
    return page_words(sheet)


@pytest.fixture(scope="module")
def setup_page(pages: list[str]) -> str:
    return " ".join(pages_of(pages, "set-up S1"))


def test_the_caution_and_the_page_number_stand_on_every_page(pages: list[str]) -> None:
    for number, page in enumerate(pages, start=1):
        assert CAUTION in page
        assert f"page {number} of {len(pages)}" in page


def test_the_first_page_has_the_rules_the_sweep_and_whose_equipment(pages: list[str]) -> None:
    for text in ("Crew sheet", "1 set-ups: 1 READY", "rerun with your equipment", "Sweep before and after",
                 "One-call first: wait for every owner's answer", "Verify first"):  # fmt: skip
        assert text in pages[0], text


def test_the_front_pages_say_who_opens_what_and_what_tone_cant_show(pages: list[str]) -> None:
    front = " ".join(page for page in pages if "front pages page" in page)
    for text in (
        "Who must open, permit or say what", "Access: locked CB-1 Keeper & Sons C",
        "Recorded lines that no set-up shows. They are still there.", "S sewer (0–60 m)", "test hole",
    ):  # fmt: skip
        assert text in front, text


@pytest.mark.parametrize(
    "text",
    [
        "READY set-up S1", "Stand A-S, handhole, in the footway; west side of the work area; trace east",
        "Connect A (telecommunications), and the ground stake", "Never touch E (electricity), any other metal",
        "DIRECT 1 000 Hz 5 mA stake 10.0 m at 180° south", "Go loop ", "STOP loop under ", "your equipment",
        "date, time", "initials", "source, voltage", "source, loop impedance", "read here", "set-up 1", "check here",
        "stake 10.0 m at 180°", "a: A", "Is it this line? Check at the far end", "Check of the mark",
        "Where tone goes astray", "If it doesn't come off", "Go to B if the loop reads under", "B: ", "Cautions",
        "carry the transmitter's voltage",
        "Depth readings are to the centre of the current, not cover.", "don't mark from this peak alone",
    ],
)  # fmt: skip
def test_a_set_ups_pages_hold_every_field(setup_page: str, text: str) -> None:
    assert words(text) in setup_page.replace("’", "'")


def test_expected_readings_have_units_ranges_and_a_blank(setup_page: str) -> None:
    for what, unit in (("source, voltage", "V"), ("source, loop impedance", "Ω")):
        assert re.search(rf"{what} {NUMBER}(?: to {NUMBER})? {unit} under {NUMBER} or over {NUMBER} {unit}", setup_page)
        assert re.search(rf"_+ {unit}", setup_page)
    assert re.search(rf"source, output {NUMBER} mA under {NUMBER} mA: the source can't hold it", setup_page)
    assert re.search(rf"depth {NUMBER}(?: to {NUMBER})? m", setup_page)
    assert re.search(rf"B {NUMBER} mA \({NUMBER}(?: to {NUMBER})? mA\): ", setup_page)  # the neighbour takes tone


def test_no_quantity_stands_without_a_unit(setup_page: str) -> None:
    limits = setup_page[setup_page.index("Go loop") : setup_page.index("step ")]
    for number in re.findall(rf"{NUMBER}", limits):
        rest = limits[limits.index(number) + len(number) :]
        assert re.match(r" ?(?:mA|V|Ω|Hz|to|or)", rest), (number, rest[:12])


def test_a_set_up_has_at_most_two_pages_and_the_footer_names_it(pages: list[str], reviewed: Any) -> None:
    for name in reviewed.setups.loc[reviewed.setups["kind"].eq("setup"), "setup_id"]:
        assert 1 <= len(pages_of(pages, f"set-up {name}")) <= 2
    assert all("site" in page or "front" in page for page in pages)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_the_first_third_is_14_pt_or_larger_on_either_paper(reviewed: Any, tmp_path: Path, paper: str) -> None:
    reader = sheet_of(reviewed, tmp_path / "sheet.pdf", paper=paper)
    size = {"a4": (595, 842), "letter": (612, 792)}[paper]
    looked = 0
    for page in reader.pages:
        text = words(page.extract_text())
        if "overleaf" in text or not re.search(r"^(NOT )?READY", text):
            continue
        assert (round(float(page.mediabox.width)), round(float(page.mediabox.height))) == size
        small: list[tuple[float, str]] = []

        def visit(text: str, cm: Any, tm: Any, _font: Any, font_size: float, *, found: Any = small) -> None:
            height = abs(font_size * tm[3] * cm[3])
            y = tm[5] * cm[3] + cm[5]
            if text.strip() and y > size[1] * 2 / 3 and height < 13.9:
                found.append((height, text))

        page.extract_text(visitor_text=visit)
        assert small == []
        looked += 1
    assert looked >= 2


def test_a_hook_up_that_waits_has_a_page_with_a_bar_across_it(pages: list[str]) -> None:
    (page,) = pages_of(pages, "direct:C:CB-1") or pages_of(pages, "clamp:C:CB-1")
    for text in ("NOT READY not in the plan", "Missing: access: CB-1 is locked", "nothing until it is READY",
                 "don't start: what is missing comes first", "no Hz yet", "no mA yet", "What is missing"):  # fmt: skip
        assert text in page, text
    assert page.count("NOT READY") >= 2  # the head, and the bar


def test_a_set_up_that_isnt_ready_says_so_first_and_bears_the_bar(reviewed: Any, tmp_path: Path) -> None:
    setups = reviewed.setups.copy()
    own = setups["setup_id"].eq("S1")
    setups.loc[own, "ready"] = "not_ready"
    setups.loc[own, "missing"] = "permit from lane closure; access: A-S is locked"
    pages = page_words(sheet_of(changed(reviewed, setups=setups), tmp_path / "sheet.pdf"))
    for page in pages_of(pages, "set-up S1"):
        assert page.count("NOT READY") >= 2
        assert not re.search(r"(?<!NOT )READY", page)
    first = pages_of(pages, "set-up S1")[0]
    assert first.startswith("NOT READY set-up S1 Missing: permit from lane closure and 1 more, below")
    assert "access: A-S is locked" in " ".join(pages_of(pages, "set-up S1"))
    assert "1 set-ups: 0 READY, 1 NOT READY" in pages[0]


def test_own_equipment_isnt_called_generic(reviewed: Any, tmp_path: Path) -> None:
    mine = reviewed.equipment.model_copy(update={"generic": False, "name": "our transmitter"})
    pages = page_words(sheet_of(changed(reviewed, equipment=mine), tmp_path / "sheet.pdf"))
    assert not any("rerun with your equipment" in page for page in pages)
    assert "our transmitter" in pages[0]


def test_a_plan_of_several_modes_is_written_too(planned: Any, tmp_path: Path) -> None:
    pages = page_words(sheet_of(planned, tmp_path / "sheet.pdf"))
    for name in planned.setups.loc[planned.setups["kind"].eq("setup"), "setup_id"]:
        assert 1 <= len(pages_of(pages, f"set-up {name}")) <= 2


HOSTILE = {
    "A": "#pagebreak() *A* _b_ $x^2$ @ref",
    "B": "<script>alert(1)</script> `raw` \\u{41} #sym.alpha",
    "C": "[#read(\"/etc/passwd\")] = head // comment",
}  # fmt: skip


def test_names_out_of_the_records_stay_text(reviewed: Any, tmp_path: Path) -> None:
    def named(frame: Any) -> Any:
        other = frame.copy()
        for column in other.columns.intersection(["line_id", "covers", "mistaken_for", "from_line", "to_line"]):
            other[column] = other[column].replace(HOSTILE)
        return other

    tables = ("strategy", "setups", "hookups", "stations", "bleed_paths", "expected_readings", "field_checks")
    review = changed(reviewed, site=street(**HOSTILE), **{name: named(getattr(reviewed, name)) for name in tables})
    pages = page_words(sheet_of(review, tmp_path / "sheet.pdf"))
    whole = " ".join(pages)
    for name in HOSTILE.values():
        assert words(name) in whole, name
    assert len(pages_of(pages, "set-up S1")) <= 2


def crowded(review: Any, stretches: int) -> Any:
    """The review with the one stretch cut into many, each with the longest words there could be."""
    strategy, readings = review.strategy, review.expected_readings
    own = strategy[strategy["setup_id"].eq("S1")].iloc[[0]]
    step = float(own["to_m"].iloc[0]) / stretches
    rows = pd.concat([
        own.assign(stretch_id=f"A:{k}", from_m=k * step, to_m=(k + 1) * step, grade="readable", grade_worst="masked",
                   mistaken_for="a neighbour with a rather long name", caution=f"Caution {k}. " * 3)
        for k in range(stretches)
    ], ignore_index=True)  # fmt: skip
    receiver = readings[readings["kind"].isin(["receiver_ma", "depth_reading_m"])]
    source = readings[~readings.index.isin(receiver.index)]
    shown = [receiver.assign(station_m=(k + 0.5) * step) for k in range(stretches)]
    check = review.field_checks.iloc[[0]]
    checks = [check.assign(stretch_id=f"A:{k}", advice=f"{k}: " + "what tells is the depth after lifting " * 9)
              for k in range(stretches)]  # fmt: skip
    cause = {"setup_id": "S1", "kind": "source_ohm", "cause": "a cause " * 20, "told_apart_by": "another reading " * 20}
    causes = [cause | {"side": side, "rank": rank} for side in ("lower", "higher") for rank in (1, 2, 3)]
    setups = review.setups.assign(caution="Only qualified persons work at energized conductors. In the carriageway: "
                                  "traffic management first.", go_to_fallback="go to B if " * 12,
                                  fallback_b="direct at " * 20, fallback_c="clamp at " * 20)  # fmt: skip
    return changed(
        review, setups=setups, strategy=pd.concat([strategy, rows], ignore_index=True).drop(own.index),
        expected_readings=pd.concat([source, *shown], ignore_index=True), reading_causes=pd.DataFrame(causes),
        field_checks=pd.concat(checks, ignore_index=True),
    )  # fmt: skip


CROWDS = [
    pytest.param(paper, stretches, marks=[] if stretches in quick else pytest.mark.thorough)
    for paper, quick in (("a4", (1,)), ("letter", (4, 30)))
    for stretches in (1, 4, 7, 10, 30)
]


@pytest.mark.parametrize(("paper", "stretches"), CROWDS)
def test_however_much_there_is_to_say_two_pages_hold_it_and_the_rest_is_counted(
    reviewed: Any, tmp_path: Path, stretches: int, paper: str
) -> None:
    pages = page_words(sheet_of(crowded(reviewed, stretches), tmp_path / "sheet.pdf", paper=paper))
    own = pages_of(pages, "set-up S1")
    assert 1 <= len(own) <= 2
    if stretches > ROWS_MAX:
        assert f"and {stretches - ROWS_MAX} more: see layer strategy" in " ".join(own)


def test_the_receipt_is_attached_and_the_date_is_the_newest_inputs(sheet: PdfReader, reviewed: Any) -> None:
    (attached,) = sheet.attachments["receipt.json"]
    assert json.loads(attached)["caution"] == CAUTION
    assert json.loads(attached) == json.loads(metadata_of(reviewed)["receipt"])
    assert sheet.metadata is not None
    assert sheet.metadata.title == "Crew sheet: site"


def test_the_same_review_gives_the_same_bytes(reviewed: Any, tmp_path: Path) -> None:
    metadata = metadata_of(reviewed) | {"date": "2024-05-06T00:00:00.000Z"}
    for name in ("a.pdf", "b.pdf"):
        write_crew_sheet(reviewed, tmp_path / name, metadata=metadata)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    read = PdfReader(tmp_path / "a.pdf").metadata
    assert read is not None
    assert str(read.get("/CreationDate")).startswith("D:20240506")


def test_only_the_fonts_of_the_plotting_library_are_in_it(sheet: PdfReader) -> None:
    fonts = Counter(
        str(font.get_object()["/BaseFont"]).split("+")[-1]
        for page in sheet.pages
        for font in page["/Resources"].get_object().get("/Font", {}).values()  # type: ignore[union-attr]
    )
    assert fonts
    assert all(name.startswith("DejaVuSans") for name in fonts), fonts


def test_an_unknown_paper_is_an_error_and_nothing_is_written(reviewed: Any, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="expected paper a4 or letter, got 'a3'"):
        write_crew_sheet(reviewed, tmp_path / "sheet.pdf", paper="a3", metadata={})
    with pytest.raises(OutputError, match="doesn't exist"):
        write_crew_sheet(reviewed, tmp_path / "nowhere" / "sheet.pdf", metadata={})
    assert list(tmp_path.iterdir()) == []
