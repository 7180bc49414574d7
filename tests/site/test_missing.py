"""What a site doesn't have, said once and plainly."""

from pathlib import Path

import pytest

from tests.site.records import codes, found, line, read

SENTENCES = {
    "no_structures": "induction only",
    "no_bonds": "no record is not no bond",
    "no_grounds": "service entrances, transformers and cabinets",
    "no_soil": "100 ohm m, range 20 to 1000",
    "no_work_area": "everything is in scope",
    "no_depth": "every depth is a default with a range",
}


@pytest.mark.parametrize("code", sorted(SENTENCES))
def test_each_lack_is_one_finding(tmp_path: Path, code: str) -> None:
    row = found(read(tmp_path, lines=[line(depth_m=None)]), code)
    assert SENTENCES[code] in row["message"]
    assert row["severity"] == "warning"
    assert row["feature_source"] == "site"
    assert row.geometry is None


def test_nothing_is_called_unbonded(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line()])
    told = " ".join([*site.findings["message"], *site.findings["action"]])
    assert "nothing is called unbonded" in told
    assert "isolated" not in told


def test_one_stated_depth_is_depth_data(tmp_path: Path) -> None:
    site = read(tmp_path, lines=[line(), line("W-2", (0, 5), (9, 5), depth_m=None)])
    assert "no_depth" not in codes(site)
    assert codes(site).count("filled_depth") == 1
