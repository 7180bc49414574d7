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
