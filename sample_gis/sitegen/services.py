"""Services: from a main square to the facade and into a building entry."""

from dataclasses import dataclass

from .draft import Draft, Line
from .streets import Street

# Along the facade, m: where each service leaves its main, and (times 0.15) where it enters.
SPACING_M = {"water": -1.8, "gas": -0.6, "electricity": 0.6, "telecommunications": 1.8}
# What can be reached at the entry: direct connection and clamp, as in Draft.attach.
ENTRY_ACCESS = {"water": "yu", "gas": "un", "electricity": "ny", "telecommunications": "uy"}


@dataclass(frozen=True)
class Entry:
    """A building entry on the side of negative offsets.

    Attributes
    ----------
    street : Street
    station_m : float
        Along the street, m.
    services : tuple of (str, str)
        What comes in: name of the main and catalogue kind of the service.
    facade_m : float
        Offset of the facade, m.
    """

    street: Street
    station_m: float
    services: tuple[tuple[str, str], ...]
    facade_m: float = -7.0


def put_entry(draft: Draft, entry: Entry) -> str:
    """Put down the building entry, just inside the facade, and return its structure_id."""
    position = entry.street.point(entry.station_m, entry.facade_m - 0.4)
    return draft.structure("building_entry", position, utility="unknown", access="indoor")


def run_service(
    draft: Draft,
    entry: Entry,
    where: str,
    service: tuple[Line, str],
    *,
    short_m: float = 0.0,
    isolated: str | None = None,
) -> Line:
    """Run one service into an entry.

    Parameters
    ----------
    draft : Draft
    entry : Entry
    where : str
        The entry's structure_id.
    service : (Line, str)
        The main and the catalogue kind of the service.
    short_m : float
        How far short of the main the record stops, m; above 0 the two are not joined.
    isolated : str, optional
        Whether an isolating joint stands at the entry.
    """
    street, (main, template) = entry.street, service
    shift = SPACING_M[main.utility]
    station = entry.station_m + shift
    tee = street.on(main.path, station)
    offset = street.outward * (tee[1 - street.axis] - street.centre_m) - short_m
    stop = offset + 0.5 * (entry.facade_m - offset)
    stops = [(station, offset), (station, entry.facade_m + 0.1), (station - 0.85 * shift, entry.facade_m - 0.4)]
    if main.utility == "water":
        stops.insert(1, (station, stop))
    line = draft.line(template, street.path(*stops))
    if short_m:
        draft.plant("junction_gap_reported", line_id=line.line_id, onto=main.line_id, gap_m=short_m)
    else:
        draft.join(main, line)
    if main.utility == "water":
        curb_stop = draft.structure("curb_stop", street.point(station, stop), utility="water", access="footway")
        draft.attach(curb_stop, line, "through", access="nn" if "plastic" in template else "yn")
    draft.attach(where, line, "end", access=ENTRY_ACCESS[main.utility], isolated=isolated)
    return line
