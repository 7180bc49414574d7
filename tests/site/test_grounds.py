"""Ground electrodes: as recorded, and by rule where a line has none."""

from pathlib import Path
from typing import Any

import pytest
from shapely import Point

from corridor.site import Site
from tests.site.records import X, Y, codes, found, line, read

ELECTRIC = {"utility": "electricity", "asset": "cable", "material": "copper"}


def service(
    folder: Path, kind: str = "building_entry", *, grounds: list[dict[str, Any]] | None = None, **values: Any
) -> Site:
    layers: dict[str, Any] = {
        "lines": [line("E-1", (0, 0), (30, 0), **(ELECTRIC | values)), line("W-1", (0, 1), (30, 0.2))],
        "structures": [{"structure_id": "BE-1", "kind": kind, "geometry": Point(X + 30, Y)}],
    }
    return read(folder, **(layers | ({"grounds": grounds} if grounds else {})))


@pytest.mark.parametrize("kind", ["building_entry", "transformer", "substation", "cabinet"])
def test_a_ground_by_rule_stands_at_the_lines_end(tmp_path: Path, kind: str) -> None:
    site = service(tmp_path, kind)
    (row,) = site.grounds.to_dict("records")
    assert (row["ground_id"], row["line_id"], row["evidence"]) == ("by_rule:BE-1", "E-1", "inferred")
    # NEC 250.53(A)(2), by trade pages: a single rod above 25 ohm needs a second one
    assert (row["resistance_low_ohm"], row["resistance_ohm"], row["resistance_high_ohm"]) == (5.0, 25.0, 100.0)
    assert row["geometry"] == Point(X + 30, Y)
    assert f"1 grounds put by rule (1 at {kind})" in found(site, "inferred_grounds")["message"]
    assert "no_grounds" in codes(site)


@pytest.mark.parametrize(
    ("kind", "values"),
    [("manhole", {}), ("building_entry", {"status": "proposed"}), ("building_entry", {"conductive": "no"}),
     ("building_entry", {"sheath_bonding": "none"}), ("building_entry", {"utility": "gas", "asset": "pipe"})],
)  # fmt: skip
def test_no_ground_is_put_elsewhere(tmp_path: Path, kind: str, values: dict[str, Any]) -> None:
    site = service(tmp_path, kind, **values)
    assert site.grounds.empty
    assert "inferred_grounds" not in codes(site)


def test_a_line_with_a_recorded_ground_gets_none_by_rule(tmp_path: Path) -> None:
    grounds = [{"ground_id": "G-1", "line_id": "E-1", "resistance_ohm": None, "geometry": Point(X, Y)}]
    site = service(tmp_path, grounds=grounds)
    (row,) = site.grounds.to_dict("records")
    assert (row["ground_id"], row["resistance_ohm"], row["evidence"]) == ("G-1", 25.0, "recorded")
    assert (row["resistance_low_ohm"], row["resistance_high_ohm"]) == (5.0, 100.0)
    assert "no_grounds" not in codes(site)


def test_one_electrode_a_structure_on_the_electric_line_first(tmp_path: Path) -> None:
    lines = [line("A-1", (0, 3), (30, 0), utility="telecommunications", asset="cable", sheath="lead"),
             line("E-2", (0, 6), (30, 0.3), **ELECTRIC), line("E-1", (0, 9), (30, -0.3), **ELECTRIC)]  # fmt: skip
    entry = {"structure_id": "BE-1", "kind": "building_entry", "geometry": Point(X + 30, Y)}
    site = read(tmp_path, lines=lines, structures=[entry])
    assert site.grounds["line_id"].tolist() == ["E-1"]


def test_an_isolated_end_gets_none(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line("E-1", (0, 0), (30, 0), **ELECTRIC)],
                structures=[{"structure_id": "BE-1", "kind": "building_entry", "geometry": Point(X + 30, Y)}],
                terminations=[{"structure_id": "BE-1", "line_id": "E-1", "at": "end", "isolated": "yes"}])  # fmt: skip
    assert site.grounds.empty


@pytest.mark.parametrize(("bonding", "grounded"), [("both_ends", 2), ("cross", 2), ("one_end", 1), ("none", 0)])
def test_the_bonding_of_a_sheath_says_how_many_of_its_ends_are_grounded(
    tmp_path: Path, bonding: str, grounded: int
) -> None:
    sheathed = ELECTRIC | {"sheath": "lead", "sheath_bonding": bonding}
    ends = [{"structure_id": f"T-{x}", "kind": "transformer", "geometry": Point(X + x, Y)} for x in (0, 30)]
    site = read(tmp_path, lines=[line("E-1", (0, 0), (30, 0), **sheathed)], structures=ends)
    assert site.grounds["ground_id"].tolist() == ["by_rule:T-0", "by_rule:T-30"][:grounded]
