"""Conductors against geometry, a cable standard's table and a plate capacitor; the written table against the data."""

import importlib.util
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corridor.constants import EPSILON_0, MU_0, TWO_PI
from corridor.site.materials import joint_types
from corridor.tone.conductors import conductor

CABLE = {"line_id": "E", "asset": "cable", "material": "copper", "diameter_mm": 30.0}
PIPE = {"line_id": "S", "asset": "pipe", "material": "reinforced_concrete", "diameter_mm": 900.0}

# IEC 60228, class 2, largest resistance at 20 degrees C in ohm/km, by a cable engineer's page
CLASS_2 = [
    ("copper", 16.0, 1.15), ("copper", 35.0, 0.524), ("copper", 95.0, 0.193), ("copper", 240.0, 0.0754),
    ("copper", 400.0, 0.0470), ("aluminium", 16.0, 1.91), ("aluminium", 95.0, 0.320), ("aluminium", 240.0, 0.125),
]  # fmt: skip


@pytest.mark.parametrize(("material", "mm2", "most_ohm_per_km"), CLASS_2)
def test_stranded_conductors_keep_just_below_the_standards_resistance(
    agrees: Callable[..., None], material: str, mm2: float, most_ohm_per_km: float
) -> None:
    # the standard lets makers save a few per cent of the nominal cross-section
    got = conductor(CABLE | {"material": material, "conductor_mm2": mm2}).series(0.0).real * 1000
    assert got < most_ohm_per_km
    agrees("resistance", got, most_ohm_per_km, within=0.07, source="IEC 60228, class 2", unit="ohm/km")


def strands(layers: int) -> tuple[np.ndarray[Any, Any], float]:
    """Centres of round strands of radius 1 in concentric layers of 6, 12, 18, and the radius of it all."""
    centres = [0j]
    for k in range(1, layers + 1):
        centres += [2 * k * np.exp(2j * math.pi * m / (6 * k)) for m in range(6 * k)]
    return np.array(centres), 2.0 * layers + 1.0


@pytest.mark.parametrize(("layers", "count"), [(1, 7), (2, 19), (3, 37)])
def test_an_equivalent_solid_wire_has_the_strands_resistance_and_nearly_their_inductance(
    agrees: Callable[..., None], layers: int, count: int
) -> None:
    # Maxwell's geometric mean distance, over all pairs of strands that share the current alike; a strand's own is
    # exp(-1/4) of its radius. What the solid wire inside the same circle lacks is mu_0/(2 pi) ln of the ratio: 0.015
    # uH/m at most, of the 1.5 that a wire in the ground has. The fill assumed, 0.76, lies among those of the layers.
    centres, outer = strands(layers)
    assert len(centres) == count
    apart = np.abs(centres[:, None] - centres)
    np.fill_diagonal(apart, math.exp(-0.25))
    mean = math.exp(float(np.log(apart).mean()))
    lacking = MU_0 / TWO_PI * math.log(math.exp(-0.25) * outer / mean)
    assert 0.0 < lacking < 0.015e-6
    agrees("fill", 0.76, count / outer**2, absolute=True, within=0.02, source="geometry of round strands")


@pytest.mark.parametrize("diameter_mm", [400.0, 900.0, 1800.0])
def test_a_cage_has_the_inductance_of_its_bars_in_parallel(agrees: Callable[..., None], diameter_mm: float) -> None:
    # circuit theory: equal bars joined at both ends, each pair coupled by -mu_0/(2 pi) ln d per metre (the common part
    # falls out); solved here as a matrix, in the module by the closed form
    got = conductor(PIPE | {"diameter_mm": diameter_mm})
    angle = TWO_PI * np.arange(got.bars) / got.bars
    places = (diameter_mm / 2 - 25.0) / 1000 * np.exp(1j * angle)
    apart = np.abs(places[:, None] - places)
    np.fill_diagonal(apart, got.bar_radius_m)
    matrix = -np.log(apart / 100.0)  # 100 m stands for the far return: all terms positive
    bars = 1.0 / np.linalg.inv(matrix).sum()
    agrees("L over mu_0/(2 pi)", -math.log(got.radius_m / 100.0), bars, within=1e-9, source="bars in parallel")


def test_a_cage_resists_as_its_steel_does(agrees: Callable[..., None]) -> None:
    # bars of 6 mm every 0.2 m round a circle of 0.85 m: rho over the area of all of them
    got = conductor(PIPE)
    assert got.bars == 13
    steel = 1.7e-7 / (13 * math.pi * 0.003**2)
    agrees("resistance", got.series(0.0).real, steel, within=1e-6, source="rho over area", unit="ohm/m")


@pytest.mark.parametrize(("inside_mm", "outside_mm"), [(55.0, 90.0), (168.0, 285.0), (610.0, 815.0)])
@pytest.mark.parametrize(("gasket_mm", "permittivity"), [(1.5, 5.0), (5.0, 3.0)])
def test_an_isolating_flange_is_the_capacitor_that_its_faces_make(
    inside_mm: float, outside_mm: float, gasket_mm: float, permittivity: float
) -> None:
    # plate capacitor (textbook), faces of small to large flanges (engineering estimate): within the table's range
    area = math.pi / 4 * (outside_mm**2 - inside_mm**2) * 1e-6
    capacitance = EPSILON_0 * permittivity * area / (gasket_mm / 1000)
    table = joint_types()["isolating_joint"]
    assert table.open_low_f < capacitance < table.open_high_f


@pytest.mark.parametrize("overlap_mm", [40.0, 110.0])
@pytest.mark.parametrize("gap_mm", [2.0, 6.0])
def test_a_gasketed_joint_is_within_the_range_of_the_cylinder_that_it_makes(overlap_mm: float, gap_mm: float) -> None:
    # coaxial cylinder (textbook) of spigot and bell of a 170 mm pipe, the gap filled with rubber or moist earth
    for permittivity in (3.0, 20.0):
        capacitance = TWO_PI * EPSILON_0 * permittivity * overlap_mm / 1000 / math.log1p(gap_mm / 85.0)
        assert joint_types()["gasketed"].open_low_f < capacitance < joint_types()["gasketed"].open_high_f


def test_the_written_table_is_current() -> None:
    path = Path(__file__).parents[2] / "docs" / "make_conductors.py"
    spec = importlib.util.spec_from_file_location("make_conductors", path)
    assert spec and spec.loader
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    text = script.conductors_text()
    assert script.TARGET.read_text(encoding="utf-8") == text, "run python docs/make_conductors.py"
    assert text.count("\n| ") > 35
    for line in text.splitlines():
        assert not line.endswith("|  |")  # every value has a source
