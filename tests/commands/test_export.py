"""``corridor export`` on files."""

import json
from pathlib import Path

import pyogrio
import pytest
from click.testing import CliRunner, Result

from corridor.commands.main import cli
from corridor.frames import CAUTION
from corridor.site import read_site
from tests.site.records import course, line, write


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, ["export", *(str(argument) for argument in arguments)])


@pytest.fixture
def records(tmp_path: Path) -> Path:
    bond = {
        "bond_id": "B-1",
        "line_a": "W-1",
        "line_b": "earth",
        "state": "closed",
        "geometry": course((0, 0), (1, 0)).centroid,
    }
    return write(tmp_path, lines=[line(), line("W-2", (0, 9), (50, 9))], bonds=[bond])


@pytest.mark.parametrize(("terms", "layer"), [("inspire", "WaterPipe"), ("muddi", "NetworkLink")])
def test_it_writes_what_can_be_read_again(records: Path, tmp_path: Path, terms: str, layer: str) -> None:
    out = tmp_path / "out.gpkg"
    result = _run(records, "--terms", terms, "-o", out)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(CAUTION)
    for words in (layer, "bonds", f"Written: {out}", f"--fieldmap {terms}"):
        assert words in result.stdout
    assert {name for name, _ in pyogrio.list_layers(out)} - {"layer_styles"} == {layer, "bonds"}
    info = pyogrio.read_info(out, layer=layer)
    assert info["dataset_metadata"]["caution"] == CAUTION
    receipt = json.loads(info["dataset_metadata"]["receipt"])
    assert (receipt["command"], receipt["options"]) == ("export", {"terms": terms})
    back = read_site(out, fieldmap=terms)
    assert sorted(back.lines["line_id"]) == ["W-1", "W-2"]
    assert back.bonds["bond_id"].tolist() == ["B-1"]


def test_quiet_says_nothing_and_writes_the_same(records: Path, tmp_path: Path) -> None:
    for name in ("a.gpkg", "b.gpkg"):
        assert _run(records, "--terms", "inspire", "-o", tmp_path / name, "-q").output == ""
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_other_terms_or_none_are_wrong_usage(records: Path) -> None:
    assert _run(records, "--terms", "ours").exit_code == 2
    assert "--terms" in _run(records).output


def test_an_output_that_cannot_be_written_ends_it_before_the_work(tmp_path: Path) -> None:
    result = _run(tmp_path / "none.gpkg", "--terms", "inspire", "-o", tmp_path / "out.xyz")
    assert result.exit_code == 1
    assert "expected an output ending in" in result.output
