"""The drawing board: what the generator puts down, and what it means by it.

A ``Draft`` holds the records in local metres together with the intent behind them (which lines are joined, which
stand in one structure), so that the truth never has to be measured back from the geometry.
"""

from collections import Counter
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from .catalogue import METALS, PREFIX, STRUCTURE_PREFIX, TEMPLATES, conducts, continuous
from .streets import Points

DEAD_STATUS = frozenset({"proposed", "removed"})
CERTAIN_EVIDENCE = frozenset({"recorded", "observed", "measured"})
RACKING_KINDS = frozenset({"manhole", "vault", "chamber"})


@dataclass
class Line:
    """One record of the layer ``lines``: local geometry (n, 2) in m and attributes under their column names."""

    line_id: str
    path: Points
    attributes: dict[str, Any]

    @property
    def utility(self) -> str:
        """The utility, as meant."""
        return str(self.attributes["utility"])

    @property
    def live(self) -> bool:
        """Whether it carries tone: it conducts and lies in the ground."""
        return conducts(self.attributes) and self.attributes.get("status") not in DEAD_STATUS

    @property
    def continuous(self) -> bool:
        """Whether its record says that it is one piece of metal."""
        return continuous(self.attributes)

    @property
    def start(self) -> tuple[float, float]:
        """Local x, y (m) of the first vertex."""
        return float(self.path[0, 0]), float(self.path[0, 1])

    @property
    def end(self) -> tuple[float, float]:
        """Local x, y (m) of the last vertex."""
        return float(self.path[-1, 0]), float(self.path[-1, 1])


@dataclass
class Structure:
    """One record of the layer ``structures``; position in local m."""

    structure_id: str
    kind: str
    position: tuple[float, float]
    attributes: dict[str, Any]


@dataclass
class Draft:
    """A site on the drawing board.

    Attributes
    ----------
    rng : numpy.random.Generator
        The one source of chance of the site.
    joints : list of (line_a, line_b, structure_id or None)
        Lines meant to be joined there, unless isolated.
    hidden_bonds : list of dict
        Bonds that exist but that no record tells.
    planted : dict of str to list
        What was planted on purpose, by kind, with ids.
    """

    rng: np.random.Generator
    lines: dict[str, Line] = field(default_factory=dict)
    structures: dict[str, Structure] = field(default_factory=dict)
    terminations: list[dict[str, Any]] = field(default_factory=list)
    bonds: list[dict[str, Any]] = field(default_factory=list)
    grounds: list[dict[str, Any]] = field(default_factory=list)
    joints: list[tuple[str, str, str | None]] = field(default_factory=list)
    hidden_bonds: list[dict[str, Any]] = field(default_factory=list)
    planted: dict[str, list[Any]] = field(default_factory=dict)
    _numbers: Counter[str] = field(default_factory=Counter)

    def _number(self, prefix: str) -> str:
        self._numbers[prefix] += 1
        return f"{prefix}-{self._numbers[prefix]:03d}"

    def line(self, template: str, path: ArrayLike, **attributes: Any) -> Line:
        """Put down a line of a catalogue kind along a path (n, 2) in local m; attributes override the catalogue's."""
        merged = {"status": "in_service", **TEMPLATES[template], **attributes}
        line = Line(self._number(PREFIX[merged["utility"]]), np.asarray(path, dtype=np.float64), merged)
        if line.attributes["depth_m"] is not None and "depth_m" not in attributes:
            line.attributes["depth_m"] = round(line.attributes["depth_m"] + float(self.rng.uniform(-0.02, 0.02)), 2)
        self.lines[line.line_id] = line
        return line

    def structure(self, kind: str, position: tuple[float, float], **attributes: Any) -> str:
        """Put down a structure at local x, y (m) and return its id."""
        structure_id = self._number(STRUCTURE_PREFIX[kind])
        self.structures[structure_id] = Structure(structure_id, kind, position, attributes)
        return structure_id

    def attach(
        self, structure_id: str, line: Line, at: str, *, access: str = "nn", isolated: str | None = None
    ) -> None:
        """Say that a line stands in a structure.

        Parameters
        ----------
        structure_id : str
        line : Line
        at : str
            start, end, through or tap.
        access : str
            Two letters, direct connection and clamp: y yes, n no, u unknown, - not stated.
        isolated : str, optional
            yes, no, unknown or not stated.
        """
        words = {"y": "yes", "n": "no", "u": "unknown", "-": None}
        self.terminations.append(
            {
                "structure_id": structure_id,
                "line_id": line.line_id,
                "at": at,
                "direct": words[access[0]],
                "clamp": words[access[1]],
                "isolated": isolated,
            }
        )

    def join(self, line_a: Line, line_b: Line, structure_id: str | None = None) -> None:
        """Say that two lines of one utility meet, at a structure if one stands there."""
        self.joints.append((line_a.line_id, line_b.line_id, structure_id))

    def bond(
        self,
        line_a: Line,
        line_b: Line,
        spots: tuple[tuple[float, float], tuple[float, float]] | None,
        **attributes: Any,
    ) -> str:
        """Record a bond between two lines, drawn between two spots in local m (none: no geometry); return its id."""
        if line_b.line_id < line_a.line_id:
            line_a, line_b = line_b, line_a
            spots = (spots[1], spots[0]) if spots else None
        bond_id = self._number("B")
        defaults = {
            "structure_id": None,
            "kind": "jumper",
            "state": "closed",
            "resistance_ohm": None,
            "probability": None,
        }
        self.bonds.append(
            {
                "bond_id": bond_id,
                "line_a": line_a.line_id,
                "line_b": line_b.line_id,
                **defaults,
                **attributes,
                "geometry": None if spots is None else np.array(spots),
            }
        )
        return bond_id

    def hide_bond(
        self, line_a: Line, line_b: Line, spot: tuple[float, float], *, resistance_ohm: float, why: str
    ) -> None:
        """Note a bond that exists and is in no record; spot in local m."""
        first, second = sorted((line_a.line_id, line_b.line_id))
        self.hidden_bonds.append(
            {"line_a": first, "line_b": second, "resistance_ohm": resistance_ohm, "spot": spot, "why": why}
        )

    def ground(self, line: Line, position: tuple[float, float], resistance_ohm: float | None, evidence: str) -> str:
        """Record a ground of a line at local x, y (m); return its id."""
        ground_id = self._number("GR")
        self.grounds.append(
            {
                "ground_id": ground_id,
                "line_id": line.line_id,
                "resistance_ohm": resistance_ohm,
                "evidence": evidence,
                "position": position,
            }
        )
        return ground_id

    def plant(self, kind: str, **facts: Any) -> None:
        """Note something planted on purpose."""
        self.planted.setdefault(kind, []).append(facts)

    def _isolated(self) -> set[tuple[str | None, str]]:
        return {(row["structure_id"], row["line_id"]) for row in self.terminations if row["isolated"] == "yes"}

    def connections(self) -> list[tuple[str, str]]:
        """Return the joined pairs whose metal meets: both lines live, no isolating joint there."""
        isolated = self._isolated()
        return [
            (a, b)
            for a, b, where in self.joints
            if self.lines[a].live and self.lines[b].live and not {(where, a), (where, b)} & isolated
        ]

    def sound_connections(self) -> list[tuple[str, str]]:
        """Return the connections of lines that are both continuous by their records."""
        return [pair for pair in self.connections() if all(self.lines[name].continuous for name in pair)]

    def inferred(self) -> list[dict[str, Any]]:
        """Return the bonds that code practice makes likely at the structures, as meant.

        One row per pair and structure: structure_id, line_a, line_b, rule, probability.
        """
        isolated = self._isolated()
        standing: dict[str, dict[str, str]] = {}
        for row in self.terminations:
            if (row["structure_id"], row["line_id"]) not in isolated and row["line_id"] in self.lines:
                standing.setdefault(row["structure_id"], {})[row["line_id"]] = row["at"]
        rows = []
        for structure_id, places in standing.items():
            for a, b in combinations(sorted(line_id for line_id in places if self.lines[line_id].live), 2):
                ends = places[a] in ("start", "end") and places[b] in ("start", "end")
                rule = practice(self.structures[structure_id].kind, self.lines[a], self.lines[b], ends=ends)
                if rule is not None:
                    rows.append(
                        {
                            "structure_id": structure_id,
                            "line_a": a,
                            "line_b": b,
                            "rule": rule[0],
                            "probability": rule[1],
                        }
                    )
        return rows


def practice(kind: str, line_a: Line, line_b: Line, *, ends: bool) -> tuple[str, float] | None:
    """Return the code-practice rule that bonds two lines in a structure, and its probability (engineering estimate).

    Parameters
    ----------
    kind : str
        Of the structure.
    line_a, line_b : Line
        Both live and not isolated there.
    ends : bool
        Whether both lines end there.
    """
    pair = {line_a.utility: line_a, line_b.utility: line_b}
    if kind == "building_entry" and ends and "electricity" in pair and len(pair) == 2:
        (other,) = (line for utility, line in pair.items() if utility != "electricity")
        metallic = other.attributes["material"] in METALS
        chance = {"water": 0.8, "telecommunications": 0.8, "gas": 0.6}.get(other.utility)
        return ("service_entrance", chance) if chance and metallic else None
    if kind in ("transformer", "substation") and ends and set(pair) == {"electricity"}:
        return "multi_grounded_neutral", 0.9
    if kind in RACKING_KINDS and all(line.attributes.get("sheath") not in (None, "none") for line in (line_a, line_b)):
        chance = {("electricity",): 0.8, ("telecommunications",): 0.6, ("electricity", "telecommunications"): 0.3}.get(
            tuple(sorted(pair))
        )
        return ("racked_cables", chance) if chance else None
    if kind == "cabinet" and ends and set(pair) <= {"lighting", "traffic_signal"}:
        return "shared_ground_bar", 0.7
    return None
