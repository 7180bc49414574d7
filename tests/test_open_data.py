"""Open networks of four owners in the same streets, read as records come, against their packages' own figures.

Schutterwald gas, heat and low voltage and Oberrhein medium voltage, from the wheels of pandapipes and pandapower (BSD):
tests/data/opendata/README.md gives credit. reference.json holds what the packages' own tables and graph functions say.
"""

import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from networkx.utils import UnionFind
from pyproj import Geod

import corridor
from corridor.errors import CrsError
from corridor.network.build import build_network
from corridor.network.model import Network
from corridor.settings import Settings
from corridor.site import Site
from corridor.site.fieldmap import FieldMap, load_fieldmap

FOLDER = Path(__file__).parent / "data" / "opendata"
REFERENCE: dict[str, Any] = json.loads((FOLDER / "reference.json").read_text(encoding="utf-8"))
LINES = {
    "gas": "gas_pipes.csv",
    "heat": "heat_pipes_metres.csv",
    "low_voltage": "lv_lines.geojson",
    "medium_voltage": "mv_lines.geojson",
}
POINTS = ("gas_points.csv", "lv_points.geojson", "mv_points.geojson")
CONNECTIONS = ("lv_connections.geojson", "mv_connections.geojson")
FILES = (*LINES.values(), *POINTS, *CONNECTIONS)
OWNERS = {"gas": "gas", "heat": "heat", "low_voltage": "low voltage", "medium_voltage": "medium voltage"}
END_COLUMNS = {
    "gas": ("pipe", "from_junction", "to_junction"),
    "heat": ("pipe", "from_junction", "to_junction"),
    "low_voltage": ("line", "from_bus", "to_bus"),
    "medium_voltage": ("line", "from_bus", "to_bus"),
}
METAL = {"material": "steel", "joints": "welded"}

End = tuple[str, str]  # a line, and from or to


@cache
def raw(file: str) -> gpd.GeoDataFrame:
    """A file as it is, without anything of ours."""
    return pyogrio.read_dataframe(FOLDER / file)


def plan(*files: str, **metal: str) -> FieldMap:
    """The blocks of the field map for some files; ``metal`` says what pipes are made of, whatever is recorded."""
    whole = load_fieldmap(FOLDER / "records.toml")
    blocks = {}
    for file in files:
        block = whole.layers[Path(file).stem]
        if metal and block.constants.get("asset") == "pipe":
            columns = {name: rule for name, rule in block.columns.items() if name not in metal}
            block = block.model_copy(update={"columns": columns, "constants": block.constants | metal})
        blocks[Path(file).stem] = block
    return whole.model_copy(update={"layers": blocks})


@cache
def town() -> Site:
    """The four owners' records as they come."""
    return corridor.read_site([FOLDER / file for file in FILES], fieldmap=plan(*FILES))


@cache
def metal_town() -> Site:
    """The same with every pipe of steel, so that metal hangs together wherever the networks do."""
    return corridor.read_site([FOLDER / file for file in FILES], fieldmap=plan(*FILES, **METAL))


@cache
def network() -> Network:
    site = metal_town()
    return build_network(site, corridor.find_bonds(site))


def owned(site: Site, name: str) -> gpd.GeoDataFrame:
    return site.lines[site.lines["owner"] == OWNERS[name]]


def partition(groups: Any) -> set[frozenset[Any]]:
    return {frozenset(group) for group in groups}


# ---- every feature: used, repaired or set aside


def test_nothing_is_lost() -> None:
    table = town().accounting.set_index("layer")
    assert list(table["features_in"]) == [len(raw(file)) for file in FILES]
    assert (table["used"] + table["set_aside"] == table["features_in"]).all()
    aside = table.loc[table["set_aside"] > 0, "set_aside"]
    assert aside.to_dict() == {"heat_pipes_metres.csv:heat_pipes_metres": REFERENCE["heat"]["zero_length"]}


@pytest.mark.parametrize("name", LINES)
def test_as_many_lines_as_in_the_packages_tables(name: str) -> None:
    kept = REFERENCE[name]["lines"] - REFERENCE[name].get("zero_length", 0)
    assert len(owned(town(), name)) == kept
    assert len(raw(LINES[name])) == REFERENCE[name]["lines"]


@pytest.mark.parametrize(("file", "name"), list(zip(POINTS, ("gas", "low_voltage", "medium_voltage"), strict=True)))
def test_as_many_structures_as_in_the_packages_tables(file: str, name: str) -> None:
    assert len(raw(file)) == sum(REFERENCE[name]["points"].values())
    assert (town().structures["owner"] == OWNERS[name]).sum() == len(raw(file))


def test_what_is_set_aside_is_told_feature_by_feature() -> None:
    found = town().findings
    aside = found[found["action"].str.startswith("set aside") & found["feature_row"].notna()]
    assert set(aside["code"]) == {"zero_length"}
    short = raw(LINES["heat"]).length == 0.0
    assert sorted(aside["feature_row"].astype(int)) == list(np.flatnonzero(short))


@pytest.mark.parametrize("name", LINES)
def test_every_repair_is_told_and_nothing_else_moves(name: str) -> None:
    lines, found = owned(town(), name), town().findings
    shift = shapely.hausdorff_distance(lines.geometry.to_numpy(), in_metres(name)[lines["src_feature_row"].astype(int)])
    told = set(found.loc[found["action"].str.startswith("repaired"), "line_id"])
    assert set(lines.loc[shift > 0.002, "line_id"]) == told & set(lines["line_id"])
    assert shift.max() <= Settings().site.snap_m  # an end moves by no more than the tolerance


def in_metres(name: str) -> Any:
    """The courses of a file, row by row, in EPSG:31467."""
    records = raw(LINES[name])
    tagged = records.set_crs("EPSG:31467") if LINES[name].endswith(".csv") else records.to_crs("EPSG:31467")
    return tagged.geometry.to_numpy()


def test_flow_and_return_in_one_place_are_both_kept_and_told() -> None:
    heat, found = owned(town(), "heat"), town().findings
    told = found[found["code"] == "same_place"]
    assert heat["subtype"].value_counts().to_dict() == {"flow": 207, "return": 207}
    assert len(told) == REFERENCE["heat"]["return_pipes"] - REFERENCE["heat"]["zero_length"] / 2
    # over the zero-length pipes too, the package knows this many different courses
    courses = {shapely.to_wkb(shapely.normalize(shape)) for shape in raw(LINES["heat"]).geometry}
    assert len(courses) == REFERENCE["heat"]["courses"]


# ---- places


def test_metres_without_a_tag_are_never_guessed() -> None:
    blocks = plan("gas_pipes.csv")
    bare = blocks.layers["gas_pipes"].model_copy(update={"crs": None})
    with pytest.raises(CrsError, match=r"gas_pipes\.csv:gas_pipes has no coordinate reference system"):
        corridor.read_site(FOLDER / "gas_pipes.csv", fieldmap=blocks.model_copy(update={"layers": {"gas_pipes": bare}}))


def test_latitude_before_longitude_is_read_as_stated() -> None:
    files = ("heat_pipes.geojson", "heat_points.geojson")
    site = corridor.read_site([FOLDER / file for file in files], fieldmap=plan(*files))
    told = site.findings.loc[site.findings["code"] == "axes_swapped", "feature_source"]
    assert sorted(told) == ["heat_pipes.geojson:heat_pipes", "heat_points.geojson:heat_points"]
    assert site.crs.to_epsg() == 32632  # 9 degrees east +- 3
    reference = REFERENCE["heat"]
    table = site.accounting.set_index("layer")
    assert table["set_aside"].to_dict() == {
        "heat_pipes.geojson:heat_pipes": reference["without_geometry"],
        "heat_points.geojson:heat_points": 0,
    }
    blank = site.findings[site.findings["code"] == "no_geometry"]
    assert sorted(blank["feature_row"].astype(int)) == list(np.flatnonzero(raw(files[0]).geometry.isna()))
    # the package keeps the same courses in metres too: its degrees have 8 decimals, a millimetre
    here = site.lines.set_index("line_id").to_crs("EPSG:31467").geometry
    flat = raw(LINES["heat"]).set_index("pipe").geometry[here.index]
    assert shapely.hausdorff_distance(here.to_numpy(), flat.to_numpy()).max() < Settings().site.snap_m
    assert np.median(shapely.hausdorff_distance(here.to_numpy(), flat.to_numpy())) < 0.002
    assert site.structures["kind"].value_counts().to_dict() == {
        "building_entry": reference["points"]["heat_consumer"],
        "other": reference["points"]["heat_generator"],
    }


def test_latitude_before_longitude_is_told_where_nobody_stated_it() -> None:
    files = ("lv_lines.geojson", "lv_points.geojson", "heat_pipes.geojson")
    blocks = plan(*files)
    silent = blocks.layers["heat_pipes"].model_copy(update={"axes": "east_north"})
    site = corridor.read_site(
        [FOLDER / file for file in files],
        fieldmap=blocks.model_copy(update={"layers": blocks.layers | {"heat_pipes": silent}}),
    )
    told = site.findings.groupby("code")["feature_source"].agg(list)
    assert told["axes_suspected"] == ["heat_pipes.geojson:heat_pipes"]
    blank = REFERENCE["heat"]["without_geometry"]
    assert len(told["far_away"]) == REFERENCE["heat"]["lines"] - blank  # each told, none lost
    assert len(told["no_geometry"]) == blank
    assert site.accounting.set_index("layer")["set_aside"].to_dict() == {
        "lv_lines.geojson:lv_lines": 0,
        "lv_points.geojson:lv_points": 0,
        "heat_pipes.geojson:heat_pipes": REFERENCE["heat"]["lines"],
    }


def test_two_owners_put_the_same_houses_in_the_same_place() -> None:
    # gas in metres on the DHDN datum, electricity in WGS 84: the package's houses are the same 1,506 buildings, and the
    # datum shift that the low-voltage network went through (its module: EPSG 31467 to 4326) is undone to the centimetre
    houses = town().structures
    gas = houses[houses["structure_id"].str.startswith("gs")].geometry
    electricity = houses[houses["structure_id"].str.startswith("lb")].geometry
    _, gaps = shapely.STRtree(gas.to_numpy()).query_nearest(
        electricity.to_numpy(), return_distance=True, all_matches=False
    )
    assert np.quantile(gaps, 0.99) < 0.01
    assert len(gas) == len(electricity) == 1506


# lengths that the packages state, against those of the courses: tables are measured or rounded to 0.1 m, courses drawn
@pytest.mark.parametrize(
    ("name", "tolerance"), [("gas", 1e-3), ("heat", 2e-4), ("low_voltage", 4e-3), ("medium_voltage", 1e-2)]
)
def test_lengths_are_those_of_the_packages_tables(name: str, tolerance: float) -> None:
    assert owned(town(), name).length.sum() == pytest.approx(REFERENCE[name]["length_m"], rel=tolerance)


@pytest.mark.parametrize("name", ["low_voltage", "medium_voltage"])
def test_lengths_are_those_on_the_ellipsoid(name: str) -> None:
    # Karney 2013, J. Geodesy 87:43, by PROJ's geodesics. Gauss-Krueger stretches by x^2 / 2R^2 (Snyder 1987):
    # 8e-5 at 80 km from the meridian of 9 degrees; snapped ends add centimetres
    geod = Geod(ellps="WGS84")
    true_m = sum(geod.geometry_length(shape) for shape in raw(LINES[name]).geometry)
    assert owned(town(), name).length.sum() == pytest.approx(true_m, rel=1.5e-4)


# ---- what hangs together


def ends_joined(name: str) -> set[frozenset[End]]:
    """Line ends by the place where junctions and recorded bonds of ours join them."""
    nodes, links = network().nodes, network().links
    held: Any = UnionFind(nodes["node_id"])
    joins = links[(links["kind"] == "junction") | ((links["kind"] == "bond") & (links["evidence"] == "recorded"))]
    for link in joins.itertuples():
        held.union(link.node_a, link.node_b)
    mine = set(owned(metal_town(), name)["line_id"])
    places: dict[str, set[End]] = defaultdict(set)
    for node in nodes[(nodes["kind"] == "end") & nodes["line_id"].isin(mine)].itertuples():
        places[held[node.node_id]].add((node.line_id, "from" if node.at_m == 0.0 else "to"))
    return partition(places.values())


def ends_recorded(name: str) -> set[frozenset[End]]:
    """Line ends by the junction or bus of the package's table; heat: by what lies in one place there."""
    key, *sides = END_COLUMNS[name]
    records = raw(LINES[name])
    one: Any = UnionFind(pd.unique(records[sides].to_numpy().ravel()))
    if name == "heat":
        near = records.length <= Settings().site.snap_m
        for a, b in (*records.loc[near, sides].to_numpy(), *np.array(REFERENCE["heat"]["valves"]).astype(str)):
            one.union(a, b)  # an open valve, or a pipe shorter than what counts as one junction
        for _, pair in records.groupby(records.geometry.to_wkt()):
            for side in sides:
                one.union(*pair[side])  # flow and return
        records = records[records.length > 0.0]
    places: dict[Any, set[End]] = defaultdict(set)
    for row in records.to_dict("records"):
        for side in sides:
            places[one[row[side]]].add((row[key], side.split("_")[0]))
    return partition(places.values())


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.thorough if name == "gas" else []) for name in LINES]
)
def test_line_ends_meet_where_the_package_joins_them_and_nowhere_else(name: str) -> None:
    ours, theirs = ends_joined(name), ends_recorded(name)
    assert ours == theirs
    if name != "heat":  # whose flow and return can't be told apart by place
        buses = REFERENCE[name]["junctions"]
        loose = {"low_voltage": 14, "medium_voltage": 2}.get(name, 0)  # the transformers' far buses have no line
        assert len(theirs) == buses - loose


def test_ends_on_another_pipes_course_are_the_only_joints_of_our_own() -> None:
    # house connections are drawn straight to the nearest main: 22 gas ends and 3 cable ends lie within 0.1 m of another
    # line of the network, which counts as a tee; the package has them unconnected
    owner = metal_town().lines.set_index("line_id")["owner"]
    tees = network().nodes[network().nodes["kind"] == "tee"]
    assert owner.loc[tees["line_id"]].value_counts().to_dict() == {"gas": 22, "low voltage": 3}


@pytest.mark.parametrize("name", LINES)
def test_networks_hang_together_as_in_the_packages_graphs(name: str) -> None:
    mine = set(owned(metal_town(), name)["line_id"])
    groups = recorded_groups(metal_town())
    assert sum(not group.isdisjoint(mine) for group in groups) == REFERENCE[name]["components"] == 1
    assert mine in groups  # and no line of another network is in the group: low and medium voltage stay apart


@cache
def groups_of_metal() -> gpd.GeoDataFrame:
    return corridor.bonded_groups(metal_town())


def recorded_groups(site: Site) -> set[frozenset[str]]:
    groups = groups_of_metal() if site is metal_town() else corridor.bonded_groups(site)
    return partition(text.split() for text in groups.loc[groups["level"] == "recorded", "line_ids"])


def test_open_switches_read_as_isolations_part_the_low_voltage_network_as_the_package_does() -> None:
    files = ("lv_lines.geojson", "lv_points.geojson", "lv_connections.geojson", "lv_open_switches.csv")
    blocks = load_fieldmap(FOLDER / "switches.toml")
    site = corridor.read_site([FOLDER / file for file in files], fieldmap=blocks)
    reference = REFERENCE["low_voltage"]
    assert len(site.terminations.query("isolated == 'yes'")) == reference["open_switches"]
    cut = set(reference["with_switches"]["cut_lines"])  # the package leaves a line with an open switch out altogether
    ours = {group - cut for group in recorded_groups(site)} - {frozenset()}
    theirs = partition(reference["with_switches"]["parts"])
    assert len(ours) == reference["with_switches"]["components"] == 14
    largest = max(ours, key=len)
    assert ours - {largest} == theirs
    assert largest == set(site.lines["line_id"]) - cut - frozenset().union(*theirs)


def test_distances_along_the_gas_network_are_the_packages() -> None:
    # pandapipes.topology.calc_distance_to_junction: the same ways through our network, with the lengths of its table
    recorded_m = owned(metal_town(), "gas").set_index("line_id")["src_length_km"].astype(float) * 1000.0
    drawn_m = owned(metal_town(), "gas").set_index("line_id").length
    stretch = recorded_m / drawn_m
    graph = nx.Graph()
    spans = network().spans[network().spans["line_id"].isin(stretch.index)]
    for span in spans.itertuples():
        graph.add_edge(span.node_start, span.node_end, weight=(span.end_m - span.start_m) * stretch[span.line_id])
    tees = set(network().nodes.query("kind == 'tee'")["node_id"])
    for link in network().links.query("kind == 'junction'").itertuples():
        if not {link.node_a, link.node_b} & tees:  # the package has none
            graph.add_edge(link.node_a, link.node_b, weight=0.0)
    places = {junction: node for node, junction in gas_ends()}
    far = nx.single_source_dijkstra_path_length(graph, places[str(REFERENCE["gas"]["distance_from"])])
    ours = [far[places[junction]] for junction in REFERENCE["gas"]["distance_m"]]
    assert len(ours) > 50
    assert ours == pytest.approx(list(REFERENCE["gas"]["distance_m"].values()), abs=0.01)


def gas_ends() -> Iterator[tuple[str, str]]:
    """A node of ours and the package's junction of each end of the gas network."""
    rows = raw(LINES["gas"]).set_index("pipe")
    nodes = network().nodes
    for node in nodes[(nodes["kind"] == "end") & nodes["line_id"].isin(rows.index)].itertuples():
        yield node.node_id, rows.loc[node.line_id, "from_junction" if node.at_m == 0.0 else "to_junction"]


# ---- find, bonds, trace


@cache
def found() -> Any:
    return corridor.find_couplings(town())


def test_every_flow_pipe_runs_along_its_return() -> None:
    records = raw(LINES["heat"])
    records = records[records.length > 0.0]
    twins = [sorted(pair["pipe"]) for _, pair in records.groupby(records.geometry.to_wkt())]
    runs = found().parallel_runs.set_index(["line_a", "line_b"])
    length = records.set_index("pipe").length
    long = [tuple(pair) for pair in twins if length[pair[0]] >= Settings().couplings.min_length_m + 0.2]
    assert len(long) > 100
    mine = runs.loc[long]
    assert mine["separation_mean_m"].max() == 0.0
    assert mine["length_m"].to_numpy() == pytest.approx(length[[a for a, _ in long]].to_numpy(), abs=0.1)


def test_crossings_are_where_the_geometry_library_sees_them() -> None:
    # an independent look by shapely's predicates at the crossings of the heat and medium-voltage networks
    lines = town().lines.set_index("line_id").geometry
    heat = owned(town(), "heat").set_index("line_id").geometry
    cables = owned(town(), "medium_voltage").set_index("line_id").geometry
    near, far = shapely.STRtree(cables.to_numpy()).query(heat.to_numpy(), predicate="intersects")
    seen = set()
    for a, b in zip(heat.index[near], cables.index[far], strict=True):
        points = shapely.get_parts(shapely.intersection(lines[a], lines[b]))
        ends = shapely.multipoints([p for x in (a, b) for p in (lines[x].coords[0], lines[x].coords[-1])])
        if any(p.geom_type == "Point" and shapely.distance(p, ends) > 0.05 for p in points):
            seen.add((a, b))  # h before m
    ours = set(zip(found().crossings["line_a"], found().crossings["line_b"], strict=True))
    assert seen
    assert seen == {pair for pair in ours if pair[0] in heat.index and pair[1] in cables.index}


def test_every_house_with_gas_and_electricity_gets_one_bond_by_rule() -> None:
    bonds = found().bonds_found
    houses = bonds[bonds["rule"] == "service_entrance_gas"]
    assert not houses.duplicated(["line_a", "line_b"]).any()
    assert 1480 <= len(houses) <= REFERENCE["gas"]["points"]["sink"]  # two pairs of houses lie elsewhere in one network
    assert (bonds["rule"] == "recorded").sum() == sum(len(raw(file)) for file in CONNECTIONS)


def test_code_practice_alone_doesnt_weld_the_town_together() -> None:
    groups = corridor.bonded_groups(town(), bonds_found=found().bonds_found)
    recorded = partition(text.split() for text in groups.loc[groups["level"] == "recorded", "line_ids"])
    assert recorded == {frozenset(owned(town(), name)["line_id"]) for name in ("low_voltage", "medium_voltage")}
    likely = groups[groups["level"] == "likely"]
    assert likely["line_count"].max() > len(owned(town(), "low_voltage"))  # the gas services of assumed steel


def test_a_trace_in_the_street_names_what_shares_the_metal() -> None:
    site = around("lb1087", 60.0)
    trace = corridor.trace_tone(
        site, corridor.HookUp("clamp", "l8634", structure_id="lb1087"), frequency_hz=10_000.0, level_ma=50.0
    )
    assert trace.current_ma == pytest.approx(50.0)
    current = trace.sections.groupby("line_id")["current_ma"].max()
    assert current.idxmax() == "l8634"
    assert set(trace.sections["line_id"]) <= set(site.lines.loc[site.lines["conductive"] == "yes", "line_id"])
    # from line to line the tone goes through buses and junctions of the packages' tables
    ways = [name for name in trace.bleed_paths["through"].dropna().unique() if name.startswith("junction:")]
    assert ways
    for way in ways:
        one, other = (place.rpartition("@")[0] for place in way.removeprefix("junction:").split(":"))
        assert recorded_places(one) & recorded_places(other), way


def recorded_places(line_id: str) -> set[str]:
    """The buses or junctions of a line in its package's table."""
    key, *sides = END_COLUMNS["gas" if line_id.startswith("g") else "low_voltage"]
    records = raw(LINES["gas" if line_id.startswith("g") else "low_voltage"])
    return set(records.loc[records[key] == line_id, sides].astype(str).to_numpy().ravel())


def around(structure_id: str, reach_m: float) -> Site:
    """The records within reach of a structure; a whole town is no single desk review."""
    site = town()
    place = site.structures.set_index("structure_id").geometry[structure_id]
    lines = site.lines[site.lines.distance(place) <= reach_m].reset_index(drop=True)
    names = set(lines["line_id"])
    structures = site.structures[site.structures.distance(place) <= reach_m].reset_index(drop=True)
    held = site.terminations
    held = held[held["line_id"].isin(names) & held["structure_id"].isin(set(structures["structure_id"]))]
    bonds = site.bonds[site.bonds["line_a"].isin(names) & site.bonds["line_b"].isin(names)].reset_index(drop=True)
    grounds = site.grounds[site.grounds["line_id"].isin(names)].reset_index(drop=True)
    return replace(
        site, lines=lines, structures=structures, terminations=held.reset_index(drop=True), bonds=bonds, grounds=grounds
    )
