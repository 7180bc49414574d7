"""The shipped field maps of open standards."""

from pathlib import Path

import pytest

from corridor.errors import FieldMapError
from corridor.site import load_fieldmap, read_site
from corridor.site.fieldmap import profiles
from tests.site.records import checked, codes, course, write

# UtilityNetworkTypeValue of INSPIRE utility networks, as read in a copy of its code lists
NETWORKS = {"electricity", "oilGasChemical", "sewer", "water", "thermal", "telecommunications"}
FUNCTIONAL = "codelist/ConditionOfFacilityValue/functional"


def test_each_profile_is_a_field_map_that_says_what_is_from_memory() -> None:
    assert set(profiles()) == {"inspire", "muddi"}
    for name, path in profiles().items():
        assert load_fieldmap(name).profile
        assert "from memory" in path.read_text(encoding="utf-8")


def test_inspire_terms_are_read_in_any_case(tmp_path: Path) -> None:
    water = {"LOCALID": "W-1", "waterType": "codelist/WaterTypeValue/potable", "pipeDiameter": 150.0,
             "currentStatus": FUNCTIONAL, "verticalPosition": "underground",
             "geometry": course((0, 0), (9, 0))}  # fmt: skip
    gas = {"localId": "G-1", "oilGasChemicalsProductType": "naturalGas", "currentStatus": "disused",
           "geometry": course((0, 2), (9, 2))}  # fmt: skip
    storm = {"localId": "D-1", "sewerWaterType": "storm", "geometry": course((0, 4), (9, 4))}
    hydrant = {"localId": "H-1", "appurtenanceType": "codelist/WaterAppurtenanceTypeValue/fireHydrant",
               "geometry": course((0, 0), (9, 0)).centroid}  # fmt: skip
    path = write(tmp_path, WaterPipe=[water], OilGasChemicalsPipe=[gas], SewerPipe=[storm], Appurtenance=[hydrant])
    site = checked(read_site(path, fieldmap="inspire"))
    lines = site.lines.set_index("line_id")
    assert lines["utility"].to_dict() == {"W-1": "water", "G-1": "gas", "D-1": "storm_drain"}
    assert lines["status"].to_dict() == {"W-1": "in_service", "G-1": "out_of_service", "D-1": None}
    assert lines.loc["W-1", "diameter_mm"] == 150.0
    assert lines.loc["W-1", "vertical_position"] == "underground"
    assert site.structures["kind"].tolist() == ["hydrant"]
    assert "unknown_word" not in codes(site)
    assert site.fieldmap is not None
    assert site.fieldmap.sha256 is not None


@pytest.mark.parametrize("network", sorted(NETWORKS))
def test_every_network_type_of_inspire_has_a_utility_in_muddi(tmp_path: Path, network: str) -> None:
    link = {"systemId": "1", "networkType": network, "geometry": course((0, 0), (9, 0))}
    site = checked(read_site(write(tmp_path, NetworkLink=[link]), fieldmap="muddi"))
    assert site.lines["utility"][0] not in ("unknown", "other")
    assert "unknown_word" not in codes(site)


def test_a_profile_that_fits_nothing_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, mains=[{"id": "1", "geometry": course((0, 0), (9, 0))}])
    with pytest.raises(FieldMapError, match="profile names no layer that is in any of the files; they have: mains"):
        read_site(path, fieldmap="inspire")


def test_a_file_of_the_same_name_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "inspire").write_text('[layers.a]\ntable = "lines"\n', encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert list(load_fieldmap("inspire").layers) == ["a"]


def test_a_column_of_our_own_name_wins_row_by_row_in_a_profile(tmp_path: Path) -> None:
    rows = [
        {"localId": "1", "currentStatus": "disused", "status": "removed", "geometry": course((0, 0), (9, 0))},
        {"localId": "2", "currentStatus": "disused", "status": None, "geometry": course((0, 9), (9, 9))},
    ]
    site = checked(read_site(write(tmp_path, WaterPipe=rows), fieldmap="inspire"))
    lines = site.lines.set_index("line_id")
    assert lines["status"].to_dict() == {"1": "removed", "2": "out_of_service"}
    assert lines["status_src"].to_dict() == {"1": "given", "2": "mapped"}
    assert not any(str(name).startswith("src_status") for name in site.lines)


def test_only_a_profile_lets_two_columns_give_one_value(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    head = '[layers.mains]\ntable = "lines"\n[layers.mains.columns]\nline_id = "id"\n'
    path.write_text(head + 'status = { source = "state", own = "status" }\n', encoding="utf-8")
    rows = [{"id": "1", "state": "abandoned", "status": "removed", "geometry": course((0, 0), (9, 0))}]
    with pytest.raises(FieldMapError, match="own"):
        read_site(write(tmp_path, mains=rows), fieldmap=path)


def test_a_layer_says_itself_which_values_were_not_the_records_own(tmp_path: Path) -> None:
    rows = [
        {"line_id": name, "utility": "water", "asset": "pipe", "material": "steel", "material_src": told,
         "geometry": course((0, 9 * n), (9, 9 * n))}
        for n, (name, told) in enumerate((("1", "given"), ("2", "mapped"), ("3", "default"), ("4", None)))
    ]  # fmt: skip
    lines = read_site(write(tmp_path, lines=rows)).lines.set_index("line_id")
    assert lines["material_src"].to_dict() == {"1": "given", "2": "mapped", "3": "mapped", "4": "mapped"}


def test_all_of_a_text_is_the_records_own_word_and_a_part_is_not(tmp_path: Path) -> None:
    rows = [
        {"systemId": str(n), "networkType": "water", "material": text, "geometry": course((0, 9 * n), (9, 9 * n))}
        for n, text in enumerate(("steel", "codes/steel"))
    ]
    lines = read_site(write(tmp_path, NetworkLink=rows), fieldmap="muddi").lines.set_index("line_id")
    assert lines["material"].tolist() == ["steel", "steel"]
    assert lines["material_src"].to_dict() == {"0": "given", "1": "mapped"}
