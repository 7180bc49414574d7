"""Near-duplicates as conductors: ties that make one of two, switched like any bond that nobody has seen."""

from typing import Any

import shapely

from corridor.couplings.places import conducts
from corridor.settings import SiteSettings
from corridor.site.model import Site
from corridor.site.twins import near_duplicates

__all__ = ["TWIN_RULE", "twin_ties"]

TWIN_RULE = "near_duplicate"
_TIE_OHM = 0.01  # one metal (engineering estimate)
_PROBABILITY = 0.3  # that both records are one line; nominally both are there (engineering estimate)


def twin_ties(site: Site, *, settings: SiteSettings) -> list[dict[str, Any]]:
    """Return two ties for each near-duplicate of conductors: where the pair begins and where it ends.

    Closed, the two carry one current between them, as the one line would that both may be; open, they are two lines.
    Nominally they are open. One line recorded twice then carries about half of its current on each record in the case
    of closed paths: the sum of both is what the one line has.

    Parameters
    ----------
    site : Site
        The records.
    settings : SiteSettings
        What counts as a near-duplicate.

    Returns
    -------
    list of dict
        Rows of ``bonds_found`` with the place as ``point``, ordered by pair and place.
    """
    twins = near_duplicates(site.lines, settings=settings)
    if not len(twins):
        return []
    metal = set(site.lines.loc[conducts(site.lines), "line_id"])
    courses = site.lines.set_index("line_id").geometry
    rows = []
    for twin in twins.itertuples(index=False):
        if twin.line_a not in metal or twin.line_b not in metal:
            continue
        places = ((twin.start_a_m, twin.start_b_m), (twin.end_a_m, twin.end_b_m))
        for number, (at_a_m, at_b_m) in enumerate(places, start=1):
            rows.append({
                "bond_id": f"{TWIN_RULE}~{twin.line_a}~{twin.line_b}~{number}",
                "line_a": twin.line_a, "line_b": twin.line_b, "structure_id": None, "kind": "same_line",
                "state": "unknown", "resistance_ohm": _TIE_OHM, "evidence": "suspected", "probability": _PROBABILITY,
                "measure_a_m": at_a_m, "measure_b_m": at_b_m, "rule": TWIN_RULE,
                "source": "two layers' records of what may be one line: probability an engineering estimate",
                "point": shapely.line_interpolate_point(courses[twin.line_a], at_a_m),
            })  # fmt: skip
    return rows
