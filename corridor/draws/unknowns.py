"""What the records leave open about a network, each with the distribution that it is drawn from.

All spreads are engineering estimates that the settings state; where the records give an accuracy or a range of their
own, that counts. docs/uncertainty.md lists them.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from corridor.settings import DrawSettings
from corridor.tone.model import Element, SoilRange, ToneModel

__all__ = ["KINDS", "Kind", "Unknown", "unknowns_of"]

Kind = Literal["soil", "coating", "depth", "position", "ground resistance", "bond", "joint", "ground", "stake"]
KINDS: tuple[Kind, ...] = (
    "soil", "coating", "depth", "position", "ground resistance", "bond", "joint", "ground", "stake",
)  # fmt: skip
_SWITCHES = ("bond", "joint", "ground")

Z_90 = float(ndtri(0.95))  # 90 % of a normal distribution lie within so many standard deviations
Z_95 = float(ndtri(0.975))
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Unknown:
    """One thing that the records leave open.

    Attributes
    ----------
    name : str
        Stable and readable, such as ``depth of W-001`` or ``bond B-002``.
    kind : str
        One of ``KINDS``.
    source_id : str
        Line, bond, ground or joint concerned.
    line_ids : tuple of str
        Lines it concerns.
    below, above : float
        Standard deviation towards lower and higher values: of the logarithm of a factor, for a position of metres; for
        something that conducts or doesn't both are the probability of conducting.
    basis : str
        Where the spread comes from, in a few words.
    index : int
        Of the element, the line, or the electrode in the model; -1 where there is none.
    """

    name: str
    kind: Kind
    source_id: str
    line_ids: tuple[str, ...]
    below: float
    above: float
    basis: str
    index: int = -1

    @property
    def switches(self) -> bool:
        """Whether it is something that conducts or doesn't."""
        return self.kind in _SWITCHES

    @property
    def redraws(self) -> bool:
        """Whether another value needs the network's matrices anew."""
        return not self.switches and self.kind != "stake"

    def values(self, quantile: Real) -> Real:
        """Return the values at quantiles: factors, metres, or 1 for conducting and 0 for not.

        Parameters
        ----------
        quantile : ndarray
            In (0, 1).

        Returns
        -------
        ndarray
            Of the same shape.
        """
        if self.switches:
            return (quantile < self.below).astype(np.float64)
        z = ndtri(quantile)
        size = np.where(z < 0, self.below, self.above) * z
        return np.asarray(size if self.kind == "position" else np.exp(size), dtype=np.float64)


def unknowns_of(
    model: ToneModel, soil: SoilRange, lines: gpd.GeoDataFrame, *, settings: DrawSettings
) -> tuple[Unknown, ...]:
    """List what the records leave open about a model.

    Parameters
    ----------
    model : ToneModel
        The network.
    soil : SoilRange
        Low and high hold 90 % of the soils drawn.
    lines : GeoDataFrame
        Table ``lines`` of the site: accuracies, ranges and what was filled.
    settings : DrawSettings
        Spreads where the records state none.

    Returns
    -------
    tuple of Unknown
        Soil first, then by line, electrode and element, in the model's order.
    """
    rows = lines.set_index("line_id", drop=False)
    known = [rows.loc[line_id].to_dict() for line_id in model.line_ids]
    found = [_soil(soil)]
    for number, row in enumerate(known):
        found += [make(row, number, settings) for make in _OF_LINE]
    found += [
        Unknown(
            f"resistance of {rod.name}", "ground resistance", rod.name, (rod.line_id,),
            settings.ground_spread, settings.ground_spread, "settings", number,
        )
        for number, rod in enumerate(model.electrodes)
        if rod.line_id is not None and not math.isnan(rod.resistance_ohm)
    ]  # fmt: skip
    found += [_switch(e, k, settings) for k, e in enumerate(model.elements) if e.switchable]
    spread = settings.stake_spread
    return (*found, Unknown("contact of the ground stake", "stake", "", (), spread, spread, "settings"))


def _soil(soil: SoilRange) -> Unknown:
    nominal = soil.nominal_ohm_m
    below, above = math.log(nominal / soil.low_ohm_m) / Z_90, math.log(soil.high_ohm_m / nominal) / Z_90
    return Unknown("soil resistivity", "soil", "", (), below, above, soil.source)


def _coating(row: dict[str, Any], number: int, settings: DrawSettings) -> Unknown:
    filled = row.get("coating_src") != "given"
    spread = settings.coating_spread * (2.0 if filled else 1.0)
    basis = "settings, twice since the coating was filled" if filled else "settings"
    name = str(row["line_id"])
    return Unknown(f"coating of {name}", "coating", name, (name,), spread, spread, basis, number)


def _depth(row: dict[str, Any], number: int, settings: DrawSettings) -> Unknown:
    name, depth = str(row["line_id"]), float(row["depth_m"])
    low, high, accuracy = (_number(row.get(key)) for key in ("depth_m_low", "depth_m_high", "vertical_accuracy_m"))
    below = above = settings.depth_spread
    basis = "settings"
    if accuracy > 0:
        below = above = accuracy / Z_95 / depth
        basis = "vertical accuracy in the records"
    elif 0 < low <= depth <= high:
        below, above = math.log(depth / low) / Z_90, math.log(high / depth) / Z_90
        basis = "range beside the value"
    return Unknown(f"depth of {name}", "depth", name, (name,), below, above, basis, number)


def _position(row: dict[str, Any], number: int, settings: DrawSettings) -> Unknown:
    name, accuracy = str(row["line_id"]), _number(row.get("horizontal_accuracy_m"))
    if accuracy > 0:
        spread, basis = accuracy / Z_95, "horizontal accuracy in the records"
    else:
        level = row.get("quality_level")
        level = level if isinstance(level, str) and level in settings.position_m else "none"
        spread, basis = settings.position_m[level], f"settings, quality level {level}"
    return Unknown(f"position of {name}", "position", name, (name,), spread, spread, basis, number)


_OF_LINE: tuple[Callable[[dict[str, Any], int, DrawSettings], Unknown], ...] = (_coating, _depth, _position)


def _switch(element: Element, number: int, settings: DrawSettings) -> Unknown:
    chance, basis = element.probability, str(element.evidence)
    kind: Kind = "bond" if element.kind in ("bond", "junction", "isolation") else _kind(element.kind)
    if math.isnan(chance):
        name = element.evidence if element.evidence in settings.joint_conducts else "unknown"
        chance, basis = settings.joint_conducts[str(name)], f"settings, joints {name}"
    lines = tuple(sorted({element.line_a, element.line_b}))
    return Unknown(f"{kind} {element.source_id}", kind, element.source_id, lines, chance, chance, basis, number)


def _kind(name: str) -> Kind:
    return "joint" if name == "joint" else "ground"


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)
