"""Which stated voltages keep lines apart."""

import numpy as np
import pandas as pd
import pytest

from corridor.site.voltages import stated_volts, volts_apart


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        (400.0, 20_000.0, True),
        (10_000.0, 110_000.0, True),
        (230.0, 400.0, False),  # IEC 60038 (from memory): one system, to neutral and between phases
        (120.0, 240.0, False),  # the same, three-wire single phase
        (277.0, 480.0, False),
        (400.0, 400.0, False),
        (400.0, np.nan, False),
        (np.nan, np.nan, False),
    ],
)
def test_voltages_of_two_networks_are_apart(one: float, other: float, apart: bool) -> None:
    for pair in ((one, other), (other, one)):
        assert volts_apart(np.array(pair[:1]), np.array(pair[1:])).tolist() == [apart]


def test_voltages_as_stated() -> None:
    lines = pd.DataFrame({"nominal_voltage_v": [400.0, None, 0.0]})
    assert np.array_equal(stated_volts(lines), [400.0, np.nan, np.nan], equal_nan=True)
    assert np.isnan(stated_volts(lines.drop(columns="nominal_voltage_v"))).all()


def test_no_lines_state_no_voltage() -> None:
    volts = stated_volts(pd.DataFrame({"nominal_voltage_v": []}))
    assert volts.shape == (0,)
    assert volts_apart(volts, volts).shape == (0,)
