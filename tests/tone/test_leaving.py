"""What goes on where the network was cut."""

from typing import Any

import numpy as np
import pytest

from corridor import find_bonds
from corridor.network.build import build_network
from corridor.tone.assemble import Placement, build_model
from corridor.tone.cases import CASES
from corridor.tone.drive import place
from corridor.tone.hookup import HookUp
from corridor.tone.leaving import TAIL, leaving_share, share_of_solution, with_tails
from corridor.tone.model import ToneModel
from corridor.tone.solve import solve_tone
from tests.builders import make_site
from tests.plan.conftest import CABLE
from tests.tone.wires import COARSE, EQUIPMENT, SOIL

FREQUENCY_HZ = 100e3
FEED = HookUp("direct", "A", at_m=0.0)
STAKE = Placement({"stake": (-1.0, 5.0)}, EQUIPMENT.stake)


def model(length_m: float, *, cut: bool) -> ToneModel:
    """A jacketed cable, cut at its far end or not."""
    site = make_site(lines=[CABLE | {"line_id": "A", "geometry": [(0, 0), (length_m, 0)]}])
    network = build_network(site, find_bonds(site))
    ends = [name for name in network.nodes["node_id"] if not name.endswith("@0.000")] if cut else []
    tailed = with_tails(network, ends, site.lines, frequency_hz=FREQUENCY_HZ, soil=SOIL)
    return build_model(tailed, site.lines, frequency_max_hz=FREQUENCY_HZ, soil=SOIL, settings=COARSE, placement=STAKE)


def drive_on(built: ToneModel, length_m: float) -> object:
    site = make_site(lines=[CABLE | {"line_id": "A", "geometry": [(0, 0), (length_m, 0)]}])
    return place(built, FEED, site.lines.geometry.iloc[0], stake="stake", equipment=EQUIPMENT)


def current_a(length_m: float, *, cut: bool) -> np.ndarray:
    built = model(length_m, cut=cut)
    solution = solve_tone(
        built,
        [drive_on(built, length_m)],  # type: ignore[list-item]
        CASES[:1],
        frequencies_hz=[FREQUENCY_HZ],
        soil=SOIL,
        equipment=EQUIPMENT,
    )
    own = built.sections_of("A")
    current = np.abs(solution.results[FREQUENCY_HZ, "nominal"].current_a[own, 0])
    return np.interp(np.arange(5.0, 100.0, 10.0), built.measure_m[own].mean(axis=1), current)


def test_a_tail_stands_for_the_line_that_goes_on() -> None:
    # line theory: a line closed with its characteristic impedance carries what the long line carries
    whole, tailed, opened = current_a(1200.0, cut=False), current_a(110.0, cut=True), current_a(110.0, cut=False)
    with_tail, without = np.abs(tailed - whole), np.abs(opened - whole)
    assert with_tail[:5].max() < 0.03  # half the length away from the cut
    assert with_tail[:5].max() < 0.1 * without[:5].max()
    assert with_tail.max() < 0.4 * without.max()  # up to the cut, where the real line leaks all along


def test_the_share_that_leaves_falls_with_the_distance() -> None:
    shares = []
    for length_m in (100.0, 400.0, 1600.0):
        built = model(length_m, cut=True)
        (far,) = [n for name, n in built.node_of.items() if not name.endswith("@0.000")]
        drives = [drive_on(built, length_m)]
        shares.append(
            leaving_share(
                built,
                drives,
                [far],
                frequencies_hz=[FREQUENCY_HZ],
                soil=SOIL,
                equipment=EQUIPMENT,  # type: ignore[arg-type]
            )
        )
    assert shares == sorted(shares, reverse=True)
    assert 0.3 < shares[0] < 1.2
    assert shares[2] < 0.5 * shares[0]


def test_the_solution_tells_the_same_share() -> None:
    built = model(100.0, cut=True)
    (far,) = [n for name, n in built.node_of.items() if not name.endswith("@0.000")]
    drives: list[Any] = [drive_on(built, 100.0)]
    shared: dict[str, Any] = {"frequencies_hz": [1e3, 8e3, FREQUENCY_HZ], "soil": SOIL, "equipment": EQUIPMENT}
    solution = solve_tone(built, drives, CASES, watched=[far], **shared)
    apart = leaving_share(built, drives, [far], **shared)
    assert share_of_solution(solution, [far]) == pytest.approx(apart, rel=1e-5)
    assert share_of_solution(solution, []) == 0.0


def test_nothing_leaves_where_nothing_is_cut() -> None:
    built = model(50.0, cut=False)
    share = leaving_share(built, [], [], frequencies_hz=[FREQUENCY_HZ], soil=SOIL, equipment=EQUIPMENT)
    assert share == pytest.approx(0.0)
    assert not [e.name for e in built.electrodes if e.name.startswith(TAIL)]
    assert [e.name for e in model(50.0, cut=True).electrodes if e.name.startswith(TAIL)]
