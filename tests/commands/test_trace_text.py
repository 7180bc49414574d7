"""How a trace reads: caution, hook-up, lines by current, paths hop by hop, what the records miss."""

from types import SimpleNamespace
from typing import Any

from corridor.commands.trace_text import hookup_lines, line_table, path_lines, trace_lines
from corridor.frames import CAUTION, empty_table, table_frame
from tests.builders import METRIC, make_site

SECTIONS = [
    {"section_id": "A:1", "line_id": "A", "current_ma": 50.0, "current_low_ma": 40.0, "current_high_ma": 50.0,
     "share_of_output": 1.0, "grade": "readable", "grade_worst": "readable", "settled": True, "assumed": False},
    {"section_id": "A:2", "line_id": "A", "current_ma": 30.0, "current_low_ma": 10.0, "current_high_ma": 40.0,
     "share_of_output": 0.6, "grade": "readable", "grade_worst": "pulled", "settled": False, "assumed": False},
    {"section_id": "B:1", "line_id": "B", "current_ma": 0.002, "current_low_ma": 0.0, "current_high_ma": 3.0,
     "share_of_output": 0.004, "grade": "faint", "grade_worst": "masked", "settled": False, "assumed": True},
    {"section_id": "C:1", "line_id": "C", "grade": "untraceable", "grade_worst": "untraceable", "settled": True},
]  # fmt: skip
HOPS = [
    {"path_id": "h:B:1", "line_id": "B", "hop": 2, "kind": "bond", "from_line": "A", "to_line": "B", "through": "B-1",
     "current_in_ma": 48.0, "current_out_ma": 3.0, "share_of_line": 1.0, "line_current_ma": 3.0,
     "line_current_low_ma": 1.0, "line_current_high_ma": 5.0, "evidence": "recorded"},
    {"path_id": "h:B:1", "line_id": "B", "hop": 1, "kind": "hook-up", "to_line": "A", "current_in_ma": 50.0,
     "current_out_ma": 50.0, "line_current_ma": 3.0, "line_current_low_ma": 1.0, "line_current_high_ma": 5.0},
]  # fmt: skip


def _trace(**changes: Any) -> Any:
    parts = {
        "sections": table_frame("sections", SECTIONS, crs=METRIC),
        "bleed_paths": table_frame("bleed_paths", HOPS, crs=METRIC),
        "current_ma": 50.0,
        "voltage_v": 12.0,
        "loop_ohm": 240.0,
        "limited_by": "voltage",
        "notes": ("network reaches 80 m",),
        "hookup": {"hookup_id": "direct:A:V-1", "ready": "not_ready", "missing": "whether A is energized"},
    }
    return SimpleNamespace(**(parts | changes))


def test_a_line_shows_its_strongest_section_and_its_worst_grade() -> None:
    rows = line_table(_trace().sections)
    assert [row[0] for row in rows] == ["A", "B", "C"]
    assert rows[0][1:] == (50.0, 40.0, 50.0, "100 %", "readable", "pulled", "unsettled")
    assert rows[1][4:] == ("<1 %", "faint", "masked", "unsettled (assumed)")
    assert rows[2][4:] == ("", "untraceable", "untraceable", "")


def test_caution_first_then_readiness_then_figures() -> None:
    lines = trace_lines(_trace(), make_site(lines=[{"line_id": "A", "geometry": [(0, 0), (9, 0)]}]))
    assert lines[0] == CAUTION
    assert lines[1] == "Hook-up direct:A:V-1: NOT READY: whether A is energized"
    assert lines[2] == "Output: 50.0 mA on the target, 12.0 V, 240 ohm; the voltage limit sets it"
    assert lines[-1] == "Note: network reaches 80 m"


def test_paths_are_told_hop_by_hop() -> None:
    lines = path_lines(_trace().bleed_paths)
    assert lines[0] == "Bleed paths:"
    assert lines[1] == "  B: 3.00 mA (1.00 to 5.00), +100% of it this way"
    assert lines[2] == "    1. hook-up: on to A, 50.0 mA in, 50.0 mA out"
    assert lines[3] == "    2. bond: A to B through B-1 (recorded), 48.0 mA in, 3.00 mA out"


def test_no_paths_is_told() -> None:
    assert path_lines(empty_table("bleed_paths", METRIC)) == ["Bleed paths: no line carries more than the threshold"]


def test_much_is_cut_unless_verbose() -> None:
    many = [dict(SECTIONS[0], section_id=f"L{i}", line_id=f"L{i:02d}") for i in range(30)]
    paths = [dict(HOPS[0], path_id=f"h:{i:02d}") for i in range(20)]
    trace = _trace(
        sections=table_frame("sections", many, crs=METRIC), bleed_paths=table_frame("bleed_paths", paths, crs=METRIC)
    )
    site = make_site(lines=[{"line_id": "A", "geometry": [(0, 0), (9, 0)]}])
    assert any("and 10 more lines" in line for line in trace_lines(trace, site))
    assert any("and 8 more paths" in line for line in trace_lines(trace, site))
    assert not any("more" in line for line in trace_lines(trace, site, verbose=True))


def test_the_list_of_hookups_says_why_not() -> None:
    rows = [
        {"hookup_id": "clamp:A:M-1", "ready": "ready"},
        {"hookup_id": "direct:E:T-1", "ready": "refused", "missing": "energized"},
    ]
    lines = hookup_lines(table_frame("hookups", rows, crs=METRIC))
    assert lines[0] == CAUTION
    assert "READY" in lines[2]
    assert lines[3].split() == ["direct:E:T-1", "REFUSED", "energized"]
    assert hookup_lines(empty_table("hookups", METRIC))[-1] == "no hook-ups"
