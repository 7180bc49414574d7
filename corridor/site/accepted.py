"""Findings that somebody has accepted: they stay listed, with who, when and why, and no longer count as open."""

from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.errors import InputError
from corridor.site.csv_rows import csv_rows
from corridor.site.findings import CODES
from corridor.site.model import Site
from corridor.site.quoting import quoted

__all__ = ["ACCEPTED_COLUMNS", "Acceptance", "accept_findings", "is_open", "load_accepted"]

ACCEPTED_COLUMNS = ("code", "layer", "id", "who", "when", "why")
_OPTIONAL = ("id",)


@dataclass(frozen=True)
class Acceptance:
    """One row of the file: which finding (layer may leave out the file), and who accepted it, when and why."""

    row: int
    code: str
    layer: str
    id: str
    who: str
    when: str
    why: str


def load_accepted(path: str | Path) -> tuple[Acceptance, ...]:
    """Read a file of accepted findings (CSV in UTF-8, columns code, layer, id, who, when, why).

    The id is the record's own or ours; empty for a finding on a layer or, with ``site`` for layer, on the whole.

    Raises
    ------
    InputError
        If it can't be read, a column is missing, a row leaves out anything but the id, or a code doesn't exist.
    """
    file = Path(path)
    rows = csv_rows(file, ACCEPTED_COLUMNS, what="accepted findings")
    return tuple(_acceptance(number, row, file) for number, row in enumerate(rows, start=2))


def _acceptance(number: int, row: dict[str, str | None], file: Path) -> Acceptance:
    values = {name: (row[name] or "").strip() for name in ACCEPTED_COLUMNS}
    if lost := [name for name, value in values.items() if not value and name not in _OPTIONAL]:
        message = f"{file}, row {number}: expected who accepted which finding, when and why, {lost[0]!r} is empty"
        raise InputError(message)
    if values["code"] not in CODES:
        got = quoted(values["code"])
        message = f"{file}, row {number}: expected the code of a finding, got {got}; check lists the codes"
        raise InputError(message)
    return Acceptance(number, **values)


def accept_findings(site: Site, path: str | Path) -> tuple[Site, list[str]]:
    """Mark the findings that a file accepts.

    Parameters
    ----------
    site : Site
        The records; not changed.
    path : str or Path
        As ``load_accepted`` reads it.

    Returns
    -------
    tuple of Site and list of str
        The site, its findings with accepted_by, accepted_date and accepted_why; and a sentence for each row of the file
        that no finding answers to.

    Raises
    ------
    InputError
        If the file can't be used.
    """
    findings, notes = site.findings.copy(), []
    layer = findings["feature_source"].astype(object)
    short = layer.str.rpartition(":")[2]
    ids = findings[["source_id", "line_id"]].astype(object).where(findings[["source_id", "line_id"]].notna(), "")
    for row in load_accepted(path):
        hit = findings["code"].eq(row.code) & (layer.eq(row.layer) | short.eq(row.layer))
        hit &= ids.eq(row.id).any(axis=1) if row.id else findings["feature_row"].isna()
        if not hit.any():
            notes.append(
                f"accepted, row {row.row}: no finding {row.code} on {quoted(row.id or 'the whole')} "
                f"in {quoted(row.layer)}"
            )
        findings.loc[hit.to_numpy(dtype=bool), ["accepted_by", "accepted_date", "accepted_why"]] = (
            row.who,
            row.when,
            row.why,
        )
    return replace(site, findings=findings), notes


def is_open(findings: gpd.GeoDataFrame | pd.DataFrame) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
    """Return which findings nobody has accepted; shape (findings,)."""
    return np.asarray(findings["accepted_by"].isna(), dtype=bool)
