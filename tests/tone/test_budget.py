"""What a solution needs of memory is told, and what doesn't fit is refused before it is begun."""

import math
import resource
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.settings import SolverSettings
from corridor.tone import budget
from corridor.tone.budget import machine_memory_mb, memory_mb, refuse_beyond_memory
from corridor.tone.solve import solve_tone

DENSE = SolverSettings(section_limit=100_000)


def test_dense_matrices_grow_with_the_square_of_the_sections() -> None:
    assert memory_mb(2000, DENSE) == pytest.approx(4.0 * memory_mb(1000, DENSE))
    # two complex matrices and the factor of a system of that order alone: 16 bytes a number
    assert memory_mb(1000, DENSE) > 3 * np.dtype(complex).itemsize * 1000**2 / 1e6
    assert memory_mb(1000, DENSE, workers=4) < 4.0 * memory_mb(1000, DENSE)


def test_compressed_ones_grow_more_slowly_and_start_where_dense_ones_end() -> None:
    solver = SolverSettings()
    assert memory_mb(solver.section_limit + 1, solver) < memory_mb(solver.section_limit, solver)
    double = memory_mb(38_400, solver) / memory_mb(19_200, solver)
    assert 2.0 < double < 2.2
    assert memory_mb(19_200, solver) == pytest.approx(2200.0)  # docs/performance.md: the peak of that run


def test_the_machine_tells_its_memory() -> None:
    # another way to ask the same kernel: what this process takes is part of it
    assert machine_memory_mb() > resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000.0


def test_a_machine_that_does_not_tell_refuses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr("os.sysconf")
    assert machine_memory_mb() == math.inf
    refuse_beyond_memory(90_000, DENSE)


def test_what_does_not_fit_is_refused_with_the_estimate(monkeypatch: pytest.MonkeyPatch) -> None:
    limited = DENSE.model_copy(update={"memory_limit_mb": 100.0})
    refuse_beyond_memory(500, limited, workers=2)
    with pytest.raises(DomainError, match=r"fits in 100 MB \(solver\.memory_limit_mb\), 5000 sections, 2 frequencies"):
        refuse_beyond_memory(5000, limited, workers=2)
    with pytest.raises(DomainError, match=rf"need about {memory_mb(5000, DENSE):.0f} MB; take a smaller work area"):
        refuse_beyond_memory(5000, limited)
    monkeypatch.setattr(budget, "machine_memory_mb", lambda: 10.0)
    with pytest.raises(DomainError, match="what this machine has"):
        refuse_beyond_memory(5000, DENSE)


def test_a_solution_is_not_begun_that_does_not_fit() -> None:
    limited = DENSE.model_copy(update={"memory_limit_mb": 100.0})
    model: Any = SimpleNamespace(is_large=False, n_sections=5000, solver=limited)  # without sections or integrals
    nothing: Any = None
    with pytest.raises(DomainError, match="need about"):
        solve_tone(model, [], [], frequencies_hz=[1000.0], soil=nothing, equipment=nothing)
