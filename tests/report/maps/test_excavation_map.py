"""The map of an excavation: no ground looks free, every line in it is drawn, and the words are those that matter."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from shapely import LineString, MultiPolygon, Point, box

from corridor.dictionary import GRADES
from corridor.frames import CAUTION, table_frame
from corridor.report.maps.excavation_map import BY_HAND, _hatching, _outline, draw_excavation_map, write_excavation_map
from corridor.settings import ReportSettings, Settings
from tests.block import sample
from tests.builders import METRIC, make_site
from tests.report.drawn import all_text, cut_off, is_png, legend_words, overlaps, texts

METADATA = {"caution": CAUTION, "receipt": '{"seed": 0}'}


def _strategy(lines: Any) -> Any:
    rows = [
        {"stretch_id": f"{name}:1", "line_id": name, "from_m": 0.0, "to_m": shape.length, "settled": True,
         "assumed": False, "grade": GRADES[number % len(GRADES)], "grade_worst": GRADES[number % len(GRADES)]}
        for number, (name, shape) in enumerate(zip(lines["line_id"], lines.geometry, strict=True))
        if number % 7 != 6
    ]  # fmt: skip
    shapes = lines.geometry.iloc[[n for n in range(len(lines)) if n % 7 != 6]]
    return table_frame("strategy", rows, geometry=list(shapes), crs=lines.crs)


def _review(site: Any, **report: Any) -> Any:
    settings = Settings(report=ReportSettings(**report))
    return SimpleNamespace(site=site, strategy=_strategy(site.lines), settings=settings)


def _small(**more: Any) -> Any:
    lines = [
        {"line_id": f"W-{n}", "utility": "water", "geometry": [(0, 8 * n), (60, 8 * n)], "horizontal_accuracy_m": 0.5,
         "quality_level": "b", "depth_m": 1.25}
        for n in range(7)
    ]  # fmt: skip
    lines += [{"line_id": "G-1", "utility": "gas", "geometry": [(30, -10), (30, 70)], "quality_level": None,
               "depth_m_src": "default"}]  # fmt: skip
    area = [{"phase": "1", "dig_depth_m": 2.5, "geometry": box(-5, -5, 65, 20)},
            {"phase": None, "dig_depth_m": None, "geometry": box(-5, 20, 65, 60)}]  # fmt: skip
    return make_site(lines=lines, work_area=more.get("work_area", area))


@cache
def _zone(name: str) -> Figure:
    return draw_excavation_map(_review(sample(name)))


def test_no_ground_looks_free() -> None:
    figure = draw_excavation_map(_review(_small()))
    dots = [c for c in figure.axes[0].collections if isinstance(c, PathCollection) and c.get_zorder() == 1.5]
    assert len(dots) == 2  # one a phase
    spots = np.concatenate([np.asarray(c.get_offsets()) for c in dots])
    corner = box(-5, 50, 25, 60)  # with hardly a line in it
    assert shapely.contains_xy(corner, spots[:, 0], spots[:, 1]).sum() > 20
    told = all_text(figure).casefold()
    assert "unrecorded lines may be anywhere" in told
    for word in ("safe", " free", "clear of", " ok", "no lines"):
        assert word not in told


def test_the_words_that_matter_stand_on_it() -> None:
    told = all_text(draw_excavation_map(_review(_small())))
    assert CAUTION in told
    assert BY_HAND in told
    assert "local code" in told
    assert "Untraceable; they are still there" in told
    assert "a recorded line that tone can't show; it is still there" in told


def test_phases_say_how_deep_they_dig_or_that_nobody_said() -> None:
    figure = draw_excavation_map(_review(_small()))
    assert "phase 1: dig 2.5 m" in texts(figure)
    assert "work area: depth not stated" in texts(figure)
    assert "Phase 1: dig 2.5 m" in texts(figure)


def test_lengths_by_what_tone_makes_of_them_add_up() -> None:
    figure = draw_excavation_map(_review(_small(work_area=[{"phase": "1", "geometry": box(-5, -5, 65, 60)}])))
    (head,) = [text for text in texts(figure) if "recorded lines, " in text]
    assert head == "8 recorded lines, 485 m"
    parts = [int(text.split()[0]) for text in texts(figure) if text.lstrip()[:1].isdigit() and " m: tone " in text]
    assert sum(parts) == 485


def test_a_depth_that_is_assumed_says_so() -> None:
    named = texts(draw_excavation_map(_review(_small())))
    assert "W-0 1.2" in named or "W-0 1.3" in named
    assert any(text.startswith("G-1 ~") for text in named)


def test_strips_are_hatched_where_tone_cannot_be_relied_on_and_dashed_without_accuracy() -> None:
    figure = draw_excavation_map(_review(_small()))
    rows = legend_words(figure)
    assert "tone can't be relied on to show it" in rows
    assert "dashed: none on record, width assumed from the quality level" in rows
    edges = [c for c in figure.axes[0].collections if isinstance(c, LineCollection) and len(c.get_segments())]
    dashed = {c.get_linestyle()[0][1] is not None for c in edges if to_hex(c.get_color()[0]) == "#7a4a32"}
    assert dashed == {True, False}
    for patch in figure.axes[0].patches:
        if isinstance(patch, PathPatch):
            red, green, blue = to_rgb(patch.get_facecolor())
            assert red > green > blue  # warm, never green


@pytest.mark.parametrize("name", ["bonded_district", "downtown_block", "excavation_zone"])
def test_no_label_overlaps_and_nothing_is_cut_off(name: str) -> None:
    assert overlaps(_zone(name)) == []
    assert cut_off(_zone(name)) == []


@pytest.mark.parametrize(("vocabulary", "word"), [("asce_38_22", "no quality level stated"),
                                                  ("as_5488_2022", "no quality level indicated")])  # fmt: skip
def test_quality_levels_are_counted_in_the_words_of_the_place(vocabulary: str, word: str) -> None:
    told = all_text(draw_excavation_map(_review(_small(), quality_levels=vocabulary)))
    assert f"1 {word}" in told
    assert "7 QL-B" in told


def test_colours_are_those_of_the_place() -> None:
    assert "Utility (AS 5488)" in texts(draw_excavation_map(_review(_small(), colours="as_5488")))


def test_without_a_work_area_or_lines_there_is_still_a_map() -> None:
    site = _small(work_area=[])
    told = all_text(draw_excavation_map(_review(site)))
    assert CAUTION in told
    far = _small(work_area=[{"phase": "1", "geometry": box(500, 500, 520, 520)}])
    assert "0 recorded lines, 0 m" in all_text(draw_excavation_map(_review(far)))


def test_names_out_of_the_data_are_text() -> None:
    site = _small()
    renamed = site.lines.assign(line_id=["$\\frac{1}{0$", *site.lines["line_id"][1:]])
    site = replace(site, lines=renamed)
    assert any("$\\frac{1}{0$" in text for text in texts(draw_excavation_map(_review(site))))


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_both_formats_are_the_same_again(tmp_path: Path, suffix: str) -> None:
    review = _review(_small())
    for name in ("a", "b"):
        write_excavation_map(review, tmp_path / f"{name}.{suffix}", metadata=METADATA)
    data = (tmp_path / f"a.{suffix}").read_bytes()
    assert data == (tmp_path / f"b.{suffix}").read_bytes()
    assert CAUTION.encode() in data
    assert suffix == "svg" or is_png(tmp_path / "a.png")


@pytest.mark.parametrize("angle", [0.0, 45.0, 90.0, 135.0])
def test_hatching_covers_a_ground_evenly_and_leaves_holes(angle: float) -> None:
    hole = Point(10, 10).buffer(4.0)
    ground = box(0.2, 0.2, 20.2, 20.2).difference(hole)  # its edges lie between strokes
    strokes = [LineString(points) for points in _hatching(ground, angle, 0.5)]
    # parallel strokes a distance d apart have length area / d (Cavalieri's principle)
    assert sum(stroke.length for stroke in strokes) == pytest.approx(ground.area / 0.5, rel=0.03)
    assert not any(stroke.intersects(hole.buffer(-1e-6)) for stroke in strokes)
    assert _hatching(MultiPolygon(), angle, 0.5) == []


def test_a_hole_in_a_strip_is_not_filled() -> None:
    path = _outline(MultiPolygon([box(0, 0, 10, 10).difference(box(4, 4, 6, 6)), box(20, 0, 30, 10)]))
    inside = path.contains_points([(1, 1), (25, 5), (15, 5)])
    assert inside.tolist() == [True, True, False]
    # signed areas of shells and holes (shoelace) add up to the ground's own
    loops = path.to_polygons()
    signed = [0.5 * np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]) for p in loops]
    assert abs(sum(signed)) == pytest.approx(200.0 - 4.0)


def test_the_crs_of_the_site_is_kept() -> None:
    assert _strategy(_small().lines).crs == METRIC
