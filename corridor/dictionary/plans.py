"""The plan: set-ups in walking order, what each should read, and what to verify before anybody goes out."""

from corridor.dictionary.schema import Table
from corridor.dictionary.shared import MODES, flag, frequency, integer, metres, real, share, text

__all__ = ["FIELD_CHECKS", "PLAN_TABLES", "UNKNOWN_KINDS"]

UNKNOWN_KINDS = (
    "soil", "coating", "depth", "position", "ground resistance", "bond", "joint", "ground", "stake",
)  # fmt: skip

FIELD_CHECKS = ("peak_null_gap_m", "depth_after_lifting_m", "symmetry_at_half", "current_along_line")

_SETUP = text("setup_id", "Set-up of the plan.", required=True)

SETUPS = Table(
    name="setups", row="one thing a crew does, in walking order: a sweep, or a set-up", geometry="Point",
    columns=(
        text("setup_id", "Stable within the plan: S and the number in walking order; sweeps by name.", required=True),
        integer("step", "Walking order of the crew, from 1.", minimum=1),
        text("kind", "sweep: the whole work area for unrecorded lines. setup: tone on a hook-up.", required=True, vocabulary=("sweep", "setup")),
        integer("crew", "Which crew, from 1; NULL: every crew.", minimum=1),
        text("hookup_id", "Where the tone is applied."),
        text("mode", "How.", vocabulary=MODES),
        text("structure_id", "At which structure."),
        text("line_id", "Line hooked up."),
        frequency(),
        real("level_ma", "Output current to set.", unit="mA", decimals=3),
        text("ready", "Whether both gates let it through.", vocabulary=("ready", "not_ready", "refused")),
        text("missing", "What is missing."),
        text("covers", "line_ids it is chosen for, separated by spaces."),
        integer("stretches", "How many stretches of the strategy use it."),
        metres("length_m", "Their length.", decimals=2),
        metres("readable_m", "Their length graded readable, mean over the draws.", decimals=2),
        metres("walk_m", "Way from the step before, along the streets as the lines show them.", decimals=1),
        metres("stake_x_m", "Easting of the ground stake."),
        metres("stake_y_m", "Northing of the ground stake."),
        real("stake_bearing_deg", "Bearing of the stake from the hook-up, clockwise from grid north.", unit="deg", decimals=0),
        metres("stake_distance_m", "Its distance.", decimals=1),
        real("power_w", "Electrical power drawn, median over the draws.", unit="W", decimals=2),
        real("battery_h", "Hours the equipment's battery lasts at that; NULL where its energy isn't given.", unit="h", decimals=1),
        text("fallback_b", "Next best hook-up for the same stretches."),
        text("fallback_c", "The one after."),
        text("go_to_fallback", "When to go there, in one line."),
        real("crew_frequency_hz", "Frequency to use while other crews are at work, so that no tone reaches another crew's receiver; NULL for one crew.", unit="Hz", decimals=1),
        text("not_with", "Set-ups of other crews that must not run at the same time, separated by spaces."),
        text("also_frequencies", "Other frequencies in Hz at which it shows about as much, best first, separated by spaces."),
        text("note", "What to do, in one sentence."),
        text("caution", "Caution for this set-up."),
    ),
)  # fmt: skip

EXPECTED_READINGS = Table(
    name="expected_readings", row="one reading that a crew takes to see whether a set-up is as planned", geometry="Point",
    columns=(
        _SETUP,
        text("line_id", "Line that is read.", required=True),
        metres("station_m", "Distance along it.", decimals=2),
        frequency(),
        text("kind", "What is read, as in the table readings.", required=True),
        text("unit", "Its unit."),
        real("expected_low", "One good hook-up in ten reads less."),
        real("expected_high", "One in ten reads more."),
        real("stop_below", "Stop and find out why: 1 in 100 reads less."),
        real("stop_above", "Stop: 1 in 100 reads more, or the equipment's limit."),
        flag("tells", "False: the range is wider than ten-fold, the reading tells nothing here."),
        text("note", "In words."),
    ),
)  # fmt: skip

READING_CAUSES = Table(
    name="reading_causes", row="one likely cause where the source reads outside its range", geometry="any",
    columns=(
        _SETUP,
        text("kind", "Reading, as in the table readings.", required=True),
        text("side", "Which way it is off.", required=True, vocabulary=("lower", "higher")),
        integer("rank", "Place among the causes, from 1; NULL for a wrong line, which the draws don't hold.", minimum=1),
        text("cause", "What it would be.", required=True),
        text("cause_kind", "Kind of unknown, or wrong line.", vocabulary=(*UNKNOWN_KINDS, "wrong line")),
        text("line_ids", "Lines concerned, separated by spaces."),
        share("prior", "Probability in all draws."),
        share("posterior", "Probability in the tenth of the draws that read lowest, or highest."),
        text("told_apart_by", "Second reading that tells the first two causes apart, on the first one's row; NULL where none would."),
    ),
)  # fmt: skip

CHECKS = Table(
    name="field_checks", row="one check of a mark, on one stretch, where the peak is predicted to be off the most", geometry="Point",
    columns=(
        _SETUP,
        text("stretch_id", "Stretch of the strategy.", required=True),
        text("line_id", "Line that is traced.", required=True),
        metres("station_m", "Distance along it.", decimals=2),
        text("check", "peak_null_gap_m: distance of peak and null. depth_after_lifting_m: how much more depth is shown after lifting the receiver. symmetry_at_half: left minus right distance from the peak to half its height, over their sum. current_along_line: current shown there over the current shown at another place of the stretch.", required=True, vocabulary=FIELD_CHECKS),
        real("clean_value", "What a line without neighbours reads; metres, or a ratio.", decimals=3),
        real("expected_low", "Lowest prediction over the cases; NULL where no case shows any.", decimals=3),
        real("expected_high", "Highest.", decimals=3),
        flag("tells", "Where the peak or the depth is off in some case: whether the check leaves the clean value by more than its noise in every such case. Elsewhere: whether it would, before the mark is wrong; NULL where nothing on record pulls."),
        flag("blind", "Whether it passes for clean in some case in which the peak or the depth is off; of peak and null by the common rule that they agree within 15 cm."),
        text("note", "What it says here."),
        text("advice", "For the stretch: which check tells, or what else confirms the mark."),
    ),
)  # fmt: skip

VERIFY_FIRST = Table(
    name="verify_first", row="one thing the records leave open, by what knowing it would bring", geometry="any",
    columns=(
        integer("rank", "Place in the order, from 1.", minimum=1),
        text("unknown", "What is open.", required=True),
        text("kind", "Kind of unknown.", required=True, vocabulary=UNKNOWN_KINDS),
        text("source_id", "Bond, ground, joint or line."),
        text("line_ids", "Lines concerned, separated by spaces."),
        share("probability", "Probability that it conducts; NULL for what isn't a switch."),
        metres("gain_m", "Expected gain in length graded readable from knowing it before planning.", decimals=2),
        metres("chance_m", "Gain that something without meaning would seem to bring, already taken off.", decimals=2),
        flag("stands_out", "Whether the gain is more than chance gives."),
        text("where_to_look", "Where to look, or what to measure."),
    ),
)  # fmt: skip

TRADE_OFF = Table(
    name="trade_off", row="what the best plan of so many set-ups shows", geometry="any",
    columns=(
        integer("setups", "Number of set-ups.", minimum=1),
        metres("readable_m", "Length graded readable, mean over the draws, pulled readings at what they are worth.", decimals=1),
        share("share_of_best", "That, over what every set-up together could show."),
    ),
)  # fmt: skip

PLAN_TABLES = (SETUPS, EXPECTED_READINGS, READING_CAUSES, CHECKS, VERIFY_FIRST, TRADE_OFF)
