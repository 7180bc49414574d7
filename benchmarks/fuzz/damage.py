"""Files that are broken or hostile as files: cut, flipped, of the wrong CRS, with views, triggers and odd layers."""

import contextlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.fuzz.files import FORMATS, remember, write_file, write_scene
from benchmarks.fuzz.scene import Case

__all__ = ["containers", "crs", "flipped", "layers", "truncated"]

RESULT_NAMES = (
    "strategy",
    "findings",
    "sections",
    "stations",
    "hookups",
    "bonds_found",
    "parallel_runs",
    "defects",
    "layer_styles",
    "line_groups",
    "completeness",
    "LINES",
    "Lines",
    "lines2",
    "structure",
    "gpkg_x",
)


def truncated(case: Case) -> None:
    """Cut files short."""
    write_scene(case, case.rng.choice(FORMATS))
    case.intact = False
    for path in case.rng.sample(_parts(case), 1):
        size = path.stat().st_size
        keep = case.rng.choice([0, 1, 15, 99, 100, 511, 512, 4095, 4096, size - 1, case.rng.randrange(size)])
        os.truncate(path, min(keep, size))
        case.tell(f"{path.name} cut to {min(keep, size)} of {size} bytes")


def flipped(case: Case) -> None:
    """Turn bits over, anywhere or near the head."""
    rng = case.rng
    write_scene(case, rng.choice(FORMATS))
    case.intact = False
    for path in rng.sample(_parts(case), 1):
        data = bytearray(path.read_bytes())
        reach = len(data) if rng.random() < 0.6 else min(len(data), 600)
        places = [rng.randrange(reach) for _ in range(rng.choice([1, 1, 2, 5, 20, 100]))]
        for at in places:
            data[at] ^= 1 << rng.randrange(8)
        path.write_bytes(data)
        case.tell(f"{path.name}: {len(places)} bits at {places[:4]} of {len(data)}")


def _parts(case: Case) -> list[Path]:
    """Return the files of a case with what belongs to a shapefile."""
    stems = {path.stem for path in case.files}
    return sorted(path for path in case.folder.iterdir() if path.stem in stems)


def crs(case: Case) -> None:
    """State no CRS, a lying one, or one in which nothing lies in metres."""
    rng = case.rng
    stated = rng.choice(
        [
            None,
            "EPSG:4326",
            "EPSG:3857",
            "EPSG:4978",
            "EPSG:2263",
            "EPSG:27700",
            "EPSG:32701",
            "EPSG:32633",
            "EPSG:5703",
            "EPSG:5514",
            "EPSG:3413",
            "EPSG:4979",
            "EPSG:2193",
            "EPSG:7415",
            "EPSG:5041",
            "EPSG:32661",
        ]
    )
    kind = rng.choice(("gpkg", "shp", "geojson", "parquet", "fgb"))
    case.measured = False  # where it ends up isn't known here
    write_scene(case, kind, crs=stated)
    case.tell(f"{kind} in {stated}")
    if rng.random() < 0.4:
        option = rng.choice(
            [
                "EPSG:32631",
                "EPSG:4326",
                "EPSG:0",
                "EPSG:-1",
                "metres",
                "",
                "EPSG:32631; DROP",
                "x" * 100_000,
                "\x1b[31m",
                "+proj=utm +zone=31",
                "+proj=merc",
                "GEOGCS[",
                "EPSG:4978",
                "EPSG:5703",
                "32631",
                "{}",
                "PROJCS[" * 2000,
            ]
        )
        case.options["crs"] = option
        case.tell(f"--crs {option[:30]!r}")
    if kind == "gpkg" and rng.random() < 0.4:
        number = rng.choice([-1, 0, 99999, 2**31])
        with _database(case.files[0]) as base:
            for table in ("gpkg_geometry_columns", "gpkg_contents"):
                base.execute(f"UPDATE {table} SET srs_id = ?", (number,))
        case.tell(f"srs_id {number}")
    if kind == "shp" and rng.random() < 0.5:
        prj = rng.choice(
            [
                "",
                "EPSG:32631",
                "PROJCS[",
                "x" * 5000,
                'LOCAL_CS["site",UNIT["metre",1]]',
                "\x00\x01\x02",
                'PROJCS["a",GEOGCS["b",DATUM["c",SPHEROID["d",0,0]],PRIMEM["e",0],UNIT["f",0]],PROJECTION["g"],UNIT["h",0]]',
            ]
        )
        for path in case.folder.glob("*.prj"):
            path.write_text(prj, encoding="utf-8")
        case.tell(f".prj {prj[:20]!r}")


@contextlib.contextmanager
def _database(path: Path) -> Any:
    base = sqlite3.connect(path)
    base.create_function("ST_IsEmpty", 1, lambda _: 0)
    for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        base.create_function(name, 1, lambda _: 0.0)
    try:
        yield base
        base.commit()
    finally:
        base.close()


def layers(case: Case) -> None:
    """Name layers like result layers, leave them empty, or send the same one twice."""
    rng = case.rng
    for name in rng.sample(RESULT_NAMES, rng.randint(1, 4)):
        case.scene[name] = [dict(row) for row in case.scene["lines"][: rng.randint(1, 3)]]
        case.tell(f"layer {name}")
    case.scene = {k: v for k, v in case.scene.items() if k.casefold() != "lines" or k == "lines" or rng.random() < 0.3}
    kind = rng.choice(("gpkg", "gpkg", "geojson"))
    if kind == "gpkg":  # SQLite's names have no case
        case.scene = {k: v for k, v in case.scene.items() if k in {n.casefold() for n in case.scene}}
        case.scene = {k: v for k, v in case.scene.items() if k != "gpkg_x"}
    if rng.random() < 0.3:
        case.scene["soil"] = []
        case.tell("empty soil layer")
    if not case.scene.get("soil", [1]):
        del case.scene["soil"]
        if kind == "gpkg":
            _empty_layer(case)
    write_scene(case, kind)
    if rng.random() < 0.3:
        other = case.folder / "more.gpkg"
        write_file(other, case.scene["lines"], layer="lines", crs=case.crs)
        case.files.append(other)
        remember(case, other, "lines", case.scene["lines"])
        case.tell("the same lines in another file")
    if rng.random() < 0.2:
        case.files.append(case.files[0])
        case.tell("one file named twice")


def _empty_layer(case: Case) -> None:
    import geopandas as gpd  # noqa: PLC0415
    import pyogrio  # noqa: PLC0415

    path = case.folder / "records.gpkg"
    empty = gpd.GeoDataFrame({"resistivity_ohm_m": []}, geometry=[], crs=case.crs)
    pyogrio.write_dataframe(empty, path, layer="soil", driver="GPKG", geometry_type="Polygon")
    case.files.append(path)
    case.written["records.gpkg:soil"] = 0


def containers(case: Case) -> None:
    """Send a GeoPackage with triggers, views, tables that no list names, and lists that lie."""
    rng = case.rng
    write_scene(case, "gpkg")
    case.measured = False
    path = case.files[0]
    for name in rng.sample(sorted(_HOSTILE_SQL), rng.randint(1, 2)):
        with _database(path) as base, contextlib.suppress(sqlite3.DatabaseError):
            _HOSTILE_SQL[name](base, case)
        case.tell(name)


def _script(*statements: str) -> Callable[[sqlite3.Connection, Case], None]:
    def run(base: sqlite3.Connection, _: Case) -> None:
        for statement in statements:
            base.execute(statement)

    return run


def _bytes(base: sqlite3.Connection, case: Case) -> None:
    base.execute("ALTER TABLE lines ADD COLUMN b BLOB")
    base.execute("UPDATE lines SET b = ?", (case.rng.randbytes(1000),))


def _listed_view(
    select: str, count: int | None, name: str = "bonds_view"
) -> Callable[[sqlite3.Connection, Case], None]:
    def run(base: sqlite3.Connection, case: Case) -> None:
        base.execute(f"CREATE VIEW {name} AS {select}")
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES (?, 'features', ?, 32631)",
            (name, name),
        )
        base.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', 'GEOMETRY', 32631, 0, 0)", (name,))
        if count is None:
            case.intact = False
        else:
            case.written[f"{case.files[0].name}:{name}"] = count if count >= 0 else len(case.scene["lines"])

    return run


def _broken(run: Callable[[sqlite3.Connection, Case], None]) -> Callable[[sqlite3.Connection, Case], None]:
    def both(base: sqlite3.Connection, case: Case) -> None:
        case.intact = False
        run(base, case)

    return both


def _unlisted(base: sqlite3.Connection, case: Case) -> None:
    case.intact = False  # must be told, as a table that the list doesn't name
    base.execute("CREATE TABLE hidden_lines AS SELECT * FROM lines")


def _blob(base: sqlite3.Connection, case: Case) -> None:
    case.intact = False
    row = case.rng.randint(1, len(case.scene["lines"]))
    base.execute("UPDATE lines SET geom = ? WHERE fid = ?", (bytes(case.rng.randrange(256) for _ in range(60)), row))


_ENDLESS = (
    "WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n) "
    "SELECT k AS fid, (SELECT geom FROM lines) AS geom FROM n"
)
_HOSTILE_SQL: dict[str, Callable[[sqlite3.Connection, Case], None]] = {
    "trigger": _script("CREATE TRIGGER t1 AFTER UPDATE ON lines BEGIN DELETE FROM lines; END"),
    "trigger on the list": _script(
        "CREATE TRIGGER t2 AFTER INSERT ON gpkg_contents BEGIN DELETE FROM gpkg_contents; END"
    ),
    "view": _listed_view("SELECT * FROM lines", -1),
    "endless view": _listed_view(_ENDLESS, None),
    "view that refers to itself": _broken(_listed_view("SELECT * FROM bonds_view", None)),
    "view of nothing": _broken(_listed_view("SELECT * FROM nowhere", None)),
    "view that multiplies": _listed_view(
        "SELECT a.fid, a.geom FROM " + ", ".join(f"lines {c}" for c in "abcdefghijklmnop"), None
    ),
    "view instead of lines": _broken(
        _script("ALTER TABLE lines RENAME TO own", "CREATE VIEW lines AS SELECT * FROM own")
    ),
    "unlisted table": _unlisted,
    "list names what isn't there": _broken(
        _script(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
            "VALUES ('ghost', 'features', 'ghost', 32631)"
        )
    ),
    "no list": _broken(_script("DROP TABLE gpkg_contents")),
    "no list of geometry": _broken(_script("DROP TABLE gpkg_geometry_columns")),
    "counts that lie": _script("UPDATE gpkg_ogr_contents SET feature_count = 1"),
    "extents that lie": _script("UPDATE gpkg_contents SET min_x = 1e308, max_x = 'x'"),
    "blob as geometry": _blob,
    "text as geometry": _broken(_script("UPDATE lines SET geom = 'LINESTRING (0 0, 1 1)' WHERE fid = 1")),
    "number as geometry": _broken(_script("UPDATE lines SET geom = 42 WHERE fid = 1")),
    "blob as id": _script("UPDATE lines SET line_id = x'00ff1b' WHERE fid = 1"),
    "broken text": _script("UPDATE lines SET line_id = CAST(x'ff41fe' AS TEXT) WHERE fid = 1"),
    "words in numbers": _script("UPDATE lines SET depth_m = 'deep'"),
    "whole numbers too large": _script("UPDATE lines SET depth_m = 9223372036854775807"),
    "another geometry column": _broken(_script("UPDATE gpkg_geometry_columns SET column_name = 'nowhere'")),
    "another geometry type": _broken(_script("UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT', z = 9")),
    "no application id": _script("PRAGMA application_id = 7"),
    "a column computed": _script("ALTER TABLE lines ADD COLUMN x GENERATED ALWAYS AS (depth_m * 2)"),
    "a column of dates": _script("ALTER TABLE lines ADD COLUMN d DATE", "UPDATE lines SET d = 'the day before'"),
    "a column of blobs": _bytes,
    "a hundred columns": lambda base, _: [base.execute(f"ALTER TABLE lines ADD COLUMN c{k} TEXT") for k in range(100)],
    "duplicate ids of rows": _script("UPDATE lines SET fid = -fid"),
    "an extension nobody knows": _script(
        "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT, "
        "definition TEXT, scope TEXT)",
        "INSERT INTO gpkg_extensions VALUES ('lines', 'geom', 'acme_x', 'x', 'read-write')",
    ),
}
