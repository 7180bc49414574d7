"""The folder of a scope: what is in it, what the summary says, and the map."""

import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from matplotlib.collections import PathCollection
from matplotlib.colors import to_rgba

from corridor import read_site, scope_area, write_scope
from corridor.commands.main import cli
from corridor.dictionary.scopes import CONGESTION
from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.maps.scope_map import _FILL, draw_scope_map
from corridor.report.scoped import SCOPE_FILES, scope_lines
from corridor.scope import Scope
from corridor.scope.effort import rate_rows
from tests.block import SAMPLES
from tests.scope.small import SQUARES, twelve

ZONE = SAMPLES / "excavation_zone" / "excavation_zone.gpkg"


@pytest.fixture(scope="module")
def counted() -> Scope:
    return scope_area(twelve(), geometry_only=True, settings=SQUARES)


@pytest.fixture(scope="module")
def zone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample excavation by the command, geometry only."""
    folder = tmp_path_factory.mktemp("scope") / "out"
    run = CliRunner().invoke(
        cli, ["scope", str(ZONE), "--geometry-only", "--cell-m", "30", "--crews", "2", "-o", str(folder)]
    )
    assert run.exit_code == 0, run.output
    assert run.output == (folder / "summary.txt").read_text(encoding="utf-8")
    return folder


def test_the_folder_is_whole_and_its_receipt_names_all(zone: Path) -> None:
    assert sorted(path.name for path in zone.iterdir()) == sorted(SCOPE_FILES)
    receipt = json.loads((zone / "receipt.json").read_text(encoding="utf-8"))
    assert sorted(receipt["files"]) == sorted(SCOPE_FILES)
    assert receipt["command"] == "scope"
    assert receipt["caution"] == CAUTION
    assert receipt["options"]["geometry_only"] is True
    assert receipt["settings"]["scope"]["cell_m"] == 30.0
    assert receipt["settings"]["scope"]["crews_most"] == 2


def test_layers_and_tables_hold_the_same(zone: Path) -> None:
    layers = [name for name, _ in pyogrio.list_layers(zone / "results.gpkg")]
    assert layers[:5] == ["scope_phases", "cells", "test_holes", "scope_effort", "scope_rates"]
    cells = gpd.read_file(zone / "results.gpkg", layer="cells")
    text = pd.read_csv(zone / "cells.csv", dtype={"phase": str})
    assert text["cell_id"].tolist() == cells["cell_id"].tolist()
    assert text["length_m"].sum() == pytest.approx(cells["length_m"].sum())
    assert text["readable_share"].isna().all()  # NULL, never 0
    effort = pd.read_csv(zone / "scope_effort.csv")
    assert effort["crews"].max() == 2
    assert set(effort["phase"].astype(str)) == {"all", "1", "2", "3"}
    rates = pd.read_csv(zone / "scope_rates.csv")
    assert len(rates) == len(rate_rows(SQUARES.scope.rates))
    assert rates["source"].eq("estimate, no source").all()


def test_phases_are_checked_against_shapely(zone: Path) -> None:
    # lengths and areas by phase from the records themselves, by shapely's own intersection
    site = read_site(ZONE)
    phases = gpd.read_file(zone / "results.gpkg", layer="scope_phases").set_index("phase")
    for row in site.work_area.itertuples():
        inside = site.lines.geometry.intersection(row.geometry)
        assert phases.loc[row.phase, "length_m"] == pytest.approx(inside.length.sum(), abs=1e-6)
        assert phases.loc[row.phase, "lines"] == (inside.length > 0).sum()
        assert phases.loc[row.phase, "area_m2"] == pytest.approx(row.geometry.area, abs=0.1)
        assert phases.loc[row.phase, "dig_depth_m"] == row.dig_depth_m
    whole = phases.loc["all"]
    assert whole["area_m2"] == pytest.approx(phases.drop("all")["area_m2"].sum(), abs=0.5)
    kinds = pd.read_csv(zone / "scope_effort.csv")["surface"].dropna().unique()
    assert set(kinds) == {"carriageway", "footway", "private", "rail"}  # the sample's verges lie outside the dig


def test_a_scope_again_replaces_it_and_a_foreign_file_stops_it(counted: Scope, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write_scope(counted, folder)
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    write_scope(counted, folder)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first
    (folder / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(OutputError, match=r"mine\.txt"):
        write_scope(counted, folder)
    assert (folder / "mine.txt").read_text(encoding="utf-8") == "keep"


def test_the_summary_says_what_is_not_known(counted: Scope) -> None:
    said = scope_lines(counted, folder="out")
    text = " ".join(" ".join(said).split())
    assert said[0] == CAUTION
    assert all(len(line) <= 118 for line in said)
    for sentence in (
        "meets 4 recorded lines of 3 utilities, 120 m, with 2 crossings",
        "Cells: 0 computed, 8 counted only, 4 without a recorded line, which isn't free ground",
        "Tone: not computed (geometry only was asked for)",
        "Closures not known, hours of closures not known",
        "Surfaces: not known, the records have no layer surfaces; closures are not known, not none",
        "24 of 24 are defaults: estimates, no source",
        "1 lines in the area are proposed or removed by their records: not counted",
        "Phase 1 (dig 1.2 m): 3 lines, 70 m",
        "1 crew: ",
    ):
        assert sentence in text


def test_the_map_hatches_what_has_no_record_and_never_in_the_best_colour(counted: Scope) -> None:
    figure = draw_scope_map(counted)
    axes = figure.axes[0]
    fills = {patch.get_facecolor() for patch in axes.patches if patch.get_facecolor()[3] > 0}
    assert len(fills & {tuple(c) for c in _colours()}) == 2  # few and several; no cell holds more
    assert set(_FILL) == set(CONGESTION[1:])  # no fill for cells without a record: they are hatched
    texts = " ".join(text.get_text() for text in [*axes.texts, *figure.texts])
    assert CAUTION in texts
    assert "phase 1: dig 1.2 m" in texts
    assert "not computed" in texts
    assert "safe" not in texts.lower()


def test_cells_that_were_not_solved_are_marked_where_others_were(counted: Scope) -> None:
    some = counted.cells.copy()
    computed = some["cell_id"].isin(["0_0", "1_0"])
    some.loc[computed, "state"] = "computed"
    shares = {"readable_share": 0.2, "pulled_share": 0.0, "masked_share": 0.3, "faint_share": 0.3,
              "untraceable_share": 0.2, "not_shown_worst_share": 0.9}  # fmt: skip
    some.loc[computed, list(shares)] = list(shares.values())
    axes = draw_scope_map(replace(counted, cells=some)).axes[0]
    sizes = [len(drawn.get_offsets()) for drawn in axes.collections if isinstance(drawn, PathCollection)]
    assert sizes == [2, 6]  # crosses where tone fails, rings where it isn't known; four cells have no record
    whole = draw_scope_map(counted).axes[0]
    assert not any(len(drawn.get_offsets()) for drawn in whole.collections if isinstance(drawn, PathCollection))


def _colours() -> list[tuple[float, float, float, float]]:
    return [to_rgba(colour) for colour in _FILL.values()]


def test_no_colour_of_a_cell_is_green_and_they_darken() -> None:
    # relative luminance by WCAG 2.1 (W3C Recommendation, 2018), coefficients 0.2126, 0.7152, 0.0722 of linear sRGB
    def luminance(colour: tuple[float, ...]) -> float:
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in colour[:3]]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    values = [luminance(colour) for colour in _colours()]
    assert values == sorted(values, reverse=True)
    assert all(red > green for red, green, *_ in _colours())


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--cell-m", "1"], "1.0 is not in the range 2<=x<=1000"),
        (["--shape", "triangle"], "'triangle' is not one of 'hexagon', 'square'"),
        (["--phase", "9"], "expected a phase of the work area (1, 2, 3), got '9'"),
        (["--equipment", "none_such.toml"], "none_such"),
    ],
)
def test_wrong_options_end_in_one_sentence(options: list[str], message: str, tmp_path: Path) -> None:
    run = CliRunner().invoke(cli, ["scope", str(ZONE), "--geometry-only", *options, "-o", str(tmp_path / "out")])
    assert run.exit_code in (1, 2)
    assert message in run.output
    assert not (tmp_path / "out").exists()
