"""Twelve planted defects are found, exactly those, with their features' ids: on the sample and on fresh seeds."""

import sys
from collections import Counter
from pathlib import Path

import pytest

from corridor.report.defects import defects_table
from corridor.site import Site, read_site
from tests.planting import DEFECTS, clean, plant

SAMPLES = Path(__file__).parents[2] / "sample_gis"


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the three sites made from a fresh seed."""
    sys.path.insert(0, str(SAMPLES))
    try:
        from sitegen.sites import SITES, make_site  # noqa: PLC0415 - the samples are no package of ours
    finally:
        sys.path.remove(str(SAMPLES))
    folder = tmp_path_factory.mktemp("fresh")
    for name in SITES:
        make_site(name, folder, seed=20_240_917)
    return folder


def _defects(site: Site) -> Counter[tuple[str, str, str]]:
    """Code, layer and own id (or row) of every open defect."""
    table = defects_table(site.findings)
    named = table["source_id"].where(table["source_id"].notna(), table["feature_row"].astype(str))
    layer = table["layer"].str.rpartition(":")[2]
    return Counter(zip(table["code"], layer, named, strict=True))


def _check(source: Path, folder: Path, seed: int) -> None:
    folder.mkdir(parents=True)
    paths, planted = plant(source, folder, seed)
    assert len(planted) == len(DEFECTS) == 12
    assert len({code for code, _, _ in planted}) == 12
    before, after = _defects(clean(source)), _defects(read_site(paths))
    assert after - before == Counter(planted)
    assert before - after == Counter()


@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.thorough)])
def test_in_the_downtown_sample(tmp_path: Path, seed: int) -> None:
    _check(SAMPLES / "downtown_block" / "downtown_block.gpkg", tmp_path / "made", seed)


@pytest.mark.parametrize(
    ("name", "seed"),
    [
        pytest.param("downtown_block", 11, marks=pytest.mark.thorough),  # the sample above is of its kind
        ("bonded_district", 12),
        pytest.param("excavation_zone", 13, marks=pytest.mark.thorough),
    ],
)
def test_on_sites_from_a_fresh_seed(sites: Path, tmp_path: Path, name: str, seed: int) -> None:
    _check(sites / name / f"{name}.gpkg", tmp_path / "made", seed)


def test_the_same_seed_plants_the_same(tmp_path: Path) -> None:
    source = SAMPLES / "downtown_block" / "downtown_block.gpkg"
    twice = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        twice.append(plant(source, tmp_path / name, 5)[1])
    assert twice[0] == twice[1]
