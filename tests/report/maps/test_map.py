"""The map: caution and receipt inside it, labels apart, assumed stretches dashed, no grade in green."""

from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection
from matplotlib.colors import to_rgb
from matplotlib.markers import MarkerStyle
from matplotlib.text import Text
from PIL import Image

from corridor.dictionary import GRADES, MODES, UTILITIES
from corridor.errors import SettingsError
from corridor.frames import CAUTION, empty_table
from corridor.report.look.colours import colour_table
from corridor.report.look.symbols import BOND_SYMBOLS, GRADE_SYMBOLS, GRADES_FIRST, HOOKUP_SYMBOLS, INK, tone_width_pt
from corridor.report.maps.cartography import scale_bar_length_m, sheet_for
from corridor.report.maps.map import MapContent, draw_map, setup_numbers, write_map
from corridor.report.maps.map_frame import DPI, FIGURE_IN
from tests.builders import METRIC
from tests.report.examples import example_review


def _content(review: Any, **changes: Any) -> MapContent:
    parts = {
        "title": "A block \x1b[31m",
        "lines": review.site.lines,
        "stretches": review.strategy,
        "hookups": review.hookups,
        "bonds": review.bonds_found,
        "work_area": review.site.work_area,
        "structures": review.site.structures,
        "notes": ("generic equipment",),
    }
    return MapContent(**(parts | changes))


@pytest.fixture(scope="module")
def figure() -> Any:
    return draw_map(_content(example_review()), colours=colour_table())


def _texts(figure: Any) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text)]


def test_the_caution_and_the_words_that_matter_stand_in_it(figure: Any) -> None:
    texts = _texts(figure)
    assert CAUTION in texts
    assert any("it is still there" in text for text in texts)
    assert any("assumed" in text for text in texts)
    assert any("generic equipment" in text for text in texts)
    assert any("NOT READY" in text for text in texts)
    assert "N" in texts
    assert any(text.endswith(" m") for text in texts)
    assert "A block ?[31m" in texts


def test_every_line_is_named_and_no_two_names_overlap(figure: Any) -> None:
    review = example_review()
    names = set(review.site.lines["line_id"])
    renderer = figure.canvas.get_renderer()
    boxes = [t.get_window_extent(renderer) for t in figure.axes[0].texts if t.get_text() in names]
    assert len(boxes) == len(names)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])


def test_the_legend_stays_on_the_sheet(figure: Any) -> None:
    renderer = figure.canvas.get_renderer()
    for artist in [*figure.legends, *figure.texts, *figure.artists]:
        box = artist.get_window_extent(renderer)
        assert box.x0 >= 0
        assert box.x1 <= FIGURE_IN[0] * DPI, artist
        assert box.y0 >= 0


def test_assumed_stretches_are_dashed(figure: Any) -> None:
    review = example_review()
    dashed = [
        c for c in figure.axes[0].collections if hasattr(c, "get_segments") and c.get_linestyles()[0][1] is not None
    ]
    drawn = sum(len(c.get_segments()) for c in dashed if c.get_zorder() == 4.1)
    assert drawn == int(review.strategy["assumed"].sum()) > 0


def test_png_says_what_it_is_and_is_the_same_again(tmp_path: Path) -> None:
    content = _content(example_review(2))
    metadata = {"caution": CAUTION, "receipt": "{}", "date": "2024-01-01"}
    for name in ("a.png", "b.png"):
        write_map(content, tmp_path / name, metadata=metadata)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    with Image.open(tmp_path / "a.png") as picture:
        assert picture.size == (FIGURE_IN[0] * DPI, FIGURE_IN[1] * DPI)
        assert picture.text["Description"] == CAUTION
        assert picture.text["receipt"] == "{}"
        assert "Software" not in picture.text


def test_drawing_leaves_the_users_matplotlib_alone() -> None:
    before = dict(mpl.rcParams)
    draw_map(_content(example_review(1)), colours=colour_table())
    assert dict(mpl.rcParams) == before


@pytest.mark.parametrize(
    "empty", [("work_area",), ("stretches", "hookups", "bonds", "structures"), ("lines", "stretches", "work_area")]
)
def test_what_is_missing_is_left_out(empty: tuple[str, ...]) -> None:
    tables = {"stretches": "strategy", "bonds": "bonds_found"}
    review = example_review(2)
    changes = {name: empty_table(tables.get(name, name), METRIC) for name in empty}
    if "lines" in empty:
        changes["lines"] = changes["lines"].assign(assumed=np.zeros(0, dtype=bool))
    assert CAUTION in _texts(draw_map(_content(review, **changes), colours=colour_table()))


def test_the_work_area_is_seen_whole() -> None:
    sheet = sheet_for(np.array([10.0, 20.0, 100.0, 60.0]), figure_in=(14, 10), box=(0, 0, 0.7, 0.9))
    assert sheet.shows(10, 20)
    assert sheet.shows(100, 60)
    # one scale both ways: width over height as on paper
    assert sheet.width_m / sheet.height_m == pytest.approx(14 * 0.7 / (10 * 0.9))


@pytest.mark.parametrize(("width", "length"), [(100.0, 20.0), (99.0, 10.0), (1000.0, 200.0), (7.0, 1.0), (30.0, 5.0)])
def test_scale_bar_is_round(width: float, length: float) -> None:
    assert scale_bar_length_m(width) == pytest.approx(length)


def test_every_utility_has_a_colour_and_a_legend_row() -> None:
    table = colour_table()
    assert set(table.by_utility) == set(UTILITIES)
    assert set(table.by_utility.values()) == set(table.groups)
    assert table.of(None) == table.of("no such utility") == table.of("unknown")


def test_colours_are_those_of_the_uniform_color_code() -> None:
    # APWA Uniform Color Code as listed by one-call centres: red electric and lighting, yellow gas and oil, orange
    # communication, blue potable water, purple reclaimed water, green sewer and drain
    hue = {u: to_rgb(colour_table().of(u)) for u in UTILITIES}
    assert hue["electricity"][0] > 2 * max(hue["electricity"][1:])
    assert hue["electricity"] == hue["lighting"]
    assert min(hue["gas"][:2]) > 3 * hue["gas"][2]
    assert hue["telecommunications"][0] > hue["telecommunications"][1] > hue["telecommunications"][2]
    assert hue["water"][2] == max(hue["water"])
    assert hue["sewer"][1] == max(hue["sewer"])
    assert hue["sewer"] == hue["storm_drain"]


def test_an_unknown_colour_table_is_an_error() -> None:
    with pytest.raises(SettingsError, match="expected a colour table"):
        colour_table("rainbow")


def test_every_grade_and_mode_has_its_own_symbol() -> None:
    assert set(GRADE_SYMBOLS) == set(GRADES)
    assert set(HOOKUP_SYMBOLS) == set(MODES)
    assert len({s.marker for s in GRADE_SYMBOLS.values()}) == len(GRADES)


def _marked(review: Any) -> dict[tuple[str, bool], int]:
    """How often each grade's symbol stands on the map of a review, filled or hollow."""
    figure = draw_map(_content(review), colours=colour_table())
    shapes = {grade: MarkerStyle(symbol.marker) for grade, symbol in GRADE_SYMBOLS.items()}
    outlines = {g: np.asarray(m.get_path().transformed(m.get_transform()).vertices) for g, m in shapes.items()}
    found: dict[tuple[str, bool], int] = {}
    for drawn in figure.axes[0].collections:
        if not isinstance(drawn, PathCollection) or drawn.get_zorder() != 6:
            continue
        own = np.asarray(drawn.get_paths()[0].vertices)
        grade = next(g for g, v in outlines.items() if v.shape == own.shape and np.allclose(v, own))
        filled = tuple(np.asarray(drawn.get_facecolor())[0, :3]) == to_rgb(INK)
        found[grade, filled] = found.get((grade, filled), 0) + len(np.asarray(drawn.get_offsets()))
    return found


def test_untraceable_is_a_filled_symbol_that_no_place_to_hook_up_has() -> None:
    review = example_review(2)
    review.strategy = review.strategy.assign(grade="untraceable", grade_worst="untraceable", settled=pd.NA)
    assert {key for key, count in _marked(review).items() if count} == {("untraceable", True)}
    others = {s.marker for s in (*HOOKUP_SYMBOLS.values(), *BOND_SYMBOLS.values())}
    assert GRADE_SYMBOLS["untraceable"].marker not in others | {"s"}


@pytest.mark.parametrize("grade", ["masked", "pulled"])
def test_a_wrong_mark_in_the_nominal_case_is_not_hidden_by_too_little_tone_in_another(grade: str) -> None:
    review = example_review(2)
    review.strategy = review.strategy.assign(grade=grade, grade_worst="faint", settled=False)
    assert set(_marked(review)) == {(grade, False)}


def test_the_legend_says_which_of_two_grades_is_drawn(figure: Any) -> None:
    assert set(GRADES_FIRST) == set(GRADES)
    assert any("higher in this list" in text for text in _texts(figure))


def test_tone_grows_with_the_current() -> None:
    widths = tone_width_pt([np.nan, 0.0, 0.05, 0.1, 1.0, 10.0, 99.9, 100.0, 1e4])
    assert np.all(np.diff(widths) >= 0)
    assert widths[0] == widths[1]
    assert len(set(widths)) == 5


def _planned(numbers: dict[str, tuple[int, ...]]) -> pd.DataFrame:
    """A table of set-ups, with the sweeps around them, in walking order."""
    rows = [("sweep-first", None), *((f"S{n}", hookup) for hookup, own in numbers.items() for n in own)]
    return pd.DataFrame([*rows, ("sweep-last", None)], columns=["setup_id", "hookup_id"])


def test_hook_ups_bear_the_numbers_of_the_plans_set_ups() -> None:
    review = example_review()
    names = review.hookups["hookup_id"].tolist()
    numbers = {names[2]: (1,), names[0]: (2, 3), names[5]: (17,)}
    figure = draw_map(_content(review, setups=_planned(numbers)), colours=colour_table())
    written = {text.get_text() for text in figure.axes[0].texts}
    assert {"1", "2, 3", "17"} <= written  # one number in its symbol, several in a box
    listed = "\n".join(text.get_text() for text in figure.texts).splitlines()
    own = [row for row in listed if any(f"{mode}, " in row for mode in MODES)]
    rows = {row.split("  ")[0].strip(): row for row in own}
    assert list(rows) == ["1", "2, 3", "17"]
    assert review.hookups["line_id"].iloc[0] in rows["2, 3"]


def test_set_up_numbers_leave_sweeps_out_and_stand_in_walking_order() -> None:
    setups = _planned({"b": (2, 12), "a": (3,), "c": (1,)})
    assert setup_numbers(setups) == {"c": [1], "b": [2, 12], "a": [3]}
    assert list(setup_numbers(setups)) == ["c", "b", "a"]
    assert setup_numbers(setups.iloc[:0]) == {}


def test_without_set_ups_hook_ups_are_numbered_from_north_to_south() -> None:
    review = example_review(2)
    alone = _texts(draw_map(_content(review), colours=colour_table()))
    none = _texts(draw_map(_content(review, setups=_planned({})), colours=colour_table()))
    assert alone == none
    assert "1" in alone


@pytest.mark.parametrize("count", [5, 60, 75, 96, 120])
def test_the_list_holds_every_set_up_of_a_long_plan(count: int) -> None:
    review = example_review()
    one = review.hookups.iloc[[0]]
    hookups = pd.concat([one.assign(hookup_id=f"clamp:{k}", line_id=f"T-{k:03d}") for k in range(count)])
    numbers = {f"clamp:{k}": (k + 1,) for k in range(count)}
    content = _content(review, hookups=hookups, setups=_planned(numbers))
    figure = draw_map(content, colours=colour_table())
    listed = "\n".join(text.get_text() for text in figure.texts)
    assert [k for k in range(count) if f"T-{k:03d}" not in listed] == []
    renderer = figure.canvas.get_renderer()
    boxes = [text.get_window_extent(renderer) for text in figure.texts]
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
    assert all(box.y0 >= 0 and box.x1 <= FIGURE_IN[0] * DPI for box in boxes)


def test_the_list_says_which_hookups_lie_off_the_map() -> None:
    review = example_review(1)
    far = review.hookups.copy()
    far.geometry = far.geometry.translate(xoff=1e4)
    name = far["hookup_id"].iloc[0]
    near, off = (
        _texts(draw_map(_content(review, hookups=hookups, setups=_planned({name: [1]})), colours=colour_table()))
        for hookups in (review.hookups, far)
    )
    assert "(off the map)" in " ".join(off)
    assert "(off the map)" not in " ".join(near)
