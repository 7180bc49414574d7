"""Colours of the page that mean something: none is a plain green, since nothing here says that ground is free."""

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import to_hex

__all__ = ["GRADE_COLOURS", "SENSE_COLOURS", "TONE_FROM_MA", "TONE_PER_DECADE", "TONE_TO_MA", "tone_colours"]

# blue, orange, purple and greys: told apart by all kinds of colour vision (after Okabe and Ito 2008, from memory)
GRADE_COLOURS = {
    "readable": "#1f5fa8",
    "pulled": "#d98200",
    "masked": "#a3195b",
    "faint": "#8f8f8f",
    "untraceable": "#1c1c1c",
    "heard": "#7b5a2b",
    "not heard": "#cfc9bc",
}
SENSE_COLOURS = {"same": "#1f5fa8", "opposite": "#d55e00", "unclear": "#8f8f8f"}
TONE_FROM_MA, TONE_TO_MA = 0.01, 1000.0
TONE_PER_DECADE = 4
_LIGHTEST, _DARKEST = 0.10, 0.92  # of the colour map: the lightest must still show on paper


def tone_colours() -> dict[str, object]:
    """Return the steps of the tone's colours, four a decade, pale for little and dark for much (perceptually even).

    Returns
    -------
    dict
        ``from_ma``, ``per_decade``, ``steps`` (#rrggbb, ascending) and ``less``, for what is below.
    """
    decades = np.log10(TONE_TO_MA / TONE_FROM_MA)
    count = round(decades * TONE_PER_DECADE)
    shades = colormaps["inferno_r"](np.linspace(_LIGHTEST, _DARKEST, count))
    steps = [to_hex(shade) for shade in shades]
    return {"from_ma": TONE_FROM_MA, "per_decade": TONE_PER_DECADE, "steps": steps, "less": "#c9c9c9"}
