"""Set-ups as the readings need them."""

import pandas as pd
import pytest

from corridor.errors import InputError
from corridor.readings import PlanTables
from corridor.readings.plan import set_ups_of
from tests.readings.small import EQUIPMENT, FREQUENCY_HZ, SETTINGS, small_plan

PLAN = small_plan()


def changed(**columns: object) -> PlanTables:
    return PlanTables(PLAN.setups.assign(**columns), PLAN.hookups, SETTINGS, EQUIPMENT)


def test_a_sweep_has_no_tone_and_a_set_up_its_hook_up() -> None:
    found = set_ups_of(PLAN)
    assert found["S0"] is None
    setup = found["S1"]
    assert setup is not None
    assert (setup.frequency_hz, setup.level_ma) == (FREQUENCY_HZ, 50.0)
    assert (setup.hookup.line_id, setup.hookup.mode, setup.hookup.at_m) == ("A", "direct", 0.0)
    assert setup.hookup.stake_xy == (-2.0, -4.0)


def test_a_stake_of_the_set_up_goes_before_the_hook_ups() -> None:
    setup = set_ups_of(changed(stake_x_m=[float("nan"), -3.0], stake_y_m=[float("nan"), 5.0]))["S1"]
    assert setup is not None
    assert setup.hookup.stake_xy == (-3.0, 5.0)


def test_a_set_up_without_its_hook_up_is_refused() -> None:
    with pytest.raises(InputError, match="set-up S1: the plan's hook-ups have no 'gone'"):
        set_ups_of(changed(hookup_id=[None, "gone"]))


def test_a_table_without_what_is_needed_is_refused() -> None:
    broken = PlanTables(pd.DataFrame({"setup_id": ["S1"]}), PLAN.hookups, SETTINGS, EQUIPMENT)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="'hookup_id' is missing"):
        set_ups_of(broken)
