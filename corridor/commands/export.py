"""``corridor export``: records in the terms of an open standard."""

from typing import Any

import click

from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, output_option, quiet_options, settings_option
from corridor.commands.talk import say, table_lines
from corridor.frames import CAUTION
from corridor.report.exchange import STANDARDS, export_records
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results

__all__ = ["export"]


@click.command("export")
@input_options
@settings_option
@click.option("--terms", type=click.Choice(list(STANDARDS)), required=True, help="The standard whose terms are used.")
@output_option("Write the layers to this file (.gpkg, .geojson, .parquet, .csv).", default="export.gpkg")
@quiet_options
def export(
    paths: tuple[str, ...], *, terms: str, output: str, quiet: bool, verbose: bool, progress: str, **read: Any
) -> None:
    """Write RECORDS in the terms of a standard; what it can't say stands in columns and tables of our own names.

    Read again with --fieldmap and the same name, they are the same records.
    """
    del progress, verbose
    inputs = load_inputs(paths, output=output, **read)
    layers = export_records(inputs.site, terms)
    receipt = make_receipt(inputs.site, command="export", settings=inputs.settings, options={"terms": terms})
    write_results(output, layers, metadata=receipt_metadata(receipt))
    rows = table_lines(("layer", "features"), [(name, len(frame)) for name, frame in layers.items()])
    again = f"Read it again with: --fieldmap {terms}"
    say([CAUTION, f"In the terms of {STANDARDS[terms]}:", *rows, f"Written: {output}", again], quiet=quiet)
