"""Where lines end: held, cut by the extract, or nobody knows."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point, affinity, box

from corridor.frames import empty_table
from corridor.settings import SiteSettings
from corridor.site import read_site
from corridor.site.ends import line_ends, tell_ends
from corridor.site.findings import FEATURE, Findings
from tests.site.records import CRS, X, Y, course, frame, labelled, line, read, write

SETTINGS = SiteSettings()
NO_STRUCTURES = empty_table("structures", CRS)
NO_GROUNDS = empty_table("grounds", CRS)
NO_TERMINATIONS = pd.DataFrame({"structure_id": [], "line_id": [], "at": []}, dtype=object)
FAR = [  # the layer's corners
    line("FAR-1", (-500, -500), (-500, 500), utility="gas"),
    line("FAR-2", (500, 500), (500, -500), utility="gas"),
]


def states(
    rows: Sequence[dict[str, Any]],
    *,
    structures: gpd.GeoDataFrame = NO_STRUCTURES,
    terminations: pd.DataFrame = NO_TERMINATIONS,
    grounds: gpd.GeoDataFrame = NO_GROUNDS,
) -> dict[tuple[str, str], str]:
    lines = labelled([{"status": "in_service", **row} for row in rows])
    ends = line_ends(lines, structures, terminations, grounds, settings=SETTINGS)
    assert list(ends.columns) == ["line_id", "at", "state", "geometry"]
    return {(row.line_id, row.at): row.state for row in ends.itertuples()}


def test_a_loose_end_inside_its_layer_is_unknown() -> None:
    found = states([line("A", (0, 0), (40, 0)), *FAR])
    assert found["A", "start"] == found["A", "end"] == "unknown"


def test_an_end_at_another_line_of_its_utility_is_held() -> None:
    found = states([line("A", (0, 0), (40, 0)), line("B", (40, -20), (40, 20)), line("C", (0, 0.05), (0, 9)), *FAR])
    assert found["A", "end"] == "held"  # a tee
    assert found["A", "start"] == found["C", "start"] == "held"  # ends within snap_m
    assert found["B", "start"] == found["C", "end"] == "unknown"


@pytest.mark.parametrize(("utility", "state"), [("gas", "unknown"), ("unknown", "held")])
def test_a_line_of_another_utility_holds_nothing(utility: str, state: str) -> None:
    found = states([line("A", (0, 0), (40, 0)), line("B", (40, -20), (40, 20), utility=utility), *FAR])
    assert found["A", "end"] == state


def test_a_ring_holds_itself_and_lines_that_are_not_there_hold_nothing() -> None:
    ring = line("R", (0, 0), (9, 0), (9, 9), (0, 0))
    found = states([ring, line("A", (20, 0), (40, 0)), line("P", (40, 0), (60, 0), status="proposed"), *FAR])
    assert found["R", "start"] == found["R", "end"] == "held"
    assert found["A", "end"] == "unknown"
    assert ("P", "end") not in found


def test_structures_hold_the_lines_that_terminate_there_and_no_others() -> None:
    structures = frame([{"structure_id": "S", "geometry": Point(X, Y + 0.4)}])
    terminations = pd.DataFrame({"structure_id": ["S", "gone"], "line_id": ["A", "A"], "at": ["through", "through"]})
    rows = [line("A", (0, 0), (40, 0)), line("E", (0, 0.2), (-9, 0.2), utility="electricity"), *FAR]
    found = states(rows, structures=structures, terminations=terminations)
    assert found["A", "start"] == "held"
    assert found["A", "end"] == found["E", "start"] == "unknown"


def test_a_recorded_termination_holds_the_end_that_it_names() -> None:
    terminations = pd.DataFrame({"structure_id": ["S"], "line_id": ["A"], "at": ["end"]})
    found = states([line("A", (0, 0), (40, 0)), *FAR], terminations=terminations)
    assert (found["A", "start"], found["A", "end"]) == ("unknown", "held")


def test_a_ground_holds_its_own_line() -> None:
    grounds = frame([{"line_id": "A", "geometry": Point(X + 40, Y + 0.3)}])
    found = states([line("A", (0, 0), (40, 0)), line("B", (40, 0.5), (80, 0.5)), *FAR], grounds=grounds)
    assert (found["A", "end"], found["B", "start"]) == ("held", "unknown")


def test_ends_that_leave_through_the_edge_of_their_layer_are_cut_there() -> None:
    rows = [line("A", (0, 0), (500, 0)), line("B", (0, -500), (40, -500)), *FAR]
    found = states(rows)
    assert found["A", "end"] == "edge"
    # B runs along the southern edge and leaves through no side there
    assert found["B", "start"] == found["B", "end"] == "unknown"


def test_layers_have_edges_of_their_own() -> None:
    lines = labelled([line("A", (0, 0), (40, 0), status="in_service"), *({**row, "status": None} for row in FAR)])
    lines[FEATURE[0]] = ["water.gpkg:mains", "gas.gpkg:mains", "gas.gpkg:mains"]
    ends = line_ends(lines, NO_STRUCTURES, NO_TERMINATIONS, NO_GROUNDS, settings=SETTINGS)
    assert list(ends["state"][:2]) == ["edge", "edge"]


def test_without_a_layer_nothing_is_called_cut() -> None:
    lines = labelled([line("A", (0, 0), (40, 0), status="in_service")]).drop(columns=list(FEATURE))
    ends = line_ends(lines, NO_STRUCTURES, NO_TERMINATIONS, NO_GROUNDS, settings=SETTINGS)
    assert list(ends["state"]) == ["unknown", "unknown"]


def _clipped(angle_deg: float, lines: int = 4) -> list[dict[str, Any]]:
    """Mains of uneven length, cut off by one side of a turned square; the layer reaches further elsewhere."""
    rng = np.random.default_rng(5)
    square = affinity.rotate(box(-60, -60, 60, 60), angle_deg, origin=(0, 0))
    rows = []
    for number in range(lines):
        y = -12.0 + 7.3 * number
        whole = LineString([(-30.0 - rng.uniform(0, 20), y), (100, y + rng.uniform(-3, 3))])
        rows.append(line(f"W-{number}", *whole.intersection(square).coords))
    return [*rows, *FAR]


@pytest.mark.parametrize("angle_deg", [-25.0, -9.0, 12.0, 33.0])
def test_several_ends_on_one_straight_line_are_cut(angle_deg: float) -> None:
    found = states(_clipped(angle_deg))
    assert [found[f"W-{n}", "end"] for n in range(4)] == ["cut"] * 4
    assert [found[f"W-{n}", "start"] for n in range(4)] == ["unknown"] * 4


def test_coordinates_rounded_to_centimetres_still_show_the_cut() -> None:
    rows = _clipped(12.0, lines=6)
    for row in rows[:6]:
        row["geometry"] = LineString(np.round(row["geometry"].coords, 2))
    assert {states(rows)[f"W-{n}", "end"] for n in range(6)} == {"cut"}


def test_two_ends_are_no_cut_and_three_only_where_they_are_exact() -> None:
    assert {states(_clipped(12.0, lines=2))[f"W-{n}", "end"] for n in range(2)} == {"unknown"}
    rows = _clipped(12.0, lines=3)
    assert {states(rows)[f"W-{n}", "end"] for n in range(3)} == {"cut"}
    tips = np.array(rows[1]["geometry"].coords)
    tips[-1] += 0.03 * np.array([np.cos(np.radians(12)), np.sin(np.radians(12))])
    rows[1]["geometry"] = LineString(tips)
    assert {states(rows)[f"W-{n}", "end"] for n in range(3)} == {"unknown"}


def test_a_line_that_goes_on_beyond_makes_it_no_cut() -> None:
    rows = _clipped(12.0, lines=4)
    through = course((-30, -1), (140, -1))
    found = states([*rows, line("ON", *[(x - X, y - Y) for x, y in through.coords])])
    assert {found[f"W-{n}", "end"] for n in range(4)} == {"unknown"}  # two on either side of the line that goes on


def test_ends_that_leave_to_both_sides_are_no_cut() -> None:
    """Lines that meet at a street's axis from both sides end on one straight line, and go on as each other."""
    rows = [line(f"L-{n}", (-40, 3.0 * n), (0, 3.0 * n)) for n in range(2)]
    rows += [line(f"R-{n}", (40, 3.0 * n + 1.2), (0, 3.0 * n + 1.2)) for n in range(2)]
    found = states([*rows, *FAR])
    assert {state for (name, at), state in found.items() if at == "end" and name[0] in "LR"} == {"unknown"}


def test_findings_stand_at_the_ends_of_what_may_conduct() -> None:
    lines = labelled([line("A", (0, 0), (500, 0), status="in_service", conductive="yes", owner="Slate Water"),
                      line("B", (0, 9), (500, 9), status="in_service", conductive="no"),
                      *({**row, "conductive": "no"} for row in FAR)])  # fmt: skip
    ends = line_ends(lines, NO_STRUCTURES, NO_TERMINATIONS, NO_GROUNDS, settings=SETTINGS)
    findings = Findings()
    tell_ends(lines, ends, findings)
    table = findings.frame(CRS)
    assert list(zip(table["code"], table["line_id"], strict=True)) == [("end_cut", "A"), ("end_unknown", "A")]
    assert [shape.coords[0] for shape in table.geometry] == [(X + 500, Y), (X, Y)]
    assert table["owner"].tolist() == ["Slate Water"] * 2
    assert "the end lies on the edge" in table["message"][0]
    assert "solved as going on and as ending" in table["action"][0]


def test_the_order_of_the_records_does_not_matter(tmp_path: Path) -> None:
    rows = _clipped(12.0)
    forward, back = read(tmp_path, lines=rows), read_site(write(tmp_path, name="back.gpkg", lines=rows[::-1]))
    told = [
        set(zip(s.findings["code"], s.findings["line_id"], s.findings["message"], strict=True)) for s in (forward, back)
    ]
    assert {row for row in told[0] if row[0].startswith("end_")} == {
        row for row in told[1] if row[0].startswith("end_")
    }


def test_no_lines_have_no_ends() -> None:
    none = labelled([line("A", status="removed")])
    assert line_ends(none, NO_STRUCTURES, NO_TERMINATIONS, NO_GROUNDS, settings=SETTINGS).empty


def test_an_end_told_as_a_near_miss_is_told_once(tmp_path: Path) -> None:
    far = [{**row, "conductive": "no"} for row in FAR]
    site = read(tmp_path, lines=[line("A", (0, -30), (0, 30)), line("B", (0.5, 0), (40, 0)), *far])
    told = site.findings[site.findings["line_id"].eq("B") & site.findings["severity"].ne("note")]
    ends = told[told["code"].isin(["near_miss", "end_unknown"])]
    assert list(zip(ends["code"], ends.geometry.x - X, strict=True)) == [("near_miss", 0.5), ("end_unknown", 40.0)]
