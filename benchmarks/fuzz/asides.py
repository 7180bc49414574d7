"""What stands beside records and may be hostile too: settings, equipment, field maps, corrections, accepted, areas."""

import math
import random
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from benchmarks.fuzz.files import write_file, write_scene
from benchmarks.fuzz.scene import Case, X, Y
from benchmarks.fuzz.words import BOMBS, HOSTILE, PATTERNS, VALUES

__all__ = ["sheets", "toml", "work_areas"]

OPTIONS = ("settings", "fieldmap", "equipment")
KEYS = {
    "settings": (
        "site.snap_m",
        "site.far_away_m",
        "site.twin_share",
        "site.near_miss_m",
        "couplings.max_separation_m",
        "couplings.max_angle_deg",
        "soil.low_ohm_m",
        "solver.section_limit",
        "solver.workers",
        "seed",
        "grades.floor_nt",
        "draws.count",
        "report.x",
        "nothing",
        "site",
        "hookups.x",
        "plan.time_s",
        "site.cut_line_m",
        "site.twin_m",
        "site.explained_m",
        "site.structure_reach_m",
        "couplings.min_length_m",
    ),
    "equipment": (
        "name",
        "frequencies_hz",
        "transmitter.max_voltage_v",
        "stake.length_m",
        "clamp",
        "loop.area_m2",
        "transmitter.levels_ma",
        "generic",
    ),
    "fieldmap": (
        "profile",
        "layers",
        "layers.lines",
        "layers.lines.table",
        "layers.lines.crs",
        "layers.lines.axes",
        "layers.lines.encoding",
        "layers.lines.depth",
        "layers.lines.split",
        "layers.lines.columns.line_id",
        "layers.lines.columns.depth_m.source",
        "layers.lines.values.material",
        "layers.lines.units.depth_m",
        "layers.lines.constants.depth_m",
        "layers.lines.columns.material.pattern",
        "layers.lines.constants.count",
        "layers.lines.constants.diameter_mm",
    ),
}


def toml(case: Case) -> None:
    """Give settings, equipment or a field map that is malformed, out of range, or a bomb."""
    rng = case.rng
    if rng.random() < 0.5:
        for row in case.scene["lines"]:
            row["material"] = rng.choice(["a" * 40 + "!", "x" * 60, "ab " * 20 + "!", "word " * 9 + "?"])
    write_scene(case, rng.choice(("gpkg", "geojson")))
    case.measured = False
    name = rng.choice(OPTIONS)
    kind = rng.random()
    data: bytes | None = None
    if kind < 0.25:
        content = rng.choice(BOMBS)
    elif kind < 0.3:
        content, data = "bytes", bytes(rng.randrange(256) for _ in range(200))
    elif kind < 0.5:
        name = "fieldmap"
        content = _patterned(rng)
    else:
        content = _block(rng, name)
    path = case.folder / f"{name}.toml"
    path.write_bytes(content.encode("utf-8") if data is None else data)
    case.options[name] = str(path)
    case.tell(f"{name}: {content[:60]!r}")


def _patterned(rng: random.Random) -> str:
    pattern = rng.choice(PATTERNS)
    if rng.random() < 0.5:
        return f"[layers.lines]\ntable = 'lines'\nsplit = {{ source = 'material', pattern = '{pattern}' }}\n"
    return f"[layers.lines]\ntable = 'lines'\ncolumns.subtype = {{ source = 'material', pattern = '{pattern}' }}\n"


def _block(rng: random.Random, name: str) -> str:
    keys = rng.sample(KEYS[name], rng.randint(1, 3))
    head = "layers.lines.table = 'lines'\n" if name == "fieldmap" and rng.random() < 0.7 else ""
    if name == "equipment" and rng.random() < 0.7:
        head = (
            "frequencies_hz = [1000]\n[transmitter]\nmax_voltage_v = 40\nmax_current_ma = 100\nmax_power_w = 3\n"
            "levels_ma = [10]\n"
            "[stake]\nlength_m = 0.3\ndiameter_mm = 12\nlead_m = 10\n"
        )
        return head.replace(rng.choice(["1000", "40", "100", "0.3", "[10]", "3\n"]), f"{rng.choice(VALUES)}\n", 1)
    words = (
        *VALUES,
        *(f"'{h}'" for h in HOSTILE[:6] if "'" not in h),
        "'steel'",
        "'ft'",
        "'depth_m'",
        "'count'",
        "'EPSG:4326'",
        "'utf-7'",
        "'rot13'",
        "'latin-1'",
    )
    return head + "".join(f"{key} = {rng.choice(words)}\n" for key in keys)


def sheets(case: Case) -> None:
    """Give corrections and accepted findings that are no CSV, or say nonsense."""
    rng = case.rng
    write_scene(case, rng.choice(("gpkg", "geojson")))
    case.measured = False
    name = rng.choice(["corrections", "accepted"])
    columns = (
        ["layer", "id", "column", "value", "source", "date"]
        if name == "corrections"
        else ["code", "layer", "id", "who", "when", "why"]
    )
    rng.shuffle(columns)
    head = ",".join(
        rng.choice([columns, columns, columns, columns[:-1], [*columns, columns[0]], [c.upper() for c in columns]])
    )
    row = case.scene["lines"][0]["line_id"]
    known = {"layer": "lines", "id": row, "column": "depth_m", "code": "no_soil"}
    cells = [
        [
            known.get(c, "x") if rng.random() < 0.7 else rng.choice((*HOSTILE, "geometry", "line_id", "count", ""))
            for c in columns
        ]
        for _ in range(4)
    ]
    lines = [head, *(",".join('"' + cell.replace('"', '""') + '"' for cell in one) for one in cells)]
    content = rng.choice(
        [
            "\n".join(lines),
            "\n".join(lines),
            "\n".join(lines),
            "\r".join(lines),
            head,
            "",
            "\n" + head,
            head + "\n" + '"' + "x" * 200_000,
            head + "\n" + "," * 500,
            "\n".join(lines) + "\n,,,,,,,,",
            ";".join(columns),
            head + "\n\x00\x00,\x00",
        ]
    )
    data = content.encode("utf-8") if rng.random() < 0.9 else content.encode("utf-16")
    path = case.folder / f"{name}.csv"
    path.write_bytes(data)
    case.options[name] = str(path)
    case.tell(f"{name}: {content[:50]!r}")


def work_areas(case: Case) -> None:
    """Dig nothing, the whole Earth, or in shapes that turn on themselves."""
    rng = case.rng
    case.scene.pop("work_area", None)
    write_scene(case, rng.choice(("gpkg", "geojson")))
    name = rng.choice(sorted(_AREAS))
    with np.errstate(invalid="ignore"):
        shape: Any = _AREAS[name]()
    kind = rng.choice(("geojson", "gpkg", "fgb"))
    path = case.folder / f"dig.{kind}"
    stated = case.crs if rng.random() < 0.8 else rng.choice([None, "EPSG:4326", "EPSG:3857", "EPSG:2263"])
    rows = [
        {"phase": rng.choice(HOSTILE[:30]), "dig_depth_m": rng.choice([1.0, -1, "six", None]), "geometry": shape}
    ] * rng.choice([1, 1, 3])
    write_file(path, rows, layer=rng.choice(["dig", "lines", "x"]), crs=stated)
    case.options["work_area"] = str(path)
    case.tell(f"{name} in {stated}, {kind}")


_AREAS: dict[str, Any] = {
    "empty": Polygon,
    "null": lambda: None,
    "square": lambda: box(X, Y - 5, X + 40, Y + 20),
    "clockwise": lambda: shapely.reverse(box(X, Y - 5, X + 40, Y + 20)),
    "inverted corners": lambda: box(X + 40, Y + 20, X, Y),
    "bow tie": lambda: Polygon([(X, Y), (X + 20, Y + 20), (X + 20, Y), (X, Y + 20)]),
    "hole only": lambda: Polygon(
        [(X, Y), (X + 9, Y), (X + 9, Y + 9), (X, Y + 9)], [[(X, Y), (X + 9, Y), (X + 9, Y + 9), (X, Y + 9)]]
    ),
    "flat": lambda: Polygon([(X, Y), (X + 9, Y), (X, Y)]),
    "huge": lambda: box(-1e7, -1e7, 1e8, 1e8),
    "endless": lambda: Polygon([(0, 0), (1e308, 0), (1e308, 1e308), (0, 1e308)]),
    "not a number": lambda: Polygon([(X, Y), (math.nan, Y), (X, Y + 9)]),
    "infinite": lambda: Polygon([(X, Y), (math.inf, Y), (X, Y + 9)]),
    "a line": lambda: LineString([(X, Y), (X + 9, Y)]),
    "a point": lambda: Point(X, Y),
    "many parts": lambda: MultiPolygon([box(X + k, Y, X + k + 0.5, Y + 9) for k in range(60)]),
    "overlapping parts": lambda: MultiPolygon([box(X + k, Y, X + k + 9, Y + 9) for k in range(5)]),
    "collection": lambda: shapely.GeometryCollection([box(X, Y, X + 9, Y + 9), Point(X, Y)]),
    "elsewhere": lambda: box(X + 4000, Y, X + 4100, Y + 9),
    "in three dimensions": lambda: shapely.force_3d(box(X, Y - 5, X + 40, Y + 20), -9999.0),
    "tiny": lambda: Point(X + 5, Y).buffer(1e-9),
}
