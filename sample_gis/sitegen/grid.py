"""A grid of streets with pipe networks, cables and services: what the district and the excavation zone are made of."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

import numpy as np

from .draft import Draft, Line
from .services import Entry, put_entry, run_service
from .streets import EAST_WEST, NORTH_SOUTH, Street

WATER_M, GAS_M, POWER_M, TELEPHONE_M, LAMPS_M = -2.6, -0.9, 3.4, -4.4, 5.6
Segments = dict[tuple[str, int], list[Line]]


@dataclass
class Grid:
    """Streets on a grid.

    Attributes
    ----------
    draft : Draft
    xs, ys : tuple of float
        Centre lines of the north-south and of the east-west streets, m.
    beyond_m : float
        How far the streets go on beyond the outer crossings, m.
    lines : dict of str to dict
        Lines by trade, then by (``ew`` or ``ns``, number of the street), in order along the street.
    """

    draft: Draft
    xs: tuple[float, ...]
    ys: tuple[float, ...]
    beyond_m: float
    lines: dict[str, Segments] = field(default_factory=dict)

    def street(self, way: str, number: int) -> Street:
        """Return a street by way (``ew`` or ``ns``) and number."""
        return Street(EAST_WEST, self.ys[number]) if way == "ew" else Street(NORTH_SOUTH, self.xs[number])

    def ends(self, way: str) -> tuple[float, float]:
        """Return the first and last station, m, of a line along a street, a little different each time."""
        crossings = self.xs if way == "ew" else self.ys
        spare = self.draft.rng.uniform(0.0, 12.0, 2).round(1)
        return crossings[0] - self.beyond_m + float(spare[0]), crossings[-1] + self.beyond_m - float(spare[1])

    def lay_pipes(
        self, trade: str, template: str, offset_m: float, streets: Sequence[tuple[str, int]], *, isolating_joints: int
    ) -> None:
        """Lay pipes along streets, joined at valves where two of the streets cross; some joints there are isolating."""
        nodes: dict[tuple[int, int], list[tuple[Line, str]]] = {}
        for way, number in streets:
            others = sorted(other for kind, other in streets if kind != way)
            crossings = self.xs if way == "ew" else self.ys
            first, last = self.ends(way)
            stops = [first, *(crossings[other] + offset_m for other in others), last]
            street = self.street(way, number)
            laid = [self.draft.line(template, street.main(offset_m, a, b, self.draft.rng)) for a, b in pairwise(stops)]
            self.lines.setdefault(trade, {})[way, number] = laid
            for (before, after), other in zip(pairwise(laid), others, strict=True):
                node = (other, number) if way == "ew" else (number, other)
                nodes.setdefault(node, []).extend([(before, "end"), (after, "start")])
        stubs = sorted((node, line.line_id) for node, standing in nodes.items() for line, _ in standing)
        lot = self.draft.rng.permutation(len(stubs))[:isolating_joints]
        isolating = {stubs[index] for index in lot}
        for node, standing in nodes.items():
            self._put_valve(standing, {line_id for where, line_id in isolating if where == node})

    def _put_valve(self, standing: list[tuple[Line, str]], isolating: set[str]) -> None:
        line, at = standing[0]
        valve = self.draft.structure(
            "valve", line.end if at == "end" else line.start, utility=line.utility, access="carriageway"
        )
        for line, at in standing:
            isolated = "yes" if line.line_id in isolating else None
            access = "yn" if line.utility == "water" else "un"
            self.draft.attach(valve, line, at, access=access, isolated=isolated)
            if isolated:
                self.draft.plant("isolating_joint", structure_id=valve, line_id=line.line_id)
        for (line_a, _), (line_b, _) in combinations(standing, 2):
            self.draft.join(line_a, line_b, valve)

    def lay_cable(
        self, trade: str, template: str, offset_m: float, street: tuple[str, int], *, transformers: Iterable[float] = ()
    ) -> list[Line]:
        """Lay a cable along a street, cut at transformers (stations in m) into parts that share only the ground."""
        axis = self.street(*street)
        first, last = self.ends(street[0])
        cuts = sorted(transformers)
        stops = [first, *(station + side for station in cuts for side in (-0.2, 0.2)), last]
        parts = [
            self.draft.line(template, axis.path((a, offset_m), (b, offset_m)))
            for a, b in zip(stops[::2], stops[1::2], strict=True)
        ]
        self.lines.setdefault(trade, {})[street] = parts
        for station, (before, after) in zip(cuts, pairwise(parts), strict=True):
            where = self.draft.structure(
                "transformer", axis.point(station, offset_m), utility="electricity", access="locked"
            )
            self.draft.attach(where, before, "end", access="nu")
            self.draft.attach(where, after, "start", access="nu")
            self.draft.ground(after, after.start, 5.0, "recorded")
        return parts

    def rack(self, trade_a: tuple[str, tuple[str, int]], trade_b: tuple[str, tuple[str, int]]) -> str:
        """Put a manhole where cables of two streets cross and return its id; each cable passes through it."""
        (first, way_a), (second, way_b) = trade_a, trade_b
        ew, ns = (way_a, way_b) if way_a[0] == "ew" else (way_b, way_a)
        part_of = {way_a: self.lines[first][way_a], way_b: self.lines[second][way_b]}
        x, y = part_of[ns][0].path[0, 0], part_of[ew][0].path[0, 1]
        where = self.draft.structure(
            "manhole", (float(x), float(y)), utility=part_of[ew][0].utility, access="carriageway"
        )
        for way, station, axis in ((ew, x, 0), (ns, y, 1)):
            line = next(part for part in part_of[way] if part.path[:, axis].min() < station < part.path[:, axis].max())
            self.draft.attach(where, line, "through", access="ny")
        return where

    def light(self, street: tuple[str, int], cabinet_m: float, reach_m: float) -> list[Line]:
        """Lay two lighting feeders from one cabinet along a street, with luminaires, and return them."""
        axis = self.street(*street)
        cabinet = self.draft.structure("cabinet", axis.point(cabinet_m, LAMPS_M), utility="lighting", access="locked")
        feeders = []
        for side in (-1.0, 1.0):
            stations = cabinet_m + side * np.array([0.2, *np.arange(12.0, reach_m, 24.0), reach_m])
            feeder = self.draft.line("lighting", axis.path(*((float(station), LAMPS_M) for station in stations)))
            self.draft.attach(cabinet, feeder, "start", access="nu")
            for station in stations[1:]:
                luminaire = self.draft.structure(
                    "luminaire", axis.point(float(station), LAMPS_M), utility="lighting", access="footway"
                )
                self.draft.attach(luminaire, feeder, "end" if station == stations[-1] else "through", access="ny")
            feeders.append(feeder)
        self.draft.ground(feeders[0], feeders[0].start, 18.0, "recorded")
        self.lines.setdefault("lighting", {}).setdefault(street, []).extend(feeders)
        return feeders

    def serve(
        self, street: tuple[str, int], station_m: float, services: Sequence[tuple[str, str]], **isolated: str
    ) -> None:
        """Run services (trade of the main, catalogue kind) into one building entry; ``gas="yes"`` isolates the gas."""
        axis = self.street(*street)
        entry = Entry(axis, station_m + round(float(self.draft.rng.uniform(-0.8, 0.8)), 2), ())
        where = put_entry(self.draft, entry)
        for trade, template in services:
            parts = self.lines[trade][street]
            along = axis.axis
            main = next(
                part for part in parts if part.path[:, along].min() + 3 < station_m < part.path[:, along].max() - 3
            )
            line = run_service(self.draft, entry, where, (main, template), isolated=isolated.get(trade))
            if trade == "power":
                self.draft.ground(line, line.end, 25.0, "recorded")

    def part(self, trade: str, street: tuple[str, int], number: int = 0) -> Line:
        """Return one line of a trade along a street by its place in the order."""
        return self.lines[trade][street][number]

    def link(self, line_a: Line, line_b: Line, station_m: float, street: tuple[str, int], **attributes: Any) -> str:
        """Record a bond between two lines of one street, square across it at a station (m); return its id."""
        axis = self.street(*street)
        spots = (axis.on(line_a.path, station_m), axis.on(line_b.path, station_m))
        return self.draft.bond(line_a, line_b, spots, **attributes)
