"""The sentences of the strategy: reasons, cautions, and what to use where tone can't show a line."""

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

__all__ = [
    "CENTRE_NOT_COVER",
    "NOT_FROM_THIS_PEAK",
    "OTHER_METHODS",
    "STILL_THERE",
    "caution_text",
    "reason_text",
    "why_untraceable",
]

OTHER_METHODS = "a sonde or rod through an accessible duct, ground-penetrating radar, or a test hole"
STILL_THERE = "A recorded line that tone can't show; it is still there."
NOT_FROM_THIS_PEAK = "Don't mark from this peak alone."
CENTRE_NOT_COVER = "Depth readings are to the centre of the current, not cover."
_UNSETTLED = "The grade differs between the cases solved."
_PEAK_MISLEADS = {"pulled", "masked"}


def caution_text(hookup_caution: Any, grades: Iterable[str], *, settled: bool) -> str:
    """Join the cautions of one stretch: its hook-up's, then what its grades ask for, then what depth readings mean."""
    said = (
        ("" if pd.isna(hookup_caution) else str(hookup_caution)),
        (NOT_FROM_THIS_PEAK if _PEAK_MISLEADS & set(grades) else ""),
        ("" if settled else _UNSETTLED),
        CENTRE_NOT_COVER,
    )
    return " ".join(text for text in said if text)


TOO_CLOSE = (
    "every ready hook-up is an induction loop that stands too close to read the receiver here: move the loop along the "
    "line, or hook up on a line joined to it"
)


def reason_text(grade_worst: str, *, equal: int, choices: int, limited_by: Any, better: str) -> str:
    """Say in one sentence why a choice was taken.

    Parameters
    ----------
    grade_worst : str
        What it grades as in the worst case.
    equal, choices : int
        Ready choices that grade the same all along the stretch, and all ready choices.
    limited_by : str or NULL
        What limits the output; ``level`` is the setting itself.
    better : str
        A better choice that isn't ready; may be empty.
    """
    kind = "choices of hook-up, frequency and output"
    if choices == 1:
        reason = f"the only ready choice; {grade_worst} in the worst case"
    elif equal <= 1:
        reason = f"the best of {choices} {kind}: {grade_worst} in the worst case"
    else:
        reason = f"{equal} of {choices} {kind} are {grade_worst} in the worst case; this one needs the fewest changes"
        reason += " along the line, then the lowest frequency and output"
    if not pd.isna(limited_by) and str(limited_by) not in ("", "level"):
        reason += f"; the {limited_by} limit sets the output"
    return f"{reason}; {better}" if better else reason


def why_untraceable(line: Mapping[str, Any], hookups: pd.DataFrame, *, predicted: bool, too_close: bool = False) -> str:
    """Say why tone can't show a line, from its record, its hook-ups and what could be predicted."""
    ready = hookups[(hookups["ready"] == "ready").to_numpy()]
    waiting = hookups[(hookups["ready"] == "not_ready").to_numpy()]
    if line["conductive"] == "no":
        material = "" if pd.isna(line["material"]) else f" ({line['material']})"
        return f"not conductive{material}"
    if line["conductive"] != "yes":
        return "whether it conducts isn't recorded"
    if len(ready):
        if too_close:
            return TOO_CLOSE
        return "no ready hook-up brings enough tone here to show it" if predicted else "no prediction reaches it"
    if len(waiting):
        return f"no hook-up is ready: {waiting['hookup_id'].iloc[0]} lacks {waiting['missing'].iloc[0]}"
    if len(hookups):
        return f"every hook-up is refused: {hookups['hookup_id'].iloc[0]}, {hookups['missing'].iloc[0]}"
    return "it has neither an access point nor room for induction"
