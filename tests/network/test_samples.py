"""The sample sites: groups as their truth says, which corridor itself never reads."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from corridor.network import bonded_groups
from corridor.site import Site, read_site
from tests.block import SAMPLES, sample
from tests.network.test_build import check

MADE = sorted(path.parent.name for path in SAMPLES.glob("*/truth.json"))


def check_groups(site: Site, folder: Path) -> None:
    groups = bonded_groups(site)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["groups"]
    for level in ("recorded", "likely", "possible"):
        found = sorted(row.split(" ") for row in groups["line_ids"][groups["level"] == level])
        assert found == sorted(sorted(group) for group in truth[level] if len(group) > 1), level


@pytest.mark.parametrize("name", MADE)
def test_groups_equal_the_truth(name: str) -> None:
    check_groups(sample(name), SAMPLES / name)


def test_groups_equal_the_truth_from_a_fresh_seed(tmp_path: Path) -> None:
    script = [sys.executable, str(SAMPLES / "make_samples.py"), "--seed", "20", "-o", str(tmp_path), "downtown_block"]
    subprocess.run(script, check=True, capture_output=True)
    folder = tmp_path / "downtown_block"
    check_groups(read_site(folder / "downtown_block.gpkg"), folder)


@pytest.mark.parametrize("name", MADE)
def test_networks_hold_together(name: str) -> None:
    check(sample(name))
