"""Structures that no line explains."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from shapely import Point

from corridor.settings import SiteSettings
from corridor.site.unexplained import unexplained_structures
from tests.site.records import X, Y, found, frame, labelled, line, read

NO_TERMINATIONS = pd.DataFrame({"structure_id": [], "line_id": [], "at": []}, dtype=object)


def structure(kind: str, utility: str | None = None, *, gap_m: float = 1.0) -> dict[str, Any]:
    return {"structure_id": "S-1", "kind": kind, "utility": utility, "geometry": Point(X + 20, Y + gap_m)}


def unexplained(
    item: dict[str, Any], *lines: dict[str, Any], terminations: pd.DataFrame = NO_TERMINATIONS
) -> list[str]:
    rows = labelled([{"status": "in_service", **row} for row in (lines or (line("W-1"),))])
    structures = frame([item])
    structures["utility"] = structures["utility"].astype(object)
    settings = SiteSettings()
    return list(unexplained_structures(rows, structures, terminations, settings=settings)["structure_id"])


@pytest.mark.parametrize(
    ("kind", "utility"),
    [("hydrant", "water"), ("hydrant", None), ("hydrant", "fire_water"), ("valve", "water"), ("valve", None),
     ("manhole", "unknown"), ("cabinet", "telecommunications"), ("building_entry", None), ("curb_stop", None),
     ("rectifier", "gas")],
)  # fmt: skip
def test_a_line_near_that_fits_explains(kind: str, utility: str | None) -> None:
    assert unexplained(structure(kind, utility)) == []


@pytest.mark.parametrize(
    ("kind", "utility"),
    [("manhole", "telecommunications"), ("valve", "gas"), ("luminaire", None), ("transformer", None),
     ("catch_basin", None), ("handhole", "electricity"), ("regulator", None)],
)  # fmt: skip
def test_a_line_of_another_utility_explains_nothing(kind: str, utility: str | None) -> None:
    assert unexplained(structure(kind, utility)) == ["S-1"]


def test_reach_is_a_setting_and_far_lines_explain_nothing() -> None:
    assert unexplained(structure("hydrant", gap_m=1.4)) == []
    assert unexplained(structure("hydrant", gap_m=1.6)) == ["S-1"]
    assert unexplained(structure("cabinet", gap_m=9.0)) == ["S-1"]


@pytest.mark.parametrize(("status", "told"), [("proposed", True), ("removed", True), ("abandoned", False)])
def test_lines_that_are_not_in_the_ground_explain_nothing(status: str, told: bool) -> None:
    assert bool(unexplained(structure("hydrant"), line("W-1", status=status))) == told


def test_related_utilities_and_lines_of_unknown_utility_explain() -> None:
    assert unexplained(structure("manhole", "sewer"), line("D-1", utility="storm_drain")) == []
    assert unexplained(structure("luminaire", "lighting"), line("E-1", utility="electricity")) == []
    assert unexplained(structure("manhole", "gas"), line("X-1", utility="unknown")) == []
    assert unexplained(structure("manhole", "electricity"), line("L-1", utility="lighting")) == ["S-1"]


@pytest.mark.parametrize("kind", ["pole", "other", "unknown"])
def test_kinds_that_need_no_line_are_left_alone(kind: str) -> None:
    assert unexplained(structure(kind, "electricity", gap_m=50.0)) == []


def test_a_recorded_termination_explains_at_any_distance() -> None:
    rows = pd.DataFrame({"structure_id": ["S-1"], "line_id": ["W-1"], "at": ["end"]})
    assert unexplained(structure("hydrant", gap_m=9.0), terminations=rows) == []
    gone = line("W-1", status="removed")
    assert unexplained(structure("hydrant", gap_m=9.0), gone, terminations=rows) == ["S-1"]


def test_the_finding_is_severe_and_says_what_is_missing(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("W-1")], structures=[structure("manhole", "sewer")])
    row = found(site, "unexplained_structure")
    assert (row["severity"], row["line_id"], row["source_id"]) == ("severe", "S-1", "S-1")
    assert row["message"] == "manhole: no line of sewer or storm_drain within 1.5 m in these records"
    assert "likely lies there" in row["action"]
