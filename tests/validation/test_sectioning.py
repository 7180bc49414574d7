"""The rule for section lengths on the curve of error against length, judged by exact solutions of infinite wires."""

import numpy as np
import pytest

from corridor.settings import SolverSettings
from tests.validation.infinite_wires import EPSILON_0, InfiniteWire, propagation
from tests.validation.test_infinite_wires import DRIVE_A, GAP_M, bare_pipe, coated_pipe, neighbour, solved

RULE = SolverSettings()
MULTIPLES = (4.0, 2.0, 1.0, 0.5)
# a bare pipe alone, or a leaky coated one with a bare one beside it (leak in S/m): ohm m, Hz
CASES = [
    pytest.param(100.0, 1e3, None, marks=pytest.mark.thorough),
    pytest.param(100.0, 10e3, None, marks=pytest.mark.thorough),
    (100.0, 100e3, None),
    pytest.param(10.0, 1e3, 0.3, marks=pytest.mark.thorough),
    pytest.param(100.0, 10e3, 0.1, marks=pytest.mark.thorough),
    (100.0, 100e3, 0.03),
]


def rule_m(wires: tuple[InfiniteWire, ...], resistivity_ohm_m: float, frequency_hz: float) -> float:
    """Return the length that the settings ask for between ends and bonds of straight lines."""
    omega = 2 * np.pi * frequency_hz
    sigma = 1 / resistivity_ohm_m + 1j * omega * EPSILON_0 * 10
    fastest = max(abs(propagation(wire, omega, sigma)) for wire in wires)
    beside = np.clip(2 * GAP_M, RULE.section_close_m, RULE.section_max_m) if len(wires) > 1 else RULE.section_max_m
    return float(min(beside, RULE.gamma_step / fastest))


@pytest.mark.parametrize(("resistivity_ohm_m", "frequency_hz", "leak_s_per_m"), CASES)
def test_rule_stands_where_the_error_is_small(
    request: pytest.FixtureRequest, resistivity_ohm_m: float, frequency_hz: float, leak_s_per_m: float | None
) -> None:
    # Bars at the rule's length: 0.5 % of the half ampere that goes each way, 1 % of the neighbour's own peak; with
    # sections of twice the length it's at least 2.5 times as far off, unless that is below 0.05 % already
    wires = (bare_pipe(),) if leak_s_per_m is None else (coated_pipe(leak_s_per_m), neighbour())
    length = rule_m(wires, resistivity_ohm_m, frequency_hz)
    target, beside = [], []
    for multiple in MULTIPLES:
        case = solved(wires, resistivity_ohm_m, frequency_hz, decays=7, section_m=multiple * length)
        error = abs(case.current_a - case.exact.current_a).max(axis=1)
        target.append(float(error[0]) / DRIVE_A)
        if leak_s_per_m is not None:
            beside.append(float(error[1] / abs(case.exact.current_a[1]).max()))
    values = {"target": target, "neighbour": beside, "rule_m": length, "multiples": MULTIPLES}
    request.node.user_properties.append(("convergence", values))
    at = MULTIPLES.index(1.0)
    assert target[at] <= 5e-3
    assert target[at - 1] >= min(2.5 * target[at], 5e-4)
    assert not beside or beside[at] <= 0.01
