"""Matrices of the sections: pair by pair against quadrature, definiteness, electrodes and refusals."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.constants import MU_0
from corridor.errors import DomainError
from corridor.tone.electrodes import equivalent_rod_length_m, rod_resistance
from corridor.tone.ground import Ground, ground_of
from corridor.tone.integrals import inverse_distance_integrals, wire_sections
from corridor.tone.matrices import section_kernel, section_matrices
from corridor.tone.pairs import mutual_impedance
from tests.tone.grids import Grid

Array = NDArray[np.float64]
RADIUS_M = 0.02


def _matrices(start: Any, end: Any, **change: Any) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    n = len(start)
    radius = change.pop("radius_m", np.full(n, RADIUS_M))
    integrals = inverse_distance_integrals(
        start,
        end,
        radius_m=radius,
        outer_radius_m=change.pop("outer_radius_m", radius),
        chain=change.pop("chain", np.arange(n)),
    )
    values: dict[str, Any] = {
        "series_ohm_per_m": np.zeros(n),
        "coating_s_per_m": np.full(n, np.inf),
        "electrode": np.zeros(n, dtype=bool),
        "electrode_ohm": np.full(n, np.nan),
        "frequency_hz": 10e3,
        "resistivity_ohm_m": 100.0,
        **change,
    }
    return section_matrices(start, end, integrals=integrals, **values)


def _chains(seed: int, sections: int = 12) -> tuple[Array, Array, NDArray[np.int64]]:
    """Three bent chains of touching sections at different depths."""
    rng = np.random.default_rng(seed)
    starts, ends, chains = [], [], []
    for chain in range(3):
        heading = np.cumsum(rng.normal(0.0, 0.3, sections)) + rng.uniform(0.0, 2 * math.pi)
        steps = np.column_stack([np.cos(heading), np.sin(heading), np.zeros(sections)]) * rng.uniform(0.8, 2.5)
        places = np.vstack([np.zeros(3), np.cumsum(steps, axis=0)])
        places += np.array([*rng.uniform(-10.0, 10.0, 2), rng.uniform(0.4, 2.5)])
        starts.append(places[:-1])
        ends.append(places[1:])
        chains.append(np.full(sections, chain))
    return np.vstack(starts), np.vstack(ends), np.concatenate(chains)


def _mean_potential(wire_a: Array, wire_b: Array, ground: Ground) -> complex:
    # eight points a wire: the nearest pair, 0.6 m apart and 2 m long, is off by 1.8^-16, 1e-4
    node, weight = np.polynomial.legendre.leggauss(8)
    share, weight = 0.5 * (node + 1.0), 0.5 * weight
    a, b = (w[0] + share[:, None] * (w[1] - w[0]) for w in (wire_a, wire_b))
    rho = np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])
    depth_a, depth_b = np.broadcast_arrays(a[:, None, 2], b[None, :, 2])
    return complex(weight @ ground.potential(rho, depth_a, depth_b) @ weight)


def _end_terms(wire_a: Array, wire_b: Array, ground: Ground) -> complex:
    rho = np.hypot(wire_a[:, None, 0] - wire_b[None, :, 0], wire_a[:, None, 1] - wire_b[None, :, 1])
    depth_a, depth_b = np.broadcast_arrays(wire_a[:, None, 2], wire_b[None, :, 2])
    sign = np.array([-1.0, 1.0])
    return complex(sign @ ground.potential(rho, depth_a, depth_b) @ sign)


PAIRS = {
    "parallel": ([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0]], [[0.5, 0.6, 1.2], [2.5, 0.6, 1.2]]),
    "skew": ([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0]], [[0.5, 1.0, 0.7], [1.5, 2.5, 0.7]]),
    "far": ([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0]], [[30.0, 20.0, 0.7], [31.5, 21.0, 0.7]]),
    "rods": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.8]], [[1.5, 0.0, 0.5], [1.5, 0.0, 1.5]]),
    "riser": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.3]], [[1.0, 0.5, 1.0], [3.0, 0.5, 1.0]]),
    "sloping": ([[0.0, 0.0, 0.6], [1.5, 0.0, 1.6]], [[1.0, 1.5, 1.4], [2.5, 2.0, 0.6]]),
}


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize(("resistivity", "frequency"), [(1000.0, 500.0), (100.0, 50e3), (10.0, 200e3)])
def test_entries_against_the_direct_kernels(pair: str, resistivity: float, frequency: float) -> None:
    # Z is mutual_impedance without the terms of its ends, P the mean potential: both by many points instead of table
    # and two. Tolerance: the smooth part at two Gauss points, relative to the entry.
    wire_a, wire_b = (np.array(w) for w in PAIRS[pair])
    Z, P = _matrices(
        [wire_a[0], wire_b[0]], [wire_a[1], wire_b[1]], resistivity_ohm_m=resistivity, frequency_hz=frequency
    )
    soil = {"resistivity_ohm_m": resistivity, "frequency_hz": frequency}
    ground = ground_of(**soil)
    wanted = mutual_impedance(wire_a, wire_b, **soil) - _end_terms(wire_a, wire_b, ground)
    scale = 2 * math.pi * frequency * MU_0 / (4 * math.pi) * 2.0
    assert abs(Z[0, 1] - wanted) < 3e-3 * abs(wanted) + 1e-3 * scale
    assert P[0, 1] == pytest.approx(_mean_potential(wire_a, wire_b, ground), rel=2e-3)


@given(seed=st.integers(0, 10_000), resistivity=st.floats(10.0, 1000.0), frequency=st.floats(500.0, 200e3))
@settings(max_examples=8, deadline=None)
def test_passive(seed: int, resistivity: float, frequency: float) -> None:
    # energy: Im Z (no joint capacitance) and Re P positive definite, Re Z positive semidefinite
    start, end, chain = _chains(seed)
    Z, P = _matrices(start, end, chain=chain, resistivity_ohm_m=resistivity, frequency_hz=frequency)
    assert np.array_equal(Z, Z.T)
    assert np.array_equal(P, P.T)
    assert np.linalg.eigvalsh(Z.imag)[0] > 0.0
    assert np.linalg.eigvalsh(P.real)[0] > 0.0
    assert np.linalg.eigvalsh(Z.real)[0] > -1e-6 * np.linalg.eigvalsh(Z.imag)[-1]


def test_metal_and_coating_stand_on_the_diagonal() -> None:
    start, end, chain = _chains(3)
    n = len(start)
    length = np.linalg.norm(end - start, axis=1)
    Z, P = _matrices(start, end, chain=chain)
    series, coating = (0.3 + 0.4j) * np.ones(n), np.where(np.arange(n) % 2, 1e-4 + 2e-4j, np.inf)
    Z2, P2 = _matrices(start, end, chain=chain, series_ohm_per_m=series, coating_s_per_m=coating)
    np.testing.assert_allclose(np.diag(Z2 - Z), series * length, rtol=1e-9)
    wanted = np.where(np.arange(n) % 2, 1.0 / ((1e-4 + 2e-4j) * length), 0.0)
    np.testing.assert_allclose(np.diag(P2 - P), wanted, rtol=1e-9, atol=1e-9)
    beside = ~np.eye(n, dtype=bool)
    assert np.array_equal(Z2[beside], Z[beside])
    assert np.array_equal(P2[beside], P[beside])


def test_inductive_self_term_knows_the_metal_leakage_the_coating() -> None:
    bare = _matrices([[0, 0, 1]], [[2, 0, 1]], radius_m=np.array([0.05]))
    coated = _matrices([[0, 0, 1]], [[2, 0, 1]], radius_m=np.array([0.05]), outer_radius_m=np.array([0.08]))
    assert coated[0][0, 0] == bare[0][0, 0]
    # identity (self term at two radii, first order in a/l): the soil term falls by rho/(4 pi l^2) 2 [l ln(b/a) - (b -
    # a)]
    drop = 100.0 / (2 * math.pi * 2.0**2) * (2.0 * math.log(0.08 / 0.05) - 0.03)
    assert (bare[1][0, 0] - coated[1][0, 0]).real == pytest.approx(drop, rel=1e-3)


@pytest.mark.parametrize("layers", [{}, {"top_thickness_m": 3.0, "lower_resistivity_ohm_m": 20.0},
                                    {"top_thickness_m": 0.4, "lower_resistivity_ohm_m": 20.0}])  # fmt: skip
def test_a_coated_wire_cut_in_pieces_is_the_wire(layers: dict[str, float]) -> None:
    # identity: drops and mean potentials of equal pieces with one current and one leak per metre sum to the whole
    # wire's. Tolerance: what is smooth is read at two points a section; with the wrong radius between pieces both
    # are 5 % off
    shares = np.linspace(0.0, 3.0, 31)[:, None]
    places = np.array([0.0, 0.0, 1.0]) + shares * np.array([1.0, 0.0, 0.0])
    radii = {"radius_m": np.full(30, 0.05), "outer_radius_m": np.full(30, 0.08), "chain": np.zeros(30)}
    Z, P = _matrices(places[:-1], places[1:], **radii, **layers)
    one = {"radius_m": np.array([0.05]), "outer_radius_m": np.array([0.08])}
    whole_z, whole_p = _matrices(places[:1], places[-1:], **one, **layers)
    assert Z.sum() == pytest.approx(whole_z[0, 0], rel=1e-3)
    assert P.mean() == pytest.approx(whole_p[0, 0], rel=1e-3)


def test_electrodes_leak_and_do_not_carry() -> None:
    start, end, chain = _chains(4)
    rod_start = start[5] + np.array([0.7, 0.3, 0.0])
    start, end = np.vstack([start, rod_start]), np.vstack([end, rod_start + np.array([0.0, 0.0, 0.4])])
    n = len(start)
    electrode = np.arange(n) == n - 1
    chain = np.append(chain, 99)
    Z, P = _matrices(start, end, chain=chain, electrode=electrode, electrode_ohm=np.where(electrode, 37.0, np.nan))
    assert not Z[-1].any()
    assert not Z[:, -1].any()
    assert P[-1, -1] == 37.0
    _, free = _matrices(start, end, chain=chain, electrode=electrode)
    assert free[-1, -1] != 37.0
    assert np.array_equal(free[:-1], P[:-1])
    assert np.all(P[-1, :-1].real > 0.0)


def test_a_given_resistance_with_its_equivalent_rod_stays_definite() -> None:
    # two good grounds close together: coupling below the resistance of each
    ohm, soil = 5.0, 100.0
    length = equivalent_rod_length_m(ohm, 0.008, soil)
    start, end = np.array([[0.0, 0.0, 0.0], [0.3, 0.0, 0.0]]), np.array([[0.0, 0.0, length], [0.3, 0.0, length]])
    _, P = _matrices(
        start, end, radius_m=np.full(2, 0.008), electrode=[True, True], electrode_ohm=[ohm, ohm], frequency_hz=500.0
    )
    assert P[0, 1].real < ohm
    assert np.linalg.eigvalsh(P.real)[0] > 0.0
    _, free = _matrices(start, end, radius_m=np.full(2, 0.008), electrode=[True, True], frequency_hz=500.0)
    assert free[0, 0].real == pytest.approx(rod_resistance(length, 0.008, soil), rel=2e-3)


def test_a_wire_on_the_surface_is_held_a_little_below() -> None:
    Z, P = _matrices([[0, 0, 0.0], [0, 1, 0.0]], [[2, 0, 0.0], [2, 1, 0.0]])
    assert np.all(np.isfinite(Z)) and np.all(np.isfinite(P))
    # identity (Foster 1933): at the surface the leakage kernel is 2/rho
    assert P[0, 1].real == pytest.approx(100.0 / (2 * math.pi) * 0.8136, rel=0.05)


def test_same_input_same_bytes() -> None:
    start, end, chain = _chains(5)
    first, second = _matrices(start, end, chain=chain), _matrices(start, end, chain=chain)
    assert first[0].tobytes() == second[0].tobytes()
    assert first[1].tobytes() == second[1].tobytes()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"frequency_hz": 0.0}, "frequency_hz"),
        ({"frequency_hz": math.nan}, "frequency_hz"),
        ({"resistivity_ohm_m": -1.0}, "resistivity_ohm_m"),
        ({"relative_permittivity": -1.0}, "relative_permittivity"),
        ({"series_ohm_per_m": [0.0]}, "series_ohm_per_m must have one value"),
        ({"coating_s_per_m": [np.inf, 0.0]}, "section 1: a coating"),
        ({"coating_s_per_m": 1.0}, "coating_s_per_m must have one value"),
        ({"electrode": [True]}, "electrode must have one value"),
        ({"electrode_ohm": [1.0]}, "electrode_ohm must have one value"),
    ],
)
def test_bad_input_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        _matrices([[0, 0, 1], [0, 1, 1]], [[2, 0, 1], [2, 1, 1]], **change)


def test_foreign_integrals_are_refused() -> None:
    one = inverse_distance_integrals([[0, 0, 1]], [[1, 0, 1]], radius_m=[0.01], outer_radius_m=[0.01], chain=[0])
    with pytest.raises(DomainError, match="same n sections"):
        section_matrices(
            [[0, 0, 1], [0, 1, 1]],
            [[1, 0, 1], [1, 1, 1]],
            integrals=one,
            series_ohm_per_m=[0, 0],
            coating_s_per_m=[np.inf, np.inf],
            electrode=[False, False],
            electrode_ohm=[np.nan, np.nan],
            frequency_hz=1e3,
            resistivity_ohm_m=100.0,
        )


@pytest.mark.parametrize(
    "soil", [{}, {"top_thickness_m": 0.9, "lower_resistivity_ohm_m": 300.0}], ids=["one soil", "two layers"]
)
def test_any_block_is_that_of_the_whole_matrices(soil: dict[str, float]) -> None:
    grid = Grid(streets=2, soil={"resistivity_ohm_m": 80.0, **soil})
    whole, n = grid.matrices, grid.layout.n_sections
    rng = np.random.default_rng(0)
    rods = np.flatnonzero(grid.ends[3])
    for rows, columns in (
        (np.arange(n), np.arange(n)),
        (rng.permutation(n)[:40], rng.permutation(n)[:30]),
        (rods, np.arange(10)),
        (np.array([5, 5, 2]), np.array([5])),
        (np.arange(0), np.arange(3)),
    ):
        for matrix, block in zip(whole, grid.kernel.block(rows, columns), strict=True):
            np.testing.assert_allclose(block, matrix[np.ix_(rows, columns)], rtol=1e-11, atol=1e-14)


def test_a_kernel_refuses_what_the_matrices_refuse() -> None:
    grid = Grid(streets=2)
    start, end, _, _ = grid.ends
    with pytest.raises(DomainError, match="frequency_hz"):
        section_kernel(start, end, wires=grid.kernel.wires, **(grid.materials | {"frequency_hz": -1.0}))
    few = {name: values[:-1] for name, values in grid.geometry.items()}
    with pytest.raises(DomainError, match="same n sections"):
        section_kernel(start, end, wires=wire_sections(start[:-1], end[:-1], **few), **grid.materials)
