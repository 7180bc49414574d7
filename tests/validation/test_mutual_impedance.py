"""Mutual impedance of grounded wires against full-wave bipoles over a half space and over two layers.

Source of the reference: empymod (Werthmüller 2017, Geophysics 82(6) WB9), by `full_wave`.
"""

import os
from collections.abc import Callable, Iterator

import empymod
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.tone.pairs import mutual_impedance
from tests.validation.full_wave import (
    PERMITTIVITY,
    UPRIGHT,
    Case,
    gap_m,
    level_reference,
    random_pairs,
    reference,
    upright_pairs,
    upright_reference,
)

SOURCE = "empymod (Werthmueller 2017)"
# The reference's filters differ among themselves by 4 % where the coupling is this weak (13 ohm m, 200 kHz, 130 m).
TINY_OHM = 1e-3
SEARCH = os.environ.get("HYPOTHESIS_PROFILE") == "search"


@pytest.fixture(autouse=True)
def _fine_coordinates() -> Iterator[None]:
    # the reference rounds coordinates to its least offset, a millimetre unless told otherwise: up to 8e-3 of a coupling
    empymod.set_minimum(min_off=1e-8)
    yield
    empymod.set_minimum(min_off=1e-3)


def _ours(case: Case) -> NDArray[np.complex128]:
    return np.array(
        [
            mutual_impedance(
                case.wire_a,
                case.wire_b,
                resistivity_ohm_m=case.resistivity_ohm_m,
                frequency_hz=float(frequency),
                relative_permittivity=PERMITTIVITY,
                top_thickness_m=case.top_thickness_m,
                lower_resistivity_ohm_m=case.lower_resistivity_ohm_m,
            )
            for frequency in case.frequencies_hz
        ]
    )


BARS = {5e3: 1e-3, 50e3: 3e-3, 200e3: 1e-2}


@pytest.mark.thorough
def test_random_pairs(agrees: Callable[..., None]) -> None:
    # bars on the worst pair: 1e-3 up to 5 kHz, 3e-3 at 50 kHz, 1e-2 at 200 kHz, near and far, one soil and two layers
    found: dict[float, list[tuple[complex, complex]]] = {limit: [] for limit in BARS}
    differences: list[float] = []
    kinds: dict[tuple[str, bool], int] = {}
    for case, theirs in random_pairs():
        ours = _ours(case)
        if np.abs(theirs).min() < TINY_OHM:
            continue
        kind = (case.kind, case.top_thickness_m is not None)
        kinds[kind] = kinds.get(kind, 0) + 1
        differences.extend(np.abs(ours / theirs - 1.0))
        for frequency, *pair in zip(case.frequencies_hz, ours, theirs, strict=True):
            found[next(limit for limit in BARS if frequency <= limit)].append((pair[0], pair[1]))
    assert sum(kinds.values()) >= 200
    assert min(kinds.values()) >= 30
    assert np.median(differences) <= 1e-4
    for limit, bar in BARS.items():
        one, other = np.array(found[limit]).T
        agrees(f"up to {limit / 1e3:g} kHz, {len(one)} pairs", one, other, within=bar, source=SOURCE, unit="ohm")


def test_some_random_pairs() -> None:
    # one in eleven of those above, of every kind in both soils, under the same bars
    some = random_pairs()[::11]
    assert {case.kind for case, _ in some} == {"parallel", "oblique", "square"}
    assert {case.top_thickness_m is None for case, _ in some} == {True, False}
    for case, theirs in some:
        if np.abs(theirs).min() >= TINY_OHM:
            bars = [next(bar for limit, bar in BARS.items() if f <= limit) for f in case.frequencies_hz]
            assert (np.abs(_ours(case) / theirs - 1.0) <= bars).all()


def test_the_stored_pairs_are_what_the_reference_gives() -> None:
    # one pair in 19, of every kind, near and far; all of them where new examples are searched for. The table has ten
    # digits; 1e-5, a hundredth of the tightest bar, leaves room for another version's filters.
    pairs = random_pairs()
    assert min(gap_m(case) for case, _ in pairs) >= 1.2  # closer ones need too many Gauss points
    live = pairs if SEARCH else pairs[::19]
    assert {case.kind for case, _ in live} == {"parallel", "oblique", "square"}
    assert {case.top_thickness_m is None for case, _ in live} == {True, False}
    for case, stored in live:
        strong = np.abs(stored) >= TINY_OHM
        np.testing.assert_allclose(level_reference(case)[strong], stored[strong], rtol=1e-5)


@pytest.mark.parametrize("pair", UPRIGHT if SEARCH else ["rods", "rod_and_wire", "riser_and_square_wire"])
def test_the_stored_upright_pairs_are_what_the_reference_gives(pair: str) -> None:
    for (name, *_), (case, stored) in upright_pairs().items():
        if name == pair:
            np.testing.assert_allclose(upright_reference(case), stored, rtol=1e-5)


@pytest.mark.parametrize("pair", UPRIGHT)
def test_vertical_and_sloping_pairs(agrees: Callable[..., None], pair: str) -> None:
    # bars: 0.01 ohm + 1e-3 |Z| up to 50 kHz and 0.05 ohm + 1e-3 |Z| at 200 kHz from 100 ohm m on; 0.02 and 0.14 ohm
    # at 10 ohm m: the terms of vertical parts are the low-frequency limit of the spectral solution
    for resistivity, bars in ((10.0, (0.02, 0.14)), (100.0, (0.01, 0.05)), (1000.0, (0.01, 0.05))):
        case, theirs = upright_pairs()[pair, resistivity, None]
        within = np.array(bars) + 1e-3 * np.abs(theirs)
        name = f"{resistivity:g} ohm m"
        agrees(name, _ours(case), theirs, absolute=True, within=within, source=SOURCE, unit="ohm")


@pytest.mark.parametrize("pair", UPRIGHT)
def test_vertical_and_sloping_pairs_in_two_layers(agrees: Callable[..., None], pair: str) -> None:
    # the terms of vertical parts are those of one soil: the bars say what that costs, 1.2 m of 300 over 60 ohm m and
    # the reverse
    for top, lower in ((300.0, 60.0), (60.0, 300.0)):
        case, theirs = upright_pairs()[pair, top, lower]
        name = f"{top:g} over {lower:g} ohm m"
        agrees(name, _ours(case), theirs, absolute=True, within=(1e-3, 0.05, 0.2), source=SOURCE, unit="ohm")


@pytest.mark.parametrize("frequency", [500.0, 200e3])
def test_square_symmetric_pair_is_silent_in_both(frequency: float) -> None:
    # identity: mirror symmetry; both sides are round-off
    case = Case(
        "square",
        np.array([[-5.0, 0.0, 1.0], [5.0, 0.0, 1.0]]),
        np.array([[1e-9, -4.0, 1.4], [0.0, 4.0, 1.4]]),
        100.0,
        np.array([frequency]),
    )
    assert abs(_ours(case)[0]) < 1e-6
    assert abs(reference(case, 30)[0]) < 1e-6
