"""Where to drive the ground stake of each direct hook-up: places compared by the solution itself.

A stake drives current on what lies near it: the place is best where the neighbours take least of the tone for what the
target carries. It also sets most of the loop's impedance, and so what the transmitter can push.
"""

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.constants import MA_PER_A, MM_PER_M
from corridor.dictionary import GONE
from corridor.plan.places import STAKE_CLEARANCE_M, bearing_and_distance, stake_clearance, stake_tries
from corridor.plan.prepare import Prepared
from corridor.settings import Equipment, Settings
from corridor.site.model import Site
from corridor.tone.electrodes import layered_rod_resistance, rod_resistance
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import nominal_network
from corridor.tone.sources import LIMITS, direct_output
from corridor.tone.stake_fields import StakeResponse, stake_fields, stake_responses

__all__ = ["NO_PLACE", "choose_stakes", "with_stakes"]

Array = NDArray[Any]

PLACES_AT_ONCE = 512  # solved together (memory)
OFF_LIMITS = ("carriageway", "rail")  # surfaces where no stake is driven
NO_PLACE = f"a place for the ground stake at least {STAKE_CLEARANCE_M:g} m from recorded lines and off the carriageway"
_COLUMNS = [
    "hookup_id", "stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m", "neighbour_ratio", "loop_ohm",
    "stake_ohm", "available_ma", "two_stakes_ma", "hint", "runner_up_bearing_deg", "runner_up_distance_m",
    "runner_up_ratio", "places",
]  # fmt: skip


class _Tried(NamedTuple):
    """Places of one hook-up that are clear, and what each gives; loops and ratios are the worst over the frequencies.

    ``pair_ohm`` is the loop with the first and second best clipped together, NaN where there is one place.
    """

    xy: Array
    ratio: Array
    loop: Array
    order: Array
    pair_ohm: complex


def choose_stakes(
    prepared: Prepared,
    ready: gpd.GeoDataFrame,
    site: Site,
    *,
    frequencies_hz: Sequence[float],
    level_ma: float,
    equipment: Equipment,
    settings: Settings,
) -> pd.DataFrame:
    """Choose a place for the stake of every direct hook-up, from the nominal solution of the network.

    Tried are places in twelve bearings off the target, square ones first, at up to four distances within the lead, but
    for those nearer than 1 m to a recorded line, or on a carriageway or railway of the site's surfaces. The network is
    factored once a frequency; each place is one more column of the solution, as exact as a stake that is a section of
    the network. The lead itself isn't solved.

    Parameters
    ----------
    prepared : Prepared
        The network with the hook-ups placed on it; stakes that it holds already are left out of account.
    ready : GeoDataFrame
        Rows of the table ``hookups`` in the order of its drives.
    site : Site
        Its lines are kept clear of; its surfaces tell carriageways.
    frequencies_hz : sequence of float
        One or two are enough: the places' order hardly depends on it.
    level_ma : float
        Output wanted, for the hint.
    equipment, settings
        Stake, lead and limits of the source; wished distance.

    Returns
    -------
    DataFrame
        A row a direct hook-up with a stake: hookup_id, stake_x_m, stake_y_m, stake_bearing_deg (clockwise from the
        grid's north), stake_distance_m, neighbour_ratio (sum over the other lines of the largest current on each, over
        the target's mean current), loop_ohm, stake_ohm (of the rod alone, in the nominal soil), available_ma,
        two_stakes_ma (with a second stake at the runner-up's place), hint (a sentence where the loop is so resistive
        that voltage or power keep the output below the level wanted, else empty), runner_up_bearing_deg,
        runner_up_distance_m, runner_up_ratio and places (how many were tried). Without a clear place there are NaN, and
        the hint says so.
    """
    index = [
        k
        for k, drive in enumerate(prepared.drives)
        if drive.hookup.mode == "direct" and drive.hookup.far_end != "returned"
    ]
    if not index:
        return pd.DataFrame(columns=_COLUMNS)
    rows = ready.iloc[index]
    places = _clear_places(rows, site, equipment=equipment, settings=settings)
    tried: list[_Tried] = []
    for part in _parts([len(xy) for xy in places]):
        nodes = [prepared.drives[index[k]].node for k in part]
        targets = rows["line_id"].iloc[part].tolist()
        tried += _solved(
            prepared, [places[k] for k in part], nodes, targets=targets, frequencies_hz=frequencies_hz,
            equipment=equipment, settings=settings,
        )  # fmt: skip
    stake_ohm = _rod_ohm(prepared.soil, equipment)
    start = shapely.get_coordinates(rows.geometry.to_numpy())
    found = [
        {"hookup_id": hookup_id, "stake_ohm": stake_ohm} | _row(one, origin, level_ma=level_ma, equipment=equipment)
        for hookup_id, one, origin in zip(rows["hookup_id"], tried, start, strict=True)
    ]
    return pd.DataFrame(found, columns=_COLUMNS)


def with_stakes(hookups: gpd.GeoDataFrame, chosen: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the table ``hookups`` with the stakes chosen; a hook-up without a clear place isn't ready.

    Parameters
    ----------
    hookups : GeoDataFrame
        Left as it is.
    chosen : DataFrame
        Of `choose_stakes`.
    """
    out = hookups.copy()
    new = chosen.set_index("hookup_id")
    hit = out["hookup_id"].isin(new.index).to_numpy()
    own = new.loc[out.loc[hit, "hookup_id"]]
    for column in ("stake_x_m", "stake_y_m", "stake_bearing_deg", "stake_distance_m"):
        out.loc[hit, column] = own[column].to_numpy(float)
    out.loc[hit, "stake_hint"] = own["hint"].replace("", None).to_numpy(object)
    lost = out.index[hit][own["stake_x_m"].isna().to_numpy()]
    lost = lost[out.loc[lost, "ready"].eq("ready").to_numpy()]
    out.loc[lost, "missing"] = NO_PLACE
    out.loc[lost, "reason"] = f"stake_clearance: {NO_PLACE} comes first"
    out.loc[lost, "ready"] = "not_ready"
    return out


def _clear_places(
    rows: gpd.GeoDataFrame, site: Site, *, equipment: Equipment, settings: Settings
) -> list[NDArray[np.float64]]:
    """Return the places of each hook-up that are clear, in the order of preference, (places, 2)."""
    shapes = site.lines.set_index("line_id").geometry.loc[rows["line_id"]].to_numpy()
    tries = stake_tries(
        shapes,
        rows["at_m"].to_numpy(float),
        distance_m=settings.hookups.stake_distance_m,
        lead_m=equipment.stake.lead_m,
    )
    existing = site.lines[~site.lines["status"].isin(GONE).to_numpy()].geometry.to_numpy()
    clear = stake_clearance(tries, existing, reach_m=2 * STAKE_CLEARANCE_M) >= STAKE_CLEARANCE_M
    road = site.surfaces[site.surfaces["kind"].isin(OFF_LIMITS)].geometry.union_all()
    if not shapely.is_empty(road):
        shapely.prepare(road)
        clear &= ~shapely.intersects_xy(road, tries[..., 0], tries[..., 1])
    return [one[free] for one, free in zip(tries, clear, strict=True)]


def _parts(sizes: Sequence[int]) -> Iterator[list[int]]:
    """Part hook-ups so that no part has more places than are solved at once; one alone may have more."""
    part: list[int] = []
    for k, size in enumerate(sizes):
        if part and sum(sizes[j] for j in part) + size > PLACES_AT_ONCE:
            yield part
            part = []
        part.append(k)
    if part:
        yield part


def _solved(
    prepared: Prepared,
    places: Sequence[Array],
    nodes: Sequence[int],
    *,
    targets: Sequence[str],
    frequencies_hz: Sequence[float],
    equipment: Equipment,
    settings: Settings,
) -> list[_Tried]:
    """Compare the places of some hook-ups."""
    model, soil = prepared.model, prepared.soil
    first = np.concatenate([[0], np.cumsum([len(xy) for xy in places])])
    total = int(first[-1])
    ratio, loop = np.zeros(total), np.zeros(total, dtype=np.complex128)
    responses: list[StakeResponse] = []
    for frequency in frequencies_hz if total else ():
        ground: dict[str, Any] = {"frequency_hz": frequency, "resistivity_ohm_m": soil.nominal_ohm_m, "soil": soil}
        fields = stake_fields(
            model,
            np.concatenate(places),
            length_m=equipment.stake.length_m,
            radius_m=equipment.stake.diameter_mm / 2 / MM_PER_M,
            **ground,
        )
        response = stake_responses(nominal_network(model, **ground), fields, np.repeat(nodes, np.diff(first)))
        responses.append(response)
        peaks, means = _per_line(model, np.abs(response.current_a))
        for k, target in enumerate(targets):
            own = slice(first[k], first[k + 1])
            line = model.line_ids.index(target)
            others = peaks[:, own].sum(axis=0) - peaks[line, own]
            ratio[own] = np.maximum(ratio[own], others / means[line, own])
        larger = np.abs(response.loop_ohm) > np.abs(loop)
        loop[larger] = response.loop_ohm[larger]
    out = []
    for k, xy in enumerate(places):
        own = slice(first[k], first[k + 1])
        order = _ranked(ratio[own], settings.hookups.stake_tie_share)
        pair = max(
            (r.loop_of_both(*(first[k] + order[:2])) for r in responses if len(order) > 1), key=abs, default=np.nan
        )
        out.append(_Tried(xy, ratio[own], loop[own], order, pair))
    return out


def _per_line(model: ToneModel, size: NDArray[np.float64]) -> tuple[Array, Array]:
    """Return each line's largest current and its mean over the length, (lines, places)."""
    length = np.linalg.norm(model.end_m - model.start_m, axis=1)
    peaks, means = np.zeros((2, len(model.line_ids), size.shape[1]))
    for number, line_id in enumerate(model.line_ids):
        own = model.sections_of(line_id)
        peaks[number] = size[own].max(axis=0)
        means[number] = np.average(size[own], axis=0, weights=length[own])
    return peaks, means


def _ranked(ratio: Array, tie_share: float) -> NDArray[np.int64]:
    """Return the places from best to worst; those that tie with the least keep the order in which they are tried."""
    if not ratio.size:
        return np.empty(0, dtype=np.int64)
    level = np.where(ratio <= ratio.min() * (1.0 + tie_share), 0.0, ratio)
    return np.argsort(level, kind="stable")


def _rod_ohm(soil: SoilRange, equipment: Equipment) -> float:
    size = (equipment.stake.length_m, equipment.stake.diameter_mm / 2 / MM_PER_M, soil.nominal_ohm_m)
    if np.isnan(soil.top_thickness_m):
        return rod_resistance(*size)
    return layered_rod_resistance(*size, top_thickness_m=soil.top_thickness_m, lower_ohm_m=soil.lower_ohm_m)


def _row(tried: _Tried, origin: Array, *, level_ma: float, equipment: Equipment) -> dict[str, Any]:
    """Describe the best place of one hook-up and the next one."""
    if not len(tried.order):
        return {"hint": f"missing: {NO_PLACE}", "places": 0}
    bearing, distance = bearing_and_distance(origin[None, :], tried.xy)
    best = int(tried.order[0])
    available, limited_by = _pushed(tried.loop[best], level_ma, equipment)
    two, _ = _pushed(tried.pair_ohm, level_ma, equipment)
    row = {
        "stake_x_m": float(tried.xy[best, 0]),
        "stake_y_m": float(tried.xy[best, 1]),
        "stake_bearing_deg": float(bearing[best]),
        "stake_distance_m": float(distance[best]),
        "neighbour_ratio": float(tried.ratio[best]),
        "loop_ohm": abs(complex(tried.loop[best])),
        "available_ma": available,
        "two_stakes_ma": two,
        "hint": "",
        "places": len(tried.order),
    }
    if len(tried.order) > 1:
        following = int(tried.order[1])
        row |= {
            "runner_up_bearing_deg": float(bearing[following]),
            "runner_up_distance_m": float(distance[following]),
            "runner_up_ratio": float(tried.ratio[following]),
        }
    limits = {
        "voltage": f"{equipment.transmitter.max_voltage_v:g} V",
        "power": f"{equipment.transmitter.max_power_w:g} W",
    }
    if limited_by in limits:
        gain = "" if np.isnan(two) else f" (with a second stake at the next best place {two:.3g} mA)"
        row["hint"] = (
            f"second stake or wet the soil: {limits[limited_by]} push {available:.3g} of {level_ma:g} mA through "
            f"{row['loop_ohm']:.3g} ohm{gain}"
        )
    return row


def _pushed(loop_ohm: complex, level_ma: float, equipment: Equipment) -> tuple[float, str]:
    """Return what the source pushes into a loop, mA, and what limits it; NaN for no loop."""
    if np.isnan(loop_ohm):
        return float("nan"), ""
    source = equipment.transmitter
    out = direct_output(
        loop_ohm,
        level_a=level_ma / MA_PER_A,
        max_voltage_v=source.max_voltage_v,
        max_current_a=source.max_current_ma / MA_PER_A,
        max_power_w=source.max_power_w,
    )
    return float(out.current_a) * MA_PER_A, LIMITS[int(out.limited_by)]
