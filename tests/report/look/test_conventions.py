"""Conventions of a place: colours and quality levels change by a setting, the data don't."""

import json
import tomllib
from importlib import resources
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_args

import pytest
from matplotlib.colors import rgb_to_hsv, to_rgb
from matplotlib.figure import Figure

from corridor.dictionary import INPUT_TABLES, UTILITIES
from corridor.errors import SettingsError
from corridor.report.look.colours import colour_table, colour_tables
from corridor.report.look.conventions import conventions, conventions_in, quality_table
from corridor.report.maps import map as review_map
from corridor.report.receipt import make_receipt, receipt_metadata
from corridor.settings import ReportSettings, Settings, load_settings
from tests.report.examples import block_site

COLOURS, LEVELS = (get_args(ReportSettings.model_fields[name].annotation) for name in ("colours", "quality_levels"))

# hue in degrees, saturation and value of the named colours, wide enough for any painter's shade
NAMED = {
    "red": lambda h, s, v: (h < 12 or h > 345) and s > 0.6 and v > 0.5,
    "orange": lambda h, s, v: 18 < h < 40 and s > 0.7 and v > 0.7,
    "yellow": lambda h, s, v: 45 < h < 65 and s > 0.6 and v > 0.7,
    "blue": lambda h, s, v: 200 < h < 240 and s > 0.5 and v > 0.5,
    "purple": lambda h, s, v: 260 < h < 295 and s > 0.4,
    "green": lambda h, s, v: 100 < h < 160 and s > 0.4,
    "pink": lambda h, s, v: 300 < h < 345 and v > 0.8,
    "brown": lambda h, s, v: 18 < h < 40 and v < 0.6,
    "cream": lambda h, s, v: 35 < h < 60 and s < 0.4 and v > 0.85,
    "black": lambda h, s, v: v < 0.15,
    "grey": lambda h, s, v: s < 0.12 and 0.3 < v < 0.8,
}
# Sources. apwa: Uniform Color Code, lists of one-call centres. as_5488: AS 5488-2013 as surveyors' pages quote it
# (communications white, black on white ground). street_works_uk: colours of ducts and pipes of NJUG / Street Works UK
# Volume 1 as merchants' pages quote them; what has no reserved colour isn't asked.
TOLD = {
    "apwa": {
        "electricity": "red", "lighting": "red", "gas": "yellow", "oil": "yellow", "telecommunications": "orange",
        "water": "blue", "reclaimed_water": "purple", "sewer": "green", "storm_drain": "green", "unknown": "pink",
    },
    "as_5488": {
        "electricity": "orange", "telecommunications": "black", "traffic_signal": "black", "gas": "yellow",
        "water": "blue", "fire_water": "red", "sewer": "cream", "storm_drain": "green", "reclaimed_water": "purple",
        "oil": "brown", "unknown": "pink",
    },
    "street_works_uk": {
        "electricity": "red", "gas": "yellow", "water": "blue", "telecommunications": "grey", "lighting": "orange",
        "traffic_signal": "orange",
    },
}  # fmt: skip


def _raw(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("corridor.data").joinpath(name).read_text(encoding="utf-8"))


def test_the_settings_offer_what_is_shipped() -> None:
    assert set(COLOURS) == set(colour_tables()) == set(TOLD)
    assert set(LEVELS) == set(_raw("quality_levels.toml"))


@pytest.mark.parametrize(("name", "utility", "word"), [(n, u, w) for n, told in TOLD.items() for u, w in told.items()])
def test_a_utility_has_the_colour_that_its_convention_names(name: str, utility: str, word: str) -> None:
    hue, saturation, value = rgb_to_hsv(to_rgb(colour_table(name).of(utility)))
    assert NAMED[word](360 * hue, saturation, value)


@pytest.mark.parametrize("name", COLOURS)
def test_every_utility_has_one_colour_and_every_colour_its_words_and_source(name: str) -> None:
    table, raw = colour_table(name), _raw("colours.toml")[name]
    listed = [utility for group in raw["group"] for utility in group["utilities"]]
    assert sorted(listed) == sorted(UTILITIES)
    assert set(table.by_utility.values()) == set(table.groups)
    assert len(table.groups) == len(raw["group"])
    assert table.title
    assert table.edition
    for group in raw["group"]:
        assert group["named"]
        assert any(word in group["source"] for word in ("one-call", "quoted", "from memory", "own choice"))


@pytest.mark.parametrize("name", COLOURS)
def test_no_two_groups_look_alike(name: str) -> None:
    shades = [to_rgb(colour) for colour in colour_table(name).groups]
    for i, one in enumerate(shades):
        for other in shades[:i]:
            assert sum(abs(a - b) for a, b in zip(one, other, strict=True)) > 0.25  # orange to yellow is the nearest


@pytest.mark.parametrize("name", LEVELS)
def test_every_level_has_a_label_with_its_edition(name: str) -> None:
    table = quality_table(name)
    assert set(table.by_level) == set(INPUT_TABLES["lines"].column("quality_level").vocabulary)
    for level in "abcd":  # the letters are those of ASCE 38, PAS 128 and AS 5488 alike
        assert table.of(level).startswith(f"QL-{level.upper()}")
    assert table.of(None) == table.of("none") == table.of("no such level")
    assert "QL" not in table.of(None)
    assert "2022" in table.edition
    assert "memory" in table.source


def test_a_level_that_pas_128_divides_is_not_called_one_of_its_parts() -> None:
    # PAS 128 divides QL-B into B1 to B4 by method and accuracy (survey firms' summaries); our b doesn't tell which
    assert "not on record" in quality_table("pas_128_2022").of("b")


@pytest.mark.parametrize("ask", [colour_table, quality_table])
def test_an_unknown_name_is_refused_with_those_there_are(ask: Any) -> None:
    with pytest.raises(SettingsError, match=r"expected a .* \(a.*\), got 'rainbow'"):
        ask("rainbow")


def test_a_settings_file_chooses_and_a_wrong_word_is_listed(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[report]\ncolours = "as_5488"\nquality_levels = "pas_128_2022"\n', encoding="utf-8")
    made = conventions(load_settings(path).report)
    assert made.colours == colour_table("as_5488")
    assert made.quality == quality_table("pas_128_2022")
    path.write_text('[report]\ncolours = "rainbow"\n', encoding="utf-8")
    with pytest.raises(SettingsError, match=r"report\.colours"):
        load_settings(path)


def test_a_receipt_states_them_and_the_default_stands_in() -> None:
    chosen = Settings(report=ReportSettings(colours="street_works_uk"))
    metadata = receipt_metadata(make_receipt(block_site(), command="check", settings=chosen))
    assert conventions_in(metadata).colours == colour_table("street_works_uk")
    for text in ({}, {"receipt": json.dumps({"seed": 0})}, {"receipt": json.dumps({"settings": {}})}):
        assert conventions_in(text) == conventions()


def test_the_map_of_a_review_wears_the_colours_that_its_receipt_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    worn: list[str] = []
    monkeypatch.setattr(review_map, "draw_map", lambda content, *, colours: worn.append(colours.title) or Figure())
    for name in COLOURS:
        settings = Settings(report=ReportSettings(colours=name))
        metadata = receipt_metadata(make_receipt(block_site(), command="review", settings=settings))
        review_map.write_map(SimpleNamespace(title="a"), tmp_path / "map.png", metadata=metadata)
    assert worn == [colour_table(name).title for name in COLOURS]
