"""The decomposition: parts that sum to the whole, and names for how the tone came."""

from functools import cache

import numpy as np
import pytest

from corridor.tone.bleed import Currents, Entry, decompose, trace_paths
from corridor.tone.hookup import HookUp
from corridor.tone.model import ToneModel
from tests.tone.wires import BONDS, Solved, peak_of, solved, wires


@cache
def whole() -> ToneModel:
    return wires()


@cache
def fed() -> Solved:
    return solved(whole())


def decomposed(model: ToneModel, case: Solved, threshold_a: float, **options: float) -> dict[str, list[Entry]]:
    own = case.solution
    currents = Currents(own.current_a, own.leak_a, own.element_a)
    (entries,) = decompose(
        model, currents, case.system, drives=[case.drive], source=case.source, threshold_a=threshold_a, **options
    )
    return entries


@cache
def found() -> dict[str, list[Entry]]:
    return decomposed(whole(), fed(), 1e-6, min_share=0.0)


@pytest.mark.parametrize(
    "hookup",
    [HookUp("direct", "A", at_m=0.0), HookUp("clamp", "A", at_m=30.0), HookUp("induction", "A", at_m=30.0)],
    ids=lambda hookup: hookup.mode,
)
def test_the_parts_sum_to_the_solved_current(hookup: HookUp) -> None:
    # identity: the problem is linear, so what acts on a line from outside adds up
    case = solved(whole(), hookup)
    entries = decomposed(whole(), case, 0.0, min_share=0.0)
    assert set(entries) == {"A", "B", "C"}
    for line_id, ways in entries.items():
        peak = peak_of(whole(), case.solution, line_id)
        assert abs(sum(way.part_a for way in ways) - peak) < 0.01 * abs(peak)
        assert sum(way.share for way in ways) == pytest.approx(1.0, abs=0.01)


def test_a_neighbour_reached_by_a_bond_names_the_bond() -> None:
    first = found()["B"][0]
    assert (first.from_line, first.kind, first.through) == ("A", "bond", "b1")
    assert first.share > 0.5


def test_a_neighbour_reached_by_a_parallel_run_is_induced() -> None:
    first = found()["C"][0]
    assert (first.from_line, first.kind) == ("A", "induced")
    assert not [entry for entry in found()["C"] if entry.kind in ("bond", "conduction", "hook-up") and entry.share > 0]


def test_the_line_that_is_fed_has_its_tone_from_the_hookup() -> None:
    assert (found()["A"][0].from_line, found()["A"][0].kind) == ("", "hook-up")


def test_an_open_bond_carries_nothing() -> None:
    model = wires(bonds=[BONDS[0] | {"state": "open"}])
    case = solved(model)
    entries = decomposed(model, case, 0.0)
    assert not [entry for entry in entries["B"] if entry.kind == "bond"]
    assert abs(peak_of(model, case.solution, "B")) < abs(peak_of(whole(), fed().solution, "B"))


def test_lines_below_the_threshold_are_left_out() -> None:
    largest = abs(peak_of(whole(), fed().solution, "A"))
    entries = decomposed(whole(), fed(), 0.999 * largest)
    assert list(entries) == ["A"]


def test_entries_stand_in_falling_order() -> None:
    for ways in found().values():
        shares = [way.share for way in ways]
        assert shares == sorted(shares, reverse=True)


def test_paths_start_at_the_transmitter_and_their_shares_sum_to_one() -> None:
    peaks = {line_id: abs(peak_of(whole(), fed().solution, line_id)) for line_id in whole().line_ids}
    paths = trace_paths(found(), peaks, target="A")
    for line_id in found():
        own = [path for path in paths if path.line_id == line_id]
        assert sum(path.share for path in own) == pytest.approx(1.0)
    through_bond = next(path for path in paths if path.line_id == "B" and path.hops[-1].entry.through == "b1")
    assert [hop.entry.line_id for hop in through_bond.hops] == ["A", "B"]
    assert through_bond.hops[0].entry.from_line == ""
    through = abs(fed().solution.element_a[[e.source_id for e in whole().elements].index("b1"), 0])
    assert through_bond.hops[-1].current_in_a == pytest.approx(through)


def entry(line_id: str, from_line: str, share: float) -> Entry:
    return Entry(line_id, from_line, "induced", "", -1, complex(share), share)


def test_a_way_avoids_the_line_it_leads_to() -> None:
    entries = {"A": [entry("A", "", 0.9), entry("A", "B", 0.1)], "B": [entry("B", "A", 1.0)]}
    back = next(path for path in trace_paths(entries, {"A": 1.0, "B": 0.5}, target="A") if path.share == 0.1)
    assert [hop.entry.line_id for hop in back.hops] == ["A"]  # B has its tone from A alone: no way around it


def test_small_entries_are_summed_without_hops() -> None:
    entries = {"A": [entry("A", "", 0.98), entry("A", "B", 0.02)]}
    paths = trace_paths(entries, {"A": 1.0}, target="A", min_share=0.05)
    assert [len(path.hops) for path in paths] == [1, 0]
    assert np.isclose(paths[1].share, 0.02)
