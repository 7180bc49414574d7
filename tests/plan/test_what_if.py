"""What every hook-up does, as a review keeps it: against traces of the same hook-ups, and what is kept of it."""

import zlib
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import networkx as nx
import numpy as np
import pandas as pd
import pytest

from corridor import Settings, Site
from corridor.constants import MA_PER_A
from corridor.dictionary import GRADES
from corridor.dictionary.results import SENSES
from corridor.plan.grading import Grading
from corridor.plan.prepare import connect, hookup_of, prepare
from corridor.plan.review import Review, plan_setups, review_site
from corridor.plan.trace import ToneTrace, trace_tone
from corridor.plan.what_if import (
    DOWN_TO_NOTHING,
    LEAST_MA,
    RANGE_PER_DECADE,
    STEPS_PER_DECADE,
    Unpacked,
    WhatIf,
    _levels,
    floor_ma,
    steps_of,
    unpack,
)
from corridor.plan.what_if_profiles import NOT_GRADED, NOTHING, maskers
from corridor.plan.what_if_ways import Links, widest_ways
from corridor.settings import DrawSettings
from corridor.tone.cases import CASES
from corridor.tone.predict import peak_owners, predict
from corridor.tone.solve import solve_tone
from corridor.tone.stations import set_stations
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import SETTINGS, access, bond, cable, ground, square

FREQUENCIES = (1000.0, 10_000.0)
EQUIPMENT = at_frequencies(*FREQUENCIES)
HALF_STEP = 10.0 ** (0.5 / STEPS_PER_DECADE) * (1 + 1e-6)


@cache
def site() -> Site:
    """Two cables, perhaps bonded at their far ends, and a third that crosses nothing and joins nothing."""
    return make_site(
        lines=[cable("A"), cable("B", 1.5), cable("C", 3.2)],
        bonds=[bond("X", "B", (60.0, 0.75), state="unknown", evidence="suspected", probability=0.3)],
        grounds=[ground("A", 60), ground("B", 0, 1.5), ground("C", 0, 3.2), ground("C", 60, 3.2)],
        soil=[square(resistivity_ohm_m=100.0, low_ohm_m=30.0, high_ohm_m=300.0)],
        work_area=[square()],
        **access("A"),
    )


@cache
def reviewed() -> Review:
    return review_site(site(), equipment=EQUIPMENT, settings=SETTINGS)


def kept() -> WhatIf:
    (found,) = reviewed().what_if
    return found


def shown(hookup: int, frequency: int) -> dict[str, Any]:
    """One row of a block, with currents in mA."""
    found, block = kept(), unpack(kept(), hookup)
    rows = {name: array[frequency] for name, array in vars(block).items()}
    value = milliamperes(rows["current"])
    low = np.where(rows["low"] == DOWN_TO_NOTHING, 0.0, value * 10.0 ** (-rows["low"].astype(float) / RANGE_PER_DECADE))
    high = np.where(value > 0, value, np.where(rows["high"] > 0, LEAST_MA, 0.0)) * 10.0 ** (
        rows["high"].astype(float) / RANGE_PER_DECADE
    )
    assert len(value) == len(found.line_of)
    return rows | {"value_ma": value, "low_ma": low, "high_ma": high}


def milliamperes(steps: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    return np.where(steps > 0, LEAST_MA * 10.0 ** ((steps.astype(float) - 1.0) / STEPS_PER_DECADE), 0.0)


def traced(hookup: int, frequency: int) -> ToneTrace:
    found = kept()
    return trace_tone(
        site(),
        found.hookup_ids[hookup],
        frequency_hz=found.frequencies_hz[frequency],
        level_ma=float(found.level_ma[hookup, frequency]),
        equipment=EQUIPMENT,
        settings=SETTINGS,
    )


def some_setups() -> list[tuple[int, int]]:
    """A direct connection, a clamp and an induction at both frequencies, as far as they may be made."""
    found, setups = kept(), []
    for mode in ("direct", "clamp", "induction"):
        number = next(k for k, name in enumerate(found.hookup_ids) if name.startswith(f"{mode}:"))
        for f, frequency in enumerate(FREQUENCIES):
            if (found.hookup_ids[number], frequency) not in found.barred:
                setups.append((number, f))
    assert len(setups) >= 5
    return setups


# --- currents ---------------------------------------------------------------------------------------------------------


def test_every_ready_hookup_is_kept() -> None:
    ready = reviewed().hookups.query("ready == 'ready'")["hookup_id"]
    assert set(kept().hookup_ids) == set(ready)
    assert len(kept().blocks) == len(kept().hookup_ids)
    assert kept().frequencies_hz == FREQUENCIES


def test_currents_are_those_of_a_trace() -> None:
    # a trace of one hook-up is another way through the program to the same solution; its network may be grown less far,
    # hence 2 % beside half a step
    for hookup, frequency in some_setups():
        sections = traced(hookup, frequency).sections
        rows = shown(hookup, frequency)
        found = kept()
        for number, line_id in enumerate(found.line_ids):
            own = sections[sections["line_id"] == line_id]["current_ma"].to_numpy()
            ours = rows["value_ma"][found.line_of == number]
            assert len(own) == len(ours)
            told = own >= 2 * LEAST_MA
            assert np.all(ours[told] / own[told] < HALF_STEP * 1.02)
            assert np.all(own[told] / ours[told] < HALF_STEP * 1.02)


def test_the_range_encloses_all_cases() -> None:
    for hookup, frequency in some_setups():
        sections = traced(hookup, frequency).sections
        rows, found = shown(hookup, frequency), kept()
        for number, line_id in enumerate(found.line_ids):
            own = sections[sections["line_id"] == line_id]
            here = found.line_of == number
            assert np.all(rows["low_ma"][here] <= own["current_low_ma"].to_numpy() * 1.02 + 1e-4)
            assert np.all(
                rows["high_ma"][here] >= np.minimum(own["current_high_ma"].to_numpy() * 0.98, 1e6) - 2 * LEAST_MA
            )
            assert np.all(rows["low_ma"] <= rows["value_ma"])
            assert np.all(rows["value_ma"] <= rows["high_ma"] * (1 + 1e-9))


def test_the_range_is_no_wider_than_a_step_of_its_own() -> None:
    hookup, frequency = some_setups()[0]
    own, rows = traced(hookup, frequency).sections, shown(hookup, frequency)
    order = {name: k for k, name in enumerate(kept().line_ids)}
    own = own.assign(at=own["line_id"].map(order)).sort_values("at", kind="stable")
    wide = 10.0 ** (1.0 / RANGE_PER_DECADE) * HALF_STEP * 1.02
    told = own["current_low_ma"].to_numpy() >= 2 * LEAST_MA
    assert told.sum() > 10
    assert np.all(own["current_low_ma"].to_numpy()[told] / rows["low_ma"][told] < wide)
    assert np.all(rows["high_ma"][told] / own["current_high_ma"].to_numpy()[told] < wide)


def test_what_goes_in_comes_back() -> None:
    # Kirchhoff: without a ground or a neighbour between, all that enters a direct hook-up's line at its access point
    # flows past it, so that the largest current on it is the output within leakage: 3 % on 60 m of jacketed cable
    found = kept()
    number = found.hookup_ids.index(next(name for name in found.hookup_ids if name.startswith("direct:A:")))
    value = shown(number, 0)["value_ma"][found.line_of == found.line_ids.index("A")]
    assert value.max() == pytest.approx(found.output_ma[number, 0], rel=0.03)


@pytest.mark.parametrize("current_ma", [0.0, LEAST_MA / 3, LEAST_MA, 0.0123, 1.0, 999.0])
def test_steps_keep_a_current_to_half_a_step(current_ma: float) -> None:
    step = steps_of(np.array([current_ma]))
    back = float(milliamperes(step)[0])
    if current_ma < LEAST_MA / HALF_STEP:
        assert back == 0.0
    else:
        assert max(back / current_ma, current_ma / back) <= HALF_STEP


def test_steps_are_even_in_the_logarithm() -> None:
    # common logarithm: ten times as much is as many steps as a decade has, wherever one begins
    values = np.array([0.01, 0.1, 1.0, 10.0, 100.0])
    assert np.diff(steps_of(values).astype(int)).tolist() == [STEPS_PER_DECADE] * 4


def test_the_weakest_usable_current() -> None:
    # Ampere's law: 1 mA in a long straight wire makes 0.2 nT at 1 m (mu_0/2 pi = 2e-7 T m/A)
    settings = Settings()
    depth = np.array([1.0 - settings.receiver.lower_coil_height_m, 2.0 - settings.receiver.lower_coil_height_m])
    assert settings.grades.floor_nt == 0.2
    assert floor_ma(depth, settings) == pytest.approx([1.0, 2.0], rel=1e-6)


# --- sense ------------------------------------------------------------------------------------------------------------


def test_sense_is_told_as_stations_tell_it() -> None:
    # `station_senses` compares what the receiver hears; on a line alone that is its own current: the target's own
    found = kept()
    number = next(k for k, name in enumerate(found.hookup_ids) if name.startswith("direct:A:"))
    senses = shown(number, 1)["sense"][found.line_of == found.line_ids.index("A")]
    assert set(np.array(SENSES)[senses]) == {"same"}


def test_a_neighbour_brings_the_tone_back_the_other_way() -> None:
    # common practice: over a bond at the far end the tone comes back in the opposite sense
    closed = make_site(
        lines=[cable("A"), cable("B", 1.5)], bonds=[bond("X", "B", (60.0, 0.75))],
        grounds=[ground("B", 0, 1.5, ohm=5.0)],
        soil=[square(resistivity_ohm_m=100.0, low_ohm_m=100.0, high_ohm_m=100.0)], work_area=[square()], **access("A"),
    )  # fmt: skip
    (found,) = review_site(closed, equipment=at_frequencies(1000.0), settings=SETTINGS).what_if
    number = next(k for k, name in enumerate(found.hookup_ids) if name.startswith("direct:A:"))
    block = unpack(found, number)
    senses = block.sense[0][found.line_of == found.line_ids.index("B")]
    assert set(np.array(SENSES)[senses]) == {"opposite"}
    assert block.way[0, found.line_ids.index("B")] == 0
    through = milliamperes(block.way_current[0, [found.line_ids.index("B")]])[0]
    largest = milliamperes(block.current[0][found.line_of == found.line_ids.index("B")]).max()
    assert through == pytest.approx(largest, rel=0.05)  # no other way leads there but the bond


# --- ways over metal --------------------------------------------------------------------------------------------------


def random_links(seed: int, lines: int = 12, count: int = 26) -> tuple[Links, np.ndarray[Any, Any]]:
    rng = np.random.default_rng(seed)
    ends = np.array([rng.choice(lines, 2, replace=False) for _ in range(count)])
    links = Links(np.arange(count), ends[:, 0], ends[:, 1], ("bond",) * count, tuple(map(str, range(count))))
    return links, rng.random(count) + 0.01


class Solved:
    """As much of a solution as `widest_ways` looks at."""

    def __init__(self, through: np.ndarray[Any, Any], source: str) -> None:
        self.cases, self.frequencies_hz = CASES[:1], (1000.0,)
        hookup = type("HookUp", (), {"line_id": source})()
        self.drives = (type("Drive", (), {"hookup": hookup})(),)
        self.results = {(1000.0, "nominal"): type("Result", (), {"element_a": through[:, None].astype(complex)})()}


@pytest.mark.parametrize("seed", range(8))
def test_ways_are_the_widest(seed: int) -> None:
    # networkx as reference: on a maximum spanning tree the way between two nodes is a widest one (Hu 1961, from memory)
    links, through = random_links(seed)
    names = tuple(f"L{k}" for k in range(12))
    entered, current = widest_ways(Solved(through, "L0"), links, names, np.array([0]))  # type: ignore[arg-type]
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(12))
    for a, b, width in zip(links.from_line.tolist(), links.to_line.tolist(), through.tolist(), strict=True):
        graph.add_edge(a, b, weight=max(width, graph.get_edge_data(a, b, {"weight": 0.0})["weight"]))
    tree = nx.maximum_spanning_tree(graph)
    for line in range(1, 12):
        if not nx.has_path(tree, 0, line):
            assert entered[0, 0, line] == -1
            continue
        way = nx.shortest_path(tree, 0, line)
        widest = min(tree[a][b]["weight"] for a, b in pairwise(way))
        here, narrow, steps = line, np.inf, 0
        while here != 0:
            link = int(entered[0, 0, here])
            narrow = min(narrow, through[link])
            assert current[0, 0, here] == pytest.approx(through[link])
            ends = {int(links.from_line[link]), int(links.to_line[link])}
            (here,) = ends - {here}
            steps += 1
            assert steps < 12
        assert narrow == pytest.approx(widest)


def test_no_metal_no_way() -> None:
    found = kept()
    hookup, frequency = some_setups()[0]
    way = unpack(found, hookup).way[frequency]
    assert way[found.line_ids.index("A")] == -1  # the target itself
    assert way[found.line_ids.index("C")] == -1
    link = way[found.line_ids.index("B")]
    assert found.links.name[link] == "X"


# --- the receiver -----------------------------------------------------------------------------------------------------


def test_profiles_are_those_of_a_trace() -> None:
    found = kept()
    for hookup, frequency in some_setups():
        stations = traced(hookup, frequency).stations
        block = unpack(found, hookup)
        for line in found.profiles.graded[hookup]:
            own = stations[stations["line_id"] == found.line_ids[line]]
            at = found.profiles.stations_of(hookup)
            here = found.profiles.line_of[at] == line
            measures = found.profiles.measure_m[at][here]
            assert own["station_m"].to_numpy() == pytest.approx(measures, abs=0.006)
            assert block.peak_cm[frequency][here] / 100.0 == pytest.approx(own["peak_offset_m"], abs=0.011)
            grades = block.grade[frequency][here]
            told = grades != NOT_GRADED
            same = np.array([*GRADES, "?"])[np.minimum(grades, len(GRADES))][told] == own["grade"].to_numpy()[told]
            assert same.mean() > 0.9  # a trace's network may be grown less far: a reading at a threshold can turn
            depth = block.depth_error_cm[frequency][here]
            error = (own["depth_reading_m"] - own["depth_m"]).to_numpy()
            known = (depth != NOTHING) & ~np.isnan(error) & (np.abs(error) < 3.0)
            assert depth[known] / 100.0 == pytest.approx(error[known], abs=0.02)


def test_every_graded_line_is_kept() -> None:
    found = kept()
    named = {found.line_ids[line] for own in found.profiles.graded for line in own}
    assert named == set(reviewed().stations["line_id"])
    assert not found.profiles.parts  # what the blocks hold isn't held twice


def test_near_a_loop_nothing_is_graded() -> None:
    found = kept()
    number = next(k for k, name in enumerate(found.hookup_ids) if name.startswith("induction:A:"))
    row = reviewed().hookups.set_index("hookup_id").loc[found.hookup_ids[number]]
    at = found.profiles.stations_of(number)
    own = found.line_ids.index("A")
    here = found.profiles.line_of[at] == own
    away = np.abs(found.profiles.measure_m[at][here] - row["at_m"])
    grades = unpack(found, number).grade[1][here]
    near = away < SETTINGS.hookups.induction_standing_m
    assert near.any()
    assert np.all((grades == NOT_GRADED) == near)


def test_who_masks_is_who_owns_the_peak() -> None:
    # `peak_owners` works the same out one set-up at a time, for the chosen ones
    connected = connect(site(), equipment=EQUIPMENT, settings=SETTINGS)
    ready = connected.hookups[connected.hookups["ready"] == "ready"]
    prepared = prepare(
        connected,
        [hookup_of(row) for _, row in ready.iterrows()],
        ready["hookup_id"].tolist(),
        frequencies_hz=FREQUENCIES,
        equipment=EQUIPMENT,
        settings=SETTINGS,
    )
    solution = solve_tone(
        prepared.model, prepared.drives, CASES, frequencies_hz=FREQUENCIES, soil=prepared.soil, equipment=EQUIPMENT
    )
    masked = 0
    for line_id in ("A", "B", "C"):
        row = site().lines.set_index("line_id").loc[line_id]
        stations = set_stations(line_id, row.geometry, depth_m=1.0, spacing_m=4.0)
        drives = list(range(len(ready)))
        prediction = predict(solution, stations, drives, receiver=SETTINGS.receiver)
        found = maskers(solution, prediction)
        for d in drives:
            for f, frequency in enumerate(FREQUENCIES):
                owners = peak_owners(solution, prediction, drive=d, frequency_hz=frequency)
                for s in np.flatnonzero(prediction.masked[:, d, f, 0]):
                    assert prepared.model.line_ids[found[s, d, f]] == owners[s]
                    masked += 1
                assert np.all(found[~prediction.masked[:, d, f, 0], d, f] == -1)
    assert masked > 20


# --- outputs and what is barred ---------------------------------------------------------------------------------------


def test_the_outputs_are_the_reviews_own() -> None:
    found, setups = kept(), reviewed().setups.query("kind == 'setup'")
    at = {name: k for k, name in enumerate(found.hookup_ids)}
    for row in setups.to_dict("records"):
        f = found.frequencies_hz.index(row["frequency_hz"])
        assert found.level_ma[at[row["hookup_id"]], f] == pytest.approx(row["level_ma"])
        assert found.chosen[at[row["hookup_id"]], f]
    assert np.all(found.output_ma <= found.level_ma * (1 + 1e-12))
    held = found.limited_by != "level"
    assert np.all(found.output_ma[held] < found.level_ma[held])
    assert np.allclose(found.output_ma[~held], found.level_ma[~held])


def test_ohms_law_joins_output_and_voltage() -> None:
    # U = Z I at the transmitter's terminals, of a direct connection
    found = kept()
    direct = [k for k, name in enumerate(found.hookup_ids) if name.startswith("direct:")]
    assert direct
    expected = found.loop_ohm[direct] * found.output_ma[direct] / MA_PER_A
    assert found.voltage_v[direct] == pytest.approx(expected)


def gate_rows(*rows: tuple[str, float, float, bool]) -> pd.DataFrame:
    columns = ["hookup_id", "frequency_hz", "level_ma", "ready"]
    return pd.DataFrame(list(rows), columns=columns).assign(missing="too much for a neighbour", excess=2.0)


def levels(verdicts: pd.DataFrame, chosen_ma: float = 0.0) -> tuple[np.ndarray[Any, Any], dict[tuple[str, float], str]]:
    ready = pd.DataFrame({"hookup_id": ["d", "i"], "mode": ["direct", "induction"]})
    outputs = pd.DataFrame(
        {"hookup_id": ["d", "d"], "frequency_hz": [1000.0, 1000.0], "level_ma": [20.0, 50.0], "voltage_v": 1.0}
    )
    chosen = np.zeros((2, 2))
    chosen[0, 0] = chosen_ma / MA_PER_A
    equipment = EQUIPMENT.model_copy(update={"induction_min_hz": 5000.0})
    return _levels(
        ready,
        FREQUENCIES,
        Grading(pd.DataFrame(), outputs, {}),
        chosen_a=chosen,
        verdicts=verdicts,
        equipment=equipment,
    )  # type: ignore[arg-type]


def test_without_a_choice_the_highest_output_graded_is_shown() -> None:
    level, barred = levels(pd.DataFrame())
    assert level[0, 0] == pytest.approx(0.050)
    assert level[0, 1] == pytest.approx(min(EQUIPMENT.transmitter.levels_ma) / MA_PER_A)
    assert set(barred) == {("i", 1000.0)}
    assert "5000 Hz" in barred["i", 1000.0]


def test_a_chosen_output_goes_before_it() -> None:
    level, _ = levels(pd.DataFrame(), chosen_ma=10.0)
    assert level[0, 0] == pytest.approx(0.010)


def test_the_gate_on_partners_lowers_the_output() -> None:
    level, barred = levels(gate_rows(("d", 1000.0, 50.0, False), ("d", 1000.0, 20.0, True)))
    below = max(step for step in EQUIPMENT.transmitter.levels_ma if step < 50.0)
    assert level[0, 0] == pytest.approx(below / MA_PER_A)
    assert ("d", 1000.0) not in barred


def test_a_setup_with_no_output_left_is_barred_with_its_reason() -> None:
    lowest = min(EQUIPMENT.transmitter.levels_ma)
    _, barred = levels(gate_rows(("d", 10_000.0, lowest, False)))
    assert barred["d", 10_000.0] == "too much for a neighbour"


# --- small, and the same again ----------------------------------------------------------------------------------------


def test_the_same_input_gives_the_same_bytes() -> None:
    again = review_site(site(), equipment=EQUIPMENT, settings=SETTINGS).what_if
    assert again[0].blocks == kept().blocks
    assert again[0].barred == kept().barred


def test_blocks_are_compressed_and_whole() -> None:
    found = kept()
    for hookup, block in enumerate(found.blocks):
        raw = len(zlib.decompress(block))
        arrays = vars(unpack(found, hookup)).values()
        assert raw == sum(array.nbytes for array in arrays)
        assert len(block) < raw
    assert set(vars(unpack(found, 0))) == set(Unpacked.__dataclass_fields__)


def test_sections_stand_in_their_places() -> None:
    found = kept()
    for number, line_id in enumerate(found.line_ids):
        here = found.line_of == number
        line = site().lines.set_index("line_id").geometry.loc[line_id]
        from_m, to_m = found.measure_m[here].T
        assert np.all(np.diff(from_m) > 0)
        assert from_m[0] == pytest.approx(0.0, abs=1e-6)
        assert to_m[-1] == pytest.approx(line.length, abs=1e-6)
        ends = found.ends_m[here]
        assert np.hypot(*(ends[:, 1] - ends[:, 0]).T).sum() == pytest.approx(line.length, rel=1e-6)
        assert ends[0, 0] == pytest.approx(line.coords[0][:2], abs=1e-6)


def test_a_plan_keeps_it_too(alone: Site) -> None:
    few = SETTINGS.model_copy(update={"draws": DrawSettings(count=8, geometries=2)})
    plan = plan_setups(alone, equipment=at_frequencies(1000.0), settings=few)
    (found,) = plan.what_if
    assert found.hookup_ids
    moved = plan.hookups.query("ready == 'ready'")["hookup_id"]
    assert set(found.hookup_ids) == set(moved)


def test_without_a_ready_hookup_there_is_none(alone: Site) -> None:
    bare = replace(alone, structures=alone.structures.iloc[:0], terminations=alone.terminations.iloc[:0])
    low = at_frequencies(1000.0).model_copy(update={"induction_min_hz": 50_000.0})
    result = review_site(bare, equipment=low, settings=SETTINGS)
    ready = result.hookups.query("ready == 'ready'")
    assert len(result.what_if) == (1 if len(ready) else 0)
    for found in result.what_if:
        assert all((name, 1000.0) in found.barred for name in found.hookup_ids if name.startswith("induction"))
