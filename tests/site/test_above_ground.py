"""Lines that aren't in the ground are told, each of them."""

from pathlib import Path

from corridor.site import read_site
from corridor.site.above_ground import tell_above_ground
from corridor.site.findings import Findings
from tests.site.records import CRS, labelled, line, write


def test_each_line_above_ground_is_told_and_kept(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        lines=[
            line("L-1", (0, 0), (50, 0), vertical_position="underground"),
            line("L-2", (0, 5), (50, 5), vertical_position="overhead"),
            line("L-3", (0, 9), (50, 9), vertical_position="onGroundSurface"),
            line("L-4", (0, 13), (50, 13)),
        ],
    )
    site = read_site(path)
    told = site.findings[site.findings["code"] == "above_ground"].set_index("line_id")["message"]
    assert sorted(told.index) == ["L-2", "L-3"]
    assert told["L-2"].startswith("lies in the air")
    assert told["L-3"].startswith("lies on the surface")
    assert sorted(site.lines["line_id"]) == ["L-1", "L-2", "L-3", "L-4"]


def test_records_that_do_not_say_are_not_told() -> None:
    findings = Findings()
    tell_above_ground(
        labelled([line("L-1", (0, 0), (50, 0))]).drop(columns="vertical_position", errors="ignore"), findings
    )
    assert findings.frame(CRS).empty
