"""A small network with something of every kind that the records may leave open."""

from dataclasses import dataclass

import pytest

from corridor import Site
from corridor.plan.prepare import Connected, Prepared, connect, hookup_of, prepare
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import SETTINGS, access, bond, cable, ground, square

EQUIPMENT = at_frequencies(1000.0, 50_000.0)
LENGTH_M = 60.0


@dataclass(frozen=True)
class Open:
    """A site, its network and the drives on it."""

    site: Site
    connected: Connected
    prepared: Prepared


@pytest.fixture(scope="session")
def opened() -> Open:
    """Two cables 1.5 m apart with a suspected bond, a gasketed pipe beside them, measured grounds, soil in a range."""
    pipe = {"utility": "water", "asset": "pipe", "material": "ductile_iron", "diameter_mm": 170.0, "wall_mm": 9.0,
            "joints": "gasketed", "joint_spacing_m": 20.0, "coating": "bitumen"}  # fmt: skip
    site = make_site(
        lines=[
            cable("A", horizontal_accuracy_m=0.4, vertical_accuracy_m=0.2),
            cable("B", 1.5, quality_level="a"),
            cable("P", 3.5, **pipe),
        ],
        bonds=[bond("X", "B", (LENGTH_M, 0.75), state="unknown", evidence="suspected", probability=0.3)],
        grounds=[ground("A", LENGTH_M), ground("B", 0, 1.5)],
        soil=[square(resistivity_ohm_m=100.0, low_ohm_m=50.0, high_ohm_m=400.0)],
        work_area=[square()],
        **access("A"),
    )
    connected = connect(site, equipment=EQUIPMENT, settings=SETTINGS)
    ready = connected.hookups[connected.hookups["ready"] == "ready"]
    prepared = prepare(
        connected,
        [hookup_of(row) for _, row in ready.iterrows()],
        ready["hookup_id"].tolist(),
        frequencies_hz=EQUIPMENT.common_frequencies_hz,
        equipment=EQUIPMENT,
        settings=SETTINGS,
    )
    return Open(site, connected, prepared)
