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
    known = paths[~paths["line_id"].isin(wanted) & paths["kind"].notna()]
    strength = known.groupby("line_id")["line_current_ma"].max()
    order = sorted(strength.items(), key=lambda item: (-item[1], str(item[0])))
    leaks = []
    for line_id, _ in order[:most]:
        own = known[known["line_id"].eq(line_id)].sort_values(["path_id", "hop"], kind="stable")
        main = own.loc[own["share_of_line"].idxmax(), "path_id"]
        hops = own[own["path_id"].eq(main)]
        first = hops.iloc[0]
        leaks.append(
            Leak(
                str(line_id),
                float(first["line_current_ma"]),
                float(first["line_current_low_ma"]),
                float(first["line_current_high_ma"]),
                _way(hops),
            )
        )
    return leaks


def _way(hops: pd.DataFrame) -> str:
    """Return the hops of a path as a chain: ``T-006, bond B-001, W-004, alongside, G-002``."""
    parts: list[str] = []
    for hop in hops.to_dict("records"):
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
