"""Near-duplicates across layers: told, never merged."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

from corridor.settings import SiteSettings
from corridor.site import read_site
from corridor.site.findings import FEATURE, Findings
from corridor.site.twins import TWIN_COLUMNS, near_duplicates, tell_twins
from tests.site.records import CRS, checked, labelled, line, write

SETTINGS = SiteSettings()


def layered(*layers: Sequence[dict[str, Any]]) -> gpd.GeoDataFrame:
    """Lines of several layers, in service unless they say otherwise, accuracy not stated."""
    rows = [{"status": "in_service", "horizontal_accuracy_m": None, **row} for layer in layers for row in layer]
    table = labelled(rows)
    table["horizontal_accuracy_m"] = table["horizontal_accuracy_m"].astype(float)
    table[FEATURE[0]] = [f"owner{number}.gpkg:mains" for number, layer in enumerate(layers) for _ in layer]
    return table


def pairs(*layers: Sequence[dict[str, Any]]) -> list[tuple[str, str]]:
    found = near_duplicates(layered(*layers), settings=SETTINGS)
    assert list(found.columns) == [*TWIN_COLUMNS, "geometry"]
    return list(zip(found["line_a"], found["line_b"], strict=True))


def test_the_same_line_in_two_layers() -> None:
    found = near_duplicates(
        layered([line("W-1", (0, 0), (50, 0))], [line("A-9", (50, 1.0), (10, 1.0), asset="unknown")]), settings=SETTINGS
    )
    (row,) = found.itertuples()
    assert (row.line_a, row.line_b) == ("A-9", "W-1")
    assert (row.limit_m, row.length_m) == (1.5, 40.0)
    assert row.share == pytest.approx(1.0)
    assert (row.start_a_m, row.end_a_m, row.start_b_m, row.end_b_m) == pytest.approx((0, 40, 50, 10))


def test_where_the_pair_lies_along_the_longer_line() -> None:
    for shorter in ((10, 1.0), (50, 1.0)), ((50, 1.0), (10, 1.0)):
        (row,) = near_duplicates(
            layered([line("A", (0, 0), (90, 0))], [line("B", *shorter)]), settings=SETTINGS
        ).itertuples()
        assert (row.start_a_m, row.end_a_m) == pytest.approx((10, 50))
        assert {row.start_b_m, row.end_b_m} == {0.0, 40.0}
        assert (row.start_b_m == 0.0) == (shorter[0][0] == 10)


@pytest.mark.parametrize(
    "other",
    [
        line("B", (0, 1.6), (50, 1.6)),  # too far
        line("B", (0, 1), (50, 1), utility="gas"),  # another utility
        line("B", (0, 1), (50, 1), asset="duct"),  # what lies round a line lies beside it
        line("B", (0, 1), (50, 1), asset="tracer_wire"),
        line("B", (0, 1), (50, 1), status="proposed"),
        line("B", (25, -1.4), (25, 1.4)),  # a short one across
        line("B", (0, 1), (30, 1), (30, 30)),  # half of it goes elsewhere
    ],
)
def test_what_is_no_duplicate(other: dict[str, Any]) -> None:
    assert pairs([line("A", (0, 0), (50, 0))], [other]) == []


def test_lines_of_one_layer_and_of_unknown_utility_are_left_alone() -> None:
    assert pairs([line("A", (0, 0), (50, 0)), line("B", (0, 1), (50, 1))]) == []
    unknown = {"utility": "unknown"}
    assert pairs([line("A", (0, 0), (50, 0), **unknown)], [line("B", (0, 1), (50, 1), **unknown)]) == []


def test_the_summed_accuracy_counts_where_both_state_it() -> None:
    def at(gap_m: float, first: float | None, second: float | None) -> bool:
        return bool(
            pairs([line("A", (0, 0), (50, 0), horizontal_accuracy_m=first)],
                  [line("B", (0, gap_m), (50, gap_m), horizontal_accuracy_m=second)])
        )  # fmt: skip

    assert at(2.5, 1.0, 2.0)
    assert not at(2.5, 1.0, None)
    assert at(1.4, 0.2, None)
    assert not at(0.7, 0.3, 0.3)
    assert not at(0.0, 0.0, 0.0)  # no tolerance at all: nothing can be near


@pytest.mark.parametrize(("beside_m", "away_m", "near"), [(85.0, 15.0, True), (75.0, 25.0, False)])
def test_the_share_of_the_shorter_one_decides(beside_m: float, away_m: float, near: bool) -> None:
    bent = line("B", (0, 1.4), (beside_m, 1.4), (beside_m, 1.4 + away_m))
    assert bool(pairs([line("A", (0, 0), (120, 0))], [bent])) == near


def test_each_of_three_is_paired_with_each() -> None:
    assert pairs([line("C", (0, 0), (50, 0))], [line("B", (0, 0.5), (50, 0.5))], [line("A", (0, 1), (50, 1))]) == [
        ("A", "B"), ("A", "C"), ("B", "C"),
    ]  # fmt: skip


def test_a_site_without_layers_has_none() -> None:
    table = layered([line("A", (0, 0), (50, 0))], [line("B", (0, 1), (50, 1))]).drop(columns=list(FEATURE))
    assert near_duplicates(table, settings=SETTINGS).empty


def test_the_finding_names_both_and_both_stay(tmp_path: Path) -> None:
    first = write(tmp_path, name="a.gpkg", lines=[line("A", (0, 0), (50, 0), owner="Slate Water")])
    second = write(tmp_path, name="b.gpkg", lines=[line("B", (0, 1), (50, 1), owner="Quartz Water")])
    site = checked(read_site([first, second]))
    assert list(site.lines["line_id"]) == ["A", "B"]
    (row,) = site.findings[site.findings["code"] == "near_duplicate"].itertuples()
    assert (row.line_id, row.source_id, row.owner) == ("B", "B", "Quartz Water")
    assert "within 1.5 m of A (a.gpkg:lines)" in row.message
    assert "solved as one conductor and as two" in row.action


def test_no_pairs_no_findings() -> None:
    table = layered([line("A", (0, 0), (50, 0))])
    findings = Findings()
    tell_twins(table, near_duplicates(table, settings=SETTINGS), findings)
    assert findings.frame(CRS).empty
