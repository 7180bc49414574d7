"""A work area reviewed: what is chosen, what the gate keeps out, what rests on filled values, and where it is told."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner

from corridor import Settings, Site, find_bonds, read_site, review_site, write_review
from corridor.commands.main import cli
from corridor.dictionary import RESULT_TABLES
from corridor.dictionary.readings import READINGS_TABLES
from corridor.dictionary.scopes import SCOPE_TABLES
from corridor.errors import InputError
from corridor.frames import CAUTION
from corridor.plan.hookups import find_hookups
from corridor.plan.review import Review
from corridor.report.results import review_tables
from corridor.settings import HookUpSettings, load_equipment
from tests.block import QUICK, RECORDS, at_frequencies, downtown, part
from tests.builders import make_lines, make_site
from tests.plan.conftest import CABLE, KNOWN_SOIL, LENGTH_M, SETTINGS, access, cable, ground

HAZARDOUS = ("electricity", "lighting", "traction", "traffic_signal")
SUMMARY_LINES = 25
TRANSMITTER = at_frequencies(1000.0, 10_000.0)


def reviewed(site: Site, **options: Any) -> Review:
    return review_site(site, **{"equipment": TRANSMITTER, "settings": SETTINGS} | options)


@pytest.fixture(scope="session")
def alone_reviewed(alone: Site) -> Review:
    return reviewed(alone)


@pytest.fixture(scope="session")
def rewritten(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """The block's records with columns of one layer set to nothing, written anew, once for each choice."""

    @cache
    def write(column: str) -> Path:
        path = tmp_path_factory.mktemp(column) / f"no_{column}.gpkg"
        for layer, _ in pyogrio.list_layers(RECORDS):
            frame = pyogrio.read_dataframe(RECORDS, layer=layer)
            if layer == "lines":
                assert column in frame
                frame[column] = None
            pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", append=path.exists())
        return path

    return write


@cache
def as_read(path: Path) -> Site:
    return read_site(path)


# --- the strategy -----------------------------------------------------------------------------------------------------


def test_an_isolated_line_is_connected_directly(alone_reviewed: Review) -> None:
    # common practice: connect where you can; induction spreads
    assert set(alone_reviewed.hookups["mode"]) == {"direct", "clamp", "induction"}
    assert set(alone_reviewed.strategy["mode"]) == {"direct"}
    longest = alone_reviewed.strategy.sort_values("length_m").iloc[-1]
    assert (longest["grade"], longest["settled"]) == ("readable", True)


def test_among_bonded_lines_the_clamp_is_chosen(four_bonded: Site) -> None:
    # common practice: one of several bonded lines is told apart by a clamp on it
    strategy = reviewed(four_bonded, targets=["A"]).strategy
    by_mode = strategy.groupby("mode")["length_m"].sum()
    assert by_mode.idxmax() == "clamp"


def test_what_is_chosen_is_ready_and_listed(alone_reviewed: Review) -> None:
    ready = alone_reviewed.hookups.query("ready == 'ready'")["hookup_id"]
    assert set(alone_reviewed.strategy["hookup_id"].dropna()) <= set(ready)
    assert set(alone_reviewed.sections["hookup_id"].dropna()) <= set(ready)


def test_stretches_cover_every_target_once(alone_reviewed: Review) -> None:
    strategy = alone_reviewed.strategy.sort_values("from_m")
    assert strategy["length_m"].sum() == pytest.approx(60.0)
    assert strategy["from_m"].tolist()[1:] == strategy["to_m"].tolist()[:-1]


def test_targets_narrow_what_is_reviewed(four_bonded: Site) -> None:
    result = reviewed(four_bonded, targets=["B"], equipment=at_frequencies(10_000.0))
    assert set(result.strategy["line_id"]) == {"B"}
    assert set(result.hookups["line_id"]) == {"B"}


def test_lines_without_metal_stay_in_the_strategy(alone: Site) -> None:
    clay = cable("S", 3.0, utility="sewer", asset="pipe", material="clay", conductive="no")
    lines = pd.concat([alone.lines, make_lines([clay])], ignore_index=True)
    result = reviewed(replace(alone, lines=gpd.GeoDataFrame(lines, crs=alone.crs)), targets=["S"])
    (row,) = result.strategy.to_dict("records")
    assert (row["line_id"], row["grade"]) == ("S", "untraceable")
    assert result.summary["untraceable"] == ["S sewer, clay"]
    assert "free" not in str(row["reason"]) + str(row["caution"])


# --- accounts, caution, sameness --------------------------------------------------------------------------------------


def test_every_feature_is_accounted_for() -> None:
    summary = reviewed(part(downtown(), ["L-005"], within_m=0.1), targets=["L-005"], settings=QUICK).summary
    assert summary["features_in"] == summary["used"] + summary["set_aside"]
    assert summary["set_aside"] > 0
    layers = pyogrio.list_layers(RECORDS)
    assert summary["features_in"] == sum(pyogrio.read_info(RECORDS, layer=name)["features"] for name, _ in layers)


def test_the_tables_are_those_of_the_dictionary(alone_reviewed: Review, alone: Site) -> None:
    tables = review_tables(alone_reviewed)
    others = {"line_groups", "group_edges", "group_splits", "group_changes", "completeness"}  # of bonds and check
    others |= {"verify_first", "trade_off", *(table.name for table in (*READINGS_TABLES, *SCOPE_TABLES))}
    assert set(tables) == set(RESULT_TABLES) - others
    for name, table in tables.items():
        assert set(RESULT_TABLES[name].names) <= set(table.columns)
        assert table.crs == alone.crs


@pytest.mark.thorough  # the tables of two are compared next, one written twice in tests/report
def test_two_reviews_are_alike_byte_for_byte(alone: Site, tmp_path: Path) -> None:
    folders = (tmp_path / "once", tmp_path / "again")
    for folder in folders:
        write_review(reviewed(alone, equipment=at_frequencies(10_000.0)), folder)
    for file in ("results.gpkg", "map.png"):
        assert (folders[0] / file).read_bytes() == (folders[1] / file).read_bytes()
    words = [(folder / "summary.txt").read_text(encoding="utf-8").partition("Written to ")[0] for folder in folders]
    assert words[0] == words[1]  # what follows names the folder


def test_more_workers_change_nothing(alone: Site, alone_reviewed: Review) -> None:
    two = reviewed(
        alone, settings=SETTINGS.model_copy(update={"solver": SETTINGS.solver.model_copy(update={"workers": 2})})
    )
    second = review_tables(two)
    for name, table in review_tables(alone_reviewed).items():
        assert table.to_json() == second[name].to_json()


def test_the_folder_says_what_it_is(alone_reviewed: Review, tmp_path: Path) -> None:
    lines = write_review(alone_reviewed, tmp_path / "out")
    assert lines[0] == CAUTION
    assert len(lines) <= SUMMARY_LINES
    told = (tmp_path / "out" / "summary.txt").read_text(encoding="utf-8").splitlines()
    assert told == lines
    receipt = json.loads((tmp_path / "out" / "receipt.json").read_text(encoding="utf-8"))
    assert receipt["caution"] == CAUTION
    metadata = pyogrio.read_info(tmp_path / "out" / "results.gpkg", layer="strategy")["dataset_metadata"]
    assert metadata["caution"] == CAUTION
    assert json.loads(metadata["receipt"])["settings"] == receipt["settings"]
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["caution"] == CAUTION


# --- without depths ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def depthless(rewritten: Callable[..., Path]) -> Review:
    """A line of the block reviewed without any depth in the records."""
    site = part(as_read(rewritten("depth_m")), ["W-004"], within_m=2.0)
    return reviewed(site, targets=["W-004"], settings=QUICK)


def test_without_depths_every_line_says_so(rewritten: Callable[..., Path]) -> None:
    site = as_read(rewritten("depth_m"))
    assert site.lines["assumed"].all()
    assert site.lines["assumed_columns"].str.split().map(lambda names: "depth_m" in names).all()
    assert site.lines["depth_m"].notna().all()
    assert (site.lines["depth_m_low"] < site.lines["depth_m_high"]).all()
    filled = site.findings[site.findings["code"] == "filled_depth"]
    assert len(filled)


@pytest.mark.parametrize("table", ["sections", "stations", "strategy"])
def test_without_depths_every_row_that_rests_on_one_says_so(depthless: Review, table: str) -> None:
    rows = getattr(depthless, table)
    assert len(rows)
    assert rows["assumed"].all()
    assert rows["assumed_columns"].str.split().map(lambda names: "depth_m" in names).all()


def test_without_depths_no_difference_of_depths_is_stated(depthless: Review) -> None:
    assert depthless.crossings["clearance_m"].isna().all()
    assert depthless.parallel_runs["depth_difference_m"].isna().all()
    assert depthless.summary["assumed_share"] == pytest.approx(1.0)
    assert depthless.summary["assumed_worst"][0][0] == "depth_m"


# --- the gate ---------------------------------------------------------------------------------------------------------


def test_with_nothing_said_of_energy_no_direct_hookup_on_a_hazardous_line_is_ready(
    rewritten: Callable[..., Path],
) -> None:
    site = as_read(rewritten("energized"))
    found = find_hookups(site, find_bonds(site), equipment=load_equipment(None), settings=Settings())
    hazardous = site.lines.loc[site.lines["utility"].isin(HAZARDOUS), "line_id"]
    direct = found[found["line_id"].isin(hazardous) & (found["mode"] == "direct")]
    assert set(hazardous) >= {"E-009"}  # the one whose records say de-energized
    assert len(direct) > 10
    assert set(direct["ready"]) == {"refused"}


def test_the_list_of_hookups_shows_none_of_them_ready(rewritten: Callable[..., Path]) -> None:
    path = rewritten("energized")
    ids = hazardous_ids(path)
    result = CliRunner().invoke(cli, ["trace", str(path), "--list"])
    assert result.exit_code == 0, result.output
    named = [text for text in result.stdout.splitlines() if re.search(rf"direct:(?:{'|'.join(ids)}):", text)]
    assert not [text for text in named if "READY" in text.replace("NOT READY", "")]


def hazardous_ids(path: Path) -> list[str]:
    lines = as_read(path).lines
    return sorted(lines.loc[lines["utility"].isin(HAZARDOUS), "line_id"])


@pytest.fixture(scope="session")
def nothing_said(rewritten: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a review of one line of each hazardous utility, with nothing said of energy."""
    folder = tmp_path_factory.mktemp("energized")
    path, out = rewritten("energized"), folder / "out"
    lines = as_read(path).lines
    targets = ["E-009", *(first_of(lines, utility) for utility in HAZARDOUS)]
    (folder / "settings.toml").write_text(
        "[solver]\nsection_max_m = 6.0\nsection_close_m = 3.0\ngrowth_step_m = 5.0\ngrowth_max_m = 5.0\n",
        encoding="utf-8",
    )
    (folder / "one.toml").write_text(one_frequency(), encoding="utf-8")
    options = [text for target in targets for text in ("--target", target)]
    result = CliRunner().invoke(
        cli,
        ["review", str(path), "-o", str(out), "--settings", str(folder / "settings.toml"), "--equipment",
         str(folder / "one.toml"), *options],
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    return out


def first_of(lines: gpd.GeoDataFrame, utility: str) -> str:
    own = lines[(lines["utility"] == utility) & (lines["conductive"] == "yes")]
    return str(own.loc[own.length.idxmin(), "line_id"])


def one_frequency() -> str:
    """The small built-in profile with a single frequency, as TOML."""
    content = load_equipment("small_output").model_dump(exclude={"name", "generic", "receiver_frequencies_hz"})
    content["frequencies_hz"] = [10_000.0]
    plain = {key: value for key, value in content.items() if not isinstance(value, dict)}
    blocks = {key: value for key, value in content.items() if isinstance(value, dict)}
    text = [f"{key} = {toml(value)}" for key, value in plain.items() if value is not None]
    for key, block in blocks.items():
        text += [f"[{key}]", *(f"{name} = {toml(value)}" for name, value in block.items() if value is not None)]
    return "\n".join(text) + "\n"


def toml(value: Any) -> str:
    return json.dumps(list(value) if isinstance(value, tuple) else value)


def test_no_output_of_the_review_offers_one_of_them(nothing_said: Path, rewritten: Callable[..., Path]) -> None:
    ids = hazardous_ids(rewritten("energized"))
    direct = re.compile(rf"direct:(?:{'|'.join(map(re.escape, ids))}):")
    file = nothing_said / "results.gpkg"
    tables = {name: gpd.read_file(file, layer=name) for name, _ in pyogrio.list_layers(file) if name in RESULT_TABLES}
    hookups = tables.pop("hookups")
    offered = hookups[hookups["hookup_id"].str.match(direct)]
    assert len(offered)
    assert set(offered["ready"]) == {"refused"}
    strategy = tables["strategy"]
    assert len(strategy)
    assert not (strategy["mode"].eq("direct") & strategy["line_id"].isin(ids)).any()
    for name, table in tables.items():
        words = table.drop(columns="geometry").select_dtypes(["object", "string"]).astype("string")
        for column in words:
            assert not words[column].str.contains(direct, na=False).any(), f"{name}.{column}"
    for name in ("summary.txt", "summary.json"):
        assert not direct.search((nothing_said / name).read_text(encoding="utf-8"))


# --- what can't be reviewed -------------------------------------------------------------------------------------------


def test_without_a_work_area_everything_must_be_asked_for(alone: Site) -> None:
    endless = replace(alone, work_area=alone.work_area.iloc[:0])
    with pytest.raises(InputError, match=r"--work-area FILE, or --everything"):
        reviewed(endless)
    assert len(reviewed(endless, everything=True, equipment=at_frequencies(10_000.0)).strategy)


@pytest.mark.parametrize(
    ("options", "words"),
    [({"targets": ["Z-9"]}, "Z-9"), ({"target_utility": "gas"}, "gas")],
)
def test_targets_that_are_not_there_are_named(alone: Site, options: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        reviewed(alone, **options)


# --- the whole work area is answered for -----------------------------------------------------------------------------


def branched() -> Site:
    """A cable with two access points, and a branch joined to it that has none of its own."""
    branch = CABLE | {"line_id": "B", "geometry": [(30, 0), (30, 25)]}
    return make_site(
        lines=[cable("A"), branch],
        grounds=[ground("A", 0.0), ground("A", LENGTH_M), ground("B", 30.0, 25.0)],
        soil=[KNOWN_SOIL],
        work_area=[{"geometry": [(5, -5), (52, -5), (52, 18), (5, 18)]}],
        **access("A"),
    )


@pytest.fixture(scope="session")
def branched_reviewed() -> Review:
    return reviewed(branched())


def test_every_metre_of_a_target_in_the_work_area_has_a_row(branched_reviewed: Review) -> None:
    area = branched_reviewed.site.work_area.geometry.union_all()
    inside = branched_reviewed.site.lines.set_index("line_id").intersection(area).length
    rows = branched_reviewed.strategy
    assert rows.groupby("line_id")["length_m"].sum().to_dict() == pytest.approx(inside.to_dict(), abs=0.05)
    assert rows.geometry.intersection(area).length.sum() == pytest.approx(rows.geometry.length.sum(), abs=0.05)


def test_a_branch_without_access_takes_its_tone_from_the_line_joined_to_it(branched_reviewed: Review) -> None:
    rows = branched_reviewed.strategy
    branch = rows[rows["line_id"] == "B"]
    assert branch["hookup_id"].str.contains(":A").any()  # a hook-up on the main
    assert set(branch["grade"]) <= {"readable", "pulled"}


def test_access_points_beside_the_work_area_are_used(branched_reviewed: Review) -> None:
    # the first handhole stands 5 m outside: a crew would walk there
    hookups = branched_reviewed.hookups
    assert {"A-S", "A-M"} <= set(hookups["structure_id"].dropna())
    near = Settings(solver=SETTINGS.solver, hookups=HookUpSettings(beyond_area_m=0.0))
    assert "A-S" not in set(reviewed(branched(), settings=near).hookups["structure_id"].dropna())


def test_a_row_that_another_line_masks_in_any_case_names_it(branched_reviewed: Review) -> None:
    for table in (branched_reviewed.strategy, branched_reviewed.stations, branched_reviewed.sections):
        masked = table[(table["grade"] == "masked") | (table["grade_worst"] == "masked")]
        assert masked["mistaken_for"].notna().all()


def test_every_way_of_the_tone_is_listed_once() -> None:
    # one hook-up serves several lines; its ways are those of its tone, whatever line they serve
    review = reviewed(
        part(downtown(), ["W-004", "W-005", "W-009"], within_m=2.0), targets=["W-004", "W-005", "W-009"], settings=QUICK
    )
    used = review.strategy.dropna(subset=["hookup_id"]).groupby(["hookup_id", "frequency_hz"])["line_id"]
    assert used.nunique().max() > 1
    assert len(review.bleed_paths)
    assert not review.bleed_paths.duplicated(["path_id", "frequency_hz", "hop"]).any()
