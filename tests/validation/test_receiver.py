"""Field at the receiver against magpylib (line currents) and empymod (full wave in air and soil)."""

import cmath
import math
from collections.abc import Callable
from typing import Any

import empymod
import magpylib
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.tone.eddy_fields import eddy_matrices
from corridor.tone.field import SurfaceField, field_matrices, profile_nodes, profile_points, profile_weights
from corridor.tone.receiver import station_readings

MAGPYLIB, EMPYMOD = "magpylib, current.Polyline", "empymod (Werthmueller 2017)"
PERMITTIVITY = 10.0
LENGTH_M, DEPTH_M, COIL_M = 20.0, 1.0, 0.1
FAR_DOWN_M = 1e5  # a leak's wire of this length stands for the infinite one: R/(2e10) of its field is missing


def magpylib_field_t(path: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Field of 1 A along a path of x, y, depth; magpylib's frame has z up, as ours."""
    line = magpylib.current.Polyline(current=1.0, vertices=path * [1.0, 1.0, -1.0])
    return np.asarray(line.getB(points)).reshape(-1, 3)


def random_scene() -> tuple[NDArray[np.float64], ...]:
    rng = np.random.default_rng(11)
    start = np.column_stack((rng.uniform(-10, 10, (30, 2)), rng.uniform(0.3, 2.5, 30)))
    finish = start + np.column_stack((rng.uniform(-2, 2, (30, 2)), rng.uniform(0.0, 0.5, 30)))
    finish[::2, 2] = start[::2, 2]  # half of them level
    points = np.column_stack((rng.uniform(-10, 10, (40, 2)), rng.uniform(0.0, 1.0, 40)))
    angle = rng.uniform(0.0, TWO_PI, 40)
    return start, finish, points, np.column_stack((np.cos(angle), np.sin(angle)))


def test_section_currents_agree_with_magpylib(agrees: Callable[..., None]) -> None:
    # magpylib 5 or later, current.Polyline; same law, so that rounding alone separates the two
    start, finish, points, axis = random_scene()
    field = field_matrices(points, start, finish, axis=axis)
    others = np.array([magpylib_field_t(np.array(ends), points) for ends in zip(start, finish, strict=True)]) * 1e9
    size = np.linalg.norm(others, axis=2).max(axis=1, keepdims=True)
    along = np.einsum("jpx,px->jp", others[..., :2], axis)
    for name, ours, theirs in (
        ("horizontal field", field.h_per_current.T, along),
        ("vertical field", field.v_per_current.T, others[..., 2]),
    ):
        agrees(name, ours * 1e9, theirs, of=size, within=1e-8, source=MAGPYLIB, unit="nT")


def test_leaks_agree_with_magpylibs_wires_going_down(agrees: Callable[..., None]) -> None:
    # 200 wires along the section; midpoint rule good to 1e-4 at these distances
    start, finish, points, axis = random_scene()
    for j in (0, 1):  # one level, one sloping
        field = field_matrices(points, start[j : j + 1], finish[j : j + 1], axis=axis).h_per_leak[:, 0]
        total = np.zeros((len(points), 3))
        for share in (np.arange(200) + 0.5) / 200:
            top = start[j] + share * (finish[j] - start[j])
            total += magpylib_field_t(np.array([top, np.add(top, [0.0, 0.0, FAR_DOWN_M])]), points) / 200
        expected = (total[:, :2] * axis).sum(axis=1) * 1e9
        of = np.linalg.norm(total, axis=1).max() * 1e9
        name = "level" if j == 0 else "sloping"
        agrees(name, field * 1e9, expected, of=of, within=3e-4, source=MAGPYLIB, unit="nT")


@pytest.mark.parametrize("neighbour_a", [0.4, -0.4, 0.3j])
def test_readings_agree_with_magpylibs_profile(agrees: Callable[..., None], neighbour_a: complex) -> None:
    # the whole receiver over a bent line and a slanting neighbour, each field from magpylib instead; bar 1 %
    lines = [
        (np.array([[-30.0, 0.0, 1.0], [0.0, 0.0, 1.0], [25.0, 6.0, 1.2]]), 1.0 + 0j),
        (np.array([[-30.0, 1.4, 0.7], [25.0, 2.0, 0.8]]), neighbour_a),
    ]
    offsets = np.linspace(-2.5, 2.5, 41)
    ours, theirs = [], []
    for height in (COIL_M, COIL_M + 0.5):
        points, axis = profile_points([[-5.0, 0.0]], [[1.0, 0.0]], offsets, height_m=height)
        own = np.zeros((2, 41), dtype=complex)
        other = np.zeros((2, 41), dtype=complex)
        for path, current in lines:
            field = field_matrices(points, path[:-1], path[1:], axis=axis)
            b = magpylib_field_t(path, points)
            own += current * np.array([field.h_per_current.sum(axis=1), field.v_per_current.sum(axis=1)])
            other += current * np.array([(b[:, :2] * axis).sum(axis=1), b[:, 2]])
        ours.append(own[:, None, :, None])
        theirs.append(other[:, None, :, None])
    one, two = (
        station_readings(low[0], high[0], low[1], offsets, coil_spacing_m=0.5, lower_coil_height_m=COIL_M)
        for low, high in (ours, theirs)
    )
    for name in ("field_t", "depth_m", "current_a", "signed_current_a"):
        unit = name.split("_")[-1].upper() if name != "depth_m" else "m"
        agrees(name, getattr(one, name), getattr(two, name), within=1e-2, source=MAGPYLIB, unit=unit)
    for name in ("peak_offset_m", "null_offset_m"):
        places = getattr(one, name), getattr(two, name)
        agrees(name, *places, absolute=True, within=1e-3, source=MAGPYLIB, unit="m")


def gamma_per_m(resistivity_ohm_m: float, frequency_hz: float) -> complex:
    omega = TWO_PI * frequency_hz
    return cmath.sqrt(1j * omega * MU_0 * (1 / resistivity_ohm_m + 1j * omega * EPSILON_0 * PERMITTIVITY))


STATIONS_M = np.array([1.0, 5.0, 10.0, 17.0])
OFFSETS_M = np.array([-2.0, -1.0, -0.5, 0.3, 0.6, 1.2, 2.0])


def scene() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    xy = np.column_stack((STATIONS_M, np.zeros(4)))
    return profile_points(xy, np.tile([1.0, 0.0], (4, 1)), OFFSETS_M, height_m=COIL_M)


def of_grounded_wire(matrices: SurfaceField) -> NDArray[np.complex128]:
    """Horizontal and vertical field of 1 A along ten sections, entering and leaving the soil at the tips."""
    current, leak = np.array([1.0] * 10 + [0.0] * 2), np.array([0.0] * 10 + [-1.0, 1.0])
    return np.array([matrices.h_per_current @ current + matrices.h_per_leak @ leak, matrices.v_per_current @ current])


def wire() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x = np.linspace(0.0, LENGTH_M, 11)
    nodes = np.column_stack((x, np.zeros(11), np.full(11, DEPTH_M)))
    tips = nodes[[0, -1]]
    return np.vstack((nodes[:-1], tips)), np.vstack((nodes[1:], np.add(tips, [[1e-4, 0, 0], [-1e-4, 0, 0]])))


def empymod_field_t(resistivity_ohm_m: float, frequency_hz: float) -> NDArray[np.complex128]:
    """Field of the same wire by empymod; its z points down, so that its horizontal magnetic field has our sign turned.

    61 Gauss points on 20 m: a third of a metre, against a least distance of 1.1 m.
    """
    points, _ = scene()
    receivers = [points[:, 0], points[:, 1], np.full(len(points), -COIL_M)]
    field = [
        empymod.bipole(
            src=[0.0, LENGTH_M, 0.0, 0.0, DEPTH_M, DEPTH_M],
            rec=[*receivers, *direction],
            depth=[0.0],
            res=[2e14, resistivity_ohm_m],
            epermH=[1.0, PERMITTIVITY],
            epermV=[1.0, PERMITTIVITY],
            freqtime=frequency_hz,
            mrec=True,
            srcpts=61,
            strength=1,
            verb=1,
        )
        for direction in ((90.0, 0.0), (0.0, 90.0))
    ]
    return np.array(field) * MU_0 * np.array([[-1.0], [1.0]])


def worst_error(ours: NDArray[np.complex128], theirs: NDArray[np.complex128]) -> float:
    return float((np.abs(ours - theirs) / np.linalg.norm(theirs, axis=0)).max())


@pytest.mark.parametrize("resistivity_ohm_m", [100.0, 1000.0])
def test_with_leaks_the_low_frequency_field_is_empymods(agrees: Callable[..., None], resistivity_ohm_m: float) -> None:
    # empymod (Werthmueller 2017, Geophysics 82(6) WB9) at 500 Hz, where eddy currents hardly count: bar 3e-3
    points, axis = scene()
    theirs = empymod_field_t(resistivity_ohm_m, 500.0)
    ours = of_grounded_wire(field_matrices(points, *wire(), axis=axis))
    size = np.linalg.norm(theirs, axis=0) * 1e9
    agrees("field", ours * 1e9, theirs * 1e9, of=size, within=3e-3, source=EMPYMOD, unit="nT")


def test_without_leaks_it_is_not() -> None:
    # guards the check above: near the tips the soil current makes much of the field
    points, axis = scene()
    matrices = field_matrices(points, *wire(), axis=axis)
    bare = of_grounded_wire(matrices._replace(h_per_leak=np.zeros_like(matrices.h_per_leak)))
    assert worst_error(bare, empymod_field_t(100.0, 500.0)) > 0.1


@pytest.mark.parametrize(
    ("resistivity_ohm_m", "frequency_hz", "bar"),
    [
        (100.0, 500.0, 0.001),
        (100.0, 10e3, 0.001),
        (100.0, 50e3, 0.004),
        (100.0, 200e3, 0.015),
        (1000.0, 500.0, 0.001),
        (1000.0, 10e3, 0.001),
        (1000.0, 50e3, 0.008),
        (1000.0, 200e3, 0.04),
        (10.0, 500.0, 0.001),
        (10.0, 10e3, 0.001),
        (10.0, 50e3, 0.002),
        (10.0, 200e3, 0.01),
    ],
)
def test_eddy_correction_brings_the_field_to_empymods(
    agrees: Callable[..., None], resistivity_ohm_m: float, frequency_hz: float, bar: float
) -> None:
    # empymod (Werthmueller 2017) within 2 m of the line; the bars leave room for what the displacement current in the
    # air does, which the correction leaves out: it grows with frequency and with the resistivity
    points, axis = scene()
    matrices = field_matrices(points, *wire(), axis=axis)
    eddy = eddy_matrices(points, *wire(), axis=axis, gamma_per_m=gamma_per_m(resistivity_ohm_m, frequency_hz))
    theirs = empymod_field_t(resistivity_ohm_m, frequency_hz)
    direct = of_grounded_wire(matrices)
    ours = direct + of_grounded_wire(eddy)
    size = np.linalg.norm(theirs, axis=0) * 1e9
    agrees("field", ours * 1e9, theirs * 1e9, of=size, within=bar, source=EMPYMOD, unit="nT")
    corrected = worst_error(ours, theirs)
    if frequency_hz / resistivity_ohm_m >= 500.0:  # where there is much to correct
        assert corrected < 0.5 * worst_error(direct, theirs)


def test_correction_from_five_nodes_is_as_good(agrees: Callable[..., None]) -> None:
    # 10 ohm m, 200 kHz: carried from five nodes of the profile, against empymod with the same bar
    points, axis = scene()
    gamma = gamma_per_m(10.0, 200e3)
    nodes = profile_nodes(OFFSETS_M, 5)
    xy = np.column_stack((STATIONS_M, np.zeros(4)))
    few: Any = profile_points(xy, np.tile([1.0, 0.0], (4, 1)), nodes, height_m=COIL_M)
    at_nodes = of_grounded_wire(eddy_matrices(few[0], *wire(), axis=few[1], gamma_per_m=gamma)).reshape(2, 4, 5)
    carried = (at_nodes @ profile_weights(nodes, OFFSETS_M).T).reshape(2, -1)
    direct = of_grounded_wire(field_matrices(points, *wire(), axis=axis))
    theirs = empymod_field_t(10.0, 200e3)
    size = np.linalg.norm(theirs, axis=0) * 1e9
    agrees("field", (direct + carried) * 1e9, theirs * 1e9, of=size, within=0.01, source=EMPYMOD, unit="nT")


def test_soil_takes_field_away() -> None:
    # a short-cut of the sign: eddy currents oppose the line's own field (Lenz's law)
    start, finish = wire()
    points, axis = profile_points([[10.0, 0.0]], [[1.0, 0.0]], [0.0], height_m=COIL_M)
    direct = of_grounded_wire(field_matrices(points, start, finish, axis=axis))[0, 0]
    eddy = of_grounded_wire(eddy_matrices(points, start, finish, axis=axis, gamma_per_m=gamma_per_m(100.0, 50e3)))[0, 0]
    assert math.pi / 2 < abs(cmath.phase(eddy / direct))
