"""Colours that mean something: none says that ground is free, and they are told apart without seeing all colours."""

import colorsys
from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from numpy.typing import NDArray

from corridor.dictionary import GRADES
from corridor.dictionary.results import SENSES
from corridor.report.look.symbols import GRADE_SYMBOLS
from corridor.report.page.palette import (
    GRADE_COLOURS,
    SENSE_COLOURS,
    TONE_FROM_MA,
    TONE_PER_DECADE,
    TONE_TO_MA,
    tone_colours,
)

STEPS = list(tone_colours()["steps"])  # type: ignore[call-overload]


def linear(colour: str) -> NDArray[np.float64]:
    """sRGB to linear light, IEC 61966-2-1 (from memory)."""
    value = np.array(to_rgb(colour))
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE 1976 L*a*b* of linear light, D65 (CIE 15, from memory)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    share = to_xyz @ light / np.array([0.9505, 1.0, 1.089])
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


# Machado, Oliveira, Fernandes 2009, severity 1.0 (from memory): protanopia and deuteranopia, on linear light
BLIND = {
    "none": np.eye(3),
    "protanopia": np.array([[0.152, 1.053, -0.205], [0.115, 0.786, 0.099], [-0.004, -0.048, 1.052]]),
    "deuteranopia": np.array([[0.367, 0.861, -0.228], [0.280, 0.673, 0.047], [-0.012, 0.043, 0.969]]),
}


def test_every_grade_and_sense_has_a_colour() -> None:
    assert set(GRADE_COLOURS) == {*GRADES, "heard", "not heard"}
    assert set(SENSE_COLOURS) == set(SENSES)
    assert "it is still there" in GRADE_SYMBOLS["untraceable"].text.replace("\n", " ")


@pytest.mark.parametrize("colour", [*GRADE_COLOURS.values(), *SENSE_COLOURS.values(), *STEPS])
def test_nothing_is_green(colour: str) -> None:
    hue, lightness, strength = colorsys.rgb_to_hls(*to_rgb(colour))
    assert not (75 <= 360 * hue <= 165 and strength > 0.25 and 0.15 < lightness < 0.9), colour


@pytest.mark.parametrize("blindness", BLIND)
def test_grades_are_told_apart(blindness: str) -> None:
    # 2.3 is a just noticeable difference in L*a*b* (Mahy et al. 1994, from memory); lines are thin, so six of them
    found = {name: lab(np.clip(BLIND[blindness] @ linear(colour), 0, 1)) for name, colour in GRADE_COLOURS.items()}
    for one, other in combinations(found, 2):
        assert np.linalg.norm(found[one] - found[other]) > 6 * 2.3, (one, other)


@pytest.mark.parametrize("blindness", BLIND)
def test_senses_are_told_apart(blindness: str) -> None:
    found = [lab(np.clip(BLIND[blindness] @ linear(colour), 0, 1)) for colour in SENSE_COLOURS.values()]
    for one, other in combinations(found, 2):
        assert np.linalg.norm(one - other) > 10 * 2.3


@pytest.mark.parametrize("blindness", BLIND)
def test_more_tone_is_darker_for_everybody(blindness: str) -> None:
    lightness = np.array([lab(np.clip(BLIND[blindness] @ linear(step), 0, 1))[0] for step in STEPS])
    assert np.all(np.diff(lightness) < 0)


def test_steps_of_tone_are_about_even() -> None:
    # a perceptual scale: no step in lightness more than twice the mean one
    lightness = np.array([lab(linear(step))[0] for step in STEPS])
    drops = -np.diff(lightness)
    assert drops.max() < 2 * drops.mean()
    assert drops.min() > drops.mean() / 3


def test_steps_are_evenly_many_a_decade() -> None:
    assert len(STEPS) == round(np.log10(TONE_TO_MA / TONE_FROM_MA) * TONE_PER_DECADE)
    assert len(set(STEPS)) == len(STEPS)
    assert tone_colours()["less"] not in STEPS
