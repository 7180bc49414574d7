"""Lines whose solution no memory holds, most often by one bad coordinate: refused before anything is paid for them."""

import math
from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon

from corridor.couplings import conducts
from corridor.errors import DomainError
from corridor.settings import Equipment, Settings, SolverSettings
from corridor.tone.budget import limit_text, memory_limit_mb, memory_mb
from corridor.tone.hookup import HookUp

__all__ = ["named_lines", "refuse_too_long", "too_long"]

M_PER_KM = 1000.0


def too_long(lines: gpd.GeoDataFrame, solver: SolverSettings) -> NDArray[np.bool_]:
    """Tell which conducting lines make more sections, each alone, than memory holds; shape (lines,).

    A line that a hook-up stands on is solved whole. Those that may still be solved densely aren't among them: they are
    short enough to be tried.
    """
    limit = memory_limit_mb(solver)

    def beyond(length_m: float) -> bool:
        least = math.ceil(length_m / solver.section_max_m)
        return least > solver.section_limit and memory_mb(least, solver) > limit

    return conducts(lines) & np.array([beyond(length) for length in lines.length], dtype=bool)


def refuse_too_long(
    lines: gpd.GeoDataFrame,
    solved: Iterable[str],
    *,
    equipment: Equipment,
    settings: Settings,
    area: Polygon | MultiPolygon | None = None,
) -> None:
    """Refuse lines to be solved of which one alone makes more sections than memory holds.

    Its hook-ups needn't be found for that, which takes long where there are hundreds of thousands: the gate refuses no
    induction on a line that conducts, and each ``settings.hookups.induction_spacing_m`` of it has a place for a loop.
    Where the equipment has no loop, or less of a line than two such pieces lies in the area, nothing is refused here.

    Parameters
    ----------
    lines : GeoDataFrame
        Of the site.
    solved : iterable of str
        line_ids of those that will be solved with each hook-up that is ready.
    equipment, settings
        Whether there is a loop; solver and hook-ups.
    area : Polygon or MultiPolygon, optional
        Hook-ups are only used in here, or as near to it as the settings allow.

    Raises
    ------
    DomainError
        With the line's length and the estimate.
    """
    if not equipment.loop:
        return
    wanted, solver = set(solved), settings.solver
    near = None if area is None else area.buffer(settings.hookups.beyond_area_m)
    found = lines[too_long(lines, solver) & lines["line_id"].isin(wanted).to_numpy()].sort_values("line_id")
    for line_id, shape in zip(found["line_id"], found.geometry, strict=True):
        if near is None or _longest_part_m(shape, near) >= 2.0 * _piece_m(shape, settings):
            least = math.ceil(shape.length / solver.section_max_m)
            message = (
                f"line {str(line_id)[:80]}: expected a length whose solution fits in {limit_text(solver)}, "
                f"got {shape.length / M_PER_KM:.0f} km, {least} sections at least, which need about "
                f"{memory_mb(least, solver):.0f} MB; mend its coordinates, or leave it out of the targets"
            )
            raise DomainError(message)


def named_lines(lines: gpd.GeoDataFrame, hookup: str | HookUp) -> list[str]:
    """Return the line_ids that a hook-up may stand on: its own, or those whose names its id holds in that place."""
    if isinstance(hookup, HookUp):
        return [hookup.line_id]
    _, _, rest = hookup.partition(":")
    return [name for name in lines["line_id"].astype(str) if rest.startswith(f"{name}:")]


def _piece_m(line: LineString, settings: Settings) -> float:
    """Return the length of the pieces that have a place for a loop each, as they are cut."""
    return line.length / max(1, round(line.length / settings.hookups.induction_spacing_m))


def _longest_part_m(line: LineString, area: Polygon | MultiPolygon) -> float:
    parts = shapely.get_parts(shapely.line_merge(shapely.intersection(line, area)))
    return float(shapely.length(parts).max(initial=0.0))
