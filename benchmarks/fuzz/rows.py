"""Records that are broken or hostile row by row: coordinates, shapes, values, ids, text, references."""

import random
import warnings
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPoint, Point, Polygon

from benchmarks.fuzz.files import FORMATS, write_scene
from benchmarks.fuzz.scene import Case, Row, X, Y
from benchmarks.fuzz.words import BAD_NUMBERS, COLUMNS, DEPTHS, DIAMETERS, HOSTILE, ODD_IDS

__all__ = ["coordinates", "depths", "diameters", "huge_line", "identical", "ids", "references", "shapes", "text"]


def _any_format(case: Case, *, formats: tuple[str, ...] = FORMATS) -> None:
    write_scene(case, case.rng.choice(formats))


def _pick(case: Case, layer: str = "lines") -> Row:
    return case.rng.choice(case.scene[layer])


def _line_of(points: Any) -> LineString:
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return LineString(points)


def coordinates(case: Case) -> None:
    """Put numbers into coordinates that are none, or lie nowhere."""
    rng = case.rng
    for _ in range(rng.randint(1, 3)):
        row = _pick(case)
        points = [list(p) for p in row["geometry"].coords]
        bad = rng.choice(BAD_NUMBERS)
        deep = rng.random() < 0.3
        if deep:
            points = [[*p[:2], rng.choice([*BAD_NUMBERS, 0.0, -9999.0])] for p in points]
        for point in points if rng.random() < 0.3 else [rng.choice(points)]:
            point[rng.choice([0, 1])] = bad
        row["geometry"] = _line_of(points)
        case.tell(f"coordinate {bad}{' and Z' if deep else ''}")
    if rng.random() < 0.2:
        for row in case.scene["lines"]:
            row["geometry"] = _line_of([[rng.choice(BAD_NUMBERS), rng.choice(BAD_NUMBERS)] for _ in range(3)])
        case.tell("all coordinates bad")
    for layer in ("structures", "bonds", "grounds"):
        if layer in case.scene and rng.random() < 0.4:
            _pick(case, layer)["geometry"] = Point(rng.choice(BAD_NUMBERS), rng.choice(BAD_NUMBERS))
            case.tell(f"{layer} bad")
    flat = not any(row["geometry"].has_z for row in case.scene["lines"])
    _any_format(case, formats=("gpkg", "parquet", "geojson", *(["fgb"] if flat else [])))


def shapes(case: Case) -> None:
    """Give lines shapes that cross themselves, lie on each other, have no length, or are no lines."""
    rng = case.rng
    for _ in range(rng.randint(1, 4)):
        name = rng.choice(sorted(_SHAPES))
        row = _pick(case)
        usual = isinstance(row["geometry"], LineString) and not row["geometry"].is_empty
        row["geometry"] = _SHAPES[name](rng, row["geometry"] if usual else _straight())
        case.tell(name)
    if rng.random() < 0.3:
        for layer, rows in case.scene.items():
            if layer not in ("lines", "terminations"):
                rng.choice(rows)["geometry"] = rng.choice(list(_SHAPES.values()))(rng, _straight())
                case.tell(f"odd shape in {layer}")
    if rng.random() < 0.3:
        stacked = rng.choice(case.scene["lines"])
        for k in range(rng.randint(2, 12)):
            case.scene["lines"].append({**stacked, "line_id": rng.choice([stacked["line_id"], f"T-{k}", None])})
        case.tell("stacked")
    _any_format(case, formats=("gpkg", "parquet", "fgb", "geojson"))


def _straight() -> LineString:
    return LineString([(X, Y), (X + 30, Y)])


def _spiral(rng: random.Random, _: LineString) -> LineString:
    t = np.linspace(0, rng.uniform(10, 60), 200)
    return LineString(np.column_stack([X + t * np.cos(t), Y + t * np.sin(t)]))


def _nested(rng: random.Random, line: LineString) -> Any:
    shape: Any = shapely.GeometryCollection([line, Point(X, Y)])
    for _ in range(rng.randint(1, 20)):
        shape = shapely.GeometryCollection([shape])
    return shape


def _parts(rng: random.Random, line: LineString) -> MultiLineString:
    moved = [shapely.transform(line, lambda c, k=k: c + np.array([0, 5.0 * k])) for k in range(rng.randint(1, 6))]
    return MultiLineString([*moved, LineString([(X, Y), (X, Y)])] if rng.random() < 0.3 else moved)


_SHAPES: dict[str, Any] = {
    "no length": lambda _, g: LineString([g.coords[0]] * 2),
    "no length, many vertices": lambda _, g: LineString([g.coords[0]] * 50),
    "tiny": lambda _, g: LineString([g.coords[0], (g.coords[0][0] + 1e-7, g.coords[0][1])]),
    "back and forth": lambda r, g: LineString([*g.coords, *reversed(g.coords)] * r.randint(1, 10)),
    "bow tie": lambda *_: LineString([(X, Y), (X + 9, Y + 9), (X + 9, Y), (X, Y + 9), (X, Y)]),
    "ring": lambda *_: LineString(Point(X, Y).buffer(5).exterior.coords),
    "spiral": _spiral,
    "repeated vertices": lambda _, g: LineString([p for p in g.coords for _ in range(4)]),
    "empty line": lambda *_: LineString(),
    "empty multi": lambda *_: MultiLineString(),
    "null": lambda *_: None,
    "point": lambda _, g: Point(g.coords[0]),
    "points": lambda _, g: MultiPoint(list(g.coords)),
    "area": lambda *_: Point(X, Y).buffer(6),
    "narrow area": lambda _, g: g.buffer(0.2, cap_style="flat"),
    "area with holes": lambda *_: Point(X, Y).buffer(9).difference(Point(X, Y).buffer(8.7)),
    "broken area": lambda *_: Polygon([(X, Y), (X + 9, Y + 9), (X + 9, Y), (X, Y + 9)]),
    "flat area": lambda *_: Polygon([(X, Y), (X + 9, Y), (X, Y), (X, Y)]),
    "collection": lambda _, g: shapely.GeometryCollection([g, Point(X, Y), g.buffer(1)]),
    "nested collection": _nested,
    "empty collection": lambda *_: shapely.GeometryCollection(),
    "parts": _parts,
    "far away": lambda r, g: shapely.transform(g, lambda c: c + np.array([10 ** r.randint(4, 9), 0])),
}


def _spoil_column(case: Case, column: str, values: tuple[Any, ...], layer: str = "lines") -> None:
    for row in case.scene[layer]:
        if case.rng.random() < 0.6:
            row[column] = case.rng.choice(values)
    case.tell(f"{layer}.{column}")


def depths(case: Case) -> None:
    """Write depths that are none."""
    _spoil_column(case, "depth_m", DEPTHS)
    for column in ("horizontal_accuracy_m", "install_year", "count", "nominal_voltage_v", "wall_mm", "joint_spacing_m"):
        if case.rng.random() < 0.3:
            _spoil_column(case, column, DEPTHS)
    for layer, column in (("grounds", "resistance_ohm"), ("soil", "resistivity_ohm_m"), ("bonds", "probability")):
        if layer in case.scene and case.rng.random() < 0.5:
            _spoil_column(case, column, DEPTHS, layer)
    _any_format(case)


def diameters(case: Case) -> None:
    """Mix the units of diameters, and words of other columns."""
    _spoil_column(case, "diameter_mm", DIAMETERS)
    for column in (
        "material",
        "status",
        "utility",
        "joints",
        "coating",
        "sheath",
        "asset",
        "conductor_mm2",
        "energized",
    ):
        if case.rng.random() < 0.3:
            _spoil_column(case, column, (*DIAMETERS, *HOSTILE[:8], "steel", "live", "STEEL ", "PVC/steel"))
    _any_format(case)


def ids(case: Case) -> None:
    """Give ids that are missing, used twice, of any script, or a million bytes long."""
    _spoil_column(case, "line_id", ODD_IDS)
    if case.rng.random() < 0.15:
        _pick(case)["line_id"] = "L" * 1_000_000
        case.tell("1 MB id")
    for layer, column in (("structures", "structure_id"), ("bonds", "bond_id"), ("grounds", "ground_id")):
        if layer in case.scene and case.rng.random() < 0.5:
            _spoil_column(case, column, ODD_IDS, layer)
    _any_format(case, formats=("gpkg", "parquet", "geojson"))


def text(case: Case) -> None:
    """Write into text what other programs would obey."""
    rng = case.rng
    for column in rng.sample(
        ["owner", "subtype", "source", "source_date", "line_id", "material", "status", "quality_level"], 3
    ):
        _spoil_column(case, column, HOSTILE)
    kind = rng.choice(("gpkg", "geojson", "parquet"))
    for column in rng.sample(COLUMNS, rng.randint(0, 6)):
        if kind == "gpkg" and column.casefold().strip() in {name.casefold() for name in case.scene["lines"][0]} | {
            "geom",
            "fid",
        }:
            continue  # SQLite's names have no case
        for row in case.scene["lines"]:
            row[column] = rng.choice(HOSTILE)
        case.tell(f"column {column!r}")
    if "structures" in case.scene:
        _spoil_column(case, rng.choice(["structure_id", "kind", "owner", "permit"]), HOSTILE, "structures")
    if rng.random() < 0.3:
        name = rng.choice(HOSTILE)
        kind = "geojson" if kind == "gpkg" else kind  # a GeoPackage can't be written with such a layer
        case.scene[name] = [dict(case.scene["lines"][0])]
        case.tell("layer with a hostile name")
    write_scene(case, kind)


def references(case: Case) -> None:
    """Refer to what isn't there, to itself, or in circles."""
    rng = case.rng
    names = [row["line_id"] for row in case.scene["lines"]]
    wild = (*names, *names, *ODD_IDS[:8], "S-0", "S-1", "Z-9")
    _spoil_column(case, "contained_in", wild)
    case.scene["bonds"] = [
        {"bond_id": rng.choice(["B-1", "B-2", None]), "line_a": rng.choice(wild), "line_b": rng.choice(wild),
         "structure_id": rng.choice(wild), "state": rng.choice(["closed", "open", "ajar", None]),
         "probability": rng.choice([0, 1, 2, -1, 0.5, None]), "kind": rng.choice(["jumper", "same_line", "x"]),
         "geometry": rng.choice([None, Point(X, Y), Point(X + 1e6, Y), _straight()])}
        for _ in range(rng.randint(1, 8))
    ]  # fmt: skip
    case.scene["terminations"] = [
        {"structure_id": rng.choice(wild), "line_id": rng.choice(wild), "at": rng.choice(["start", "end", "x"]),
         "isolated": rng.choice(["yes", "no", None])} for _ in range(rng.randint(1, 8))
    ]  # fmt: skip
    case.scene["grounds"] = [
        {"ground_id": rng.choice(["G-1", None]), "line_id": rng.choice(wild), "geometry": Point(X, Y)} for _ in range(3)
    ]
    write_scene(case, rng.choice(("gpkg", "geojson", "parquet")))


def huge_line(case: Case) -> None:
    """Give one line a million vertices."""
    rng, count = case.rng, 1_000_000
    x = np.linspace(0, 200, count)
    wave = rng.choice([0.0, 1.0]) * np.sin(x * rng.uniform(0.1, 50))
    case.scene["lines"][0]["geometry"] = LineString(np.column_stack([X + x, Y + wave]))
    case.large = True
    case.tell("a line of a million vertices")
    write_scene(case, rng.choice(("gpkg", "parquet")))


def identical(case: Case) -> None:
    """Record one line ten thousand times."""
    one = case.scene["lines"][0]
    named = case.rng.random() < 0.5
    case.scene["lines"] = [{**one, "line_id": f"L-{k}" if named else one["line_id"]} for k in range(10_000)]
    case.large = True
    case.tell(f"10,000 identical lines, ids {'different' if named else 'the same'}")
    write_scene(case, case.rng.choice(("gpkg", "parquet")))
