"""The downtown block under construction: its streets, and the lines that later steps refer to by name."""

from dataclasses import dataclass, field
from typing import Any

from .draft import Draft, Line
from .streets import EAST_WEST, NORTH_SOUTH, Street

NORTH = Street(EAST_WEST, 28.0, 1)
SOUTH = Street(EAST_WEST, -28.0, -1)
WEST = Street(NORTH_SOUTH, -38.0, -1)
EAST = Street(NORTH_SOUTH, 38.0, 1)
ALLEY = Street(EAST_WEST, 0.0, -1)
WORK_AREA = ((-48.0, -36.0), (46.0, -36.0), (46.0, 36.0), (-48.0, 36.0))


@dataclass
class Block:
    """The block under construction: its draft and the lines and structures that later steps refer to by name."""

    draft: Draft
    lines: dict[str, Line] = field(default_factory=dict)
    structures: dict[str, str] = field(default_factory=dict)

    def main(
        self, name: str, template: str, street: Street, reach: tuple[float, float, float], **attributes: Any
    ) -> Line:
        """Lay a main along a street: reach is offset, first and last station, m."""
        path = street.main(*reach, self.draft.rng)
        self.lines[name] = self.draft.line(template, path, **attributes)
        return self.lines[name]

    def edge(self, side: int, nearest_m: float, farthest_m: float) -> float:
        """Return the station, m, at which a line leaves the records on a side (-1 or +1)."""
        return side * round(float(self.draft.rng.uniform(nearest_m, farthest_m)), 1)
