"""The receipt that every result carries: from what, with what and under which caution it was made."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from corridor import __version__
from corridor.frames import CAUTION
from corridor.settings import Equipment, Settings
from corridor.site.model import Site

__all__ = ["equipment_note", "make_receipt", "receipt_metadata"]


def make_receipt(
    site: Site,
    *,
    command: str,
    settings: Settings | None = None,
    equipment: Equipment | None = None,
    options: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the receipt of a result as plain data.

    It holds no time of its own, only the dates of the inputs: the same input gives the same receipt.

    Parameters
    ----------
    site : Site
        Its ``sources`` are listed with SHA-256 and date of last change, its field map with SHA-256 and content.
    command : str
        What made the result.
    settings, equipment : optional
        Written out in full, defaults included.
    options : mapping, optional
        What else was asked for, as plain data: targets, hook-up, frequency.

    Returns
    -------
    dict
        program, version, command, options, caution, inputs, fieldmap, crs, accounting, settings, equipment and seed.
    """
    used = settings if settings is not None else Settings()
    return {
        "program": "corridor",
        "version": __version__,
        "command": command,
        "options": dict(options or {}),
        "caution": CAUTION,
        "inputs": [
            {"path": s.path, "sha256": s.sha256, "modified": s.modified, "layers": list(s.layers)} for s in site.sources
        ],
        "fieldmap": asdict(site.fieldmap) if site.fieldmap else None,
        "crs": site.crs.to_string(),
        "accounting": json.loads(site.accounting.to_json(orient="records")),
        "settings": used.model_dump(mode="json"),
        "equipment": equipment.model_dump(mode="json") if equipment else None,
        "equipment_note": equipment_note(equipment),
        "seed": used.seed,
    }


def receipt_metadata(receipt: dict[str, Any]) -> dict[str, str]:
    """Return a receipt as text entries for a file's metadata: caution, receipt (JSON) and the newest input's date."""
    dates = [str(source["modified"]) for source in receipt["inputs"] if source["modified"]]
    metadata = {"caution": receipt["caution"], "receipt": json.dumps(receipt, sort_keys=True, ensure_ascii=False)}
    return metadata | ({"date": _utc_stamp(max(dates))} if dates else {})


def equipment_note(equipment: Equipment | None) -> str:
    """Say in words whose equipment a result rests on; empty without any."""
    if equipment is None:
        return ""
    return f"generic equipment ({equipment.name})" if equipment.generic else equipment.name


def _utc_stamp(date: str) -> str:
    """Turn an ISO 8601 date or time into the form GeoPackage wants; a time without zone is taken as UTC."""
    moment = datetime.fromisoformat(date)
    if moment.tzinfo is not None:
        moment = moment.astimezone(UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.000Z"
