"""A second reading is asked for only where it tells the two leading causes apart."""

import math

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.causes import rank_causes
from corridor.plan.setups.telling import told_apart_by

FREQUENCIES_HZ = (500.0, 50_000.0)
NAMES = ["contact of the ground stake", "bond X", "depth of A"]
KINDS = ["stake", "bond", "depth"]
DRAWS = 64


def drawn(inductance_h: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Loops whose stake is good or poor, and whose inductance is small or, without the bond, large."""
    rng = np.random.default_rng(2)
    states = np.column_stack([rng.permutation(np.arange(DRAWS) % 4 == 0) for _ in range(2)] + [rng.random(DRAWS) < 0.5])
    poor, opened = states[:, 0], states[:, 1]
    ohm = (30.0 + 60.0 * poor) * rng.lognormal(0.0, 0.02, DRAWS)
    henry = 100e-6 + inductance_h * opened
    loop = [np.hypot(ohm, 2 * math.pi * f * henry) for f in FREQUENCIES_HZ]
    return np.array(loop), states.astype(float)


def asked(inductance_h: float, at: int) -> str | None:
    loop, states = drawn(inductance_h)
    causes = rank_causes(loop[at], states, NAMES, KINDS).high
    first = [cause for cause in causes if cause.name in NAMES[:2]]
    return told_apart_by(loop, states, first, NAMES, frequencies_hz=FREQUENCIES_HZ)


def test_a_poor_stake_and_an_open_bond_are_told_apart_by_two_frequencies() -> None:
    # R and jwL: a stake shows at every frequency, an inductance only high up
    text = asked(400e-6, at=1)
    assert text is not None and "500 and 50000 Hz" in text
    assert "move the stake" in text


def test_nothing_is_asked_where_it_wouldnt_help() -> None:
    loop, states = drawn(400e-6)
    causes = rank_causes(loop[1], states, NAMES, KINDS).high
    assert told_apart_by(loop, states, causes[:1], NAMES, frequencies_hz=FREQUENCIES_HZ) is None
    flat = np.ones_like(loop) * np.random.default_rng(1).lognormal(3.0, 0.5, DRAWS)
    assert told_apart_by(flat, states, causes[:2], NAMES, frequencies_hz=FREQUENCIES_HZ) is None


def test_one_frequency_or_no_loop_asks_for_nothing() -> None:
    loop, states = drawn(400e-6)
    causes = rank_causes(loop[1], states, NAMES, KINDS).high
    assert told_apart_by(loop[:1], states, causes[:2], NAMES, frequencies_hz=FREQUENCIES_HZ[:1]) is None
    assert told_apart_by(loop * np.nan, states, causes[:2], NAMES, frequencies_hz=FREQUENCIES_HZ) is None
