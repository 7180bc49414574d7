"""Services of the downtown block: from the mains into the buildings."""

from dataclasses import dataclass

from .block import ALLEY, EAST, NORTH, SOUTH, WEST, Block
from .draft import Line
from .streets import Street

# Along the facade, m: where each service leaves its main, and (times 0.15) where it enters.
SPACING_M = {"water": -1.8, "gas": -0.6, "electricity": 0.6, "telecommunications": 1.8}


@dataclass(frozen=True)
class Entry:
    """A building entry: where it is and what comes in, service template by name of its main; facade offset in m."""

    street: Street
    station_m: float
    services: tuple[tuple[str, str], ...]
    facade_m: float = -7.0


_NORTH_MAINS = ("water_n", "gas_n2", "secondary_n", "copper_n")
_ALL_METAL = ("water_service", "gas_service", "power_service", "copper_drop")
_PLASTIC_GAS = ("water_service", "gas_service_plastic", "power_service", "copper_drop")

ENTRIES = (
    Entry(NORTH, -24.0, tuple(zip(_NORTH_MAINS, _ALL_METAL, strict=True))),
    Entry(NORTH, -12.0, tuple(zip(_NORTH_MAINS, _PLASTIC_GAS, strict=True))),
    Entry(NORTH, 4.0, tuple(zip(_NORTH_MAINS, _ALL_METAL, strict=True))),
    Entry(
        NORTH, 16.5, (("water_n", "water_service_plastic"), ("gas_n2", "gas_service"), ("secondary_n", "power_service"))
    ),
    Entry(
        SOUTH,
        -22.0,
        (
            ("water_s", "water_service"),
            ("gas_s2", "gas_service"),
            ("secondary_s", "power_service"),
            ("copper_s", "copper_drop"),
        ),
    ),
    Entry(SOUTH, -8.0, (("water_s", "water_service"), ("secondary_s", "power_service"), ("copper_s", "copper_drop"))),
    Entry(
        SOUTH, 8.0, (("water_s", "water_service_plastic"), ("gas_s2", "gas_service"), ("secondary_s", "power_service"))
    ),
    Entry(
        SOUTH, 25.0, (("gas_s2", "gas_service_plastic"), ("secondary_s", "power_service"), ("copper_s", "copper_drop"))
    ),
    Entry(
        WEST, -14.0, (("water_w2", "water_service_plastic"), ("gas_w", "gas_service"), ("secondary_w", "power_service"))
    ),
    Entry(WEST, 14.0, (("water_w", "water_service_plastic"), ("gas_w", "gas_service"), ("copper_w", "copper_drop"))),
    Entry(EAST, -13.0, (("water_e", "water_service"), ("gas_e", "gas_service_tracer"))),
    Entry(EAST, 10.0, (("water_e", "water_service"), ("gas_e", "gas_service_tracer"), ("copper_e", "copper_drop"))),
    Entry(ALLEY, -12.0, (("secondary_a", "power_service"), ("copper_a", "copper_drop")), -2.5),
)
# Gas risers without an isolating joint: these entries bond gas to the electric ground (the rule gives it 0.6).
OPEN_RISERS = (2, 6)
# At this entry the copper drop stops short of its main in the records.
SHORT_DROP, SHORT_BY_M = 1, 0.6


def add_services(block: Block) -> None:
    """Run every service into its building entry."""
    for number, entry in enumerate(ENTRIES):
        station = entry.station_m + round(float(block.draft.rng.uniform(-0.8, 0.8)), 2)
        position = entry.street.point(station, entry.facade_m - 0.4)
        where = block.draft.structure("building_entry", position, utility="unknown", access="indoor")
        for name, template in entry.services:
            add_service(block, (number, where), entry, station, (block.lines[name], template))


def add_service(
    block: Block, entry_id: tuple[int, str], entry: Entry, station_m: float, service: tuple[Line, str]
) -> None:
    """Run one service from its main square to the facade, and end it at the entry."""
    draft, street = block.draft, entry.street
    (number, where), (main, template) = entry_id, service
    shift = SPACING_M[main.utility]
    tee = street.on(main.path, station_m + shift)
    short = number == SHORT_DROP and template == "copper_drop"
    offset = street.outward * (tee[1 - street.axis] - street.centre_m) - (SHORT_BY_M if short else 0.0)
    stop = offset + 0.5 * (entry.facade_m - offset)
    stops = [
        (station_m + shift, offset),
        (station_m + shift, entry.facade_m + 0.1),
        (station_m + 0.15 * shift, entry.facade_m - 0.4),
    ]
    if main.utility == "water":
        stops.insert(1, (station_m + shift, stop))
    line = draft.line(template, street.path(*stops))
    if short:
        draft.plant("junction_gap_reported", line_id=line.line_id, onto=main.line_id, gap_m=SHORT_BY_M)
    else:
        draft.join(main, line)
    if main.utility == "water":
        curb_stop = draft.structure(
            "curb_stop", street.point(station_m + shift, stop), utility="water", access="footway"
        )
        draft.attach(curb_stop, line, "through", access="yn" if "plastic" not in template else "nn")
    isolated = None
    if main.utility == "gas":
        isolated = "no" if number in OPEN_RISERS else "yes"
    access = {"water": "yu", "gas": "un", "electricity": "ny", "telecommunications": "uy"}[main.utility]
    draft.attach(where, line, "end", access=access, isolated=isolated)
    if main.utility == "electricity" and number % 2 == 0:
        draft.ground(line, line.end, 22.0 if number % 4 == 0 else None, "recorded")
