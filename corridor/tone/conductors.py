"""What each line is electrically: a wire, a tube or a cage of metal, bare or coated, with its joints."""

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import pandas as pd

from corridor.constants import F_PER_NF, M_PER_KM, MM_PER_M, TWO_PI
from corridor.errors import DomainError
from corridor.site.materials import Coating, Metal, coating, coatings, joint_types, metal
from corridor.site.tables import read_table
from corridor.tone.internal import coating_admittance, internal_impedance

__all__ = [
    "CARRIERS",
    "JOINT_SPACING_M",
    "Conductor",
    "carrier",
    "characteristic_ohm",
    "conductor",
    "conductors",
    "propagation_per_m",
]

Carrier = Literal["pipe wall", "tracer wire", "sheath", "core", "wire", "reinforcement"]
CARRIERS: dict[Carrier, str] = {
    "pipe wall": "a tube of the pipe's metal; rails and fences by their diameter too",
    "tracer wire": "the wire along a pipe that doesn't conduct",
    "sheath": "a tube: the cable's sheath or screen, earthed where the records or the rules put grounds",
    "core": "the conductor inside a sheath earthed nowhere, which carries no tone along: dielectric out to the jacket",
    "wire": "the cross-section of a cable without sheath, or of a bare conductor",
    "reinforcement": "the lengthwise bars of a concrete pipe stated to be conductive, side by side in a cage",
}
"""What may carry the tone of a line, and what it is to the solver."""

MM2_PER_M2 = 1e6
_FIGURES = {name: float(row["value"]) for name, row in read_table("conductors").items()}
JOINT_SPACING_M = _FIGURES["joint_spacing_m"]


@dataclass(frozen=True)
class Conductor:
    """The metal of one line that carries tone.

    Attributes
    ----------
    line_id : str
        The line.
    radius_m, outer_radius_m : float
        Of the metal, and over its coating, m.
    wall_m : float or None
        Wall of a tube; None is solid.
    resistivity_ohm_m, relative_permeability : float
        Of the metal.
    cover : Coating or None
        Coating or jacket; None is bare.
    series_ohm_per_m, leakage_s_per_m, capacitance_f_per_m : float
        Overrides from the records; NaN leaves the calculated value.
    joint_ohm_per_m : float
        Joints that conduct, spread over the length.
    bars, bar_radius_m : int, float
        A cage of equal solid bars in place of the tube; 0 for none.
    """

    line_id: str
    radius_m: float
    outer_radius_m: float
    wall_m: float | None
    resistivity_ohm_m: float
    relative_permeability: float
    cover: Coating | None
    series_ohm_per_m: float = math.nan
    leakage_s_per_m: float = math.nan
    capacitance_f_per_m: float = math.nan
    joint_ohm_per_m: float = 0.0
    bars: int = 0
    bar_radius_m: float = 0.0

    def series(self, frequency_hz: float) -> complex:
        """Return the internal impedance in ohm/m, joints that conduct included.

        An override replaces the resistance; the internal reactance stays. Bars of a cage share the current equally.
        """
        value = (
            internal_impedance(
                self.bar_radius_m if self.bars else self.radius_m,
                resistivity_ohm_m=self.resistivity_ohm_m,
                relative_permeability=self.relative_permeability,
                frequency_hz=frequency_hz,
                wall_m=None if self.bars else self.wall_m,
            )
            / max(self.bars, 1)
            + self.joint_ohm_per_m
        )
        return value if math.isnan(self.series_ohm_per_m) else complex(self.series_ohm_per_m, value.imag)

    def leakage(self, frequency_hz: float) -> complex:
        """Return the coating's admittance in S/m, infinite for bare metal."""
        given = not (math.isnan(self.leakage_s_per_m) and math.isnan(self.capacitance_f_per_m))
        if self.cover is None and not given:
            return complex(math.inf)
        value = 0j
        if self.cover is not None:
            value = coating_admittance(
                self.radius_m,
                self.outer_radius_m,
                relative_permittivity=self.cover.relative_permittivity,
                conductivity_s_per_m=self.cover.conductivity_s_per_m,
                frequency_hz=frequency_hz,
            )
        real = value.real if math.isnan(self.leakage_s_per_m) else self.leakage_s_per_m
        imag = value.imag if math.isnan(self.capacitance_f_per_m) else TWO_PI * frequency_hz * self.capacitance_f_per_m
        return complex(real, imag)


def conductors(lines: pd.DataFrame) -> dict[str, Conductor]:
    """Return the conductor of each line, by line_id.

    Parameters
    ----------
    lines : DataFrame
        Rows of the table ``lines`` that conduct.

    Returns
    -------
    dict of str to Conductor

    Raises
    ------
    DomainError
        If a line has no diameter and no cross-section to make a conductor of.
    """
    return {row["line_id"]: conductor(row) for row in lines.to_dict("records")}


def carrier(row: dict[str, Any]) -> Carrier:
    """Return what carries the tone of one line: a key of ``CARRIERS``.

    Parameters
    ----------
    row : dict
        A row of the table ``lines``.
    """
    substance = metal(row.get("material"))
    if row.get("asset") == "tracer_wire" or (substance is None and row.get("tracer_wire") == "yes"):
        return "tracer wire"
    if row.get("asset") == "cable":
        if metal(row.get("sheath")) is None or math.isnan(_real(row.get("diameter_mm"))):
            return "wire"
        return "core" if row.get("sheath_bonding") == "none" else "sheath"
    if row.get("asset") in ("bare_conductor", "rail", "fence") and not math.isnan(_real(row.get("conductor_mm2"))):
        return "wire"
    return "reinforcement" if row.get("material") == "reinforced_concrete" else "pipe wall"


def conductor(row: dict[str, Any]) -> Conductor:
    """Return the conductor of one line, as ``carrier`` says what it is.

    A stranded wire is the solid one of the circle round its strands, of a resistivity that gives the strands'
    resistance to direct current: the skin effect then is that of a solid wire. A cage acts outside like one wire of
    radius (N r R^(N-1))^(1/N), the geometric mean distance of N bars of radius r on a circle R (textbook, bundled
    conductors).

    Parameters
    ----------
    row : dict
        A row of the table ``lines``.

    Raises
    ------
    DomainError
        If the line has no diameter and no cross-section.
    """
    kind, diameter_mm, mm2 = carrier(row), _real(row.get("diameter_mm")), _real(row.get("conductor_mm2"))
    substance = metal(row.get("material"))
    if kind == "tracer wire":
        wire = substance if row.get("asset") == "tracer_wire" else None
        return _wire(
            row, _or(mm2, _FIGURES["tracer_mm2"]), wire or metal("copper"), coating("polyethylene"), solid=True
        )
    if kind == "wire":
        cable = row.get("asset") == "cable"
        cover = coating("polyethylene" if cable else row.get("coating"))
        return _wire(row, _or(mm2, _FIGURES["cable_mm2"]), substance or metal("copper" if cable else "steel"), cover)
    if math.isnan(diameter_mm):
        message = f"line {row['line_id']}: need diameter_mm or conductor_mm2 to make a conductor of it, got neither"
        raise DomainError(message)
    if kind in ("sheath", "core"):
        jacket = coating(row.get("coating") or "polyethylene")
        if kind == "core":
            return _core(row, _wire(row, _or(mm2, _FIGURES["cable_mm2"]), substance or metal("copper"), None), jacket)
        wall_mm = (
            _FIGURES["sheath_wall_mm"] if row.get("sheath") in ("lead", "aluminium") else _FIGURES["screen_wall_mm"]
        )
        return _tube(row, metal(row.get("sheath")), (diameter_mm, wall_mm), jacket)
    if kind == "reinforcement":
        return _cage(row, diameter_mm)
    wall_mm = _or(_real(row.get("wall_mm")), _FIGURES["wall_share"] * diameter_mm)
    return _tube(row, substance or metal("steel"), (diameter_mm, wall_mm), coating(row.get("coating")))


def _tube(
    row: dict[str, Any], substance: Metal | None, size_mm: tuple[float, float], cover: Coating | None
) -> Conductor:
    diameter_mm, wall_mm = size_mm
    radius = diameter_mm / 2 / MM_PER_M
    wall = wall_mm / MM_PER_M
    return _conductor(row, (radius, wall if wall < 0.95 * radius else None), substance, cover)


def _wire(
    row: dict[str, Any], mm2: float, substance: Metal | None, cover: Coating | None, *, solid: bool = False
) -> Conductor:
    strands = not solid and mm2 > _FIGURES["stranded_from_mm2"] and substance in (metal("copper"), metal("aluminium"))
    area = mm2 / MM2_PER_M2 / (_FIGURES["fill"] if strands else 1.0)
    one = _conductor(row, (math.sqrt(area / math.pi), None), substance, cover)
    if not strands:
        return one
    return replace(one, resistivity_ohm_m=one.resistivity_ohm_m * _FIGURES["lay"] / _FIGURES["fill"])


def _core(row: dict[str, Any], core: Conductor, jacket: Coating | None) -> Conductor:
    """Put the dielectric of a cable round its core; the sheath that floats in it changes nothing of note."""
    within = _real(row.get("diameter_mm")) / 2 / MM_PER_M
    outer = max(within, core.radius_m) + (0.0 if jacket is None else jacket.thickness_mm / MM_PER_M)
    if outer <= core.radius_m:
        return core
    cover = replace(jacket or coatings()["polyethylene"], thickness_mm=(outer - core.radius_m) * MM_PER_M)
    return replace(core, outer_radius_m=outer, cover=cover)


def _cage(row: dict[str, Any], diameter_mm: float) -> Conductor:
    """Return the cage of a concrete pipe: its bars lie under the thickness of the coating ``concrete``."""
    cover = coatings()["concrete"]
    circle = max(diameter_mm / 2 - cover.thickness_mm, diameter_mm / 4) / MM_PER_M
    bar = _FIGURES["bar_diameter_mm"] / 2 / MM_PER_M
    bars = max(3, round(TWO_PI * circle / _FIGURES["bar_spacing_m"]))
    mean = (bars * bar * circle ** (bars - 1)) ** (1 / bars)
    one = _conductor(row, (min(mean, circle), None), metal("steel"), cover)
    return replace(one, bars=bars, bar_radius_m=bar, outer_radius_m=diameter_mm / 2 / MM_PER_M)


def _conductor(
    row: dict[str, Any], size_m: tuple[float, float | None], substance: Metal | None, cover: Coating | None
) -> Conductor:
    radius, wall = size_m
    assert substance is not None  # noqa: S101 - every caller names a metal
    permeability = _or(_real(row.get("relative_permeability")), substance.relative_permeability)
    joint = joint_types().get(str(row.get("joints")))
    spread = joint.closed_ohm if joint and not joint.parts and carrier(row) == "pipe wall" else 0.0
    return Conductor(
        line_id=row["line_id"],
        radius_m=radius,
        outer_radius_m=radius if cover is None else radius + cover.thickness_mm / MM_PER_M,
        wall_m=wall,
        resistivity_ohm_m=substance.resistivity_ohm_m,
        relative_permeability=permeability,
        cover=cover,
        series_ohm_per_m=_real(row.get("series_ohm_per_km")) / M_PER_KM,
        leakage_s_per_m=_real(row.get("leakage_s_per_km")) / M_PER_KM,
        capacitance_f_per_m=_real(row.get("capacitance_nf_per_km")) * F_PER_NF / M_PER_KM,
        joint_ohm_per_m=spread / _or(_real(row.get("joint_spacing_m")), JOINT_SPACING_M),
    )


def _real(value: Any) -> float:
    return math.nan if value is None or pd.isna(value) else float(value)


def _or(value: float, other: float) -> float:
    return other if math.isnan(value) else value


def propagation_per_m(
    series: complex, leakage: complex, *, radius_m: float, frequency_hz: float, resistivity_ohm_m: float
) -> float:
    """Return |Gamma| of a buried conductor from its infinite-line parameters; only used to choose section lengths."""
    z, y = _line_parameters(
        series, leakage, radius_m=radius_m, frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m
    )
    return math.sqrt(abs(z * y))


def characteristic_ohm(
    series: complex, leakage: complex, *, radius_m: float, frequency_hz: float, resistivity_ohm_m: float
) -> float:
    """Return |Zc| of a buried conductor from its infinite-line parameters, ohm; infinite for one that doesn't leak."""
    z, y = _line_parameters(
        series, leakage, radius_m=radius_m, frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m
    )
    return math.sqrt(abs(z / y)) if y else math.inf


def _line_parameters(
    series: complex, leakage: complex, *, radius_m: float, frequency_hz: float, resistivity_ohm_m: float
) -> tuple[complex, complex]:
    """Return z in ohm/m and y in S/m of the infinite line.

    z adds the earth return by Wedepohl and Wilcox's leading term (1973), y puts the coating in series with the soil.
    """
    omega = TWO_PI * frequency_hz
    skin = math.sqrt(2 * resistivity_ohm_m / (omega * 4e-7 * math.pi))
    span = math.log(max(1.85 * skin / (2 * radius_m), 1.5))
    z = series + complex(omega * 1e-7 * math.pi / 2, omega * 2e-7 * span)
    soil = TWO_PI / (resistivity_ohm_m * span)
    y = soil if math.isinf(abs(leakage)) else 1 / (1 / leakage + 1 / soil) if leakage else 0j
    return z, y
