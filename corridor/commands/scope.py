"""``corridor scope``: congestion and effort over a large excavation, into one folder."""

from typing import Any

import click

from corridor.commands import talk
from corridor.commands.inputs import load_inputs
from corridor.commands.options import (
    equipment_option,
    input_options,
    output_option,
    quiet_options,
    settings_option,
    work_area_option,
)
from corridor.report.place import check_folder_place
from corridor.report.scoped import write_scope
from corridor.scope import scope_area
from corridor.settings import load_equipment

__all__ = ["scope"]


@click.command("scope")
@input_options
@output_option("Folder for the results; an earlier scope in it is replaced whole.", default="scope")
@work_area_option
@click.option("--everything", is_flag=True, help="Take all records, where there is no work area.")
@click.option("--geometry-only", is_flag=True, help="Count only: quick, and no grades.")
@click.option("--cell-m", type=click.FloatRange(2, 1000), metavar="M", help="Size of a cell between two sides, m.")
@click.option("--shape", type=click.Choice(["hexagon", "square"]), help="Shape of a cell.")
@click.option(
    "--windows", type=click.IntRange(0), metavar="N", help="Solve so many windows, spread over the area; default all."
)
@click.option("--crews", type=click.IntRange(1, 50), metavar="N", help="Tell working days for one crew to so many.")
@equipment_option
@settings_option
@quiet_options
def scope(paths: tuple[str, ...], **options: Any) -> None:
    """Scope an excavation over RECORDS: cell by cell what it meets, phase by phase what locating it takes.

    Writes results.gpkg, scope.png and scope.svg, CSV tables, summary.txt, summary.json and receipt.json.
    """
    _run(paths, **options)


def _run(
    paths: tuple[str, ...],
    *,
    output: str,
    everything: bool,
    geometry_only: bool,
    equipment: str | None,
    quiet: bool,
    verbose: bool,
    progress: str,
    **more: Any,
) -> None:
    del verbose  # there is nothing more to say
    check_folder_place(output)
    gear = load_equipment(equipment)
    asked = {
        name: more.pop(option)
        for option, name in (
            ("cell_m", "cell_m"), ("shape", "shape"), ("windows", "windows_most"), ("crews", "crews_most"),
        )
    }  # fmt: skip
    inputs = load_inputs(paths, **more)
    stated = {name: value for name, value in asked.items() if value is not None}
    settings = inputs.settings.model_copy(update={"scope": inputs.settings.scope.model_copy(update=stated)})
    with talk.progress(progress, quiet=quiet) as show:
        result = scope_area(
            inputs.site,
            everything=everything,
            geometry_only=geometry_only,
            equipment=gear,
            settings=settings,
            progress=show,
        )
    options = {"everything": everything, "geometry_only": geometry_only, "phase": more["phase"], **asked}
    talk.say(write_scope(result, output, options=options), quiet=quiet)
