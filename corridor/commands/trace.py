"""``corridor trace``: where the tone of one hook-up goes."""

from typing import Any

import click

from corridor.commands.inputs import Inputs, lines_of_utility, load_inputs
from corridor.commands.options import (
    equipment_option,
    input_options,
    map_option,
    output_option,
    quiet_options,
    settings_option,
    target_options,
    work_area_option,
)
from corridor.commands.passive_text import passive_lines
from corridor.commands.talk import say
from corridor.commands.trace_text import hookup_lines, trace_lines
from corridor.frames import CAUTION
from corridor.plan.passive import INDICATIVE, trace_passive
from corridor.plan.prepare import connect
from corridor.plan.trace import trace_tone
from corridor.report.maps.map_frame import check_map
from corridor.report.maps.trace_map import write_trace_map
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_trace
from corridor.settings import Equipment, load_equipment
from corridor.tone.passive import PASSIVE_KINDS

__all__ = ["trace"]


@click.command("trace")
@input_options
@click.option("--hookup", metavar="HOOKUP_ID", help="Where and how the tone is applied; --list names them.")
@click.option("--frequency-hz", type=float, metavar="HZ", help="Frequency of the tone, Hz.")
@click.option(
    "--level-ma", type=float, metavar="MA", help="Output current to set, mA; the source's limits may lower it."
)
@click.option("--list", "list_hookups", is_flag=True, help="List the hook-ups with their readiness, and stop.")
@click.option(
    "--passive",
    type=click.Choice(PASSIVE_KINDS),
    help="In place of a hook-up: mains current or a radio wave, as a receiver alone would hear it. Indicative only.",
)
@target_options
@work_area_option
@output_option("Write sections, stations and bleed paths to this file (.gpkg, .geojson, .parquet, .csv).")
@map_option("Draw where the tone goes on a map")
@equipment_option
@settings_option
@quiet_options
def trace(
    paths: tuple[str, ...],
    *,
    hookup: str | None,
    frequency_hz: float | None,
    level_ma: float | None,
    list_hookups: bool,
    passive: str | None,
    output: str | None,
    map_file: str | None,
    equipment: str | None,
    quiet: bool,
    verbose: bool,
    **read: Any,
) -> None:
    """Predict where the tone of one hook-up goes: the current on each line of RECORDS, and how it got there."""
    del read["progress"]  # one solution: nothing to show
    target, target_utility = read.pop("target"), read.pop("target_utility")
    if map_file is not None:
        check_map(map_file)
    if passive is not None:
        if hookup is not None or level_ma is not None or list_hookups or equipment is not None:
            message = "--passive has no transmitter: --hookup, --level-ma, --list and --equipment don't go with it"
            raise click.UsageError(message)
        wanted = {"kind": passive, "frequency_hz": frequency_hz, "target": target, "target_utility": target_utility}
        _trace_passive(paths, wanted, output=output, map_file=map_file, quiet=quiet, verbose=verbose, **read)
        return
    chosen = load_equipment(equipment)
    if list_hookups:
        inputs = load_inputs(paths, **read)
        table = _hookups(inputs, chosen, targets=_targets(inputs, target, target_utility), limited=_limited(read))
        say(hookup_lines(table, chosen, verbose=verbose), quiet=quiet)
        return
    if hookup is None or frequency_hz is None or level_ma is None:
        message = "give --hookup, --frequency-hz and --level-ma, --list to see the hook-ups, or --passive"
        raise click.UsageError(message)
    if target or target_utility or _limited(read):
        wide = "--target, --target-utility, --work-area and --phase"
        message = f"{wide} choose what --list shows; --hookup names its own line"
        raise click.UsageError(message)
    inputs = load_inputs(paths, output=output, **read)
    result = trace_tone(
        inputs.site, hookup, frequency_hz=frequency_hz, level_ma=level_ma, equipment=chosen, settings=inputs.settings
    )
    say(trace_lines(result, inputs.site, chosen, verbose=verbose), quiet=quiet)
    asked = {"hookup": hookup, "frequency_hz": frequency_hz, "level_ma": level_ma}
    receipt = make_receipt(inputs.site, command="trace", settings=inputs.settings, equipment=chosen, options=asked)
    _write(result, inputs, receipt, output=output, map_file=map_file, quiet=quiet)


def _trace_passive(
    paths: tuple[str, ...], wanted: dict[str, Any], *, output: str | None, map_file: str | None, quiet: bool,
    verbose: bool, **read: Any,
) -> None:  # fmt: skip
    """Trace passive tone; targets, or the lines in a work area that is named, are those looked at."""
    inputs = load_inputs(paths, output=output, **read)
    lines = _targets(inputs, wanted["target"], wanted["target_utility"])
    if lines is None and _limited(read):
        area = inputs.site.work_area.geometry.union_all()
        lines = sorted(inputs.site.lines.loc[inputs.site.lines.intersects(area), "line_id"])
    result = trace_passive(
        inputs.site, wanted["kind"], lines=lines, frequency_hz=wanted["frequency_hz"], settings=inputs.settings
    )
    say(passive_lines(result, inputs.site, verbose=verbose), quiet=quiet)
    asked = {"passive": result.kind, "frequency_hz": result.frequency_hz, "lines": lines, "indicative": True}
    receipt = make_receipt(inputs.site, command="trace", settings=inputs.settings, options=asked)
    receipt |= {"caution": f"{CAUTION} {INDICATIVE}"}
    _write(result, inputs, receipt, output=output, map_file=map_file, quiet=quiet)


def _write(
    result: Any, inputs: Inputs, receipt: dict[str, Any], *, output: str | None, map_file: str | None, quiet: bool
) -> None:
    """Write what the options ask for."""
    if output is not None:
        write_trace(result, output, receipt=receipt)
        say(["", f"Written: {output}"], quiet=quiet)
    if map_file is not None:
        metadata = receipt_metadata(receipt)
        write_trace_map(result, inputs.site, map_file, settings=inputs.settings, metadata=metadata)
        say(["", f"Drawn: {map_file}"], quiet=quiet)


def _limited(read: dict[str, Any]) -> bool:
    """Tell whether an option asks for what lies in an area."""
    return bool(read["work_area"]) or read["phase"] is not None


def _targets(inputs: Inputs, target: tuple[str, ...], utility: str | None) -> list[str] | None:
    if not target and utility is None:
        return None
    return [*target, *(lines_of_utility(inputs.site, utility) if utility is not None else [])]


def _hookups(inputs: Inputs, equipment: Equipment, *, targets: list[str] | None, limited: bool) -> Any:
    """Return the table ``hookups``; a work area that the records hold themselves limits nothing, one asked for does."""
    area = inputs.site.work_area.geometry.union_all() if limited else None
    return connect(inputs.site, equipment=equipment, settings=inputs.settings, lines=targets, area=area).hookups
