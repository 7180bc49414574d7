"""Hook-ups placed on a model, and the transmitter's limits."""

import dataclasses
from typing import Any

import numpy as np
import pytest

from corridor.errors import HookUpError
from corridor.tone.drive import place, unit_output, unit_sources
from corridor.tone.hookup import HookUp
from tests.tone.wires import EQUIPMENT, placed, shape_of, solved, wires

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
