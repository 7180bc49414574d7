"""``corridor readings``: the crew's readings back in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
import pyogrio
from pydantic import ValidationError

from corridor.commands import talk
from corridor.commands.inputs import hold
from corridor.commands.options import input_options, output_option, quiet_options
from corridor.errors import InputError
from corridor.readings import PlanTables, apply_readings
from corridor.report.place import RECEIPT_FILE, check_folder_place
from corridor.report.receipt import make_receipt
from corridor.report.updates import write_update
from corridor.settings import Equipment, Settings
from corridor.site import Site, read_site

__all__ = ["read_plan", "readings"]


@click.command("readings")
@input_options
@click.option("--plan", "plan_folder", required=True, metavar="FOLDER", help="Folder that corridor plan wrote.")
@click.option(
    "--readings", "readings_file", required=True, metavar="FILE", help="CSV of readings; the plan has an empty one."
)
@output_option("Folder for the results; an earlier update in it is replaced whole.", default="updated")
@quiet_options
def readings(
    paths: tuple[str, ...],
    *,
    plan_folder: str,
    readings_file: str,
    output: str,
    quiet: bool,
    verbose: bool,
    progress: str,
    **read: Any,
) -> None:
    """Say what explains a crew's readings of the plan made for RECORDS: hidden causes, ranked, and the true currents.

    A cause ranked first is a thing to check on site, not a fact. Settings and equipment are those of the plan. Writes
    results.gpkg, summary.txt and receipt.json; added.gpkg and corrections.csv go into the next plan.
    """
    check_folder_place(output)
    hold(output)
    plan, receipt = read_plan(plan_folder)
    site = read_site(list(paths), settings=plan.settings, **read)
    with talk.progress(progress, quiet=quiet) as show:
        update = apply_readings(site, plan, readings_file, progress=show)
    made = make_receipt(
        site, command="readings", settings=plan.settings, equipment=plan.equipment,
        options={"plan": Path(plan_folder).name, "readings": Path(readings_file).name},
    )  # fmt: skip
    lines = write_update(update, site, output, receipt=made)
    if not verbose:
        lines = [line for line in lines if not line.startswith("Note: ")]
    talk.say([*lines, *_other_records(site, receipt)], quiet=quiet)


def read_plan(folder: str | Path) -> tuple[PlanTables, dict[str, Any]]:
    """Read back the plan that a folder holds, with the settings and the equipment it was made with; and its receipt.

    Raises
    ------
    InputError
        If the folder holds no plan.
    """
    place = Path(folder)
    try:
        receipt = json.loads((place / RECEIPT_FILE).read_text(encoding="utf-8"))
        settings = Settings.model_validate(receipt["settings"])
        equipment = Equipment.model_validate(receipt["equipment"])
        layers = {name for name, _ in pyogrio.list_layers(place / "results.gpkg")}
        if not {"setups", "hookups"} <= layers:
            raise KeyError
        tables = [pyogrio.read_dataframe(place / "results.gpkg", layer=name) for name in ("setups", "hookups")]
    except (OSError, ValueError, KeyError, TypeError, ValidationError, pyogrio.errors.DataSourceError) as error:
        message = (
            f"expected a folder that corridor plan wrote, with {RECEIPT_FILE} and the layers setups and hookups in "
            f"results.gpkg, got {str(folder)!r}; make the plan first, or name its folder"
        )
        raise InputError(message) from error
    return PlanTables(tables[0], tables[1], settings, equipment), receipt


def _other_records(site: Site, receipt: dict[str, Any]) -> list[str]:
    """Say where the records aren't those of the plan."""
    then = {str(source.get("sha256")) for source in receipt.get("inputs", [])}
    if then == {source.sha256 for source in site.sources}:
        return []
    return ["", "The records differ from those that the plan was made from: its set-ups may not fit them."]
