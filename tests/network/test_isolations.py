"""Isolating joints, as a table and at the meetings they part."""

from dataclasses import replace

import pytest
from shapely import Point

from corridor.couplings.segments import sorted_lines
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CrsError, InputError
from corridor.network import isolations
from corridor.network.isolations import joints
from tests.builders import make_site
from tests.network.small import LINES, small_site


def test_the_table_names_line_structure_and_place() -> None:
    found = isolations(small_site())
    assert list(found.columns) == [*RESULT_TABLES["isolations"].names, "geometry"]
    assert list(found["isolation_id"]) == ["G1~V1", "G2~V2"]
    assert list(found["evidence"]) == ["recorded", "recorded"]
    assert [point.equals(Point(x, -5)) for x, point in zip((20, 60), found.geometry, strict=True)] == [True, True]


def test_none_stated_gives_an_empty_table() -> None:
    found = isolations(small_site(terminations=[]))
    assert found.empty
    assert list(found.columns) == [*RESULT_TABLES["isolations"].names, "geometry"]


def test_meetings_tell_which_joint_parts_them() -> None:
    site = small_site()
    lines = sorted_lines(site.lines)
    found = joints(site, lines, snap_m=0.1)
    ids = lines["line_id"]
    told = {(ids[j.line_a], ids[j.line_b]): j.structure_id for j in found.itertuples()}
    assert told == {("E1", "E2"): None, ("E3", "E2"): None, ("G1", "G2"): "V2"}


@pytest.mark.parametrize(("x", "parted"), [(60.0, True), (60.4, True), (61.0, False)])
def test_a_joint_parts_what_meets_within_its_reach(x: float, parted: bool) -> None:
    site = make_site(
        lines=LINES[4:6],
        structures=[{"structure_id": "V", "kind": "valve", "geometry": (x, -5)}],
        terminations=[{"structure_id": "V", "line_id": "G2", "isolated": "yes"}],
    )
    (joint,) = joints(site, sorted_lines(site.lines), snap_m=0.1).itertuples()
    assert (joint.structure_id == "V") == parted


def test_of_two_joints_the_first_by_name_is_told() -> None:
    site = make_site(
        lines=LINES[4:6],
        structures=[{"structure_id": name, "kind": "valve", "geometry": (60, -5)} for name in ("V2", "V1")],
        terminations=[
            {"structure_id": "V2", "line_id": "G2", "isolated": "yes"},
            {"structure_id": "V1", "line_id": "G1", "isolated": "yes"},
        ],
    )
    (joint,) = joints(site, sorted_lines(site.lines), snap_m=0.1).itertuples()
    assert joint.structure_id == "V1"


def test_lines_that_cannot_be_used_are_refused() -> None:
    site = small_site()
    with pytest.raises(CrsError):
        isolations(replace(site, lines=site.lines.to_crs("EPSG:4326")))
    with pytest.raises(InputError):
        isolations(replace(site, lines=site.lines.assign(line_id="x")))
