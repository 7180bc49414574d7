"""The categories of broken and hostile input, how often each is made, and how a case follows from seed and number."""

import random
from collections.abc import Callable
from pathlib import Path

from benchmarks.fuzz import asides, damage, odd, rows
from benchmarks.fuzz.scene import Case, scene

__all__ = ["CATEGORIES", "make_case"]

CATEGORIES: dict[str, tuple[int, Callable[[Case], None]]] = {  # weight in a thousand, maker
    "truncated": (110, damage.truncated),
    "flipped": (150, damage.flipped),
    "crs": (70, damage.crs),
    "coordinates": (70, rows.coordinates),
    "shapes": (80, rows.shapes),
    "depths": (60, rows.depths),
    "diameters": (50, rows.diameters),
    "ids": (50, rows.ids),
    "text": (70, rows.text),
    "references": (40, rows.references),
    "layers": (40, damage.layers),
    "containers": (60, damage.containers),
    "odd_files": (40, odd.odd_files),
    "toml": (60, asides.toml),
    "sheets": (20, asides.sheets),
    "work_areas": (26, asides.work_areas),
    "huge_line": (2, rows.huge_line),
    "identical": (2, rows.identical),
}


def make_case(seed: int, number: int, *, folder: Path, category: str | None = None) -> Case:
    """Make one case in a folder; the same seed, number and category give the same bytes.

    Raises
    ------
    KeyError
        If there is no such category.
    """
    rng = random.Random(f"{seed}:{number}")
    drawn = rng.choices(list(CATEGORIES), [weight for weight, _ in CATEGORIES.values()])[0]
    case = Case(category or drawn, folder, rng, scene(rng))
    CATEGORIES[case.category][1](case)
    return case
