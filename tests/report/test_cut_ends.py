"""Ends that the extract cut, on the map."""

from typing import Any

import numpy as np
import pytest
from matplotlib.collections import PathCollection
from matplotlib.text import Text
from shapely import Point

from corridor.frames import table_frame
from corridor.report.look.colours import colour_table
from corridor.report.look.symbols import CUT_SYMBOL
from corridor.report.maps.map import draw_map
from corridor.report.results import _review_map
from tests.builders import METRIC
from tests.report.examples import ORIGIN, example_review

INSIDE = Point(ORIGIN[0] + 10, ORIGIN[1] + 10)
FAR = Point(ORIGIN[0] + 5000, ORIGIN[1])


def reviewed(*rows: tuple[str, Any]) -> Any:
    """A review whose records have these findings: code and place."""
    review = example_review(1)
    data = [{"feature_source": "a:lines", "severity": "warning", "code": code, "message": "m", "action": "used"}
            for code, _ in rows]  # fmt: skip
    findings = table_frame("findings", data, geometry=[place for _, place in rows], crs=METRIC)
    review.site = type(review.site)(**{**vars(review.site), "findings": findings})
    return review


def marks(figure: Any) -> list[tuple[float, float]]:
    """Places of the marks of cut ends."""
    area = CUT_SYMBOL.area
    found = [c for c in figure.findobj(PathCollection) if len(c.get_sizes()) == 1 and c.get_sizes()[0] == area]
    return [tuple(np.round(place, 3)) for c in found for place in c.get_offsets().tolist()]


def legend(figure: Any) -> str:
    return "\n".join(text.get_text() for text in figure.findobj(Text))


def test_cut_ends_on_the_map_are_marked_and_explained() -> None:
    figure = draw_map(_review_map(reviewed(("end_cut", INSIDE), ("end_cut", FAR))), colours=colour_table())
    assert marks(figure) == [(INSIDE.x, INSIDE.y)]
    assert CUT_SYMBOL.text in legend(figure)


@pytest.mark.parametrize("rows", [(), (("end_unknown", INSIDE),)])
def test_without_any_there_is_no_mark_and_no_row(rows: tuple[tuple[str, Any], ...]) -> None:
    figure = draw_map(_review_map(reviewed(*rows)), colours=colour_table())
    assert marks(figure) == []
    assert CUT_SYMBOL.text not in legend(figure)
