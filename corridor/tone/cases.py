"""What the records don't know, solved both ways: paths that may be open or closed, and soil low and high."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.settings import SoilSettings
from corridor.tone.internal import joint_impedance
from corridor.tone.model import Element, SoilRange, ToneModel

__all__ = ["CASES", "EXTRACT_TAIL", "Case", "Paths", "cases_of", "element_ohms", "soil_range"]

Paths = str  # nominal, closed, open, ending, mixed with a number and a side, or the name of a state of the model

EXTRACT_TAIL = "beyond the records at"  # first words of a ground where the extract of the records cut a line
MIXED_FROM = 4  # with fewer cut ends, the cases that end all of them and none are enough


@dataclass(frozen=True)
class Case:
    """One assumption about everything the records leave open."""

    name: str
    soil: Literal["nominal", "low", "high"]
    paths: Paths

    def resistivity_ohm_m(self, soil: SoilRange) -> float:
        """Return this case's soil."""
        return {"nominal": soil.nominal_ohm_m, "low": soil.low_ohm_m, "high": soil.high_ohm_m}[self.soil]


CASES = (
    Case("nominal", "nominal", "nominal"),
    Case("all paths closed", "nominal", "closed"),
    Case("all paths open", "nominal", "open"),
    Case("soil low", "low", "nominal"),
    Case("soil high", "high", "nominal"),
)


def cases_of(model: ToneModel, *, mixes: int) -> tuple[Case, ...]:
    """Return the cases to solve for a model: ``CASES``, and more where the extract of the records cut lines.

    In the one all of them end at the cut, whatever else is open; where there are several, each mix is two cases in
    which half of them end and the other half go on: which half, a binary digit of the end's number says.

    Parameters
    ----------
    model : ToneModel
        Its elements tell the cut ends. A network solved in blocks gets no mixes: each would be factored again.
    mixes : int
        How many, at most.
    """
    ends = sum(_is_tail(element) for element in model.elements)
    if not ends:
        return CASES
    more = [Case("records end at their cut", "nominal", "ending")]
    if ends >= MIXED_FROM and not model.is_large:
        digits = range(min(mixes, (ends - 1).bit_length()))
        more += [Case(f"cut ends mixed {k + 1}{side}", "nominal", f"mixed {k} {side}") for k in digits for side in "ab"]
    return (*CASES, *more)


def _is_tail(element: Element) -> bool:
    return element.switchable and element.source_id.startswith(EXTRACT_TAIL)


def _ended(model: ToneModel, paths: Paths) -> NDArray[np.bool_]:
    """Return which elements are tails that end in a case of its own."""
    tails = np.array([_is_tail(element) for element in model.elements], dtype=bool)
    if not paths.startswith("mixed"):
        return tails & (paths == "ending")
    _, digit, side = paths.split()
    return tails & (((np.cumsum(tails) - 1 >> int(digit)) & 1) == (side == "b"))


def element_ohms(model: ToneModel, paths: Paths, frequency_hz: float) -> NDArray[np.complex128]:
    """Return the impedance of each element, infinite where it is open.

    Parameters
    ----------
    model : ToneModel
        Its elements.
    paths : str
        nominal: as most likely; closed, open: every switchable element conducts, or none does; ending and the mixes of
        ``cases_of``: as most likely, but for the cut ends; else one of the model's ``states``.
    frequency_hz : float
        For elements that block with a capacitance.
    """
    if paths in model.states:
        pairs = zip(model.elements, model.states[paths], strict=True)
        return np.array([_ohms(replace(e, closed=bool(on)), "nominal", frequency_hz) for e, on in pairs], dtype=complex)
    known = paths if paths in ("closed", "open") else "nominal"
    ohms = np.array([_ohms(element, known, frequency_hz) for element in model.elements], dtype=np.complex128)
    ohms[_ended(model, paths)] = math.inf
    return ohms


def _ohms(element: Element, paths: Paths, frequency_hz: float) -> complex:
    closed = paths == "closed" if element.switchable and paths != "nominal" else element.closed
    if closed:
        return complex(element.closed_ohm)
    return joint_impedance(element.open_ohm, element.open_f, frequency_hz)


def soil_range(soil: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, settings: SoilSettings) -> SoilRange:
    """Return one soil for the lines: weighted by the length of line in each polygon, in the logarithm.

    Parameters
    ----------
    soil : GeoDataFrame
        Table ``soil``; empty gives the settings' soil.
    lines : GeoDataFrame
        The lines to be solved.
    settings : SoilSettings
        Defaults.

    Returns
    -------
    SoilRange
        Low and high are the extremes of the polygons that hold lines; where they state no range, the settings' range
        in proportion. Two layers where most of the length lies in polygons that state a lower soil: log means of
        thickness and lower resistivity over these.
    """
    pieces = gpd.overlay(lines[["geometry"]], soil[list(soil.columns)], how="intersection", keep_geom_type=True)
    default = SoilRange(
        settings.resistivity_ohm_m,
        settings.low_ohm_m,
        settings.high_ohm_m,
        settings.relative_permittivity,
        "settings, no soil in the records",
    )
    if soil.empty or pieces.empty:
        return default
    weight = pieces.geometry.length.to_numpy()
    rho = pieces["resistivity_ohm_m"].to_numpy(float)
    low, high = pieces["low_ohm_m"].to_numpy(float), pieces["high_ohm_m"].to_numpy(float)
    low = np.where(np.isnan(low), rho * settings.low_ohm_m / settings.resistivity_ohm_m, low)
    high = np.where(np.isnan(high), rho * settings.high_ohm_m / settings.resistivity_ohm_m, high)
    nominal = float(np.exp(np.average(np.log(rho), weights=weight)))
    thickness, lower = _layers(pieces, weight)
    return SoilRange(
        nominal,
        min(float(low.min()), nominal),
        max(float(high.max()), nominal),
        settings.relative_permittivity,
        "records",
        thickness,
        lower,
    )


def _layers(pieces: gpd.GeoDataFrame, weight: NDArray[np.float64]) -> tuple[float, float]:
    """Return thickness (m) and lower resistivity (ohm m) of the soil's two layers, NaN for one."""
    both = pieces[["top_thickness_m", "lower_resistivity_ohm_m"]].to_numpy(float)
    layered = (both > 0.0).all(axis=1)
    if weight[layered].sum() <= 0.5 * weight.sum():
        return math.nan, math.nan
    thickness, lower = np.exp(np.average(np.log(both[layered]), axis=0, weights=weight[layered]))
    return float(thickness), float(lower)
