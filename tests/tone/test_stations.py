"""Readings at stations: the batch agrees with the pieces it is made of."""

import cmath
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.field import eddy_matrices, field_matrices, profile_points
from corridor.tone.receiver import Reading, station_readings
from corridor.tone.stations import StationMatrices

OFFSETS_M = np.linspace(-2.5, 2.5, 41)
RECEIVER: dict[str, Any] = {"offsets_m": OFFSETS_M, "lower_coil_height_m": 0.1, "coil_spacing_m": 0.5}
STATIONS = {"station_xy_m": [[-5.0, 0.0], [0.0, 0.0], [6.0, 0.0]], "direction": [[1.0, 0.0]] * 3}


def two_lines(separation_m: float, depth_m: float = 1.0, half_length_m: float = 60.0) -> Any:
    """Target along x and a neighbour to its left, 1 m pieces; start, end and the target's mask."""
    x = np.arange(-half_length_m, half_length_m)
    start = np.vstack([np.column_stack((x, np.full_like(x, y), np.full_like(x, depth_m))) for y in (0.0, separation_m)])
    return start, np.add(start, [1.0, 0.0, 0.0]), np.arange(len(start)) < len(x)


def currents(target: NDArray[np.bool_], neighbour: list[complex]) -> NDArray[np.complex128]:
    return np.where(target[:, None], 1.0, np.array(neighbour)[None, :]).astype(complex)


def test_batch_reads_what_its_pieces_read() -> None:
    start, finish, target = two_lines(1.2)
    rng = np.random.default_rng(5)
    current = currents(target, [0.4, -0.3j]) * rng.uniform(0.9, 1.1, (len(start), 1))
    leak = rng.normal(0.0, 1e-3, (len(start), 2)) + 0j
    gamma = 0.05 + 0.05j
    batch = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER).read(current, leak, gamma_per_m=gamma)
    profiles = []
    for height in (0.1, 0.6):
        points, axis = profile_points(*STATIONS.values(), OFFSETS_M, height_m=height)
        direct = field_matrices(points, start, finish, axis=axis)
        eddy = eddy_matrices(points, start, finish, axis=axis, gamma_per_m=gamma)
        h, q, v = (d + e for d, e in zip(direct, eddy, strict=True))
        profiles.append([(h @ current + q @ leak).reshape(3, 41, 2), (v @ current).reshape(3, 41, 2)])
    pieces = station_readings(
        profiles[0][0], profiles[1][0], profiles[0][1], OFFSETS_M, coil_spacing_m=0.5, lower_coil_height_m=0.1
    )
    # the eddy correction from three nodes: 3e-4 of the field
    assert batch.peak_offset_m == pytest.approx(pieces.peak_offset_m, abs=1e-3)
    assert batch.null_offset_m == pytest.approx(pieces.null_offset_m, abs=1e-3)
    assert batch.depth_m == pytest.approx(pieces.depth_m, rel=2e-3)
    assert batch.current_a == pytest.approx(pieces.current_a, rel=2e-3)


def test_one_line_reads_true_at_every_station() -> None:
    start, finish, target = two_lines(1.0)
    reading = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER).read(
        currents(target, [0.0]), np.zeros((len(start), 1)), target=target
    )
    # cut off at 54 m: d^2/(2 D^2) = 2e-4 of the field
    assert reading.depth_m == pytest.approx(np.full((3, 1), 1.0), rel=2e-3)
    assert reading.signed_current_a == pytest.approx(np.full((3, 1), 1.0), rel=2e-3)
    assert np.abs(reading.peak_offset_m).max() < 1e-3
    assert not reading.masked.any()


def test_soil_lowers_the_reading() -> None:
    # Lenz's law: eddy currents oppose the line; 100 ohm m, 50 kHz
    gamma = cmath.sqrt(1j * TWO_PI * 50e3 * MU_0 / 100.0)
    start, finish, target = two_lines(1.0)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    leak = np.zeros((len(start), 1))
    dry = stations.read(currents(target, [0.0]), leak)
    wet = stations.read(currents(target, [0.0]), leak, gamma_per_m=gamma)
    assert np.all(wet.field_t < dry.field_t)
    assert np.all(wet.depth_m < dry.depth_m)


@pytest.mark.parametrize("gamma", [None, 0.28 + 0.28j])
def test_stronger_neighbour_masks_only_with_the_target_named(gamma: complex | None) -> None:
    start, finish, target = two_lines(0.5)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    leak = np.zeros((len(start), 2))
    named = stations.read(currents(target, [0.3, 3.0]), leak, target=target, gamma_per_m=gamma)
    assert named.masked.tolist() == [[False, True]] * 3
    assert not stations.read(currents(target, [0.3, 3.0]), leak, gamma_per_m=gamma).masked.any()


def test_steep_soil_gets_more_nodes() -> None:
    # 10 ohm m, 200 kHz: three nodes would be 1 % off, five are 2e-3 (checked with the field's own tests)
    start, finish, _ = two_lines(1.0, depth_m=0.6)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    assert len(stations._eddy_nodes(0.28 + 0.28j)) == 5
    assert len(stations._eddy_nodes(0.05 + 0.05j)) == 3


def test_reference_and_search_width_reach_the_receiver() -> None:
    start, finish, target = two_lines(2.0, depth_m=0.6)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    leak = np.zeros((len(start), 1))
    wide = stations.read(currents(target, [2.0]), leak, reference_a=1j)
    narrow = stations.read(currents(target, [2.0]), leak, reference_a=1j, search_half_width_m=1.0)
    assert wide.peak_offset_m == pytest.approx(np.full((3, 1), 2.0), abs=0.05)
    assert np.abs(narrow.peak_offset_m).max() < 0.2
    assert wide.phase_deg == pytest.approx(np.full((3, 1), -90.0))


def test_solutions_do_not_mix() -> None:
    start, finish, target = two_lines(1.0)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    both = currents(target, [0.4, -0.4])
    leak = np.zeros((len(start), 2))
    together = stations.read(both, leak, target=target, gamma_per_m=0.05 + 0.05j)
    for k in range(2):
        alone = stations.read(both[:, [k]], leak[:, [k]], target=target, gamma_per_m=0.05 + 0.05j)
        for name in Reading.__dataclass_fields__:
            assert getattr(together, name)[:, k] == pytest.approx(getattr(alone, name)[:, 0], rel=1e-9, abs=1e-9)


def test_strongest_line_is_the_one_a_crew_would_mark() -> None:
    start, finish, target = two_lines(1.5, depth_m=0.6)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    current, leak = currents(target, [0.3, 3.0, -3.0]), np.zeros((len(start), 3))
    line = np.where(target, 0, 1)
    at = stations.read(current, leak).peak_offset_m
    assert stations.strongest_line(current, leak, at_offset_m=at, line=line).tolist() == [[0, 1, 1]] * 3
    others = stations.strongest_line(current, leak, at_offset_m=at, line=line, leave_out=0)
    assert others.tolist() == [[1, 1, 1]] * 3


def test_leaks_count_for_the_strongest_line() -> None:
    start, finish, target = two_lines(1.5)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    nothing = np.zeros((len(start), 1))
    leak = np.where(target, 0.0, np.linspace(0.0, 1.0, len(start)))[:, None]
    at = np.zeros((3, 1))
    keywords: dict[str, Any] = {"at_offset_m": at, "line": np.where(target, 0, 1)}
    assert stations.strongest_line(nothing, leak, **keywords).tolist() == [[1]] * 3
    assert stations.strongest_line(nothing, nothing, **keywords).tolist() == [[-1]] * 3


@pytest.mark.parametrize(("name", "value"), [("line", [0, 1]), ("at_offset_m", np.zeros(3))])
def test_strongest_line_needs_fitting_shapes(name: str, value: Any) -> None:
    start, finish, target = two_lines(1.5)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    keywords: dict[str, Any] = {"at_offset_m": np.zeros((3, 1)), "line": np.where(target, 0, 1)} | {name: value}
    with pytest.raises(DomainError, match=f"{name} must have shape"):
        stations.strongest_line(np.ones((240, 1)), np.zeros((240, 1)), **keywords)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"current_a": np.ones(240)}, "current_a must have shape"),
        ({"current_a": np.ones((5, 1))}, "current_a must have shape"),
        ({"leak_a": np.ones((240, 2))}, "leak_a must have shape"),
        ({"target": np.ones(3, dtype=bool)}, "target must have shape"),
        ({"current_a": np.full((240, 1), np.nan)}, "must be finite"),
        ({"gamma_per_m": -1.0}, "gamma_per_m must have a positive real part"),
    ],
)
def test_wrong_input_gets_one_sentence(change: dict[str, Any], message: str) -> None:
    start, finish, _ = two_lines(1.0)
    stations = StationMatrices(**STATIONS, start_m=start, end_m=finish, **RECEIVER)
    arguments: dict[str, Any] = {"current_a": np.ones((240, 1)), "leak_a": np.zeros((240, 1))}
    with pytest.raises(DomainError, match=message):
        stations.read(**(arguments | change))
