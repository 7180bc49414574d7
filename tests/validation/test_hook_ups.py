"""Hook-ups against formulas that share nothing with the solver: stakes, leads, metallic loops, loops of any axis."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from corridor.constants import MU_0, TWO_PI
from corridor.tone.assemble import Placement
from corridor.tone.conductors import conductor
from corridor.tone.drive import place, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.electrodes import rod_resistance
from corridor.tone.hookup import HookUp, stake_on_lead
from corridor.tone.model import ToneModel
from tests.builders import make_lines
from tests.tone.wires import EQUIPMENT, SOIL, solved, wires

STAKE, RHO = EQUIPMENT.stake, SOIL.nominal_ohm_m
LENGTH_M = 60.0
LINE: dict[str, Any] = {"line_id": "A", "geometry": [(0, 0), (LENGTH_M, 0)], "conductor_mm2": 6.0,
                        "leakage_s_per_km": 1e-9, "capacitance_nf_per_km": 1e-6}  # fmt: skip
FAR = {"ground_id": "far", "line_id": "A", "geometry": (LENGTH_M, 0), "evidence": "measured", "resistance_ohm": 150.0}
FEED = HookUp("direct", "A", at_m=0.0)


def one_line(*places: tuple[float, float], far_x_m: float = LENGTH_M, **line: Any) -> ToneModel:
    """A line that all but doesn't leak, with a far ground and stakes at places, tied together."""
    names = [f"stake{k}" if k else "stake" for k in range(len(places))]
    placement = Placement(dict(zip(names, places, strict=True)), STAKE, ties=tuple(("stake", n) for n in names[1:]))
    return wires(lines=[LINE | line], bonds=[], grounds=[FAR | {"geometry": (far_x_m, 0)}], placement=placement)


def loop_ohm(model: ToneModel, hookup: HookUp = FEED, *, frequency_hz: float = 50.0) -> complex:
    """What the transmitter sees."""
    case = solved(model, hookup, frequency_hz=frequency_hz)
    volts = case.solution.node_v[:, 0]
    return complex(volts[case.drive.node] - volts[case.drive.return_node])


@pytest.mark.parametrize("apart_m", [0.8, 1.0, 3.0])
def test_two_stakes_are_worth_half_of_one_and_half_of_what_they_share(
    agrees: Callable[..., None], apart_m: float
) -> None:
    # Dwight 1936 (AIEE), two rods at a spacing s above their length (from memory): R = (R1 + R12)/2 with
    # R12 = rho/(2 pi s)(1 - L^2/(3 s^2) + 2 L^4/(5 s^4)). The rest of the circuit is the same in both, but for the far
    # ground's share of potential, rho/(2 pi 60 m) = 0.27 ohm of 180; hence 1 %.
    length = STAKE.length_m
    one = rod_resistance(length, STAKE.diameter_mm / 2000, RHO)
    shared = RHO / (TWO_PI * apart_m) * (1 - length**2 / (3 * apart_m**2) + 2 * length**4 / (5 * apart_m**4))
    got = loop_ohm(one_line((0.0, 5.0))) - loop_ohm(one_line((0.0, 5.0), (0.0, 5.0 + apart_m)))
    agrees("gain", got.real, one - (one + shared) / 2, within=0.01, source="Dwight 1936, two rods", unit="ohm")


def test_more_stakes_draw_less_than_their_number_promises() -> None:
    # common practice: stakes close together share the same soil
    one, two, three = (loop_ohm(one_line(*[(k * 0.6, 5.0) for k in range(n)])).real for n in (1, 2, 3))
    assert one > two > three
    assert one - two > two - three


@pytest.mark.parametrize("near_m", [2.0, 4.0])
def test_a_stake_moved_along_its_lead_away_from_the_far_ground_sees_more_ohms(
    agrees: Callable[..., None], near_m: float
) -> None:
    # two electrodes far apart against their size: R = R1 + R2 - 2 rho/(2 pi d) (textbook, point electrodes); the rods
    # are 0.4 to 0.5 m long, which changes the shared part by L^2/(3 d^2), 2 % at 2 m
    access, first = (0.0, 0.0), (0.0, near_m)
    moved = stake_on_lead(access, first, 30.0)
    ground = {"far_x_m": 0.0}
    got = loop_ohm(one_line(moved, **ground)) - loop_ohm(one_line(first, **ground))
    points = RHO / math.pi * (1 / near_m - 1 / 30.0)
    agrees("gain", got.real, points, within=0.03, source="point electrodes (textbook)", unit="ohm")


def test_a_metallic_loop_sees_the_wire_and_no_earth(agrees: Callable[..., None]) -> None:
    # Rosa 1908 (Bulletin of the Bureau of Standards 4:301, from memory): a straight wire of length l and radius a has
    # mu_0/(2 pi) l (ln(2l/a) - 1) outside its metal; its resistance is rho l/area. The soil takes off
    # mu_0/(4 pi) l^2 (2/3) gamma, small at 500 Hz (low-frequency limit of the kernel). The return lead isn't solved.
    frequency = 500.0
    model = one_line((0.0, 5.0))
    got = loop_ohm(model, replace(FEED, far_end="returned"), frequency_hz=frequency)
    metal = conductor(make_lines([LINE]).iloc[0].to_dict())
    gamma = complex(propagation_constant(RHO, frequency, relative_permittivity=10.0))
    outside = MU_0 / TWO_PI * LENGTH_M * (math.log(2 * LENGTH_M / metal.radius_m) - 1 - LENGTH_M * gamma / 3)
    want = metal.series(frequency) * LENGTH_M + 1j * TWO_PI * frequency * outside
    agrees("loop", got, want, within=0.005, source="Rosa 1908", unit="ohm")
    assert got.real < 1.0 < loop_ohm(model, frequency_hz=frequency).real  # no stake, no far ground


def test_the_return_path_decides_the_neighbours_current() -> None:
    # common practice: a metallic loop puts less through the soil than a stake
    beside = {"line_id": "B", "geometry": [(0, 1), (LENGTH_M, 1)], "utility": "water", "asset": "pipe",
              "material": "steel", "diameter_mm": 100.0}  # fmt: skip
    placement = Placement({"stake": (0.0, 5.0)}, STAKE)
    model = wires(lines=[LINE, beside], bonds=[], grounds=[FAR], placement=placement)
    leaks = [
        np.abs(solved(model, hookup, frequency_hz=1e3).solution.leak_a[model.sections_of("B"), 0]).max()
        for hookup in (FEED, replace(FEED, far_end="returned"))
    ]
    assert leaks[1] < leaks[0]


def emf_v(hookup: HookUp, *, frequency_hz: float = 1e3) -> complex:
    """EMF on the whole of a long line, for one ampere square metre."""
    long = LINE | {"geometry": [(-300, 0), (300, 0)], "depth_m": 1.0}
    model = wires(lines=[long], bonds=[], grounds=[])
    line = make_lines([long]).geometry.iloc[0]
    drive = place(model, hookup, line, stake=None, equipment=EQUIPMENT)
    _, emf = unit_sources(model, [drive], frequency_hz=frequency_hz, gamma_per_m=1e-4 + 1e-4j)
    return complex(emf.sum())


@pytest.mark.parametrize("height_m", [0.0, 0.5, 1.5])
@pytest.mark.parametrize("offset_m", [-1.5, 0.0, 1.0])
@pytest.mark.parametrize("axis", ["across", "along", "vertical"])
def test_a_loop_of_any_axis_drives_what_a_line_would_induce_in_it(
    agrees: Callable[..., None], axis: Any, offset_m: float, height_m: float
) -> None:
    # reciprocity with Ampere's law: a long line's field per ampere is mu_0/(2 pi r^2) times (z across, x upward, 0
    # along), so that a moment of one A m^2 meets omega times that. The ends leave z/300 m out, half a per cent.
    hookup = HookUp("induction", "A", at_m=300.0, height_m=height_m, loop_axis=axis, loop_offset_m=offset_m)
    z = 1.0 + height_m
    part = {"across": z, "along": 0.0, "vertical": abs(offset_m)}[axis]
    unit = TWO_PI * 1e3 * MU_0 / (TWO_PI * (z**2 + offset_m**2))
    bar = max(0.02 * part, 1e-4)
    agrees(
        "EMF over that below", abs(emf_v(hookup)) / unit, part, absolute=True, within=bar, source="reciprocity, Ampere"
    )


# Pollaczek's mutual and self impedance (1926), ohm per metre, 100 ohm m, 1 m deep, 1 m apart and at 0.05 m, by own
# quadrature; the self one is taken down to the wire's radius by mu_0 f ln(0.05/a)
POLLACZEK = {1e3: (0.99704e-3 + 6.699e-3j, 0.99715e-3 + 10.46354e-3j),
             10e3: (10.1653e-3 + 52.29936e-3j, 10.17408e-3 + 89.94382e-3j)}  # fmt: skip


def neighbours_share(hookup: HookUp, frequency_hz: float) -> float:
    """Largest current of the neighbour B over that of the target A: 150 m together, B goes on 40 m to both sides."""
    reach = {"A": (0, 150, 0), "B": (-40, 190, 1)}
    lines = [LINE | {"line_id": k, "geometry": [(a, y), (b, y)], "depth_m": 1.0} for k, (a, b, y) in reach.items()]
    grounds = [
        {"ground_id": f"{k}{x}", "line_id": k, "geometry": (x, y), "evidence": "measured", "resistance_ohm": 20.0}
        for k, (a, b, y) in reach.items() for x in (a, b)
    ]  # fmt: skip
    model = wires(lines=lines, bonds=[], grounds=grounds)
    case = solved(model, hookup, frequency_hz=frequency_hz)
    target, other = (np.abs(case.solution.current_a[model.sections_of(name), 0]).max() for name in ("A", "B"))
    return float(other / target)


@pytest.mark.parametrize("frequency_hz", [1e3, 10e3])
@pytest.mark.parametrize("upright", [True, False], ids=["vertical, over the neighbour", "across, over the target"])
def test_the_neighbours_share_is_that_of_two_coupled_loops(
    agrees: Callable[..., None], upright: bool, frequency_hz: float
) -> None:
    # two loops of impedances Za, Zb, coupled by Zm (circuit theory): Ib/Ia = (e Za - Zm)/(Zb - e Zm), where e is the
    # EMF of the neighbour over the target's: 0 for a vertical loop over it, z^2/(z^2 + 1) for a level one over the
    # target. Impedances per metre of infinite lines are too large for short ones, and grounds 40 m apart share 2 %:
    # hence 15 %. Circuit and solution: 2.5 and 2.8, 14.9 and 15.0, 65.4 and 64.6, 54.2 and 53.3 %.
    metal = conductor(make_lines([LINE]).iloc[0].to_dict())
    mutual, own = POLLACZEK[frequency_hz]
    own += metal.series(frequency_hz) + 1j * MU_0 * frequency_hz * math.log(0.05 / metal.radius_m)
    za, zb, zm = 150 * own + 40, 230 * own + 40, 150 * mutual
    share = 0.0 if upright else 1.4**2 / (1.4**2 + 1)
    expected = abs((share * za - zm) / (zb - share * zm))
    axis: Any = "vertical" if upright else "across"
    hookup = HookUp("induction", "A", at_m=75.0, height_m=0.4, loop_axis=axis, loop_offset_m=float(upright))
    share_found = neighbours_share(hookup, frequency_hz)
    agrees("share", share_found, expected, within=0.15, source="two coupled loops, Pollaczek 1926")
