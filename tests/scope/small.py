"""A dig of twelve squares, small enough to be counted by hand."""

from typing import Any

from corridor import Settings, Site
from corridor.settings import ScopeSettings
from tests.builders import make_site

PLASTIC = {"utility": "water", "asset": "pipe", "material": "polyethylene", "conductive": "no", "diameter_mm": 100.0}
SQUARES = Settings(scope=ScopeSettings(cell_m=10.0, shape="square"))

LINES: list[dict[str, Any]] = [
    {"line_id": "A", "geometry": [(-5, 5), (45, 5)], "depth_m": 0.8},
    {"line_id": "B", "geometry": [(-5, 7), (45, 7)], "depth_m": 1.6, "utility": "gas"},
    {"line_id": "C", "geometry": [(15, -5), (15, 35)], "depth_m": 2.6},
    {"line_id": "D", **PLASTIC, "geometry": [(25, 25), (35, 25)], "depth_m": 1.0},
    {"line_id": "P", "geometry": [(0, 15), (40, 15)], "status": "proposed"},
]
"""Two side by side 2 m apart through the lowest row, one across column two, one at the top right, one proposed."""

DIG = [
    {"geometry": [(0, 0), (20, 0), (20, 30), (0, 30)], "phase": "1", "dig_depth_m": 1.2},
    {"geometry": [(20, 0), (40, 0), (40, 30), (20, 30)], "phase": "2", "dig_depth_m": 2.0},
]
"""40 m by 30 m: four columns and three rows of squares of 10 m, cut in two phases of six."""


def twelve(**more: Any) -> Site:
    """The twelve squares, with anything more or other."""
    return make_site(**({"lines": LINES, "work_area": DIG} | more))
