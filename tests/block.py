"""The downtown block of the samples, whole or in part, for tests of the main job."""

import json
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from corridor import Equipment, Settings, Site, load_equipment, read_site
from corridor.settings import GateSettings, SolverSettings
from corridor.site.findings import FEATURE

SAMPLES = Path(__file__).parents[1] / "sample_gis"
FOLDER = SAMPLES / "downtown_block"
RECORDS = FOLDER / "downtown_block.gpkg"
# long sections and one step of growth to all that is reached: the tests judge the logic, not the last digit
COARSE = SolverSettings(section_max_m=10.0, section_close_m=4.0, growth_step_m=1000.0, workers=1)
OWNERS_AGREE = GateSettings(gas_direct_by="gas owner's technician", cathodic_protection_by="gas owner's technician")
QUICK = Settings(solver=COARSE, gate=OWNERS_AGREE)


@cache
def sample(name: str) -> Site:
    """A sample site as read, once for all tests."""
    return read_site(SAMPLES / name / f"{name}.gpkg")


def downtown() -> Site:
    """The whole block as read."""
    return sample("downtown_block")


@cache
def planted() -> dict[str, list[dict[str, Any]]]:
    """What the sample's maker planted in it."""
    return dict(json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["planted"])


def part(site: Site, around: Iterable[str], *, within_m: float = 5.0) -> Site:
    """The lines within a distance of some lines, whole, with all that belongs to them.

    They lose their layer: where the part ends nothing was cut by an owner's extract.
    """
    near = site.lines[site.lines["line_id"].isin(list(around))].union_all().buffer(within_m)
    lines = site.lines[site.lines.intersects(near)]
    structures = site.structures[site.structures.intersects(near)]
    kept, places = set(lines["line_id"]), set(structures["structure_id"])
    ends = site.terminations
    both = site.bonds["line_a"].isin(kept) & site.bonds["line_b"].isin(kept | {"earth"})
    return replace(
        site,
        lines=lines.drop(columns=FEATURE[0]).reset_index(drop=True),
        structures=structures.reset_index(drop=True),
        terminations=ends[ends["line_id"].isin(kept) & ends["structure_id"].isin(places)].reset_index(drop=True),
        bonds=site.bonds[both].reset_index(drop=True),
        grounds=site.grounds[site.grounds["line_id"].isin(kept)].reset_index(drop=True),
    )


def without_bond(site: Site, bond_id: str) -> Site:
    """The same records without one row of the bonds."""
    return replace(site, bonds=site.bonds[site.bonds["bond_id"] != bond_id].reset_index(drop=True))


def at_frequencies(*frequencies_hz: float) -> Equipment:
    """The generic standard output with few frequencies."""
    return load_equipment(None).model_copy(update={"frequencies_hz": frequencies_hz})
