"""Ends that the extract cut are solved as going on and as ending."""

import numpy as np
import pytest

from corridor import find_bonds
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.site.model import Site
from corridor.tone.assemble import Placement, build_model
from corridor.tone.cases import CASES, EXTRACT_TAIL, cases_of, element_ohms
from corridor.tone.drive import place
from corridor.tone.hookup import HookUp
from corridor.tone.leaving import TAIL, with_tails
from corridor.tone.model import ToneModel
from corridor.tone.solve import solve_tone
from tests.builders import make_site
from tests.plan.conftest import CABLE
from tests.tone.wires import COARSE, EQUIPMENT, SOIL

FREQUENCY_HZ = 100e3
STAKE = Placement({"stake": (-1.0, 5.0)}, EQUIPMENT.stake)
STRUCTURE = {"structure_id": "S", "kind": "handhole", "geometry": (0, 0)}
TERMINATION = {"structure_id": "S", "line_id": "A", "at": "start"}


def site(length_m: float, *, layer: str | None = "power:cables") -> Site:
    """A jacketed cable from a handhole to the edge of its layer."""
    row = CABLE | {"line_id": "A", "geometry": [(0, 0), (length_m, 0)]}
    row |= {"src_feature_source": layer} if layer else {}
    return make_site(lines=[row], structures=[STRUCTURE], terminations=[TERMINATION])


def tailed(records: Site, cut_nodes: tuple[str, ...] = ()) -> Network:
    network = build_network(records, find_bonds(records))
    return with_tails(network, cut_nodes, records.lines, frequency_hz=FREQUENCY_HZ, soil=SOIL)


def currents(records: Site) -> dict[str, np.ndarray]:
    """Current along the cable in every case, at 5, 15, ... m."""
    model = build_model(
        tailed(records), records.lines, frequency_max_hz=FREQUENCY_HZ, soil=SOIL, settings=COARSE, placement=STAKE
    )
    drive = place(model, HookUp("direct", "A", at_m=0.0), records.lines.geometry.iloc[0], stake="stake",
                  equipment=EQUIPMENT)  # fmt: skip
    solution = solve_tone(model, [drive], CASES, frequencies_hz=[FREQUENCY_HZ], soil=SOIL, equipment=EQUIPMENT)
    own = model.sections_of("A")
    at_m = model.measure_m[own].mean(axis=1)
    return {
        case.name: np.interp(
            np.arange(5.0, 60.0, 10.0), at_m, np.abs(solution.results[FREQUENCY_HZ, case.name].current_a[own, 0])
        )
        for case in CASES
    }


def test_the_tail_is_a_switchable_ground_nominally_closed() -> None:
    (tail,) = tailed(site(110.0)).grounds.to_dict("records")
    assert tail["ground_id"] == f"{EXTRACT_TAIL} A@110.000"
    assert (tail["closed"], tail["switchable"], tail["evidence"]) == (True, True, "inferred")


def test_where_growth_stopped_the_tail_stays_closed() -> None:
    (tail,) = tailed(site(110.0), ("A@110.000",)).grounds.to_dict("records")
    assert tail["ground_id"].startswith(TAIL)
    assert not tail["switchable"]


def test_no_tail_where_nothing_was_cut() -> None:
    assert tailed(site(110.0, layer=None)).grounds.empty


def test_elements_open_and_close_with_the_case() -> None:
    records = site(110.0)
    model = build_model(tailed(records), records.lines, frequency_max_hz=FREQUENCY_HZ, soil=SOIL, settings=COARSE)
    (k,) = [n for n, e in enumerate(model.elements) if e.source_id.startswith(EXTRACT_TAIL)]
    ohms = {paths: element_ohms(model, paths, FREQUENCY_HZ)[k] for paths in ("nominal", "closed", "open")}  # type: ignore[arg-type]
    assert np.isinf(ohms["open"])
    assert ohms["nominal"] == ohms["closed"]
    assert np.isfinite(ohms["closed"])


def test_going_on_carries_what_the_long_line_carries_and_ending_what_the_short_one_does() -> None:
    # line theory: a line closed with its characteristic impedance carries what the long line carries; near the cut the
    # tail differs, since the real line leaks all along
    cut, long, short = currents(site(110.0)), currents(site(1200.0)), currents(site(110.0, layer=None))
    assert cut["nominal"] == pytest.approx(long["nominal"], abs=0.03)
    assert cut["all paths closed"] == pytest.approx(cut["nominal"], rel=1e-9)
    assert cut["all paths open"] == pytest.approx(short["nominal"], rel=1e-3)
    assert np.abs(cut["nominal"] - cut["all paths open"]).max() > 0.05


def comb(count: int) -> ToneModel:
    """So many cables that end on the edge of their layer, from handholes, one of them with a suspected bond."""
    lines = [CABLE | {"line_id": f"A{k}", "src_feature_source": "power:cables", "geometry": [(0, 3 * k), (60, 3 * k)]}
             for k in range(count)]  # fmt: skip
    structures = [STRUCTURE | {"structure_id": f"S{k}", "geometry": (0, 3 * k)} for k in range(count)]
    ends = [{"structure_id": f"S{k}", "line_id": f"A{k}", "at": "start"} for k in range(count)]
    bond = {"bond_id": "b", "line_a": "A0", "line_b": "A1", "evidence": "inferred", "probability": 0.9,
            "geometry": (30, 0)}  # fmt: skip
    records = make_site(lines=lines, structures=structures, terminations=ends, bonds=[bond] if count > 1 else [])
    return build_model(tailed(records), records.lines, frequency_max_hz=FREQUENCY_HZ, soil=SOIL, settings=COARSE)


def tail_states(model: ToneModel, paths: str) -> list[bool]:
    """Which tails end in a state of the paths."""
    ohms = element_ohms(model, paths, FREQUENCY_HZ)
    return [
        bool(np.isinf(z)) for z, e in zip(ohms, model.elements, strict=True) if e.source_id.startswith(EXTRACT_TAIL)
    ]


def test_a_model_without_cut_ends_has_the_usual_cases() -> None:
    records = site(110.0, layer=None)
    model = build_model(tailed(records), records.lines, frequency_max_hz=FREQUENCY_HZ, soil=SOIL, settings=COARSE)
    assert cases_of(model, mixes=6) == CASES


@pytest.mark.parametrize(("ends", "mixes", "more"), [(1, 6, 1), (3, 6, 1), (4, 6, 5), (5, 6, 7), (5, 2, 5), (5, 0, 1)])
def test_cases_grow_with_the_logarithm_of_the_cut_ends(ends: int, mixes: int, more: int) -> None:
    cases = cases_of(comb(ends), mixes=mixes)
    assert cases[: len(CASES)] == CASES
    assert len(cases) == len(CASES) + more
    assert len({case.name for case in cases}) == len(cases)


def test_every_two_cut_ends_differ_in_some_case_and_each_mix_has_its_opposite() -> None:
    model = comb(5)
    mixed = [tail_states(model, case.paths) for case in cases_of(model, mixes=6) if case.paths.startswith("mixed")]
    columns = np.array(mixed).T
    assert len({tuple(column) for column in columns}) == 5
    assert all([not state for state in one] == other for one, other in zip(mixed[::2], mixed[1::2], strict=True))


def test_in_the_case_that_ends_them_all_the_rest_stays_as_most_likely() -> None:
    model = comb(4)
    ohms, nominal = (element_ohms(model, paths, FREQUENCY_HZ) for paths in ("ending", "nominal"))
    tails = np.array([e.source_id.startswith(EXTRACT_TAIL) for e in model.elements])
    assert np.isinf(ohms[tails]).all()
    assert np.isfinite(nominal[tails]).all()
    assert np.array_equal(ohms[~tails], nominal[~tails])
    assert (~tails).any()
