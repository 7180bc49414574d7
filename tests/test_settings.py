"""Settings and equipment are read whole, and refuse whole."""

from pathlib import Path

import pytest

from corridor.errors import EquipmentError, SettingsError
from corridor.settings import Settings, equipment_profiles, load_equipment, load_settings


def test_defaults_need_no_file() -> None:
    assert load_settings(None) == Settings()


def test_every_mistake_is_listed(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("seed = 'x'\n[soil]\nlow_ohm_m = -1\n[grades]\nno_such = 1\n", encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_settings(path)
    assert all(word in str(caught.value) for word in ("seed", "soil.low_ohm_m", "grades.no_such"))


@pytest.mark.parametrize("text", ["[soil", "\x00"])
def test_not_toml(tmp_path: Path, text: str) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match="expected a readable TOML settings file"):
        load_settings(path)


def test_soil_range_is_ordered(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("[soil]\nlow_ohm_m = 200\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="low_ohm_m <= resistivity_ohm_m"):
        load_settings(path)


@pytest.mark.parametrize("name", equipment_profiles())
def test_built_in_profiles_are_generic_and_round(name: str) -> None:
    equipment = load_equipment(name)
    assert equipment.generic
    # our own sets hold round numbers only: one significant digit of 1, 2 or 5
    assert all(f"{f:.0e}"[0] in "125" and f == float(f"{f:.0e}") for f in equipment.frequencies_hz)


def test_unknown_equipment_names_the_choices() -> None:
    with pytest.raises(EquipmentError, match="standard_output"):
        load_equipment("nothing")


def test_own_equipment_lists_mistakes(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("frequencies_hz = [1e9]\n", encoding="utf-8")
    with pytest.raises(EquipmentError) as caught:
        load_equipment(path)
    assert "frequencies_hz" in str(caught.value)
    assert "transmitter" in str(caught.value)


def test_common_frequencies(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        "frequencies_hz = [5000, 1000, 2000]\nreceiver_frequencies_hz = [1000, 5000]\n"
        "transmitter = {max_voltage_v = 10, max_current_ma = 10, max_power_w = 1, levels_ma = [10]}\n"
        "stake = {length_m = 0.4, diameter_mm = 14, lead_m = 10}\n",
        encoding="utf-8",
    )
    equipment = load_equipment(path)
    assert equipment.name == "mine"
    assert not equipment.generic
    assert equipment.common_frequencies_hz == (1000.0, 5000.0)
