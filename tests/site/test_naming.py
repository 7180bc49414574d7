"""What the name of a file or layer says of its lines."""

import pytest

from corridor.site.naming import utility_in


@pytest.mark.parametrize(
    ("name", "utility"),
    [("WaterMains_2021", "water"), ("GAS", "gas"), ("elec_cables", "electricity"), ("HV_Cables", "electricity"),
     ("storm_sewer", "storm_drain"), ("sanitarySewerLines", "sewer"), ("street lights", "lighting"),
     ("TelecomDucts", "telecommunications"), ("district-heating", "heat"), ("fire_water", "fire_water"),
     ("reclaimed_water_mains", "reclaimed_water")],
)  # fmt: skip
def test_a_word_in_a_name(name: str, utility: str) -> None:
    assert utility_in(name) == utility


@pytest.mark.parametrize("name", ["lines", "export_7", "gas_and_water", "", "pipes", "vegas"])
def test_no_word_or_two_words_tell_nothing(name: str) -> None:
    assert utility_in(name) is None


def test_the_layers_name_comes_before_the_files() -> None:
    assert utility_in("gas_mains", "water") == "gas"
    assert utility_in("lines", "water") == "water"
