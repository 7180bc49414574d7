"""Passive tone of a site: who is fed, who is heard, what is only silent, and what is refused."""

from dataclasses import replace
from functools import cache
from typing import Any

import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal

from corridor import Settings, Site, trace_passive
from corridor.dictionary import RESULT_TABLES
from corridor.errors import DomainError, InputError
from corridor.plan.passive import INDICATIVE, PassiveTrace
from corridor.settings import PassiveSettings
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, cable, ground

POWER = {"utility": "electricity", "asset": "cable", "material": "copper", "coating": "polyethylene",
         "diameter_mm": 30.0, "conductor_mm2": 50.0, "depth_m": 0.8}  # fmt: skip
LOUD = SETTINGS.model_copy(update={"passive": PassiveSettings(radio_field_mv_per_m=1000.0, radio_arrival_deg=270.0)})


def power(line_id: str, y_m: float = 0.0, **more: Any) -> dict[str, Any]:
    return POWER | {"line_id": line_id, "geometry": [(0, y_m), (LENGTH_M, y_m)]} | more


def supply(kind: str, line_id: str, x_m: float, y_m: float = 0.0, *, at: str | None = None) -> dict[str, Any]:
    """A structure that a line ends at, with its termination."""
    name = f"{kind}-{line_id}-{x_m:g}"
    return {
        "structure": {"structure_id": name, "kind": kind, "geometry": (x_m, y_m)},
        "termination": {"structure_id": name, "line_id": line_id, "at": at or ("start" if x_m == 0 else "end")},
    }


def site_of(lines: list[dict[str, Any]], *supplies: dict[str, Any], **tables: Any) -> Site:
    both = [(line["line_id"], x, line["geometry"][0][1]) for line in lines for x in (0.0, LENGTH_M)]
    return make_site(
        lines=lines,
        structures=[s["structure"] for s in supplies],
        terminations=[s["termination"] for s in supplies],
        soil=[KNOWN_SOIL],
        **({"grounds": [ground(name, x, y) for name, x, y in both]} | tables),
    )


@cache
def with_feed() -> Site:
    """A power cable from a transformer, a telephone cable beside it and one far off, all grounded at both ends."""
    lines = [power("E"), cable("T", 1.5), cable("Z", 40.0)]
    return site_of(lines, supply("transformer", "E", LENGTH_M))


def traced(site: Site, kind: str = "mains", *, settings: Settings = SETTINGS, **more: Any) -> PassiveTrace:
    return trace_passive(site, kind, settings=settings, **more)


@cache
def of_feed(kind: str = "mains", *, loud: bool = False) -> PassiveTrace:
    """Of that site, solved once for all tests."""
    return traced(with_feed(), kind, settings=LOUD if loud else SETTINGS)


def strongest_ma(result: PassiveTrace, line_id: str) -> float:
    own = result.sections[result.sections["line_id"] == line_id]
    return float(own["current_ma"].max())


def test_tables_are_those_of_the_dictionary_and_say_that_they_are_indicative() -> None:
    for kind in ("mains", "radio"):
        result = of_feed(kind, loud=True)
        for name in ("sections", "stations"):
            table = getattr(result, name)
            assert set(RESULT_TABLES[name].names) <= set(table.columns)
            assert len(table)
            assert set(table["hookup_id"]) == {f"passive {kind} (indicative)"}
            assert table.attrs["corridor"][-1]["parameters"]["indicative"] is True
    assert INDICATIVE.startswith("Indicative only")


def test_what_needs_a_target_is_empty() -> None:
    result = of_feed()
    for column in ("phase_deg", "share_of_output", "ratio_to_target"):
        assert result.sections[column].isna().all()
    assert result.stations["phase_deg"].isna().all()
    assert result.stations["sense"].isna().all()


def test_the_net_current_is_on_the_line_that_is_fed() -> None:
    # 20 ohm of grounds take 5 V at most 250 mA: the net current of 100 mA sets it
    result = of_feed()
    assert result.fed == ("E",)
    assert strongest_ma(result, "E") == pytest.approx(100.0, rel=1e-3)
    over = result.stations[result.stations["line_id"] == "E"]
    middle = over[over["station_m"].between(20, 40)]
    assert middle["current_ma"].tolist() == pytest.approx([100.0] * len(middle), rel=1e-2)
    assert set(middle["grade"]) <= {"readable", "pulled"}


def test_twice_the_net_current_is_twice_on_every_line() -> None:
    double = SETTINGS.model_copy(update={"passive": PassiveSettings(mains_net_ma=200.0)})
    one, two = of_feed(), traced(with_feed(), settings=double)
    for line_id in ("E", "T"):
        assert strongest_ma(two, line_id) == pytest.approx(2 * strongest_ma(one, line_id), rel=1e-3)


def test_a_line_without_current_is_silent_and_has_sections_all_the_same() -> None:
    result = of_feed()
    assert result.silent == ("Z",)
    assert set(result.stations["line_id"]).isdisjoint(result.silent)
    own = result.sections[result.sections["line_id"] == "Z"]
    assert len(own)
    assert set(own["grade"]) == {"faint"}


def test_no_way_back_no_current() -> None:
    # a balanced cable without grounds: what its jacket's capacitance takes is nothing to hear
    bare = site_of([power("E")], supply("transformer", "E", 0.0), grounds=[])
    result = traced(bare)
    assert strongest_ma(result, "E") < 0.1
    assert result.silent == ("E",)
    assert result.stations.empty


@pytest.mark.parametrize("kind", ["substation", "transformer", "cabinet"])
def test_the_feed_stands_at_the_supply(kind: str) -> None:
    result = traced(site_of([power("E"), power("F", 3.0)], supply(kind, "F", LENGTH_M, 3.0)))
    assert result.fed == ("E", "F")  # E is joined to none that is supplied, so that it's fed by itself


def test_a_line_joined_to_a_supplied_one_is_not_fed_again() -> None:
    onward = power("F") | {"geometry": [(LENGTH_M, 0), (2 * LENGTH_M, 0)]}
    grounds = [ground("E", 0.0), ground("F", 2 * LENGTH_M)]
    result = traced(site_of([power("E"), onward], supply("transformer", "E", 0.0), grounds=grounds))
    assert result.fed == ("E",)
    assert strongest_ma(result, "F") == pytest.approx(100.0, rel=0.02)  # one circuit: Kirchhoff


def test_of_two_ends_the_likelier_supply_feeds() -> None:
    # both ends are fed in turn, the same circuit: only the recorded places decide, and nothing else changes
    one = site_of([power("E")], supply("cabinet", "E", 0.0), supply("substation", "E", LENGTH_M))
    other = site_of([power("E")], supply("substation", "E", LENGTH_M))
    assert_geodataframe_equal(traced(one).sections, traced(other).sections)


@pytest.mark.parametrize(
    "change",
    [{"energized": "no"}, {"status": "abandoned"}, {"status": "out_of_service"}, {"utility": "water"},
     {"utility": "traction"}],
)  # fmt: skip
def test_a_line_that_carries_no_mains_is_not_fed(change: dict[str, str]) -> None:
    result = traced(site_of([power("E"), power("F", 3.0, **change)], supply("transformer", "E", 0.0)))
    assert result.fed == ("E",)


def test_mains_without_an_electric_line_is_refused() -> None:
    with pytest.raises(InputError, match=r"expected an electric line in service .* among the 1 lines .* got none"):
        traced(site_of([cable("T")]))


def test_a_site_without_metal_is_refused() -> None:
    plastic = cable("T", conductive="no")
    with pytest.raises(InputError, match="the records hold none that do"):
        traced(site_of([plastic], grounds=[]), "radio")


def test_a_kind_that_is_none_is_refused() -> None:
    with pytest.raises(DomainError, match="expected passive tone of mains or radio, got 'sonar'"):
        traced(with_feed(), "sonar")


@pytest.mark.parametrize("frequency_hz", [16.7, 3e5, float("nan")])
def test_a_frequency_out_of_range_is_refused(frequency_hz: float) -> None:
    with pytest.raises(DomainError, match="200000"):
        traced(with_feed(), "radio", frequency_hz=frequency_hz)


def test_an_unknown_line_is_refused_by_name() -> None:
    with pytest.raises(InputError, match=r"such as E, T, Z\), got Q"):
        traced(with_feed(), lines=["E", "Q"])


def test_a_site_too_large_to_be_solved_whole_asks_for_lines() -> None:
    small = SETTINGS.model_copy(update={"solver": SETTINGS.solver.model_copy(update={"section_limit": 50})})
    with pytest.raises(InputError, match=r"at most 50 sections .* whole site has about 90; name the lines"):
        traced(with_feed(), settings=small)


def test_only_the_lines_asked_for_are_shown() -> None:
    result = traced(with_feed(), lines=["T"])
    assert set(result.sections["line_id"]) == {"T"}
    assert set(result.stations["line_id"]) <= {"T"}
    assert result.fed == ("E",)  # what lies beside it is solved too
    whole = of_feed()
    assert strongest_ma(result, "T") == pytest.approx(strongest_ma(whole, "T"), rel=0.02)


def test_a_line_that_conducts_nothing_is_named() -> None:
    site = site_of([power("E"), cable("P", 5.0, conductive="no")], supply("transformer", "E", 0.0),
                   grounds=[ground("E", 0.0), ground("E", LENGTH_M)])  # fmt: skip
    assert any("never heard: P" in note for note in traced(site).notes)
    assert any("never heard: P" in note for note in traced(site, lines=["E", "P"]).notes)


def test_a_wave_along_the_lines_is_heard_and_one_across_them_is_not() -> None:
    # the field drives along its own way only
    along, across = (
        traced(site_of([cable("T")]), "radio", settings=turned(deg)).stations.groupby("line_id").size().to_dict()
        for deg in (270.0, 0.0)
    )
    assert along
    assert not across


def turned(arrival_deg: float) -> Settings:
    loud = PassiveSettings(radio_field_mv_per_m=1000.0, radio_arrival_deg=arrival_deg)
    return SETTINGS.model_copy(update={"passive": loud})


def test_the_floor_of_radio_is_no_lower_than_the_wave_itself() -> None:
    # plane wave, B = E/c: 1 V/m is 3.3356 nT, far above the settings' 0.02 nT
    stations = of_feed("radio", loud=True).stations
    field, above = stations["field_nt"], stations["above_floor_db"]
    at = field.idxmax()
    assert field[at] / 10 ** (above[at] / 20) == pytest.approx(3.3356, rel=0.01)


def test_stronger_wave_more_current_in_proportion() -> None:
    weak, strong = (
        traced(
            with_feed(), "radio",
            settings=SETTINGS.model_copy(update={"passive": PassiveSettings(radio_field_mv_per_m=field,
                                                                           radio_arrival_deg=270.0)}),
        )
        for field in (100.0, 200.0)
    )  # fmt: skip
    assert strongest_ma(strong, "T") == pytest.approx(2 * strongest_ma(weak, "T"), rel=1e-2)


def test_the_frequency_asked_for_replaces_the_settings() -> None:
    result = traced(with_feed(), frequency_hz=60.0)
    assert result.frequency_hz == 60.0
    assert set(result.sections["frequency_hz"]) == {60.0}
    assert any("at 60 Hz" in note for note in result.notes)


def test_the_same_site_gives_the_same_tables_in_any_order() -> None:
    site = with_feed()
    turned_over = replace(site, lines=site.lines.iloc[::-1].reset_index(drop=True))
    one, again, other = of_feed(), traced(site), traced(turned_over)
    assert one.sections.to_json() == again.sections.to_json()
    pd.testing.assert_frame_equal(
        one.sections.drop(columns="geometry"), other.sections.drop(columns="geometry"), atol=1e-3
    )


def test_passive_tone_is_no_hook_up() -> None:
    # the gate, the candidates and the plan know their modes from the dictionary: passive tone is none of them
    modes = RESULT_TABLES["hookups"].column("mode").vocabulary
    assert modes == ("direct", "clamp", "induction")
    assert not any("passive" in mode or "mains" in mode or "radio" in mode for mode in modes)
