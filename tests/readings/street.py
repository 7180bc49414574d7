"""An invented street of eight lines with much that may be hidden, and readings made up by a finer model of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor import Settings, Site, load_equipment
from corridor.couplings import find_couplings
from corridor.frames import table_frame
from corridor.network.build import build_network
from corridor.plan.prepare import Connected, prepare
from corridor.plan.stakes import stake_name
from corridor.readings import PlanTables
from corridor.readings.asked import asked_of, from_scale, receiver_of
from corridor.readings.bench import Response, benches
from corridor.readings.causes import Suspect, Variant, suspects_of
from corridor.readings.extend import Contact, Parting, Rod, extended
from corridor.readings.geometry import moved
from corridor.readings.judge import expectations, state_of
from corridor.readings.plan import set_ups_of
from corridor.readings.table import check_readings
from corridor.settings import ReadingSettings, SolverSettings
from corridor.tone.drive import place
from tests.builders import METRIC, make_site

EQUIPMENT = load_equipment(None)
SOLVER = SolverSettings(section_max_m=4.0, section_close_m=2.0, growth_step_m=1000.0, workers=1)
FINER = SolverSettings(
    section_max_m=2.0, section_close_m=1.0, section_min_m=0.15, gamma_step=0.075, growth_step_m=1000.0, workers=1
)
SETTINGS = Settings(solver=SOLVER)

TELE = {"utility": "telecommunications", "asset": "cable", "material": "copper", "coating": "polyethylene",
        "diameter_mm": 14.0, "conductor_mm2": 20.0, "depth_m": 0.7}  # fmt: skip
WATER = {"utility": "water", "asset": "pipe", "material": "steel", "coating": "bitumen", "joints": "welded",
         "diameter_mm": 150.0, "depth_m": 1.2}  # fmt: skip
GAS = {"utility": "gas", "asset": "pipe", "material": "steel", "coating": "polyethylene", "joints": "welded",
       "diameter_mm": 110.0, "depth_m": 0.9}  # fmt: skip
LAMP = {"utility": "lighting", "asset": "cable", "material": "copper", "coating": "pvc", "diameter_mm": 18.0,
        "conductor_mm2": 10.0, "depth_m": 0.6, "energized": "no"}  # fmt: skip


def street_site(length_m: float = 100.0) -> Site:
    """Four lines along a street, two crossing it, two services; what is recorded of their bonds and grounds."""
    end = length_m
    lines = [
        TELE | {"line_id": "T1", "geometry": [(0, 0), (end, 0)]},
        WATER | {"line_id": "W1", "geometry": [(0, -3.2), (end, -3.2)]},
        GAS | {"line_id": "G1", "geometry": [(0, 4.0), (end, 4.0)]},
        LAMP | {"line_id": "L1", "geometry": [(0, 1.6), (end, 1.6)]},
        TELE | {"line_id": "T2", "geometry": [(0.3 * end, -6), (0.3 * end, 6)], "depth_m": 0.9},
        WATER | {"line_id": "W2", "geometry": [(0.7 * end, -3.2), (0.7 * end, 9)], "diameter_mm": 50.0, "depth_m": 1.0},
        GAS | {"line_id": "G2", "geometry": [(0.55 * end, 4.0), (0.55 * end, -8)], "diameter_mm": 63.0, "depth_m": 0.8},
        LAMP | {"line_id": "L2", "geometry": [(0.85 * end, 1.6), (0.85 * end, 7)], "depth_m": 0.5},
    ]
    places = {"C1": (0, 0), "C2": (0.25 * end, 0), "C3": (0.6 * end, 0), "C4": (end, 0), "V1": (0, -3.2),
              "V2": (end, -3.2), "P1": (0, 1.6), "P2": (end, 1.6), "B1": (0, 4.0), "B2": (end, 4.0)}  # fmt: skip
    kinds = {"C": "handhole", "V": "valve", "P": "cabinet", "B": "valve"}
    at = {"C1": ("T1", "start"), "C2": ("T1", "through"), "C3": ("T1", "through"), "C4": ("T1", "end"),
          "V1": ("W1", "start"), "V2": ("W1", "end"), "P1": ("L1", "start"), "P2": ("L1", "end"),
          "B1": ("G1", "start"), "B2": ("G1", "end")}  # fmt: skip
    bond = {"state": "unknown", "evidence": "suspected", "probability": 0.2, "resistance_ohm": 0.01}
    return make_site(
        lines=lines,
        structures=[
            {"structure_id": name, "kind": kinds[name[0]], "access": "footway", "geometry": xy}
            for name, xy in places.items()
        ],
        terminations=[
            {"structure_id": name, "line_id": line, "at": how, "direct": "yes", "clamp": "yes"}
            for name, (line, how) in at.items()
        ]
        + [{"structure_id": "C1", "line_id": "L1", "at": "start", "direct": "yes", "clamp": "yes"}],
        bonds=[
            bond | {"bond_id": "X1", "line_a": "T1", "line_b": "W1", "geometry": (0.6 * end, 0)},
            bond | {"bond_id": "X2", "line_a": "L1", "line_b": "T1", "geometry": (end, 0.8)},
        ],
        grounds=[
            {"ground_id": "g1", "line_id": "T1", "geometry": (end, 0), "resistance_ohm": 20.0, "evidence": "recorded"},
            {"ground_id": "g2", "line_id": "L1", "geometry": (end, 1.6), "resistance_ohm": 15.0,
             "evidence": "recorded"},
            {"ground_id": "g3", "line_id": "L1", "geometry": (0, 1.6), "resistance_ohm": 30.0, "evidence": "recorded"},
        ],
        soil=[{"geometry": [(-500, -500), (500, -500), (500, 500), (-500, 500)], "resistivity_ohm_m": 100.0,
               "low_ohm_m": 30.0, "high_ohm_m": 300.0}],
    )  # fmt: skip


def street_plan(settings: Settings = SETTINGS) -> PlanTables:
    """Two set-ups: direct on the telecommunications cable, a clamp on the lighting cable."""
    spots = [(0.0, 0.0), (0.0, 1.6), (0.0, -3.2)]
    hookups = [
        {"hookup_id": "direct:T1:C1", "structure_id": "C1", "line_id": "T1", "mode": "direct", "at_m": 0.0,
         "ready": "ready", "stake_x_m": -4.0, "stake_y_m": -3.5},
        {"hookup_id": "clamp:L1:P1", "structure_id": "P1", "line_id": "L1", "mode": "clamp", "at_m": 0.0,
         "ready": "ready"},
        {"hookup_id": "direct:W1:V1", "structure_id": "V1", "line_id": "W1", "mode": "direct", "at_m": 0.0,
         "ready": "ready", "stake_x_m": -5.0, "stake_y_m": -6.0},
    ]  # fmt: skip
    setups = pd.DataFrame({
        "setup_id": ["S0", "S1", "S2", "S3"], "step": [1, 2, 3, 4], "kind": ["sweep", "setup", "setup", "setup"],
        "hookup_id": [None, "direct:T1:C1", "clamp:L1:P1", "direct:W1:V1"],
        "frequency_hz": [math.nan, 1000.0, 10_000.0, 1000.0], "level_ma": [math.nan, 50.0, 50.0, 50.0],
    })  # fmt: skip
    return PlanTables(
        gpd.GeoDataFrame(setups, geometry=[None] * 4, crs=METRIC),
        table_frame("hookups", hookups, geometry=gpd.points_from_xy(*zip(*spots, strict=True)), crs=METRIC),
        settings,
        EQUIPMENT,
    )


def street_rows(site: Site) -> pd.DataFrame:
    """Readings that a crew would be asked for, without values: source, clamps, currents along all four lines."""
    rows: list[dict[str, Any]] = [
        {"setup_id": setup, "kind": kind} for setup in ("S1", "S3") for kind in ("source_ma", "source_v", "source_ohm")
    ] + [{"setup_id": "S2", "kind": "source_ma"}]
    length = float(site.lines.set_index("line_id").geometry.loc["T1"].length)
    for setup in ("S1", "S2", "S3"):
        for line in ("T1", "L1", "W1", "G1"):
            target = {"S1": "T1", "S2": "L1", "S3": "W1"}[setup] == line
            shares = (0.12, 0.4, 0.5, 0.75, 0.95) if target else (0.2, 0.5, 0.8)
            rows += [
                {"setup_id": setup, "line_id": line, "kind": "receiver_ma", "station_m": s * length} for s in shares
            ]
    rows += [{"setup_id": "S1", "line_id": "T1", "kind": "clamp_ma", "station_m": s * length} for s in (0.25, 0.6, 1.0)]
    rows += [{"setup_id": "S1", "line_id": "T1", "kind": "depth_reading_m", "station_m": 0.4 * length}]
    rows += [{"setup_id": "S1", "line_id": "T1", "kind": "peak_offset_m", "station_m": 0.4 * length}]
    return pd.DataFrame(rows).reindex(
        columns=["setup_id", "line_id", "station_m", "x_m", "y_m", "frequency_hz", "kind", "value", "time", "note"]
    )


@dataclass(frozen=True)
class Truth:
    """What was in the ground, and what was read of it."""

    cause: str
    soil_factor: float
    apart: float
    readings: pd.DataFrame
    current_ma: np.ndarray
    value: np.ndarray


class Ground:
    """The street as it may really be: finer sections, and any of the causes."""

    def __init__(self, site: Site, plan: PlanTables, rows: pd.DataFrame) -> None:
        self.site, self.plan, self.rows = site, plan, rows
        self.settings = plan.settings.model_copy(update={"solver": FINER})
        setups = set_ups_of(plan)
        self.setups = {
            name: setup for name, setup in setups.items() if setup is not None and name in set(rows["setup_id"])
        }
        self.table = check_readings(rows, site, setups, settings=ReadingSettings())
        couplings = find_couplings(site, settings=self.settings)
        network = build_network(site, couplings.bonds_found, settings=self.settings)
        self.connected = Connected(site, couplings, network, plan.hookups, {})
        self.names = list(self.setups)
        frequencies = sorted({setup.frequency_hz for setup in self.setups.values()})
        self.prepared = prepare(
            self.connected, [s.hookup for s in self.setups.values()], self.names, frequencies_hz=frequencies,
            equipment=plan.equipment, settings=self.settings,
        )  # fmt: skip
        coarse = prepare(
            self.connected, [s.hookup for s in self.setups.values()], self.names, frequencies_hz=frequencies,
            equipment=plan.equipment, settings=plan.settings,
        )  # fmt: skip
        self.suspects, _ = suspects_of(self.connected, coarse, read=self.table["line_id"], settings=plan.settings)
        self._coarse = coarse.model

    def truth(
        self, seed: int, cause: Suspect | None, *, noise: float = 0.05, outliers: float = 0.03, held_out: float = 0.0,
        common: float = 0.0,
    ) -> Truth:  # fmt: skip
        """Draw soil, depths, places, the cause's own figures and errors of reading, and read.

        ``common`` is the spread of a factor on the receiver's currents along one line in one set-up.
        """
        rng = np.random.default_rng(seed)
        soil = float(np.exp(rng.uniform(math.log(0.5), math.log(2.0))))
        lines = len(self.prepared.model.line_ids)
        depth, shift = rng.uniform(0.8, 1.2, lines), rng.uniform(-0.3, 0.3, (lines, 2))
        placed, variant = self._placed(cause, rng)
        room = extended(self.prepared.model, self.prepared.drives, placed, soil=self.prepared.soil)
        drives, meant = list(room.drives), {name: (k,) for k, name in enumerate(self.names)}
        if cause is not None and cause.other is not None:
            shape = self.site.lines.set_index("line_id").geometry.loc[cause.other.line_id]
            stake = stake_name(self.names[cause.drive]) if cause.other.mode == "direct" else None
            drives.append(place(room.model, cause.other, shape, stake=stake, equipment=EQUIPMENT))
            variant = Variant(moved=((cause.drive, len(drives) - 1),))
            meant = {name: (*meant[name], len(drives) - 1) for name in self.names}
        if room.index:
            variant = Variant(ohms=((room.index[0], variant.ohms[0][1]),))
        asked = asked_of(self.table, self.site.lines, self.setups, meant, settings=self.settings)
        (bench,) = benches(
            [(moved(room.model, depth, shift), (soil,))], drives, sorted({e for e, _ in variant.ohms}),
            frequencies_hz=sorted({one.frequency_hz for one in asked}), soil=self.prepared.soil, equipment=EQUIPMENT,
            receiver=receiver_of(self.settings),
        )  # fmt: skip
        response: Response = bench.respond([(), state_of(variant)], asked)
        without, expected = expectations(
            response, [], [(Variant(), 0), (variant, 1)], asked, nominal=0, equipment=EQUIPMENT,
            solved=(soil,), factors=np.array([soil]),
        )  # fmt: skip
        scale = np.array([noise if one.logarithmic else 0.1 for one in asked])
        apart = np.where(expected.lost | without.lost, 0.0, (expected.reading - without.reading)[0] / scale)
        wrong = rng.random(len(asked)) < outliers
        scaled = expected.reading[0] + rng.normal(size=len(asked)) * scale + wrong * rng.normal(size=len(asked))
        factor = {(one.setup_id, one.line_id): rng.normal() * common for one in asked}
        scaled += [factor[one.setup_id, one.line_id] if one.kind == "receiver_ma" else 0.0 for one in asked]
        value = from_scale(asked, scaled)
        shown = np.where((rng.random(len(asked)) < held_out) | expected.lost, np.nan, value)
        return Truth(
            "none" if cause is None else cause.cause_id, soil, float(np.hypot.reduce(apart)),
            self.rows.assign(value=shown), np.exp(expected.current[0]), np.where(expected.lost, np.nan, value),
        )  # fmt: skip

    def drawn(self, seed: int, *, visible: float, **how: float) -> Truth:
        """Return the truth for a cause drawn at random among those that change the readings enough to be seen."""
        rng = np.random.default_rng([seed, 1])
        for number in rng.permutation(len(self.suspects)):
            truth = self.truth(seed, self.suspects[number], **how)
            if truth.apart >= visible:
                return truth
        raise AssertionError("no cause can be seen")

    def _placed(
        self, cause: Suspect | None, rng: np.random.Generator
    ) -> tuple[Sequence[Contact | Rod | Parting], Variant]:
        """Return what the network is given for a cause, and how the cause is: its own figures drawn."""
        ohm = float(np.exp(rng.uniform(math.log(0.01), math.log(3.0))))
        times, lead = float(np.exp(rng.uniform(math.log(2), math.log(15)))), rng.uniform(0, 50)
        aside = rng.uniform(-2, 2)
        if cause is None:
            return [], Variant()
        if cause.kind == "poor_stake":
            return [], Variant(stakes=((cause.drive, (times - 1.0) * cause.stake_ohm),))
        if cause.kind == "wrong_line":
            return [], Variant()
        if isinstance(cause.needs, Contact):
            at_m = cause.needs.at_a_m + (aside if "structure" not in cause.place else 0.0)
            return [replace(cause.needs, at_a_m=max(at_m, 0.0))], Variant(ohms=((-1, ohm),))
        if isinstance(cause.needs, Rod):
            return [cause.needs], Variant(ohms=((-1, lead),))
        if isinstance(cause.needs, Parting):
            return [Parting(self._section(cause.line_a, cause.measures[0] + aside))], Variant(ohms=((-1, math.inf),))
        names = {(self._coarse.elements[e].kind, self._coarse.elements[e].source_id) for e in cause.switch}
        same = [k for k, e in enumerate(self.prepared.model.elements) if (e.kind, e.source_id) in names]
        return [], Variant(ohms=tuple((k, ohm if cause.kind == "bond_conducts" else math.inf) for k in same))

    def _section(self, line: str, at_m: float) -> int:
        """Return the section of the finer network whose head, inside a chain, is nearest to a place."""
        model = self.prepared.model
        own = model.sections_of(line)
        inner = own[1:][model.layout.chain[own[1:]] == model.layout.chain[own[:-1]]]
        return int(inner[np.abs(model.measure_m[inner, 0] - at_m).argmin()])
