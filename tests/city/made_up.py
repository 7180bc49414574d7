"""Small random cities with all that reaches across a border, and how two tables are compared."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.frames import provenance
from corridor.site.findings import FEATURE
from corridor.site.model import Site
from tests.builders import make_site

KINDS = ("building_entry", "manhole", "cabinet", "valve")
UTILITIES = ("electricity", "telecommunications", "water", "gas")


def random_city(seed: int, *, lines: int = 14) -> Site:
    """Lines between the points of a small grid, so that they meet, cross and lie side by side; bonds between any two.

    Structures stand at grid points, some twice; some lines are recorded by two layers, some end at isolating joints.
    """
    rng = np.random.default_rng(seed)

    def point() -> Any:
        return rng.integers(0, 5, 2) * 20.0

    rows: list[dict[str, Any]] = []
    for k in range(lines):
        start = point() + rng.choice([0.0, 0.2, 1.2])
        shape = [tuple(start), tuple(start + np.array([(20, 0), (0, 20), (40, 0), (0, 60), (20, 20)][rng.integers(5)]))]
        pipe = bool(rng.integers(2))
        rows.append({
            "line_id": f"L{rng.permutation(lines)[0]:02d}x{k:02d}", "geometry": shape, "owner": "an owner",
            "utility": UTILITIES[rng.integers(2, 4) if pipe else rng.integers(2)],
            "asset": "pipe" if pipe else "cable", "material": "steel" if pipe else "copper",
            "joints": rng.choice([None, "unknown", "welded", "insulated"]) if pipe else None,
            "depth_m": float(rng.uniform(0.4, 2)), "conductive": rng.choice(["yes", "yes", "yes", "no"]),
            "status": rng.choice(["in_service", "in_service", "abandoned", "removed"]),
            "horizontal_accuracy_m": rng.choice([None, 0.5, 2.0]),
            FEATURE[0]: f"file:{rng.integers(2)}", FEATURE[1]: k, FEATURE[2]: f"{k}",
        })  # fmt: skip
    ids = sorted(row["line_id"] for row in rows)
    structures = [
        {"structure_id": f"S{k}", "kind": KINDS[rng.integers(4)], "geometry": tuple(point() + rng.choice([0.0, 0.3]))}
        for k in range(10)
    ]
    bonds = [
        dict(
            zip(("line_a", "line_b"), map(str, rng.choice([*ids, "earth"], 2, replace=False)), strict=True),
            bond_id=f"b{k}", state=rng.choice([None, "closed", "open"]), structure_id=rng.choice([None, "S1", "S2"]),
            evidence=rng.choice(["recorded", "measured", "inferred", "suspected"]), src_note=rng.choice([None, "seen"]),
        )
        for k in range(6)
    ]  # fmt: skip
    terminations = [
        {"structure_id": f"S{rng.integers(10)}", "line_id": str(rng.choice(ids)), "isolated": rng.choice(["yes", "no"])}
        for _ in range(5)
    ]
    grounds = [{"ground_id": f"g{k}", "line_id": str(rng.choice(ids)), "geometry": tuple(point())} for k in range(2)]
    return make_site(lines=rows, structures=structures, bonds=bonds, terminations=terminations, grounds=grounds)


def assert_same(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame, what: str = "") -> None:
    """Two tables are the same: columns, their types and order, rows and their order, shapes to the bit, provenance."""
    pd.testing.assert_frame_equal(
        pd.DataFrame(one.drop(columns="geometry")), pd.DataFrame(other.drop(columns="geometry")), obj=what
    )
    assert one.geometry.to_wkb().fillna(b"").tolist() == other.geometry.to_wkb().fillna(b"").tolist(), what
    assert one.crs == other.crs, what
    assert provenance(one) == provenance(other), what
