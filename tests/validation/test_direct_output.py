"""Worked example of a direct connection: ground stake, far ground and the limits of the source."""

import math
from collections.abc import Callable

import pytest

from corridor.tone.sources import LIMITS, direct_output

SOURCE = "own arithmetic with Dwight 1936"
FAR_GROUND_OHM = 20.0


def stake_ohm(resistivity_ohm_m: float) -> float:
    """Stake of 0.4 m and 7 mm radius: Dwight 1936 (AIEE), R = rho/(2 pi L)(ln(4L/a) - 1), from memory."""
    return resistivity_ohm_m / (2.0 * math.pi * 0.4) * (math.log(4.0 * 0.4 / 0.007) - 1.0)


@pytest.mark.parametrize(
    ("resistivity_ohm_m", "max_voltage_v", "loop_ohm", "current_ma", "limit"),
    [
        (10.0, 30.0, 38.0, 364.0, "power"),
        (100.0, 30.0, 196.0, 153.0, "voltage"),
        (100.0, 90.0, 196.0, 160.0, "power"),
        (1000.0, 30.0, 1780.0, 17.0, "voltage"),
        (1000.0, 90.0, 1780.0, 50.0, "voltage"),
    ],
)
def test_worked_example(
    agrees: Callable[..., None],
    resistivity_ohm_m: float,
    max_voltage_v: float,
    loop_ohm: float,
    current_ma: float,
    limit: str,
) -> None:
    # own computation, printed to two or three digits: 5 W and 500 mA at most
    z_in = stake_ohm(resistivity_ohm_m) + FAR_GROUND_OHM
    output = direct_output(z_in, level_a=0.5, max_voltage_v=max_voltage_v, max_current_a=0.5, max_power_w=5.0)
    agrees("loop", z_in, loop_ohm, within=0.015, source=SOURCE, unit="ohm")
    agrees("current", 1000.0 * output.current_a, current_ma, absolute=True, within=0.6, source=SOURCE, unit="mA")
    assert LIMITS[int(output.limited_by)] == limit


def test_dry_ground_lowers_the_current_and_raises_the_voltage() -> None:
    # common practice, at one set of limits
    outputs = [
        direct_output(
            stake_ohm(rho) + FAR_GROUND_OHM, level_a=0.5, max_voltage_v=90.0, max_current_a=0.5, max_power_w=5.0
        )
        for rho in (10.0, 30.0, 100.0, 300.0)
    ]
    currents, voltages = [float(o.current_a) for o in outputs], [float(o.voltage_v) for o in outputs]
    assert currents == sorted(currents, reverse=True)
    assert voltages == sorted(voltages)


def test_wetting_the_stake_beats_three_times_the_voltage() -> None:
    # 1000 ohm m: a third of the stake's resistance against three times the voltage, both limited by voltage
    ways = {"level_a": 0.5, "max_current_a": 0.5, "max_power_w": 50.0}
    wet = direct_output(stake_ohm(1000.0) / 3.5 + FAR_GROUND_OHM, max_voltage_v=30.0, **ways)
    loud = direct_output(stake_ohm(1000.0) + FAR_GROUND_OHM, max_voltage_v=90.0, **ways)
    assert wet.current_a > loud.current_a
