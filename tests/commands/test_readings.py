"""``corridor readings``: from a plan's folder and a file of readings to a folder of causes; mistakes in one line."""

import json
from pathlib import Path
from typing import Any

import pyogrio
import pytest
from click.testing import CliRunner, Result

from corridor import load_equipment
from corridor.commands.main import cli
from corridor.commands.readings import read_plan
from corridor.errors import InputError
from corridor.frames import CAUTION
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results
from tests.readings.small import SETTINGS, small_plan, small_site

READINGS = "setup_id,line_id,station_m,kind,value,time\nS1,,,source_ohm,{ohm},2030-01-02\nS1,A,30,clamp_ma,50,\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Records, a plan made from them as ``corridor plan`` writes it, and readings."""
    place = tmp_path_factory.mktemp("readings")
    site, plan = small_site(), small_plan()
    for name in ("lines", "structures", "bonds", "grounds", "soil"):
        pyogrio.write_dataframe(getattr(site, name), place / "records.gpkg", layer=name, driver="GPKG")
    (place / "plan").mkdir()
    receipt = make_receipt(site, command="plan", settings=SETTINGS, equipment=load_equipment(None))
    tables = {"setups": plan.setups, "hookups": plan.hookups}
    write_results(place / "plan" / "results.gpkg", tables, metadata=receipt_metadata(receipt))
    (place / "plan" / "receipt.json").write_text(json.dumps(receipt), encoding="utf-8")
    (place / "readings.csv").write_text(READINGS.format(ohm=180), encoding="utf-8")
    return place


def run(folder: Path, out: Path, **changes: Any) -> Result:
    files = {"records": folder / "records.gpkg", "plan": folder / "plan", "readings": folder / "readings.csv"} | changes
    arguments = ["readings", files["records"], "--plan", files["plan"], "--readings", files["readings"], "-o", out]
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def test_a_folder_with_causes_is_written_and_told(folder: Path, tmp_path: Path) -> None:
    result = run(folder, tmp_path / "updated")
    assert result.exit_code == 0, result.output
    assert CAUTION in result.output
    assert "to be checked on site, not facts" in result.output
    assert "records differ from those that the plan was made from" in result.output  # it was made in memory
    made = {path.name for path in (tmp_path / "updated").iterdir()}
    assert {"results.gpkg", "summary.txt", "receipt.json"} <= made
    causes = pyogrio.read_dataframe(tmp_path / "updated" / "results.gpkg", layer="causes")
    assert causes["rank"].tolist() == list(range(1, len(causes) + 1))
    assert (causes["kind"] == "none").sum() == 1
    receipt = json.loads((tmp_path / "updated" / "receipt.json").read_text(encoding="utf-8"))
    assert receipt["command"] == "readings"
    assert receipt["settings"]["readings"]["geometries"] == 4  # those of the plan
    assert receipt["options"] == {"plan": "plan", "readings": "readings.csv"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (READINGS.format(ohm=-3), "row 2: expected a source_ohm above 0, got -3"),
        (READINGS.replace("S1,A", "S7,A").format(ohm=180), "row 3: expected the setup_id"),
        ("setup_id,kind\n", "'value' is missing"),
        ("setup_id,line_id,station_m,kind,value\n", "expected at least one reading"),
    ],
)
def test_mistakes_in_readings_are_one_line_and_leave_nothing(
    folder: Path, tmp_path: Path, text: str, words: str
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    result = run(folder, tmp_path / "updated", readings=path)
    assert result.exit_code == 1
    assert words in result.output
    assert len(result.output.strip().splitlines()) == 1
    assert not (tmp_path / "updated").exists()


def test_a_folder_without_a_plan_is_refused(folder: Path, tmp_path: Path) -> None:
    result = run(folder, tmp_path / "updated", plan=tmp_path)
    assert result.exit_code == 1
    assert "expected a folder that corridor plan wrote" in result.output


def test_a_review_is_no_plan(folder: Path, tmp_path: Path) -> None:
    receipt = json.loads((folder / "plan" / "receipt.json").read_text(encoding="utf-8"))
    write_results(tmp_path / "results.gpkg", {"hookups": small_plan().hookups}, metadata=receipt_metadata(receipt))
    (tmp_path / "receipt.json").write_text(json.dumps(receipt), encoding="utf-8")
    with pytest.raises(InputError, match="layers setups and hookups"):
        read_plan(tmp_path)


def test_a_plan_comes_back_with_what_it_was_made_with(folder: Path) -> None:
    plan, receipt = read_plan(folder / "plan")
    assert plan.settings == SETTINGS
    assert plan.equipment == load_equipment(None)
    assert plan.setups["setup_id"].tolist() == ["S0", "S1"]
    assert plan.hookups["hookup_id"].tolist() == ["h"]
    assert receipt["command"] == "plan"


def test_an_output_that_cant_be_made_ends_it_first(folder: Path, tmp_path: Path) -> None:
    result = run(folder, tmp_path / "no" / "updated", records=tmp_path / "missing.gpkg")
    assert "the folder" in result.output
    assert result.exit_code == 1
