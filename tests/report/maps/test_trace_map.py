"""The map of one hook-up: sections that look alike are one stretch, and the title says what was put on where."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from shapely import LineString

from corridor.frames import CAUTION, table_frame
from corridor.report.look.colours import colour_table
from corridor.report.maps.map import draw_map
from corridor.report.maps.trace_map import trace_content, write_trace_map
from corridor.settings import ReportSettings, Settings
from tests.builders import METRIC, make_site
from tests.report.drawn import all_text, is_png, overlaps

METADATA = {"caution": CAUTION, "receipt": "{}"}
GRADE = ("readable", "readable", "pulled", "pulled", "faint", "faint", None, None)
CURRENT = (20.0, 12.0, 5.0, 4.0, 0.5, 0.4, 0.0, 0.0)


def _site() -> Any:
    lines = [{"line_id": name, "utility": "water", "geometry": [(0, y), (80, y)]} for name, y in (("A", 0), ("B", 9))]
    bonds = [
        {"bond_id": "B-1", "line_a": "A", "line_b": "B", "evidence": "recorded", "state": "closed", "geometry": (40, 4)}
    ]
    return make_site(lines=lines, bonds=bonds)


def _trace(**more: Any) -> Any:
    rows, shapes = [], []
    for name, y in (("A", 0), ("B", 9)):
        for number, (grade, current) in enumerate(zip(GRADE, CURRENT, strict=True)):
            rows.append({"section_id": f"{name}:{number}", "line_id": name, "hookup_id": "clamp:A:V",
                         "frequency_hz": 1000.0, "grade": grade, "grade_worst": grade, "settled": True,
                         "assumed": number < 4, "current_ma": current})  # fmt: skip
            shapes.append(LineString([(10 * number, y), (10 * number + 10, y)]))
    hookup = {"hookup_id": "clamp:A:V", "line_id": "A", "mode": "clamp", "structure_id": "V-1", "at_m": 15.0,
              "ready": "ready", **more}  # fmt: skip
    return SimpleNamespace(
        sections=table_frame("sections", rows, geometry=shapes, crs=METRIC),
        hookup=hookup,
        current_ma=20.0,
        notes=("a note",),
    )


def test_neighbouring_sections_that_look_alike_are_one_stretch() -> None:
    stretches = trace_content(_trace(), _site(), settings=Settings()).stretches
    assert stretches["line_id"].tolist() == ["A"] * 4 + ["B"] * 4
    assert stretches["grade"].tolist() == ["readable", "pulled", "faint", None] * 2
    assert stretches["current_ma"].tolist() == [12.0, 4.0, 0.4, 0.0] * 2  # the least of each
    assert stretches.geometry.length.tolist() == [20.0] * 8
    assert stretches.crs == METRIC


def test_no_metre_and_no_order_is_lost() -> None:
    trace = _trace()
    stretches = trace_content(trace, _site(), settings=Settings()).stretches
    for name, part in stretches.groupby("line_id"):
        own = trace.sections[trace.sections["line_id"].eq(name)]
        assert part.geometry.length.sum() == pytest.approx(own.geometry.length.sum())
        ends = [(shape.coords[0][0], shape.coords[-1][0]) for shape in part.geometry]
        assert ends == [(0.0, 20.0), (20.0, 40.0), (40.0, 60.0), (60.0, 80.0)]


def test_the_title_says_what_was_put_on_where() -> None:
    content = trace_content(_trace(), _site(), settings=Settings())
    assert content.title == "clamp on A at V-1, 1000 Hz, 20 mA: where the tone goes"
    assert content.hookups.geometry.iloc[0].coords[0] == (15.0, 0.0)
    assert len(content.bonds) == 1
    assert "a note" in content.notes


def test_what_is_not_ready_says_so_first() -> None:
    content = trace_content(_trace(ready="not_ready", structure_id=None), _site(), settings=Settings())
    assert content.title.startswith("NOT READY: clamp on A, 1000 Hz")


def test_passive_tone_has_no_hook_up_and_is_indicative() -> None:
    trace = _trace()
    del trace.hookup
    trace.sections["hookup_id"] = None
    trace.kind = "mains"
    content = trace_content(trace, _site(), settings=Settings())
    assert content.title == "Passive mains, 1000 Hz, indicative only: what a receiver alone would hear"
    assert content.hookups.empty


def test_labels_are_apart_and_the_caution_stands_on_it() -> None:
    figure = draw_map(trace_content(_trace(), _site(), settings=Settings()), colours=colour_table())
    assert overlaps(figure) == []
    assert CAUTION in all_text(figure)


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_it_is_written_whole_and_the_same_again(tmp_path: Path, suffix: str) -> None:
    settings = Settings(report=ReportSettings(colours="as_5488"))
    for name in ("a", "b"):
        path = tmp_path / f"{name}.{suffix}"
        write_trace_map(_trace(), _site(), path, settings=settings, metadata=METADATA)
    data = (tmp_path / f"a.{suffix}").read_bytes()
    assert data == (tmp_path / f"b.{suffix}").read_bytes()
    assert CAUTION.encode() in data
    assert suffix == "svg" or is_png(tmp_path / "a.png")
    assert len(list(tmp_path.iterdir())) == 2


def test_names_out_of_the_data_are_text_on_the_map_of_a_review_too(tmp_path: Path) -> None:
    name = "$\\frac{1}{0$"
    site, trace = _site(), _trace(line_id=name)
    site.lines["line_id"] = site.lines["line_id"].replace("A", name)
    trace.sections["line_id"] = trace.sections["line_id"].replace("A", name)
    trace.notes = (name,)
    write_trace_map(trace, site, tmp_path / "map.png", settings=Settings(), metadata=METADATA)
    content = trace_content(trace, site, settings=Settings())
    assert all_text(draw_map(content, colours=colour_table())).count(name) >= 4  # title, label, hook-up, note
