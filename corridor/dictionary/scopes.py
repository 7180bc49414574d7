"""The scope of a large excavation: cells, phases, effort, closures and test holes."""

from corridor.dictionary.schema import Column, Table
from corridor.dictionary.shared import GRADES, integer, metres, real, share, text

__all__ = ["CELL_STATES", "CONGESTION", "EFFORT", "HOLE_REASONS", "SCOPE_TABLES", "TIERS"]

CELL_STATES = ("computed", "geometry_only", "no_records")
CONGESTION = (
    "no recorded lines", "few recorded lines", "several recorded lines", "many recorded lines",
    "very many recorded lines",
)  # fmt: skip
TIERS = ("low", "likely", "high")
EFFORT = (
    "setups", "crew_hours", "working_days", "closures", "closure_hours", "test_holes", "test_hole_hours",
)  # fmt: skip
HOLE_REASONS = (
    "not shown by tone", "carries no tone", "mark pulled", "depth not sure", "grade not sure",
    "crossing clearance not known",
)  # fmt: skip

_PHASE = text("phase", "Phase of the work area; all: the whole of it.", required=True)
_COUNTS = (
    integer("lines", "Recorded lines in it; removed and proposed ones aren't counted.", minimum=0),
    integer("utilities", "Different utilities among them.", minimum=0),
    metres("length_m", "Their length in it.", decimals=6),
    metres("parallel_m", "Length of parallel runs in it, pair by pair.", decimals=6),
    integer("crossings", "Crossings in plan in it.", minimum=0),
)
_GRADED = metres("graded_m", "Length graded by the recommended hook-ups; 0 where nothing was computed.", decimals=2)
_SHARES = (
    *(
        share(f"{grade}_share", f"Share of that length graded {grade} in the nominal case; NULL: not computed.")
        for grade in GRADES
    ),
    share(
        "not_shown_worst_share",
        "Share of it graded masked, faint or untraceable in the worst of the cases; NULL: not computed.",
    ),
)


def _triple(name: str, meaning: str, *, unit: str = "") -> tuple[Column, ...]:
    """Return the columns of an estimate."""
    return tuple(real(f"{name}_{tier}", f"{meaning}, {tier}.", unit=unit, decimals=1, minimum=0) for tier in TIERS)


CELLS = Table(
    name="cells", row="one cell of the work area", geometry="Polygon",
    columns=(
        text("cell_id", "Stable name: column and row of the grid from the CRS's origin.", required=True),
        text("phase", "Phases that it touches, separated by spaces; NULL where they have no names."),
        text("state", "computed: graded by the engine. geometry_only: counted, not graded. no_records: no recorded line, which isn't free ground.", required=True, vocabulary=CELL_STATES),
        text("congestion", "How many recorded lines, in words; the steps stand in the settings.", vocabulary=CONGESTION),
        real("area_m2", "Area of the work area in it.", unit="m2", decimals=2, minimum=0),
        *_COUNTS,
        real("length_per_100m2_m", "Length of lines for each 100 m2 of it.", unit="m", decimals=1, minimum=0),
        _GRADED,
        *_SHARES,
        integer("test_holes", "Test holes in it that the likely estimate counts.", minimum=0),
    ),
)  # fmt: skip

PHASES = Table(
    name="scope_phases", row="one phase of the work area, or all of it", geometry="any",
    columns=(
        _PHASE,
        metres("dig_depth_m", "Planned depth; NULL: not stated, or it differs.", decimals=2),
        real("area_m2", "Its area.", unit="m2", decimals=1, minimum=0),
        *_COUNTS,
        integer("lines_in_dig", "Lines whose top may lie above dig depth plus tolerance; all where the depth isn't stated.", minimum=0),
        metres("in_dig_m", "Length that lies above dig depth plus tolerance by a depth on record.", decimals=2),
        metres("depth_unsure_m", "Length whose depth on record doesn't say, or whose dig depth isn't stated.", decimals=2),
        metres("below_dig_m", "Length that lies below it by a depth on record.", decimals=2),
        _GRADED,
        *_SHARES,
        *_triple("setups", "Set-ups"),
        *_triple("crew_hours", "Hours of a locating crew", unit="h"),
        *_triple("closures", "Closures; NULL: not known"),
        *_triple("closure_hours", "Hours of closures; NULL: not known", unit="h"),
        *_triple("test_holes", "Test holes"),
        text("basis", "What the set-ups rest on: computed, rates, or both.", required=True),
    ),
)  # fmt: skip

EFFORT_TABLE = Table(
    name="scope_effort", row="one figure of the effort for one phase", geometry="none",
    columns=(
        _PHASE,
        text("what", "What is counted.", required=True, vocabulary=EFFORT),
        text("surface", "On which surface; NULL: on all, or surfaces aren't known."),
        text("closure", "What has to be closed there, as recorded."),
        integer("crews", "Number of crews, for working days.", minimum=1),
        *(real(tier, f"The {tier} estimate; NULL: not known.", decimals=1, minimum=0) for tier in TIERS),
        text("unit", "Of the three: h or days; empty: a number of things."),
        text("basis", "Where they come from, in words.", required=True),
    ),
)  # fmt: skip

RATES = Table(
    name="scope_rates", row="one rate that the effort was worked out with", geometry="none",
    columns=(
        text("rate", "Name in the settings, part scope.rates.", required=True),
        text("surface", "For which surface, where it depends on it."),
        *(real(tier, f"For the {tier} estimate.", decimals=4, minimum=0) for tier in TIERS),
        text("source", "estimate, no source: a default. settings: stated by the user.", required=True),
    ),
)  # fmt: skip

TEST_HOLES = Table(
    name="test_holes", row="one place where a test hole would settle what records and tone don't", geometry="Point",
    columns=(
        text("hole_id", "H and a number, stable within a result.", required=True),
        _PHASE,
        text("line_id", "Line that it is for.", required=True),
        text("line_ids", "All lines that it settles something of, separated by spaces.", required=True),
        metres("station_m", "Distance along the line.", decimals=2),
        text("counted_from", "Least estimate that counts it: low, likely and high; likely and high; or high alone.", required=True, vocabulary=TIERS),
        text("reason", "Why.", required=True, vocabulary=HOLE_REASONS),
        text("settles", "What it settles.", required=True),
        metres("depth_m", "Depth of the line's axis on record.", decimals=2),
        text("surface", "Surface there; NULL: not known."),
        text("caution", "How it is dug.", required=True),
    ),
)  # fmt: skip

SCOPE_TABLES = (PHASES, CELLS, TEST_HOLES, EFFORT_TABLE, RATES)
