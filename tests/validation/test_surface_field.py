"""Magnetic field above a buried grounded wire within three metres of it, against empymod over soils and frequencies."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from corridor.tone.eddy_fields import eddy_matrices
from corridor.tone.field import field_matrices
from tests.validation import test_receiver as receiver

SOURCE = "empymod, full wave (Werthmueller 2017, Geophysics 82(6) WB9)"
OFFSETS_M = np.array([-3.0, -2.0, -1.0, -0.4, 0.3, 0.7, 1.5, 2.4, 3.0])
CASES = [(rho, f) for rho in (20.0, 50.0, 100.0, 200.0, 500.0) for f in (500.0, 5e3, 30e3, 100e3)]


@pytest.mark.parametrize(("resistivity_ohm_m", "frequency_hz"), CASES)
def test_field_near_the_line(
    agrees: Callable[..., None], monkeypatch: Any, resistivity_ohm_m: float, frequency_hz: float
) -> None:
    # 20 m of wire at 1 m, 1 A, four profiles from 1 m beyond one tip to 3 m before the other; horizontal and vertical
    # component each against the size of the field at its place. Bars: 0.3 % at 500 Hz, else 2 %
    monkeypatch.setattr(receiver, "OFFSETS_M", OFFSETS_M)
    points, axis = receiver.scene()
    theirs = receiver.empymod_field_t(resistivity_ohm_m, frequency_hz)
    gamma = receiver.gamma_per_m(resistivity_ohm_m, frequency_hz)
    ours = receiver.of_grounded_wire(field_matrices(points, *receiver.wire(), axis=axis))
    ours = ours + receiver.of_grounded_wire(eddy_matrices(points, *receiver.wire(), axis=axis, gamma_per_m=gamma))
    size = np.linalg.norm(theirs, axis=0)
    bar = 3e-3 if frequency_hz <= 500.0 else 2e-2
    for name, one, other in zip(("horizontal field", "vertical field"), ours, theirs, strict=True):
        agrees(name, one * 1e9, other * 1e9, of=size * 1e9, within=bar, source=SOURCE, unit="nT")
