"""What the trade knows of tone (common practice), shown on small sites through the whole chain."""

from functools import cache
from typing import Any

import pytest

from corridor import Settings, trace_tone
from corridor.plan.trace import ToneTrace
from corridor.settings import SolverSettings
from tests.builders import make_site

SETTINGS = Settings(solver=SolverSettings(section_max_m=6.0, section_close_m=2.0, workers=1))
LENGTH_M = 100.0
CABLE = {"utility": "telecommunications", "asset": "cable", "material": "copper", "coating": "polyethylene",
         "diameter_mm": 12.0, "conductor_mm2": 20.0, "depth_m": 1.0}  # fmt: skip
STEEL = {"utility": "water", "asset": "pipe", "material": "steel", "joints": "welded", "coating": "polyethylene",
         "diameter_mm": 168.0, "wall_mm": 5.0, "depth_m": 1.0}  # fmt: skip


def line(line_id: str, *xy: tuple[float, float], **more: Any) -> dict[str, Any]:
    return CABLE | {"line_id": line_id, "geometry": list(xy)} | more


def ground(line_id: str, x_m: float, y_m: float = 0.0, ohm: float = 20.0) -> dict[str, Any]:
    return {"ground_id": f"{line_id}@{x_m:g}", "line_id": line_id, "geometry": (x_m, y_m), "resistance_ohm": ohm,
            "evidence": "recorded"}  # fmt: skip


def soil(resistivity_ohm_m: float) -> dict[str, Any]:
    block = [(-500, -500), (500, -500), (500, 500), (-500, 500)]
    return {"geometry": block, "resistivity_ohm_m": resistivity_ohm_m, "low_ohm_m": resistivity_ohm_m,
            "high_ohm_m": resistivity_ohm_m}  # fmt: skip


def fed(*neighbours: dict[str, Any], rho: float = 100.0, frequency_hz: float, **tables: Any) -> ToneTrace:
    """Trace a direct connection to the near end of a cable whose far end is grounded."""
    target = tables.pop("target", line("T", (0, 0), (LENGTH_M, 0)))
    grounds = [ground("T", LENGTH_M), *tables.pop("grounds", [])]
    site = make_site(
        lines=[target, *neighbours],
        structures=[{"structure_id": "S", "kind": "handhole", "access": "footway", "geometry": (0, 0)}],
        terminations=[{"structure_id": "S", "line_id": "T", "at": "start", "direct": "yes", "clamp": "yes"}],
        grounds=grounds,
        soil=[soil(rho)],
        **tables,
    )
    return trace_tone(site, "direct:T:S", frequency_hz=frequency_hz, level_ma=300.0, settings=SETTINGS)


def largest_share(result: ToneTrace, line_id: str) -> float:
    own = result.sections[result.sections["line_id"] == line_id]
    return float(own["share_of_output"].max())


@cache
def beside(frequency_hz: float) -> ToneTrace:
    """A neighbour one metre beside; its grounds stand away from the target's, so that induction is what couples."""
    near, far = -40.0, LENGTH_M + 40.0
    grounds = [ground("N", near, 1), ground("N", far, 1)]
    return fed(line("N", (near, 1), (far, 1)), grounds=grounds, frequency_hz=frequency_hz)


def test_the_share_of_a_grounded_neighbour_rises_with_frequency() -> None:
    # common practice: keep the frequency low where lines run close; above 50 kHz jacketed lines resonate
    shares = [largest_share(beside(f), "N") for f in (500.0, 2000.0, 10_000.0, 50_000.0)]
    assert shares == sorted(shares)
    assert shares[-1] > 2 * shares[0]


@pytest.mark.parametrize("frequency_hz", [500.0, 10_000.0, 100_000.0])
def test_a_bond_carries_tone_at_any_frequency(frequency_hz: float) -> None:
    # common practice: no frequency keeps tone off a bonded line, not even one that crosses at a right angle
    bond = {"bond_id": "B", "line_a": "N", "line_b": "T", "state": "closed", "evidence": "recorded",
            "resistance_ohm": 0.01, "geometry": (50, 0)}  # fmt: skip
    away = line("N", (50, -10), (50, 80), depth_m=1.3)
    far = [ground("N", 50, 80)]
    bonded = fed(away, grounds=far, bonds=[bond], frequency_hz=frequency_hz)
    apart = fed(away, grounds=far, frequency_hz=frequency_hz)
    assert largest_share(bonded, "N") > 0.1
    assert largest_share(bonded, "N") > 3 * largest_share(apart, "N")


@pytest.mark.parametrize("frequency_hz", [500.0, 10_000.0, 50_000.0])
def test_a_square_crossing_couples_little(frequency_hz: float) -> None:
    # common practice: cross at right angles; no bond, no common ground
    crossing = fed(line("N", (50, -50), (50, 50), depth_m=1.3), frequency_hz=frequency_hz)
    assert largest_share(crossing, "N") < 0.02
    if frequency_hz >= 10_000.0:
        assert largest_share(crossing, "N") < 0.2 * largest_share(beside(frequency_hz), "N")


def test_dry_ground_lowers_the_current_and_raises_the_voltage() -> None:
    # common practice: in dry ground the stake takes less, so the source runs into its voltage limit
    results = [fed(rho=rho, frequency_hz=1000.0) for rho in (10.0, 100.0, 1000.0)]
    currents = [result.current_ma for result in results]
    voltages = [result.voltage_v for result in results]
    assert currents == sorted(currents, reverse=True)
    assert voltages == sorted(voltages)
    assert currents[0] > 5 * currents[-1]


@pytest.mark.parametrize("joints", ["gasketed", "welded"])
def test_gaskets_pass_high_frequency_better_and_welds_do_not(joints: str) -> None:
    # common practice, where the coating is good and the joints' capacitance allows it
    pipe = line("T", (0, 0), (LENGTH_M, 0), **STEEL | {"joints": joints, "joint_spacing_m": 6.0})
    low, high = (beyond(fed(target=pipe, frequency_hz=f), 19.0) for f in (500.0, 100_000.0))
    assert (high > 10 * low) == (joints == "gasketed")
    assert (high < low) == (joints == "welded")


def beyond(result: ToneTrace, at_m: float) -> float:
    """Return the share of the output that passes a place on the target."""
    own = result.sections[result.sections["line_id"] == "T"]
    place = own.geometry.centroid.x.sub(at_m).abs().to_numpy().argmin()
    return float(own["share_of_output"].iloc[place])
