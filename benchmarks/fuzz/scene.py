"""A small invented street as rows of layers, and what a case of the fuzz is: files, options, and what was written."""

import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

__all__ = ["CRS", "Case", "Scene", "X", "Y", "scene"]

CRS = "EPSG:32631"
X, Y = 500_000.0, 6_000_000.0  # metres; open sea
KINDS = (
    ("water", "pipe", "ductile_iron"), ("gas", "pipe", "steel"), ("electricity", "cable", "copper"),
    ("telecommunications", "cable", "copper"), ("sewer", "pipe", "vitrified_clay"),
)  # fmt: skip

Row = dict[str, Any]
Scene = dict[str, list[Row]]


@dataclass
class Case:
    """One input: what is given to the program, and what the generator itself counted when it wrote it.

    ``written`` has the features of each layer by file name and layer, ``shapes`` the geometry of each line by the same
    key, with the CRS that the file states (None: not to be measured). ``intact`` is False where bytes were damaged
    after writing: then features may be unreadable, but never without a word.
    """

    category: str
    folder: Path
    rng: random.Random
    scene: Scene
    what: str = ""
    files: list[Path] = field(default_factory=list)
    options: dict[str, str] = field(default_factory=dict)
    written: dict[str, int] = field(default_factory=dict)
    shapes: dict[str, list[BaseGeometry | None]] = field(default_factory=dict)
    crs: str | None = CRS
    intact: bool = True
    measured: bool = True
    large: bool = False

    def tell(self, what: str) -> None:
        """Add to what was done to the input."""
        self.what = f"{self.what}; {what}" if self.what else what


def scene(rng: random.Random) -> Scene:
    """Return a street: three to nine lines side by side, structures at ends, and some of the other layers."""
    count = rng.randint(3, 9)
    lines = [_line(rng, number) for number in range(count)]
    made: Scene = {"lines": lines}
    if rng.random() < 0.8:
        made["structures"] = [
            {"structure_id": f"S-{k}", "kind": rng.choice(["valve", "manhole", "cabinet"]), "utility": one["utility"],
             "geometry": Point(one["geometry"].coords[rng.choice([0, -1])])}
            for k, one in enumerate(rng.sample(lines, 2))
        ]  # fmt: skip
        if rng.random() < 0.5:
            made["terminations"] = [{"structure_id": "S-0", "line_id": lines[0]["line_id"], "at": "start"}]
    if rng.random() < 0.4:
        one, other = rng.sample(lines, 2)
        made["bonds"] = [
            {"bond_id": "B-1", "line_a": one["line_id"], "line_b": other["line_id"], "kind": "jumper",
             "state": "closed", "geometry": Point(one["geometry"].coords[0])}
        ]  # fmt: skip
    if rng.random() < 0.3:
        made["grounds"] = [
            {"ground_id": "G-1", "line_id": lines[-1]["line_id"], "resistance_ohm": 20.0,
             "geometry": Point(lines[-1]["geometry"].coords[-1])}
        ]  # fmt: skip
    area = box(X - 10, Y - 10, X + 80, Y + 30)
    if rng.random() < 0.3:
        made["soil"] = [{"resistivity_ohm_m": 80.0, "geometry": area}]
    if rng.random() < 0.3:
        made["work_area"] = [{"phase": "1", "geometry": box(X + 10, Y - 5, X + 40, Y + 20)}]
    return made


def _line(rng: random.Random, number: int) -> Row:
    utility, asset, material = rng.choice(KINDS)
    far = rng.uniform(20, 70)
    y = Y + number * rng.uniform(0.5, 3.0)
    points = [(X + rng.uniform(-1, 1), y), (X + far / 2, y + rng.uniform(-1, 1)), (X + far, y)]
    row: Row = {"line_id": f"{utility[0].upper()}-{number}", "utility": utility, "asset": asset, "material": material,
                "diameter_mm": rng.choice([50.0, 100.0, 200.0]), "depth_m": round(rng.uniform(0.4, 3.0), 2),
                "status": "in_service", "owner": rng.choice(["Ninefold", "Oxbow"])}  # fmt: skip
    return row | {"geometry": LineString(points)}
