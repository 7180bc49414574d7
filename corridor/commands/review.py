"""``corridor review``: the desk review of a site, into one folder."""

from typing import Any

import click

from corridor.commands.desk import run_desk
from corridor.commands.options import (
    accepted_option,
    equipment_option,
    input_options,
    output_option,
    paper_option,
    quiet_options,
    settings_option,
    strict_option,
    target_options,
    work_area_option,
)
from corridor.plan.review import review_site

__all__ = ["review"]


@click.command("review")
@input_options
@output_option("Folder for the results; an earlier review in it is replaced whole.", default="out")
@target_options
@work_area_option
@click.option("--everything", is_flag=True, help="Review all records, where there is no work area.")
@paper_option("Write crew_sheet.pdf too, on this paper; a plan's is the better one.")
@equipment_option
@settings_option
@accepted_option
@strict_option
@quiet_options
def review(paths: tuple[str, ...], **options: Any) -> None:
    """Review RECORDS: for each target how to put tone on it, what the receiver will read, and where it goes wrong.

    Writes results.gpkg, page.html, map.png, summary.txt, summary.json and receipt.json, excavation.png where there is a
    work area, and defects_<owner>.csv for each owner.
    """
    run_desk(review_site, paths, command="review", **options)
