"""The sample sites: same seed same bytes, the layers as described, and a truth that the geometry bears out.

The truth is computed by the generator from what it meant. Here the same definitions are applied to the written geometry
alone, by brute force: a second, independent way to the same groups.
"""

import importlib
import itertools
import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

SAMPLE_GIS = Path(__file__).parents[1] / "sample_gis"
SITES = sorted(path.parent.name for path in SAMPLE_GIS.glob("*/truth.json"))
LAYERS = ["lines", "structures", "terminations", "bonds", "grounds", "soil", "work_area"]
METALS = {"steel", "cast_iron", "ductile_iron", "copper", "lead", "aluminium", "stainless_steel", "DI", "CI", "STL"}
REACH_M = 0.5
SNAP_M = 0.1


@pytest.fixture(scope="module")
def sites() -> Iterator[Any]:
    """The generator's module of sites, imported from its own folder."""
    sys.path.insert(0, str(SAMPLE_GIS))
    try:
        yield importlib.import_module("sitegen.sites")
    finally:
        sys.path.remove(str(SAMPLE_GIS))


def read_layers(path: Path) -> dict[str, Any]:
    return {name: gpd.read_file(path, layer=name) for name in gpd.list_layers(path)["name"]}


def read_truth(folder: Path) -> dict[str, Any]:
    return dict(json.loads((folder / "truth.json").read_text(encoding="utf-8")))


class Geometry:
    """What the written layers alone say, by the definitions of connection and of code practice."""

    def __init__(self, layers: dict[str, Any]) -> None:
        lines = layers["lines"].drop_duplicates("line_id")
        lines = lines[lines.length > 0]
        dead = lines["status"].isin(["proposed", "removed"])
        metallic = lines["material"].isin(METALS) | (lines["asset"] == "cable") | (lines["tracer_wire"] == "yes")
        live = lines["conductive"].eq("yes") | (lines["conductive"].isna() & metallic)
        self.all_lines = lines.set_index("line_id")
        self.lines = lines[live & ~dead].set_index("line_id")
        self.structures = layers["structures"].set_index("structure_id")
        rows = layers["terminations"]
        rows = rows[rows["isolated"] == "yes"]
        self.isolated = set(zip(rows["structure_id"], rows["line_id"], strict=True))
        self.bonds = layers["bonds"]

    def near(self, spot: Any, reach_m: float = REACH_M) -> set[str]:
        return set(self.structures.index[self.structures.distance(spot) <= reach_m])

    def ends(self, line_id: str) -> list[Any]:
        shape = self.lines.geometry[line_id]
        return [shapely.Point(shape.coords[0]), shapely.Point(shape.coords[-1])]

    def same_utility(self) -> Iterator[tuple[str, str]]:
        for _, group in self.lines.groupby("utility"):
            yield from itertools.combinations(sorted(group.index), 2)

    def meetings(self) -> Iterator[tuple[str, str, Any, float]]:
        """Yield line_a, line_b, the end of one and its distance (m) from the other, wherever that is below 1.5 m."""
        for a, b in self.same_utility():
            for own, other in ((a, b), (b, a)):
                for end in self.ends(own):
                    distance = end.distance(self.lines.geometry[other])
                    if distance < 1.5:
                        yield a, b, end, distance

    @cached_property
    def met(self) -> list[tuple[str, str, Any, float]]:
        return list(self.meetings())

    @cached_property
    def connections(self) -> set[tuple[str, str]]:
        pairs = set()
        for a, b, end, distance in self.met:
            blocked = any({(where, a), (where, b)} & self.isolated for where in self.near(end, SNAP_M))
            if distance <= SNAP_M and not blocked:
                pairs.add((a, b))
        return pairs

    @cached_property
    def inferred(self) -> dict[tuple[str, str], float]:
        found: dict[tuple[str, str], float] = {}
        for structure_id, structure in self.structures.iterrows():
            distance = self.lines.distance(structure.geometry)
            standing = [
                key for key in self.lines.index[distance <= REACH_M] if (structure_id, key) not in self.isolated
            ]
            for a, b in itertools.combinations(sorted(standing), 2):
                ends = all(min(end.distance(structure.geometry) for end in self.ends(key)) <= REACH_M for key in (a, b))
                chance = self.practice(structure["kind"], (a, b), ends=ends)
                if chance:
                    found[a, b] = max(chance, found.get((a, b), 0.0))
        return found

    def practice(self, kind: str, pair: tuple[str, str], *, ends: bool) -> float:
        rows = [self.lines.loc[key] for key in pair]
        utilities = sorted(row["utility"] for row in rows)
        chance = 0.0
        if kind == "building_entry" and ends and utilities.count("electricity") == 1:
            other = next(row for row in rows if row["utility"] != "electricity")
            if other["material"] in METALS:
                chance = {"water": 0.8, "telecommunications": 0.8, "gas": 0.6}.get(other["utility"], 0.0)
        elif kind in ("transformer", "substation") and ends and set(utilities) == {"electricity"}:
            chance = 0.9
        elif kind in ("manhole", "vault", "chamber") and all(
            row["sheath"] not in (None, "none") and pd.notna(row["sheath"]) for row in rows
        ):
            chance = {
                "electricity electricity": 0.8,
                "telecommunications telecommunications": 0.6,
                "electricity telecommunications": 0.3,
            }.get(" ".join(utilities), 0.0)
        elif kind == "cabinet" and ends and set(utilities) <= {"lighting", "traffic_signal"}:
            chance = 0.7
        return chance

    def groups(self, level: str) -> list[list[str]]:
        # gasketed iron is of unknown continuity: what joins through it isn't on record
        whole = ~self.lines["joints"].isin(["gasketed", "unknown"]) | (self.lines["tracer_wire"] == "yes")
        pairs = {pair for pair in self.connections if whole[list(pair)].all()}
        certain = self.bonds[
            self.bonds["evidence"].isin(["recorded", "observed", "measured"]) & (self.bonds["state"] == "closed")
        ]
        pairs |= set(zip(certain["line_a"], certain["line_b"], strict=True))
        if level == "likely":
            guessed = self.bonds[(self.bonds["evidence"] == "inferred") & (self.bonds["probability"] >= 0.5)]
            pairs |= set(zip(guessed["line_a"], guessed["line_b"], strict=True))
            pairs |= {pair for pair, chance in self.inferred.items() if chance >= 0.5}
        groups = {key: {key} for key in self.lines.index}
        for a, b in pairs:
            if a in groups and b in groups and groups[a] is not groups[b]:
                groups[a] |= groups[b]
                for key in groups[b]:
                    groups[key] = groups[a]
        return sorted({id(group): sorted(group) for group in groups.values()}.values())


_GEOMETRY: list[tuple[dict[str, Any], Geometry]] = []


def geometry_of(layers: dict[str, Any]) -> Geometry:
    """The geometry of the layers, worked out once while tests ask for the same ones."""
    if not _GEOMETRY or _GEOMETRY[0][0] is not layers:
        _GEOMETRY[:] = [(layers, Geometry(layers))]
    return _GEOMETRY[0][1]


@pytest.fixture(scope="module", params=[(name, seed) for name in SITES for seed in (1, 2, 77)], ids=str)
def fresh(
    request: pytest.FixtureRequest, sites: Any, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Layers and truth of a site from a seed; seed 1 made the committed ones."""
    name, seed = request.param
    if seed == 1:
        return read_layers(SAMPLE_GIS / name / f"{name}.gpkg"), read_truth(SAMPLE_GIS / name)
    path = sites.make_site(name, tmp_path_factory.mktemp("site"), seed=seed)
    return read_layers(path), read_truth(path.parent)


@pytest.mark.parametrize("name", SITES)
def test_the_committed_sites_are_what_the_script_makes_byte_for_byte(name: str, sites: Any, tmp_path: Path) -> None:
    truth = read_truth(SAMPLE_GIS / name)
    for run in ("first", "second"):
        made = sites.make_site(name, tmp_path / run, seed=truth["seed"]).parent
        for file in ("truth.json", "README.md"):
            assert (made / file).read_bytes() == (SAMPLE_GIS / name / file).read_bytes()
    first, second = (tmp_path / run / name / f"{name}.gpkg" for run in ("first", "second"))
    assert first.read_bytes() == second.read_bytes()
    # Another build of the format's library may lay out the file differently: the content is compared, not the bytes.
    committed, made_again = read_layers(SAMPLE_GIS / name / f"{name}.gpkg"), read_layers(first)
    assert committed.keys() == made_again.keys()
    for layer, table in committed.items():
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(made_again[layer]))


@pytest.mark.parametrize("name", SITES)
def test_no_clock_time_enters_the_file(name: str) -> None:
    with sqlite3.connect(SAMPLE_GIS / name / f"{name}.gpkg") as database:
        stamps = {row[0] for row in database.execute("select last_change from gpkg_contents")}
    database.close()
    assert stamps == {"2020-01-01T00:00:00.000Z"}


@pytest.mark.parametrize("name", SITES)
def test_committed_files_are_small(name: str) -> None:
    assert (SAMPLE_GIS / name / f"{name}.gpkg").stat().st_size < 1_000_000


def test_layers_and_columns_are_there(fresh: tuple[dict[str, Any], dict[str, Any]]) -> None:
    layers, truth = fresh
    assert set(LAYERS) <= set(layers)
    columns = {
        "lines": {
            "line_id",
            "utility",
            "asset",
            "conductive",
            "material",
            "tracer_wire",
            "sheath",
            "depth_m",
            "status",
            "energized",
        },
        "structures": {"structure_id", "kind", "utility", "access"},
        "terminations": {"structure_id", "line_id", "at", "direct", "clamp", "isolated"},
        "bonds": {"bond_id", "line_a", "line_b", "state", "evidence", "probability", "resistance_ohm"},
        "grounds": {"ground_id", "line_id", "resistance_ohm", "evidence"},
        "soil": {"resistivity_ohm_m", "low_ohm_m", "high_ohm_m"},
        "work_area": {"phase", "dig_depth_m"},
    }
    for layer, names in columns.items():
        assert names <= set(layers[layer].columns), layer
        if layer != "terminations":
            assert str(layers[layer].crs) == truth["parameters"]["crs"]


@pytest.mark.parametrize("level", ["recorded", "likely"])
def test_groups_follow_from_the_geometry_alone(fresh: tuple[dict[str, Any], dict[str, Any]], level: str) -> None:
    layers, truth = fresh
    assert geometry_of(layers).groups(level) == truth["groups"][level]


def test_connections_and_inferred_bonds_follow_from_the_geometry_alone(
    fresh: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    layers, truth = fresh
    geometry = geometry_of(layers)
    assert geometry.connections == {tuple(pair) for pair in truth["connections"]}
    stated: dict[tuple[str, str], float] = {}
    for row in truth["bonds"]["inferred"]:
        pair = (row["line_a"], row["line_b"])
        stated[pair] = max(row["probability"], stated.get(pair, 0.0))
    assert geometry.inferred == stated


def test_no_unplanned_near_miss(fresh: tuple[dict[str, Any], dict[str, Any]]) -> None:
    layers, truth = fresh
    planted = {
        tuple(sorted((row["line_id"], row["onto"]))) for row in truth["planted"].get("junction_gap_reported", [])
    }
    geometry, meetings = geometry_of(layers), geometry_of(layers).met
    joined = {end.coords[0] for _, _, end, distance in meetings if distance <= SNAP_M}
    loose = [(a, b) for a, b, end, _ in meetings if end.coords[0] not in joined and not geometry.near(end)]
    assert set(loose) == planted


def test_references_resolve_except_the_planted_one(fresh: tuple[dict[str, Any], dict[str, Any]]) -> None:
    layers, truth = fresh
    lines, structures = set(layers["lines"]["line_id"]), set(layers["structures"]["structure_id"])
    strays = {row["line_id"] for row in truth["planted"].get("termination_of_unknown_line", [])}
    assert set(layers["terminations"]["line_id"]) - lines == strays
    assert set(layers["terminations"]["structure_id"]) <= structures
    assert set(layers["bonds"]["line_a"]) | set(layers["bonds"]["line_b"]) | set(layers["grounds"]["line_id"]) <= lines
    assert (layers["bonds"]["line_a"] < layers["bonds"]["line_b"]).all()
    assert layers["structures"]["structure_id"].is_unique
    assert {row["line_a"] for row in truth["bonds"]["hidden"]} <= lines


def test_bonds_and_grounds_touch_their_lines(fresh: tuple[dict[str, Any], dict[str, Any]]) -> None:
    layers, _ = fresh
    shapes = layers["lines"].drop_duplicates("line_id").set_index("line_id").geometry
    for row in layers["bonds"].dropna(subset=["geometry"]).itertuples():
        first, last = (shapely.Point(row.geometry.coords[index]) for index in (0, -1))
        assert first.distance(shapes[row.line_a]) < 0.01
        assert last.distance(shapes[row.line_b]) < 0.01
    for row in layers["grounds"].itertuples():
        assert row.geometry.distance(shapes[row.line_id]) < 0.01


def test_a_hidden_bond_is_in_no_record(fresh: tuple[dict[str, Any], dict[str, Any]]) -> None:
    _, truth = fresh
    recorded = {(row["line_a"], row["line_b"]) for row in truth["bonds"]["records"] if row["evidence"] == "recorded"}
    hidden = [(row["line_a"], row["line_b"]) for row in truth["bonds"]["hidden"]]
    assert hidden
    assert not recorded & set(hidden)


@pytest.fixture(scope="module")
def block() -> tuple[dict[str, Any], dict[str, Any]]:
    """Layers and truth of the committed downtown block."""
    folder = SAMPLE_GIS / "downtown_block"
    return read_layers(folder / "downtown_block.gpkg"), read_truth(folder)


class TestDowntownBlock:
    def test_size_suits_the_solver(self, block: Any) -> None:
        layers, _ = block
        assert 4000 <= Geometry(layers).lines.length.sum() <= 5500
        rows = layers["terminations"]
        assert ((rows["direct"] == "yes") | (rows["clamp"] == "yes")).sum() >= 40

    def test_each_planted_bond_is_the_only_link_between_its_groups(self, block: Any) -> None:
        layers, truth = block
        for bond in truth["planted"]["bond"]:
            without = {**layers, "bonds": layers["bonds"][layers["bonds"]["bond_id"] != bond["bond_id"]]}
            group = next(group for group in Geometry(without).groups("likely") if bond["line_a"] in group)
            assert bond["line_b"] not in group

    def test_the_two_lonely_partners_are_bonded_to_nothing(self, block: Any) -> None:
        _, truth = block
        for kind in ("parallel_run_only", "leakage_only"):
            (fact,) = truth["planted"][kind]
            assert [fact["partner"]] in truth["groups"]["possible"]
            assert [fact["partner"]] in truth["groups"]["real"]

    def test_the_parallel_partner_runs_half_a_metre_beside_its_target_and_ends_away_from_it(self, block: Any) -> None:
        layers, truth = block
        (fact,) = truth["planted"]["parallel_run_only"]
        shapes = layers["lines"].drop_duplicates("line_id").set_index("line_id").geometry
        target, partner = shapes[fact["target"]], shapes[fact["partner"]]
        close = partner.intersection(target.buffer(0.6))
        assert close.length > 60
        assert 0.4 <= np.mean([shapely.Point(spot).distance(target) for spot in close.segmentize(1.0).coords]) <= 0.6
        assert all(shapely.Point(partner.coords[index]).distance(target) > 3 for index in (0, -1))

    def test_the_leakage_partner_stands_square_to_its_target_close_by(self, block: Any) -> None:
        layers, truth = block
        (fact,) = truth["planted"]["leakage_only"]
        shapes = layers["lines"].drop_duplicates("line_id").set_index("line_id").geometry
        target, partner = shapes[fact["target"]], shapes[fact["partner"]]
        assert 0.5 < partner.distance(target) < 1.0
        others = shapes.drop([fact["target"], fact["partner"]])
        assert others[others.distance(partner) < 3.0].empty or all(
            shape.intersection(partner.buffer(3.0)).length < 8.0 for shape in others[others.distance(partner) < 3.0]
        )

    def test_about_a_quarter_of_the_work_area_rests_on_unstated_values(self, block: Any) -> None:
        layers, _ = block
        lines = layers["lines"].clip(layers["work_area"])
        for column, (low, high) in {"depth_m": (0.2, 0.4), "diameter_mm": (0.2, 0.4), "material": (0.08, 0.25)}.items():
            share = lines[lines[column].isna()].length.sum() / lines.length.sum()
            assert low <= share <= high, column

    def test_energizable_lines_are_of_mixed_state_and_one_is_off_with_its_source(self, block: Any) -> None:
        layers, truth = block
        lines = layers["lines"]
        power = lines[lines["utility"].isin(["electricity", "lighting", "traction", "traffic_signal"])]
        assert {"yes", "unknown", "no"} <= set(power["energized"].dropna())
        assert power["energized"].isna().any()
        off = power[power["energized"] == "no"]
        assert list(off["line_id"]) == [truth["planted"]["de_energized_line"][0]["line_id"]]
        assert off[["source", "source_date"]].notna().all(axis=None)

    def test_every_planted_defect_is_in_the_layers(self, block: Any) -> None:
        layers, truth = block
        lines, planted = layers["lines"], truth["planted"]
        by_id = lines.drop_duplicates("line_id").set_index("line_id")
        assert (lines["line_id"] == planted["duplicate_line"][0]["line_id"]).sum() == planted["duplicate_line"][0][
            "copies"
        ]
        assert by_id.geometry[planted["zero_length_line"][0]["line_id"]].length == 0
        assert by_id.geometry[planted["multipart_line"][0]["line_id"]].geom_type == "MultiLineString"
        assert not by_id.geometry[planted["self_crossing_line"][0]["line_id"]].is_simple
        assert by_id["status"][planted["abandoned_line"][0]["line_id"]] == "abandoned"
        assert by_id["status"][planted["proposed_line"][0]["line_id"]] == "proposed"
        for kind in ("junction_gap_snapped", "junction_gap_reported"):
            fact = planted[kind][0]
            gap = by_id.geometry[fact["line_id"]].distance(by_id.geometry[fact["onto"]])
            assert gap == pytest.approx(fact["gap_m"], abs=0.002)
        for fact in planted["depth_sentinel"] + planted["depth_out_of_range"]:
            assert by_id["depth_m"][fact["line_id"]] == fact["value"]
        for fact in planted["unknown_word"]:
            table = layers[fact["layer"]]
            assert fact["value"] in set(table.loc[table.iloc[:, 0] == fact["id"], fact["column"]])
        for fact in planted["unexplained_structure"]:
            assert Geometry(layers).structures.geometry[fact["structure_id"]].distance(lines.geometry).min() > 1.5


class TestBondedDistrict:
    def test_every_level_has_several_groups_and_each_is_coarser_than_the_last(self) -> None:
        groups = read_truth(SAMPLE_GIS / "bonded_district")["groups"]
        counts = [len(groups[level]) for level in ("recorded", "likely", "possible")]
        assert counts == sorted(counts, reverse=True)
        assert len(set(counts)) == len(counts)
        assert sum(len(group) > 1 for group in groups["likely"]) >= 2

    def test_bonds_come_in_every_evidence_and_state(self) -> None:
        rows = read_truth(SAMPLE_GIS / "bonded_district")["bonds"]["records"]
        assert {row["evidence"] for row in rows} == {"recorded", "observed", "measured", "inferred", "suspected"}
        assert {row["state"] for row in rows} == {"closed", "open", "unknown"}

    def test_an_isolating_joint_parts_the_two_sides(self) -> None:
        truth = read_truth(SAMPLE_GIS / "bonded_district")
        assert truth["planted"]["isolating_joint"]
        joined = {line_id for pair in truth["connections"] for line_id in pair}
        layers = read_layers(SAMPLE_GIS / "bonded_district" / "bonded_district.gpkg")
        water = layers["lines"].loc[layers["lines"]["utility"] == "water", "line_id"]
        assert joined & set(water)
        assert len([group for group in truth["groups"]["recorded"] if set(group) & set(water)]) > 1


class TestExcavationZone:
    @pytest.fixture
    def zone(self) -> dict[str, Any]:
        return read_layers(SAMPLE_GIS / "excavation_zone" / "excavation_zone.gpkg")

    def test_phases_carry_their_dig_depths_and_do_not_overlap(self, zone: dict[str, Any]) -> None:
        work = zone["work_area"]
        assert list(work["phase"]) == ["1", "2", "3"]
        assert work["dig_depth_m"].between(1, 4).all()
        assert work.geometry.area.sum() == pytest.approx(work.union_all().area, rel=1e-6)

    def test_surfaces_cover_the_work_area_without_overlap(self, zone: dict[str, Any]) -> None:
        surfaces = zone["surfaces"]
        assert {"carriageway", "footway", "verge", "private", "rail"} == set(surfaces["kind"])
        # Corners are rounded to the millimetre: a sliver that wide may overlap or gape along each edge.
        tolerance_m2 = 0.001 * surfaces.length.sum()
        assert abs(surfaces.area.sum() - surfaces.union_all().area) < tolerance_m2
        assert zone["work_area"].union_all().difference(surfaces.union_all()).area < tolerance_m2

    def test_every_phase_has_lines_and_access(self, zone: dict[str, Any]) -> None:
        for phase in zone["work_area"].geometry:
            assert zone["lines"].intersects(phase).sum() >= 10
            assert zone["structures"].within(phase).sum() >= 5


class TestCommand:
    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        script = str(SAMPLE_GIS / "make_samples.py")
        return subprocess.run([sys.executable, script, *arguments], capture_output=True, text=True, check=False)

    def test_another_seed_makes_another_site_with_the_same_ids(self, tmp_path: Path) -> None:
        done = self.run("downtown_block", "--seed", "9", "-o", str(tmp_path))
        assert done.returncode == 0, done.stderr
        assert not (tmp_path / "excavation_zone").exists()
        made = read_layers(tmp_path / "downtown_block" / "downtown_block.gpkg")["lines"]
        committed = read_layers(SAMPLE_GIS / "downtown_block" / "downtown_block.gpkg")["lines"]
        assert sorted(made["line_id"]) == sorted(committed["line_id"])
        assert made.length.sum() != pytest.approx(committed.length.sum(), rel=1e-6)

    def test_an_unknown_site_is_named(self) -> None:
        done = self.run("moon_base")
        assert done.returncode == 2
        assert "no such site: moon_base" in done.stderr

    def test_a_negative_seed_is_refused(self) -> None:
        done = self.run("--seed", "-1")
        assert done.returncode == 2
        assert "--seed must be 0 or more, got -1" in done.stderr
