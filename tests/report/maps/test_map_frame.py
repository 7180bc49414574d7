"""What maps have in common: the column beside the map, labels, suffixes, and files that appear whole."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text

from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.maps.labels import Label
from corridor.report.maps.map_frame import MAP_SUFFIXES, MapFrame, check_map, map_frame, write_figure
from tests.report.drawn import all_text, cut_off, is_png, legend_words, overlaps, texts

BOUNDS = np.array([500_000.0, 6_000_000.0, 500_200.0, 6_000_150.0])


def _framed(title: str = "a site", **more: object) -> MapFrame:
    with map_frame(title, BOUNDS) as frame:
        for draw in more.values():
            draw(frame)  # type: ignore[operator]
    return frame


def test_the_caution_title_and_notes_stand_on_every_map() -> None:
    notes = ["Grid north up"]
    with map_frame("$\\frac{1}{0$ site", BOUNDS, notes=notes) as frame:
        notes.append("one more")
    told = texts(frame.figure)
    assert CAUTION in told
    assert "$\\frac{1}{0$ site" in told
    assert "Grid north up  ·  one more" in told
    assert "N" in told
    assert cut_off(frame.figure) == []


def test_control_characters_of_the_data_never_reach_the_map() -> None:
    frame = _framed("a\x1b[31mb\u202ec", draw=lambda f: f.list("x\x07y", ["p\x00q"]))
    told = all_text(frame.figure)
    assert not any(ord(character) < 32 or character == "\u202e" for character in told)


@pytest.mark.parametrize("bounds", [np.full(4, np.nan), np.array([0.0, 0.0, np.inf, 1.0])])
def test_a_map_of_nothing_is_a_map(bounds: np.ndarray) -> None:
    with map_frame("nothing", bounds) as frame:
        assert frame.sheet.width_m > 0
    assert CAUTION in texts(frame.figure)


def test_blocks_of_the_column_follow_each_other_without_overlap() -> None:
    def fill(frame: MapFrame) -> None:
        tops.append(frame.top)
        frame.legend("Lines", [Line2D([], [], label=f"line {n}") for n in range(5)])
        tops.append(frame.top)
        frame.list("Words", [f"row {n}" for n in range(5)])
        tops.append(frame.top)
        frame.legend("Areas", [Patch(label="area")])
        tops.append(frame.top)

    tops: list[float] = []
    frame = _framed(fill=fill)
    assert tops == sorted(tops, reverse=True)
    frame.figure.canvas.draw()
    renderer = frame.figure.canvas.get_renderer()  # type: ignore[attr-defined]
    ends = {t.get_text(): t.get_window_extent(renderer) for t in frame.figure.findobj(Text) if t.get_text()}
    assert ends["line 4"].y0 > ends["Words"].y1
    assert ends["row 4"].y0 > ends["Areas"].y1


def test_long_words_are_broken_and_stay_on_the_sheet() -> None:
    text = "a recorded line that tone can't show, " * 4
    frame = _framed(legend=lambda f: f.legend("Long", [Patch(label=text)]), list=lambda f: f.list("Long", [text]))
    assert legend_words(frame.figure) == [" ".join(text.split())]
    assert cut_off(frame.figure) == []


@pytest.mark.parametrize("count", [3, 60, 400])
def test_a_list_shows_what_there_is_room_for_and_counts_the_rest(count: int) -> None:
    frame = _framed(list=lambda f: f.list("Rows", [f"row {n}" for n in range(count)], more=": see the layer"))
    shown = [text for text in texts(frame.figure) if text.startswith("row ")]
    more = [text for text in texts(frame.figure) if text.endswith("more: see the layer")]
    if count < 400:
        assert (len(shown), more) == (count, [])
    else:
        assert 20 < len(shown) < count
        assert more == [f"and {count - len(shown)} more: see the layer"]
    assert cut_off(frame.figure) == []


def test_nothing_to_list_leaves_no_title() -> None:
    frame = _framed(legend=lambda f: f.legend("Empty", []), list=lambda f: f.list("None", []))
    assert not {"Empty", "None"} & set(texts(frame.figure))


def test_labels_are_apart_and_those_without_room_are_counted() -> None:
    left: list[int] = []

    def crowd(frame: MapFrame) -> None:
        middle = shapely.Point(frame.sheet.frame.centroid)
        left.append(frame.label([Label(f"LABEL-{n:04d}", middle, 7.0, boxed=n % 2 == 0) for n in range(400)], []))

    frame = _framed(crowd=crowd)
    assert overlaps(frame.figure) == []
    placed = [text for text in texts(frame.figure) if text.startswith("LABEL-")]
    assert left == [400 - len(placed)]
    assert 1 < len(placed) < 400


def test_no_label_covers_what_is_taken() -> None:
    with map_frame("a", BOUNDS) as frame:
        taken = frame.sheet.frame.centroid.buffer(30.0)
        frame.taken.append(taken)
        frame.label([Label("HERE", frame.sheet.frame.centroid, 8.0)], [])
    frame.figure.canvas.draw()
    (text,) = [t for t in frame.axes.texts if t.get_text() == "HERE"]
    east, north = text.get_position()
    on_paper = frame.sheet.to_points(shapely.Point(east, north))
    assert not taken.contains(on_paper)


@pytest.mark.parametrize("suffix", MAP_SUFFIXES)
def test_a_map_appears_whole_or_not_at_all(tmp_path: Path, suffix: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / f"map{suffix.upper()}"
    path.write_text("the earlier one", encoding="utf-8")

    def broken(*arguments: object, **more: object) -> None:
        message = "disk full"
        raise OSError(message)

    with monkeypatch.context() as patch:
        patch.setattr(Figure, "savefig", broken)
        with pytest.raises(OSError, match="disk full"):
            write_figure(_framed().figure, path, title="a", metadata={})
    assert path.read_text(encoding="utf-8") == "the earlier one"
    write_figure(_framed().figure, path, title="a", metadata={"caution": CAUTION, "receipt": "{}", "date": "2024"})
    assert CAUTION.encode() in path.read_bytes()
    assert suffix == ".svg" or is_png(path)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("name", ["map.pdf", "map", "png", "map.png.bak"])
def test_other_formats_are_refused(name: str) -> None:
    with pytest.raises(OutputError, match=r"expected a map ending in \.png or \.svg"):
        check_map(name)


def test_an_svg_depends_on_no_font_of_the_machine(tmp_path: Path) -> None:
    write_figure(_framed().figure, tmp_path / "a.svg", title="a", metadata={})
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "<text" not in text
    assert "font-family" not in text
