"""``corridor find``: parallel runs, crossings and bonds of the records."""

from typing import Any

import click
import pandas as pd

from corridor.city import city_couplings
from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, output_option, quiet_options, settings_option
from corridor.commands.talk import missing_lines, more_line, say, table_lines
from corridor.commands.tile_runs import crew_options, hands_of, tiles_named
from corridor.couplings import find_couplings
from corridor.frames import CAUTION
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results

__all__ = ["find"]

_SHOWN = 12


@click.command("find")
@input_options
@settings_option
@output_option("Write the layers to this file (.gpkg, .geojson, .parquet, .csv).")
@crew_options
@quiet_options
def find(
    paths: tuple[str, ...],
    *,
    output: str | None,
    workers: int | None,
    scheduler: str | None,
    quiet: bool,
    verbose: bool,
    progress: str,
    **read: Any,
) -> None:
    """Find where tone can jump between the lines of RECORDS: parallel runs, crossings, bonds.

    RECORDS may be a folder of tiles, as corridor tiles writes it.
    """
    hands = {"workers": workers, "scheduler": scheduler}
    over = tiles_named(paths, settings=read["settings"], output=output, hands=hands, read=read)
    if over is None:
        inputs = load_inputs(paths, output=output, **read)
        site, settings = inputs.site, inputs.settings
        couplings = find_couplings(site, settings=settings)
    else:
        tiles, settings = over
        site = tiles.whole()
        with hands_of(hands, how=progress, quiet=quiet) as (here, told):
            couplings = city_couplings(tiles, settings=settings, hands=here, told=told)
    tables = {
        "parallel_runs": couplings.parallel_runs,
        "crossings": couplings.crossings,
        "bonds_found": couplings.bonds_found,
    }
    say([CAUTION, *(f"{name}: {len(table)}" for name, table in tables.items())], quiet=quiet)
    shown = None if verbose else _SHOWN
    runs = couplings.parallel_runs.sort_values(["length_m", "run_id"], ascending=[False, True], kind="stable")
    columns = ["line_a", "line_b", "length_m", "separation_mean_m", "separation_min_m"]
    say(["", *_listed("Parallel runs, longest first:", runs[columns], shown, none="Parallel runs: none")], quiet=quiet)
    columns = ["bond_id", "line_a", "line_b", "structure_id", "evidence", "state", "probability", "rule"]
    none = "Bonds: none recorded, none inferred; no record is not no bond"
    say(["", *_listed("Bonds:", couplings.bonds_found[columns], shown, none=none)], quiet=quiet)
    missing = missing_lines(site)
    say(["", *missing] if missing else [], quiet=quiet)
    if output is not None:
        receipt = make_receipt(site, command="find", settings=settings)
        write_results(output, tables, metadata=receipt_metadata(receipt))
        say(["", f"Written: {output}"], quiet=quiet)


def _listed(title: str, table: pd.DataFrame, shown: int | None, *, none: str) -> list[str]:
    """Return a titled table of the first rows, and how many more there are; one sentence where there are none."""
    if table.empty:
        return [none]
    rows = table.head(len(table) if shown is None else shown).itertuples(index=False)
    return [title, *table_lines(list(table.columns), rows), *more_line(len(table), shown, "rows")]
