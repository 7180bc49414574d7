"""Result layers: what corridor writes."""

from corridor.dictionary.inputs import BONDS, EVIDENCE
from corridor.dictionary.plans import PLAN_TABLES
from corridor.dictionary.readings import READINGS_TABLES
from corridor.dictionary.schema import Column, Table
from corridor.dictionary.scopes import SCOPE_TABLES
from corridor.dictionary.shared import GRADES, MODES
from corridor.dictionary.shared import current as _current
from corridor.dictionary.shared import metres as _metres
from corridor.dictionary.shared import share as _share
from corridor.dictionary.shared import text as _text

__all__ = ["GRADES", "MODES", "RESULT_TABLES", "SENSES"]

SENSES = ("same", "opposite", "unclear")
FAR_ENDS = ("open", "grounded", "returned")
OWNER_CHANGES = ("lift_ground", "open_bond", "ground_far_end")
LEVELS = ("recorded", "likely", "possible")
EDGE_KINDS = ("bond", "junction", "continuity", "ground")
CHANGES = ("new", "vanished", "merged", "split", "changed")
SEVERITIES = ("severe", "warning", "note")

_LINE = "line_id of the line."
_HOP_KINDS = ("hook-up", "conduction", "bond", "parallel run", "leakage", "crossing")


_PAIR = (
    _text("line_a", "First line of the pair; line_a < line_b as text.", required=True),
    _text("line_b", "Second line of the pair.", required=True),
)
_ASSUMED = (
    Column(name="assumed", kind="flag", meaning="Whether the row rests on filled values."),
    _text("assumed_columns", "Which columns were filled, separated by spaces."),
)

_ACCEPTED = (
    _text("accepted_by", "Who accepted it as it is; NULL while it is open."),
    _text("accepted_date", "When, as stated."),
    _text("accepted_why", "Why."),
)

FINDINGS = Table(
    name="findings", row="one thing a reader of the records must know", geometry="any",
    columns=(
        _text("feature_source", "File and layer the feature came from.", required=True),
        Column(name="feature_row", kind="integer", meaning="Row in that layer, from 0."),
        _text("source_id", "The owner's own id of the feature."),
        _text("owner", "Owner, where stated."),
        _text("line_id", "Line or structure concerned."),
        _text("severity", "How much it matters.", required=True, vocabulary=SEVERITIES),
        _text("code", "Stable code of the kind of finding.", required=True),
        _text("message", "What was found.", required=True),
        _text("action", "used, repaired, set aside, filled, or what to do.", required=True),
        *_ACCEPTED,
    ),
)  # fmt: skip

DEFECTS = Table(
    name="defects", row="one defect of the records that their owner can mend", geometry="any",
    columns=(
        Column(name="rank", kind="integer", minimum=1, required=True, meaning="Order of work: severity, then code, layer and row."),
        _text("severity", "How much it matters.", required=True, vocabulary=SEVERITIES),
        _text("code", "Code of the finding.", required=True),
        _text("owner", "Owner, where stated."),
        _text("layer", "File and layer that the feature came from.", required=True),
        Column(name="feature_row", kind="integer", meaning="Row in that layer, from 0."),
        _text("source_id", "The owner's own id of the feature."),
        _text("message", "What was found.", required=True),
        _text("action", "What the owner is asked to do.", required=True),
        _text("state", "Whether it counts as open.", required=True, vocabulary=("open", "accepted")),
        *_ACCEPTED,
    ),
)  # fmt: skip

COMPLETENESS = Table(
    name="completeness", row="one column of one layer read, and how much of it is stated", geometry="none",
    columns=(
        _text("layer", "File and layer.", required=True),
        _text("table", "Table of the data dictionary that it was read into.", required=True),
        _text("column", "Column of that table.", required=True),
        Column(name="row_count", kind="integer", minimum=0, meaning="Rows read, parts counted singly."),
        _share("stated_share", "Share of the rows that state a value."),
        _share("unknown_share", "Share that say unknown."),
        _share("missing_share", "Share that say nothing, or nothing that could be read."),
        _share("default_share", "Share filled by a default or inferred; part of unknown and missing."),
    ),
)  # fmt: skip

PARALLEL_RUNS = Table(
    name="parallel_runs", row="one stretch where two lines run side by side", geometry="LineString",
    columns=(
        _text("run_id", "Stable name: line_a, line_b and number along line_a.", required=True),
        *_PAIR,
        _metres("length_m", "Length along line_a."),
        _metres("separation_mean_m", "Length-weighted mean plan distance."),
        _metres("separation_min_m", "Smallest plan distance."),
        _metres("depth_difference_m", "Difference of the axes' depths; NULL where either is missing or assumed."),
        _metres("depth_difference_low_m", "Smallest difference the depth ranges allow."),
        _metres("depth_difference_high_m", "Largest difference the depth ranges allow."),
    ),
)  # fmt: skip

CROSSINGS = Table(
    name="crossings", row="one point where two lines cross in plan", geometry="Point",
    columns=(
        _text("crossing_id", "Stable name: line_a, line_b and number along line_a.", required=True),
        *_PAIR,
        Column(name="angle_deg", kind="real", unit="deg", minimum=0, maximum=90, decimals=2, meaning="Angle between the lines."),
        _metres("clearance_m", "Vertical distance of the axes; NULL where either depth is missing or assumed."),
        _metres("clearance_low_m", "Smallest clearance the depth ranges allow."),
        _metres("clearance_high_m", "Largest clearance the depth ranges allow."),
    ),
)  # fmt: skip

BONDS_FOUND = Table(
    name="bonds_found", row="one recorded, inferred or suspected bond", geometry="Point",
    columns=(
        *BONDS.columns,
        _metres("measure_a_m", "Distance along line_a."),
        _metres("measure_b_m", "Distance along line_b; NULL for earth."),
        _text("rule", "Which rule found it; recorded for the owner's own rows."),
        _text("source", "Source of the rule's probability."),
    ),
)  # fmt: skip

BONDED_GROUPS = Table(
    name="bonded_groups", row="one group of lines that share metal, at one level", geometry="any",
    columns=(
        _text("group_id", "Stable name: level and first line, with a number where two groups begin with one line.", required=True),
        _text("level", "Evidence needed to join.", required=True, vocabulary=LEVELS),
        _text("line_ids", "The lines, sorted, separated by spaces.", required=True),
        Column(name="line_count", kind="integer", minimum=1, meaning="Number of lines."),
        _metres("length_m", "Total length.", decimals=2),
        _text("evidence_weakest", "Weakest evidence that holds the group together.", vocabulary=EVIDENCE),
        _share("probability", "Probability that the weakest bond or junction that holds it together conducts."),
    ),
)  # fmt: skip

LINE_GROUPS = Table(
    name="line_groups", row="one line, and the groups it shares metal with, by level", geometry="LineString",
    columns=(
        _text("line_id", _LINE, required=True),
        _text("utility", "What the line carries."),
        _text("owner", "Owner, where stated."),
        _metres("length_m", "Its length.", decimals=2),
        _text("group_recorded", "group_id on recorded, observed and measured evidence; several, separated by spaces, where the line may be parted; not known where nothing joins it, which doesn't mean that it is separate; NULL where the line carries no tone."),
        _text("group_likely", "The same, with what is inferred with a probability of 0.5 or more."),
        _text("group_possible", "The same, with all but open bonds."),
        _text("remark", "Why the line is left out of the groups; NULL: it is not."),
    ),
)  # fmt: skip

GROUP_EDGES = Table(
    name="group_edges", row="one thing that joins the metal of two lines, or a line to earth", geometry="Point",
    columns=(
        _text("edge_id", "Stable name: kind and bond, ground or places.", required=True),
        _text("kind", "bond, junction (lines of one utility that meet), continuity (along a line whose metal may part), ground.", required=True, vocabulary=EDGE_KINDS),
        _text("line_a", "First line.", required=True),
        _text("line_b", "Second line; the same for continuity; earth for a ground.", required=True),
        _text("bond_id", "The bond."),
        _text("ground_id", "The ground."),
        _text("structure_id", "Where it is: the bond's structure, or the nearest within reach."),
        _text("evidence", "How it is known.", vocabulary=EVIDENCE),
        _share("probability", "Probability that it conducts; NULL for a ground."),
        _text("level", "Strictest level at which it joins; NULL: a ground, which joins no lines.", vocabulary=LEVELS),
        _text("group_recorded", "group_id that it helps to hold together at that level."),
        _text("group_likely", "The same."),
        _text("group_possible", "The same."),
    ),
)  # fmt: skip

GROUP_SPLITS = Table(
    name="group_splits", row="one bond or visit that much of a large group hangs on", geometry="Point",
    columns=(
        _text("group_id", "The group: more than 20 % of the length.", required=True),
        _text("level", "Its level.", required=True, vocabulary=LEVELS),
        _text("what", "bond: removing it splits the group. visit: all bonds there that nobody has seen, taken as open, split it.", required=True, vocabulary=("bond", "visit")),
        Column(name="rank", kind="integer", minimum=1, meaning="Place in the order of the length split off, for bonds and visits apart."),
        _text("structure_id", "Where to go; NULL: the bond's own place."),
        _text("bond_ids", "The bonds, separated by spaces."),
        _text("evidence", "Weakest evidence of them.", vocabulary=EVIDENCE),
        _metres("split_off_m", "Length of all but the longest part that remains; a line that may be parted counts by the stretches round its places.", decimals=2),
        _share("split_off_share", "That length over the group's."),
    ),
)  # fmt: skip

GROUP_CHANGES = Table(
    name="group_changes", row="one difference between the groups of an earlier result and these", geometry="any",
    columns=(
        _text("change_id", "Stable name: kind and group, the earlier one where split or vanished.", required=True),
        _text("level", "Level of the groups.", required=True, vocabulary=LEVELS),
        _text("change", "What happened.", required=True, vocabulary=CHANGES),
        _text("group_ids", "Groups now, separated by spaces; NULL where vanished."),
        _text("previous_ids", "Groups of the earlier result; NULL where new."),
        _text("lines_gained", "Lines now in a group that were in none, or not in this one (changed)."),
        _text("lines_lost", "Lines that were and aren't any more."),
        _metres("length_m", "Length of the group's lines, where they still exist; of the earlier group's where split or vanished.", decimals=2),
    ),
)  # fmt: skip

ISOLATIONS = Table(
    name="isolations", row="one isolating joint, or one line whose joints are all insulated", geometry="Point",
    columns=(
        _text("isolation_id", "Stable name.", required=True),
        _text("joint", "isolating_joint: one joint. insulated_joints: every joint of the line.", vocabulary=("isolating_joint", "insulated_joints")),
        _text("line_id", _LINE, required=True),
        _text("structure_id", "Where it stands; NULL for a line's own joints."),
        _metres("at_m", "Distance along the line; its middle for a line's own joints."),
        _text("parts_from", "Lines that meet it there and that the joint keeps apart from it, separated by spaces; the line itself where the joint stands inside it."),
        _text("bridged", "Strictest level at which both sides share metal all the same; NULL: not known, or not worked out (review).", vocabulary=LEVELS),
        _text("evidence", "How it is known.", vocabulary=EVIDENCE),
    ),
)  # fmt: skip

HOOKUPS = Table(
    name="hookups", row="one way to put tone on one line", geometry="Point",
    columns=(
        _text("hookup_id", "Stable name: mode, line and structure.", required=True),
        _text("structure_id", "Access point; NULL for induction from the surface."),
        _text("line_id", "The target.", required=True),
        _text("mode", "How the tone is applied.", required=True, vocabulary=MODES),
        _metres("at_m", "Distance along the line."),
        _text("ready", "Whether the gate lets it through: ready, not_ready or refused.", vocabulary=("ready", "not_ready", "refused")),
        _text("missing", "What is missing, or why it is refused."),
        _text("reason", "The rule applied, in one sentence."),
        _text("equipment", "Equipment profile; generic equipment says so."),
        _metres("stake_x_m", "Easting of the ground stake."),
        _metres("stake_y_m", "Northing of the ground stake."),
        Column(name="stake_bearing_deg", kind="real", unit="deg", minimum=0, maximum=360, decimals=0, meaning="Bearing from the hook-up to its ground stake, clockwise from the grid's north."),
        _metres("stake_distance_m", "Distance from the hook-up to its ground stake.", decimals=1),
        _text("stake_hint", "What to do where the loop is too resistive for the output wanted; NULL: nothing, or not worked out."),
        _text("far_end", "The line's other end, direct connections only: as it is, grounded, or led back to the transmitter without a stake.", vocabulary=FAR_ENDS),
        _text("owner_change", "What only the owner does first; such a hook-up is never ready. NULL: nothing.", vocabulary=OWNER_CHANGES),
        _text("opened_bond", "The bond that is opened for it."),
    ),
)  # fmt: skip

SECTIONS = Table(
    name="sections", row="one solver piece of one line, under one hook-up", geometry="LineString",
    columns=(
        _text("section_id", "Stable name: line and number along it.", required=True),
        _text("line_id", _LINE, required=True),
        _text("hookup_id", "The hook-up."),
        Column(name="frequency_hz", kind="real", unit="Hz", decimals=1, meaning="Frequency of the tone."),
        _current("current_ma", "Tone current, nominal case."),
        _current("current_low_ma", "Lowest over the cases."),
        _current("current_high_ma", "Highest over the cases."),
        Column(name="phase_deg", kind="real", unit="deg", decimals=1, meaning="Phase against the target's current at the hook-up, along the line's own direction."),
        _share("share_of_output", "Current over the hook-up current; clamp, induction: over the target's at the hook-up."),
        _share("ratio_to_target", "Current over the target's largest current."),
        _text("grade", "Grade in the nominal case.", vocabulary=GRADES),
        _text("grade_worst", "Worst grade over the cases.", vocabulary=GRADES),
        Column(name="settled", kind="flag", meaning="Whether all cases give the same grade."),
        _text("mistaken_for", "Line whose peak a crew would follow instead."),
        *_ASSUMED,
        _share("assumed_share", "Share of the line's length resting on filled values."),
    ),
)  # fmt: skip

STATIONS = Table(
    name="stations", row="one receiver prediction above a line", geometry="Point",
    columns=(
        _text("station_id", "Stable name: line and metres along it.", required=True),
        _text("line_id", _LINE, required=True),
        _text("hookup_id", "The hook-up."),
        Column(name="frequency_hz", kind="real", unit="Hz", decimals=1, meaning="Frequency of the tone."),
        _metres("station_m", "Distance along the line.", decimals=2),
        _metres("depth_m", "Depth of the axis used."),
        _metres("peak_offset_m", "Where the peak stands, positive to the left of the line's direction."),
        _metres("peak_offset_low_m", "Lowest over the cases."),
        _metres("peak_offset_high_m", "Highest over the cases."),
        _text("pulled_to", "Compass side the peak is pulled to; empty within tolerance."),
        _metres("null_offset_m", "Where the null stands."),
        _metres("peak_null_gap_m", "Distance between the two."),
        _metres("depth_reading_m", "Two-coil depth at the peak: to the centre of the current, not cover."),
        _metres("depth_reading_low_m", "Lowest over the cases."),
        _metres("depth_reading_high_m", "Highest over the cases."),
        Column(name="field_nt", kind="real", unit="nT", minimum=0, decimals=4, meaning="Horizontal field at the lower coil, at the peak."),
        Column(name="above_floor_db", kind="real", unit="dB", decimals=1, meaning="That field over the receiver's noise floor (floor_nt of the settings), 20 log10; below 0 it is lost."),
        _current("inferred_current_ma", "Current a receiver would infer from one line's field."),
        _current("current_ma", "True current on the line."),
        Column(name="phase_deg", kind="real", unit="deg", decimals=1, meaning="Phase of the line's current against the target's at the hook-up."),
        _text("sense", "Which way the current under the peak runs against the target's nearest one; unclear where the lines cross or the phase lies between.", vocabulary=SENSES),
        _text("grade", "Grade in the nominal case.", vocabulary=GRADES),
        _text("grade_worst", "Worst grade over the cases.", vocabulary=GRADES),
        Column(name="settled", kind="flag", meaning="Whether all cases give the same grade."),
        _text("mistaken_for", "Line whose peak a crew would follow instead."),
        *_ASSUMED,
    ),
)  # fmt: skip

BLEED_PATHS = Table(
    name="bleed_paths", row="one hop of the way tone takes from the hook-up to one line", geometry="any",
    columns=(
        _text("path_id", "Stable name: hook-up, line and number of the path.", required=True),
        _text("hookup_id", "The hook-up."),
        Column(name="frequency_hz", kind="real", unit="Hz", decimals=1, meaning="Frequency of the tone."),
        _text("line_id", "The line the path ends on.", required=True),
        Column(name="hop", kind="integer", minimum=1, meaning="Number of the hop, from 1."),
        _text("kind", "How the tone jumps.", vocabulary=_HOP_KINDS),
        _text("from_line", "Line the tone comes from."),
        _text("to_line", "Line it goes to."),
        _text("through", "bond_id, structure or run the hop goes through."),
        _current("current_in_ma", "Current before the hop."),
        _current("current_out_ma", "Current after the hop."),
        _share("share_of_line", "Share of the last line's current that this path explains, signed sum over its paths is 1."),
        _current("line_current_ma", "Largest current on the last line, nominal case."),
        _current("line_current_low_ma", "Lowest over the cases."),
        _current("line_current_high_ma", "Highest over the cases."),
        _text("evidence", "Evidence of the bond, where the hop is one."),
    ),
)  # fmt: skip

STRATEGY = Table(
    name="strategy", row="one stretch of one line and how to put tone on it", geometry="LineString",
    columns=(
        _text("stretch_id", "Stable name: line and number along it.", required=True),
        _text("line_id", _LINE, required=True),
        _text("utility", "Utility of the line."),
        _text("owner", "Owner of the line."),
        _metres("from_m", "Start, along the line.", decimals=2),
        _metres("to_m", "End, along the line.", decimals=2),
        _metres("length_m", "Length.", decimals=2),
        _text("mode", "How to apply the tone.", vocabulary=MODES),
        _text("hookup_id", "Where."),
        _text("structure_id", "At which structure."),
        Column(name="frequency_hz", kind="real", unit="Hz", decimals=1, meaning="Frequency."),
        Column(name="level_ma", kind="real", unit="mA", decimals=3, meaning="Output current to set."),
        Column(name="voltage_v", kind="real", unit="V", decimals=3, meaning="Expected voltage at that output."),
        Column(name="loop_ohm", kind="real", unit="ohm", decimals=3, meaning="Expected loop impedance."),
        _text("grade", "Grade in the nominal case.", vocabulary=GRADES),
        _text("grade_worst", "Worst grade over the cases.", vocabulary=GRADES),
        Column(name="settled", kind="flag", meaning="Whether all cases give the same grade."),
        _current("current_ma", "Smallest current on the stretch, nominal case."),
        _current("current_low_ma", "Lowest over the cases."),
        _current("current_high_ma", "Highest over the cases."),
        _metres("peak_offset_m", "Largest predicted pull on the stretch."),
        _text("pulled_to", "Compass side of that pull."),
        _metres("depth_error_m", "Largest predicted error of the depth reading."),
        _text("mistaken_for", "Line a crew would mark instead."),
        _text("setup_id", "Set-up of the plan that shows it; NULL where none does."),
        _share("readable_share", "Probability that it is graded readable, mean over its length: over the draws of a plan, or the cases of a review."),
        _metres("pull_90_m", "Error of the peak that nine of ten usable readings stay below."),
        _metres("depth_error_90_m", "Likewise of the depth reading: to the centre of the current, not cover."),
        _text("expected_class_if_done", "PAS 128:2022 quality level that such errors would allow if the survey is done as planned, at most QL-B2 from tone alone; check your copy. No claim about records.", vocabulary=("QL-B2", "QL-B3")),
        _text("confirm_by", "Another set-up whose error goes least with this one's: for a second opinion."),
        _text("runner_up", "Next best hook-up, frequency and its grade."),
        _text("reason", "Why, in one sentence."),
        _text("caution", "Caution for this stretch."),
        *_ASSUMED,
        _share("assumed_share", "Share of the stretch's length resting on filled values."),
    ),
)  # fmt: skip

RESULT_TABLES = {
    table.name: table
    for table in (
        STRATEGY, *PLAN_TABLES, FINDINGS, PARALLEL_RUNS, CROSSINGS, BONDS_FOUND, BONDED_GROUPS, LINE_GROUPS, GROUP_EDGES,
        GROUP_SPLITS, GROUP_CHANGES, ISOLATIONS, HOOKUPS, SECTIONS, STATIONS, BLEED_PATHS, DEFECTS, COMPLETENESS,
        *READINGS_TABLES, *SCOPE_TABLES,
    )
}  # fmt: skip
