"""Input layers: what owners' records are read into."""

from corridor.dictionary.schema import Column, Table

__all__ = ["ASSETS", "EVIDENCE", "INPUT_TABLES", "STRUCTURE_KINDS", "UTILITIES", "YES_NO"]

YES_NO = ("yes", "no", "unknown")
UTILITIES = (
    "electricity", "lighting", "telecommunications", "gas", "oil", "water", "reclaimed_water", "fire_water", "sewer",
    "storm_drain", "heat", "cooling", "traffic_signal", "traction", "other", "unknown",
)  # fmt: skip
ASSETS = (
    "cable", "pipe", "duct", "duct_bank", "casing", "tracer_wire", "bare_conductor", "rail", "fence", "unknown",
)  # fmt: skip
STRUCTURE_KINDS = (
    "manhole", "handhole", "vault", "chamber", "cabinet", "pedestal", "pole", "hydrant", "valve", "curb_stop", "meter",
    "regulator", "riser", "test_station", "anode_bed", "rectifier", "transformer", "substation", "splice", "luminaire",
    "building_entry", "catch_basin", "cleanout", "other", "unknown",
)  # fmt: skip
EVIDENCE = ("recorded", "observed", "measured", "inferred", "suspected")
JOINTS = ("welded", "bonded", "corroded", "gasketed", "insulated", "unknown")
SHEATH_BONDING = ("both_ends", "one_end", "cross", "none", "unknown")
STATUS = ("in_service", "out_of_service", "abandoned", "proposed", "removed", "unknown")
GONE = ("proposed", "removed")  # statuses of lines that aren't in the ground

_INSPIRE = "INSPIRE utility networks"
_MUDDI = "OGC MUDDI 23-024"
_OWN = "own extension"
_ASCE = "ASCE 38"

LINES = Table(
    name="lines", row="one conductor or conduit between two ends", geometry="LineString",
    columns=(
        Column(name="line_id", required=True, meaning="Stable name of the line, unique in the site.", term=_MUDDI),
        Column(name="utility", required=True, vocabulary=UTILITIES, meaning="What the line carries.", term=_INSPIRE),
        Column(name="subtype", meaning="Owner's finer class, as recorded.", term=_MUDDI),
        Column(name="asset", required=True, vocabulary=ASSETS, meaning="What kind of thing is buried.", term=_INSPIRE),
        Column(name="count", kind="integer", minimum=1, maximum=10_000, meaning="Conductors the row stands for.", term=_OWN),
        Column(name="contained_in", meaning="line_id of the duct or casing around it.", term=_INSPIRE),
        Column(name="conductive", vocabulary=YES_NO, mapped=True, meaning="Whether it carries tone along its length.", term=_OWN),
        Column(name="material", mapped=True, meaning="Metal or wall material, see data/materials.toml.", term=_INSPIRE),
        Column(name="joints", vocabulary=JOINTS, mapped=True, meaning="How the lengths are joined.", term=_OWN),
        Column(name="joint_spacing_m", kind="real", unit="m", minimum=0.3, maximum=1000, mapped=True, decimals=2, meaning="Length between joints.", term=_OWN),
        Column(name="tracer_wire", vocabulary=YES_NO, mapped=True, meaning="Whether a wire for locating lies along it.", term="49 CFR 192.321(e)"),
        Column(name="sheath", mapped=True, meaning="Metallic sheath or screen of a cable, or none.", term="IEC 60050"),
        Column(name="sheath_bonding", vocabulary=SHEATH_BONDING, mapped=True, meaning="Where the sheath is grounded.", term="IEC 60050"),
        Column(name="coating", mapped=True, meaning="Outer insulation: none, polyethylene, bitumen, ...", term=_OWN),
        Column(name="cathodic_protection", vocabulary=YES_NO, mapped=True, meaning="Whether the line is under cathodic protection.", term="trade"),
        Column(name="diameter_mm", kind="real", unit="mm", minimum=1, maximum=6000, mapped=True, decimals=1, meaning="Outer diameter of the metal.", term=_INSPIRE),
        Column(name="wall_mm", kind="real", unit="mm", minimum=0.1, maximum=300, mapped=True, decimals=2, meaning="Wall thickness.", term=_INSPIRE),
        Column(name="conductor_mm2", kind="real", unit="mm2", minimum=0.1, maximum=5000, mapped=True, decimals=2, meaning="Cross-section of the metal that carries tone.", term="IEC 60228"),
        Column(name="depth_m", kind="real", unit="m", minimum=0.01, maximum=100, mapped=True, decimals=3, meaning="Ground surface to the axis, positive down.", term=_OWN),
        Column(name="depth_method", meaning="How the depth became known.", term=_ASCE),
        Column(name="horizontal_accuracy_m", kind="real", unit="m", minimum=0, maximum=1000, decimals=2, meaning="Stated plan accuracy.", term=_MUDDI),
        Column(name="vertical_accuracy_m", kind="real", unit="m", minimum=0, maximum=100, decimals=2, meaning="Stated depth accuracy.", term=_MUDDI),
        Column(name="quality_level", vocabulary=("a", "b", "c", "d", "none"), meaning="Utility quality level.", term=_ASCE),
        Column(name="status", vocabulary=STATUS, mapped=True, meaning="Whether it exists and is in use.", term=_INSPIRE),
        Column(name="energized", vocabulary=YES_NO, mapped=True, testimony=True, meaning="Whether it is live; a constant of a field map clears no line.", term="trade"),
        Column(name="nominal_voltage_v", kind="real", unit="V", minimum=0, maximum=1_200_000, meaning="Nominal voltage.", term=_INSPIRE),
        Column(name="vertical_position", vocabulary=("underground", "onGroundSurface", "suspendedOrElevated"), meaning="Where it lies against the surface.", term=_INSPIRE),
        Column(name="owner", meaning="Who owns it.", term=_MUDDI),
        Column(name="install_year", kind="integer", minimum=1700, maximum=2200, meaning="Year of installation.", term=_MUDDI),
        Column(name="source", mapped=True, testimony=True, meaning="Where the record comes from.", term=_MUDDI),
        Column(name="source_date", mapped=True, testimony=True, meaning="Date of that record, ISO 8601.", term=_MUDDI),
        Column(name="series_ohm_per_km", kind="real", unit="ohm/km", minimum=0, meaning="Override: series resistance.", term=_OWN),
        Column(name="leakage_s_per_km", kind="real", unit="S/km", minimum=0, meaning="Override: coating conductance.", term=_OWN),
        Column(name="capacitance_nf_per_km", kind="real", unit="nF/km", minimum=0, meaning="Override: coating capacitance.", term=_OWN),
        Column(name="relative_permeability", kind="real", minimum=1, maximum=100_000, meaning="Override: relative permeability.", term=_OWN),
    ),
)  # fmt: skip

STRUCTURES = Table(
    name="structures", row="one point of access or equipment", geometry="Point",
    columns=(
        Column(name="structure_id", required=True, meaning="Stable name, unique in the site.", term=_MUDDI),
        Column(name="kind", required=True, vocabulary=STRUCTURE_KINDS, meaning="What it is.", term=_INSPIRE),
        Column(name="utility", vocabulary=UTILITIES, meaning="Whose network it belongs to.", term=_INSPIRE),
        Column(name="access", vocabulary=("footway", "carriageway", "verge", "private", "indoor", "locked", "unknown"), meaning="Where one stands to reach it.", term=_OWN),
        Column(name="permit", meaning="Who must agree before it is opened.", term=_OWN),
        Column(name="owner", meaning="Who owns it.", term=_MUDDI),
        Column(name="quality_level", vocabulary=("a", "b", "c", "d", "none"), meaning="Utility quality level.", term=_ASCE),
    ),
)  # fmt: skip

TERMINATIONS = Table(
    name="terminations", row="one line at one structure", geometry="none",
    columns=(
        Column(name="structure_id", required=True, meaning="The structure.", term=_OWN),
        Column(name="line_id", required=True, meaning="The line.", term=_OWN),
        Column(name="at", vocabulary=("start", "end", "through", "tap"), meaning="How the line meets it.", term=_OWN),
        Column(name="direct", vocabulary=YES_NO, meaning="Whether bare metal can be clipped on to here.", term=_OWN),
        Column(name="clamp", vocabulary=YES_NO, meaning="Whether a clamp fits around the line here.", term=_OWN),
        Column(name="isolated", vocabulary=YES_NO, meaning="Whether an isolating joint stands here.", term=_OWN),
    ),
)  # fmt: skip

BONDS = Table(
    name="bonds", row="one metallic connection between two lines, or a line and earth", geometry="any",
    columns=(
        Column(name="bond_id", required=True, meaning="Stable name, unique in the site.", term=_OWN),
        Column(name="line_a", required=True, meaning="First line.", term=_OWN),
        Column(name="line_b", required=True, meaning="Second line, or the word earth.", term=_OWN),
        Column(name="structure_id", meaning="Where it is made.", term=_OWN),
        Column(name="kind", meaning="jumper, shared_ground, neutral, sheath, structure, contact, same_line (two records of what may be one line), unknown.", term=_OWN),
        Column(name="state", vocabulary=("closed", "open", "unknown"), meaning="Whether it conducts.", term=_OWN),
        Column(name="resistance_ohm", kind="real", unit="ohm", minimum=0, maximum=1e9, meaning="Its resistance.", term=_OWN),
        Column(name="evidence", vocabulary=EVIDENCE, meaning="How it is known.", term=_OWN),
        Column(name="probability", kind="real", minimum=0, maximum=1, meaning="Probability that the path conducts, not that the record is right: 0 for every open one, whatever is stated.", term=_OWN),
    ),
)  # fmt: skip

GROUNDS = Table(
    name="grounds", row="one ground electrode on a line", geometry="Point",
    columns=(
        Column(name="ground_id", required=True, meaning="Stable name, unique in the site.", term=_OWN),
        Column(name="line_id", required=True, meaning="The line it is connected to.", term=_OWN),
        Column(name="resistance_ohm", kind="real", unit="ohm", minimum=0.01, maximum=1e6, meaning="Resistance to remote earth.", term="IEEE 81"),
        Column(name="evidence", vocabulary=EVIDENCE, meaning="How it is known.", term=_OWN),
    ),
)  # fmt: skip

SOIL = Table(
    name="soil", row="ground of one resistivity", geometry="Polygon",
    columns=(
        Column(name="resistivity_ohm_m", kind="real", unit="ohm m", minimum=0.1, maximum=1e6, required=True, meaning="Resistivity.", term="IEEE 81"),
        Column(name="low_ohm_m", kind="real", unit="ohm m", minimum=0.1, maximum=1e6, meaning="Low end of its range.", term=_OWN),
        Column(name="high_ohm_m", kind="real", unit="ohm m", minimum=0.1, maximum=1e6, meaning="High end of its range.", term=_OWN),
        Column(name="top_thickness_m", kind="real", unit="m", minimum=0, maximum=1000, meaning="Thickness of the top layer.", term="IEEE 81"),
        Column(name="lower_resistivity_ohm_m", kind="real", unit="ohm m", minimum=0.1, maximum=1e6, meaning="Resistivity below it.", term="IEEE 81"),
    ),
)  # fmt: skip

WORK_AREA = Table(
    name="work_area", row="one part of the dig", geometry="Polygon",
    columns=(
        Column(name="phase", meaning="Phase of the works.", term=_OWN),
        Column(name="dig_depth_m", kind="real", unit="m", minimum=0, maximum=100, meaning="Planned depth.", term=_OWN),
    ),
)  # fmt: skip

SURFACES = Table(
    name="surfaces", row="ground of one surface", geometry="Polygon",
    columns=(
        Column(name="kind", meaning="carriageway, footway, verge, private, rail.", term=_OWN),
        Column(name="closure", meaning="What has to be closed to work there.", term=_OWN),
    ),
)  # fmt: skip

INPUT_TABLES = {
    table.name: table for table in (LINES, STRUCTURES, TERMINATIONS, BONDS, GROUNDS, SOIL, WORK_AREA, SURFACES)
}
