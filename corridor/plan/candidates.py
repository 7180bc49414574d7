"""Where hook-ups could be made: the three built-in modes, and what the extension point ``corridor.hookups`` adds."""

from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.couplings import conducts
from corridor.dictionary import MODES
from corridor.errors import CorridorError, PlugInError
from corridor.plan.places import induction_spots
from corridor.plugins import HookUpSource, load_plugins
from corridor.settings import Settings
from corridor.site.model import Site

__all__ = ["candidate_places", "clamp", "direct", "induction"]

_GROUP = "corridor.hookups"
_TOUCHING = ("direct", "clamp")


def direct(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:  # noqa: ARG001 - protocol
    """Propose a direct connection wherever a target meets a structure.

    Returns
    -------
    DataFrame
        line_id, structure_id, at and at_m (m), ordered by the first three.
    """
    return _meetings(site, targets)


def clamp(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:  # noqa: ARG001 - protocol
    """Propose a clamp wherever a target meets a structure; columns as of `direct`."""
    return _meetings(site, targets)


def induction(site: Site, *, targets: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    """Propose places along each target where its neighbours are farthest; they touch nothing and need no structure.

    Returns
    -------
    DataFrame
        line_id and at_m (m), in the order of the targets.
    """
    conductors = site.lines[conducts(site.lines)].sort_values("line_id", kind="stable")
    spots = induction_spots(targets, conductors, spacing_m=settings.hookups.induction_spacing_m)
    return pd.DataFrame(spots, columns=["line_id", "at_m"])


def candidate_places(site: Site, targets: gpd.GeoDataFrame, *, settings: Settings) -> list[dict[str, Any]]:
    """Collect the places of all modes, the built-in ones first, those of plug-ins after them by name.

    Parameters
    ----------
    site : Site
        The records.
    targets : GeoDataFrame
        Rows of its lines that are to be located.
    settings : Settings
        Distances of hook-ups.

    Returns
    -------
    list of dict
        mode, line_id, at_m, structure_id (or None), at (or None: any), missing.

    Raises
    ------
    PlugInError
        If a plug-in fails, or proposes what isn't in the records.
    """
    sources: dict[str, HookUpSource] = load_plugins(_GROUP, required=MODES)
    length = dict(zip(targets["line_id"].astype(str), targets.length, strict=True))
    structures = set(site.structures["structure_id"].astype(str))
    places = []
    for name, source in sources.items():
        mode = name.partition(".")[0]
        if mode not in MODES:
            message = f"plug-in {name!r} of {_GROUP}: expected a name that begins with {', '.join(MODES)} and a dot"
            raise PlugInError(message)
        for row in _rows(name, source, site, targets=targets, settings=settings):
            touching = mode in _TOUCHING
            _check(name, row, length=length, structures=structures if touching else None)
            places.append({"mode": mode, **row, "structure_id": row["structure_id"] if touching else None})
    return places


def _meetings(site: Site, targets: gpd.GeoDataFrame) -> pd.DataFrame:
    shape_of = dict(zip(targets["line_id"], targets.geometry, strict=True))
    point_of = dict(zip(site.structures["structure_id"], site.structures.geometry, strict=True))
    # the site room reports references that lead nowhere
    known = site.terminations["line_id"].isin(shape_of) & site.terminations["structure_id"].isin(point_of)
    columns = ["line_id", "structure_id", "at"]
    met = site.terminations.loc[known.to_numpy(), columns].drop_duplicates().sort_values(columns, kind="stable")
    at_m = []
    for line_id, structure_id, at in met.itertuples(index=False):
        shape = shape_of[line_id]
        ends = {"start": 0.0, "end": shape.length}
        at_m.append(ends[at] if at in ends else shape.project(point_of[structure_id]))
    return met.assign(at_m=np.array(at_m, dtype=float)).reset_index(drop=True)


def _rows(name: str, source: HookUpSource, site: Site, **given: Any) -> Iterator[dict[str, Any]]:
    """Rows of one source as plain values, what it leaves out as None."""
    try:
        frame = pd.DataFrame(source(site, **given))
    except (CorridorError, MemoryError):
        raise
    except Exception as error:  # a stranger's code may fail in any way
        message = f"plug-in {name!r} of {_GROUP} failed: {type(error).__name__}: {error}; mend or remove it"
        raise PlugInError(message) from error
    lost = [column for column in ("line_id", "at_m") if column not in frame]
    if lost:
        message = f"plug-in {name!r} of {_GROUP}: expected the columns line_id and at_m, {', '.join(lost)} not there"
        raise PlugInError(message)
    for row in frame.to_dict("records"):
        stated = {key: row.get(key) for key in ("line_id", "structure_id", "at", "at_m", "missing")}
        yield {str(key): None if pd.isna(value) else value for key, value in stated.items()}


def _check(name: str, row: Mapping[str, Any], *, length: Mapping[str, float], structures: set[str] | None) -> None:
    line, structure, at_m = row["line_id"], row["structure_id"], row["at_m"]
    if line not in length:
        wrong = f"expected the line_id of a target, got {line!r}"
    elif at_m is None or not -1e-6 <= at_m <= length[line] + 1e-6:
        wrong = f"expected at_m within the {length[line]:.2f} m of {line}, got {at_m}"
    elif structures is not None and structure not in structures:
        wrong = f"expected a structure_id of the site for {line}, got {structure!r}"
    else:
        return
    message = f"plug-in {name!r} of {_GROUP}: {wrong}"
    raise PlugInError(message)
