"""Everything that the page tells of a review, as plain data."""

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from corridor.dictionary import GRADES
from corridor.dictionary.results import SENSES
from corridor.frames import CAUTION
from corridor.plan.what_if import DOWN_TO_NOTHING, LEAST_MA, RANGE_PER_DECADE, STEPS_PER_DECADE, WhatIf, steps_of
from corridor.plan.what_if_profiles import NOT_GRADED, NOTHING
from corridor.report.look.colours import ColourTable
from corridor.report.look.symbols import GRADE_SYMBOLS
from corridor.report.page.palette import GRADE_COLOURS, SENSE_COLOURS, tone_colours
from corridor.report.page.rows import centimetres, rows_of, value_of
from corridor.report.receipt import equipment_note
from corridor.report.text import plain, source_names

__all__ = ["COLUMNS", "STILL_THERE", "page_facts", "path_facts"]

STILL_THERE = "a recorded line that tone can't show; it is still there"
COLUMNS = {
    "lines": (
        "line_id", "utility", "subtype", "asset", "owner", "material", "diameter_mm", "depth_m", "status",
        "nominal_voltage_v", "quality_level", "conductive", "assumed", "assumed_columns",
    ),
    "hookups": (
        "hookup_id", "mode", "line_id", "structure_id", "at_m", "ready", "missing", "reason", "caution", "permit_by",
        "stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m", "far_end", "owner_change",
    ),
    "setups": (
        "setup_id", "step", "kind", "crew", "hookup_id", "mode", "structure_id", "line_id", "frequency_hz", "level_ma",
        "ready", "missing", "covers", "length_m", "readable_m", "walk_m", "fallback_b", "go_to_fallback", "not_with",
        "note", "caution",
    ),
    "strategy": (
        "line_id", "from_m", "to_m", "hookup_id", "frequency_hz", "level_ma", "grade", "grade_worst", "settled",
        "mistaken_for", "setup_id", "reason", "caution",
    ),
    "verify_first": (
        "rank", "unknown", "kind", "line_ids", "probability", "gain_m", "stands_out", "where_to_look",
    ),
    "bonded_groups": (
        "group_id", "level", "line_ids", "line_count", "length_m", "evidence_weakest", "probability",
    ),
    "findings": ("severity", "code", "owner", "line_id", "message", "action", "accepted_by"),
    "parallel_runs": ("line_a", "line_b", "length_m", "separation_mean_m", "separation_min_m"),
    "bonds_found": ("bond_id", "line_a", "line_b", "kind", "state", "evidence", "probability"),
    "structures": ("structure_id", "kind", "access"),
    "isolations": (),
}  # fmt: skip
_POINTS = ("hookups", "bonds_found", "structures")
_METRES = 100.0  # centimetres in one
_ORIGIN_STEP_M = 100.0


def page_facts(review: Any, receipt: Mapping[str, Any], colours: ColourTable) -> dict[str, Any]:
    """Return the facts of a review that the page shows, but for the tone itself and the ways it took.

    Parameters
    ----------
    review : Review or Plan
    receipt : mapping
        Of the results.
    colours : ColourTable
        Convention for the utilities.
    """
    site = review.site
    origin = _origin(site.lines)
    frames = {name: getattr(review, name, None) for name in COLUMNS} | {
        "lines": site.lines,
        "structures": site.structures,
    }
    facts: dict[str, Any] = {
        "title": source_names(site),
        "caution": CAUTION,
        "still_there": STILL_THERE,
        "made_by": f"{receipt['program']} {receipt['version']}, {receipt['command']}",
        "crs": plain(receipt["crs"]),
        "generic": bool(review.equipment.generic),
        "equipment": plain(equipment_note(review.equipment)),
        "soil": plain(review.summary.get("soil", "")),
        "reach": plain(review.summary.get("reach", "")),
        "cases": [plain(case) for case in review.summary.get("cases", ())],
        "notes": [plain(note) for note in review.summary.get("notes", ())],
        "plan": _plan(review.summary.get("plan") or {}),
        "tolerance_m": review.settings.grades.offset_tolerance_m,
        "depth_tolerance_share": review.settings.grades.depth_tolerance_share,
        "partner_share": review.settings.grades.partner_share,
        "origin_m": list(origin),
        "columns": {name: list(columns) for name, columns in COLUMNS.items()},
        "vocabulary": {"grades": GRADES, "senses": SENSES},
        "colours": _colours(colours, set(site.lines["utility"])),
        "area": [
            centimetres(ring, origin)
            for shape in site.work_area.geometry
            for part in shapely.get_parts(shape)
            for ring in (part.exterior, *part.interiors)
        ],
    }
    facts |= {name: rows_of(frame, COLUMNS[name]) for name, frame in frames.items()}
    facts["line_xy"] = [centimetres(shape, origin) for shape in site.lines.geometry]
    for name in _POINTS:
        facts[f"{name}_xy"] = _points(frames[name], origin)
    whats = getattr(review, "what_if", ())
    facts["steps"] = {
        "least_ma": LEAST_MA, "per_decade": STEPS_PER_DECADE, "range_per_decade": RANGE_PER_DECADE,
        "down_to_nothing": DOWN_TO_NOTHING, "no_depth": NOTHING, "not_graded": NOT_GRADED,
    }  # fmt: skip
    facts["windows"] = [_window(window, origin) for window in whats]
    return facts


def path_facts(review: Any) -> dict[tuple[str, float], list[Any]]:
    """Return the ways tone took, by hook-up and frequency: [line, share, [hop, ...]], as the table lists them.

    A hop is [kind, from, to, through, current before it, current after it, evidence]; a path without hops sums up the
    small ways.

    Parameters
    ----------
    review : Review or Plan
    """
    columns = ("hookup_id", "frequency_hz", "path_id", "line_id", "share_of_line", "kind")
    hop = ("from_line", "to_line", "through", "current_in_ma", "current_out_ma", "evidence")
    found: dict[tuple[str, float], dict[str, list[Any]]] = {}
    for hookup, frequency, path, line, share, kind, *rest in rows_of(review.bleed_paths, columns + hop):
        paths = found.setdefault((hookup, frequency), {})
        way = paths.setdefault(path, [line, share, []])
        if kind is not None:
            way[2].append([kind, *rest])
    return {key: list(paths.values()) for key, paths in sorted(found.items())}


def _origin(lines: gpd.GeoDataFrame) -> tuple[float, float]:
    if lines.empty:
        return 0.0, 0.0
    west, south = np.floor(lines.total_bounds[:2] / _ORIGIN_STEP_M) * _ORIGIN_STEP_M
    return float(west), float(south)


def _points(frame: gpd.GeoDataFrame | None, origin: tuple[float, float]) -> list[list[int] | None]:
    """Return a point a row, None where it has no place."""
    if frame is None:
        return []
    return [
        None if shape is None or shape.is_empty else centimetres(shape.representative_point(), origin)
        for shape in frame.geometry
    ]


def _plan(plan: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value_of(value) for name, value in plan.items() if not isinstance(value, list | tuple | dict)}


def _colours(colours: ColourTable, used: set[Any]) -> dict[str, Any]:
    known = {str(utility): colours.of(utility) for utility in sorted(u for u in used if isinstance(u, str))}
    shown = set(known.values()) | {colours.of(None)}
    return {
        "title": colours.title,
        "utilities": known,
        "unknown": colours.of(None),
        "groups": [[colour, text] for colour, text in colours.groups.items() if colour in shown],
        "tone": tone_colours(),
        "grades": GRADE_COLOURS,
        "grade_texts": {name: symbol.text.replace("\n", " ") for name, symbol in GRADE_SYMBOLS.items()},
        "senses": SENSE_COLOURS,
    }


def _window(window: WhatIf, origin: tuple[float, float]) -> dict[str, Any]:
    """Return what the blocks of one window need to be read."""
    profiles, links = window.profiles, window.links
    ends = np.rint(_METRES * (window.ends_m - np.asarray(origin))).astype(int)
    return {
        "lines": list(window.line_ids),
        "line_of": window.line_of.tolist(),
        "xy": ends.reshape(-1).tolist(),
        "from": np.rint(_METRES * window.measure_m[:, 0]).astype(int).tolist(),
        "to": np.rint(_METRES * window.measure_m[:, 1]).astype(int).tolist(),
        "floor": steps_of(window.floor_ma).tolist(),
        "stations": {
            "line_of": profiles.line_of.tolist(),
            "at": np.rint(_METRES * profiles.measure_m).astype(int).tolist(),
        },
        "graded": [own.tolist() for own in profiles.graded],
        "links": [
            [plain(kind), plain(name), int(a), int(b)]
            for kind, name, a, b in zip(links.kind, links.name, links.from_line, links.to_line, strict=True)
        ],
        "hookups": [plain(name) for name in window.hookup_ids],
        "frequencies_hz": list(window.frequencies_hz),
        "set": [
            [[value_of(cell) for cell in cells] for cells in zip(*rows, strict=True)]
            for rows in zip(
                window.level_ma, window.output_ma, window.voltage_v, window.loop_ohm, window.limited_by, window.chosen,
                strict=True,
            )
        ],
        "barred": [[plain(name), frequency, plain(why)] for (name, frequency), why in sorted(window.barred.items())],
    }  # fmt: skip
