"""A hand-made review of a small invented block, as the plan room would hand it on."""

import itertools
from types import SimpleNamespace
from typing import Any

from shapely import LineString, Point, box

from corridor.dictionary import GRADES, MODES
from corridor.frames import empty_table, table_frame
from corridor.settings import Settings, load_equipment
from corridor.site.model import Site
from tests.builders import METRIC, make_site

ORIGIN = (500_000.0, 1_000_000.0)
TRENCH = (
    ("W", "water"),
    ("G", "gas"),
    ("E", "electricity"),
    ("L", "lighting"),
    ("T", "telecommunications"),
    ("F", "telecommunications"),
    ("S", "sewer"),
    ("D", "storm_drain"),
    ("H", "heat"),
    ("R", "reclaimed_water"),
)


def block_site(lines_a_street: int = 8) -> Site:
    """Four streets around a block of 80 by 60 m, each with lines 0.6 m apart."""
    x0, y0 = ORIGIN
    rows = []
    streets = itertools.product(range(4), TRENCH[:lines_a_street])
    for number, (side, (letter, utility)) in enumerate(streets, start=1):
        shift = 0.6 * ((number - 1) % lines_a_street)
        if side < 2:
            y = y0 + (0.0 if side == 0 else 60.0) + shift
            shape = LineString([(x0 - 60, y), (x0 + 140, y)])
        else:
            x = x0 + (0.0 if side == 2 else 80.0) + shift
            shape = LineString([(x, y0 - 60), (x, y0 + 120)])
        rows.append(
            {
                "line_id": f"{letter}-{number:03d}",
                "utility": utility,
                "geometry": shape,
                "depth_m_src": "default" if number % 4 == 0 else "given",
            }
        )
    structures = [
        {"structure_id": f"V-{i:02d}", "kind": "valve", "geometry": Point(x0 + 10 * i, y0 + 2)} for i in range(8)
    ]
    bonds = [
        {
            "bond_id": "B-1",
            "line_a": rows[0]["line_id"],
            "line_b": rows[2]["line_id"],
            "evidence": "recorded",
            "state": "closed",
            "geometry": Point(x0 + 30, y0 + 1),
        },
        {
            "bond_id": "B-2",
            "line_a": rows[1]["line_id"],
            "line_b": rows[3]["line_id"],
            "evidence": "suspected",
            "geometry": Point(x0 + 50, y0 + 1),
        },
    ]
    area = [{"phase": "1", "dig_depth_m": 2.0, "geometry": box(x0 - 6, y0 - 6, x0 + 92, y0 + 70)}]
    return make_site(lines=rows, structures=structures, bonds=bonds, work_area=area)


def example_review(lines_a_street: int = 8) -> Any:
    """A review with every table, its figures invented but of every grade."""
    site = block_site(lines_a_street)
    stretches, shapes, hookups, places = [], [], [], []
    for i, (name, shape) in enumerate(zip(site.lines["line_id"], site.lines.geometry, strict=True)):
        grade, mode = GRADES[i % len(GRADES)], MODES[i % len(MODES)]
        stretches.append(
            {
                "stretch_id": f"{name}:1",
                "line_id": name,
                "mode": mode,
                "hookup_id": f"{mode}:{name}:V-{i % 8:02d}",
                "current_ma": 10.0 ** (i % 5 - 2),
                "grade": grade,
                "grade_worst": grade,
                "settled": i % 3 != 0,
                "assumed": i % 4 == 0,
                "frequency_hz": 1000.0,
            }
        )
        shapes.append(shape)
        hookups.append(
            {
                "hookup_id": f"{mode}:{name}:V-{i % 8:02d}",
                "line_id": name,
                "mode": mode,
                "structure_id": f"V-{i % 8:02d}",
                "ready": ("ready", "not_ready", "refused")[i % 3],
                "missing": "whether the line is energized",
            }
        )
        places.append(shape.interpolate(60.0 + 7 * (i % 11)))
    frames = {
        "strategy": table_frame("strategy", stretches, geometry=shapes, crs=METRIC),
        "hookups": table_frame("hookups", hookups, geometry=places, crs=METRIC),
        "bonds_found": table_frame(
            "bonds_found",
            site.bonds.drop(columns="geometry").to_dict("records"),
            geometry=site.bonds.geometry,
            crs=METRIC,
        ),
    }
    for name in (
        "findings",
        "parallel_runs",
        "crossings",
        "bonded_groups",
        "isolations",
        "sections",
        "stations",
        "bleed_paths",
        "setups",
    ):
        frames[name] = empty_table(name, METRIC)
    return SimpleNamespace(
        **frames, site=site, settings=Settings(), equipment=load_equipment(None), summary=example_summary()
    )


def example_summary() -> dict[str, Any]:
    """The facts of that review."""
    return {
        "ready": 11,
        "not_ready": 5,
        "refused": 3,
        "missing": [("whether E-003 is energized", 4), ("clamp access", 1)],
        "features_in": 120,
        "used": 117,
        "repaired": 4,
        "set_aside": 3,
        "assumed_share": 0.31,
        "assumed_worst": [("depth_m", 0.25), ("diameter_mm", 0.18), ("material", 0.004)],
        "untraceable": ["S-007 sewer, clay", "F-006 telecommunications, fibre"],
        "wrong_line": ["G-002: mistaken for W-001", "L-004: mistaken for E-003"],
        "partners": [
            {"line_id": "W-001", "current_ma": 12.34, "low": 3.21, "high": 20.9, "cause": "bond B-1"},
            {"line_id": "T-005", "current_ma": 0.5, "low": 0.0, "high": 0.9, "cause": "parallel run 42 m at 0.6 m"},
        ],
        "sections": 2345,
        "cases": ["nominal", "closed", "open", "soil low", "soil high"],
        "frequencies_hz": [500.0, 1000.0, 5000.0, 10000.0],
        "reach_m": 80.0,
        "leaving_share": 0.012,
        "reach": "the network solved reaches 80 m out; 1.2% of the output leaves it",
        "soil": "100 ohm m (20 to 1000), assumed",
        "notes": ["no bond data: no record is not no bond"],
    }
