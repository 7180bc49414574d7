"""How a trace reads: caution, hook-up, lines by current, paths hop by hop, what the records miss."""

from types import SimpleNamespace
from typing import Any

import pytest

from corridor.commands.trace_text import hookup_lines, line_table, path_lines, trace_lines
from corridor.frames import CAUTION, empty_table, table_frame
from corridor.settings import load_equipment
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

SITE = make_site(lines=[{"line_id": "A", "geometry": [(0, 0), (9, 0)]}])
EQUIPMENT = load_equipment(None)


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
    lines = trace_lines(_trace(), SITE, EQUIPMENT)
    assert lines[0] == CAUTION
    assert lines[1] == "Hook-up direct:A:V-1: NOT READY: whether A is energized"
    assert lines[2] == "Output: 50.0 mA on the target, 12.0 V, 240 ohm; the voltage limit sets it"
    assert lines[3] == "Equipment: generic equipment (standard_output)"
    assert lines[-1] == "Note: network reaches 80 m"


def test_paths_are_told_hop_by_hop() -> None:
    lines = path_lines(_trace().bleed_paths)
    assert lines[0] == "Bleed paths:"
    assert lines[1] == "  B: 3.00 mA (1.00 to 5.00), +100% of it this way"
    assert lines[2] == "    1. tone applied to A: 50.0 mA in, 50.0 mA out"
    assert lines[3] == "    2. over bond B-1 (recorded) from A to B: 48.0 mA in, 3.00 mA out"


@pytest.mark.parametrize(
    ("hop", "told"),
    [
        ({"kind": "hook-up", "to_line": "A", "through": "clamp"}, "1. tone applied to A (clamp): "),
        (
            {"kind": "hook-up", "to_line": "B", "through": "ground stake"},
            "1. from the ground stake across the soil to B",
        ),
        (
            {"kind": "leakage", "to_line": "B", "through": "ground stake"},
            "1. through the soil from the ground stake to B",
        ),
        ({"kind": "leakage", "from_line": "A", "to_line": "B"}, "1. through the soil from A to B: "),
        (
            {"kind": "conduction", "from_line": "W:2", "to_line": "W-1", "through": "junction:W-1@0.000:W:2@80.000"},
            "1. along W:2 to W-1 where they join (80.0 m / 0.0 m): ",
        ),
        ({"kind": "conduction", "from_line": "A", "to_line": "B"}, "1. along A to B where they join: "),
        (
            {"kind": "parallel run", "from_line": "B", "to_line": "A", "through": "A~B~1"},
            "1. from B to A, which runs beside it (A~B~1): ",
        ),
        (
            {"kind": "parallel run", "from_line": "B", "to_line": "A"},
            "1. from B to A, which runs beside it (farther apart than a parallel run counts): ",
        ),
        (
            {"kind": "crossing", "from_line": "B", "to_line": "A", "through": "A~B~1"},
            "1. from B to A where they cross (A~",
        ),
        ({"kind": "mast", "from_line": "B", "to_line": "A", "through": "M"}, "1. from B to A (M): "),
        ({"to_line": "A", "through": "further ways, each under 5 %"}, "the rest in further ways, each under 5 %"),
    ],
)
def test_hops_are_told_as_a_technician_says_them(hop: dict[str, Any], told: str) -> None:
    rows = [{"path_id": "p", "line_id": hop["to_line"], "hop": 1} | hop]
    lines = path_lines(table_frame("bleed_paths", rows, crs=METRIC))
    text = " ".join(" ".join(lines[2:]).split())
    assert text.startswith(told)
    for word in ("None", "nan", "junction:", "on to"):
        assert word not in text


def test_the_table_says_that_current_and_grade_are_not_of_one_place() -> None:
    lines = trace_lines(_trace(), SITE, EQUIPMENT)
    text = " ".join(" ".join(lines).split())
    assert "Currents: where each line carries most. Grades: the worst anywhere along it" in text
    assert "grade, all cases" in next(line for line in lines if line.startswith("line "))


@pytest.mark.parametrize(("mode", "base"), [("direct", "of the output"), ("clamp", "of the target's current")])
def test_a_share_says_of_what_it_is(mode: str, base: str) -> None:
    sections = table_frame("sections", [dict(SECTIONS[0], share_of_output=65.04)], crs=METRIC)
    trace = _trace(sections=sections, hookup={"hookup_id": "h", "ready": "ready", "mode": mode})
    lines = trace_lines(trace, SITE, EQUIPMENT)
    assert any(base in line for line in lines)
    assert any("65 times" in line for line in lines)


def test_a_line_that_tone_cant_show_is_not_called_unsettled() -> None:
    sections = table_frame("sections", [dict(SECTIONS[3], settled=None)], crs=METRIC)
    assert line_table(sections)[0][-1] == ""


def test_no_paths_is_told() -> None:
    assert path_lines(empty_table("bleed_paths", METRIC)) == ["Bleed paths: no line carries more than the threshold"]


def test_much_is_cut_unless_verbose() -> None:
    many = [dict(SECTIONS[0], section_id=f"L{i}", line_id=f"L{i:02d}") for i in range(30)]
    paths = [dict(HOPS[0], path_id=f"h:{i:02d}") for i in range(20)]
    trace = _trace(
        sections=table_frame("sections", many, crs=METRIC), bleed_paths=table_frame("bleed_paths", paths, crs=METRIC)
    )
    assert any("and 10 more lines" in line for line in trace_lines(trace, SITE, EQUIPMENT))
    assert any("and 8 more paths" in line for line in trace_lines(trace, SITE, EQUIPMENT))
    assert not any("more" in line for line in trace_lines(trace, SITE, EQUIPMENT, verbose=True))


def test_the_list_of_hookups_says_why_not() -> None:
    rows = [
        {"hookup_id": "clamp:A:M-1", "ready": "ready"},
        {"hookup_id": "direct:E:T-1", "ready": "refused", "missing": "energized"},
    ]
    lines = hookup_lines(table_frame("hookups", rows, crs=METRIC), EQUIPMENT)
    assert lines[:2] == [CAUTION, "Equipment: generic equipment (standard_output)"]
    assert "READY" in lines[3]
    assert lines[4].split() == ["direct:E:T-1", "REFUSED", "energized"]
    assert hookup_lines(empty_table("hookups", METRIC), EQUIPMENT)[-1] == "no hook-ups"


def test_a_line_of_thousands_of_kilometres_fills_no_terminal() -> None:
    # one bad coordinate makes such a line
    many = [
        {"hookup_id": f"induction:A@{k}", "line_id": "A", "mode": "induction", "ready": "ready"} for k in range(5000)
    ]
    few = [{"hookup_id": "induction:B@0", "line_id": "B", "mode": "induction", "ready": "ready"}]
    table = table_frame("hookups", [*many, *few], crs=METRIC)
    lines = hookup_lines(table, EQUIPMENT)
    assert len(lines) == 3 + 200 + 1 + 1
    assert lines[-2].split()[0] == "induction:B@0"
    assert lines[-1].startswith("A, induction: 4800 more along it")
    assert len(hookup_lines(table, EQUIPMENT, verbose=True)) == 3 + 5001
