"""The close-up: no two labels' boxes overlap, measured in the SVG; roles are told by width and pattern, not colour."""

import io
import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import pytest
import shapely
from matplotlib.collections import LineCollection
from PIL import ImageFont
from shapely import LineString, Point

from corridor.report.look.colours import colour_table
from corridor.report.maps.closeup import CLOSEUP_IN, TALL_IN, Arrow, CloseUp, draw_closeup, svg_bytes
from corridor.report.sheet.overview import draw_overview
from tests.block import downtown
from tests.builders import METRIC

SVG = "{http://www.w3.org/2000/svg}"
FONTS = Path(mpl.get_data_path()) / "fonts" / "ttf"
SCALE = 64  # the font library measures in whole pixels: of large type that is fine enough


@cache
def font(bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FONTS / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")), SCALE)


def text_box(element: ET.Element) -> shapely.Polygon:
    """The box of a text of an SVG: its ink, measured by FreeType in the font itself, from where the file puts it."""
    style = element.get("style", "")
    size = float(re.search(r"font-size: ([\d.]+)px", style).group(1))  # type: ignore[union-attr]
    ink = font("font-weight: 700" in style).getbbox("".join(element.itertext()), anchor="ms")
    x, y = float(element.get("x", "nan")), float(element.get("y", "nan"))
    west, north, east, south = (value * size / SCALE for value in ink)
    assert "text-anchor: middle" in style
    return shapely.box(x + west, y + north, x + east, y + south)


def label_boxes(svg: bytes, *, whole: bool = True) -> dict[str, tuple[str, shapely.Polygon]]:
    """Each label's text and box as they stand in the file: its ink, and the frame around it where it has one."""
    root = ET.fromstring(svg)
    frames = [
        shapely.box(min(n[:8:2]) - 0.4, min(n[1:8:2]) - 0.4, max(n[:8:2]) + 0.4, max(n[1:8:2]) + 0.4)  # half the edge
        for group in root.iter(f"{SVG}g")
        if group.get("id") == "frames-True"
        for path in group.iter(f"{SVG}path")
        if len(n := [float(number) for number in re.findall(r"-?\d+\.?\d*", path.get("d", ""))]) >= 8
    ]
    found = {}
    for group in root.iter(f"{SVG}g"):
        name, text = group.get("id", ""), group.find(f"{SVG}text")
        if name.startswith("label-") and text is not None:
            ink = text_box(text)
            own = [frame for frame in frames if frame.contains(ink)]
            found[name] = ("".join(text.itertext()), shapely.envelope(shapely.union_all([ink, *own])))
    held = sum(any(box.equals(frame) for _, box in found.values()) for frame in frames)
    assert held == len(frames) or not whole  # every frame holds its text
    return found


def overlapping(svg: bytes, *, whole: bool = True) -> list[tuple[str, str]]:
    boxes = label_boxes(svg, whole=whole).values()
    return [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.intersects(other)]


def frame(**columns: Any) -> gpd.GeoDataFrame:
    shapes = columns.pop("geometry")
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=METRIC)


def content(**changes: Any) -> CloseUp:
    """Three lines of a street; the middle one is traced from its west end."""
    ys = {"A": 0.0, "B": 1.5, "C": 4.0}
    lines = frame(
        line_id=list(ys), utility=["telecommunications", "electricity", None], status=["in_service"] * 3,
        geometry=[LineString([(0, y), (30, y)]) for y in ys.values()],
    )  # fmt: skip
    parts = {
        "number": "7", "mode": "direct", "hookup": Point(0, 0), "lines": lines,
        "structures": frame(structure_id=["H"], geometry=[Point(0, 0)]),
        "work_area": frame(phase=["1"], geometry=[shapely.box(-3, -3, 33, 6)]), "line_id": "A",
        "traced": [("a", "A", LineString([(0, 0), (20, 0)]), False), ("b", "A", LineString([(20, 0), (30, 0)]), True)],
        "partners": {"B": "B takes 3.10 mA"}, "stake": Point(0, -2.5), "stake_text": "2.5 m at 180°",
        "pulls": [Arrow(10, 0, 0, 1)], "masked": [Point(25, 0)], "no_depth": [LineString([(20, 0), (30, 0)])],
        "check": Point(30, 0), "reads": {"a": Point(10, 0), "b": Point(25, 0)},
    }  # fmt: skip
    return CloseUp(**(parts | changes))


def drawn(**changes: Any) -> Any:
    return draw_closeup(content(**changes), colours=colour_table())


def texts(figure: Any) -> list[str]:
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    return [text.get_text() for text in figure.axes[0].texts] + legend


def test_hook_up_stake_check_stretches_and_partners_are_named() -> None:
    said = texts(drawn())
    for text in ("set-up 7", "stake 2.5 m at 180°", "check here", "a: A", "b: A", "B takes 3.10 mA", "C unknown", "N"):
        assert text in said, text
    assert any(text.endswith(" m") for text in said)


def test_the_key_explains_what_is_there_and_nothing_else() -> None:
    assert set(texts(drawn())) >= {"trace this", "assumed", "read here", "other line", "takes tone too", "no depth",
                                   "peak pulled", "masked"}  # fmt: skip
    bare = texts(drawn(partners={}, pulls=[], masked=[], no_depth=[], reads={}, traced=[]))
    assert {"takes tone too", "no depth", "peak pulled", "masked", "assumed", "read here"}.isdisjoint(bare)


def test_roles_differ_without_colour() -> None:
    widths: dict[float, set[str]] = {}
    dashed = 0
    for lines in drawn().axes[0].findobj(LineCollection):
        for width in lines.get_linewidth():
            widths.setdefault(round(float(width), 1), set()).update(map(str, lines.get_linestyles()))
        dashed += sum(style[1] is not None for style in lines.get_linestyles())
    assert {13.0, 5.2, 3.0, 1.7} <= set(widths)  # no depth, traced, takes tone too, other
    assert dashed >= 2  # assumed: edge and core


def test_no_two_labels_overlap_in_the_file() -> None:
    svg = svg_bytes(drawn())
    assert len(label_boxes(svg)) >= 7
    assert overlapping(svg) == []


def test_the_measure_would_find_an_overlap() -> None:
    svg = svg_bytes(drawn()).decode()
    places = re.findall(r'(x="[\d.]+" y="[\d.]+" transform="[^"]+")', svg[svg.index('id="label-0"') :])
    assert overlapping(svg.replace(places[1], places[0]).encode(), whole=False)


@pytest.mark.parametrize("size_in", [CLOSEUP_IN, TALL_IN])
@pytest.mark.parametrize("place", range(6))
def test_no_two_labels_overlap_anywhere_on_the_downtown_block(place: int, size_in: tuple[float, float]) -> None:
    site = downtown()
    here = site.structures.geometry.iloc[place * 17]
    near = site.lines[site.lines.distance(here) < 8].head(5)
    stretches = [
        (letter, name, shapely.intersection(shapely.force_2d(shape), here.buffer(30)), letter > "b")
        for letter, name, shape in zip("abcde", near["line_id"], near.geometry, strict=False)
    ]
    stretches = [row for row in stretches if row[2].geom_type == "LineString" and not row[2].is_empty]
    others = site.lines[site.lines.distance(here) < 20]["line_id"].tolist()[-4:]
    svg = svg_bytes(
        drawn(
            hookup=here, lines=site.lines, structures=site.structures, work_area=site.work_area, traced=stretches,
            partners={name: f"{name} takes 12.3 mA" for name in others}, stake=Point(here.x + 5, here.y + 3),
            check=Point(here.x - 9, here.y), pulls=[Arrow(here.x - 4, here.y, 1, 0)], masked=[], no_depth=[],
            reads={letter: shape.interpolate(0.5, normalized=True) for letter, _, shape, _ in stretches},
            size_in=size_in,
        )
    )  # fmt: skip
    boxes = label_boxes(svg)
    assert len(boxes) >= 12
    assert overlapping(svg) == []
    width, height = (side * 72 for side in size_in)
    assert all(shapely.box(0, 0, width, height).contains(box) for _, box in boxes.values())


def test_labels_of_the_overview_dont_overlap_either() -> None:
    site = downtown()
    spots = list(site.structures.geometry[:60:2])
    setups = frame(
        setup_id=["sweep-first", *(f"S{n}" for n in range(1, len(spots) + 1))],
        kind=["sweep", *["setup"] * len(spots)], hookup_id=[None, *(f"h{n // 2}" for n in range(len(spots)))],
        mode=[None, *(("direct", "clamp", "induction")[n % 3] for n in range(len(spots)))],
        ready=[None, *["ready"] * len(spots)], geometry=[None, *spots],
    )  # fmt: skip
    svg = svg_bytes(draw_overview(site, setups, colours=colour_table()))
    assert overlapping(svg) == []
    numbers = [part for text, _ in label_boxes(svg).values() for part in text.split(", ")]
    read = [n for part in numbers for n in range(int(part.split("–")[0]), int(part.split("–")[-1]) + 1)]
    assert sorted(read) == list(range(1, len(spots) + 1))


def test_the_hook_up_is_on_the_map_even_where_nothing_is_traced() -> None:
    alone = drawn(traced=[], stake=None, check=None, reads={}, pulls=[], masked=[], no_depth=[], partners={})
    west, east = alone.axes[0].get_xlim()
    assert west < 0 < east
    assert alone.axes[0].get_ylim()[1] - alone.axes[0].get_ylim()[0] >= 14


def test_the_scale_is_the_same_both_ways() -> None:
    for size in (CLOSEUP_IN, TALL_IN):
        axes = drawn(size_in=size).axes[0]
        box = axes.get_position()
        across = (axes.get_xlim()[1] - axes.get_xlim()[0]) / (box.width * size[0])
        up = (axes.get_ylim()[1] - axes.get_ylim()[0]) / (box.height * size[1])
        assert across == pytest.approx(up)


def test_names_out_of_the_records_are_no_formula_and_no_markup() -> None:
    lines = content().lines.assign(line_id=["A", "$x^2$ <b>", "C&\x1b[31m"])
    figure = drawn(lines=lines, partners={"$x^2$ <b>": "$x^2$ <b> takes 1 mA"})
    svg = svg_bytes(figure)
    said = [text for text, _ in label_boxes(svg).values()]
    assert "$x^2$ <b> takes 1 mA" in said
    assert "C&?[31m unknown" in said


def test_removed_lines_arent_drawn() -> None:
    lines = content().lines.assign(status=["in_service", "in_service", "removed"])
    assert not any("C" in text for text in texts(drawn(lines=lines)))


def test_the_same_content_gives_the_same_bytes_without_a_date() -> None:
    one, other = (svg_bytes(drawn()) for _ in range(2))
    assert one == other
    assert b"<dc:date>" not in one
    ET.parse(io.BytesIO(one))


def test_drawing_leaves_the_users_matplotlib_alone() -> None:
    before = dict(mpl.rcParams)
    svg_bytes(drawn())
    assert dict(mpl.rcParams) == before


def test_content_is_plain_data_that_can_be_replaced() -> None:
    assert replace(content(), number="8").number == "8"
