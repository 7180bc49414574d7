"""Look-ups in the solver's model."""

import numpy as np
import pytest

from corridor.errors import DomainError
from tests.tone.wires import wires

MODEL = wires()


@pytest.mark.parametrize("look", ["section_at", "node_at"])
def test_a_line_that_is_not_there_is_refused(look: str) -> None:
    with pytest.raises(DomainError, match="line Z carries no tone"):
        getattr(MODEL, look)("Z", 1.0)


def test_an_electrode_that_is_not_there_is_refused() -> None:
    with pytest.raises(DomainError, match="no electrode 'x'"):
        MODEL.electrode_node("x")


def test_an_absent_line_has_no_sections() -> None:
    assert MODEL.sections_of("Z").size == 0


@pytest.mark.parametrize(("at_m", "end"), [(-5.0, 0), (999.0, -1)])
def test_places_beyond_the_ends_are_the_ends(at_m: float, end: int) -> None:
    assert MODEL.section_at("A", at_m) == MODEL.sections_of("A")[end]


def test_electrodes_are_bare_whatever_the_lines_are() -> None:
    spread = MODEL.per_section([1.0, 2.0, 3.0])
    assert np.isinf(spread[MODEL.electrode_mask].real).all()
    assert set(spread[~MODEL.electrode_mask]) == {1.0, 2.0, 3.0}


def test_a_given_resistance_scales_with_the_soil() -> None:
    own = MODEL.electrode_ohm(0.5)[MODEL.n_conducting :]
    assert own[0] == 10.0
    assert np.isnan(own[1])


def test_the_same_sections_can_be_joined_otherwise() -> None:
    bare = MODEL.with_elements(())
    assert bare.layout.n_elements == 0
    assert bare.n_sections == MODEL.n_sections
