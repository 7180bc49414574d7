"""Writing results: layers by suffix, and the folder of a review; whole, or not at all."""

import json
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import geopandas as gpd

from corridor.dictionary import RESULT_TABLES
from corridor.errors import OutputError
from corridor.plugins import load_plugin, plugin_points
from corridor.readings.table import write_template
from corridor.report.defects import defect_files, defects_table
from corridor.report.maps.excavation_map import write_excavation_map
from corridor.report.maps.map import MapContent, write_map
from corridor.report.page import PAGE_FILE, write_page
from corridor.report.place import (
    RECEIPT_FILE,
    check_file_place,
    check_folder_place,
    whole_file,
    whole_files,
    whole_folder,
    write_text,
)
from corridor.report.receipt import equipment_note, make_receipt, receipt_metadata
from corridor.report.sheet import write_crew_sheet
from corridor.report.summary import summary_json, summary_lines
from corridor.report.text import source_names

__all__ = [
    "REVIEW_FILES",
    "check_output",
    "review_tables",
    "write_check",
    "write_results",
    "write_review",
    "write_trace",
]

READINGS_FILE = "readings.csv"
DIG_FILE = "excavation.png"
SHEET_FILE = "crew_sheet.pdf"
REVIEW_FILES = ("results.gpkg", PAGE_FILE, "map.png", "summary.txt", "summary.json", RECEIPT_FILE)


def write_results(path: str | Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write result layers; the suffix chooses the writer (built in: ``gpkg``, ``geojson``, ``parquet``, ``csv``).

    Formats of one table a file make a folder of that name, with the receipt in it.

    Parameters
    ----------
    path : str or Path
        File or folder; an earlier one is replaced only by a complete one.
    tables : mapping of str to GeoDataFrame
        Layers by name.
    metadata : mapping of str to str
        Caution and receipt, as `receipt_metadata` gives them.

    Raises
    ------
    OutputError
        If no writer knows the suffix, or the file can't be written.
    """
    writer = _writer(path)
    if not _makes_folder(writer):
        with whole_file(path) as made:
            writer(made, tables, metadata=metadata)
        return
    with whole_folder(path) as made:
        writer(made, tables, metadata=metadata)
        files = sorted([RECEIPT_FILE, *(file.name for file in made.iterdir())])
        receipt = {**json.loads(metadata.get("receipt", "{}")), "files": files}
        write_text(made / RECEIPT_FILE, json.dumps(receipt, indent=2, sort_keys=True, ensure_ascii=False) + "\n")


def check_output(path: str | Path) -> None:
    """Refuse an output that couldn't be written, before any work is done for it.

    Raises
    ------
    OutputError
        If ``path`` can't be replaced, its own folder isn't there or is closed, no writer knows its suffix, or the
        writer needs what isn't installed.
    """
    _writer(path)


def _writer(path: str | Path) -> Any:
    target = Path(path)
    suffix = target.suffix.lower().removeprefix(".")
    points = plugin_points("corridor.writers")
    writer = load_plugin(points[suffix]) if suffix in points else None
    if writer is None:
        check_file_place(target)
        known = ", ".join(f".{name}" for name in points)
        message = f"expected an output ending in {known}, got {str(path)!r}"
        raise OutputError(message)
    for module in getattr(writer, "needs", ()):
        if find_spec(module) is None:
            message = f"expected {module} to write {target}, it isn't installed; pip install 'corridor[{suffix}]'"
            raise OutputError(message)
    (check_folder_place if _makes_folder(writer) else check_file_place)(target)
    return writer


def _makes_folder(writer: Any) -> bool:
    return bool(getattr(writer, "makes_folder", False))


def review_tables(review: Any) -> dict[str, gpd.GeoDataFrame]:
    """Return the result layers that a review holds, in the order in which people should meet them."""
    held = {name: getattr(review, name) for name in RESULT_TABLES if hasattr(review, name)}
    tables = held | {"defects": defects_table(review.findings)}
    return {name: tables[name] for name in RESULT_TABLES if name in tables}


def write_review(
    review: Any,
    folder: str | Path,
    *,
    options: Mapping[str, Any] | None = None,
    command: str = "review",
    paper: str | None = None,
) -> list[str]:
    """Write a review into a folder: ``REVIEW_FILES``, and defects_<owner>.csv for each owner with defects.

    With a work area there is excavation.png too, with ``paper`` crew_sheet.pdf, and a plan has readings.csv.

    Parameters
    ----------
    review : Review
        What `corridor.review_site` returns.
    folder : str or Path
        A new or empty folder, or that of an earlier review, which is replaced whole.
    options : mapping, optional
        What was asked for, as plain data; kept in the receipt.
    command : str
        Which command made it; kept in the receipt.
    paper : str, optional
        ``a4`` or ``letter``: paper of the crew sheet, which is left out without it.

    Returns
    -------
    list of str
        The summary's lines, as in summary.txt.

    Raises
    ------
    OutputError
        If the folder holds anything that no earlier review put there, or can't be written.
    """
    receipt = make_receipt(
        review.site, command=command, settings=review.settings, equipment=review.equipment, options=options
    )
    tables = review_tables(review)
    sheets = defect_files(tables["defects"])
    planned = hasattr(review, "verify_first")
    dug = bool(len(review.site.work_area))
    extra = [name for name, asked in ((DIG_FILE, dug), (SHEET_FILE, paper), (READINGS_FILE, planned)) if asked]
    receipt["files"] = [*REVIEW_FILES, *extra, *sheets]
    metadata = receipt_metadata(receipt)
    named = [*REVIEW_FILES, *extra, *([f"defects_<owner>.csv ({len(sheets)})"] if sheets else [])]
    lines = summary_lines(review, files=named, folder=str(folder))
    with whole_folder(folder) as made:
        if planned:
            write_template(made / READINGS_FILE, review.expected_readings.to_dict("records"))
        write_results(made / "results.gpkg", tables, metadata=metadata)
        for name, text in sheets.items():
            write_text(made / name, text)
        write_map(_review_map(review), made / "map.png", metadata=metadata)
        if dug:
            write_excavation_map(review, made / DIG_FILE, metadata=metadata)
        write_page(review, made / PAGE_FILE, receipt=receipt)
        if paper is not None:
            write_crew_sheet(review, made / SHEET_FILE, paper=paper, metadata=metadata)
        write_text(made / "summary.txt", "\n".join(lines) + "\n")
        write_text(made / "summary.json", summary_json(review, receipt))
        write_text(made / RECEIPT_FILE, json.dumps(receipt, indent=2, sort_keys=True, ensure_ascii=False) + "\n")
    return lines


def write_check(path: str | Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> list[Path]:
    """Write what a check found, and beside it a CSV file of each owner's defects; return the files, the tables' first.

    All are written before the first is put in place.

    Parameters
    ----------
    path : str or Path
        As in `write_results`.
    tables : mapping of str to GeoDataFrame
        Layers by name, ``defects`` among them.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If a file can't be written.
    """
    texts = defect_files(tables["defects"])
    folder = Path(path).parent
    with whole_files(folder, list(texts)) as made:
        for name, text in texts.items():
            write_text(made / name, text)
        write_results(path, tables, metadata=metadata)
    return [Path(path), *(folder / name for name in texts)]


def write_trace(trace: Any, path: str | Path, *, receipt: Mapping[str, Any]) -> None:
    """Write one hook-up's sections, stations and bleed paths to one file; passive tone has no bleed paths.

    Raises
    ------
    OutputError
        If no writer knows the suffix, or the file can't be written.
    """
    tables = {name: getattr(trace, name) for name in ("sections", "stations", "bleed_paths") if hasattr(trace, name)}
    write_results(path, tables, metadata=receipt_metadata(dict(receipt)))


def _review_map(review: Any) -> MapContent:
    site = review.site
    return MapContent(
        title=f"{source_names(site)}: how to put tone on each line, and what the receiver will make of it",
        lines=site.lines,
        stretches=review.strategy,
        hookups=review.hookups,
        bonds=review.bonds_found,
        work_area=site.work_area,
        structures=site.structures,
        setups=review.setups,
        cut_ends=tuple(site.findings.geometry[site.findings["code"].eq("end_cut")]),
        notes=(f"Equipment: {equipment_note(review.equipment)}", f"Soil: {review.summary['soil']}", "Grid north up"),
    )
