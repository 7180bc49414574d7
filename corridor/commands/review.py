"""``corridor review``: the desk review of a site, into one folder."""

import sys
from typing import Any

import click

from corridor.commands import talk
from corridor.commands.inputs import lines_of_utility, load_inputs
from corridor.commands.main import EXIT_STRICT
from corridor.commands.options import (
    accepted_option,
    equipment_option,
    input_options,
    output_option,
    quiet_options,
    settings_option,
    strict_option,
    target_options,
    work_area_option,
)
from corridor.plan.review import review_site
from corridor.report.place import check_folder_place
from corridor.report.results import write_review
from corridor.settings import load_equipment
from corridor.site.accepted import accept_findings, is_open

__all__ = ["review"]


@click.command("review")
@input_options
@output_option("Folder for the results; an earlier review in it is replaced whole.", default="out")
@target_options
@work_area_option
@click.option("--everything", is_flag=True, help="Review all records, where there is no work area.")
@equipment_option
@settings_option
@accepted_option
@strict_option
@quiet_options
def review(
    paths: tuple[str, ...],
    *,
    output: str,
    target: tuple[str, ...],
    target_utility: str | None,
    everything: bool,
    equipment: str | None,
    accepted: str | None,
    strict: bool,
    quiet: bool,
    verbose: bool,
    progress: str,
    **read: Any,
) -> None:
    """Review RECORDS: for each target how to put tone on it, what the receiver will read, and where it goes wrong.

    Writes results.gpkg, map.png, summary.txt, summary.json, receipt.json and defects_<owner>.csv for each owner.
    """
    check_folder_place(output)
    chosen = load_equipment(equipment)
    inputs = load_inputs(paths, **read)
    site, unused = (inputs.site, []) if accepted is None else accept_findings(inputs.site, accepted)
    if target_utility is not None:
        lines_of_utility(site, target_utility)
    with talk.progress(progress, quiet=quiet) as show:
        result = review_site(
            site,
            targets=list(target) or None,
            target_utility=target_utility,
            everything=everything,
            equipment=chosen,
            settings=inputs.settings,
            progress=show,
        )
    asked = {"targets": list(target), "target_utility": target_utility, "everything": everything}
    lines = write_review(result, output, options=asked)
    talk.say([*lines, *unused], quiet=quiet)
    if verbose:
        talk.say(["", *(f"Note: {note}" for note in result.summary["notes"])], quiet=quiet)
    severe = (site.findings["severity"].eq("severe") & is_open(site.findings)).any()
    if strict and (severe or not result.summary["ready"]):
        sys.exit(EXIT_STRICT)
