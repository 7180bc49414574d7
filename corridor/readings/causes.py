"""What may lie behind readings that the records don't explain: a list of single causes, made from the site."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.couplings.places import conducts, lines_at
from corridor.plan.prepare import Connected, Prepared
from corridor.readings.extend import Contact, Parting, Rod
from corridor.settings import Settings
from corridor.tone.electrodes import rod_resistance
from corridor.tone.hookup import HookUp
from corridor.tone.model import Element, ToneModel

__all__ = ["NONE_ID", "Suspect", "Variant", "suspects_of"]

NONE_ID = "none"
SAME_PLACE_M = 2.0  # a second contact of the same two lines so near is the same one
RODS_APART_M = 0.5  # two rods in one place would be one
CLOSE_M = 1.0  # parallel lines so near may touch
PARTING_M = 20.0  # a line is looked at for an open joint about so often
PARTING_CLEAR_M = 1.0  # away from where something is connected
PARTINGS_MAX = 6  # a line
ODDS_MIN = 0.02  # of a bond on record that isn't as it says
ODDS_MAX = 1.0

# how likely causes that no record speaks of are against each other (engineering estimates)
WEIGHT = {
    "structure": 3.0, "crossing": 1.0, "close": 1.0, "joint_open": 1.0, "joints_conduct": 1.0, "hidden_ground": 1.0,
    "ground_open": 2.0, "poor_stake": 3.0, "wrong_line": 2.0, "bond_open": 2.0, "bond_conducts": 1.0,
}  # fmt: skip
HIDDEN_BOND_OHM = (0.01, 0.3, 3.0)
KNOWN_BOND_OHM = (0.01, 1.0)
ROD_LEAD_OHM = (0.001, 10.0, 50.0)  # what a spare rod's resistance goes up by
PARTED_OHM = (math.inf, 100.0)
STAKE_TIMES = (2.0, 5.0, 15.0)  # a poor stake's resistance over what the soil gives


@dataclass(frozen=True)
class Variant:
    """One way in which a cause, or two together, may be.

    ``ohms`` are elements and their impedances, ``stakes`` drives and what is in series with their stakes (ohm),
    ``moved`` drives that in truth are others.
    """

    ohms: tuple[tuple[int, float], ...] = ()
    stakes: tuple[tuple[int, float], ...] = ()
    moved: tuple[tuple[int, int], ...] = ()

    def with_other(self, other: Variant) -> Variant | None:
        """Return both at once; None where they speak of the same thing."""
        both = Variant(self.ohms + other.ohms, self.stakes + other.stakes, self.moved + other.moved)
        for pairs in (both.ohms, both.stakes, both.moved):
            if len({key for key, _ in pairs}) != len(pairs):
                return None
        return both


@dataclass(frozen=True)
class Suspect:
    """A cause that may be: what, where, and how likely against nothing being hidden.

    ``odds`` is its own where a record gives one, else NaN and ``weight`` counts among the others. ``needs`` is what the
    network must be given for it, ``switch`` the elements it concerns, ``drive`` the hook-up, ``other`` the hook-up
    on the wrong line. ``source_id`` is the bond's or ground's on record.
    """

    kind: str
    line_a: str
    line_b: str | None
    place: str
    xy_m: tuple[float, float]
    weight: float = 1.0
    odds: float = math.nan
    needs: Contact | Rod | Parting | None = None
    switch: tuple[int, ...] = ()
    drive: int = -1
    other: HookUp | None = None
    other_drive: int = -1
    stake_ohm: float = math.nan
    source_id: str | None = None
    measures: tuple[float, ...] = field(default=())

    @property
    def cause_id(self) -> str:
        """Stable name: kind and what it concerns."""
        lines = self.line_a if self.line_b is None else f"{self.line_a}~{self.line_b}"
        return f"{self.kind}:{lines}:{self.source_id or self.place}"

    def variants(self) -> tuple[Variant, ...]:
        """Return the ways in which it may be, all equally likely."""
        if self.kind == "poor_stake":
            return tuple(Variant(stakes=((self.drive, (k - 1.0) * self.stake_ohm),)) for k in STAKE_TIMES)
        if self.kind == "wrong_line":
            return (Variant(moved=((self.drive, self.other_drive),)),)
        ohms = {
            "bond_conducts": KNOWN_BOND_OHM, "hidden_bond": HIDDEN_BOND_OHM, "hidden_ground": ROD_LEAD_OHM,
            "joint_open": PARTED_OHM, "joints_conduct": (0.01,),
        }.get(self.kind, (math.inf,))  # fmt: skip
        return tuple(Variant(ohms=tuple((element, ohm) for element in self.switch)) for ohm in ohms)


def suspects_of(
    connected: Connected, prepared: Prepared, *, read: Iterable[str], settings: Settings
) -> tuple[tuple[Suspect, ...], int]:
    """List the single causes that may explain readings, and count those left out.

    Bonds and joints on record that may not be as they say; bonds that nobody recorded, where conductors meet at one
    structure, cross, or run within a metre of each other; an open joint along the lines hooked up; a ground that is
    lost, or that nobody recorded; a poor stake; the next line at the same structure hooked up instead.

    Parameters
    ----------
    connected : Connected
        The site with its couplings.
    prepared : Prepared
        The network solved, with one drive a set-up.
    read : iterable of str
        Lines that were read.
    settings : Settings
        Part ``readings``: how many, how likely.

    Returns
    -------
    tuple of (tuple of Suspect, int)
        The causes, those about the lines hooked up and read first, each with its odds; and how many were left out.
    """
    lister = _Lister(connected, prepared, settings)
    found = [
        *lister.elements(), *lister.stakes(), *lister.wrong_lines(), *lister.partings(), *lister.contacts(),
        *lister.rods(),
    ]  # fmt: skip
    targets = {drive.hookup.line_id for drive in prepared.drives}
    seen = targets | set(read)

    def distance(suspect: Suspect) -> int:
        lines = {suspect.line_a, suspect.line_b} - {None}
        return -len(lines & targets) - len(lines & seen)

    unique = list({suspect.cause_id: suspect for suspect in found}.values())
    recorded = [s for s in unique if not math.isnan(s.odds)]
    hidden = sorted((s for s in unique if math.isnan(s.odds)), key=lambda s: (distance(s), s.cause_id))
    limit = max(settings.readings.causes_max - len(recorded), 0)
    kept, lost = hidden[:limit], len(hidden[limit:])
    total = sum(suspect.weight for suspect in kept)
    kept = [replace(s, odds=settings.readings.hidden_odds * s.weight / total) for s in kept]
    return tuple(sorted((*recorded, *kept), key=lambda s: s.cause_id)), lost


class _Lister:
    """Everything the causes are listed from."""

    def __init__(self, connected: Connected, prepared: Prepared, settings: Settings) -> None:
        self._site, self._couplings = connected.site, connected.couplings
        self._model, self._drives, self._soil = prepared.model, prepared.drives, prepared.soil
        self._reach_m = settings.site.structure_reach_m
        self._lines = self._site.lines.set_index("line_id").geometry
        self._in_model = set(self._model.line_ids)

    def elements(self) -> Iterator[Suspect]:
        """Yield bonds, grounds and joints of the records that may not be as they are solved."""
        joints: dict[str, list[int]] = defaultdict(list)
        for number, element in enumerate(self._model.elements):
            if element.kind in ("bond", "isolation"):
                yield self._bond(number, element)
            elif (
                element.kind == "ground" and element.evidence is not None and not element.source_id.startswith("beyond")
            ):
                yield Suspect(
                    "ground_open", element.line_a, None, f"ground {element.source_id}", self._xy(element.node_a),
                    weight=WEIGHT["ground_open"], switch=(number,), source_id=element.source_id,
                    odds=_odds(1.0 - _sure(element)) if element.switchable else math.nan,
                )  # fmt: skip
            elif element.kind == "joint" and not element.closed:
                joints[element.line_a].append(number)
        for line, numbers in joints.items():
            yield Suspect(
                "joints_conduct", line, None, "all joints", self._middle(line), weight=WEIGHT["joints_conduct"],
                switch=tuple(numbers),
            )  # fmt: skip

    def _bond(self, number: int, element: Element) -> Suspect:
        kind = "bond_open" if element.closed else "bond_conducts"
        chance = 1.0 - _sure(element) if element.closed else _sure(element)
        own = element.switchable and element.kind == "bond" and element.evidence is not None
        where = f"bond {element.source_id}" if element.kind == "bond" else f"isolating joint {element.source_id}"
        return Suspect(
            kind, element.line_a, element.line_b, where, self._xy(element.node_a), weight=WEIGHT[kind],
            odds=_odds(chance) if own else math.nan, switch=(number,), source_id=element.source_id,
        )  # fmt: skip

    def stakes(self) -> Iterator[Suspect]:
        """Yield a poor stake for each hook-up that has one."""
        for number, drive in enumerate(self._drives):
            if drive.hookup.mode == "direct" and drive.hookup.far_end != "returned":
                rod = self._model.electrodes[self._rod_at(drive.return_node)]
                ohm = rod_resistance(rod.length_m, rod.radius_m, self._soil.nominal_ohm_m)
                yield Suspect(
                    "poor_stake", drive.hookup.line_id, None, f"stake of {drive.hookup.hookup_id}",
                    rod.xy_m, weight=WEIGHT["poor_stake"], drive=number, stake_ohm=ohm,
                )  # fmt: skip

    def wrong_lines(self) -> Iterator[Suspect]:
        """Yield, for each hook-up at a structure, the other conductors that end or pass there."""
        metal = self._site.lines[conducts(self._site.lines)]
        for number, drive in enumerate(self._drives):
            hookup = drive.hookup
            if hookup.structure_id is None or hookup.at_m is None or hookup.mode == "induction":
                continue
            point = self._lines.loc[hookup.line_id].interpolate(hookup.at_m)
            near = lines_at(metal, np.array([point]), reach_m=max(self._reach_m, CLOSE_M))
            stated = self._site.terminations
            here = set(stated.loc[stated["structure_id"] == hookup.structure_id, "line_id"])
            names = [str(metal["line_id"].iloc[row]) for row in near["line"]]
            for line in sorted({*names, *here} & self._in_model - {hookup.line_id}):
                at_m = float(self._lines.loc[line].project(point))
                yield Suspect(
                    "wrong_line", hookup.line_id, line, f"structure {hookup.structure_id}", (point.x, point.y),
                    weight=WEIGHT["wrong_line"], drive=number, other=replace(hookup, line_id=line, at_m=at_m),
                )  # fmt: skip

    def partings(self) -> Iterator[Suspect]:
        """Yield places of the lines hooked up where a joint may be open, between what is connected to them."""
        model = self._model
        held = {node for e in model.elements for node in (e.node_a, e.node_b)} | {d.node for d in self._drives}
        for line in sorted({drive.hookup.line_id for drive in self._drives}):
            own = model.sections_of(line)
            heads = model.layout.start_node[own]
            inner = own[1:][model.layout.chain[own[1:]] == model.layout.chain[own[:-1]]]
            at_m = model.measure_m[inner, 0]
            ends = {*model.measure_m[own[[0, -1]]].ravel()[[0, 3]].tolist()}
            busy = sorted(
                ends | {float(model.measure_m[s, 0]) for s, h in zip(own, heads, strict=True) if int(h) in held}
            )
            for place in _between(busy)[:PARTINGS_MAX]:
                if not inner.size:
                    break
                best = int(np.abs(at_m - place).argmin())
                section = int(inner[best])
                if int(model.layout.start_node[section]) in held or abs(at_m[best] - place) > PARTING_M / 2:
                    continue
                point = self._lines.loc[line].interpolate(float(at_m[best]))
                yield Suspect(
                    "joint_open", line, None, f"{at_m[best]:.0f} m along it", (point.x, point.y),
                    weight=WEIGHT["joint_open"], needs=Parting(section), measures=(float(at_m[best]),),
                )  # fmt: skip

    def contacts(self) -> Iterator[Suspect]:
        """Yield bonds that nobody recorded: at structures, at crossings, and where lines lie close together."""
        taken: dict[tuple[str, str], list[shapely.Point]] = defaultdict(list)
        for element in self._model.elements:
            if element.line_a != element.line_b:
                pair = sorted((element.line_a, element.line_b))
                taken[pair[0], pair[1]].append(shapely.Point(self._xy(element.node_a)))
        for why, a, b, point, where in (*self._structure_pairs(), *self._crossings(), *self._close()):
            if not {a, b} <= self._in_model or any(point.distance(p) <= SAME_PLACE_M for p in taken[a, b]):
                continue
            taken[a, b].append(point)
            at = tuple(float(self._lines.loc[line].project(point)) for line in (a, b))
            yield Suspect(
                "hidden_bond", a, b, where, (point.x, point.y), weight=WEIGHT[why],
                needs=Contact(a, at[0], b, at[1]), measures=at,
            )  # fmt: skip

    def _structure_pairs(self) -> Iterator[tuple[str, str, str, shapely.Point, str]]:
        metal = self._site.lines[conducts(self._site.lines) & self._site.lines["line_id"].isin(self._in_model)]
        places = self._site.structures.sort_values("structure_id", kind="stable")
        if metal.empty or places.empty:
            return
        at = lines_at(metal, places.geometry.to_numpy(), reach_m=self._reach_m)
        names = metal["line_id"].to_numpy(dtype=object)
        for place, rows in at.groupby("point"):
            point, structure = places.geometry.iloc[place], places["structure_id"].iloc[place]
            for a, b in combinations(sorted(str(names[row]) for row in rows["line"]), 2):
                yield "structure", a, b, point, f"structure {structure}"

    def _crossings(self) -> Iterator[tuple[str, str, str, shapely.Point, str]]:
        table = self._couplings.crossings
        for a, b, point in zip(table["line_a"], table["line_b"], table.geometry, strict=True):
            yield "crossing", str(a), str(b), point, self._along("crossing", str(a), point)

    def _close(self) -> Iterator[tuple[str, str, str, shapely.Point, str]]:
        table = self._couplings.parallel_runs
        for row in table[table["separation_min_m"] <= CLOSE_M].itertuples(index=False):
            other = self._lines.loc[row.line_b]
            point = row.geometry.interpolate(_nearest_m(row.geometry, other))
            yield "close", str(row.line_a), str(row.line_b), point, self._along("side by side", str(row.line_a), point)

    def _along(self, what: str, line: str, point: shapely.Point) -> str:
        return f"{what}, {self._lines.loc[line].project(point):.0f} m along {line}"

    def rods(self) -> Iterator[Suspect]:
        """Yield grounds that nobody recorded: at the ends of lines and at structures on the lines hooked up."""
        grounded = {
            (e.line_a, *np.round(self._xy(e.node_a), 0)) for e in self._model.elements if e.kind == "ground"
        }  # fmt: skip
        targets = {drive.hookup.line_id for drive in self._drives}
        used = {(d.hookup.line_id, round(d.hookup.at_m or 0.0)) for d in self._drives}
        points = self._site.structures.geometry.to_numpy()
        stand = [rod.xy_m for rod in self._model.electrodes]
        for line in sorted(self._in_model):
            shape = self._lines.loc[line]
            at_m = {0.0, shape.length}
            if line in targets and len(points):
                near = points[shapely.distance(points, shape) <= self._reach_m]
                at_m |= {float(shape.project(point)) for point in near}
            for at in _apart(sorted(at_m)):
                point = shape.interpolate(at)
                if (line, round(point.x), round(point.y)) in grounded or (line, round(at)) in used:
                    continue
                xy = (point.x, point.y)
                while any(math.dist(xy, other) < RODS_APART_M for other in stand):
                    xy = (xy[0] + RODS_APART_M, xy[1])
                stand.append(xy)
                yield Suspect(
                    "hidden_ground", line, None, f"{at:.0f} m along it", (point.x, point.y),
                    weight=WEIGHT["hidden_ground"], needs=Rod(line, at, xy), measures=(at,),
                )  # fmt: skip

    def _xy(self, node: int) -> tuple[float, float]:
        model: ToneModel = self._model
        section = min(int(np.searchsorted(model.layout.start_node, node, side="right")) - 1, model.n_sections - 1)
        at_head = int(model.layout.start_node[section]) == node
        x, y = (model.start_m if at_head else model.end_m)[section, :2] + model.origin_m
        return float(x), float(y)

    def _rod_at(self, node: int) -> int:
        heads: NDArray[np.int64] = self._model.layout.start_node[self._model.n_conducting :]
        return int(np.searchsorted(heads, node, side="right")) - 1

    def _middle(self, line: str) -> tuple[float, float]:
        point = self._lines.loc[line].interpolate(0.5, normalized=True)
        return point.x, point.y


def with_places(suspects: Sequence[Suspect], index: Mapping[int, int], others: Mapping[int, int]) -> list[Suspect]:
    """Return the causes with the elements and the drives that were put in for them.

    Parameters
    ----------
    suspects : sequence of Suspect
        As ``suspects_of`` gives them.
    index, others : mapping
        Element, and drive on the wrong line, by the number of the cause.
    """
    placed = []
    for number, suspect in enumerate(suspects):
        switch = (index[number],) if number in index else suspect.switch
        placed.append(replace(suspect, switch=switch, other_drive=others.get(number, -1)))
    return placed


def _sure(element: Element) -> float:
    """Return the probability that an element conducts."""
    return element.probability if not math.isnan(element.probability) else float(element.closed)


def _odds(chance: float) -> float:
    """Return the odds that a record isn't as it is solved, from the probability."""
    held = min(max(chance, 0.0), 0.5)
    return min(max(held / (1.0 - held), ODDS_MIN), ODDS_MAX)


def _between(busy: Sequence[float]) -> list[float]:
    """Return places between those where something is connected, one about every ``PARTING_M``, longest gaps first."""
    gaps = sorted(((high - low, low) for low, high in pairwise(busy)), key=lambda gap: (-gap[0], gap[1]))
    places = []
    for length, low in gaps:
        count = min(max(1, round(length / PARTING_M)), PARTINGS_MAX)
        if length > 2 * PARTING_CLEAR_M:
            places += [low + (k + 0.5) * length / count for k in range(count)]
    return places


def _apart(measures: Sequence[float]) -> list[float]:
    """Return ascending measures without those nearer than ``SAME_PLACE_M`` to the one before."""
    kept: list[float] = []
    for at in measures:
        if not kept or at - kept[-1] > SAME_PLACE_M:
            kept.append(at)
    return kept


def _nearest_m(shape: Any, other: Any) -> float:
    """Return the distance along a line at which it is nearest to another."""
    return float(shape.project(shapely.get_point(shapely.shortest_line(shape, other), 0)))
