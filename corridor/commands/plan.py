"""``corridor plan``: the fewest set-ups that work, whatever the records don't know, into one folder."""

from functools import partial
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
from corridor.errors import SettingsError
from corridor.plan.review import plan_setups
from corridor.settings import Settings

__all__ = ["plan"]

PLAN_OPTIONS = ("crews", "max_setups", "draws", "seed", "allow_owner_changes")


@click.command("plan")
@input_options
@output_option("Folder for the results; an earlier plan in it is replaced whole.", default="out")
@target_options
@work_area_option
@click.option("--everything", is_flag=True, help="Plan for all records, where there is no work area.")
@click.option("--crews", type=int, help="Crews at work at the same time; set-ups and frequencies are shared out.")
@click.option("--max-setups", type=int, help="At most so many set-ups: what they show is made as long as can be.")
@click.option("--draws", type=int, help="Draws of what the records don't know.")
@click.option(
    "--allow-owner-changes",
    is_flag=True,
    help="List what only an owner may do too (grounds lifted, bonds opened, far ends grounded): never READY.",
)
@paper_option("Of the crew sheet.", default="a4")
@click.option("--seed", type=int, help="Of the draws; the same seed gives the same plan.")
@equipment_option
@settings_option
@accepted_option
@strict_option
@quiet_options
def plan(paths: tuple[str, ...], **options: Any) -> None:
    """Plan set-ups for RECORDS: the fewest that show every stretch about as well as any could, in walking order.

    Chosen on draws of soil, coatings, depths, positions, grounds, bonds, joints and stakes. Writes what review writes,
    with the layers setups, expected_readings, reading_causes, field_checks, verify_first and trade_off, and
    crew_sheet.pdf to take along, and readings.csv, empty, for what the crew reads.
    """
    how = {name: options.pop(name) for name in PLAN_OPTIONS}
    run_desk(plan_setups, paths, command="plan", adjust=partial(with_plan, **how), **options)


def with_plan(
    settings: Settings,
    *,
    crews: int | None,
    max_setups: int | None,
    draws: int | None,
    seed: int | None,
    allow_owner_changes: bool,
) -> Settings:
    """Return settings with what the options of the command say.

    Raises
    ------
    SettingsError
        If one of the numbers is less than 1.
    """
    for name, number in (("--crews", crews), ("--max-setups", max_setups), ("--draws", draws)):
        if number is not None and number < 1:
            message = f"{name}: expected a whole number from 1 on, got {number}"
            raise SettingsError(message)
    plan = {name: number for name, number in (("crews", crews), ("max_setups", max_setups)) if number is not None}
    allowed = settings.hookups.allow_owner_changes or allow_owner_changes
    return settings.model_copy(
        update={
            "plan": settings.plan.model_copy(update=plan),
            "draws": settings.draws if draws is None else settings.draws.model_copy(update={"count": draws}),
            "hookups": settings.hookups.model_copy(update={"allow_owner_changes": allowed}),
            "seed": settings.seed if seed is None else seed,
        }
    )
