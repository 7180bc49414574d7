"""Electric field that a loop above ground makes in the soil, against empymod and the long line's closed form."""

import cmath
from collections.abc import Callable
from typing import Any

import empymod
import numpy as np
import pytest
from numpy.typing import NDArray

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.tone.sources import LoopSource, induction_emf, loop_moment_am2

SOURCE = "empymod (Werthmueller 2017)"
PERMITTIVITY = 10.0
HEIGHT_M, DEPTH_M = 0.4, 1.0
LOOP = LoopSource(area_m2=0.05, turn_inductance_h=0.7e-6, quality_factor=50.0, power_w=1.0)  # engineering estimate
AXES = {"x": (0.0, 0.0, [1.0, 0.0, 0.0]), "y": (90.0, 0.0, [0.0, 1.0, 0.0]), "z": (0.0, 90.0, [0.0, 0.0, -1.0])}
# empymod counts vertical axes downward, hence -1. Its magnetic source is a magnetic current, for a moment
# j omega mu_0 m, in the sense opposite to ours; Faraday's law in tests/tone/test_sources.py settles our sign.
EMPYMOD_SENSE = -1.0


def gamma_per_m(resistivity_ohm_m: float, frequency_hz: float) -> complex:
    omega = TWO_PI * frequency_hz
    return cmath.sqrt(1j * omega * MU_0 * (1 / resistivity_ohm_m + 1j * omega * EPSILON_0 * PERMITTIVITY))


def fields_v_per_m(
    axis: str, component: str, points: NDArray[np.float64], **soil: float
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return our field and empymod's at points (n, 2) and 1 m depth, per A m^2."""
    azimuth, dip, moment = AXES[axis]
    theirs = empymod.bipole(
        src=[0.0, 0.0, -HEIGHT_M, azimuth, dip],
        rec=[points[:, 0], points[:, 1], np.full(len(points), DEPTH_M), 0.0 if component == "x" else 90.0, 0.0],
        depth=[0.0],
        res=[2e14, soil["resistivity_ohm_m"]],
        epermH=[1.0, PERMITTIVITY],
        epermV=[1.0, PERMITTIVITY],
        freqtime=soil["frequency_hz"],
        msrc=True,
        mrec=False,
        strength=1,
        verb=1,
    )
    half = 0.005 * np.array([[1.0, 0.0, 0.0] if component == "x" else [0.0, 1.0, 0.0]])
    middle = np.column_stack((points, np.full(len(points), DEPTH_M)))
    ours = induction_emf(
        middle - half,
        middle + half,
        moment_am2=moment,
        position_m=[0.0, 0.0, HEIGHT_M],
        frequency_hz=soil["frequency_hz"],
        gamma_per_m=gamma_per_m(**soil),
    )
    return ours / 0.01, EMPYMOD_SENSE * 1j * TWO_PI * soil["frequency_hz"] * MU_0 * np.asarray(theirs)


def on_axis(*x: float) -> NDArray[np.float64]:
    return np.column_stack((x, np.zeros(len(x))))


@pytest.mark.parametrize(
    ("resistivity_ohm_m", "frequency_hz", "near_bar", "far_bar"),
    [
        (100.0, 1e3, 0.015, 0.03),
        (100.0, 10e3, 0.015, 0.03),
        (100.0, 50e3, 0.015, 0.03),
        (1000.0, 50e3, 0.015, 0.03),
        (10.0, 50e3, 0.08, 0.08),
    ],
)
def test_field_along_the_line_is_empymods(
    agrees: Callable[..., None], resistivity_ohm_m: float, frequency_hz: float, near_bar: float, far_bar: float
) -> None:
    # empymod (Werthmueller 2017, Geophysics 82(6) WB9); axis square to the line, points along it. The bars are the
    # known error of one complex image. Zero offset is inaccurate there, so that the first point stands 5 cm off.
    soil = {"resistivity_ohm_m": resistivity_ohm_m, "frequency_hz": frequency_hz}
    for points, bar in ((on_axis(0.05, 0.5, 1.0, 2.0), near_bar), (on_axis(3.0, 5.0, 7.0, 10.0), far_bar)):
        ours, theirs = fields_v_per_m("y", "x", points, **soil)
        name = f"field up to {points[-1, 0]:g} m"
        agrees(name, ours * 1e9, theirs * 1e9, within=bar, source=SOURCE, unit="nV/m")


@pytest.mark.parametrize(
    ("axis", "component"), [("x", "x"), ("x", "y"), ("y", "x"), ("y", "y"), ("z", "x"), ("z", "y")]
)
def test_every_axis_and_component_is_empymods_near_the_loop(
    agrees: Callable[..., None], axis: str, component: str
) -> None:
    # empymod again, points all round and off the axes; relative to the largest, since components change sign
    points = np.array([[0.7, 0.5], [1.5, -1.0], [-2.0, 0.6], [-0.4, -1.9], [3.0, 2.0]])
    ours, theirs = fields_v_per_m(axis, component, points, resistivity_ohm_m=100.0, frequency_hz=10e3)
    of = np.abs(theirs).max() * 1e9
    agrees("field", ours * 1e9, theirs * 1e9, of=of, within=0.015, source=SOURCE, unit="nV/m")


def test_without_the_image_the_field_is_farther_off() -> None:
    # guards the image: at 10 ohm m and 50 kHz the soil's own currents take a good part of the field
    points = on_axis(0.5, 1.0, 2.0)
    ours, theirs = fields_v_per_m("y", "x", points, resistivity_ohm_m=10.0, frequency_hz=50e3)
    half = np.array([[0.005, 0.0, 0.0]])
    middle = np.column_stack((points, np.full(3, DEPTH_M)))
    bare: Any = induction_emf(
        middle - half, middle + half, moment_am2=[0, 1, 0], position_m=[0, 0, HEIGHT_M], frequency_hz=50e3
    )
    assert np.abs(bare / 0.01 / theirs - 1.0).max() > 2.0 * np.abs(ours / theirs - 1.0).max()


def long_line(offset_m: float) -> NDArray[np.float64]:
    """Nodes to 100 km on either side, as far apart as a twentieth of their distance."""
    x = np.sinh(np.linspace(-12.2, 12.2, 489))
    return np.column_stack((x, np.full_like(x, offset_m), np.full_like(x, DEPTH_M)))


@pytest.mark.parametrize("frequency_hz", [8e3, 33e3, 80e3])
def test_long_line_gets_the_total_of_the_closed_form(agrees: Callable[..., None], frequency_hz: float) -> None:
    # flux of a dipole beyond a long line at distance z, mu_0 m/(2 pi z) (textbook), times omega; 1.4 m from loop to
    # line. Own arithmetic for this loop: 14, 27, 43 mV. The ends
    # leave a share of z over the half length out.
    nodes = long_line(0.0)
    moment = float(loop_moment_am2(frequency_hz, LOOP))
    total = induction_emf(
        nodes[:-1], nodes[1:], moment_am2=[0, moment, 0], position_m=[0, 0, HEIGHT_M], frequency_hz=frequency_hz
    ).sum()
    flux = TWO_PI * frequency_hz * MU_0 * moment / (TWO_PI * 1.4)
    agrees(
        "total EMF", 1e3 * abs(total), 1e3 * flux, within=1e-4, source="flux beyond a long line (textbook)", unit="mV"
    )
    assert 1000.0 * abs(total) == pytest.approx({8e3: 14.0, 33e3: 27.0, 80e3: 43.0}[frequency_hz], abs=0.5)


def test_neighbour_beside_the_target_gets_less(agrees: Callable[..., None]) -> None:
    # flux beyond an infinite line at offset s: z/(z^2 + s^2), so that 1 m aside at z = 1.4 m leaves 66 % (textbook)
    def total(offset_m: float) -> float:
        nodes = long_line(offset_m)
        emf = induction_emf(nodes[:-1], nodes[1:], moment_am2=[0, 1, 0], position_m=[0, 0, HEIGHT_M], frequency_hz=10e3)
        return float(abs(emf.sum()))

    share = total(1.0) / total(0.0)
    agrees("share", share, 1.4**2 / (1.4**2 + 1.0), within=1e-3, source="flux beyond a long line (textbook)")
