"""The ways by which runs, crossings and pairs of ends at structures of a city are found, ours and others'."""

import os
import re
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import city_sql as sql
import numpy as np
import pandas as pd
import shapely

from corridor.couplings.search import Limits, search
from corridor.couplings.segments import Segments
from corridor.couplings.structures import end_pairs

Arrays = dict[str, Any]
Found = dict[str, pd.DataFrame]  # runs (a_line, b_line, length, mean), crossings (a_line, b_line, px, py), bonds
Once = Callable[[], Any]
POSTGRES = Path("/usr/lib/postgresql")
SEGMENT_COLUMNS = ("sid", "line", "x", "y", "ux", "uy", "len", "start", "ex0", "ey0", "ex1", "ey1", "x1", "y1")
BOX = (
    f"ST_MakeEnvelope(least(x, x1) - {sql.REACH_M / 2}, least(y, y1) - {sql.REACH_M / 2}, "
    f"greatest(x, x1) + {sql.REACH_M / 2}, greatest(y, y1) + {sql.REACH_M / 2})"
)
WIDE = f"SELECT {sql.PAIR_COLUMNS} FROM near JOIN seg a ON a.sid = near.i JOIN seg b ON b.sid = near.j"
OURS = ("line", "x", "y", "ux", "uy", "len", "start")


def ours(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """Array level: what the public functions do before they make frames."""
    segments = Segments(*(data[name] for name in OURS))

    def once() -> Any:
        runs, crossings = search(segments, data["ends"], limits=Limits())
        return runs, crossings, end_pairs(data["ends"], data["points"], reach_m=sql.STRUCTURE_M)

    def told(found: Any) -> Found:
        runs, crossings, bonds = found
        return {
            "runs": pd.DataFrame({
                "a_line": runs.line_a, "b_line": runs.line_b, "length": runs.to_m - runs.from_m,
                "mean": runs.distance_sum_m2 / runs.covered_m,
            }),
            "crossings": pd.DataFrame({
                "a_line": crossings.line_a, "b_line": crossings.line_b, "px": crossings.x_m, "py": crossings.y_m,
            }),
            "bonds": pd.DataFrame({"point": bonds.point, "a_line": bonds.line_a, "b_line": bonds.line_b}),
        }  # fmt: skip

    return once, told


def ours_public(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """``find_couplings`` of a site: three GeoDataFrames with ids, columns and geometry."""
    return _public(data["site"])


def ours_recorded(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """The same of a site with recorded bonds, which change neither runs nor crossings."""
    return _public(data["recorded"])


def _public(site: Any) -> tuple[Once, Callable[[Any], Found]]:
    import corridor  # noqa: PLC0415

    row = {name: k for k, name in enumerate(sorted(site.lines["line_id"]))}

    def told(found: Any) -> Found:
        runs, crossings = (
            frame.assign(a_line=frame["line_a"].map(row), b_line=frame["line_b"].map(row))
            for frame in (found.parallel_runs, found.crossings)
        )
        runs = runs.assign(length=runs["length_m"], mean=runs["separation_mean_m"])
        crossings = crossings.assign(px=crossings.geometry.x, py=crossings.geometry.y)
        return {"runs": pd.DataFrame(runs), "crossings": pd.DataFrame(crossings)}

    return lambda: corridor.find_couplings(site), told


def ours_bonds(data: Arrays) -> tuple[Once, None]:
    """``find_bonds`` of a site alone: by rules, with what meets at each structure."""
    import corridor  # noqa: PLC0415

    return lambda: corridor.find_bonds(data["site"]), None


def _boxes(data: Arrays, grow_m: float) -> Any:
    x, y = np.sort([data["x"], data["x1"]], axis=0), np.sort([data["y"], data["y1"]], axis=0)
    return shapely.box(x[0] - grow_m, y[0] - grow_m, x[1] + grow_m, y[1] + grow_m)


def _segments(data: Arrays) -> Any:
    ends = np.stack([np.column_stack((data["x"], data["y"])), np.column_stack((data["x1"], data["y1"]))], axis=1)
    return shapely.linestrings(ends)


def box_query(data: Arrays) -> tuple[Once, None]:
    """Floor: candidates only, by boxes; a tree and one query, geometry made before."""
    shapes, boxes = _segments(data), _boxes(data, sql.REACH_M)
    return lambda: shapely.STRtree(shapes).query(boxes), None


def dwithin_join(data: Arrays) -> tuple[Once, None]:
    """Floor: candidates only, by distance."""
    shapes = _segments(data)
    return lambda: shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=sql.REACH_M), None


def numpy_tree(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """A tree over boxes, the arithmetic over whole arrays."""
    shapes, boxes = _segments(data), _boxes(data, sql.REACH_M)

    def once() -> Found:
        i, j = shapely.STRtree(shapes).query(boxes)
        keep = data["line"][i] < data["line"][j]
        return _finished(data, i[keep], j[keep])

    return once, lambda found: found


def geopandas_join(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """``sjoin`` with the predicate dwithin, the arithmetic over whole arrays."""
    import geopandas as gpd  # noqa: PLC0415

    shapes = gpd.GeoDataFrame(geometry=_segments(data), crs="EPSG:32633")

    def once() -> Found:
        joined = shapes.sjoin(shapes, predicate="dwithin", distance=sql.REACH_M)
        i, j = joined.index.to_numpy(), joined["index_right"].to_numpy()
        keep = data["line"][i] < data["line"][j]
        return _finished(data, i[keep], j[keep])

    return once, lambda found: found


def _finished(data: Arrays, i: Any, j: Any) -> Found:
    """The plain definitions over arrays of candidates."""
    x, y, ux, uy, length, start, line = (data[name] for name in ("x", "y", "ux", "uy", "len", "start", "line"))
    along, across = ux[i] * ux[j] + uy[i] * uy[j], ux[j] * uy[i] - uy[j] * ux[i]
    dx, dy = x[i] - x[j], y[i] - y[j]
    with np.errstate(divide="ignore", invalid="ignore"):
        keep = np.flatnonzero(np.degrees(np.arctan2(np.abs(across), np.abs(along))) <= sql.ANGLE_DEG)
        a, b = along[keep], across[keep]
        distance = ux[j[keep]] * dy[keep] - uy[j[keep]] * dx[keep]
        foot = dx[keep] * ux[j[keep]] + dy[keep] * uy[j[keep]]
        one, two = -foot / a, (length[j[keep]] - foot) / a
        low, high = np.maximum(0.0, np.minimum(one, two)), np.minimum(length[i[keep]], np.maximum(one, two))
        one, two = (-sql.REACH_M - distance) / b, (sql.REACH_M - distance) / b
        level = b == 0
        low = np.where(level, low, np.maximum(low, np.minimum(one, two)))
        high = np.where(level, np.where(np.abs(distance) <= sql.REACH_M, high, -1.0),
                        np.minimum(high, np.maximum(one, two)))  # fmt: skip
        first, last = distance + b * low, distance + b * high
        far = np.abs(first) + np.abs(last)
        total = np.where(first * last < 0, (first**2 + last**2) / (2 * far), far / 2) * (high - low)
        fit = high > low
        point = _points(data, i, j)
    k = keep[fit]
    pieces = pd.DataFrame({
        "a_line": line[i[k]], "b_line": line[j[k]], "f": start[i[k]] + low[fit], "t": start[i[k]] + high[fit],
        "total": total[fit],
    }).sort_values(["a_line", "b_line", "f", "t"], ignore_index=True)  # fmt: skip
    pair = pieces.groupby(["a_line", "b_line"], sort=False)
    before = pair["t"].cummax().groupby([pieces["a_line"], pieces["b_line"]], sort=False).shift()
    pieces["run"] = (before.isna() | (pieces["f"] - before > 1.0)).cumsum()
    pieces["covered"] = pieces["t"] - pieces["f"]
    runs = pieces.groupby("run").agg(
        a_line=("a_line", "first"), b_line=("b_line", "first"), f=("f", "min"), t=("t", "max"),
        total=("total", "sum"), covered=("covered", "sum"),
    )  # fmt: skip
    runs["length"], runs["mean"] = runs["t"] - runs["f"], runs["total"] / runs["covered"]
    return {"runs": runs[runs["length"] >= sql.LEAST_M], "crossings": point, "bonds": _bonds(data)}


def _points(data: Arrays, i: Any, j: Any) -> pd.DataFrame:
    x, y, ux, uy, length, start, line = (data[name] for name in ("x", "y", "ux", "uy", "len", "start", "line"))
    across = ux[i] * uy[j] - uy[i] * ux[j]
    dx, dy = x[j] - x[i], y[j] - y[i]
    on_i, on_j = (dx * uy[j] - dy * ux[j]) / across, (dx * uy[i] - dy * ux[i]) / across
    keep = (np.abs(across) > 1e-9) & (on_i >= -1e-8) & (on_i <= length[i] + 1e-8)
    keep &= (on_j >= -1e-8) & (on_j <= length[j] + 1e-8)
    i, j, on_i = i[keep], j[keep], on_i[keep]
    a, b = line[i], line[j]
    px, py = x[i] + ux[i] * on_i, y[i] + uy[i] * on_i
    ends = data["ends"]
    clear = np.ones(len(i), dtype=bool)
    for k in (0, 2):
        for own in (a, b):
            clear &= np.hypot(px - ends[own, k], py - ends[own, k + 1]) > 0.05
        for m in (0, 2):
            clear &= np.hypot(ends[a, k] - ends[b, m], ends[a, k + 1] - ends[b, m + 1]) > 0.001
    found = pd.DataFrame({"a_line": a, "b_line": b, "at": start[i] + on_i, "px": px, "py": py})[clear]
    found = found.sort_values(["a_line", "b_line", "at"], ignore_index=True)
    gap = found.groupby(["a_line", "b_line"], sort=False)["at"].diff()
    return found[gap.isna() | (gap > 0.001)]


def _bonds(data: Arrays) -> pd.DataFrame:
    ends, points = shapely.points(data["ends"].reshape(-1, 2)), shapely.points(data["points"])
    point, end = shapely.STRtree(ends).query(points, predicate="dwithin", distance=sql.STRUCTURE_M)
    held = pd.DataFrame({"point": point, "line": end // 2}).drop_duplicates()
    both = held.merge(held, on="point", suffixes=("_a", "_b"))
    both = both[both["line_a"] < both["line_b"]]
    return both.rename(columns={"line_a": "a_line", "line_b": "b_line"})


def tables(data: Arrays) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Segments, line ends and structures as the engines load them."""
    ends = data["ends"]
    segments = pd.DataFrame({name: data[name] for name in ("line", "x", "y", "ux", "uy", "len", "start", "x1", "y1")})
    segments.insert(0, "sid", np.arange(len(segments)))
    for k, name in enumerate(("ex0", "ey0", "ex1", "ey1")):
        segments[name] = ends[data["line"], k]
    tips = pd.DataFrame(ends.reshape(-1, 2), columns=["x", "y"]).assign(line=np.arange(2 * len(ends)) // 2)
    points = pd.DataFrame(data["points"], columns=["x", "y"]).assign(point=np.arange(len(data["points"])))
    return segments[list(SEGMENT_COLUMNS)], tips, points


def duckdb_spatial(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """DuckDB with its extension spatial; boxes joined behind an offset, lest it be planned by line."""
    import duckdb  # noqa: PLC0415
    import duckdb_extension_spatial  # noqa: PLC0415

    con = duckdb.connect()
    con.execute("SET threads = 2")
    where = next(Path(duckdb_extension_spatial.__file__).parent.rglob("*.duckdb_extension*"))
    if where.suffix == ".gz":
        import gzip  # noqa: PLC0415

        plain = Path(tempfile.mkdtemp()) / where.stem
        plain.write_bytes(gzip.decompress(where.read_bytes()))
        where = plain
    con.execute(f"LOAD '{where}'")
    for name, frame in zip(("seg", "tips", "structures"), tables(data), strict=True):
        shape = "ST_MakeLine(ST_Point(x, y), ST_Point(x1, y1))" if name == "seg" else "ST_Point(x, y)"
        con.register("given", frame)
        con.execute(f"CREATE TABLE {name} AS SELECT *, {shape} AS geom FROM given")
        con.unregister("given")
    con.execute(f"ALTER TABLE seg ADD COLUMN box GEOMETRY; UPDATE seg SET box = {BOX}")

    def once() -> None:
        for table, text in (
            ("near", "SELECT i, j FROM (SELECT a.sid AS i, b.sid AS j, a.line AS la, b.line AS lb "
                     "FROM seg a JOIN seg b ON ST_Intersects_Extent(a.box, b.box) OFFSET 0) AS p WHERE la < lb"),
            ("pairs", WIDE),
            ("runs", sql.RUNS), ("crossings", sql.CROSSINGS),
            ("held", f"SELECT DISTINCT s.point, t.line FROM structures s JOIN tips t "
                     f"ON ST_DWithin(s.geom, t.geom, {sql.STRUCTURE_M})"),
            ("bonds", sql.BONDS),
        ):  # fmt: skip
            con.execute(f"CREATE OR REPLACE TEMP TABLE {table} AS {text}")

    return once, lambda _: {name: con.execute(f"FROM {name}").df() for name in ("runs", "crossings", "bonds")}


def sedonadb_sql(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """SedonaDB, as many threads as there are cores."""
    import sedonadb  # noqa: PLC0415

    engine = sedonadb.connect()
    for name, frame in zip(("seg", "tips", "structures"), tables(data), strict=True):
        shape = "ST_MakeLine(ST_Point(x, y), ST_Point(x1, y1))" if name == "seg" else "ST_Point(x, y)"
        engine.create_data_frame(frame).to_view("given", overwrite=True)
        engine.sql(f"SELECT *, {shape} AS geom FROM given").to_memtable().to_view(name, overwrite=True)

    def once() -> None:
        for table, text in (
            ("near", f"SELECT a.sid AS i, b.sid AS j FROM seg a JOIN seg b "
                     f"ON ST_DWithin(a.geom, b.geom, {sql.REACH_M}) WHERE a.line < b.line"),
            ("pairs", WIDE),
            ("runs", sql.RUNS), ("crossings", sql.CROSSINGS),
            ("held", f"SELECT DISTINCT s.point, t.line FROM structures s JOIN tips t "
                     f"ON ST_DWithin(s.geom, t.geom, {sql.STRUCTURE_M})"),
            ("bonds", sql.BONDS),
        ):  # fmt: skip
            engine.sql(text).to_memtable().to_view(table, overwrite=True)

    kept = ("runs", "crossings", "bonds")
    return once, lambda _: {name: engine.sql(f"SELECT * FROM {name}").to_pandas() for name in kept}


def postgis(data: Arrays) -> tuple[Once, Callable[[Any], Found]]:
    """PostGIS on loopback, started here as a user who isn't root; index, analysis, parallel workers."""
    import psycopg  # noqa: PLC0415

    port = _started()
    con = psycopg.connect(host="127.0.0.1", port=port, user="bench", dbname="postgres", autocommit=True)
    con.execute("CREATE EXTENSION postgis")
    for name, frame in zip(("seg", "tips", "structures"), tables(data), strict=True):
        shape = "ST_MakeLine(ST_Point(x, y), ST_Point(x1, y1))" if name == "seg" else "ST_Point(x, y)"
        columns = ", ".join(f"{c} {'integer' if frame[c].dtype.kind == 'i' else 'float8'}" for c in frame)
        con.execute(f"CREATE UNLOGGED TABLE given ({columns})")
        with con.cursor() as cursor, cursor.copy("COPY given FROM STDIN (FORMAT csv)") as copy:
            copy.write(frame.to_csv(index=False, header=False))
        con.execute(f"CREATE UNLOGGED TABLE {name} AS SELECT *, {shape} AS geom FROM given; DROP TABLE given")
        con.execute(f"CREATE INDEX ON {name} USING gist (geom); ANALYZE {name}")

    def once() -> None:
        for table, text in (
            ("pairs", f"SELECT {sql.PAIR_COLUMNS} FROM seg a JOIN seg b "
                      f"ON ST_DWithin(a.geom, b.geom, {sql.REACH_M}) AND a.line < b.line"),
            ("runs", sql.RUNS), ("crossings", sql.CROSSINGS),
            ("held", f"SELECT DISTINCT s.point, t.line FROM structures s JOIN tips t "
                     f"ON ST_DWithin(s.geom, t.geom, {sql.STRUCTURE_M})"),
            ("bonds", sql.BONDS),
        ):  # fmt: skip
            con.execute(f"DROP TABLE IF EXISTS {table}; CREATE UNLOGGED TABLE {table} AS {text}")

    def told(_: Any) -> Found:
        return {
            name: pd.DataFrame(con.execute(f"SELECT {columns} FROM {name}").fetchall(), columns=columns.split(", "))
            for name, columns in (
                ("runs", "a_line, b_line, length, mean"), ("crossings", "a_line, b_line, px, py"),
                ("bonds", "point, a_line, b_line"),
            )
        }  # fmt: skip

    return once, told


def _started() -> int:
    """Start a server of our own in a temporary folder; it ends with this process."""
    import atexit  # noqa: PLC0415

    binaries = max(POSTGRES.glob("*/bin"), key=lambda path: int(re.sub(r"\D", "", path.parent.name)))
    folder = Path(tempfile.mkdtemp(prefix="city"))
    user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.getuid() == 0 else {}
    if user:
        import shutil  # noqa: PLC0415

        shutil.chown(folder, "postgres", "postgres")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder, **user}
    subprocess.run([binaries / "initdb", "-D", folder / "data", "-U", "bench", "-A", "trust"], check=True, **quiet)
    chosen = {
        "listen_addresses": "127.0.0.1", "port": port, "unix_socket_directories": folder, "shared_buffers": "2GB",
        "work_mem": "1GB", "maintenance_work_mem": "1GB", "fsync": "off", "synchronous_commit": "off",
        "full_page_writes": "off", "max_wal_size": "8GB", "jit": "off", "max_parallel_workers_per_gather": 2,
        "max_worker_processes": 4,
    }  # fmt: skip
    options = [part for name, value in chosen.items() for part in ("-c", f"{name}={value}")]
    server = subprocess.Popen([binaries / "postgres", "-D", folder / "data", *options], **quiet)

    def ended() -> None:
        server.terminate()
        server.wait(30)
        subprocess.run(["rm", "-rf", folder], check=False)

    atexit.register(ended)
    for _ in range(100):
        time.sleep(0.2)
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return port
    message = "the database server didn't start"
    raise RuntimeError(message)


WAYS: dict[str, Callable[[Arrays], tuple[Once, Any]]] = {
    "ours": ours,
    "ours_public": ours_public,
    "ours_bonds": ours_bonds,
    "ours_recorded": ours_recorded,
    "box_query": box_query,
    "dwithin_join": dwithin_join,
    "numpy_tree": numpy_tree,
    "duckdb": duckdb_spatial,
    "sedonadb": sedonadb_sql,
    "postgis": postgis,
    "geopandas": geopandas_join,
}
