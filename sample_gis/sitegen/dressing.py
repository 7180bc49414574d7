"""How a draft comes to look like owners' records: gaps in the attributes, mixed spellings, planted defects.

Nothing here changes what is true of the site: where a material is left out, ``conductive`` is stated instead.
"""

from typing import Any

import numpy as np
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from .catalogue import ENERGIZABLE, METALS, conducts
from .draft import Draft, Line

Row = dict[str, Any]
UNSTATED_SHARE = {"depth_m": 0.25, "diameter_mm": 0.22, "material": 0.14}
# Spellings of the trade that a reader is expected to know (common practice).
SPELLINGS = {"ductile_iron": "DI", "cast_iron": "CI", "steel": "STL", "polyethylene": "HDPE"}


def length_inside(line: Line, area: BaseGeometry) -> float:
    """Return the length of a line inside an area, m."""
    return float(LineString(line.path).intersection(area).length)


def dress(draft: Draft, area: BaseGeometry) -> None:
    """Give every line its record-keeping attributes, then leave some out within the area."""
    rng = draft.rng
    for line in draft.lines.values():
        row = line.attributes
        year = int(rng.integers(1931, 2019))
        row.setdefault("install_year", float(year))
        row.setdefault("quality_level", str(rng.choice(["d", "d", "c", "c", "b"])))
        row.setdefault("horizontal_accuracy_m", {"d": None, "c": 1.0, "b": 0.3}[row["quality_level"]])
        row.setdefault("depth_method", "as built drawing" if row["quality_level"] != "d" else None)
        row.setdefault("source", f"sheet {int(rng.integers(10, 99))}")
        row.setdefault("source_date", f"{int(rng.integers(2004, 2024))}-{int(rng.integers(1, 13)):02d}-15")
        if line.utility in ENERGIZABLE:
            row.setdefault("energized", [None, "yes", "unknown", "yes"][int(rng.integers(0, 4))])
    reserved = planted_ids(draft)
    for column, share in UNSTATED_SHARE.items():
        leave_out(draft, area, column, share_of_length=share, reserved=reserved)


def planted_ids(draft: Draft) -> set[str]:
    """Return the ids of lines that checks rely on: what was planted, and whatever is bonded by a record."""
    facts = [fact for rows in draft.planted.values() for fact in rows]
    return {str(value) for fact in [*facts, *draft.bonds] for value in fact.values() if str(value) in draft.lines}


def leave_out(draft: Draft, area: BaseGeometry, column: str, *, share_of_length: float, reserved: set[str]) -> None:
    """Blank a column on lines chosen by lot until a share of the length inside the area has no value."""
    inside = {line.line_id: length_inside(line, area) for line in draft.lines.values()}
    wanted = share_of_length * sum(inside.values())
    entered = {
        row["line_id"] for row in draft.terminations if draft.structures[row["structure_id"]].kind == "building_entry"
    }
    gone = sum(inside[key] for key, line in draft.lines.items() if line.attributes.get(column) is None)
    for line_id in draft.rng.permutation(sorted(inside)):
        row = draft.lines[line_id].attributes
        # The metal of a service decides whether code practice bonds it: it stays.
        if (
            gone >= wanted
            or line_id in reserved
            or row.get(column) is None
            or (column == "material" and line_id in entered)
        ):
            continue
        if column == "material" and row["asset"] != "cable":
            row["conductive"] = "yes" if conducts(row) else "no"
        if column == "material" and row["material"] not in METALS and row["conductive"] == "yes":
            continue
        row[column] = None
        gone += inside[line_id]


def spoil_lines(rows: list[Row], draft: Draft) -> list[Row]:
    """Return the rows of ``lines`` with mixed spellings and the planted defects, each noted on the draft.

    Parameters
    ----------
    rows : list of dict
        Clean rows with a local ``path`` (n, 2) in m or, for several parts, a list of such.
    draft : Draft
        Takes the notes.
    """
    rng = draft.rng
    for row in rows:
        if row["quality_level"] is not None and rng.random() < 0.1:
            row["quality_level"] = row["quality_level"].upper()
        if row["status"] == "in_service" and rng.random() < 0.08:
            row["status"] = "In Service"
        if row["diameter_mm"] is not None and rng.random() < 0.3:
            row["size_text"] = f'{row["diameter_mm"] / 25.4:.0f}"'
        if row["material"] in SPELLINGS and rng.random() < 0.2:
            row["material"] = SPELLINGS[row["material"]]
    by_id = {row["line_id"]: row for row in rows}
    _spoil_values(by_id, draft)
    sewer = next(row for row in rows if row["utility"] == "sewer" and len(row["path"]) > 3)
    half = len(sewer["path"]) // 2
    sewer["path"] = [sewer["path"][: half + 1], sewer["path"][half:]]
    draft.plant("multipart_line", line_id=sewer["line_id"], parts=2)
    twin = next(
        row
        for row in rows
        if row["subtype"] == "service" and row["utility"] == "gas" and row["material"] in ("steel", "STL")
    )
    draft.plant("duplicate_line", line_id=twin["line_id"], copies=2)
    spot = np.array([[-5.0, 10.0], [-5.0, 10.0]])
    point = {
        **dict.fromkeys(twin),
        "line_id": "W-900",
        "utility": "water",
        "asset": "pipe",
        "status": "in_service",
        "path": spot,
    }
    draft.plant("zero_length_line", line_id="W-900")
    return [*rows, dict(twin), point]


def _spoil_values(by_id: dict[str, Row], draft: Draft) -> None:
    """Write unknown words and impossible depths into rows whose tone does not depend on them."""
    quiet = [row for row in by_id.values() if row["conductive"] == "no" or row["material"] in ("vitrified_clay", "pvc")]
    fibre = next(row for row in by_id.values() if row["subtype"] == "fibre duct" and row["tracer_wire"] == "no")
    drop = next(row for row in by_id.values() if row["subtype"] == "copper drop")
    storm = next(row for row in quiet if row["utility"] == "storm_drain")
    signal = next(row for row in by_id.values() if row["utility"] == "traffic_signal")
    for row, column, value in ((fibre, "utility", "datacom"), (drop, "status", "LIVE?"), (signal, "energized", "hot")):
        row[column] = value
        draft.plant("unknown_word", layer="lines", id=row["line_id"], column=column, value=value)
    storm["depth_m"] = -9999.0
    drop["depth_m"] = 420.0
    draft.plant("depth_sentinel", line_id=storm["line_id"], value=-9999.0)
    draft.plant("depth_out_of_range", line_id=drop["line_id"], value=420.0, meant_m=0.42)


def spoil_structures(rows: list[Row], draft: Draft) -> None:
    """Write mixed spellings and unknown words into structures that decide nothing."""
    luminaires = [row for row in rows if row["kind"] == "luminaire"]
    curb_stops = [row for row in rows if row["kind"] == "curb_stop"]
    for row in luminaires[::3]:
        row["kind"] = "Lamp Post"
    for row in curb_stops[::4]:
        row["access"] = "Sidewalk"
    for row, column, value in ((luminaires[1], "kind", "lantern stub"), (curb_stops[1], "access", "by the gate")):
        row[column] = value
        draft.plant("unknown_word", layer="structures", id=row["structure_id"], column=column, value=value)


def spoil_terminations(rows: list[Row], draft: Draft) -> list[Row]:
    """Return the terminations with some uninformative rows missing and one that names a line nobody has."""
    kept = [
        row
        for row in rows
        if row["isolated"] is not None or "yes" in (row["direct"], row["clamp"]) or draft.rng.random() < 0.85
    ]
    stray = {
        "structure_id": rows[0]["structure_id"],
        "line_id": "W-999",
        "at": "end",
        "direct": "yes",
        "clamp": "no",
        "isolated": None,
    }
    draft.plant("termination_of_unknown_line", structure_id=stray["structure_id"], line_id="W-999")
    return [*kept, stray]
