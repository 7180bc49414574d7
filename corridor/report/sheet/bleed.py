"""Where the tone of a set-up goes astray: the lines that take most of it, and how it gets there."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from corridor.report.sheet.words import given, quantity, span_text

__all__ = ["Leak", "strongest_leaks"]

_HOW = {
    "bond": "bond", "parallel run": "alongside", "crossing": "crossing", "leakage": "soil", "conduction": "metal",
    "hook-up": "the source itself",
}  # fmt: skip

_COLUMNS = [
    "path_id", "line_id", "hop", "kind", "from_line", "to_line", "through", "share_of_line", "evidence",
    "line_current_ma", "line_current_low_ma", "line_current_high_ma",
]  # fmt: skip
_WAY_MAX = 8  # names and hops of a way that a crew reads; of a longer one the middle is left out


@dataclass(frozen=True)
class Leak:
    """A line that takes tone it shouldn't: its largest current with the range over the cases, and the main way."""

    line_id: str
    current_ma: float
    low_ma: float
    high_ma: float
    way: str

    def text(self) -> str:
        """Return the leak in one line."""
        span = span_text(self.low_ma, self.high_ma, "mA")
        return f"{self.line_id} {quantity(self.current_ma, 'mA')} ({span}): {self.way}"


def strongest_leaks(paths: pd.DataFrame, wanted: set[str], *, most: int) -> list[Leak]:
    """Return the lines that take the most tone, strongest first.

    Parameters
    ----------
    paths : DataFrame
        Rows of ``bleed_paths`` of one hook-up and frequency.
    wanted : set of str
        Lines hooked up or traced: tone on them is no leak.
    most : int
        How many.
    """
    known: dict[str, dict[str, list[Any]]] = {}  # hops by line and path
    for hop in paths[_COLUMNS].to_dict("records"):
        line_id = str(hop["line_id"])
        if line_id not in wanted and given(hop["kind"]):
            known.setdefault(line_id, {}).setdefault(str(hop["path_id"]), []).append(hop)
    strength = {
        line_id: max(hop["line_current_ma"] for hops in ways.values() for hop in hops)
        for line_id, ways in known.items()
    }
    leaks = []
    for line_id in sorted(strength, key=lambda name: (-strength[name], name))[:most]:
        ways = known[line_id]
        main = max(sorted(ways), key=lambda path: max(hop["share_of_line"] for hop in ways[path]))
        hops = sorted(ways[main], key=lambda hop: hop["hop"])
        current, low, high = (float(hops[0][f"line_current_{end}ma"]) for end in ("", "low_", "high_"))
        leaks.append(Leak(line_id, current, low, high, _way(hops)))
    return leaks


def _way(hops: list[Any]) -> str:
    """Return the hops of a path as a chain: ``T-006, bond B-001, W-004, alongside, G-002``."""
    parts: list[str] = []
    for hop in hops:
        start = given(hop["from_line"]) or ("source" if hop["kind"] == "hook-up" else given(hop["through"]))
        if not parts or parts[-1] != start:
            parts.append(start)
        parts.append(_step(hop))
        parts.append(given(hop["to_line"]))
    shown = [part for part in parts if part]
    if len(shown) > _WAY_MAX:
        shown = [*shown[: _WAY_MAX - 4], "…", *shown[-3:]]
    return " → ".join(shown)


def _step(hop: Any) -> str:
    how = _HOW.get(given(hop["kind"]), given(hop["kind"]))
    name = given(hop["through"])
    if hop["kind"] == "bond" and "~" not in name:
        return f"bond {name}"
    if hop["kind"] == "bond":
        return f"bond ({given(hop['evidence']) or 'inferred'})"
    return "" if hop["kind"] in ("hook-up",) else how
