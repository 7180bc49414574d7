"""``corridor bonds``: the groups of lines that share metal."""

from typing import Any

import click

from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, output_option, quiet_options, settings_option
from corridor.commands.talk import missing_lines, say, table_lines
from corridor.couplings import all_bonds
from corridor.frames import CAUTION
from corridor.network.groups import bonded_groups
from corridor.network.isolations import isolations
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results

__all__ = ["bonds"]


@click.command("bonds")
@input_options
@settings_option
@output_option("Write the layers to this file (.gpkg, .geojson).")
@quiet_options
def bonds(
    paths: tuple[str, ...], *, output: str | None, quiet: bool, verbose: bool, progress: str, **read: Any
) -> None:
    """List the groups of lines of RECORDS that share metal: recorded, likely, possible.

    A line in no group isn't called unbonded: no record is not no bond.
    """
    del progress
    inputs = load_inputs(paths, output=output, **read)
    found = all_bonds(inputs.site, settings=inputs.settings)
    groups = bonded_groups(inputs.site, bonds_found=found, settings=inputs.settings)
    columns = ["level", "line_count", "length_m", "evidence_weakest", "probability", "line_ids"]
    told = table_lines(columns, groups[columns].itertuples(index=False))
    say([CAUTION, "Groups of lines that share metal (no record is not no bond):", *(told or ["none"])], quiet=quiet)
    missing = missing_lines(inputs.site)
    say(["", *missing] if missing else [], quiet=quiet)
    if verbose:
        say(
            ["", *(f"{group}: {names}" for group, names in zip(groups["group_id"], groups["line_ids"], strict=True))],
            quiet=quiet,
        )
    if output is not None:
        receipt = make_receipt(inputs.site, command="bonds", settings=inputs.settings)
        tables = {"bonded_groups": groups, "bonds_found": found, "isolations": isolations(inputs.site)}
        write_results(output, tables, metadata=receipt_metadata(receipt))
        say(["", f"Written: {output}"], quiet=quiet)
