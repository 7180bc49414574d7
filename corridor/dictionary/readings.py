"""The crew's readings, and what they say: the tables of ``corridor readings``."""

from corridor.dictionary.schema import Column, Table
from corridor.dictionary.shared import real, text

__all__ = ["CAUSE_KINDS", "READINGS_TABLES", "READING_KINDS"]

READING_KINDS = (
    "source_ma", "source_v", "source_ohm", "clamp_ma", "receiver_ma", "peak_offset_m", "depth_reading_m", "foreign_tone",
)  # fmt: skip
CAUSE_KINDS = (
    "none", "bond_conducts", "bond_open", "hidden_bond", "joint_open", "joints_conduct", "ground_open", "hidden_ground",
    "poor_stake", "wrong_line",
)  # fmt: skip


READINGS = Table(
    name="readings", row="one thing that a crew read, or is asked to read", geometry="Point",
    columns=(
        text("setup_id", "Set-up of the plan that was running.", required=True),
        text("line_id", "Line that was read; for a source reading the set-up's own where left out."),
        real("station_m", "Distance along the line; or give x_m and y_m.", unit="m", decimals=2, minimum=0),
        real("x_m", "Easting in the CRS of the records, moved to the nearest place on the line.", unit="m", decimals=3),
        real("y_m", "Northing.", unit="m", decimals=3),
        real("frequency_hz", "Frequency of the tone; the set-up's where left out.", unit="Hz", decimals=1),
        text("kind", "What was read: the transmitter's mA, V or ohm; mA by a clamp round the line; mA, offset of the peak (left of the line's direction positive) and depth by the receiver; mA of a tone that is there while the transmitter is off.", required=True, vocabulary=READING_KINDS),
        real("value", "The reading, in the unit that ends the kind (foreign_tone: mA); empty: not taken yet, to be predicted.", decimals=4),
        text("time", "When, as noted."),
        text("note", "Anything else."),
    ),
)  # fmt: skip

CAUSES = Table(
    name="causes", row="one thing that may lie behind the readings, the likeliest first", geometry="Point",
    columns=(
        Column(name="rank", kind="integer", minimum=1, required=True, meaning="Place in the order of probability."),
        text("cause_id", "Stable name: kind and what it concerns.", required=True),
        text("kind", "What it would be; none: nothing but what the records say.", required=True, vocabulary=CAUSE_KINDS),
        text("line_a", "Line concerned."),
        text("line_b", "Second line, of a bond or of a hook-up on the wrong line."),
        text("place", "Where, in words: structure, or metres along the line."),
        real("prior", "Probability before the readings."),
        real("probability", "Probability after them, among the causes looked at."),
        text("set_id", "Causes with the same set_id can't be told apart by these readings."),
        text("explained", "What it would mean, in one sentence."),
        text("where_to_look", "What to check on site, and with whom."),
    ),
)  # fmt: skip

READING_INTERVALS = Table(
    name="reading_intervals", row="one reading and what it was expected to be", geometry="Point",
    columns=(
        *(column for column in READINGS.columns if column.name not in ("x_m", "y_m", "time", "note")),
        real("before_low", "5 % before any reading, records taken as right.", decimals=4),
        real("before_high", "95 %.", decimals=4),
        real("expected_low", "5 % after all readings, noise of a reading included.", decimals=4),
        real("expected", "Median.", decimals=4),
        real("expected_high", "95 %.", decimals=4),
        real("current_low_ma", "5 % of the true current on the line there, after all readings.", unit="mA", decimals=4),
        real("current_ma", "Median.", unit="mA", decimals=4),
        real("current_high_ma", "95 %.", unit="mA", decimals=4),
        real("outlier_probability", "Probability that this reading went wrong: read again where it is high."),
        text("used", "Whether it counts, or why not."),
    ),
)  # fmt: skip

READINGS_TABLES = (READINGS, CAUSES, READING_INTERVALS)
