"""Small sites that several tests of the plan trace and review."""

from typing import Any

import pytest

from corridor import Settings, Site
from corridor.settings import SolverSettings
from tests.builders import make_site

SETTINGS = Settings(solver=SolverSettings(section_max_m=6.0, section_close_m=2.0, workers=1))
LENGTH_M = 60.0
CABLE = {"utility": "telecommunications", "asset": "cable", "material": "copper", "coating": "polyethylene",
         "diameter_mm": 12.0, "conductor_mm2": 20.0, "depth_m": 1.0}  # fmt: skip


def cable(line_id: str, y_m: float = 0.0, **more: Any) -> dict[str, Any]:
    """A jacketed cable along x."""
    return CABLE | {"line_id": line_id, "geometry": [(0, y_m), (LENGTH_M, y_m)]} | more


def bond(bond_id: str, line_b: str, xy: tuple[float, float], **more: Any) -> dict[str, Any]:
    """A bond of line A to another at a place."""
    recorded = {"state": "closed", "evidence": "recorded", "resistance_ohm": 0.01}
    return {"bond_id": bond_id, "line_a": "A", "line_b": line_b, "geometry": xy} | recorded | more


def access(line_id: str, y_m: float = 0.0) -> dict[str, list[dict[str, Any]]]:
    """A handhole at the start and one a quarter along, for direct connection and clamp."""
    places = {f"{line_id}-S": ("start", 0.0), f"{line_id}-M": ("through", LENGTH_M / 4)}
    return {
        "structures": [
            {"structure_id": name, "kind": "handhole", "access": "footway", "geometry": (x, y_m)}
            for name, (_, x) in places.items()
        ],
        "terminations": [
            {"structure_id": name, "line_id": line_id, "at": at, "direct": "yes", "clamp": "yes"}
            for name, (at, _) in places.items()
        ],
    }


def ground(line_id: str, x_m: float, y_m: float = 0.0, ohm: float = 10.0) -> dict[str, Any]:
    """A measured ground."""
    return {"ground_id": f"{line_id}@{x_m:g}", "line_id": line_id, "geometry": (x_m, y_m), "resistance_ohm": ohm,
            "evidence": "measured"}  # fmt: skip


def square(half_m: float = 500.0, **columns: Any) -> dict[str, Any]:
    """A square polygon around everything."""
    return {"geometry": [(-half_m, -half_m), (half_m, -half_m), (half_m, half_m), (-half_m, half_m)]} | columns


KNOWN_SOIL = square(resistivity_ohm_m=100.0, low_ohm_m=100.0, high_ohm_m=100.0)


@pytest.fixture(scope="session")
def alone() -> Site:
    """One jacketed cable, grounded at both ends, in known soil: nothing about it is open."""
    return make_site(
        lines=[cable("A")],
        grounds=[ground("A", 0), ground("A", LENGTH_M)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
        **access("A"),
    )


@pytest.fixture(scope="session")
def four_bonded() -> Site:
    """Four equal cables side by side, bonded at both ends and grounded at the far one."""
    others = {"B": -0.4, "C": 0.4, "D": 0.8}
    return make_site(
        lines=[cable("A"), *(cable(name, y) for name, y in others.items())],
        bonds=[bond(f"{name}{x:g}", name, (x, 0)) for name in others for x in (0.0, LENGTH_M)],
        grounds=[ground("A", LENGTH_M)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
        **access("A"),
    )


def doubtful(**state: Any) -> Site:
    """A cable and its neighbour with a bond between their far ends, of a given state."""
    return make_site(
        lines=[cable("A"), cable("B", 1.5)],
        bonds=[bond("X", "B", (LENGTH_M, 0.75), **state)],
        grounds=[ground("A", LENGTH_M), ground("B", 0, 1.5)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
        **access("A"),
    )
