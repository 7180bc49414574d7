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
    assert list(found["joint"]) == ["isolating_joint", "isolating_joint"]
    assert list(found["line_id"]) == ["G1", "G2"]
    assert list(found["structure_id"]) == ["V1", "V2"]
    assert list(found["at_m"]) == [20.0, 0.0]
    assert list(found["parts_from"]) == ["G1", "G1"]  # V1 parts G1 itself, V2 parts G2 from G1
    assert list(found["evidence"]) == ["recorded", "recorded"]
    assert found["bridged"].isna().all()
    assert [point.equals(Point(x, -5)) for x, point in zip((20, 60), found.geometry, strict=True)] == [True, True]


def test_none_stated_gives_an_empty_table() -> None:
    found = isolations(small_site(terminations=[]))
    assert found.empty
    assert list(found.columns) == [*RESULT_TABLES["isolations"].names, "geometry"]


@pytest.mark.parametrize(
    ("source", "evidence"), [("given", "recorded"), ("mapped", "recorded"), ("default", "inferred")]
)
def test_a_line_of_insulated_joints_is_told_as_a_whole(source: str, evidence: str) -> None:
    pipe = {"line_id": "W1", "utility": "water", "asset": "pipe", "material": "ductile_iron", "joints": "insulated",
            "joints_src": source, "geometry": [(0, 0), (80, 0)]}  # fmt: skip
    (row,) = isolations(make_site(lines=[pipe, pipe | {"line_id": "W2", "conductive": "no"}])).itertuples()
    assert (row.isolation_id, row.joint, row.line_id, row.structure_id) == ("W1~joints", "insulated_joints", "W1", None)
    assert (row.parts_from, row.evidence, row.at_m) == ("W1", evidence, 40.0)
    assert row.geometry.equals(Point(40, 0))


def test_a_joint_at_the_end_of_metal_parts_from_nothing() -> None:
    site = make_site(
        lines=[LINES[4]],
        structures=[{"structure_id": "V", "kind": "building_entry", "geometry": (60, -5)}],
        terminations=[{"structure_id": "V", "line_id": "G1", "at": "end", "isolated": "yes"}],
    )
    (row,) = isolations(site).itertuples()
    assert (row.at_m, row.parts_from) == (60.0, None)


def test_a_joint_parts_a_line_from_all_that_meet_it() -> None:
    pipes = [LINES[4], LINES[5], {**LINES[5], "line_id": "G3", "geometry": [(60, -5), (60, 30)]}]
    site = make_site(
        lines=pipes,
        structures=[{"structure_id": "V", "kind": "valve", "geometry": (60, -5)}],
        terminations=[{"structure_id": "V", "line_id": "G1", "at": "end", "isolated": "yes"}],
    )
    (row,) = isolations(site).itertuples()
    assert row.parts_from == "G2 G3"


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
