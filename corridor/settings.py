"""Settings and equipment: everything a user may tune, checked as a whole, read from TOML."""

import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from corridor.constants import FREQUENCY_MAX_HZ, FREQUENCY_MIN_HZ
from corridor.errors import EquipmentError, SettingsError
from corridor.tomlfile import mistakes, read_toml

__all__ = ["Equipment", "ReportSettings", "Settings", "equipment_profiles", "load_equipment", "load_settings"]

Positive = Annotated[float, Field(gt=0)]
Mode = Literal["direct", "clamp", "induction"]
Share = Annotated[float, Field(ge=0, le=1)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SiteSettings(_Part):
    """Repairs made on reading."""

    snap_m: Positive = 0.1  # line ends of one utility this close are one junction
    near_miss_m: Positive = 1.0  # gaps up to here are reported, not closed
    structure_reach_m: Positive = 0.5  # an end this close to a structure is at it
    cut_line_m: Positive = 0.05  # loose ends this close to one straight line, or to the edge of a layer, are cut there
    twin_m: Positive = 1.5  # near-duplicates lie within this, or within their summed accuracies where both are stated
    twin_share: Share = 0.8  # over more than this share of the shorter one
    explained_m: Positive = 1.5  # a structure with no line of its utility so near is explained by none
    far_away_m: Positive = 50_000.0  # a feature this far from where most layers lie belongs elsewhere
    file_limit_mb: Positive = 2000.0  # more than this together is refused before it is read
    feature_limit: Annotated[int, Field(ge=1)] = 2_000_000  # more are refused before they are placed
    vertex_limit: Annotated[int, Field(ge=1)] = 50_000_000
    same_course_limit: Annotated[int, Field(ge=1)] = (
        500  # more lines of one utility and asset on one course are refused
    )


class CouplingSettings(_Part):
    """What counts as a parallel run, and how much is looked at in a go."""

    max_separation_m: Positive = 3.0
    max_angle_deg: Annotated[float, Field(gt=0, le=90)] = 10.0
    min_length_m: Positive = 5.0
    chunk_segments: Annotated[int, Field(ge=1)] = 8_000  # bounds memory beyond index and results; changes no result


class SoilSettings(_Part):
    """Soil where no soil layer says otherwise (facts from memory: NBS Technologic Paper 108, IEEE Std 80)."""

    resistivity_ohm_m: Positive = 100.0
    low_ohm_m: Positive = 20.0
    high_ohm_m: Positive = 1000.0
    relative_permittivity: Annotated[float, Field(ge=1, le=81)] = 10.0

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not self.low_ohm_m <= self.resistivity_ohm_m <= self.high_ohm_m:
            message = "soil: need low_ohm_m <= resistivity_ohm_m <= high_ohm_m"
            raise ValueError(message)
        return self


class SolverSettings(_Part):
    """Section lengths, growth and limits of the tone solution."""

    section_max_m: Positive = 4.0
    section_close_m: Positive = 2.0  # near crossings, bonds, grounds and ends
    section_min_m: Positive = 0.3  # shorter pieces are merged with their neighbour
    close_distance_m: Positive = 3.0  # how near counts as near
    gamma_step: Positive = 0.15  # section length times the propagation constant
    leaving_share: Share = 0.02  # growth stops when no more than this share of the output leaves the network solved
    growth_step_m: Positive = 40.0
    growth_max_m: Positive = 1000.0
    section_limit: Annotated[int, Field(ge=10)] = 6000  # up to here matrices are dense
    compressed_limit: Annotated[int, Field(ge=0)] = 20_000  # from there up to here compressed, slower; 0: never
    compression: Annotated[float, Field(gt=0, le=1e-3)] = 1e-6  # error of a compressed block against its norm
    residual: Annotated[float, Field(gt=0, le=1e-3)] = 1e-8  # what a compressed network's equations may miss
    extract_mixes: Annotated[int, Field(ge=0, le=6)] = 4  # pairs of cases that end half of the cut lines each
    workers: Annotated[int, Field(ge=1, le=64)] = 2  # frequencies solved at once; each needs about 90 n^2 bytes
    memory_limit_mb: Positive | None = None  # a solution that needs more is refused; None: what the machine has


class GradeSettings(_Part):
    """Thresholds of the grades."""

    offset_tolerance_m: Positive = 0.15
    depth_tolerance_share: Positive = 0.15
    floor_nt: Positive = 0.2  # weakest usable horizontal field, 1 mA at 1 m (engineering estimate)
    partner_share: Share = 0.02  # a line with more than this share of the output is a bleed partner
    partner_floor_ma: Positive = 0.05


class ReceiverSettings(_Part):
    """Geometry of the receiver: its lower coil above ground and the spacing to the upper one."""

    lower_coil_height_m: Annotated[float, Field(ge=0, le=2)] = 0.05
    coil_spacing_m: Annotated[float, Field(gt=0, le=2)] = 0.5
    half_width_m: Positive = 2.5
    step_m: Positive = 0.1
    station_spacing_m: Positive = 4.0
    sense_angle_deg: Annotated[float, Field(gt=0, lt=90)] = 60.0  # phase and bearing off by less: a clear sense


class PassiveSettings(_Part):
    """Passive tone, indicative only: what the lines carry without a transmitter (all engineering estimates)."""

    mains_frequency_hz: Annotated[float, Field(ge=FREQUENCY_MIN_HZ, le=1000)] = 50.0
    mains_net_ma: Positive = 100.0  # unbalanced current of an electric line, which comes back outside its own neutral
    mains_driving_v: Positive = 5.0  # most voltage along a neutral that drives it: a poor way back takes less current
    mains_floor_nt: Positive = 2.0  # weakest usable field at mains frequency, 10 mA at 1 m
    radio_frequency_hz: Annotated[float, Field(ge=10_000, le=FREQUENCY_MAX_HZ)] = 100_000.0  # long wave
    radio_field_mv_per_m: Positive = 10.0  # vertical field above ground
    radio_arrival_deg: Annotated[float, Field(ge=0, le=360)] = 0.0  # bearing that it comes from, clockwise from north
    radio_floor_nt: Positive = 0.02  # weakest usable field of a radio wave on a line, 0.1 mA at 1 m


class GateSettings(_Part):
    """Who may do what is otherwise refused, by name or role; empty: nobody."""

    gas_direct_by: str = ""
    cathodic_protection_by: str = ""


class PartnerLimits(_Part):
    """Most tone that may reach others' plant, mA: by utility, and for any line under cathodic protection.

    All are engineering estimates; the owner's own figure replaces them.
    """

    traffic_signal: Positive = 5.0
    traction: Positive = 5.0  # track circuits work at tone frequencies
    telecommunications: Positive = 50.0
    unknown: Positive = 50.0  # it may be any of these
    cathodic_protection: Positive = 50.0


class SafetySettings(_Part):
    """Limits on what a hook-up is predicted to do to others' plant and to people beside it."""

    partner_limit_ma: PartnerLimits = PartnerLimits()
    # IEC 60364-4-41, IEC TS 60479-1, as quoted: 50 V AC, 25 V for children, for 1 to 1000 Hz; kept at all frequencies
    touch_v: Positive = 50.0
    touch_public_v: Positive = 25.0  # where the public can reach
    touch_distance_m: Positive = 1.0  # from the metal to the soil that somebody stands on (common practice)


class HookUpSettings(_Part):
    """How hook-ups are set out."""

    stake_distance_m: Positive = 5.0
    stake_tie_share: Share = 0.05  # stakes whose pick-up is this near to the least are equal: square and wished first
    induction_spacing_m: Positive = 40.0
    induction_standing_m: Positive = 8.0  # nearest station graded under induction: the receiver hears the transmitter
    joined_max: Annotated[int, Field(ge=0)] = 4  # nearest hook-ups on lines joined to a target, graded on it too
    beyond_area_m: Annotated[float, Field(ge=0)] = 30.0  # access points so far outside the work area are used too
    return_lead_m: Positive = 50.0  # both ends of a line so near are led back to the transmitter (engineering estimate)
    allow_owner_changes: bool = False  # list lifted grounds, opened bonds and grounded far ends too, never ready
    mode_order: tuple[Mode, ...] = ("direct", "clamp", "induction")  # a tie-break only: the solution decides
    stretch_min_m: Positive = 5.0  # shorter stretches are merged into their neighbour where nothing gets lost


class DrawSettings(_Part):
    """What the records don't know, drawn: spreads where the records state none (all engineering estimates)."""

    count: Annotated[int, Field(ge=1, le=1000)] = 32
    geometries: Annotated[int, Field(ge=1, le=200)] = 8  # networks with other soil, coating, depths and positions
    coating_spread: Positive = 0.7  # standard deviation of the logarithm: 90 % within a factor of three
    depth_spread: Positive = 0.12  # likewise: 90 % within a fifth
    ground_spread: Positive = 0.4  # of a ground's resistance: 90 % within a factor of two
    stake_spread: Positive = 0.4  # of the stake's contact with the soil
    position_m: dict[str, Positive] = {"a": 0.05, "b": 0.15, "c": 0.3, "d": 0.5, "none": 0.5}  # standard deviation
    joint_conducts: dict[str, Share] = {"corroded": 0.8, "gasketed": 0.1, "insulated": 0.02, "unknown": 0.3}


class ReadingSettings(_Part):
    """What the crew's readings are worth, and where hidden causes are looked for (all engineering estimates)."""

    noise_share: Positive = 0.05  # standard deviation of a reading's logarithm
    model_share: Positive = 0.02  # what the solution itself is off by, likewise (docs/method.md, Sections)
    offset_noise_m: Positive = 0.1  # of the place of a peak
    search_m: Positive = 1.0  # either side of the recorded line, where a crew that reads it looks for its peak
    clamp_floor_ma: Positive = 0.1  # least current that a clamp reads
    common_share: Positive = 0.1  # of a factor common to all receiver currents of a line in one set-up, logarithm
    outlier_share: Annotated[float, Field(gt=0, lt=0.5)] = 0.03
    outlier_spread: Positive = 1.0  # standard deviation that an outlier adds, logarithm or metres
    soil_low: Annotated[float, Field(gt=0, lt=1)] = 0.3  # the soil's factor is looked for between these
    soil_high: Annotated[float, Field(gt=1)] = 3.0
    soil_spread: Positive = 0.7  # standard deviation of its logarithm before the readings
    soil_points: Annotated[int, Field(ge=3, le=25)] = 7  # solved, and interpolated between
    depth_spread: Positive = 0.12  # of a line's depth, standard deviation of the logarithm: 90 % within a fifth
    position_m: Positive = 0.17  # of a line's place across its direction, standard deviation: 0.3 m and no more
    geometries: Annotated[int, Field(ge=4, le=128)] = 16  # networks solved with other depths and places, at most
    hidden_odds: Positive = 1.0  # of any cause that no record speaks of, against none
    causes_max: Annotated[int, Field(ge=1, le=500)] = 80
    pairs_of: Annotated[int, Field(ge=0, le=20)] = 6  # the likeliest causes, also looked at two by two
    station_m: Positive = 0.3  # how well the place of a reading along its line is known, standard deviation
    place_reach_m: Positive = 5.0  # a reading farther from its line is refused


class PlanSettings(_Part):
    """How set-ups are chosen and shared out."""

    near: Share = 0.15  # readable in so much less of the draws than a piece's best counts as the best
    pulled_worth: Share = 0.1  # a pulled reading against a readable one: there is tone, but not the place
    max_setups: Annotated[int, Field(ge=1)] | None = None
    solver_seconds: Positive = 10.0
    crews: Annotated[int, Field(ge=1, le=50)] = 1
    setup_minutes: Positive = 20.0  # of a crew at one set-up (engineering estimate)
    walking_m_per_s: Positive = 1.0
    interference_nt: Positive = 2.0  # another crew's tone from which a receiver may take it for its own
    efficiency: Annotated[float, Field(gt=0, le=1)] = 0.5  # power into the loop over power from the battery
    idle_w: Annotated[float, Field(ge=0)] = 1.0


class CheckSettings(_Part):
    """What a crew's checks of a mark can tell (engineering estimates, but for the rule of 15 cm: common practice)."""

    gap_rule_m: Positive = 0.15  # peak and null this near to each other are taken as agreeing
    gap_noise_m: Positive = 0.05  # how exactly a crew finds their distance
    lift_m: Annotated[float, Field(gt=0, le=1)] = 0.5  # how far the receiver is lifted
    lift_noise_share: Positive = 0.05  # of the depth shown then: coils alike to 1 %
    symmetry_noise: Positive = 0.1  # of left minus right half height over their sum
    current_noise_share: Positive = 0.2  # of a ratio of two currents along a line
    beside_share: Positive = 0.3  # of the target's current on a line beside it, from which the two show one peak


class ReportSettings(_Part):
    """Conventions of a place, for maps and styles only (docs/conventions.md)."""

    colours: Literal["apwa", "as_5488", "street_works_uk"] = "apwa"
    quality_levels: Literal["asce_38_22", "pas_128_2022", "as_5488_2022"] = "asce_38_22"


class Estimate(_Part):
    """A rate as low, likely and high: what the least, the likeliest and the most effort come from."""

    low: Annotated[float, Field(ge=0)]
    likely: Annotated[float, Field(ge=0)]
    high: Annotated[float, Field(ge=0)]

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not self.low <= self.likely <= self.high:
            message = f"need low <= likely <= high, got {self.low:g}, {self.likely:g}, {self.high:g}"
            raise ValueError(message)
        return self


def _estimate(low: float, likely: float, high: float) -> Estimate:
    return Estimate(low=low, likely=likely, high=high)


class ScopeRates(_Part):
    """What locating a large excavation takes. Every default is an estimate, no source: replace them by your own."""

    setup_minutes: Estimate = _estimate(15, 25, 45)  # estimate, no source: of a crew, for one set-up
    repeat_share: Estimate = _estimate(0, 0.15, 0.4)  # estimate, no source: set-ups made again, or in another place
    trace_minutes_per_100m: Estimate = _estimate(10, 20, 40)  # estimate, no source: along a line that tone shows
    other_minutes_per_100m: Estimate = _estimate(30, 60, 120)  # estimate, no source: other methods, where not
    sweep_minutes_per_1000m2: Estimate = _estimate(5, 10, 20)  # estimate, no source: for lines that no record shows
    setups_per_100m: Estimate = _estimate(0.8, 1.5, 3)  # estimate, no source: where no set-ups were computed
    not_shown_share: Estimate = _estimate(0.1, 0.3, 0.6)  # estimate, no source: of metal, where no grades were computed
    test_hole_hours: Estimate = _estimate(1.5, 3, 6)  # estimate, no source: of a crew that digs, for one hole
    day_hours: Positive = 6.0  # estimate, no source: of a crew on site, without ways and waiting
    closures_per_100m: dict[str, Estimate] = {  # estimates, no source: while lines on a surface are traced
        "carriageway": _estimate(0.3, 0.6, 1.2),
        "footway": _estimate(0.1, 0.3, 0.6),
        "private": _estimate(0.5, 1, 2),
        "rail": _estimate(0.5, 1, 2),
        "verge": _estimate(0, 0, 0.2),
    }
    closures_per_hole: dict[str, Estimate] = {  # estimates, no source: several holes may share one
        "carriageway": _estimate(0.4, 0.7, 1),
        "footway": _estimate(0.4, 0.7, 1),
        "private": _estimate(0.4, 0.7, 1),
        "rail": _estimate(1, 1, 1),
        "verge": _estimate(0, 0, 0.5),
    }
    closure_hours: dict[str, Estimate] = {  # estimates, no source: one closure, set out and taken away
        "carriageway": _estimate(2, 4, 7),
        "footway": _estimate(1, 2, 4),
        "private": _estimate(1, 2, 4),
        "rail": _estimate(2, 4, 6),
        "verge": _estimate(0.5, 1, 2),
    }


class ScopeSettings(_Part):
    """Congestion and effort over a large excavation: cells, what is solved, what a dig meets, and rates."""

    cell_m: Annotated[float, Field(ge=2, le=1000)] = 20.0  # across: between two sides of a hexagon, or of a square
    shape: Literal["hexagon", "square"] = "hexagon"
    several_from: Annotated[int, Field(ge=2)] = 3  # recorded lines in a cell from which they are several, not few
    many_from: Annotated[int, Field(ge=3)] = 6
    very_many_from: Annotated[int, Field(ge=4)] = 10
    near_hz: tuple[Positive, ...] = (1e3, 1e4, 1e5)  # solved at the shared frequencies nearest to these; (): at all
    section_max_m: Positive = 8.0  # these five replace those of the solver: shares of a cell need less than a mark
    section_close_m: Positive = 4.0
    gamma_step: Positive = 0.5
    section_limit: Annotated[int, Field(ge=10)] = 6000  # of two metres: how much network a window holds
    growth_m: Positive = 40.0
    windows_most: Annotated[int, Field(ge=0)] | None = None  # solve so many, spread over the area; None: all
    depth_tolerance_m: Annotated[float, Field(ge=0)] = 0.3  # lines so far below the dig count as in it
    hole_spacing_m: Positive = 50.0  # most test holes on a line that tone doesn't show stand so far apart
    hole_merge_m: Annotated[float, Field(ge=0)] = 1.5  # one hole settles what lies so near
    crews_most: Annotated[int, Field(ge=1, le=50)] = 4  # days are told for one crew to so many
    rates: ScopeRates = ScopeRates()

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if not self.several_from < self.many_from < self.very_many_from:
            message = "scope: need several_from < many_from < very_many_from"
            raise ValueError(message)
        return self


class CitySettings(_Part):
    """Runs over a folder of tiles (docs/city_scale.md)."""

    tile_segments: Annotated[int, Field(ge=1)] = 50_000  # most segments in a tile: bounds what one run over it holds


class Settings(_Part):
    """All settings of a run; every part has defaults."""

    site: SiteSettings = SiteSettings()
    couplings: CouplingSettings = CouplingSettings()
    soil: SoilSettings = SoilSettings()
    solver: SolverSettings = SolverSettings()
    grades: GradeSettings = GradeSettings()
    receiver: ReceiverSettings = ReceiverSettings()
    passive: PassiveSettings = PassiveSettings()
    gate: GateSettings = GateSettings()
    safety: SafetySettings = SafetySettings()
    hookups: HookUpSettings = HookUpSettings()
    draws: DrawSettings = DrawSettings()
    plan: PlanSettings = PlanSettings()
    checks: CheckSettings = CheckSettings()
    readings: ReadingSettings = ReadingSettings()
    report: ReportSettings = ReportSettings()
    scope: ScopeSettings = ScopeSettings()
    city: CitySettings = CitySettings()
    seed: int = 0


class Transmitter(_Part):
    """Direct output: a source with three limits, and the currents it can be set to."""

    max_voltage_v: Positive
    max_current_ma: Positive
    max_power_w: Positive
    levels_ma: tuple[Positive, ...]
    battery_wh: Positive | None = None  # energy in the battery; NULL leaves the hours out


class Clamp(_Part):
    """A split core with a primary winding."""

    max_diameter_mm: Positive
    turns: Positive
    core_area_cm2: Positive
    saturation_t: Positive
    inductance_uh: Positive  # one-turn magnetising inductance


class Loop(_Part):
    """A tuned coil for induction from the surface."""

    area_m2: Positive
    inductance_uh: Positive  # of one turn
    quality_factor: Positive
    power_w: Positive
    height_m: Positive


class Stake(_Part):
    """The ground stake and its lead."""

    length_m: Positive
    diameter_mm: Positive
    lead_m: Positive


class Equipment(_Part):
    """A transmitter with its clamp, loop and stake, and the frequencies it shares with the receiver."""

    name: str
    generic: bool = False
    frequencies_hz: tuple[Annotated[float, Field(ge=FREQUENCY_MIN_HZ, le=FREQUENCY_MAX_HZ)], ...] = Field(min_length=1)
    receiver_frequencies_hz: tuple[Positive, ...] | None = None
    induction_min_hz: Positive = 5000.0
    transmitter: Transmitter
    clamp: Clamp | None = None
    loop: Loop | None = None
    stake: Stake

    @property
    def common_frequencies_hz(self) -> tuple[float, ...]:
        """Frequencies that both transmitter and receiver know, ascending."""
        heard = self.receiver_frequencies_hz
        return tuple(sorted({f for f in self.frequencies_hz if heard is None or f in heard}))


def load_settings(path: str | Path | None) -> Settings:
    """Read settings from a TOML file; None gives the defaults.

    Raises
    ------
    SettingsError
        If the file can't be read or a value is wrong; every mistake is listed.
    """
    if path is None:
        return Settings()
    data = read_toml(Path(path), "settings", error=SettingsError)
    try:
        return Settings.model_validate(data)
    except ValidationError as error:
        message = f"settings file {path}: {mistakes(error, Settings, data=data)}; correct it there"
        raise SettingsError(message) from None


def equipment_profiles() -> tuple[str, ...]:
    """Return the names of the built-in equipment profiles, generic all of them."""
    return tuple(sorted(_builtin()))


def load_equipment(name: str | Path | None) -> Equipment:
    """Return a built-in profile by name, or read one from a TOML file; None gives ``standard_output``.

    Raises
    ------
    EquipmentError
        If there is neither such a profile nor such a file, or a value is wrong.
    """
    builtin = _builtin()
    key = "standard_output" if name is None else str(name)
    if key in builtin:
        data = builtin[key] | {"name": key, "generic": True}
    elif Path(key).is_file():
        data = {"name": Path(key).stem} | read_toml(Path(key), "equipment", error=EquipmentError)
    else:
        message = f"expected an equipment profile ({', '.join(sorted(builtin))}) or a TOML file, got {key!r}"
        raise EquipmentError(message)
    try:
        return Equipment.model_validate(data)
    except ValidationError as error:
        message = f"equipment {key}: {mistakes(error, Equipment, data=data)}; correct it there"
        raise EquipmentError(message) from None


def _builtin() -> dict[str, dict[str, Any]]:
    return tomllib.loads(resources.files("corridor.data").joinpath("equipment.toml").read_text(encoding="utf-8"))
