"""``corridor find``: parallel runs, crossings and bonds of the records."""

from typing import Any

import click

from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, output_option, quiet_options, settings_option
from corridor.commands.talk import say, table_lines
from corridor.couplings import find_couplings
from corridor.frames import CAUTION
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results

__all__ = ["find"]

_SHOWN = 12


@click.command("find")
@input_options
@settings_option
@output_option("Write the layers to this file (.gpkg, .geojson).")
@quiet_options
def find(paths: tuple[str, ...], *, output: str | None, quiet: bool, verbose: bool, progress: str, **read: Any) -> None:
    """Find where tone can jump between the lines of RECORDS: parallel runs, crossings, bonds."""
    del progress
    inputs = load_inputs(paths, **read)
    couplings = find_couplings(inputs.site, settings=inputs.settings)
    tables = {
        "parallel_runs": couplings.parallel_runs,
        "crossings": couplings.crossings,
        "bonds_found": couplings.bonds_found,
    }
    say([CAUTION, *(f"{name}: {len(table)}" for name, table in tables.items())], quiet=quiet)
    shown = None if verbose else _SHOWN
    runs = couplings.parallel_runs.sort_values(["length_m", "run_id"], ascending=[False, True], kind="stable")
    columns = ["line_a", "line_b", "length_m", "separation_mean_m", "separation_min_m"]
    say(
        [
            "",
            "Parallel runs, longest first:",
            *table_lines(columns, runs[columns].head(shown or len(runs)).itertuples(index=False)),
        ],
        quiet=quiet,
    )
    bonds = couplings.bonds_found
    columns = ["bond_id", "line_a", "line_b", "structure_id", "evidence", "state", "probability", "rule"]
    say(
        ["", "Bonds:", *table_lines(columns, bonds[columns].head(shown or len(bonds)).itertuples(index=False))],
        quiet=quiet,
    )
    if output is not None:
        receipt = make_receipt(inputs.site, command="find", settings=inputs.settings)
        write_results(output, tables, metadata=receipt_metadata(receipt))
        say(["", f"Written: {output}"], quiet=quiet)
