"""Where to stand, what to connect, what never to touch; what is far away at the other end."""

from typing import Any

import geopandas as gpd
import pytest
from shapely import LineString, Point

from corridor.report.sheet.standing import Standing, stake_text
from tests.report.sheet.conftest import street, words


@pytest.fixture(scope="module")
def places() -> Standing:
    return Standing(street())


def setup(mode: str, line_id: str = "A", structure_id: str | None = "A-S", xy: tuple[float, float] = (0, 0)) -> Any:
    return {"mode": mode, "line_id": line_id, "structure_id": structure_id, "geometry": Point(xy)}


def test_the_access_point_is_named_with_its_kind_and_ground(places: Standing) -> None:
    assert places.stand(setup("direct")) == "A-S, handhole, in the footway"
    assert places.stand(setup("clamp", "C", "CB-1")) == "CB-1, cabinet, locked"


def test_a_spot_on_the_surface_is_told_from_the_nearest_structure(places: Standing) -> None:
    assert words(places.stand(setup("induction", "A", None, (20, 0)))) == (
        "on the surface over A, 5 m east of A-M (handhole)"
    )
    assert places.stand(setup("induction", "A", None, (15, 0.2))).endswith(", at A-M (handhole)")


def test_the_side_is_that_of_the_work_area_and_the_way_that_of_the_stretches(places: Standing) -> None:
    # the work area's middle lies at (30, 3): the hook-up west of it, the stretches east of the hook-up
    shapes = gpd.GeoSeries([LineString([(0, 0), (60, 0)])])
    assert places.side(setup("direct"), shapes) == "west side of the work area; trace east"
    both = gpd.GeoSeries([LineString([(-10, 0), (0, 0)]), LineString([(0, 0), (20, 0)])])
    assert places.side(setup("direct"), both).endswith("trace east and west")
    through = gpd.GeoSeries([LineString([(0, -30), (0, 10)])])
    assert places.side(setup("direct"), through).endswith("trace south and north")
    around = gpd.GeoSeries([LineString([(x, y), (2 * x, 2 * y)]) for x, y in ((5, 0), (-5, 0), (0, 5), (0, -5))])
    assert places.side(setup("direct"), around).endswith("trace all ways")
    assert places.side(setup("direct") | {"geometry": None}, shapes) == ""


@pytest.mark.parametrize(
    ("mode", "said"),
    [
        ("direct", "A (telecommunications), and the ground stake"),
        ("clamp", "clamp closed round A (telecommunications), nothing bare"),
        ("induction", "nothing: loop flat above A (telecommunications), along it"),
    ],
)
def test_what_is_connected(places: Standing, mode: str, said: str) -> None:
    assert places.connect(setup(mode)) == said


def test_the_energized_line_in_the_same_handhole_is_never_touched(places: Standing) -> None:
    assert places.never(setup("direct")) == "E (electricity), any other metal"
    assert places.never(setup("clamp")) == "bare conductors, E (electricity), any other metal"
    assert places.never(setup("direct", "C", "CB-1")) == "any other line or metal here"
    assert places.never(setup("induction", "A", None)) == "any metal; open no cover"


def test_where_nothing_is_recorded_the_words_are_the_careful_ones(places: Standing) -> None:
    unknown = setup("direct", "no such line", "no such place")
    assert "any other line or metal" in places.never(unknown)
    assert places.connect(unknown).startswith("no such line")
    assert places.far_end("no such line", 1.0) == ""


def test_the_far_end_is_the_structure_at_which_the_record_ends_the_line(places: Standing) -> None:
    assert places.far_end("A", 0.0) == "A-S (handhole)"
    assert places.far_end("A", 10.0) == "A-S (handhole), 10 m further on"
    assert places.far_end("A", 55.0) == ""  # no access point is recorded there


def test_the_stake_has_distance_and_bearing() -> None:
    assert stake_text({"stake_distance_m": 5.04, "stake_bearing_deg": 17.6}) == "5.0 m at 18°"
    assert stake_text({"stake_distance_m": None, "stake_bearing_deg": None}) == ""
