"""What each line is electrically: a solid wire or a tube of metal, bare or coated, with its joints."""

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from corridor.constants import F_PER_NF, M_PER_KM, MM_PER_M, TWO_PI
from corridor.errors import DomainError
from corridor.site.materials import Coating, Metal, coating, metal
from corridor.tone.internal import coating_admittance, internal_impedance

__all__ = ["Conductor", "characteristic_ohm", "conductor", "conductors", "propagation_per_m"]

MM2_PER_M2 = 1e6
SHEATH_WALL_MM = 1.5  # extruded lead or aluminium sheath (engineering estimate)
SCREEN_WALL_MM = 0.2  # tape or foil screen (engineering estimate)
TRACER_MM2 = 2.1  # 14 AWG copper, common for tracer wires (from memory)
CABLE_MM2 = 50.0  # where neither cross-section nor sheath is known (engineering estimate)
WALL_SHARE = 0.06  # wall over diameter of a pipe of unknown wall (engineering estimate)


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

    def series(self, frequency_hz: float) -> complex:
        """Return the internal impedance in ohm/m.

        An override replaces the resistance; the internal reactance stays.
        """
        value = internal_impedance(
            self.radius_m,
            resistivity_ohm_m=self.resistivity_ohm_m,
            relative_permeability=self.relative_permeability,
            frequency_hz=frequency_hz,
            wall_m=self.wall_m,
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


def conductor(row: dict[str, Any]) -> Conductor:
    """Return the conductor of one line.

    A pipe is a tube of its own metal. A tracer wire carries the tone of a pipe that doesn't conduct. A cable with a
    metallic sheath is a tube, one without is the solid wire of its cross-section.

    Parameters
    ----------
    row : dict
        A row of the table ``lines``.

    Raises
    ------
    DomainError
        If the line has no diameter and no cross-section.
    """
    asset, diameter_mm = row.get("asset"), _real(row.get("diameter_mm"))
    substance = metal(row.get("material"))
    mm2 = _real(row.get("conductor_mm2"))
    if asset == "tracer_wire" or (substance is None and row.get("tracer_wire") == "yes"):
        return _wire(row, _or(mm2, TRACER_MM2), metal("copper"), coating("polyethylene"))
    if asset == "cable":
        sheath = metal(row.get("sheath"))
        if sheath is not None and not math.isnan(diameter_mm):
            wall = SHEATH_WALL_MM if row.get("sheath") in ("lead", "aluminium") else SCREEN_WALL_MM
            jacket = coating(row.get("coating") or "polyethylene")
            return _tube(row, sheath, (diameter_mm, wall), jacket)
        return _wire(row, _or(mm2, CABLE_MM2), substance or metal("copper"), coating("polyethylene"))
    if asset in ("bare_conductor", "rail", "fence") and not math.isnan(mm2):
        return _wire(row, mm2, substance or metal("steel"), coating(row.get("coating")))
    if math.isnan(diameter_mm):
        message = f"line {row['line_id']}: need diameter_mm or conductor_mm2 to make a conductor of it, got neither"
        raise DomainError(message)
    wall_mm = _or(_real(row.get("wall_mm")), WALL_SHARE * diameter_mm)
    return _tube(row, substance or metal("steel"), (diameter_mm, wall_mm), coating(row.get("coating")))


def _tube(
    row: dict[str, Any], substance: Metal | None, size_mm: tuple[float, float], cover: Coating | None
) -> Conductor:
    diameter_mm, wall_mm = size_mm
    radius = diameter_mm / 2 / MM_PER_M
    wall = wall_mm / MM_PER_M
    return _conductor(row, (radius, wall if wall < 0.95 * radius else None), substance, cover)


def _wire(row: dict[str, Any], mm2: float, substance: Metal | None, cover: Coating | None) -> Conductor:
    return _conductor(row, (math.sqrt(mm2 / MM2_PER_M2 / math.pi), None), substance, cover)


def _conductor(
    row: dict[str, Any], size_m: tuple[float, float | None], substance: Metal | None, cover: Coating | None
) -> Conductor:
    radius, wall = size_m
    assert substance is not None  # every caller names a metal
    permeability = _or(_real(row.get("relative_permeability")), substance.relative_permeability)
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
