"""The map of bonded networks: colours and patterns by group and evidence, symbols, labels apart, both formats."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure

from corridor.errors import OutputError
from corridor.frames import CAUTION
from corridor.network.bonded import BondedNetworks, bonded_networks
from corridor.report.maps.groups_map import GROUP_COLOURS, draw_groups_map, write_groups_map
from corridor.report.maps.map_frame import check_map
from tests.block import sample
from tests.builders import make_site
from tests.report.drawn import all_text, cut_off, is_png, legend_words, overlaps, texts

METADATA = {"caution": CAUTION, "receipt": '{"seed": 0}'}


@cache
def _networks(name: str) -> BondedNetworks:
    return bonded_networks(sample(name))


@cache
def _drawn(name: str) -> Figure:
    return draw_groups_map(_networks(name), sample(name))


def _small(**more: Any) -> Figure:
    """Two water mains that meet, a cable bonded to one of them by inference, a lone pipe and one of clay."""
    lines = [
        {"line_id": "W-1", "utility": "water", "geometry": [(0, 0), (40, 0)]},
        {"line_id": "W-2", "utility": "water", "geometry": [(40, 0), (80, 0)]},
        {"line_id": "E-1", "utility": "electricity", "geometry": [(0, 10), (80, 10)]},
        {"line_id": "G-1", "utility": "gas", "geometry": [(0, 20), (80, 20)]},
        {"line_id": "S-1", "utility": "sewer", "geometry": [(0, 30), (80, 30)], "conductive": "no"},
        {"line_id": "$x_1^2$", "utility": "gas", "geometry": [(0, 40), (80, 40)], "status": "removed"},
    ]
    bonds = [{"bond_id": "B-1", "line_a": "E-1", "line_b": "W-1", "evidence": "inferred", "state": "unknown",
              "probability": 0.7, "geometry": (20, 5)}] if more.get("bonded", True) else []  # fmt: skip
    site = make_site(lines=lines, bonds=bonds)
    return draw_groups_map(bonded_networks(site), site)


def _strokes(figure: Figure) -> dict[str, set[bool]]:
    """Whether lines of a colour are dashed, by colour."""
    found: dict[str, set[bool]] = {}
    for drawn in figure.axes[0].collections:
        if isinstance(drawn, LineCollection) and len(drawn.get_segments()) == 1:
            dashes = drawn.get_linestyle()[0][1]
            found.setdefault(to_hex(drawn.get_color()[0]), set()).add(dashes is not None)
    return found


def test_a_group_has_a_colour_and_a_number_and_evidence_a_pattern() -> None:
    figure = _small()
    assert _strokes(figure)[GROUP_COLOURS[0]] == {False, True}  # the mains meet on record, the cable by inference
    named = {text for text in texts(figure) if "[" in text and not text.startswith("[")}
    assert {"W-1 [1]", "W-2 [1]", "E-1 [1]", "G-1 [–]"} <= named
    assert "S-1" in texts(figure)  # a line without tone is still there


def test_a_line_in_no_group_is_never_called_unbonded() -> None:
    told = all_text(_small()).casefold()
    assert "not known [–]: no record of a bond isn't no bond" in told
    assert "it is still there" in told
    for word in ("unbonded", "isolated from", "separate", "safe"):
        assert word not in told


def test_a_removed_line_is_not_drawn() -> None:
    assert "$x_1^2$" not in all_text(_small())


def test_no_group_at_all_is_a_map_too() -> None:
    lines = [{"line_id": "W-1", "utility": "water", "geometry": [(0, 0), (40, 0)]}]
    site = make_site(lines=lines)
    assert "W-1 [–]" in texts(draw_groups_map(bonded_networks(site), site))


@pytest.mark.parametrize("name", ["bonded_district", "downtown_block", "excavation_zone"])
def test_no_label_overlaps_and_nothing_is_cut_off(name: str) -> None:
    assert overlaps(_drawn(name)) == []
    assert cut_off(_drawn(name)) == []


@pytest.mark.parametrize("name", ["bonded_district", "excavation_zone"])
def test_every_likely_group_stands_in_the_legend_with_its_weakest_link(name: str) -> None:
    groups = _networks(name).bonded_groups
    rows = [row for row in legend_words(_drawn(name)) if row.startswith("[")]
    likely = groups[groups["level"].eq("likely")].sort_values("length_m", ascending=False)
    assert len(rows) == len(likely)
    for row, group in zip(rows, likely.itertuples(), strict=True):
        assert group.group_id.partition(":")[2] in row
        assert f"{group.length_m:.0f} m" in row
        assert group.evidence_weakest in row


def test_what_joins_and_parts_is_drawn_once_each() -> None:
    found = _networks("bonded_district")
    drawn = sum(len(c.get_offsets()) for c in _drawn("bonded_district").axes[0].collections
                if isinstance(c, PathCollection) and c.get_zorder() >= 7)  # fmt: skip
    assert drawn == found.group_edges.geometry.notna().sum() + found.isolations.geometry.notna().sum()


def test_the_symbols_in_use_are_explained() -> None:
    rows = " ".join(legend_words(_drawn("bonded_district")))
    for word in ("bond, on record or seen", "bond, inferred or suspected", "lines that meet", "ground electrode",
                 "isolating joint: no bond known round it", "isolating joint, bridged"):  # fmt: skip
        assert word in rows


def test_no_colour_of_a_group_is_green_and_a_second_round_is_told_apart() -> None:
    for colour in GROUP_COLOURS:
        red, green, blue = to_rgb(colour)
        assert not (green > red and green > blue)
    count = len(GROUP_COLOURS) + 1
    lines = [
        {"line_id": f"W-{n:02d}{part}", "utility": "water", "geometry": [(50 * k, 10 * n), (50 * k + 50, 10 * n)]}
        for n in range(count) for k, part in enumerate("ab")
    ]  # fmt: skip
    site = make_site(lines=lines)
    figure = draw_groups_map(bonded_networks(site), site)
    assert sum(row.startswith("[") for row in legend_words(figure)) == count
    assert "#ffffff" in _strokes(figure)  # the white middle of a double line


def test_names_out_of_the_data_are_text() -> None:
    lines = [{"line_id": "$\\frac{1}{0$", "utility": "water", "geometry": [(0, 0), (40, 0)]}]
    site = make_site(lines=lines)
    assert "$\\frac{1}{0$ [–]" in texts(draw_groups_map(bonded_networks(site), site))


def test_the_caution_and_what_the_map_rests_on_stand_in_it() -> None:
    told = all_text(_drawn("bonded_district"))
    assert CAUTION in told
    assert "Grid north up" in told


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_both_formats_carry_caution_and_receipt_and_are_the_same_again(tmp_path: Path, suffix: str) -> None:
    site = sample("bonded_district")
    for name in ("a", "b"):
        write_groups_map(_networks("bonded_district"), site, tmp_path / f"{name}.{suffix}", metadata=METADATA)
    data = (tmp_path / f"a.{suffix}").read_bytes()
    assert data == (tmp_path / f"b.{suffix}").read_bytes()
    assert CAUTION.encode() in data
    if suffix == "png":
        assert is_png(tmp_path / "a.png")
    else:
        root = ET.fromstring(data)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert not root.findall(".//{http://www.w3.org/2000/svg}script")
        assert b"<dc:date>" not in data


def test_another_format_or_place_is_refused_before_any_work(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"expected a map ending in \.png or \.svg, got 'map\.pdf'"):
        check_map("map.pdf")
    with pytest.raises(OutputError, match=r"the folder .* doesn't exist"):
        check_map(tmp_path / "no" / "map.png")
    with pytest.raises(OutputError, match="is a folder"):
        (tmp_path / "a.png").mkdir()
        check_map(tmp_path / "a.png")


def test_more_groups_than_the_legend_holds_are_counted() -> None:
    lines = [
        {"line_id": f"W-{n:02d}{part}", "utility": "water", "geometry": [(50 * k, 10 * n), (50 * k + 50, 10 * n)]}
        for n in range(25) for k, part in enumerate("ab")
    ]  # fmt: skip
    site = make_site(lines=lines)
    assert "and 5 more groups: see the layer bonded_groups" in all_text(draw_groups_map(bonded_networks(site), site))


def test_inputs_are_left_as_they_were() -> None:
    site, found = sample("bonded_district"), _networks("bonded_district")
    before = {name: getattr(found, name).copy() for name in ("line_groups", "bonded_groups", "group_edges")}
    draw_groups_map(found, replace(site))
    for name, frame in before.items():
        assert frame.equals(getattr(found, name))
