"""Cases and frequencies: updates against fresh solutions, imposed soil potential, refusals."""

import dataclasses

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.tone.cases import CASES, Case, element_ohms
from corridor.tone.solve import check_frequency, matrices, solve_cases, solve_tone
from corridor.tone.tree import factorise
from tests.tone.wires import BONDS, EQUIPMENT, SOIL, placed, solved, wires

MODEL = wires(bonds=[BONDS[0] | {"evidence": "suspected", "state": None}])
DRIVE = placed(MODEL)
SAME_SOIL = [case for case in CASES if case.soil == "nominal"]


@pytest.mark.parametrize("frequency", [10.0, 49.9, 1e6, float("nan")])
def test_frequencies_outside_the_method_are_refused(frequency: float) -> None:
    with pytest.raises(DomainError, match="50 to 200000 Hz, got"):
        check_frequency(frequency)


@pytest.mark.parametrize("frequency", [50, 512.0, 200e3])
def test_frequencies_inside_are_returned(frequency: float) -> None:
    assert check_frequency(frequency) == frequency


@pytest.mark.parametrize("frequency", [10.0, 1e6])
def test_a_run_refuses_them_too(frequency: float) -> None:
    with pytest.raises(DomainError, match="expected a frequency"):
        solve_tone(MODEL, [DRIVE], CASES, frequencies_hz=[8e3, frequency], soil=SOIL, equipment=EQUIPMENT)


def test_there_is_something_to_switch() -> None:
    assert [e.source_id for e in MODEL.elements if e.switchable and e.kind == "bond"] == ["b1"]


@pytest.mark.parametrize("paths", ["closed", "open"])
def test_a_switched_bond_equals_a_fresh_solution(paths: str) -> None:
    frequency = 8e3
    name = f"all paths {paths}"
    got = solve_cases(MODEL, [DRIVE], SAME_SOIL, frequency_hz=frequency, soil=SOIL, equipment=EQUIPMENT)[name]
    elements = tuple(
        dataclasses.replace(e, closed=paths == "closed", switchable=False) if e.switchable else e
        for e in MODEL.elements
    )
    fresh = solved(MODEL.with_elements(elements), frequency_hz=frequency).solution
    largest = np.abs(fresh.current_a).max()
    assert np.abs(got.current_a - fresh.current_a).max() < 1e-6 * largest
    assert np.abs(got.leak_a - fresh.leak_a).max() < 1e-6 * largest


def test_one_closed_path_more_brings_tone_onto_the_neighbour() -> None:
    got = solve_cases(MODEL, [DRIVE], SAME_SOIL, frequency_hz=8e3, soil=SOIL, equipment=EQUIPMENT)
    own = MODEL.sections_of("B")
    assert np.abs(got["all paths closed"].current_a[own]).max() > 2 * np.abs(got["all paths open"].current_a[own]).max()


def test_cases_of_two_soils_are_refused() -> None:
    with pytest.raises(DomainError, match="cases of one soil"):
        solve_cases(MODEL, [DRIVE], CASES, frequency_hz=8e3, soil=SOIL, equipment=EQUIPMENT)


def test_results_do_not_depend_on_the_workers() -> None:
    told: list[tuple[int, int, str]] = []
    one, two = (
        solve_tone(
            MODEL,
            [DRIVE],
            CASES,
            frequencies_hz=[1e3, 33e3],
            soil=SOIL,
            equipment=EQUIPMENT,
            workers=workers,
            progress=lambda *say: told.append(say),
        )
        for workers in (1, 2)
    )
    assert list(one.results) == list(two.results)
    assert {name for _, name in one.results} == {case.name for case in CASES}
    for key, result in one.results.items():
        assert result.current_a.tobytes() == two.results[key].current_a.tobytes()
    assert told[5] == (6, 6, "33000 Hz, nominal soil")


def test_the_hookup_current_is_what_goes_onto_the_line() -> None:
    result = solve_cases(MODEL, [DRIVE], SAME_SOIL[:1], frequency_hz=1e3, soil=SOIL, equipment=EQUIPMENT)["nominal"]
    assert abs(result.current_a[DRIVE.section, 0]) == pytest.approx(1.0, abs=0.01)
    assert result.loop_ohm[0].real > 20.0  # the ground's 20 ohm and the stake
    assert 0 < result.available_a[0] <= EQUIPMENT.transmitter.max_current_ma / 1000


def test_an_imposed_soil_potential_adds_to_what_the_leaks_raise() -> None:
    # identity: at each section's middle P Q + soil = V, V the mean of its two nodes
    z, p = matrices(MODEL, frequency_hz=8e3, resistivity_ohm_m=100.0, soil=SOIL)
    rng = np.random.default_rng(1)
    n = MODEL.n_sections
    soil = rng.normal(size=(n, 2)) + 1j * rng.normal(size=(n, 2))
    alone = factorise(MODEL.layout, z, p, element_ohms(MODEL, "nominal", 8e3))
    found = alone.solve(np.zeros((MODEL.layout.n_nodes, 2)), None, soil)
    start = MODEL.layout.start_node
    middle = (found.node_v[start] + found.node_v[start + 1]) / 2
    assert np.abs(p @ found.leak_a + soil - middle).max() < 1e-8 * np.abs(soil).max()
    assert np.abs(found.leak_a.sum(axis=0)).max() < 1e-9 * np.abs(found.leak_a).max()


def test_a_uniform_soil_potential_lifts_everything_and_drives_nothing() -> None:
    z, p = matrices(MODEL, frequency_hz=8e3, resistivity_ohm_m=100.0, soil=SOIL)
    alone = factorise(MODEL.layout, z, p, element_ohms(MODEL, "nominal", 8e3))
    found = alone.solve(np.zeros((MODEL.layout.n_nodes, 1)), None, np.full((MODEL.n_sections, 1), 5.0))
    assert np.abs(found.current_a).max() < 1e-9
    assert found.node_v[: MODEL.layout.n_nodes] == pytest.approx(np.full((MODEL.layout.n_nodes, 1), 5.0 + 0j))


def test_a_soil_potential_of_the_wrong_shape_is_refused() -> None:
    z, p = matrices(MODEL, frequency_hz=8e3, resistivity_ohm_m=100.0, soil=SOIL)
    alone = factorise(MODEL.layout, z, p, element_ohms(MODEL, "nominal", 8e3))
    with pytest.raises(DomainError, match="soil_v"):
        alone.solve(np.zeros((MODEL.layout.n_nodes, 1)), None, np.zeros((MODEL.n_sections, 2)))


def test_a_case_names_its_soil() -> None:
    assert Case("x", "low", "nominal").resistivity_ohm_m(SOIL) == SOIL.low_ohm_m
