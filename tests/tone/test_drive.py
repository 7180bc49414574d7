"""Hook-ups placed on a model, and the transmitter's limits."""

import dataclasses
from typing import Any

import numpy as np
import pytest

from corridor.errors import HookUpError
from corridor.tone.drive import place, unit_output, unit_sources
from corridor.tone.hookup import HookUp
from corridor.tone.sources import LIMITS
from tests.builders import make_lines
from tests.tone.wires import EQUIPMENT, LINES, placed, shape_of, solved, wires

MODEL = wires()
MODES = [HookUp(mode, "A", at_m=20.0) for mode in ("direct", "clamp", "induction")]  # type: ignore[arg-type]


def test_a_direct_current_goes_in_at_the_line_and_out_at_the_stake() -> None:
    drive = placed(MODEL)
    injection, emf = unit_sources(MODEL, [drive], frequency_hz=1e3, gamma_per_m=0.001 + 0.001j)
    assert injection[MODEL.node_at("A", 0.0), 0] == 1
    assert injection[MODEL.electrode_node("stake"), 0] == -1
    assert not emf.any()


def test_a_returned_far_end_needs_no_stake() -> None:
    drive = place(
        MODEL, HookUp("direct", "A", at_m=0.0, far_end="returned"), shape_of("A"), stake=None, equipment=EQUIPMENT
    )
    assert drive.return_node == MODEL.node_at("A", 60.0)


def test_a_clamp_drives_the_section_it_sits_on() -> None:
    drive = placed(MODEL, MODES[1])
    injection, emf = unit_sources(MODEL, [drive], frequency_hz=1e3, gamma_per_m=0.001 + 0.001j)
    assert np.flatnonzero(emf[:, 0]).tolist() == [MODEL.section_at("A", 20.0)]
    assert not injection.any()


def test_a_loop_stands_over_the_line_square_to_it() -> None:
    drive = placed(MODEL, MODES[2])
    assert np.add(drive.position_m[:2], MODEL.origin_m) == pytest.approx([20.0, 0.0])
    assert np.abs(drive.axis) == pytest.approx([0.0, 1.0])


def test_what_cannot_be_placed_is_refused() -> None:
    line = shape_of("A")
    with pytest.raises(HookUpError, match="line Z carries no tone"):
        place(MODEL, HookUp("clamp", "Z", at_m=1.0), line, stake=None, equipment=EQUIPMENT)
    with pytest.raises(HookUpError, match="needs a ground stake"):
        place(MODEL, MODES[0], line, stake=None, equipment=EQUIPMENT)
    bare = EQUIPMENT.model_copy(update={"clamp": None, "loop": None})
    for hookup in MODES[1:]:
        with pytest.raises(HookUpError, match=f"has no {hookup.mode}"):
            place(MODEL, hookup, line, stake=None, equipment=bare)


@pytest.mark.parametrize("hookup", MODES, ids=lambda hookup: hookup.mode)
def test_every_mode_gives_some_current_within_the_limits(hookup: HookUp) -> None:
    case = solved(MODEL, hookup)
    output = unit_output(case.solution, [case.drive], frequency_hz=8e3, equipment=EQUIPMENT)
    assert output.available_a[0] > 0
    assert np.isnan(output.loop_ohm[0]) == (hookup.mode == "induction")
    if hookup.mode == "direct":
        source = EQUIPMENT.transmitter
        assert output.available_a[0] <= source.max_current_ma / 1000
        assert output.available_a[0] * abs(output.loop_ohm[0]) <= source.max_voltage_v * (1 + 1e-9)


def test_a_height_of_the_hookup_goes_before_the_equipment_s() -> None:
    assert placed(MODEL, dataclasses.replace(MODES[2], height_m=1.5)).position_m[2] == 1.5


@pytest.mark.parametrize(("axis", "moment"), [("across", (0, 1, 0)), ("along", (1, 0, 0)), ("vertical", (0, 0, 1))])
def test_the_axis_of_a_loop_follows_the_line(axis: Any, moment: tuple[int, int, int]) -> None:
    drive = placed(MODEL, dataclasses.replace(MODES[2], loop_axis=axis, loop_offset_m=0.5))
    assert np.abs([*drive.axis, drive.axis_up]) == pytest.approx(moment)
    assert np.add(drive.position_m[:2], MODEL.origin_m) == pytest.approx([20.0, 0.5])


def test_a_loop_may_stand_on_the_ground_beside_an_electrode() -> None:
    drive = placed(MODEL, dataclasses.replace(MODES[2], height_m=0.0))
    _, emf = unit_sources(MODEL, [drive], frequency_hz=1e4, gamma_per_m=0.001 + 0.001j)
    assert not emf[MODEL.electrode_mask].any()
    assert emf.any()


@pytest.mark.parametrize("hookup", MODES, ids=lambda hookup: hookup.mode)
def test_sources_of_several_hook_ups_stand_side_by_side(hookup: HookUp) -> None:
    drives = [placed(MODEL, one) for one in MODES]
    column = MODES.index(hookup)
    alone = unit_sources(MODEL, [drives[column]], frequency_hz=8e3, gamma_per_m=0.02 + 0.02j)
    together = unit_sources(MODEL, drives, frequency_hz=8e3, gamma_per_m=0.02 + 0.02j)
    for one, all_of_them in zip(alone, together, strict=True):
        assert np.array_equal(one[:, 0], all_of_them[:, column])


def test_a_direct_current_is_the_least_of_the_limits() -> None:
    # Ohm and Joule: the least of V/|Z|, I and sqrt(P/R), each made the tightest in turn
    case = solved(MODEL, MODES[0])
    z = complex(unit_output(case.solution, [case.drive], frequency_hz=8e3, equipment=EQUIPMENT).loop_ohm[0])
    wide = {"max_voltage_v": 1e6, "max_current_ma": 1e9, "max_power_w": 1e9}
    tight = {"voltage": ("max_voltage_v", 12.0, 12.0 / abs(z)), "current": ("max_current_ma", 40.0, 0.04),
             "power": ("max_power_w", 0.5, (0.5 / z.real) ** 0.5)}  # fmt: skip
    for limit, (name, value, current_a) in tight.items():
        source = EQUIPMENT.transmitter.model_copy(update=wide | {name: value})
        equipment = EQUIPMENT.model_copy(update={"transmitter": source})
        output = unit_output(case.solution, [case.drive], frequency_hz=8e3, equipment=equipment)
        assert output.available_a[0] == pytest.approx(current_a, rel=1e-9)
        assert LIMITS[int(output.limited_by[0])] == limit


def test_a_clamp_sees_one_over_the_current_that_a_volt_drives() -> None:
    case = solved(MODEL, MODES[1])
    output = unit_output(case.solution, [case.drive], frequency_hz=8e3, equipment=EQUIPMENT)
    assert output.loop_ohm[0] * output.reference_a[0] == pytest.approx(1.0)
    assert output.reference_a[0] == case.solution.current_a[case.drive.section, 0]


def test_a_loop_of_twice_the_power_drives_root_two_more() -> None:
    # moment m = A sqrt(P Q/(omega l1)): the current goes with the root of the power
    case = solved(MODEL, MODES[2])
    assert EQUIPMENT.loop is not None
    more = EQUIPMENT.loop.model_copy(update={"power_w": 2 * EQUIPMENT.loop.power_w})
    currents = [
        unit_output(case.solution, [case.drive], frequency_hz=8e3, equipment=equipment).available_a[0]
        for equipment in (EQUIPMENT, EQUIPMENT.model_copy(update={"loop": more}))
    ]
    assert currents[1] == pytest.approx(2**0.5 * currents[0])


def test_turning_a_line_round_turns_the_loops_axis() -> None:
    # the moment stands square to the line's own direction, to its left: the current along the line keeps its sense
    lines = [line | {"geometry": line["geometry"][::-1]} if line["line_id"] == "A" else line for line in LINES]
    back = placed_on(wires(lines=lines), lines)
    assert np.array(back.axis) == pytest.approx(-np.array(placed(MODEL, MODES[2]).axis))


def placed_on(model: Any, lines: list[dict[str, Any]]) -> Any:
    shape = make_lines(lines).set_index("line_id").geometry["A"]
    return place(model, dataclasses.replace(MODES[2], at_m=40.0), shape, stake=None, equipment=EQUIPMENT)
