"""The matrices of a large model, and solutions and shares by them, against the same model solved densely."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.settings import SolverSettings
from corridor.tone.bleed import Currents, decompose
from corridor.tone.cases import CASES, element_ohms
from corridor.tone.drive import unit_sources
from corridor.tone.large import LargeNetwork
from corridor.tone.large_fields import FieldMatrix, large_fields
from corridor.tone.leaving import leaving_share
from corridor.tone.matrices import section_kernel
from corridor.tone.model import ToneModel
from corridor.tone.solve import matrices, nominal_network, solve_cases, solve_tone
from corridor.tone.tree import Factored
from tests.tone.wires import BONDS, EQUIPMENT, SOIL, placed, wires

FREQUENCY_HZ = 8e3
WHERE = {"frequency_hz": FREQUENCY_HZ, "resistivity_ohm_m": SOIL.nominal_ohm_m, "soil": SOIL}
DENSE = wires(bonds=[BONDS[0] | {"evidence": "suspected", "state": None}])
LARGE = replace(DENSE, solver=SolverSettings(section_limit=10))
DRIVE = placed(DENSE)


def test_what_is_large_is_told_by_the_settings() -> None:
    assert LARGE.is_large
    assert not DENSE.is_large
    assert isinstance(nominal_network(LARGE, **WHERE), LargeNetwork)
    assert isinstance(nominal_network(DENSE, **WHERE), Factored)


@pytest.mark.parametrize("soil", ["nominal", "low"])
def test_all_cases_are_those_of_the_dense_solution(soil: str) -> None:
    # paths closed and open: factored anew in blocks, switched by updates in the dense solution
    cases = [case for case in CASES if case.soil == soil]
    shared = {"frequency_hz": FREQUENCY_HZ, "soil": SOIL, "equipment": EQUIPMENT}
    dense, large = (solve_cases(model, [DRIVE], cases, **shared) for model in (DENSE, LARGE))
    assert dense.keys() == large.keys()
    for name, wanted in dense.items():
        for part in ("current_a", "leak_a", "element_a"):
            one, other = getattr(large[name], part), getattr(wanted, part)
            assert np.abs(one - other).max() < 1e-5 * np.abs(other).max()
        np.testing.assert_allclose(large[name].loop_ohm, wanted.loop_ohm, rtol=1e-5)
        assert np.array_equal(large[name].limited_by, wanted.limited_by)


def test_a_run_goes_through_and_tells_its_progress() -> None:
    told: list[tuple[int, int, str]] = []
    solution = solve_tone(
        LARGE,
        [DRIVE],
        CASES,
        frequencies_hz=[FREQUENCY_HZ],
        soil=SOIL,
        equipment=EQUIPMENT,
        workers=4,
        progress=lambda *say: told.append(say),
    )
    assert [say[0] for say in told] == [1, 2, 3]
    assert {say[1] for say in told} == {3}
    assert len(solution.results) == len(CASES)


def test_no_dense_integrals_are_made() -> None:
    model = replace(LARGE)
    nominal_network(model, **WHERE)
    assert "integrals" not in vars(model)


def test_the_share_that_leaves_is_the_same() -> None:
    shared = {"frequencies_hz": [FREQUENCY_HZ], "soil": SOIL, "equipment": EQUIPMENT}
    cuts = [0, DENSE.layout.n_nodes // 3]
    dense, large = (leaving_share(model, [DRIVE], cuts, **shared) for model in (DENSE, LARGE))
    assert large == pytest.approx(dense, rel=1e-5)


def test_rows_and_blocks_of_the_matrices() -> None:
    whole = matrices(DENSE, **WHERE)
    stand_in = matrices(LARGE, **WHERE)
    rows = np.array([3, 7, 8])
    weights = np.random.default_rng(0).normal(size=(2, rows.size)) + 1j
    for matrix, made in zip(whole, stand_in, strict=True):
        assert isinstance(made, FieldMatrix)
        np.testing.assert_allclose(made[np.ix_(rows, rows)], matrix[np.ix_(rows, rows)], rtol=1e-11)
        wanted = weights @ matrix[rows]
        assert np.abs(weights @ made[rows] - wanted).max() < 1e-5 * np.abs(wanted).max()


def test_bleed_is_decomposed_alike() -> None:
    source = unit_sources(DENSE, [DRIVE], frequency_hz=FREQUENCY_HZ, gamma_per_m=0.01 + 0.01j)
    ohms = element_ohms(DENSE, "nominal", FREQUENCY_HZ)

    def split(model: ToneModel) -> list[tuple[str, str, str, float]]:
        solution = nominal_network(model, **WHERE).solve(*source)
        currents = Currents(solution.current_a, solution.leak_a, solution.element_a)
        system = (*matrices(model, **WHERE), ohms)
        found = decompose(model, currents, system, drives=[DRIVE], source=source, threshold_a=1e-3)
        return [(e.line_id, e.from_line, e.kind, e.share) for entries in found[0].values() for e in entries]

    dense, large = split(DENSE), split(LARGE)
    assert [row[:3] for row in dense] == [row[:3] for row in large]
    assert [row[3] for row in large] == pytest.approx([row[3] for row in dense], abs=1e-4)


def test_groups_are_as_large_as_asked() -> None:
    kernel = section_kernel(
        LARGE.start_m,
        LARGE.end_m,
        wires=LARGE.wires,
        series_ohm_per_m=np.zeros(LARGE.n_sections),
        coating_s_per_m=np.full(LARGE.n_sections, np.inf),
        electrode=LARGE.electrode_mask,
        electrode_ohm=np.full(LARGE.n_sections, np.nan),
        frequency_hz=FREQUENCY_HZ,
        resistivity_ohm_m=SOIL.nominal_ohm_m,
    )
    fields = large_fields(LARGE, kernel, tolerance=1e-6, group_sections=20)
    assert max(group.size for group in fields.clusters.groups) <= 20
    assert fields.z.groups == fields.clusters.groups
