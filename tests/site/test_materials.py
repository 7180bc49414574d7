"""The shipped tables of materials, coatings and words."""

import pytest

from corridor.dictionary import INPUT_TABLES, YES_NO
from corridor.site import coating, coatings, materials, metal
from corridor.site.materials import joint_types, material_words
from corridor.site.tables import access_rules, read_table, vocabulary, word_key

METALS = [name for name, material in materials().items() if material.metal]


@pytest.mark.parametrize("name", METALS)
def test_figures_of_metals_lie_in_their_range(name: str) -> None:
    figures = materials()[name].metal
    assert figures is not None
    assert figures.resistivity_low_ohm_m <= figures.resistivity_ohm_m <= figures.resistivity_high_ohm_m
    assert 1 <= figures.relative_permeability_low <= figures.relative_permeability <= figures.relative_permeability_high
    # between silver (1.6e-8 ohm m) and grey iron with the most graphite (handbooks, from memory)
    assert 1.6e-8 < figures.resistivity_ohm_m < 1.5e-6


@pytest.mark.parametrize(
    ("name", "resistivity_ohm_m"), [("copper", 1.7241e-8), ("aluminium", 2.8264e-8), ("lead", 21.4e-8)]
)
def test_conductors_are_those_of_the_cable_standard(name: str, resistivity_ohm_m: float) -> None:
    # IEC 60287-1-1, Table 1 (from memory)
    figures = metal(name)
    assert figures is not None
    assert figures.resistivity_ohm_m == resistivity_ohm_m
    assert figures.relative_permeability == 1.0


@pytest.mark.parametrize("word", ["DI", "d.i.", "Ductile Iron", "ductile-iron"])
def test_metals_go_by_their_usual_words(word: str) -> None:
    assert metal(word) == materials()["ductile_iron"].metal


@pytest.mark.parametrize("word", [None, "polyethylene", "unknown", "gold leaf", "none", float("nan")])
def test_what_is_no_metal_is_none(word: str | None) -> None:
    assert metal(word) is None


def test_no_word_means_two_materials() -> None:
    listed = [word_key(word) for row in materials().values() for word in (*row.aliases, row.name)]
    assert len(listed) == len(set(listed))
    assert set(material_words().values()) == set(materials())


@pytest.mark.parametrize("name", sorted(coatings()))
def test_figures_of_coatings_lie_in_their_range(name: str) -> None:
    row = coatings()[name]
    assert row.conductivity_low_s_per_m <= row.conductivity_s_per_m <= row.conductivity_high_s_per_m
    assert row.relative_permittivity >= 1
    assert (row.thickness_mm == 0) == (name == "none")
    assert row.source


@pytest.mark.parametrize(("name", "low", "high"), [("polyethylene", 0.0, 100.0), ("bitumen", 100.0, 2000.0)])
def test_conductance_per_area_falls_in_its_class(name: str, low: float, high: float) -> None:
    # NACE TM0102 (from memory), in 10 ohm m soil: below 100 uS/m2 excellent, 100 to 500 good, to 2000 fair
    row = coatings()[name]
    assert low < row.conductivity_s_per_m / (row.thickness_mm / 1000) * 1e6 <= high


def test_bare_metal_has_no_coating() -> None:
    assert coating(None) is None
    assert coating("None") is None
    assert coating("polyethylene") == coatings()["polyethylene"]
    assert coating("tar paper") == coatings()["unknown"]


def test_every_further_word_means_a_word_of_the_dictionary() -> None:
    columns = {column.name: column for table in INPUT_TABLES.values() for column in table.columns}
    for name, words in read_table("vocabulary").items():
        if name == "yes_no":
            known: set[str] = set(YES_NO)
        elif name in ("coating", "sheath"):
            known = set(coatings()) if name == "coating" else {"none", *METALS, "unknown"}
        elif name == "kind":
            known = set(INPUT_TABLES["structures"].column("kind").vocabulary)
        else:
            known = set(columns[name].vocabulary)
        assert set(words.values()) <= known, name
        assert vocabulary(name) == {word_key(k): v for k, v in words.items()}


def test_no_word_opens_the_gate_by_accident() -> None:
    # energized = no must be said: a blank, a dash or the word none don't say it
    meaning_no = {word for word, meant in vocabulary("yes_no").items() if meant == "no"}
    assert meaning_no == {"n", "false", "f", "0"}


def test_there_are_no_further_words_of_other_columns() -> None:
    assert vocabulary("owner") == {}


def test_a_table_that_is_not_shipped_is_an_error() -> None:
    with pytest.raises(FileNotFoundError):
        read_table("nothing")


def test_access_rules_use_known_words_and_the_last_takes_all() -> None:
    structures, lines = INPUT_TABLES["structures"], INPUT_TABLES["lines"]
    for rule in access_rules():
        assert set(rule.get("kind", [])) <= set(structures.column("kind").vocabulary)
        assert set(rule.get("utility", [])) <= set(lines.column("utility").vocabulary)
        assert {rule["direct"], rule["clamp"]} <= set(YES_NO)
    assert set(access_rules()[-1]) == {"direct", "clamp"}


@pytest.mark.parametrize("name", sorted(joint_types()))
def test_figures_of_joints_lie_in_their_range(name: str) -> None:
    joint = joint_types()[name]
    assert joint.source
    assert joint.closed_low_ohm <= joint.closed_ohm <= joint.closed_high_ohm
    assert joint.open_low_ohm <= joint.open_ohm <= joint.open_high_ohm
    assert joint.open_low_f <= joint.open_f <= joint.open_high_f
    assert joint.closed_high_ohm < joint.open_low_ohm


def test_every_word_for_a_joint_has_its_figures() -> None:
    words = set(INPUT_TABLES["lines"].column("joints").vocabulary)
    assert words == set(joint_types()) - {"isolating_joint"}
    assert {joint.name for joint in joint_types().values() if not joint.parts} == {"welded", "bonded"}
