"""The plots' models: the same every time, and holding what the page's script asks for by name."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from bokeh.plotting import figure

from corridor.report.page import plots
from corridor.report.page.plots import library_script, plot_models

FOLDER = Path(plots.__file__).parent


def names_of(content: Any) -> set[str]:
    if isinstance(content, dict):
        own = {content["name"]} if isinstance(content.get("name"), str) else set()
        return own.union(*(names_of(value) for value in content.values()))
    return set().union(*(names_of(value) for value in content)) if isinstance(content, list) else set()


def test_the_same_whatever_was_plotted_before() -> None:
    first = json.dumps(plot_models(tolerance_m=0.15))
    figure()  # takes numbers that the library gives its models
    assert json.dumps(plot_models(tolerance_m=0.15)) == first


def test_every_layer_that_the_script_fills_is_there() -> None:
    models = plot_models(tolerance_m=0.15)
    script = (FOLDER / "map.js").read_text(encoding="utf-8") + (FOLDER / "labels.js").read_text(encoding="utf-8")
    asked = set(re.findall(r'this\.source\("(\w+)"\)|putPoints\("(\w+)"', script))
    assert {one or other for one, other in asked} <= names_of(models["map"])
    profile = (FOLDER / "profile.js").read_text(encoding="utf-8")
    for plot, name in re.findall(r'(?:source|put)\("(\w+)", "(\w+)"', profile):
        assert name in names_of(models[plot])


@pytest.mark.parametrize("tolerance_m", [0.1, 0.3])
def test_the_band_is_the_settings_tolerance(tolerance_m: float) -> None:
    text = json.dumps(plot_models(tolerance_m=tolerance_m)["pull"])
    assert f'"top": {tolerance_m}' in text
    assert f'"bottom": {-tolerance_m}' in text


def test_the_models_carry_no_data() -> None:
    for name, model in plot_models(tolerance_m=0.15).items():
        assert '"__ndarray__"' not in json.dumps(model), name


def test_the_library_comes_whole_and_asks_for_nothing() -> None:
    script = library_script()
    assert len(script) > 500_000
    assert "</script" not in script.lower()
