"""Services of the downtown block: from the mains into the buildings."""

from dataclasses import replace

from .block import ALLEY, EAST, NORTH, SOUTH, WEST, Block
from .services import Entry, put_entry, run_service

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
    draft = block.draft
    for number, planned in enumerate(ENTRIES):
        entry = replace(planned, station_m=planned.station_m + round(float(draft.rng.uniform(-0.8, 0.8)), 2))
        where = put_entry(draft, entry)
        for name, template in entry.services:
            main = block.lines[name]
            isolated = ("no" if number in OPEN_RISERS else "yes") if main.utility == "gas" else None
            short_m = SHORT_BY_M if number == SHORT_DROP and template == "copper_drop" else 0.0
            line = run_service(draft, entry, where, (main, template), short_m=short_m, isolated=isolated)
            if main.utility == "electricity" and number % 2 == 0:
                draft.ground(line, line.end, 22.0 if number % 4 == 0 else None, "recorded")
