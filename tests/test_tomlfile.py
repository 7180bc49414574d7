"""What is wrong with a TOML file, in plain words and one line."""

from pathlib import Path

import pytest

from corridor.errors import FieldMapError, SettingsError
from corridor.settings import load_equipment, load_settings
from corridor.site import load_fieldmap
from corridor.tomlfile import read_toml

FOREIGN = ("Errno", "Input should", "Field required", "Extra inputs", "Value error", "validation", "pydantic")


def told(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_settings(path)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[solver]\nsection_max_m = -1\n", "solver.section_max_m: expected more than 0, got -1"),
        ("[solver]\nworkers = 0\n", "solver.workers: expected at least 1, got 0"),
        ("[solver]\nleaving_share = 2\n", "solver.leaving_share: expected at most 1, got 2"),
        ("[solver]\nsection_limit = 1.5\n", "solver.section_limit: expected a whole number, got 1.5"),
        ("[grades]\nfloor_nt = 'x'\n", "grades.floor_nt: expected a number, got 'x'"),
        ("grades = 3\n", "grades: expected a table of keys, got 3"),
        ("[gate]\ngas_direct_by = true\n", "gate.gas_direct_by: expected text, got true"),
        ("[hookups]\nmode_order = 'direct'\n", "hookups.mode_order: expected a list, got 'direct'"),
        ("[hookups]\nmode_order = ['dirct']\n",
         "hookups.mode_order.0: expected 'direct', 'clamp' or 'induction', got 'dirct'"),
        ("[receiver]\nstep_n = 1\n", "(nearest: step_m), this is none of them"),
        ("sed = 1\n", "sed: expected one of the keys site, couplings"),
        ("[soil]\nlow_ohm_m = 200\n", "need low_ohm_m <= resistivity_ohm_m <= high_ohm_m"),
        ("[grades]\nfloor_nt = inf\npartner_share = 'a long text that nobody would want to read in a message'\n",
         "got 'a long text that nobody would want to r...; correct it there"),
    ],
)  # fmt: skip
def test_each_mistake_says_where_what_was_expected_and_what_came(tmp_path: Path, text: str, words: str) -> None:
    message = told(tmp_path / "s.toml", text)
    assert words in message
    assert message.startswith(f"settings file {tmp_path / 's.toml'}: ")
    assert message.endswith("; correct it there")
    assert "\n" not in message
    assert not any(word in message for word in FOREIGN)


def test_all_mistakes_stand_in_one_line(tmp_path: Path) -> None:
    message = told(tmp_path / "s.toml", "[solver]\nsection_max_m = -1\nfoo = 2\n[grades]\nfloor_nt = 'x'\n")
    assert message.count("; ") == 3
    assert "\n" not in message


def test_equipment_and_field_maps_speak_alike(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("seed = 1\nfrequencies_hz = []\n[clamp]\nturn = 1\n", encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_equipment(path)
    for words in ("transmitter: expected, and not there", "seed: expected one of the keys name,", "(nearest: turns)",
                  "frequencies_hz: expected a list of 1 or more, got []"):  # fmt: skip
        assert words in str(caught.value)
    path.write_text("[layers.a]\ntable = 'lines'\n[layers.a.constants]\nutility = [1]\n", encoding="utf-8")
    with pytest.raises(FieldMapError) as wrong:
        load_fieldmap(path)
    told = "layers.a.constants.utility: expected text, a number or true or false, got [1]"
    assert str(wrong.value) == f"field map {path}: {told}; correct it there"
    path.write_text("[layers.a]\ntable = 'lines'\n[layers.a.columns]\ndepth_m = {source='d', unt='m'}\n", "utf-8")
    with pytest.raises(FieldMapError, match=r"layers\.a\.columns\.depth_m\.unt: expected one of .* \(nearest: unit\)"):
        load_fieldmap(path)
    path.write_text("[layers.str]\ntable = 'x'\n[layers.float]\n", encoding="utf-8")
    with pytest.raises(FieldMapError, match=r"layers\.str\.table: .*layers\.float\.table: expected, and not there"):
        load_fieldmap(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "does not exist; check the name and the folder"),
        (b"[a\n", "is not TOML at line 1, column 3; check brackets"),
        (b"a = \xff", "is not text in UTF-8"),
    ],
)
def test_a_file_that_cant_be_read_says_why(tmp_path: Path, content: bytes | None, words: str) -> None:
    path = tmp_path / "a.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FieldMapError, match=f"expected a readable TOML field map file, {path} {words}"):
        read_toml(path, "field map", error=FieldMapError)


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="is a folder; name the file in it"):
        load_settings(tmp_path)


@pytest.mark.parametrize(("cause", "words"), [(PermissionError(), "may not be read"), (OSError(), "can't be opened")])
def test_what_the_system_refuses(monkeypatch: pytest.MonkeyPatch, cause: OSError, words: str) -> None:
    def refuse(*_: object, **__: object) -> str:
        raise cause

    monkeypatch.setattr(Path, "read_text", refuse)
    with pytest.raises(SettingsError, match=words):
        load_settings("any.toml")
