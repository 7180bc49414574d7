"""Numbers of hook-ups: symbols that would overlap share one box, and on a crowded map nothing written overlaps."""

import itertools
from functools import cache
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.text import Text
from shapely.affinity import translate

from corridor.couplings import find_bonds
from corridor.dictionary import MODES
from corridor.frames import table_frame
from corridor.plan import find_hookups
from corridor.report.look.colours import colour_table
from corridor.report.maps.cartography import sheet_for
from corridor.report.maps.hookup_marks import clumps, draw_hookups, number_text, symbol_area
from corridor.report.maps.labels import Label, place_labels
from corridor.report.maps.map import MapContent, draw_map
from corridor.settings import Settings, load_equipment
from tests import block

XY = st.tuples(st.floats(0, 80), st.floats(0, 80))


@pytest.mark.parametrize(
    ("numbers", "text"),
    [([7], "7"), ([59, 40], "40, 59"), ([1, 2, 3], "1–3"), ([9, 4, 5, 6, 2, 8], "2, 4–6, 8, 9"), ([1, 2], "1, 2")],
)
def test_numbers_are_sorted_and_runs_drawn_together(numbers: list[int], text: str) -> None:
    assert number_text(numbers) == text


@pytest.mark.parametrize("mode", MODES)
def test_a_symbol_covers_its_marker_and_edge(mode: str) -> None:
    # matplotlib's size is the square of the marker's side in points; a clamp's square stands on its corner
    west, south, east, north = symbol_area(shapely.Point(3, 4), mode, area=100.0).bounds
    assert east - west == pytest.approx(north - south)
    assert east - west == pytest.approx((10 + 1.6) * (2**0.5 if mode == "clamp" else 1))
    assert ((west + east) / 2, (south + north) / 2) == pytest.approx((3, 4))


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(XY, st.sampled_from(MODES)), max_size=25))
def test_clumps_part_the_hookups_and_dont_touch_each_other(spots: list[tuple[tuple[float, float], str]]) -> None:
    areas = [symbol_area(shapely.Point(xy), mode, area=110.0) for xy, mode in spots]
    groups = clumps(areas)
    assert sorted(itertools.chain(*groups)) == list(range(len(areas)))
    for one, other in itertools.combinations(groups, 2):
        assert not any(areas[a].intersects(areas[b]) for a in one for b in other)
    for group in groups:
        merged = shapely.union_all([areas[member].buffer(1e-9) for member in group])
        assert merged.geom_type == "Polygon"


@cache
def downtown() -> tuple[Any, Any]:
    """The sample's records and hook-ups; what a review would choose among them is set by the tests."""
    site, bonds = block.downtown(), found_bonds()
    equipment = load_equipment("standard_output")
    area = site.work_area.union_all()
    return site, find_hookups(site, bonds, equipment=equipment, settings=Settings(), area=area)


@cache
def found_bonds() -> Any:
    return find_bonds(block.downtown())


def drawn(hookups: Any, ids: list[str]) -> Any:
    """The map of a review that chose these hook-ups."""
    site = downtown()[0]
    chosen = hookups[hookups["hookup_id"].isin(ids)]
    shape_of = dict(zip(site.lines["line_id"], site.lines.geometry, strict=True))
    rows = {
        "line_id": chosen["line_id"].tolist(), "hookup_id": chosen["hookup_id"].tolist(), "current_ma": 5.0,
        "grade": "readable", "grade_worst": "pulled", "settled": False, "assumed": True,
    }  # fmt: skip
    stretches = table_frame("strategy", rows, geometry=[shape_of[n] for n in rows["line_id"]], crs=site.crs)
    content = MapContent(
        title="crowded", lines=site.lines, stretches=stretches, hookups=hookups, bonds=found_bonds(),
        work_area=site.work_area, structures=site.structures,
    )  # fmt: skip
    return draw_map(content, colours=colour_table())


def written(figure: Any) -> list[tuple[Text, Any]]:
    """Every text of the map with its extent, its own box and edge included."""
    figure.canvas.draw()  # puts the boxes round their texts
    renderer = figure.canvas.get_renderer()
    texts = [text for text in figure.axes[0].texts if text.get_text()]
    return [(t, (t.get_bbox_patch() or t).get_window_extent(renderer)) for t in texts]


@pytest.mark.parametrize("per_line", [1, pytest.param(3, marks=pytest.mark.thorough)])
def test_no_two_labels_overlap_on_the_downtown_block(per_line: int) -> None:
    hookups = downtown()[1]
    ready = hookups[hookups["ready"] == "ready"]
    # one a line as a review chooses; three a line is more than any review asks of the map
    ids = ready.groupby("line_id").head(per_line)["hookup_id"].tolist()
    figure = drawn(hookups, ids)
    extents = written(figure)
    overlapping = [
        (a.get_text(), b.get_text())
        for (a, one), (b, other) in itertools.combinations(extents, 2)
        if one.overlaps(other)
    ]
    assert overlapping == []
    boxed = [text.get_text() for text, _ in extents if text.get_bbox_patch()]
    assert boxed
    alone = [t.get_text() for t, _ in extents if t.get_text().isdigit() and t.get_fontweight() == "bold"]
    numbers = [n for text in boxed for part in text.split(", ") for n in run(part)]
    numbers += [int(n) for n in alone if n not in boxed]
    assert sorted(set(numbers)) == sorted(numbers)
    assert set(numbers) <= set(range(1, len(ids) + 1))
    if per_line == 1:
        assert sorted(numbers) == list(range(1, len(ids) + 1))


def test_names_rather_keep_off_the_small_symbols() -> None:
    site, hookups = downtown()
    figure = Figure()
    sheet = sheet_for(site.lines.total_bounds, figure_in=(7.0, 5.0), box=(0.0, 0.0, 1.0, 1.0))
    marks = draw_hookups(figure.add_subplot(), sheet, hookups, {})
    small = hookups[(hookups["ready"] == "ready") & (hookups["mode"] != "induction")]
    assert len(marks.small) == len(small) > 0
    label = Label("C-003", shapely.LineString([(100.0, 100.0), (160.0, 100.0)]))

    def placed(symbols: list[shapely.LineString]) -> shapely.Polygon:
        return place_labels([label], lines=[label.shape, *symbols], frame=sheet.frame)[0].box

    there = placed([]).centroid
    centre = marks.small[0].centroid
    symbol = translate(marks.small[0], there.x - centre.x, there.y - centre.y)
    assert placed([symbol]).intersection(symbol).length < 0.1 * symbol.length


def run(part: str) -> range:
    first, _, last = part.partition("–")
    return range(int(first), int(last or first) + 1)


@pytest.mark.parametrize("count", [61, 90])
def test_the_list_names_every_hookup_while_there_is_room(count: int) -> None:
    hookups = downtown()[1]
    ids = hookups.loc[hookups["ready"] == "ready", "hookup_id"].tolist()[:count]
    figure = drawn(hookups, ids)
    rows = [row.split() for text in figure.texts for row in text.get_text().splitlines()]
    listed = [row[0] for row in rows if row[0].isdigit() and row[1].rstrip(",") in MODES]
    assert listed == [str(n) for n in range(1, len(listed) + 1)]
    rest = [int(row[1]) for row in rows if row[0] == "and" and row[2:4] == ["more:", "see"]]
    assert len(listed) + sum(rest) == count
    assert not rest or count > 61
    renderer = figure.canvas.get_renderer()
    boxes = [text.get_window_extent(renderer) for text in figure.texts]
    assert not any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))
