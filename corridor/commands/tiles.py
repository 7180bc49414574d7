"""``corridor tiles``: records into a folder of tiles, for a whole city."""

from typing import Any

import click

from corridor.city import write_tiles
from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, output_option, quiet_options, settings_option
from corridor.commands.talk import missing_lines, say
from corridor.frames import CAUTION
from corridor.report.place import check_folder_place

__all__ = ["tiles"]


@click.command("tiles")
@input_options
@settings_option
@output_option("Folder of tiles: a new or empty one, or one of tiles, which is replaced whole.", default="tiles")
@quiet_options
def tiles(paths: tuple[str, ...], *, output: str, quiet: bool, verbose: bool, progress: str, **read: Any) -> None:
    """Read RECORDS once into a folder of tiles, which find and bonds take in place of records.

    A tile holds about as many segments as city.tile_segments of the settings says.
    """
    del progress, verbose
    check_folder_place(output)
    inputs = load_inputs(paths, **read)
    count = write_tiles(inputs.site, output, settings=inputs.settings)
    missing = missing_lines(inputs.site)
    found = len(inputs.site.findings)
    told = [CAUTION, f"{len(inputs.site.lines)} lines in {count} tiles, {found} findings (findings.parquet)"]
    say([*told, *missing, f"Written: {output}"], quiet=quiet)
