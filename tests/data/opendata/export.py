"""Write the networks of this folder from the wheels of pandapipes and pandapower: files, reference figures, licences.

Run once, in an environment of its own, since the two packages pin older versions of what this project uses:

    python -m venv env && env/bin/pip install ".[opendata]" && env/bin/python tests/data/opendata/export.py

Nothing of this project is imported: all figures of reference.json come from the packages' own tables and graph
functions.
"""

import csv
import json
import logging
import warnings
from collections.abc import Iterable
from importlib.metadata import distribution, version
from pathlib import Path
from typing import Any

logging.disable(logging.WARNING)  # both packages complain that numba is missing
warnings.simplefilter("ignore")

import networkx as nx  # noqa: E402
import pandapipes.networks as pipe_networks  # noqa: E402
import pandapipes.topology as pipe_topology  # noqa: E402
import pandapower.networks as power_networks  # noqa: E402
import pandapower.topology as power_topology  # noqa: E402

HERE = Path(__file__).parent
METRE_DECIMALS, DEGREE_DECIMALS = 3, 8  # a millimetre either way
APART_DEG = 1e-7  # about 1 cm: line ends of one bus that lie further apart don't meet on the map
DISTANCES = 60  # places of which reference.json gives the distance along the network

Course = list[list[float]]


def main() -> None:
    """Write every file of the folder that isn't written by hand."""
    reference = {
        "made_with": {name: version(name) for name in ("pandapipes", "pandapower", "networkx")},
        "gas": gas(),
        "heat": heat(),
        "low_voltage": low_voltage(),
        "medium_voltage": medium_voltage(),
    }
    text = json.dumps(reference, indent=1, ensure_ascii=False)
    (HERE / "reference.json").write_text(text + "\n", encoding="utf-8")
    for name in ("pandapipes", "pandapower"):
        (HERE / f"LICENSE_{name}.txt").write_text(licence(name), encoding="utf-8")


def gas() -> dict[str, Any]:
    """Write the gas network, in metres of EPSG:31467, which the file doesn't say."""
    net = pipe_networks.schutterwald_gas()
    places = net.junction_geodata[["x", "y"]].round(METRE_DECIMALS)
    rows = []
    for index, pipe in net.pipe.iterrows():
        course = [places.loc[pipe.from_junction].tolist(), places.loc[pipe.to_junction].tolist()]
        rows.append(
            {"WKT": wkt_line(course), "pipe": f"g{index}", "name": pipe["name"]}
            | {"from_junction": pipe.from_junction, "to_junction": pipe.to_junction, "type": pipe.type}
            | {"length_km": tidy(pipe.length_km), "inner_diameter_mm": tidy(pipe.inner_diameter_mm)}
            | {"stanet_std_type": pipe.stanet_std_type, "in_service": bool(pipe.in_service)}
        )
    write_csv("gas_pipes.csv", rows)
    points = [("sink", f"gs{i}", j) for i, j in net.sink.junction.items()]
    points += [("ext_grid", f"gx{i}", j) for i, j in net.ext_grid.junction.items()]
    write_csv(
        "gas_points.csv",
        [{"WKT": wkt_point(places.loc[j].tolist()), "point": p, "what": w, "junction": j} for w, p, j in points],
    )
    graph = pipe_topology.create_nxgraph(net)
    start = int(net.ext_grid.junction.iloc[0])
    far = pipe_topology.calc_distance_to_junction(net, start)
    return {
        **counts(net.pipe.length_km, graph, {f"g{i}": net.pipe.from_junction[i] for i in net.pipe.index}),
        "points": {"sink": len(net.sink), "ext_grid": len(net.ext_grid)},
        "distance_from": start,
        "distance_m": {str(j): metres(km) for j, km in thinned(far.sort_index().items())},
    }


def heat() -> dict[str, Any]:
    """Write the heat network twice: with latitude before longitude, and in metres that the file doesn't name."""
    net = pipe_networks.schutterwald_heat()
    swapped, flat = [], []
    for index, pipe in net.pipe.iterrows():
        row = {
            "pipe": f"h{index}", "name": pipe["name"], "from_junction": int(pipe.from_junction),
            "to_junction": int(pipe.to_junction), "length_km": tidy(pipe.length_km),
            "diameter_m": tidy(pipe.diameter_m), "stanet_std_type": text_of(pipe.stanet_std_type), "level": pipe.level,
        }  # fmt: skip
        shape = None
        if pipe.geo is not None:
            shape = {"type": "LineString", "coordinates": rounded(pipe.geo["coordinates"], DEGREE_DECIMALS)}
        swapped.append(feature(row, shape))
        course = net.pipe_geodata.coords[index]
        flat.append({"WKT": wkt_line(rounded(course, METRE_DECIMALS))} | row)
    write_geojson("heat_pipes.geojson", swapped)
    write_csv("heat_pipes_metres.csv", flat)
    points = [
        feature(
            {"point": f"hs{index}", "name": row["name"], "type": row.type},
            {"type": "Point", "coordinates": rounded([row.geo["coordinates"]], DEGREE_DECIMALS)[0]},
        )
        for index, row in net.substation.iterrows()
    ]
    write_geojson("heat_points.geojson", points)
    graph = pipe_topology.create_nxgraph(net)
    courses = [net.pipe_geodata.coords[index] for index in net.pipe.index]
    return {
        **counts(net.pipe.length_km, graph, {f"h{i}": net.pipe.from_junction[i] for i in net.pipe.index}),
        "points": {str(k): int(n) for k, n in net.substation.type.value_counts().sort_index().items()},
        "valves": [[int(v.junction), int(v.element)] for v in net.valve.itertuples() if v.opened and v.et == "ju"],
        "zero_length": sum(tuple(course[0]) == tuple(course[-1]) and len(course) == 2 for course in courses),
        "without_geometry": int(net.pipe.geo.isna().sum()),
        "courses": len({min(key := tuple(map(tuple, c)), key[::-1]) for c in courses}),
        "return_pipes": int(net.pipe["name"].str.startswith("return").sum()),
    }


def low_voltage() -> dict[str, Any]:
    """Write the low-voltage network in longitude and latitude, and what its courses don't show."""
    net = power_networks.lv_schutterwald()
    lines = power_lines("lv_lines.geojson", net, "l")
    places = bus_places(net)
    open_at = {(int(s.element), int(s.bus)) for s in net.switch.itertuples() if s.et == "l" and not s.closed}
    apart = buses_apart(net, lines)
    points = [("load", f"lb{i}", b) for i, b in net.load.bus.items()]
    points += [("trafo", f"lt{i}", b) for i, b in net.trafo.lv_bus.items()]
    taken = {int(b) for _, _, b in points}
    cabinets = sorted({int(b) for b in (*net.switch.bus, *apart)} - taken)
    points += [("cabinet", f"lc{b}", b) for b in cabinets]
    point_of = {int(b): name for _, name, b in points}
    write_geojson(
        "lv_points.geojson",
        [feature({"point": p, "what": w, "bus": int(b)}, point(places[int(b)])) for w, p, b in points],
    )
    write_connections("lv_connections.geojson", apart, letter="l", open_at=open_at, point_of=point_of)
    side = {(int(i), int(b)): at for at in ("from", "to") for i, b in net.line[f"{at}_bus"].items()}
    write_csv(
        "lv_open_switches.csv",
        [{"point": point_of[b], "line": f"l{i}", "end": side[i, b], "switch": "open"} for i, b in sorted(open_at)],
    )
    whole = power_topology.create_nxgraph(net, respect_switches=False, include_trafos=False)
    parted = power_topology.create_nxgraph(net)
    start = {f"l{i}": int(b) for i, b in net.line.from_bus.items()}
    cut = sorted({line for line, _ in open_at})
    parts = counts(net.line.length_km, parted, {k: b for k, b in start.items() if int(k[1:]) not in cut})
    return {
        **counts(net.line.length_km, whole, start),
        "points": {"load": len(net.load), "trafo": len(net.trafo), "cabinet": len(cabinets)},
        "open_switches": len(open_at),
        "buses_apart": len(apart),
        "with_switches": {"cut_lines": [f"l{i}" for i in cut]} | {k: parts[k] for k in ("components", "parts")},
    }


def medium_voltage() -> dict[str, Any]:
    """Write the medium-voltage network in longitude and latitude."""
    net = power_networks.mv_oberrhein()
    apart = buses_apart(net, power_lines("mv_lines.geojson", net, "m"))
    places = bus_places(net)
    points = [("load", f"mb{i}", b) for i, b in net.load.bus.items()]
    points += [("trafo", f"mt{i}", b) for i, b in net.trafo.lv_bus.items()]
    point_of = {int(b): name for _, name, b in points}
    write_connections("mv_connections.geojson", apart, letter="m", open_at=set(), point_of=point_of)
    write_geojson(
        "mv_points.geojson",
        [feature({"point": p, "what": w, "bus": int(b)}, point(places[int(b)])) for w, p, b in points],
    )
    graph = power_topology.create_nxgraph(net, respect_switches=False, include_trafos=False)
    return {
        **counts(net.line.length_km, graph, {f"m{i}": int(b) for i, b in net.line.from_bus.items()}),
        "points": {"load": len(net.load), "trafo": len(net.trafo)},
        "buses_apart": len(apart),
        "overhead": int((net.line.type == "ol").sum()),
    }


def counts(length_km: Any, graph: Any, start: dict[str, int]) -> dict[str, Any]:
    """Return how many, how long, and which lines hang together by the package's graph (networkx components).

    ``parts`` holds the lines of each component but the largest, whose lines are all others.
    """
    part_of = {node: k for k, nodes in enumerate(nx.connected_components(graph)) for node in nodes}
    held: dict[int, list[str]] = {}
    for line, node in start.items():
        held.setdefault(part_of[node], []).append(line)
    parts = sorted(held.values(), key=lambda names: (-len(names), names))
    return {
        "lines": len(length_km),
        "length_m": metres(length_km.sum()),
        "junctions": graph.number_of_nodes(),
        "components": len(parts),
        "parts": parts[1:],
    }


def power_lines(file: str, net: Any, letter: str) -> dict[int, Course]:
    """Write the lines of an electric network and return their courses."""
    courses = {
        int(index): rounded(json.loads(geo)["coordinates"], DEGREE_DECIMALS) for index, geo in net.line.geo.items()
    }
    rows = []
    for index, line in net.line.iterrows():
        row = {
            "line": f"{letter}{index}", "name": line["name"], "std_type": line.std_type, "type": line.type,
            "from_bus": int(line.from_bus), "to_bus": int(line.to_bus), "length_km": tidy(line.length_km),
            "vn_kv": tidy(net.bus.vn_kv[line.from_bus]), "parallel": int(line.parallel),
            "in_service": bool(line.in_service),
        }  # fmt: skip
        rows.append(feature(row, {"type": "LineString", "coordinates": courses[index]}))
    write_geojson(file, rows)
    return courses


def buses_apart(net: Any, courses: dict[int, Course]) -> dict[int, dict[int, list[float]]]:
    """Return, by bus whose line ends don't meet on the map, where each of its lines ends."""
    ends: dict[int, dict[int, list[float]]] = {}
    for index, line in net.line.iterrows():
        ends.setdefault(int(line.from_bus), {})[int(index)] = courses[index][0]
        ends.setdefault(int(line.to_bus), {})[int(index)] = courses[index][-1]
    return {
        bus: here
        for bus, here in ends.items()
        if any(
            abs(a - b) > APART_DEG for place in here.values() for a, b in zip(place, min(here.values()), strict=True)
        )
    }


def write_connections(
    file: str, apart: dict[int, dict[int, list[float]]], *, letter: str, open_at: set[tuple[int, int]],
    point_of: dict[int, str],
) -> None:  # fmt: skip
    """Write what joins the lines of a bus that don't meet on the map: a star, from end to end."""
    rows = []
    for bus, ends in sorted(apart.items()):
        # from a line that is switched on there
        first = min(ends, key=lambda line: ((line, bus) in open_at, line))
        for line in sorted(ends):
            if line != first:
                row = {
                    "connection": f"{letter}{first}-{letter}{line}@{bus}", "line_a": f"{letter}{first}",
                    "line_b": f"{letter}{line}", "point": point_of[bus],
                    "switch": "open" if (line, bus) in open_at else "closed",
                }  # fmt: skip
                course = [ends[first], ends[line]]
                shape = point(ends[line]) if course[0] == course[1] else {"type": "LineString", "coordinates": course}
                rows.append(feature(row, shape))
    write_geojson(file, rows)


def bus_places(net: Any) -> dict[int, list[float]]:
    """Return longitude and latitude of every bus."""
    return {int(b): rounded([json.loads(geo)["coordinates"]], DEGREE_DECIMALS)[0] for b, geo in net.bus.geo.items()}


def thinned(items: Iterable[tuple[Any, float]]) -> list[tuple[Any, float]]:
    """Return some of the items, evenly spread."""
    listed = list(items)
    return listed[:: max(1, len(listed) // DISTANCES)]


def metres(length_km: float) -> float:
    """Return a length of the packages' in m, to the millimetre."""
    return round(float(length_km) * 1000.0, 3)


def tidy(value: float) -> float:
    """Return a number without the noise of its last digits."""
    return float(f"{float(value):.9g}")


def text_of(value: Any) -> str | None:
    """Return text, None where none is stated."""
    return value if isinstance(value, str) else None


def rounded(course: Any, decimals: int) -> Course:
    """Return the coordinates of a course rounded."""
    return [[round(float(c), decimals) for c in place] for place in course]


def wkt_point(place: list[float]) -> str:
    """Return well-known text (OGC 06-103r4) of a point."""
    return f"POINT ({place[0]:.{METRE_DECIMALS}f} {place[1]:.{METRE_DECIMALS}f})"


def wkt_line(course: Course) -> str:
    """Return well-known text (OGC 06-103r4) of a line."""
    return f"LINESTRING ({', '.join(f'{x:.{METRE_DECIMALS}f} {y:.{METRE_DECIMALS}f}' for x, y in course)})"


def point(place: list[float]) -> dict[str, Any]:
    """Return a GeoJSON point (RFC 7946)."""
    return {"type": "Point", "coordinates": place}


def feature(properties: dict[str, Any], shape: dict[str, Any] | None) -> dict[str, Any]:
    """Return a GeoJSON feature (RFC 7946)."""
    return {"type": "Feature", "properties": properties, "geometry": shape}


def write_geojson(file: str, features: list[dict[str, Any]]) -> None:
    """Write a feature collection, a feature a line, without a crs member: RFC 7946 knows longitude, latitude only."""
    rows = ",\n".join(json.dumps(row, ensure_ascii=False, separators=(",", ":")) for row in features)
    text = f'{{"type":"FeatureCollection","features":[\n{rows}\n]}}\n'
    (HERE / file).write_text(text, encoding="utf-8")


def write_csv(file: str, rows: list[dict[str, Any]]) -> None:
    """Write a table; a column WKT holds its geometry, of which the file can't name the CRS."""
    with (HERE / file).open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def licence(name: str) -> str:
    """Return the licence that a package was delivered with."""
    found = [file for file in distribution(name).files or () if file.name == "LICENSE"]
    return "\n".join(line.rstrip() for line in found[0].read_text(encoding="utf-8").splitlines()) + "\n"


if __name__ == "__main__":
    main()
