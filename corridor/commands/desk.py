"""What ``review`` and ``plan`` do alike: read the records, solve the work area, write the folder, and say so."""

import sys
from collections.abc import Callable
from typing import Any

from corridor.commands import talk
from corridor.commands.inputs import hold, lines_of_utility, load_inputs
from corridor.commands.main import EXIT_STRICT
from corridor.report.place import check_folder_place
from corridor.report.results import write_review
from corridor.settings import Settings, load_equipment
from corridor.site.accepted import accept_findings, is_open

__all__ = ["run_desk"]

_WANTED = ("target", "target_utility", "everything")


def run_desk(
    make: Callable[..., Any],
    paths: tuple[str, ...],
    *,
    command: str,
    output: str,
    equipment: str | None,
    accepted: str | None,
    strict: bool,
    quiet: bool,
    verbose: bool,
    progress: str,
    paper: str | None,
    adjust: Callable[[Settings], Settings] = lambda settings: settings,
    **more: Any,
) -> None:
    """Make a review or a plan of records and write it into its folder.

    Parameters
    ----------
    make : callable
        ``review_site`` or ``plan_setups``.
    paths : tuple of str
        The records.
    command : str
        Its name, for the receipt.
    output, equipment, accepted, strict, quiet, verbose, progress
        Options of the command.
    paper : str or None
        Of the crew sheet; None leaves it out.
    adjust : callable
        Puts options of the command into the settings read.
    **more
        Which lines are wanted (target, target_utility, everything), and how records are read.
    """
    check_folder_place(output)
    hold(output)
    chosen = load_equipment(equipment)
    target, target_utility, everything = (more.pop(name) for name in _WANTED)
    inputs = load_inputs(paths, **more)
    site, unused = (inputs.site, []) if accepted is None else accept_findings(inputs.site, accepted)
    if target_utility is not None:
        lines_of_utility(site, target_utility)
    settings = adjust(inputs.settings)
    with talk.progress(progress, quiet=quiet) as show:
        result = make(
            site,
            targets=list(target) or None,
            target_utility=target_utility,
            everything=everything,
            equipment=chosen,
            settings=settings,
            progress=show,
        )
    asked = {
        "targets": list(target), "target_utility": target_utility, "everything": everything, "phase": more["phase"],
    }  # fmt: skip
    lines = write_review(result, output, options=asked, command=command, paper=paper)
    talk.say([*lines, *unused], quiet=quiet)
    if verbose:
        talk.say(["", *(f"Note: {note}" for note in result.summary["notes"])], quiet=quiet)
    severe = (site.findings["severity"].eq("severe") & is_open(site.findings)).any()
    if strict and (severe or not result.summary["ready"]):
        sys.exit(EXIT_STRICT)
