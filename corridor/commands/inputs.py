"""Reading what the options name."""

from collections.abc import Sequence
from dataclasses import dataclass

import click

from corridor.errors import InputError
from corridor.report.place import hold_place
from corridor.report.results import check_output
from corridor.settings import Settings, load_settings
from corridor.site import Site, read_site
from corridor.site.work_area import of_phase, with_work_area

__all__ = ["Inputs", "hold", "lines_of_utility", "load_inputs"]


@dataclass(frozen=True)
class Inputs:
    """A site and the settings it was read with."""

    site: Site
    settings: Settings


def load_inputs(
    paths: Sequence[str],
    *,
    fieldmap: str | None,
    crs: str | None,
    settings: str | None,
    work_area: str | None = None,
    phase: str | None = None,
    output: str | None = None,
    corrections: str | None = None,
) -> Inputs:
    """Read settings, records, and the work area and phase named; an output that can't be written ends it first.

    Raises
    ------
    CorridorError
        If any of them can't be used; the message names it.
    """
    if output is not None:
        check_output(output)
        hold(output)
    chosen = load_settings(settings)
    site = read_site(list(paths), fieldmap=fieldmap, crs=crs, settings=chosen, corrections=corrections)
    if work_area is not None:
        site = with_work_area(site, work_area, crs=crs)
    if phase is not None:
        site = of_phase(site, phase)
    return Inputs(site=site, settings=chosen)


def hold(output: str) -> None:
    """Keep other runs out of the place of a result until the command ends.

    Raises
    ------
    OutputError
        If another run is writing there.
    """
    context = click.get_current_context(silent=True)
    if context is not None:
        context.with_resource(hold_place(output))


def lines_of_utility(site: Site, utility: str) -> list[str]:
    """Return the line_id of every line of one utility.

    Raises
    ------
    InputError
        If the records hold no such line; the message names the utilities that they hold.
    """
    lines = site.lines
    found = lines.loc[lines["utility"].eq(utility), "line_id"].tolist()
    if not found:
        known = ", ".join(sorted(lines["utility"].dropna().unique()))
        message = f"expected a utility of the records ({known}), got {utility!r}"
        raise InputError(message)
    return found
