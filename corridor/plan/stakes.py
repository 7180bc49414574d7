"""Ground stakes of the hook-ups to be solved, grounds taken as lifted, and what has to be said about both."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.dictionary import GONE
from corridor.errors import HookUpError
from corridor.network.model import Network
from corridor.plan.places import STAKE_CLEARANCE_M
from corridor.settings import Equipment, Settings
from corridor.tone.assemble import Placement
from corridor.tone.hookup import HookUp

__all__ = ["LIFT_REACH_M", "Staking", "grounds_at", "stake_name", "stake_out", "without_lifted"]

STAKES_APART_M = 0.3  # closer stakes act as one (engineering estimate: about their length)
LIFT_REACH_M = 3.0  # grounds so near along the line are at the hook-up (engineering estimate)


@dataclass(frozen=True)
class Staking:
    """Where the stakes of all hook-ups stand, and notes on them."""

    placement: Placement
    notes: tuple[str, ...]


def stake_name(name: str) -> str:
    """Return the name of the electrode that a hook-up's first stake is."""
    return f"stake|{name}"


def stake_out(
    hookups: Sequence[HookUp],
    names: Sequence[str],
    lines: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
) -> Staking:
    """Place the stakes of direct hook-ups: those at the transmitter, and one at a grounded far end.

    Parameters
    ----------
    hookups : sequence of HookUp
        With ``at_m`` filled.
    names : sequence of str
        Their ids.
    lines : GeoDataFrame
        Table ``lines``, all of them.
    equipment : Equipment
        Length and diameter of the stakes.
    settings : Settings
        Distance of a stake that the hook-up doesn't place.

    Returns
    -------
    Staking
        A note for each stake that the hook-up doesn't place, and for each one nearer to a recorded line than stakes may
        be driven.

    Raises
    ------
    HookUpError
        If two stakes of one hook-up stand closer than 0.3 m.
    """
    stakes: dict[str, tuple[float, float]] = {}
    leads: list[tuple[str, str, float]] = []
    ties: list[tuple[str, str]] = []
    notes: list[str] = []
    shapes = lines.set_index("line_id").geometry
    existing = lines[~lines["status"].isin(GONE)]
    neighbours = _Neighbours(list(existing["line_id"]), shapely.STRtree(existing.geometry.to_numpy()))
    for name, hookup in zip(names, hookups, strict=True):
        if hookup.mode != "direct":
            continue
        line = shapes.loc[hookup.line_id]
        if hookup.far_end != "returned":
            assumed = hookup.stake_xy is None
            own = [hookup.stake_xy or _square_stake(hookup, line, settings), *hookup.further_stakes]
            _check_apart(name, own)
            for number, xy in enumerate(own, start=1):
                key = stake_name(name) if number == 1 else f"{stake_name(name)}|{number}"
                stakes[key] = xy
                if number > 1:
                    ties.append((stake_name(name), key))
                notes += neighbours.note(name, xy, assumed=assumed and number == 1)
        if hookup.far_end == "grounded" and hookup.at_m is not None:
            far = 0.0 if hookup.at_m > line.length / 2 else line.length
            point = line.interpolate(far)
            stakes[f"far|{name}"] = (point.x, point.y)
            leads.append((f"far|{name}", hookup.line_id, far))
    return Staking(Placement(stakes, equipment.stake, tuple(leads), tuple(ties)), tuple(notes))


def without_lifted(network: Network, hookups: Sequence[HookUp]) -> tuple[Network, tuple[str, ...]]:
    """Return the network without what a hook-up takes as lifted or opened, and notes that name it.

    Parameters
    ----------
    network : Network
        Of the site.
    hookups : sequence of HookUp
        Solved together; all share one network.

    Raises
    ------
    HookUpError
        If a ground is to be lifted or a bond opened for a hook-up that isn't solved alone, the line has no ground at
        the hook-up, or the line has no such bond.
    """
    changing = [hookup for hookup in hookups if hookup.lift_ground or hookup.opened_bond is not None]
    if not changing:
        return network, ()
    hookup = changing[0]
    if len(hookups) > 1:
        message = (
            f"hook-up {hookup.hookup_id}: expected a lifted ground or an opened bond for a hook-up solved alone, "
            f"got {len(hookups)} hook-ups"
        )
        raise HookUpError(message)
    grounds, links, ids = network.grounds, network.links, []
    if hookup.lift_ground:
        lifted = grounds_at(network, hookup.line_id, hookup.at_m or 0.0)
        if not lifted.any():
            message = (
                f"hook-up {hookup.hookup_id}: expected a ground of the line within {LIFT_REACH_M:g} m of it to take as "
                "lifted, the records have none there"
            )
            raise HookUpError(message)
        ids += grounds["ground_id"][lifted].astype(str).tolist()
        grounds = grounds[~lifted]
    if hookup.opened_bond is not None:
        sides = (links["line_a"] == hookup.line_id) | (links["line_b"] == hookup.line_id)
        opened = (sides & (links["kind"] == "bond") & (links["source_id"] == hookup.opened_bond)).to_numpy()
        if not opened.any():
            message = (
                f"hook-up {hookup.hookup_id}: expected a bond of line {hookup.line_id} to take as opened, the records "
                f"have no {hookup.opened_bond} on it"
            )
            raise HookUpError(message)
        ids.append(hookup.opened_bond)
        links = links[~opened]
    note = (
        f"a comparison only, with {', '.join(ids)} taken as lifted: no ground is lifted and no bond opened to locate a "
        "line; whether one may ever be disconnected is the owner's decision"
    )
    return replace(network, grounds=grounds, links=links), (note,)


def grounds_at(network: Network, line_id: str, at_m: float) -> NDArray[np.bool_]:
    """Return which of the network's grounds are a line's, and at a place along it."""
    measure = network.nodes.set_index("node_id")["at_m"].loc[network.grounds["node_id"]].to_numpy(dtype=float)
    near = np.abs(measure - at_m) <= LIFT_REACH_M
    return np.asarray(near & (network.grounds["line_id"] == line_id).to_numpy())


def _check_apart(name: str, places: list[tuple[float, float]]) -> None:
    for one, other in combinations(places, 2):
        if math.dist(one, other) < STAKES_APART_M:
            message = (
                f"hook-up {name}: expected stakes at least {STAKES_APART_M:g} m apart, got two at "
                f"{one[0]:.2f}, {one[1]:.2f} and {other[0]:.2f}, {other[1]:.2f}"
            )
            raise HookUpError(message)


@dataclass(frozen=True)
class _Neighbours:
    """The recorded lines that a stake may hit."""

    line_ids: list[str]
    tree: shapely.STRtree

    def note(self, name: str, xy: tuple[float, float], *, assumed: bool) -> list[str]:
        """Say where a stake can't be driven as it is solved, or that nobody has looked for a place."""
        (nearest,), (distance,) = self.tree.query_nearest(shapely.Point(xy), return_distance=True, all_matches=False)
        clear = distance >= STAKE_CLEARANCE_M
        if clear and not assumed:
            return []
        place = f"{distance:.2f} m from {self.line_ids[nearest]}"
        if not clear:
            place += f", and {STAKE_CLEARANCE_M:g} m at least are asked for: don't drive it there"
        if not assumed:
            return [f"hook-up {name}: a ground stake stands {place}"]
        return [
            f"hook-up {name}: no clear place for the ground stake is known; for the figures one is assumed square to "
            f"the line, {place}"
        ]


def _square_stake(hookup: HookUp, line: shapely.LineString, settings: Settings) -> tuple[float, float]:
    """Return a stake square to the line at the settings' distance, where the hook-up names none."""
    at = hookup.at_m or 0.0
    here, there = line.interpolate(max(at - 0.1, 0.0)), line.interpolate(min(at + 0.1, line.length))
    along = np.array([there.x - here.x, there.y - here.y])
    along /= np.hypot(*along)
    point = line.interpolate(at)
    distance = settings.hookups.stake_distance_m
    return float(point.x - along[1] * distance), float(point.y + along[0] * distance)
