"""``corridor bonds``: the groups of lines that share metal."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pandas as pd

from corridor.city import city_bonded_networks
from corridor.commands.inputs import load_inputs
from corridor.commands.options import input_options, map_option, output_option, quiet_options, settings_option
from corridor.commands.talk import missing_lines, more_line, say, table_lines
from corridor.commands.tile_runs import crew_options, hands_of, tiles_named
from corridor.errors import InputError
from corridor.frames import CAUTION
from corridor.network.bonded import BondedNetworks, bonded_networks
from corridor.network.edges import LEVELS
from corridor.network.releases import NOT_KNOWN
from corridor.network.splits import LARGE_SHARE
from corridor.report.maps.groups_map import write_groups_map
from corridor.report.maps.map_frame import check_map
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_results
from corridor.report.text import percent
from corridor.site.sources import file_hash, read_layers

__all__ = ["bonds"]

_SHOWN = 12  # of a list
_FEW = 3  # of the bonds and visits of one group
_GROUPS = ["level", "group_id", "line_count", "length_m", "evidence_weakest", "probability", "line_ids"]
_SPLITS = ["group_id", "rank", "split_off_m", "structure_id", "evidence", "bond_ids"]
_CHANGES = ["level", "change", "group_ids", "previous_ids", "lines_gained", "lines_lost"]
_TABLES = ("line_groups", "bonded_groups", "group_edges", "group_splits", "group_changes", "isolations", "bonds_found")


@click.command("bonds")
@input_options
@settings_option
@click.option(
    "--previous", metavar="FILE", help="Earlier result of this command: groups keep its ids, differences are listed."
)
@output_option("Write the layers to this file (.gpkg, .geojson, .parquet, .csv).")
@map_option("Draw the groups, with bonds and isolations, on a map")
@crew_options
@quiet_options
def bonds(
    paths: tuple[str, ...],
    *,
    previous: str | None,
    output: str | None,
    map_file: str | None,
    workers: int | None,
    scheduler: str | None,
    quiet: bool,
    verbose: bool,
    progress: str,
    **read: Any,
) -> None:
    """List the groups of lines of RECORDS that share metal: recorded, likely, possible.

    A line in no group isn't called unbonded: no record is not no bond. RECORDS may be a folder of tiles, as corridor
    tiles writes it.
    """
    if map_file is not None:
        check_map(map_file)
    earlier = None if previous is None else _line_groups(Path(previous))
    hands = {"workers": workers, "scheduler": scheduler}
    over = tiles_named(paths, settings=read["settings"], output=output, hands=hands, read=read)
    if over is None:
        inputs = load_inputs(paths, output=output, **read)
        site, settings = inputs.site, inputs.settings
        found = bonded_networks(site, previous=earlier, settings=settings)
    else:
        if map_file is not None:
            message = "expected no --map with tiles: nobody could read a sheet of a city; draw the records of a part"
            raise InputError(message)
        tiles, settings = over
        site = tiles.whole()
        with hands_of(hands, how=progress, quiet=quiet) as (here, told):
            found = city_bonded_networks(tiles, previous=earlier, settings=settings, hands=here, told=told)
    shown = None if verbose else _SHOWN
    say([CAUTION, *_coverage(found.line_groups), *_listed(found, shown)], quiet=quiet)
    say(_split_lines(found, None if verbose else _FEW), quiet=quiet)
    if previous is not None:
        say(_change_lines(found, shown), quiet=quiet)
    missing = missing_lines(site)
    say(["", *missing] if missing else [], quiet=quiet)
    if output is None and map_file is None:
        return
    asked = {} if previous is None else {"previous": {"path": previous, "sha256": file_hash(Path(previous))}}
    receipt = make_receipt(site, command="bonds", settings=settings, options=asked)
    if output is not None:
        tables = {name: getattr(found, name) for name in _TABLES if name != "group_changes" or previous is not None}
        write_results(output, tables, metadata=receipt_metadata(receipt))
        say(["", f"Written: {output}"], quiet=quiet)
    if map_file is not None:
        write_groups_map(found, site, map_file, metadata=receipt_metadata(receipt))
        say(["", f"Drawn: {map_file}"], quiet=quiet)


def _line_groups(path: Path) -> pd.DataFrame:
    """Return the table ``line_groups`` of an earlier result, a file of layers or one collection that names them."""
    layers = read_layers(path)
    for frame in layers.values():
        if "layer" in frame and frame["layer"].eq("line_groups").any():
            return frame[frame["layer"].eq("line_groups")]
    if "line_groups" not in layers:
        message = (
            f"expected an earlier result of corridor bonds, with the layer line_groups, as --previous; {path} has "
            f"{', '.join(sorted(layers))}; give a file that corridor bonds -o wrote"
        )
        raise InputError(message)
    return layers["line_groups"]


def _coverage(line_groups: pd.DataFrame) -> Iterator[str]:
    """Say how much of the length stands in a group, by level; the rest is not known."""
    counted = line_groups[line_groups["group_possible"].notna()]
    whole_m = counted["length_m"].sum()
    yield f"{len(counted)} lines that carry tone, {whole_m:.0f} m. Not known: no record of a bond, not no bond."
    for level in LEVELS:
        out = counted[counted[f"group_{level}"] == NOT_KNOWN]
        share = 1.0 - out["length_m"].sum() / whole_m if whole_m else 0.0
        yield f"  {level}: {percent(share)} of the length in groups; {NOT_KNOWN}: {len(out)} lines"


def _listed(found: BondedNetworks, shown: int | None) -> list[str]:
    lines = ["", "Groups of lines that share metal (no record is not no bond), longest first:"]
    groups = found.bonded_groups
    rank = groups["level"].map({level: k for k, level in enumerate(LEVELS)})
    groups = groups.assign(rank=rank).sort_values(["rank", "length_m", "group_id"], ascending=[True, False, True])
    picked = groups if shown is None else groups.groupby("level", sort=False).head(shown)
    told = table_lines(_GROUPS, picked[_GROUPS].itertuples(index=False))
    return [*lines, *(told or ["none"]), *more_line(len(groups), len(picked), "groups")]


def _split_lines(found: BondedNetworks, shown: int | None) -> list[str]:
    splits = found.group_splits
    groups, counted = found.bonded_groups, found.line_groups["group_possible"].notna()
    large = groups[groups["length_m"] > LARGE_SHARE * found.line_groups.loc[counted, "length_m"].sum()]
    whole = [
        f"{name}: no one bond or visit splits it" for name in large["group_id"] if name not in set(splits["group_id"])
    ]
    splits = splits if shown is None else splits[splits["rank"] <= shown]
    lines = []
    for what, head in (
        ("bond", "Groups over 20 % of the length: the bonds whose removal splits most off"),
        ("visit", "Where one visit settles most: length that hangs on bonds there which nobody has seen"),
    ):
        told = table_lines(_SPLITS, splits.loc[splits["what"] == what, _SPLITS].itertuples(index=False))
        lines += ["", f"{head}:", *told] if told else []
    return [*lines, *(["", *whole] if whole else [])]


def _change_lines(found: BondedNetworks, shown: int | None) -> list[str]:
    changes = found.group_changes
    picked = changes if shown is None else changes.head(shown)
    told = table_lines(_CHANGES, picked[_CHANGES].itertuples(index=False))
    more = more_line(len(changes), len(picked), "differences")
    return ["", "Differences from the earlier result:", *(told or ["none"]), *more]
