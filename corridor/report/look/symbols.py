"""Symbols, widths and type of the maps: neutral, legible without colour, and no grade that says ground is free."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BOND_SYMBOLS",
    "CUT_SYMBOL",
    "DASH",
    "GRADES_FIRST",
    "GRADE_SYMBOLS",
    "HOOKUP_SYMBOLS",
    "INK",
    "PLAIN_WIDTH_PT",
    "STYLE",
    "TONE_STEPS",
    "Symbol",
    "tone_width_pt",
]

INK = "#1c1c1c"
DASH = (0, (9.0, 4.0))
PLAIN_WIDTH_PT = 0.9  # a recorded line without a predicted tone
STYLE: Any = {  # matplotlib's parameters, keyed by its own literal type
    "font.family": "DejaVu Sans",
    "font.size": 8,
    "axes.linewidth": 0.8,
    "path.simplify": False,
    "lines.scale_dashes": False,  # or the dark edge and the colour of a dashed line would fall out of step
}


@dataclass(frozen=True)
class Symbol:
    """A marker, what the legend says of it, and its area on the map in square points."""

    marker: str
    text: str
    area: float = 24.0


GRADE_SYMBOLS = {
    "readable": Symbol("o", "readable: enough tone, peak within tolerance"),
    "pulled": Symbol("^", "pulled: peak or depth off by more than tolerance"),
    "masked": Symbol("X", "masked: another line's peak is higher"),
    "faint": Symbol("d", "faint: too little tone to use"),
    # a star, large and always filled: nothing else on the map has its shape, least of all a place to hook up
    "untraceable": Symbol("*", "untraceable: a recorded line that tone\ncan't show; it is still there", area=110.0),
}
GRADES_FIRST = ("untraceable", "masked", "pulled", "faint", "readable")
"""Grades by what a crew must know first: where the cases differ, a wrong mark matters more than too little tone."""

HOOKUP_SYMBOLS = {
    "direct": Symbol("s", "direct connection"),
    "clamp": Symbol("D", "clamp"),
    "induction": Symbol("o", "induction"),
}
BOND_SYMBOLS = {
    "known": Symbol("P", "bond: recorded, observed or measured"),
    "thought": Symbol("P", "bond: inferred or suspected (hollow)"),
}
CUT_SYMBOL = Symbol(r"$\parallel$", "end cut by the extract: solved as\ngoing on and as ending", area=44.0)
TONE_STEPS = (  # from current in mA, width in points
    (0.0, 0.9),
    (0.1, 1.3),
    (1.0, 1.8),
    (10.0, 2.4),
    (100.0, 3.1),
)


def tone_width_pt(current_ma: ArrayLike) -> NDArray[np.float64]:
    """Return the width of a stretch for its current in mA, shape (n,), in steps of ten; NaN is drawn thinnest."""
    current = np.nan_to_num(np.asarray(current_ma, dtype=float), nan=0.0)
    starts = np.array([start for start, _ in TONE_STEPS])
    widths = np.array([width for _, width in TONE_STEPS])
    return widths[np.maximum(np.searchsorted(starts, current, side="right") - 1, 0)]
