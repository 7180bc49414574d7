"""``corridor check``: read records, account for every feature, list the findings."""

import sys
from pathlib import Path
from typing import Any

import click

from corridor.commands.inputs import load_inputs
from corridor.commands.main import EXIT_STRICT
from corridor.commands.options import (
    accepted_option,
    input_options,
    output_option,
    quiet_options,
    settings_option,
    strict_option,
)
from corridor.commands.talk import say, table_lines
from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.report.defects import defects_table
from corridor.report.place import check_file_place, whole_file
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.report.results import write_check
from corridor.site import Site
from corridor.site.accepted import accept_findings, is_open
from corridor.site.completeness import layer_scores
from corridor.site.draft import draft_fieldmap as drafted

__all__ = ["check", "findings_by_code"]

_ORDER = {"severe": 0, "warning": 1, "note": 2}


@click.command("check")
@input_options
@settings_option
@output_option(
    "Write findings, defects and lines as read (.gpkg, .geojson, .parquet, .csv); defects_<owner>.csv beside it."
)
@accepted_option
@click.option(
    "--draft-fieldmap", metavar="FILE", help="Write a proposal of a field map to this new file, for you to correct."
)
@strict_option
@quiet_options
def check(
    paths: tuple[str, ...],
    *,
    output: str | None,
    draft_fieldmap: str | None,
    accepted: str | None,
    strict: bool,
    quiet: bool,
    verbose: bool,
    progress: str,
    **read: Any,
) -> None:
    """Read RECORDS and show that every feature ends as used, repaired or set aside, and what was found.

    RECORDS: one or several vector files with lines, structures, bonds and more.
    """
    del progress  # reading takes a moment only
    if draft_fieldmap is not None:
        if output is not None or read["fieldmap"] is not None or read["corrections"] is not None:
            message = "--draft-fieldmap only writes a draft: --output, --fieldmap and --corrections don't go with it"
            raise click.UsageError(message)
        say(_draft(paths, draft_fieldmap, crs=read["crs"]), quiet=quiet)
        return
    inputs = load_inputs(paths, output=output, **read)
    site, notes = (inputs.site, []) if accepted is None else accept_findings(inputs.site, accepted)
    say([*_accounting(site), *_scores(site)], quiet=quiet)
    say(
        ["", "Findings by code:", *table_lines(("severity", "code", "count", "first"), findings_by_code(site))],
        quiet=quiet,
    )
    say(["", *_defects(site), *notes], quiet=quiet)
    if verbose:
        columns = ["severity", "code", "feature_source", "feature_row", "line_id"]
        told = site.findings["message"] + " [" + site.findings["action"] + "]"
        rows = site.findings[columns].assign(told=told).itertuples(index=False)
        say(["", *table_lines([*columns, "message [action]"], rows)], quiet=quiet)
        shares = site.completeness.itertuples(index=False)
        say(["", "Completeness:", *table_lines(list(site.completeness.columns), shares)], quiet=quiet)
    if output is not None:
        receipt = make_receipt(site, command="check", settings=inputs.settings)
        tables = {"findings": site.findings, "defects": defects_table(site.findings), "lines": site.lines,
                  "completeness": site.completeness}  # fmt: skip
        written = write_check(output, tables, metadata=receipt_metadata(receipt))
        say(["", f"Written: {', '.join(map(str, written))}", *_earlier(written)], quiet=quiet)
    if strict and (site.findings["severity"].eq("severe") & is_open(site.findings)).any():
        sys.exit(EXIT_STRICT)


def _earlier(written: list[Path]) -> list[str]:
    """Name the owners' sheets beside the result that this run didn't write: their owners have no defects left."""
    others = sorted({*written[0].parent.glob("defects_*.csv")} - {*written})
    return [f"Not of this run, from an earlier one: {', '.join(path.name for path in others)}"] if others else []


def _draft(paths: tuple[str, ...], target: str, *, crs: str | None) -> list[str]:
    """Write the draft and return what to do with it; a file that is there may be somebody's work and stays."""
    place = check_file_place(target)
    if place.exists():
        message = f"expected a new file for the draft, {target} is there already; name another, or remove it"
        raise OutputError(message)
    made = drafted(list(paths), crs=crs)
    with whole_file(place) as file:
        file.write_text(made.text, encoding="utf-8", newline="\n")
    rows = table_lines(list(made.layers.columns), made.layers.itertuples(index=False))
    then = f"Read it, correct it, then give --fieldmap {target} in place of --draft-fieldmap."
    return [CAUTION, *rows, "", f"Written: {target}. Nothing in it has been applied.", then]


def _scores(site: Site) -> list[str]:
    """Return how much of what matters each layer of lines states."""
    return [f"{layer}: {share:.0%} of what a prediction needs is stated (--verbose: by column)"
            for layer, share in layer_scores(site.completeness)]  # fmt: skip


def _defects(site: Site) -> list[str]:
    """Return how many defects are open, and how many accepted."""
    state = defects_table(site.findings)["state"]
    return [f"Defects for the owners: {state.eq('open').sum()} open, {state.eq('accepted').sum()} accepted"]


def findings_by_code(site: Site) -> list[tuple[str, str, int, str]]:
    """Return severity, code, count and first message of each kind of finding, worst first."""
    groups = site.findings.groupby(["severity", "code"], sort=True)
    rows = [(str(s), str(c), len(part), str(part["message"].iloc[0])) for (s, c), part in groups]
    return sorted(rows, key=lambda row: (_ORDER.get(row[0], len(_ORDER)), row[1]))


def _accounting(site: Site) -> list[str]:
    columns = ["layer", "features_in", "used", "repaired", "set_aside"]
    table = site.accounting[columns]
    total = table[columns[1:]].sum()
    lines = table_lines(columns, [*table.itertuples(index=False), ("all", *(int(value) for value in total))])
    balance = f"{total['features_in']} in = {total['used']} used + {total['set_aside']} set aside"
    return [CAUTION, f"CRS: {site.crs.to_string()} ({site.crs.name}), metres", *lines, balance]
