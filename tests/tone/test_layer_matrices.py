"""Matrices in two layers: pair by pair against quadrature, limits, definiteness."""

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.ground import ground_of
from corridor.tone.layer_matrices import DEPTH_NODES, RHO_NODES, layer_table
from corridor.tone.layered import layers_of
from corridor.tone.pairs import mutual_impedance
from tests.tone.test_matrices import PAIRS, _chains, _end_terms, _matrices, _mean_potential

JUDGED = ("parallel", "skew", "far", "sloping")


@cache
def judged(top: float, lower: float, frequency: float, thickness: float) -> tuple[Any, Any]:
    """Z and P of all the pairs together, one after the other: the tables are made once for a soil."""
    wires = np.array([wire for pair in JUDGED for wire in PAIRS[pair]])
    soil = {"resistivity_ohm_m": top, "frequency_hz": frequency, "top_thickness_m": thickness}
    return _matrices(wires[:, 0], wires[:, 1], lower_resistivity_ohm_m=lower, **soil)


SOILS = ((1000.0, 250.0, 500.0), (100.0, 25.0, 50e3), (10.0, 400.0, 2e5))  # top, lower ohm m, Hz
ONE_SOIL_A_THICKNESS = [
    pytest.param(thickness, *soil, marks=[] if i == j else pytest.mark.thorough)
    for i, thickness in enumerate((0.5, 1.1, 3.0))  # pairs above the interface, across and below it
    for j, soil in enumerate(SOILS)
]


@pytest.mark.parametrize("pair", JUDGED)
@pytest.mark.parametrize(("thickness", "top", "lower", "frequency"), ONE_SOIL_A_THICKNESS)
def test_entries_against_the_direct_kernels(
    pair: str, thickness: float, top: float, lower: float, frequency: float
) -> None:
    # as in one soil: Z is mutual_impedance without the terms of its ends, P the mean potential. A sloping section that
    # passes the interface counts as lying where its middle does: up to a tenth of the entry of P.
    wire_a, wire_b = (np.array(w) for w in PAIRS[pair])
    soil = {
        "resistivity_ohm_m": top,
        "frequency_hz": frequency,
        "top_thickness_m": thickness,
        "lower_resistivity_ohm_m": lower,
    }
    at = 2 * JUDGED.index(pair), 2 * JUDGED.index(pair) + 1
    z, p = (matrix[at] for matrix in judged(top, lower, frequency, thickness))
    ground = ground_of(**soil)
    passes = pair == "sloping" and thickness == 1.1
    wanted = mutual_impedance(wire_a, wire_b, **soil) - _end_terms(wire_a, wire_b, ground)
    scale = 2e-7 * math.pi * frequency * 2.0
    assert abs(z - wanted) < (0.03 if passes else 3e-3) * abs(wanted) + 1e-3 * scale
    if not passes:
        assert p == pytest.approx(_mean_potential(wire_a, wire_b, ground), rel=2e-3)
    else:
        assert p == pytest.approx(_mean_potential(wire_a, wire_b, ground), rel=0.1)


@pytest.mark.parametrize("thickness", [0.6, 1.0, 1.4, 3.0])
def test_equal_layers_are_one_soil(thickness: float) -> None:
    start, end, chain = _chains(3)
    soil = {"chain": chain, "resistivity_ohm_m": 30.0, "frequency_hz": 200e3}
    one, two = (
        _matrices(start, end, **soil),
        _matrices(start, end, **soil, top_thickness_m=thickness, lower_resistivity_ohm_m=30.0),
    )
    for wanted, got in zip(one, two, strict=True):
        assert np.abs(got - wanted).max() < 1e-6 * np.abs(wanted).max()


def test_nan_is_one_soil() -> None:
    start, end, chain = _chains(4)
    one = _matrices(start, end, chain=chain)
    two = _matrices(start, end, chain=chain, top_thickness_m=math.nan, lower_resistivity_ohm_m=math.nan)
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))


@given(
    seed=st.integers(0, 10_000),
    soils=st.tuples(st.floats(10.0, 1000.0), st.floats(10.0, 1000.0)),
    thickness=st.floats(0.2, 3.0),
    frequency=st.floats(500.0, 200e3),
)
@settings(max_examples=6, deadline=None)
def test_passive(seed: int, soils: tuple[float, float], thickness: float, frequency: float) -> None:
    # energy, as in one soil: Im Z and Re P positive definite, Re Z positive semidefinite; also where a wire lies in the
    # interface (chains 0.4 to 2.5 m deep)
    start, end, chain = _chains(seed)
    soil = {"resistivity_ohm_m": soils[0], "top_thickness_m": thickness, "lower_resistivity_ohm_m": soils[1]}
    Z, P = _matrices(start, end, chain=chain, frequency_hz=frequency, **soil)
    assert np.array_equal(Z, Z.T)
    assert np.array_equal(P, P.T)
    assert np.linalg.eigvalsh(Z.imag)[0] > 0.0
    assert np.linalg.eigvalsh(P.real)[0] > 0.0
    assert np.linalg.eigvalsh(Z.real)[0] > -1e-6 * np.linalg.eigvalsh(Z.imag)[-1]


def test_a_wire_in_the_interface_stays_definite() -> None:
    start, end, chain = _chains(3)
    depth = float(start[0, 2])
    for shift in (-0.005, 0.0, 0.005):
        soil = {"resistivity_ohm_m": 10.0, "top_thickness_m": depth + shift, "lower_resistivity_ohm_m": 500.0}
        _, P = _matrices(start, end, chain=chain, **soil)
        assert np.linalg.eigvalsh(P.real)[0] > 0.0


def test_electrodes_carry_nothing_along() -> None:
    start, end = [[0.0, 0.0, 0.1], [2.0, 0.0, 1.5]], [[0.0, 0.0, 0.5], [4.0, 0.0, 1.5]]
    soil = {"electrode": np.array([True, False]), "top_thickness_m": 0.8, "lower_resistivity_ohm_m": 20.0}
    Z, P = _matrices(start, end, **soil)
    assert Z[0, 0] == Z[0, 1] == Z[1, 0] == 0.0
    assert P[0, 1].real > 0.0


def test_same_input_same_bytes() -> None:
    start, end, chain = _chains(5)
    soil = {"chain": chain, "top_thickness_m": 1.0, "lower_resistivity_ohm_m": 20.0}
    first, second = _matrices(start, end, **soil), _matrices(start, end, **soil)
    assert all(a.tobytes() == b.tobytes() for a, b in zip(first, second, strict=True))


def test_table_has_the_shape_it_states() -> None:
    layers = layers_of(100.0, 1e4, top_thickness_m=1.0, lower_resistivity_ohm_m=20.0)
    assert layers is not None
    table = layer_table(layers, (0.5, 1.0), (1.0, 2.0), rho_max_m=50.0)
    assert table.rests.shape == (RHO_NODES, DEPTH_NODES, DEPTH_NODES, 2)
    assert table.scale.shape == (6,)
    assert table.thickness_m == 1.0


def test_half_a_second_layer_is_refused() -> None:
    with pytest.raises(DomainError, match="two layers need"):
        _matrices([[0, 0, 1]], [[2, 0, 1]], top_thickness_m=1.0)
