"""How much the records state."""

from pathlib import Path

import pytest
from shapely import Point

from corridor.dictionary import RESULT_TABLES
from corridor.site import read_site
from corridor.site.completeness import SCORED, layer_scores
from tests.site.records import X, Y, line, read, write
from tests.site.test_samples import NAMES, sample


def test_each_column_of_each_layer_has_a_row(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        lines=[line("A"), line("B", (0, 5), (50, 5), depth_m=None), line("C", (0, 9), (50, 9), joints="unknown")],
        structures=[{"structure_id": "S", "kind": None, "utility": "water", "geometry": Point(X, Y)}],
    )
    table = site.completeness
    assert list(table.columns) == list(RESULT_TABLES["completeness"].names)
    rows = table.set_index(["layer", "column"])
    assert rows.loc[("records.gpkg:lines", "depth_m"), "stated_share"] == pytest.approx(2 / 3, abs=1e-4)
    assert rows.loc[("records.gpkg:lines", "depth_m"), "default_share"] == pytest.approx(1 / 3, abs=1e-4)
    assert rows.loc[("records.gpkg:lines", "joints"), "unknown_share"] == pytest.approx(1 / 3, abs=1e-4)
    assert rows.loc[("records.gpkg:lines", "sheath"), "missing_share"] == 1.0
    assert rows.loc[("records.gpkg:structures", "kind"), "missing_share"] == 1.0  # before it is read as unknown
    assert rows.loc[("records.gpkg:structures", "utility"), "stated_share"] == 1.0
    assert set(rows["row_count"]) == {1, 3}


def test_what_cannot_be_read_counts_as_missing(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("A", depth_m=-9999.0), line("B", (0, 5), (50, 5), utility="plasma")])
    rows = site.completeness.set_index("column")
    assert rows.loc["depth_m", "missing_share"] == 0.5
    assert rows.loc["utility", "stated_share"] == 0.5


@pytest.mark.parametrize("name", NAMES)
def test_shares_add_up_on_the_samples(name: str) -> None:
    table = sample(name).completeness
    total = table["stated_share"] + table["unknown_share"] + table["missing_share"]
    assert total.sub(1.0).abs().max() <= 2e-4
    assert (table["default_share"] <= table["unknown_share"] + table["missing_share"] + 1e-4).all()
    assert set(table["table"]) >= {"lines", "structures", "terminations", "bonds"}


def test_layers_are_scored_apart(tmp_path: Path) -> None:
    full = {"status": "in_service", "owner": "Slate Water", "source_date": "2020-01-01"}
    paths = [
        write(tmp_path, name="a.gpkg", lines=[line("A", **full)]),
        write(tmp_path, name="b.gpkg", lines=[line("B", (0, 9), (50, 9), depth_m=None, material=None, joints=None)]),
    ]
    scores = dict(layer_scores(read_site(paths).completeness))
    assert scores["a.gpkg:lines"] == 1.0
    assert scores["b.gpkg:lines"] == pytest.approx(3 / len(SCORED), abs=1e-4)
